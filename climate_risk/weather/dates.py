"""Dates and times of a weather file, read by one format for the whole file or not at all."""

from __future__ import annotations

from datetime import timedelta

import pandas as pd

from climate_risk.errors import InputError

_DATES = ("%Y-%m-%d", "%Y/%m/%d", "%Y%m%d", "%m/%d/%Y", "%d/%m/%Y", "%d.%m.%Y")
_TIMES = ("%H:%M", "%H:%M:%S", "%H:%M%z", "%H:%M:%S%z")
_CLOCKS = ("", *(mark + time for mark in " T" for time in _TIMES), " %I:%M %p", " %I:%M:%S %p")


def read_dates(
    cells: pd.Series, where: str, offset_hours: int, date_format: str | None
) -> pd.DatetimeIndex:
    """Read a column of dates or times.

    Parameters
    ----------
    cells : Series of str
        The index is the line number.
    where : str
        File and column, for messages.
    offset_hours : int
        Local standard time less UTC; times that carry an offset are brought to it.
    date_format : str or None
        A strptime format; None tries the common ones.

    Returns
    -------
    DatetimeIndex
        Naive local standard time, in the order of the cells.

    Raises
    ------
    InputError
        A cell is no date, or month and day cannot be told apart.
    """
    formats = [date_format] if date_format else [d + c for d in _DATES for c in _CLOCKS]
    read = {
        fmt: times for fmt in formats if (times := _parse(cells, fmt, offset_hours)) is not None
    }
    whole = {fmt: times for fmt, times in read.items() if times.notna().all()}
    if not whole:
        best = max(read.values(), key=lambda times: times.notna().sum(), default=None)
        bad = cells.index[0] if best is None else cells.index[best.isna()][0]
        accepted = date_format or "2025-04-12, 2025-04-12 13:00, 04/12/2025"
        raise InputError(
            f"{where}, line {bad}: {cells.loc[bad]!r} is not a date; accepted is {accepted}"
        )
    first, *others = whole.items()
    if any((times != first[1]).any() for _, times in others):
        raise InputError(
            f"{where}: month and day cannot be told apart ({cells.iloc[0]!r}); accepted is a "
            f'format in [weather.columns]: date = {{column = "...", format = "{first[0]}"}}'
        )
    return pd.DatetimeIndex(first[1])


def _parse(cells: pd.Series, fmt: str, offset_hours: int) -> pd.Series | None:
    """Times of every cell, NaT where `fmt` does not fit; None where it fits too few to try."""
    sample = cells.iloc[: min(len(cells), 20)]
    aware = "%z" in fmt
    if pd.to_datetime(sample, format=fmt, errors="coerce", utc=aware).isna().all():
        return None
    try:
        times = pd.to_datetime(cells, format=fmt, errors="coerce", utc=aware)
    except ValueError as error:
        raise InputError(f"date format {fmt!r}: {error}") from error
    if aware:
        times = times.dt.tz_localize(None) + timedelta(hours=offset_hours)
    return times.astype("datetime64[ns]")
