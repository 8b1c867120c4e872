"""Weeks for felling and inoculating, from the site's own past weather."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.fungus.formulas import temperature_response
from climate_risk.microclimate.canopy import leaf_share
from climate_risk.risk.results import SpellLimits
from climate_risk.risk.results_plan import Ranged, Spring, Weeks, Window
from climate_risk.site import Site
from climate_risk.tables import Fungus, batch
from climate_risk.weather.record import HourlyWeather

FloatArray = npt.NDArray[np.float64]

HALF_YEAR_D = 182
"""Between the seasons of the hemispheres, as for leaves."""
SPRING_D = 212
"""The days looked at, from the first of January (or July in the south): to the end of July."""
YEAR_D = 365
LEAVES_OUT, LEAVES_DOWN = 0.1, 0.5
"""Share of the leaves on the day they count as out, or as down."""
FROST_C = 0.0
QUANTILES = (0.1, 0.5, 0.9)


@dataclass(frozen=True, kw_only=True)
class Springs:
    """The first halves of the years of a record; arrays of shape (years, SPRING_D)."""

    south: bool
    day_max_c: FloatArray
    hour_c: FloatArray
    """(years, SPRING_D, 24)."""
    leaves: FloatArray
    leaf_fall: int
    """Day of a usual year, counted as these, on which half of the leaves are down."""

    @property
    def years(self) -> int:
        return len(self.day_max_c)


def springs_of(weather: HourlyWeather, site: Site, last: date) -> Springs:
    """The whole first halves of the years that a record holds.

    Parameters
    ----------
    weather : HourlyWeather
        Of whole days.
    site : Site
    last : date
        Last day that was seen.
    """
    hour_c = weather.air_temp_c.reshape(-1, HOURS_PER_DAY)
    days = pd.DatetimeIndex(weather.time[::HOURS_PER_DAY])
    seen = days <= pd.Timestamp(last)
    hour_c, days = hour_c[seen], days[seen]
    south = site.latitude < 0.0
    shifted = days + pd.Timedelta(days=HALF_YEAR_D if south else 0)
    leaves = leaf_share(days, hour_c.mean(axis=1), site)
    starts = [
        place
        for place in np.flatnonzero(shifted.day_of_year == 1)
        if place + SPRING_D <= len(days)
    ]
    rows = np.array(starts, dtype=np.int64)[:, None] + np.arange(SPRING_D)
    usual = pd.date_range("2001-01-01", periods=YEAR_D) - (shifted[0] - days[0])
    leaves_of_year = leaf_share(usual, np.zeros(YEAR_D), site)
    return Springs(
        south=south,
        day_max_c=hour_c.max(axis=1)[rows],
        hour_c=hour_c[rows],
        leaves=leaves[rows],
        leaf_fall=int(last_day(leaves_of_year[None, :] >= LEAVES_DOWN)[0]) + 1,
    )


def last_day(condition: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """By row: number of the last day, from 1, on which it holds; 0 if on none."""
    backwards = condition[:, ::-1]
    found = condition.shape[1] - np.argmax(backwards, axis=1)
    return np.where(condition.any(axis=1), found, 0)


def first_day(condition: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """By row: number of the first day on which it holds; one past the last if on none."""
    found = np.where(condition.any(axis=1), np.argmax(condition, axis=1), condition.shape[1])
    return np.asarray(found + 1)


def hot_spell_starts(day_max_c: FloatArray, limits: SpellLimits) -> npt.NDArray[np.int64]:
    """By row: first of so many days in a row at least so warm."""
    hot = day_max_c >= limits.air_temp_min_c
    spell = np.ones_like(hot)
    for ahead in range(limits.days):
        spell &= np.pad(hot[:, ahead:], ((0, 0), (0, ahead)))
    return first_day(spell)


def growing(fungus: Fungus, hour_c: FloatArray) -> FloatArray:
    """Growth of each day over a day at the best temperature, from its hours on the last axis."""
    limits = (fungus.temp_min_c.value, fungus.temp_opt_c.value, fungus.temp_max_c.value)
    grid = np.arange(-60.0, 70.0, 0.1)
    curve = np.array([temperature_response(temp_c, *limits) for temp_c in grid])
    return np.asarray(np.interp(hour_c, grid, curve).mean(axis=-1))


def latest_starts(growth: FloatArray, before: npt.NDArray[np.int64], lag_d: float) -> FloatArray:
    """By row: last day from which growth up to the day ``before`` makes up the lag; 0: none."""
    days = np.arange(1, growth.shape[1] + 1)
    counted = np.where(days < before[:, None], growth, 0.0)
    left = np.cumsum(counted[:, ::-1], axis=1)[:, ::-1]
    return last_day(left >= lag_d).astype(np.float64)


def spring_of(springs: Springs, limits: SpellLimits) -> Spring:
    """When frost ends, leaves come and heat begins."""
    heat = hot_spell_starts(springs.day_max_c, limits)
    is_hot = np.median(heat) <= SPRING_D
    return Spring(
        years=springs.years,
        last_frost_day=_days(last_day(springs.day_max_c <= FROST_C), springs.south),
        leaf_day=_days(first_day(springs.leaves >= LEAVES_OUT), springs.south),
        heat_day=_days(heat, springs.south) if is_hot else None,
        leaf_fall_day=_of_year(springs.leaf_fall, springs.south),
    )


def weeks_of(springs: Springs, fungus: Fungus, limits: SpellLimits) -> Weeks:
    """Weeks that would have served in most of the past years.

    Inoculating begins when days no longer stay frozen and ends so that even a slow spawn has
    leapt off before the first hot spell; felling lies between leaf fall and the swelling of the
    buds, and as long before as wood may rest.  All of it common practice, no source, except the
    growth of the fungus and the dates of the leaves.
    """
    rules = batch()
    sure = rules.sure_share.value
    rest_least, rest_most = rules.rest_least_d.value, rules.rest_most_d.value
    growth = growing(fungus, springs.hour_c)
    frost = last_day(springs.day_max_c <= FROST_C) + 1
    latest = latest_starts(
        growth, hot_spell_starts(springs.day_max_c, limits), fungus.spawn_lag_gdays.high
    )
    swell = first_day(springs.leaves >= LEAVES_OUT) - rules.bud_swell_lead_d.value
    buds = _floor(np.quantile(swell, 1.0 - sure))
    first = int(np.ceil(np.quantile(frost, sure)))
    last = min(_floor(np.quantile(latest, 1.0 - sure)), buds + int(rest_most))
    cut_first = max(first - int(rest_most), springs.leaf_fall - YEAR_D)
    cut_last = min(buds, last - int(rest_least))
    first = max(first, cut_first + int(rest_least))
    return Weeks(
        felling=_window(cut_first, cut_last, springs.south),
        inoculation=_window(first, last, springs.south),
        leap_off_days=_leap_off(growth, fungus, (first + last) // 2),
    )


def _leap_off(growth: FloatArray, fungus: Fungus, start: int) -> Ranged:
    """Days from a start until the lag is made up: the middle year, and its span."""
    lag = fungus.spawn_lag_gdays
    made = np.cumsum(growth[:, max(start - 1, 0) :], axis=1)

    def days(lag_d: float, share: float) -> float:
        return float(np.quantile(first_day(made >= lag_d), share))

    return Ranged(value=days(lag.value, 0.5), low=days(lag.low, 0.1), high=days(lag.high, 0.9))


def _floor(value: float) -> int:
    return int(np.floor(value))


def _window(first: int, last: int, south: bool) -> Window | None:
    if first > last:
        return None
    return Window(first_day=_of_year(first, south), last_day=_of_year(last, south))


def _days(found: npt.NDArray[np.int64], south: bool) -> tuple[int, int, int]:
    low, middle, high = (
        _of_year(round(float(np.quantile(found, share))), south) for share in QUANTILES
    )
    return low, middle, high


def _of_year(day: int, south: bool) -> int:
    """Day of a common year, 1 to 365, from a count that starts with the hemisphere's winter."""
    return (day - 1 - (HALF_YEAR_D if south else 0)) % YEAR_D + 1
