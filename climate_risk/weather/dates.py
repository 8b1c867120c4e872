"""Dates and times of a weather file, read by one format for the whole file or not at all."""

from __future__ import annotations

import re
from datetime import timedelta

import numpy as np
import pandas as pd

from climate_risk.errors import InputError, quoted

FIRST_YEAR, LAST_YEAR = 1850, 2120
"""Weather before the first networks, or of a far future, is a slip of the pen."""
ALONE_DAYS = 400
"""Rows farther than this from all the others are asked about, if they are few."""
FEW_ROWS = 40
_DATES = (
    "%Y-%m-%d", "%Y/%m/%d", "%Y%m%d", "%m/%d/%Y", "%d/%m/%Y", "%d.%m.%Y", "%m-%d-%Y", "%d-%m-%Y",
    "%m/%d/%y", "%d/%m/%y", "%d.%m.%y", "%d %b %Y", "%d-%b-%Y", "%b %d %Y",
)  # fmt: skip
_TIMES = ("%H:%M", "%H:%M:%S", "%H:%M:%S.%f", "%H:%M%z", "%H:%M:%S%z")
_CLOCKS = ("", *(mark + time for mark in " T" for time in _TIMES), " %I:%M %p", " %I:%M:%S %p")
_EPOCH = re.compile(r"\d{10}")
_OFFSET_IN_HEADER = re.compile(r"(?:UTC|GMT)\s*([+-])(\d{1,2}):?(\d{2})?", re.IGNORECASE)


def read_dates(
    cells: pd.Series,
    where: str,
    offset_hours: int,
    date_format: str | None,
    zone: str | None = None,
) -> pd.DatetimeIndex:
    """Read a column of dates or times.

    Parameters
    ----------
    cells : Series of str
        The index is the line number, the name the header (which may state an offset).
    where : str
        File and column, for messages.
    offset_hours : int
        Local standard time less UTC; times that carry an offset are brought to it.
    date_format : str or None
        A strptime format; None tries the common ones.
    zone : str or None
        Name of the civil clock that the times were kept by (IANA, such as
        ``America/New_York``), summer time and all; None: the site's standard time.

    Returns
    -------
    DatetimeIndex
        Naive local standard time, in the order of the cells.

    Raises
    ------
    InputError
        A cell is no date, lies far from all the others, or month and day cannot be told apart.
    """
    if not date_format and cells.str.fullmatch(_EPOCH.pattern).all():
        times = pd.Series(
            pd.to_datetime(cells.astype("int64"), unit="s") + timedelta(hours=offset_hours)
        )
    else:
        times, aware = _by_one_format(cells, where, offset_hours, date_format)
        if not aware:
            times = _on_standard_clock(times, cells, where, offset_hours, zone)
    _refuse_far(times, cells, where)
    return pd.DatetimeIndex(times.astype("datetime64[ns]"))


def _by_one_format(
    cells: pd.Series, where: str, offset_hours: int, date_format: str | None
) -> tuple[pd.Series, bool]:
    formats = [date_format] if date_format else [d + c for d in _DATES for c in _CLOCKS]
    read = {
        fmt: times for fmt in formats if (times := _parse(cells, fmt, offset_hours)) is not None
    }
    whole = {fmt: times for fmt, times in read.items() if times.notna().all()}
    accepted = date_format or "2025-04-12, 2025-04-12 13:00, 04/12/2025"
    if not whole:
        best = max(read.values(), key=lambda times: times.notna().sum(), default=None)
        bad = cells.index if best is None else cells.index[best.isna()]
        lines = [
            f"{where}, line {line}: {quoted(cells.loc[line])} is not a date; accepted is "
            f"{accepted}"
            for line in (bad[:1] if best is None else bad)
        ]
        raise InputError(*lines)
    first, *others = whole.items()
    if any((times != first[1]).any() for _, times in others):
        raise InputError(
            f"{where}: month and day cannot be told apart ({quoted(cells.iloc[0])}); accepted is "
            f'a format in [weather.columns]: date = {{column = "...", format = "{first[0]}"}}'
        )
    return first[1], "%z" in first[0]


def _parse(cells: pd.Series, fmt: str, offset_hours: int) -> pd.Series | None:
    """Times of every cell, NaT where `fmt` does not fit; None where it fits too few to try."""
    sample = cells.iloc[: min(len(cells), 20)]
    aware = "%z" in fmt
    try:
        if pd.to_datetime(sample, format=fmt, errors="coerce", utc=aware).isna().all():
            return None
        times = pd.to_datetime(cells, format=fmt, errors="coerce", utc=aware)
    except ValueError as error:
        raise InputError(f"date format {quoted(fmt)}: {quoted(error)}") from error
    if aware:
        times = times.dt.tz_localize(None) + timedelta(hours=offset_hours)
    return pd.Series(times.where(times.dt.year.between(FIRST_YEAR, LAST_YEAR)))


def _on_standard_clock(
    times: pd.Series, cells: pd.Series, where: str, offset_hours: int, zone: str | None
) -> pd.Series:
    """Times of a civil clock, or of the offset that the header names, on the site's clock."""
    stated = _OFFSET_IN_HEADER.search(str(cells.name))
    if zone is None and stated is None:
        return times
    if zone is None and stated is not None:
        hours = int(stated[2]) + int(stated[3] or 0) / 60
        own = hours if stated[1] == "+" else -hours
        return times + pd.Timedelta(hours=offset_hours - own)
    try:
        civil = times.dt.tz_localize(zone, ambiguous="infer", nonexistent="shift_forward")
    except Exception as error:  # each clock library raises a kind of its own
        try:
            civil = times.dt.tz_localize(zone, ambiguous=False, nonexistent="shift_forward")
        except Exception:
            raise InputError(
                f"{where}: no clock by the name {quoted(zone)} can be laid on these times "
                f"({quoted(error)}); accepted is a time zone such as America/New_York"
            ) from error
    naive = civil.dt.tz_convert("UTC").dt.tz_localize(None)
    return pd.Series(naive + pd.Timedelta(hours=offset_hours))


def _refuse_far(times: pd.Series, cells: pd.Series, where: str) -> None:
    """A few rows years away from all the others are a slip, and would be filled up to."""
    order = np.argsort(times.to_numpy(), kind="stable")
    ordered = times.to_numpy()[order].astype("datetime64[D]")
    breaks = np.flatnonzero(np.diff(ordered).astype(np.int64) > ALONE_DAYS) + 1
    for part in np.split(order, breaks) if breaks.size else ():
        if len(part) < FEW_ROWS and len(part) <= len(order) / 2:
            line = cells.index[part[0]]
            raise InputError(
                f"{where}, line {line}: {quoted(cells.loc[line])} lies more than "
                f"{ALONE_DAYS} days from all other rows; accepted are dates that belong "
                "together: correct it, or take the row out"
            )
