"""What gaps are filled with: normals of the day and hour, and the rain of other days."""

from __future__ import annotations

from datetime import date
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.weather.record import FloatArray

Days: TypeAlias = tuple[date, date]
"""First and last day of a stretch."""

WINDOW_DAYS = 15
"""Normals are means over this many days to each side of a day of the year."""
SEASON_DAYS = 60
"""Days within which rain is of one season; our own choice."""


def teaching(index: pd.Index, left_out: Days | None) -> npt.NDArray[np.bool_]:
    """Rows of an index from which something may be learned, (rows,): all but those left out."""
    if left_out is None:
        return np.ones(len(index), dtype=bool)
    days = pd.DatetimeIndex(index).normalize()
    first, last = (pd.Timestamp(day) for day in left_out)
    return np.asarray((days < first) | (days > last))


def gap_length(missing: pd.Series) -> pd.Series:
    """Length in rows of the gap that each missing row belongs to; 0 elsewhere."""
    block = (missing != missing.shift()).cumsum()
    return missing.groupby(block).transform("size").where(missing, 0)


def normals(values: pd.Series, slots: int) -> pd.Series:
    """Mean for each row's day of the year (in a moving window) and hour of the day.

    Days of the year without any value near them take a straight line between their
    neighbours on the circle of the year.
    """
    index = pd.DatetimeIndex(values.index)
    day = np.asarray(index.day_of_year) - 1
    slot = np.asarray(index.hour) if slots > 1 else np.zeros(len(index), dtype=int)
    known = values.notna().to_numpy()
    total, count = np.zeros((366, slots)), np.zeros((366, slots))
    np.add.at(total, (day[known], slot[known]), values.to_numpy(np.float64)[known])
    np.add.at(count, (day[known], slot[known]), 1.0)
    total, count = _moving_sum(total), _moving_sum(count)
    mean = np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0)
    around = pd.DataFrame(np.vstack([mean, mean, mean])).interpolate(limit_direction="both")
    middle = around.to_numpy()[366:732]
    middle = np.where(np.isnan(middle), np.nanmean(middle), middle)
    return pd.Series(middle[day, slot], index=values.index)


def _moving_sum(by_day: FloatArray) -> FloatArray:
    """Sum over the window of days around each day of the year, across the year's end."""
    padded = np.vstack([by_day[-WINDOW_DAYS:], by_day, by_day[:WINDOW_DAYS]])
    running = np.vstack([np.zeros((1, by_day.shape[1])), np.cumsum(padded, axis=0)])
    result: FloatArray = running[2 * WINDOW_DAYS + 1 :] - running[: -2 * WINDOW_DAYS - 1]
    return result


def rain_of_other_days(rain: pd.Series, piece: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Rain of the nearest days that have all of a piece: in other years, else in the same season.

    Parameters
    ----------
    rain : Series
        With gaps.
    piece : Series
        On the missing times only: the number of the gap (or of its month) they belong to.

    Returns
    -------
    donor, whose : Series
        On the missing times, the rain and words for where it fell; missing where no days have it.
    """
    gap = pd.DatetimeIndex(piece.index)
    donor = pd.Series(np.nan, index=gap)
    whose = np.full(len(gap), None, dtype=object)
    years = rain.index[-1].year - rain.index[0].year
    shifts = [(pd.DateOffset(years=n), True) for n in range(1, years + 1)]
    shifts += [(pd.DateOffset(days=n), False) for n in range(1, SEASON_DAYS + 1)]
    for by, other_year in shifts:
        for there in (gap - by, gap + by):
            offer = pd.Series(rain.reindex(there).to_numpy(), index=gap)
            whole = offer.notna().groupby(piece).transform("all") & donor.isna()
            donor = donor.where(~whole, offer)
            words = [f"same days of {y}" for y in there.year] if other_year else "days near by"
            whose = np.where(whole, words, whose)
        if donor.notna().all():
            break
    return donor, pd.Series(whose, index=gap)
