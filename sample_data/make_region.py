"""Make gridded daily weather of an invented region round the invented farm "Alder Hollow".

Run ``python sample_data/make_region.py region.nc`` to write it as netCDF with CF names and units.
No measured series went into it, and real topography is left out: a smooth made-up ridge runs
from south to north, a bay with no weather lies in the south-east corner, and one cell's record
begins only in its last years.

Every cell has the farm's days (`make_weather`, one seed) with a spread of its own: 0.65 K cooler
a 100 m of height and 0.7 K a degree of latitude (our own choice), rain that grows towards the
ridge and differs from cell to cell by gamma factors from the same seed, and wind that grows with
height.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import xarray as xr
from make_weather import LATITUDE_DEG, SEED, make_weather

LONGITUDE_DEG = -79.35
CELL_DEG = 0.25
VALLEY_M, RIDGE_M = 250.0, 900.0
SHORT_YEARS = 6


def make_region(
    rows: int = 4, columns: int = 5, first: str = "2010", last: str = "2025", seed: int = SEED
) -> xr.Dataset:
    """Daily weather of an invented region.

    Parameters
    ----------
    rows, columns
        Cells of a quarter of a degree, from north to south and from west to east.
    first, last
        Years.
    seed
        The same seed gives the same region.

    Returns
    -------
    xarray.Dataset
        ``tasmin``, ``tasmax``, ``tdps`` [K], ``pr`` [kg m-2 s-1], ``sfcWind`` [m s-1], ``rsds``
        [W m-2] and ``orog`` [m], NaN in the bay.
    """
    days = make_weather(seed).loc[first:last]
    random = np.random.RandomState(seed)
    latitude = LATITUDE_DEG + CELL_DEG * (rows / 2.0 - 0.5 - np.arange(rows))
    longitude = LONGITUDE_DEG + CELL_DEG * (np.arange(columns) - columns / 2.0 + 0.5)
    across = np.linspace(0.0, 1.0, columns)[None, :] + 0.1 * np.linspace(-1.0, 1.0, rows)[:, None]
    height = VALLEY_M + (RIDGE_M - VALLEY_M) * np.sin(np.pi * np.clip(across, 0.0, 1.0)) ** 2
    share = (height - VALLEY_M) / (RIDGE_M - VALLEY_M)
    cooler = -0.0065 * (height - 701.0) - 0.7 * (latitude[:, None] - LATITUDE_DEG)
    shape = (len(days), rows, columns)

    def column(name: str) -> np.ndarray:
        return days[name].to_numpy()[:, None, None]

    rain = column("precip_mm") * (0.6 + 0.6 * share) * random.gamma(4.0, 0.25, shape)
    fields = {
        "tasmin": column("air_temp_min_c") + cooler + 273.15,
        "tasmax": column("air_temp_max_c") + cooler + 273.15,
        "tdps": column("dew_point_c") + 0.8 * cooler + 273.15,
        "pr": rain / 86_400.0,
        "sfcWind": column("wind_ms") * (0.7 + 0.6 * share),
        "rsds": column("shortwave_mj_m2") / 0.0864 * np.ones(shape),
    }
    bay = np.zeros((rows, columns), dtype=bool)
    bay[-1:, -max(columns // 4, 1) :] = True
    for name in fields:
        fields[name] = np.where(bay, np.nan, fields[name]).astype(np.float32)
    late = np.asarray(days.index.year > int(last) - SHORT_YEARS)
    if rows > 1 and columns > 1:
        for each in fields.values():
            each[~late, 0, 0] = np.nan
    about = {
        "tasmin": ("air_temperature", "K", "time: minimum"),
        "tasmax": ("air_temperature", "K", "time: maximum"),
        "tdps": ("dew_point_temperature", "K", "time: mean"),
        "pr": ("precipitation_flux", "kg m-2 s-1", "time: mean"),
        "sfcWind": ("wind_speed", "m s-1", "time: mean"),
        "rsds": ("surface_downwelling_shortwave_flux_in_air", "W m-2", "time: mean"),
    }
    return xr.Dataset(
        {
            **{
                name: (
                    ("time", "lat", "lon"),
                    fields[name],
                    {"standard_name": standard, "units": units, "cell_methods": methods},
                )
                for name, (standard, units, methods) in about.items()
            },
            "orog": (("lat", "lon"), height, {"standard_name": "surface_altitude", "units": "m"}),
        },
        coords={
            "time": ("time", days.index.to_numpy(), {"standard_name": "time"}),
            "lat": ("lat", latitude, {"standard_name": "latitude", "units": "degrees_north"}),
            "lon": ("lon", longitude, {"standard_name": "longitude", "units": "degrees_east"}),
        },
        attrs={
            "Conventions": "CF-1.8",
            "title": "Invented daily weather round the invented farm Alder Hollow",
            "source": f"sample_data/make_region.py, seed {seed}; no measured series",
        },
    )


if __name__ == "__main__":
    make_region().to_netcdf(Path(sys.argv[1] if len(sys.argv) > 1 else "region.nc"))
