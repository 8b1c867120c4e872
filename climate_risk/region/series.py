"""One cell's numbers as a weather record, with the checks and fills of any other source."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.region.variables import MISSING_BELOW, STEP_SECONDS, Conversion, Step
from climate_risk.site import Site
from climate_risk.weather import psychro
from climate_risk.weather.record import RawWeather, first_flags

FloatArray = npt.NDArray[np.float64]

VAPOUR_RATIO = 0.622
"""Of the molar masses of water and dry air, which ties specific humidity to vapour pressure."""
DIRECT = ("air_temp_min_c", "air_temp_max_c", "rel_humidity_pct", "dew_point_c", "precip_mm",
          "wind_ms", "pressure_hpa")  # fmt: skip
MORNING = ("air_temp_max_c", "air_temp_mean_c", "dew_point_c", "rel_humidity_pct", "precip_mm",
           "shortwave_mj_m2")  # fmt: skip
"""What a day that ends in the morning has mostly from the day before."""
HOUR_SUMS = ("precip_mm", "shortwave_w_m2")


def raw_weather(
    values: Mapping[str, FloatArray],
    conversions: Mapping[str, Conversion],
    times: pd.DatetimeIndex,
    site: Site,
    *,
    source: str,
    step: Step,
    running: frozenset[str] = frozenset(),
    lag_h: int = 0,
    is_morning_day: bool = False,
) -> RawWeather:
    """A cell's record in canonical columns and units, gaps still open.

    Parameters
    ----------
    values : mapping of key to array, shape (times,)
        Numbers as in the file.
    conversions : mapping
        How each becomes ours.
    times : DatetimeIndex
        Days, or hours of UTC; an hourly record is brought to the site's standard clock.
    site : Site
    source : str
        What a message calls it.
    step : str
    running, lag_h, is_morning_day
        See `grid.Grid`.
    """
    ours = {key: _ours(each, conversions[key]) for key, each in values.items()}
    for key in running & set(ours):
        ours[key] = hour_sums(ours[key], times)
    columns = {key: ours[key] for key in DIRECT if key in ours}
    temp = "air_temp_mean_c" if step == "daily" else "air_temp_c"
    if "air_temp_c" in ours:
        columns[temp] = ours["air_temp_c"]
    if "wind_ms" not in ours and {"wind_east_ms", "wind_north_ms"} <= set(ours):
        columns["wind_ms"] = np.hypot(ours["wind_east_ms"], ours["wind_north_ms"])
    if "sun" in ours:
        sun = ours["sun"]
        if "day_length_s" in ours and conversions["sun"].is_rate:
            sun = sun * ours["day_length_s"] / STEP_SECONDS["daily"]
        if step == "daily":
            columns["shortwave_mj_m2"] = sun
        else:
            columns["shortwave_w_m2"] = sun * 1e6 / STEP_SECONDS["hourly"]
    _humidity(ours, columns, site)
    table = pd.DataFrame(columns, index=times)
    if step == "hourly":
        table = _on_local_clock(table, site, lag_h)
    elif is_morning_day:
        table = _earlier(table, [n for n in MORNING if n in table], pd.Timedelta(days=1))
    return RawWeather(table=table, quality=first_flags(table), step=step, source=source,
                      attribution=f"the user's grid {source}")  # fmt: skip


def _ours(values: FloatArray, how: Conversion) -> FloatArray:
    numbers = np.asarray(values, dtype=np.float64)
    numbers = np.where(numbers < MISSING_BELOW, np.nan, numbers)
    if how.scale == 1.0 and how.offset == 0.0:
        return numbers
    converted: FloatArray = numbers * how.scale + how.offset
    return converted


def hour_sums(values: FloatArray, times: pd.DatetimeIndex) -> FloatArray:
    """Sums of single hours from sums that run on from 00 UTC; shape (times,).

    The sum at 01 UTC is that of its own hour; any other is less the one before, and unknown where
    that is missing.
    """
    before = np.concatenate([[np.nan], values[:-1]])
    gap = np.diff(times.to_numpy(), prepend=times[:1].to_numpy()) != np.timedelta64(1, "h")
    before[gap] = np.nan
    before[times.hour == 1] = 0.0
    sums: FloatArray = np.maximum(values - before, 0.0)
    return sums


def _humidity(ours: Mapping[str, FloatArray], columns: dict[str, FloatArray], site: Site) -> None:
    """Dew point from the best that the grid has: itself, vapour, or relative humidity."""
    if "dew_point_c" in columns:
        columns.pop("rel_humidity_pct", None)
    elif "specific_humidity" in ours:
        # Wallace and Hobbs 2006, Atmospheric Science, eq. 3.59 (from memory).
        pressure = ours.get("pressure_hpa", psychro.pressure_hpa(site.elevation_m)) / 10.0
        share = ours["specific_humidity"]
        vapour = share * pressure / (VAPOUR_RATIO + (1.0 - VAPOUR_RATIO) * share)
        columns["dew_point_c"] = psychro.dew_point_c(vapour)
    elif "vapour_pressure_kpa" in ours:
        columns["dew_point_c"] = psychro.dew_point_c(ours["vapour_pressure_kpa"])
    elif {"rel_humidity_min_pct", "rel_humidity_max_pct"} <= set(ours):
        both = ours["rel_humidity_min_pct"] + ours["rel_humidity_max_pct"]
        columns.setdefault("rel_humidity_pct", both / 2.0)


def _on_local_clock(table: pd.DataFrame, site: Site, lag_h: int) -> pd.DataFrame:
    """Hours by the site's standard clock, sums and means labelled by the start of their hour."""
    sums = [name for name in HOUR_SUMS if name in table]
    table = _earlier(table, sums, pd.Timedelta(hours=lag_h))
    index = pd.DatetimeIndex(table.index) + pd.Timedelta(hours=site.utc_offset_hours)
    return table.set_axis(index, axis=0)


def _earlier(table: pd.DataFrame, names: list[str], by: pd.Timedelta) -> pd.DataFrame:
    """Some columns given to the time before; a time that gets none is missing."""
    index = pd.DatetimeIndex(table.index)
    moved = table[names].set_axis(index - by, axis=0).reindex(index)
    return table.assign(**{name: moved[name] for name in names})
