"""A general library's daily moisture index, per site and day, beside a scenario's day.

The duff moisture code of the Canadian fire weather index (Van Wagner 1987, Forestry Technical
Report 35) as ``xclim`` has it: one number a day from temperature, humidity and rain, where a
scenario's day is heat and water of every cell by the hour.  The ratio says what that costs.
"""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pandas as pd

from climate_risk.bench.season import Season, best_of
from climate_risk.constants import HOURS_PER_DAY
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa

SITES, DAYS = 256, 365
INSTALL = 'pip install "climate-risk[bench]"'


def daily_weather(season: Season, days: int) -> dict[str, np.ndarray[Any, Any]]:
    """Mean temperature [degC], sum of rain [mm], humidity [%] of the record's first days."""
    weather, hours = season.kind.record.weather, days * HOURS_PER_DAY
    share = weather.vapour_pressure_kpa / saturation_vapour_pressure_kpa(weather.air_temp_c)
    by_day = {
        name: values[:hours].reshape(days, HOURS_PER_DAY)
        for name, values in (
            ("temp", weather.air_temp_c),
            ("rain", weather.precip_mm),
            ("humidity", 100.0 * share),
        )
    }
    sums = {"rain"}
    return {k: v.sum(axis=1) if k in sums else v.mean(axis=1) for k, v in by_day.items()}


def measure(season: Season, sites: int = SITES, days: int = DAYS) -> dict[str, Any]:
    """Nanoseconds of one site's day; only ``install`` where the library is not there."""
    try:
        import xarray as xr
        import xclim
        from xclim.indices.fire import duff_moisture_code
    except ImportError:
        return {"install": INSTALL}
    times = pd.date_range(season.kind.record.first, periods=days, freq="D")

    def over_sites(values: np.ndarray[Any, Any], unit: str) -> Any:
        wide = np.repeat(values[:, None], sites, axis=1)
        return xr.DataArray(
            wide, dims=("time", "site"), coords={"time": times}, attrs={"units": unit}
        )

    found = daily_weather(season, days)
    temp, rain = over_sites(found["temp"], "degC"), over_sites(found["rain"], "mm/d")
    humid = over_sites(found["humidity"], "%")
    north = xr.DataArray(
        np.full(sites, season.yard.site.latitude),
        dims=("site",),
        attrs={"units": "degrees_north"},
    )
    codes: list[Any] = []

    def run() -> None:
        codes.append(duff_moisture_code(temp, rain, humid, north).load())

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        run()  # compiles
        took = best_of(run)
    return {
        "library": f"xclim {xclim.__version__}, duff moisture code",
        "sites": sites,
        "days": days,
        "site_day_ns": took / (sites * days) * 1e9,
        "last_code": float(codes[-1][-1, 0]),
    }
