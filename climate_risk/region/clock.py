"""A grid's clock: its step, its dates, and which of its sums run on through the day."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.errors import InputError, quoted
from climate_risk.region.variables import STEP_SECONDS, Conversion, Step, listed

if TYPE_CHECKING:
    import xarray as xr

FloatArray = npt.NDArray[np.float64]

RUNNING = ("precip_mm", "sun")
SAMPLE_HOURS = 24 * 60
"""First hours of a few cells, from which running sums are told from those of an hour."""
FALL_SHARE = 0.01
"""Of the largest sum: a smaller fall is of packing, not a new sum."""


def clock(path: Path, data: xr.Dataset) -> tuple[xr.Dataset, Step, str, pd.DatetimeIndex]:
    """The dataset in order of time, its step, and its days or hours."""
    import cf_xarray  # noqa: F401
    import xarray as xr

    name = next((n for n in ("time", "valid_time", "day") if n in data.dims), None)
    if name is None:
        name = next((n for n in data.cf.axes.get("T", []) if n in data.dims), None)
    if name is None:
        raise InputError(
            f"{path}: no time axis among its dimensions {listed(list(map(str, data.dims)))}; "
            'accepted is one named "time", or with standard_name "time"'
        )
    index = data.indexes.get(name)
    if index is None or data.sizes[name] < 2:
        raise InputError(
            f"{path}, {quoted(name)}: {data.sizes[name]} times; accepted are two days or more, "
            "with their dates"
        )
    if isinstance(index, xr.CFTimeIndex):
        if index.calendar == "360_day":
            raise InputError(
                f"{path}, {quoted(name)}: a calendar of 360 days has no real dates; accepted are "
                "the standard calendar and one without leap days"
            )
        data = data.convert_calendar("standard", dim=name, use_cftime=False)
        index = data.indexes[name]
    if not isinstance(index, pd.DatetimeIndex):
        units = data[name].attrs.get("units", "")
        raise InputError(
            f"{path}, {quoted(name)}: {quoted(units or index[0])} cannot be read as dates; "
            'accepted are units such as "days since 1980-01-01"'
        )
    if not index.is_monotonic_increasing:
        data = data.sortby(name)
        index = data.indexes[name]
    spacing = float(np.median(np.diff(index.to_numpy()) / np.timedelta64(1, "s")))
    step: Step | None = next((s for s, n in STEP_SECONDS.items() if n == spacing), None)  # type: ignore[misc]
    if step is None:
        raise InputError(
            f"{path}, {quoted(name)}: the usual step of {spacing / 3600.0:g} hours is neither "
            "hourly nor daily; accepted is one value an hour or a day"
        )
    times = pd.DatetimeIndex(index).as_unit("s").floor("D" if step == "daily" else "h")
    if times.has_duplicates:
        twice = times[times.duplicated()][0]
        raise InputError(f"{path}, {quoted(name)}: {twice} stands twice; accepted is once")
    return data, step, name, times


def lag(data: xr.Dataset, time_name: str) -> int:
    """Hours from the start of an hour to the time its sums stand at.

    By the time's bounds where it has them; else sums and means on the full hour end there, as in
    reanalyses, and those at half past stand in the middle.
    """
    index = pd.DatetimeIndex(data.indexes[time_name])
    bounds = data[time_name].attrs.get("bounds")
    if bounds in data.variables:
        start = pd.DatetimeIndex(np.asarray(data[bounds].to_numpy()).reshape(len(index), -1)[:, 0])
        late = pd.Series(index.floor("h") - start.floor("h")).median()
        return int(late / pd.Timedelta(hours=1))
    return 1 if bool((index == index.floor("h")).all()) else 0


def running(
    data: xr.Dataset, times: pd.DatetimeIndex, conversions: dict[str, Conversion]
) -> frozenset[str]:
    """Sums that fall at 01 UTC alone: they run on from 00 UTC.

    By what the numbers do in a few cells; neither units nor attributes tell the sum of an hour
    from one that runs on.
    """
    keys = [key for key in RUNNING if key in data and not conversions[key].is_rate]
    if not keys:
        return frozenset()
    here = data["air_temp_c"].isel(time=0).notnull().to_numpy()
    cells = np.argwhere(here)
    found = set()
    for row, column in cells[:: max(len(cells) // 3, 1)][:3]:
        few = data[keys].isel(time=slice(SAMPLE_HOURS), y=row, x=column).load()
        for key in keys:
            values = few[key].to_numpy().astype(np.float64)
            if _falls_at_one(values, times[: len(values)]):
                found.add(key)
    return frozenset(keys) if found else frozenset()


def _falls_at_one(values: FloatArray, times: pd.DatetimeIndex) -> bool:
    least = FALL_SHARE * np.nanmax(values, initial=0.0)
    fell = np.diff(values) < -least
    at_one = times.hour.to_numpy()[1:] == 1
    return bool(fell[at_one].any() and not fell[~at_one].any())
