"""What the weather stage hands on: a checked table, its flags, and hourly arrays."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

FloatArray = npt.NDArray[np.float64]

FORECAST = "forecast"
"""Flag of a value that a weather service foretells."""
FROM = ", from "
"""Stands before the source in the flag of a doubted value, where there are several sources."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """What one source gave of one column."""

    column: str
    source: str
    first: date
    last: date
    values: int
    of: Literal["days", "hours"]


@dataclass(frozen=True, kw_only=True)
class WeatherCoverage:
    """How much of the weather was observed and how the rest was filled.

    Days that are forecast are not counted here.
    """

    source: str
    first: date
    last: date
    days: int
    filled: dict[str, dict[str, int]]
    """Column -> way of filling -> number of days (or hours in an hourly source)."""
    estimated: dict[str, str]
    """Column that the source lacks -> how it was estimated."""
    warnings: tuple[str, ...]
    attribution: str
    partial: bool = False
    """True where something could not be had this time that may be had the next."""
    forecast_to: date | None = None
    """Last of the days after ``last`` that the service forecasts; None where there are none."""
    given: tuple[Given, ...] = ()
    """Who gave which values; doubted ones that were kept are among them, filled ones are not."""

    @property
    def filled_count(self) -> int:
        """Missing values that were filled, of all kinds."""
        return sum(count for ways in self.filled.values() for count in ways.values())


@dataclass(frozen=True, kw_only=True)
class RawWeather:
    """Weather as a source gave it: canonical columns and units, gaps still open."""

    table: pd.DataFrame
    """Some of the canonical columns, sorted unique DatetimeIndex, NaN where missing."""
    quality: pd.DataFrame
    """Same index and columns: observed, forecast, missing, ``suspect: why``, ``filled: how``."""
    step: Literal["daily", "hourly"]
    source: str
    attribution: str = ""
    warnings: tuple[str, ...] = ()
    partial: bool = False
    """True where something could not be had this time that may be had the next."""


@dataclass(frozen=True, kw_only=True)
class WeatherRecord:
    """A checked, gap-free weather table with a flag beside every value."""

    table: pd.DataFrame
    """Canonical columns, DatetimeIndex in local standard time, no missing value."""
    quality: pd.DataFrame
    """Same index and columns: observed, forecast, suspect, ``filled: how``, ``estimated: how``."""
    step: Literal["daily", "hourly"]
    coverage: WeatherCoverage


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """How much of an hour's value rests on an estimate, 0 (measured) to 1; shape (hours,) or one.

    What a whole estimate may be off by is drawn, the same for all hours of a run: errors of
    single days even out in wood, one that stays does not.
    """

    temp: FloatArray | float = 0.0
    rain: FloatArray | float = 0.0
    humidity: FloatArray | float = 0.0
    sun: FloatArray | float = 0.0
    wind: FloatArray | float = 0.0


@dataclass(frozen=True, kw_only=True)
class HourlyWeather:
    """What the open-air station would have seen, hour by hour; every array has shape (hours,).

    Hours are labelled by their start, in the fixed local standard time of the site, and
    whole days are covered; the sun stands at its mid-hour place.
    """

    time: npt.NDArray[np.datetime64]
    """datetime64[h]."""
    air_temp_c: FloatArray
    vapour_pressure_kpa: FloatArray
    wind_10m_ms: FloatArray
    precip_mm: FloatArray
    pressure_hpa: FloatArray
    shortwave_w_m2: FloatArray
    """Global on the horizontal."""
    beam_normal_w_m2: FloatArray
    diffuse_w_m2: FloatArray
    """Diffuse on the horizontal."""
    sun_elevation_deg: FloatArray
    sun_azimuth_deg: FloatArray
    """Clockwise from north."""
    observed: npt.NDArray[np.bool_]
    """False where temperature, humidity or rain of the hour was filled or is forecast."""
    doubt: Doubt = Doubt()
    forecast_days: int = 0
    """Days at the end that nobody has seen yet."""


@dataclass(frozen=True, kw_only=True)
class Spell:
    """Values in a row, or nearly so, that carry one flag."""

    column: str
    flag: str
    first: date
    last: date
    values: int


@dataclass(frozen=True, kw_only=True)
class WeatherSummary:
    """What the weather command shows."""

    yard_name: str
    invented: bool
    tolerated_chance: float
    currency: str
    units: str
    inputs: dict[str, str]
    coverage: WeatherCoverage
    step: str
    days: pd.DataFrame
    """By day: ``air_temp_min_c``, ``air_temp_max_c``, ``rel_humidity_pct``, ``precip_mm``."""
    usual: pd.DataFrame
    """By day: the record's own normals of the two extremes, and ``place_c``, a rough one."""
    shares: dict[str, pd.DataFrame]
    """Column -> month (rows) by kind of value (columns), shares that sum to 1."""
    spells: tuple[Spell, ...]
    """Flagged or filled, in order of time."""

    def seen_by_month(self) -> pd.Series:
        """Share of each month's values, over all columns shown, seen and not doubted."""
        parts = [shares["observed"] for shares in self.shares.values()]
        return pd.concat(parts, axis=1).mean(axis=1)

    def flag_counts(self) -> dict[str, dict[str, int]]:
        """Column -> flag -> number of values."""
        counts: dict[str, Counter[str]] = {}
        for spell in self.spells:
            counts.setdefault(spell.column, Counter())[spell.flag] += spell.values
        return {name: dict(flags) for name, flags in counts.items()}


def first_flags(table: pd.DataFrame) -> pd.DataFrame:
    """Flags of a table as it came: ``observed`` where there is a value, else ``missing``."""
    return pd.DataFrame(
        np.where(table.notna(), "observed", "missing"), index=table.index, columns=table.columns
    ).astype(object)


def given(quality: pd.DataFrame, source: str, step: str) -> tuple[Given, ...]:
    """Which source gave how many values of each column, read from the flags.

    Parameters
    ----------
    quality : DataFrame
    source : str
        Of values whose flag names none.
    step : str
        ``daily`` or ``hourly``.
    """
    index, found = pd.DatetimeIndex(quality.index), []
    for name in map(str, quality.columns):
        codes, kinds = pd.factorize(quality[name])
        by_source: dict[str, list[int]] = {}
        for code, kind in enumerate(map(str, kinds)):
            word, _, rest = kind.partition(": ")
            if word in ("observed", "suspect"):
                who = rest if word == "observed" else rest.partition(FROM)[2]
                by_source.setdefault(who or source, []).append(code)
        for who, own in by_source.items():
            rows = np.flatnonzero(np.isin(codes, own))
            found.append(
                Given(
                    column=name,
                    source=who,
                    first=index[rows[0]].date(),
                    last=index[rows[-1]].date(),
                    values=len(rows),
                    of="days" if step == "daily" else "hours",
                )
            )
    return tuple(found)


def forecast_start(quality: pd.DataFrame) -> pd.Timestamp | None:
    """First of the days at a record's end that are forecast, if in part; None without such."""
    ahead = pd.DatetimeIndex(quality.index[(quality == FORECAST).any(axis=1)])
    return ahead[0].normalize() if len(ahead) else None


def is_filled(flags: pd.Series) -> pd.Series:
    """True where a value was filled; looks at the few distinct flags, not at every row."""
    return flags.isin([flag for flag in flags.unique() if str(flag).startswith("filled")])
