"""A grower's logger below the canopy: its air replaces the modelled air of that stand.

Outside the hours it has, the modelled air is moved by what the two differed by over the hours
they share, by hour of the day, within a season of those hours. Whether that helps is measured
by holding out one week in two; it is used only where it does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import (
    HOURS_PER_DAY,
    KELVIN_AT_0_C,
    WATER_VAPOUR_GAS_CONSTANT_J_KG_K,
)
from climate_risk.errors import plural
from climate_risk.microclimate.stand import StandWeather, below_canopy
from climate_risk.tables import canopies, model
from climate_risk.weather.psychro import dew_point_c, saturation_vapour_pressure_kpa
from climate_risk.weather.record import Given, HourlyWeather, first_flags, given
from climate_risk.weather.sources import read_stand
from climate_risk.weather_options import WeatherOptions
from climate_risk.yard import Yard

FloatArray = npt.NDArray[np.float64]

SEASON_DAYS = 45
"""A difference is carried this many days of the year beyond the days it was seen on."""
LEAST_DAYS = 14
"""Shared days under which no difference is learned."""
DRAW_WIDTH = 3.0**0.5
"""Half the width of an even spread over its standard deviation."""


@dataclass(frozen=True, kw_only=True)
class StandLog:
    """Hourly readings below the canopy of a yard, on the site's standard clock."""

    name: str
    canopy: str
    """Of the yard: other stands have no logger."""
    table: pd.DataFrame
    """``air_temp_c`` and ``dew_point_c``, hourly DatetimeIndex, NaN where missing."""

    def given(self) -> tuple[Given, ...]:
        """What it gave, for the list of sources."""
        return given(first_flags(self.table.add_suffix(" in the stand")), self.name, "hourly")


@dataclass(frozen=True, kw_only=True)
class Offset:
    """What a logger differs from the modelled air of its stand, by hour of the day."""

    temp_k: FloatArray
    """(24,) logger less model."""
    dew_k: FloatArray
    """(24,)"""
    days: int
    """Days with readings in both."""
    error_before_k: float
    """Root mean square of model less logger, air temperature, in the weeks held out."""
    error_after_k: float
    """The same with the difference of the other weeks taken off."""
    doubt_k: float
    """Standard error of the mean difference, from the scatter of its weeks."""

    @property
    def helps(self) -> bool:
        """Whether held-out weeks are met better with it."""
        return self.days >= LEAST_DAYS and self.error_after_k < self.error_before_k


Log = tuple[StandLog, Offset]


def read_log(
    yard: Yard,
    options: WeatherOptions,
    hourly: HourlyWeather,
    first: date | None,
    last: date | None,
) -> tuple[Log | None, tuple[str, ...]]:
    """The yard's logger below the canopy with what was learned from it, and what to say of it.

    Raises
    ------
    InputError
        Its file cannot be used.
    """
    found = read_stand(options, yard.site, first, last)
    if found is None:
        return None, ()
    name, table, notes = found
    log = StandLog(name=name, canopy=yard.canopy, table=table)
    stand = below_canopy(hourly, canopies()[yard.canopy], yard.site, yard.openness)
    offset = learn_offset(stand, log)
    said = (
        f"{name} in the stand: its air is used on {plural(offset.days, 'day')}; on the weeks "
        f"held out the modelled air was {offset.error_before_k:.1f} K off it, with the "
        f"difference of the other weeks {offset.error_after_k:.1f} K"
    )
    use = "used near that season" if offset.helps else "not used outside these days"
    return (log, offset), (*notes, f"{said}; that difference is {use}")


def learn_offset(stand: StandWeather, log: StandLog) -> Offset:
    """Difference of a logger from the modelled stand over the hours both have."""
    air, dew = _read(stand, log)
    temp_off, dew_off = air - stand.air_temp_c, dew - dew_point_c(stand.vapour_pressure_kpa)
    known = np.isfinite(temp_off)
    week = np.arange(len(air)) // (7 * HOURS_PER_DAY)
    before, after = [], []
    for held in (0, 1):
        learned = _by_hour(np.where(week % 2 != held, temp_off, np.nan))
        test = known & (week % 2 == held)
        left = temp_off - np.tile(learned, len(air) // HOURS_PER_DAY)
        before.append(temp_off[test])
        after.append(left[test])
    return Offset(
        temp_k=_by_hour(temp_off),
        dew_k=_by_hour(dew_off),
        days=int(known.reshape(-1, HOURS_PER_DAY).any(axis=1).sum()),
        error_before_k=_rms(np.concatenate(before)),
        error_after_k=_rms(np.concatenate(after)),
        doubt_k=_standard_error(np.asarray(pd.Series(temp_off).groupby(week).mean())),
    )


def with_log(stand: StandWeather, log: StandLog, offset: Offset) -> StandWeather:
    """A stand's weather with the logger's air where it has any, the moved model elsewhere.

    Long-wave follows the air that sends it, the ground's warmth the air above it.
    """
    air, dew = _read(stand, log)
    model_air, model_dew = stand.air_temp_c, dew_point_c(stand.vapour_pressure_kpa)
    if offset.helps:
        near = _near_season(stand.time, np.isfinite(air))
        days = len(air) // HOURS_PER_DAY
        model_air = model_air + np.where(near, np.tile(offset.temp_k, days), 0.0)
        model_dew = model_dew + np.where(near, np.tile(offset.dew_k, days), 0.0)
    new_air = np.where(np.isfinite(air), air, model_air)
    new_dew = np.minimum(np.where(np.isfinite(dew), dew, model_dew), new_air)
    kelvin, before = new_air + KELVIN_AT_0_C, stand.air_temp_c + KELVIN_AT_0_C
    vapour = saturation_vapour_pressure_kpa(new_dew)
    settle = 1.0 - np.exp(-1.0 / (HOURS_PER_DAY * model().soil_filter_days.value))
    return replace(
        stand,
        air_temp_c=new_air,
        vapour_pressure_kpa=vapour,
        vapour_density_kg_m3=1000.0 * vapour / (WATER_VAPOUR_GAS_CONSTANT_J_KG_K * kelvin),
        longwave_w_m2=stand.longwave_w_m2 * (kelvin / before) ** 4,
        ground_temp_c=pd.Series(new_air).ewm(alpha=settle, adjust=False).mean().to_numpy(),
    )


def doubt_of_air(
    stand: StandWeather, log: StandLog, offset: Offset, outside: FloatArray | float
) -> FloatArray:
    """Share of doubt about the air's warmth in a stand, (hours,).

    None where the logger read, its difference's own where that was carried, else what
    ``outside`` says of the weather above.
    """
    read = np.isfinite(_read(stand, log)[0])
    share = np.broadcast_to(np.asarray(outside, dtype=np.float64), read.shape)
    if offset.helps:
        own = DRAW_WIDTH * offset.doubt_k / model().estimated_temp_error_k.high
        near = _near_season(stand.time, read)
        share = np.where(near, np.maximum(share, min(own, 1.0)), share)
    result: FloatArray = np.where(read, 0.0, share)
    return result


def has_humidity(stand: StandWeather, log: StandLog) -> npt.NDArray[np.bool_]:
    """Hours of a stand in which its logger measured humidity."""
    return np.isfinite(_read(stand, log)[1])


def _read(stand: StandWeather, log: StandLog) -> tuple[FloatArray, FloatArray]:
    """The logger's air and dew point on the hours of the stand, NaN where it has none."""
    table = log.table.reindex(pd.DatetimeIndex(stand.time))
    return (
        table["air_temp_c"].to_numpy(np.float64),
        table["dew_point_c"].to_numpy(np.float64),
    )


def _by_hour(values: FloatArray) -> FloatArray:
    """Mean of each hour of the day; 0 where there is none."""
    days = values.reshape(-1, HOURS_PER_DAY)
    known = np.isfinite(days)
    total = np.where(known, days, 0.0).sum(axis=0)
    count = known.sum(axis=0)
    mean: FloatArray = np.divide(total, count, out=np.zeros(HOURS_PER_DAY), where=count > 0)
    return mean


def _near_season(
    time: npt.NDArray[np.datetime64], known: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Hours whose day of the year is near one on which the logger read, shape (hours,)."""
    day = pd.DatetimeIndex(time[::HOURS_PER_DAY]).day_of_year.to_numpy()
    read = np.unique(day[known.reshape(-1, HOURS_PER_DAY).any(axis=1)])
    if read.size == 0:
        return np.zeros(time.size, dtype=np.bool_)
    apart = np.abs(np.arange(367)[:, None] - read)
    nearest = np.minimum(apart, 366 - apart).min(axis=1)
    result: npt.NDArray[np.bool_] = np.repeat(nearest[day] <= SEASON_DAYS, HOURS_PER_DAY)
    return result


def _standard_error(means: FloatArray) -> float:
    known = means[np.isfinite(means)]
    return float(np.std(known, ddof=1) / np.sqrt(known.size)) if known.size > 1 else float("inf")


def _rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2))) if values.size else float("nan")
