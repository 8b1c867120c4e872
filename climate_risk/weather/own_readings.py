"""What a grower measured at a stack: weighings of a witness piece, loggers in bag and on bark."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.errors import InputError, quoted, shown
from climate_risk.measured_options import Measured
from climate_risk.units import (
    celsius_from_fahrenheit,
    fahrenheit_from_celsius,
    kilograms_from_pounds,
)
from climate_risk.weather.dates import read_dates
from climate_risk.weather.text_table import read_text, text_table

FloatArray = npt.NDArray[np.float64]

LEAST_SHARE = 0.75
"""Of a day's hours that have a reading, under which the day is left out (our own choice)."""
_MASS = re.compile(r"(?:mass|weight)[\s_]*[\[(]?\s*(kg|lbs?)\s*[\])]?", re.IGNORECASE)
_MASS_WITHOUT_UNIT = re.compile(r"(?:mass|weight)\b.*", re.IGNORECASE)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True, kw_only=True)
class Weighings:
    """One piece weighed again and again, in order of the dates."""

    file: str
    days: tuple[date, ...]
    mass_kg: FloatArray
    lines: tuple[int, ...]
    """Of the file."""


@dataclass(frozen=True, kw_only=True)
class DailyReadings:
    """A logger's readings, one value a day."""

    file: str
    days: tuple[date, ...]
    values: FloatArray


@dataclass(frozen=True, kw_only=True)
class Measurements:
    """All that was measured at one stack."""

    weighings: Weighings | None = None
    bag_humidity_pct: DailyReadings | None = None
    """Mean of the day."""
    bark_temp_max_c: DailyReadings | None = None
    """Highest of the day."""
    inputs: Mapping[str, str] = field(default_factory=dict)
    """File name -> SHA-256."""


def read_measurements(measured: Measured, utc_offset_hours: int) -> Measurements:
    """Read every file that a yard's ``[measured]`` names.

    Raises
    ------
    InputError
        A file cannot be used; a line names file, line, column, value and what would do.
    """
    paths = (measured.weighings, measured.bag_hygrometer, measured.bark_thermometer)
    weighed, bag, bark = paths
    return Measurements(
        weighings=read_weighings(weighed) if weighed else None,
        bag_humidity_pct=_by_day(bag, utc_offset_hours, _HUMIDITY, "mean") if bag else None,
        bark_temp_max_c=_by_day(bark, utc_offset_hours, _BARK, "max") if bark else None,
        inputs={p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in paths if p},
    )


def read_weighings(path: Path) -> Weighings:
    """Read dates and masses of one piece.

    Raises
    ------
    InputError
        No such file, wrong columns, no unit, or cells that are no date or mass.
    """
    table, name, header_at = _table(path)
    header, factor = _mass_column(header_at, table)
    dates = next((c for c in table.columns if c.casefold() in ("date", "day")), None)
    if dates is None:
        raise InputError(
            f"{header_at}: no date column among {_listed(table)}; accepted is a column date, with "
            "days such as 2026-05-03, beside mass_kg or mass_lb"
        )
    mistakes, found = [], []
    for line, day, mass in zip(table.index, table[dates], table[header], strict=True):
        at = f"{name}, line {line}"
        when = _day(day)
        if when is None:
            mistakes.append(f"{at}, column {quoted(dates)}: {quoted(day)} is not a date; accepted "
                            "is 2026-05-03")  # fmt: skip
        try:
            weight = kilograms_from_pounds(float(mass)) if factor == "lb" else float(mass)
        except ValueError:
            weight = float("nan")
        if not (np.isfinite(weight) and weight > 0.0):
            mistakes.append(f"{at}, column {quoted(header)}: {quoted(mass)} is not a mass; "
                            "accepted is a number above 0")  # fmt: skip
        found.append((when, int(line), weight))
    if mistakes:
        raise InputError(*mistakes)
    ordered = sorted((day, line, mass) for day, line, mass in found if day is not None)
    for (day, line, _), (again, twin, _) in pairwise(ordered):
        if day == again:
            raise InputError(
                f"{name}, lines {line} and {twin}: {day} stands twice; accepted is one weighing "
                "a day"
            )
    return Weighings(
        file=name,
        days=tuple(day for day, _, _ in ordered),
        mass_kg=np.array([mass for _, _, mass in ordered]),
        lines=tuple(line for _, line, _ in ordered),
    )


def _table(path: Path) -> tuple[pd.DataFrame, str, str]:
    """A file's cells, its name, and how messages name its header's line."""
    if not path.exists():
        raise InputError(f"{shown(path)}: no such file; accepted is the path of a CSV file")
    name = shown(path.name)
    table = text_table(Path(name), read_text(path))
    return table, name, f"{name}, line {table.attrs['header_line']}"


def _mass_column(at: str, table: pd.DataFrame) -> tuple[str, str]:
    """Header of the masses, and ``kg`` or ``lb``."""
    found = {header: _MASS.fullmatch(str(header).strip()) for header in table.columns}
    headers = [str(header) for header, match in found.items() if match]
    if len(headers) > 1:
        both = " and ".join(quoted(header) for header in headers)
        raise InputError(f"{at}: columns {both} both hold masses; accepted is one of them")
    for header, match in found.items():
        if match:
            return str(header), match[1].lower().removesuffix("s")
    for header in table.columns:
        if _MASS_WITHOUT_UNIT.fullmatch(str(header).strip()):
            raise InputError(
                f"{at}, column {quoted(header)}: no unit; accepted is mass_kg or mass_lb"
            )
    raise InputError(
        f"{at}: no mass among {_listed(table)}; accepted is a column mass_kg or mass_lb"
    )


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        return None


def _listed(table: pd.DataFrame) -> str:
    return shown(", ".join(map(str, table.columns)))


@dataclass(frozen=True)
class _Kind:
    """One quantity of a logger: how its header reads, and what is possible."""

    header: re.Pattern[str]
    accepted: str
    low: float
    high: float


_HUMIDITY = _Kind(
    re.compile(
        r"(?:rel(?:ative)?[\s_]*)?(?:humidity|rh)[\s_]*[\[(]?\s*(%|pct|percent)\s*[\])]?", re.I
    ),
    "rel_humidity_pct", 1.0, 105.0,
)  # fmt: skip
_BARK = _Kind(
    re.compile(r"(?:bark[\s_]*)?temp(?:erature)?[\s_]*[\[(]?\s*°?(c|f)\s*[\])]?", re.I),
    "bark_temp_c or bark_temp_f", -50.0, 100.0,
)  # fmt: skip


def _by_day(path: Path, offset_hours: int, kind: _Kind, how: str) -> DailyReadings:
    """A logger's readings as one value for each day that has most of its hours."""
    table, name, header_at = _table(path)
    times = next((c for c in table.columns if c.casefold().startswith(("time", "date"))), None)
    column = next((c for c in table.columns if kind.header.fullmatch(str(c).strip())), None)
    if times is None or column is None:
        raise InputError(
            f"{header_at}: no {'time' if times is None else kind.accepted.split(' ')[0]} among "
            f"{_listed(table)}; accepted are the columns time and {kind.accepted}"
        )
    stamps = read_dates(table[times], f"{name}, column {quoted(times)}", offset_hours, None)
    numbers = pd.to_numeric(table[column].mask(table[column] == ""), errors="coerce")
    unit = kind.header.fullmatch(column.strip())
    in_fahrenheit = unit is not None and unit[1].lower() == "f"
    low, high = kind.low, kind.high
    if in_fahrenheit:
        low, high = fahrenheit_from_celsius(low), fahrenheit_from_celsius(high)
    cells = table[column]
    bad = (cells != "") & ~numbers.between(low, high)
    if bad.any():
        raise InputError(
            *(
                f"{name}, line {line}, column {quoted(column)}: {quoted(cells.loc[line])} cannot "
                f"be; accepted is a number from {low:g} to {high:g} for "
                f"{kind.accepted}, or blank for missing"
                for line in cells.index[bad]
            )
        )
    values = numbers.to_numpy(np.float64)
    values = celsius_from_fahrenheit(values) if in_fahrenheit else values
    series = pd.Series(values, index=stamps).dropna()
    hours = series.groupby(pd.DatetimeIndex(series.index).floor("h")).agg(how)
    days = hours.groupby(pd.DatetimeIndex(hours.index).normalize())
    daily = days.agg(how)[days.size() >= LEAST_SHARE * HOURS_PER_DAY]
    if daily.empty:
        raise InputError(
            f"{name}: no day with readings in {LEAST_SHARE * HOURS_PER_DAY:.0f} of its hours; "
            "accepted is a reading every hour or oftener"
        )
    return DailyReadings(
        file=name,
        days=tuple(stamp.date() for stamp in pd.DatetimeIndex(daily.index)),
        values=daily.to_numpy(np.float64),
    )
