"""What a neighbour differs by, taken off before its values stand in for another's."""

from __future__ import annotations

import pandas as pd

from climate_risk.weather.normals import Days, teaching

ADDITIVE = (
    "air_temp_min_c", "air_temp_mean_c", "air_temp_max_c", "air_temp_c", "dew_point_c",
)  # fmt: skip
SHARED_ROWS = {"daily": 60, "hourly": 1440}
"""Rows that both must have for a difference to be learned; our own choice."""
SPACE_K, SPACE_SIGMA = 8.0, 4.5
"""A value this far off a neighbour's, by both measures, is wrong in one of the two (the first
after Durre et al. 2010, J. Appl. Meteor. Climatol. 49:1615-1633)."""
MONTH_ROWS = {"daily": 15, "hourly": 360}
"""Rows of one month of the year for that month to have a difference of its own."""


def without_bias(
    first: pd.DataFrame, other: pd.DataFrame, step: str, left_out: Days | None = None
) -> pd.DataFrame:
    """A neighbour's table moved by its mean difference from the first, month by month.

    Parameters
    ----------
    first, other : DataFrame
        Canonical columns on one DatetimeIndex.
    step : str
        ``daily`` or ``hourly``.
    left_out : (date, date), optional
        First and last of days from which no difference is learned.

    Returns
    -------
    DataFrame
        `other`, temperatures and dew point moved where enough rows are shared; rain, wind and
        the rest as they are.
    """
    moved = other.copy()
    month = pd.DatetimeIndex(other.index).month
    teaches = teaching(other.index, left_out)
    for name in [n for n in ADDITIVE if n in first and n in other]:
        apart = (first[name] - other[name]).where(teaches)
        if apart.notna().sum() < SHARED_ROWS[step]:
            continue
        by_month = apart.groupby(month).agg(["mean", "count"])
        own = by_month["mean"].where(by_month["count"] >= MONTH_ROWS[step], apart.mean())
        moved[name] = other[name] + own.reindex(month).fillna(apart.mean()).to_numpy()
    return moved


def apart_in_space(first: pd.DataFrame, moved: pd.DataFrame, step: str) -> pd.DataFrame:
    """Where a temperature is far off a neighbour's from which the difference was taken.

    Returns
    -------
    DataFrame of bool
        Shape of `first`; False where too few rows are shared to tell.
    """
    far = pd.DataFrame(False, index=first.index, columns=first.columns)
    for name in [n for n in ADDITIVE if n in first and n in moved and n != "dew_point_c"]:
        apart = (first[name] - moved[name]).abs()
        if apart.notna().sum() >= SHARED_ROWS[step]:
            usual = 1.4826 * apart.median()
            far[name] = (apart > SPACE_K) & (apart > SPACE_SIGMA * usual)
    return far
