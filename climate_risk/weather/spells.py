"""Days in a row, and how warm a day of the year must be to count as hot there.

Published measures of dry and hot spells, from daily values:

- *consecutive dry days*, the longest run of days with less than 1 mm of rain (index CDD of the
  expert team ETCCDI: Zhang and others 2011, WIREs Clim. Change 2:851-870, from memory; the same
  words in the manual of the R package climdex.pcic, read);
- *heatwaves*, three or more days in a row whose maximum is above the 90th percentile of that
  day of the year (Perkins and Alexander 2013, J. Climate 26:4500-4517, abstract read), taken
  from a window of 15 days (their index CTX90pct, as the manual of the Python package hotspell
  describes it).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.weather.record import FloatArray

BoolArray = npt.NDArray[np.bool_]

DRY_DAY_MM = 1.0
HEATWAVE_DAYS = 3
HEATWAVE_SHARE = 0.9
HALF_WINDOW_DAYS = 7
DAYS_OF_YEAR = 366


def runs(is_on: BoolArray, least: int = 1) -> list[tuple[int, int]]:
    """First and one past the last place of each run of ``least`` or more in a row."""
    turns = np.flatnonzero(np.diff(np.concatenate([[0], is_on.astype(np.int8), [0]])))
    pairs = turns.reshape(-1, 2).tolist()
    return [(begin, end) for begin, end in pairs if end - begin >= least]


def hot_from_c(temp_max_c: FloatArray, index: pd.DatetimeIndex) -> FloatArray:
    """Daily maximum above which a day is hot for its day of the year [C], shape (days,).

    The percentile is over all years of the record, so that none stands outside its base, and
    is interpolated as Hyndman and Fan 1996 (Am. Stat. 50:361-365, from memory) advise, type 8.
    """
    day = np.asarray(index.day_of_year)
    order = np.argsort(day, kind="stable")
    sorted_day, values = day[order], temp_max_c[order]
    limits = np.empty(DAYS_OF_YEAR + 1)
    for centre in np.unique(day):
        apart = np.abs(sorted_day - centre)
        near = np.minimum(apart, DAYS_OF_YEAR - apart) <= HALF_WINDOW_DAYS
        limits[centre] = np.quantile(values[near], HEATWAVE_SHARE, method="median_unbiased")
    return np.asarray(limits[day])
