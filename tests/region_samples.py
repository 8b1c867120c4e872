"""Small made-up grids and a yard that the tests of a region share."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import risk_samples
import xarray as xr

from climate_risk.interventions import CoverSpan
from climate_risk.region.results import (
    RUN,
    SEA,
    Axis,
    MapOption,
    Place,
    RegionMap,
    StackMap,
)
from climate_risk.region.results import SHORT as SHORT_RECORD
from climate_risk.risk.chance import FEWEST_YEARS
from climate_risk.yard import Yard, read_yard

YARD = """
[yard]
name = "Test yard"
invented = true
latitude = {latitude!r}
longitude = {longitude!r}
elevation = "{elevation!r} m"
slope = 8
aspect = 110
canopy = "deciduous"
openness = 0.3
units = "metric"

[weather]
file = "weather.csv"

[[stack]]
name = "Row"
fungus = "grey oyster"
wood = "aspen"
inoculated = 2005-04-12
pieces = 1
piece_length = "10 cm"
diameter = "8 cm"

[compare]
canopies = ["open", "deciduous"]
covers = ["none"]
"""
BAY = (-1, -1)
"""The sea cell, by row and column."""
SHORT = (0, 0)
"""The cell whose record begins late."""
DRAWS = 1


def yard(
    folder: Path, latitude: float = 42.5, longitude: float = -72.2, elevation: float = 300.0
) -> Yard:
    """The yard, at its own place or at a cell's."""
    path = folder / "yard.toml"
    place = {"latitude": latitude, "longitude": longitude, "elevation": elevation}
    path.write_text(YARD.format(**place), encoding="utf-8")
    return read_yard(path)


def region(
    rows: int = 2, columns: int = 3, first: str = "2000-01-01", last: str = "2011-06-30"
) -> xr.Dataset:
    """Daily weather, warmer to the south, wetter to the east; corners of sea and of few years."""
    days = risk_samples.daily_table(first, last)
    latitude = 42.5 - 0.5 * np.arange(rows)
    longitude = -72.25 + 0.5 * np.arange(columns)
    south, east = np.arange(rows)[:, None] / 2.0, np.arange(columns)[None, :] / 2.0
    shape = (len(days), rows, columns)

    def spread(name: str, scale: np.ndarray, offset: np.ndarray) -> np.ndarray:
        values = days[name].to_numpy()[:, None, None] * scale + offset
        return np.broadcast_to(values, shape).astype(np.float32).copy()

    one, zero = np.ones((rows, columns)), np.zeros((rows, columns))
    fields = {
        "tasmin": (spread("air_temp_min_c", one, 273.15 + south + zero), "K"),
        "tasmax": (spread("air_temp_max_c", one, 273.15 + 2.0 * south + zero), "K"),
        "tdps": (spread("dew_point_c", one, 273.15 + zero), "K"),
        "pr": (spread("precip_mm", (0.5 + east) * one / 86_400.0, zero), "kg m-2 s-1"),
        "sfcWind": (spread("wind_ms", one, zero), "m s-1"),
        "rsds": (spread("shortwave_mj_m2", one / 0.0864, zero), "W m-2"),
    }
    if rows * columns > 2:
        for values, _ in fields.values():
            values[:, *BAY] = np.nan
            values[: len(days) // 2, *SHORT] = np.nan
    height = 200.0 + 100.0 * (south + east)
    return xr.Dataset(
        {
            **{n: (("time", "lat", "lon"), v, {"units": u}) for n, (v, u) in fields.items()},
            "orog": (("lat", "lon"), height, {"units": "m"}),
        },
        coords={"time": days.index.to_numpy(), "lat": latitude, "lon": longitude},
    )


def canonical(cell: xr.Dataset) -> pd.DataFrame:
    """A cell of `region` in the columns and units of a weather file, converted by hand."""
    values = {name: cell[name].to_numpy().astype(np.float64) for name in cell if name != "orog"}
    return pd.DataFrame(
        {
            "air_temp_min_c": values["tasmin"] - 273.15,
            "air_temp_max_c": values["tasmax"] - 273.15,
            "dew_point_c": values["tdps"] - 273.15,
            "precip_mm": values["pr"] * 86_400.0,
            "wind_ms": values["sfcWind"],
            "shortwave_mj_m2": values["rsds"] * 0.0864,
        },
        index=pd.DatetimeIndex(cell["time"].to_numpy(), name="date"),
    )


def made_up(rows: int = 6, columns: int = 8, stacks: int = 1) -> RegionMap:
    """A result of smooth fields that nothing has computed, for pages and charts."""
    y, x = np.mgrid[0 : 1 : complex(rows), 0 : 1 : complex(columns)]
    covers = ((), (CoverSpan(kind="bag", material="paper"),))
    options = tuple(
        MapOption(canopy=canopy, covers=cover, waterings=())
        for canopy in ("open", "deciduous", "conifer")
        for cover in covers
    )
    state = np.full((rows, columns), RUN)
    state[-1, -1], state[0, 0] = SEA, SHORT_RECORD
    chance = np.stack([(0.5 - 0.06 * n) * x + 0.04 * n * y for n in range(len(options))])
    chance = np.where(state == RUN, chance, np.nan)
    best = np.where(state == RUN, np.nan_to_num(chance, nan=9.0).argmin(axis=0), np.nan)
    stack = StackMap(
        name="Row",
        fungus="grey oyster",
        wood="aspen",
        horizon_months=12,
        fungus_caution="",
        chance=chance,
        low=0.5 * chance,
        high=1.5 * chance,
        draw_error=0.02 + 0.05 * chance,
        best=best,
        years=np.where(state == SEA, np.nan, np.where(state == RUN, 20.0, 4.0)),
    )
    place = Place(
        axes=(Axis("lat", 44.0 - 2.0 * y[:, 0], {}), Axis("lon", -74.0 + 3.0 * x[0], {})),
        latitude=44.0 - 2.0 * y,
        longitude=-74.0 + 3.0 * x,
        elevation_m=200.0 + 300.0 * x,
        has_elevation=True,
        regular=True,
        mapping=None,
    )
    return RegionMap(
        yard_name="Test yard",
        invented=True,
        units="us",
        currency="USD",
        tolerated_chance=0.1,
        fewest_years=FEWEST_YEARS,
        slope_deg=8.0,
        aspect_deg=110.0,
        openness=0.3,
        canopy="deciduous",
        inputs={"yard.toml": "0" * 64, "grid.nc": "1" * 64},
        grid_name="grid.nc",
        step="daily",
        first=date(2000, 1, 1),
        last=date(2024, 12, 31),
        draws=8,
        place=place,
        options=options,
        nothing=2,
        stacks=tuple(replace(stack, name=f"Row {n + 1}") for n in range(stacks)),
        state=state,
        observed=np.where(state == SEA, np.nan, 0.97),
        water_residual=2e-14,
        energy_residual=1e-14,
        notes=("variables not used: swe",),
        blocks=6,
        blocks_kept=0,
        work=None,
    )
