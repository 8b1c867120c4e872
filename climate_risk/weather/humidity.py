"""Dew point where none was measured, from the day's temperature range, rain and season.

"Dew point equals the minimum" (FAO-56 equation 48) is 13 to 22 points of relative humidity too
moist at the airports we compared, and 24 to 38 on the driest days. What drives the gap is what
Kimball, Running & Nemani 1997 (Agric. For. Meteorol. 85:87-98) named: dryness, range and season.
Their own equation takes dryness from evaporation over yearly rain and leaves 26 to 35 points on
the driest days there, so the same drivers are fitted here day by day: a straight line for dew
point less minimum, on the range, on rain of the day and its neighbours, and on season. The line
is learned from the record's own days with dew point where it has enough, else `USUAL` holds, our
fit to five stations of the eastern United States (Newark, La Guardia and Kennedy 2013, Chicago
2001 to 2016, Greensboro), each weighing the same. Errors: ``tests/test_humidity.py``.
"""

from __future__ import annotations

import numpy as np

from climate_risk.site import Site
from climate_risk.weather.record import FloatArray

USUAL = np.array([-7.3, 0.335, 3.29, 0.33, 0.71, -0.51, 0.36])
"""Constant [K], per K of range, wet day, wet day before, wet day after [K], sine, cosine [K]."""
USUAL_ERROR_POINTS = 13.0
"""Root mean square of a day's relative humidity at a station left out of the fit."""
WET_MM = 0.2
LEARN_DAYS = 60
"""Days with dew point from which the line is learned; our own choice."""
HALF_YEAR_DAYS = 182.6


def drivers(
    low_c: FloatArray, high_c: FloatArray, rain_mm: FloatArray, day_of_year: FloatArray, site: Site
) -> FloatArray:
    """What the gap between dew point and minimum is drawn from.

    Parameters
    ----------
    low_c, high_c, rain_mm, day_of_year : array, shape (days,)
        Days in a row; rain that is missing counts as none.
    site : Site
        South of the equator the season is half a year apart.

    Returns
    -------
    array, shape (days, 7)
    """
    wet = (np.nan_to_num(rain_mm) > WET_MM).astype(np.float64)
    day = day_of_year + (HALF_YEAR_DAYS if site.latitude < 0.0 else 0.0)
    phase = 2.0 * np.pi * day / 365.25
    before, after = np.roll(wet, 1), np.roll(wet, -1)
    if wet.size:
        before[0], after[-1] = wet[0], wet[-1]
    return np.column_stack(
        [np.ones_like(wet), high_c - low_c, wet, before, after, np.sin(phase), np.cos(phase)]
    )


def learn(by_day: FloatArray, dew_less_low_k: FloatArray) -> FloatArray | None:
    """Least-squares line through the days that have a dew point; None where they are too few.

    Parameters
    ----------
    by_day : array, shape (days, 7)
        See `drivers`.
    dew_less_low_k : array, shape (days,)
        NaN where dew point or minimum is missing.
    """
    known = np.isfinite(dew_less_low_k) & np.isfinite(by_day).all(axis=1)
    if known.sum() < LEARN_DAYS:
        return None
    line = np.linalg.lstsq(by_day[known], dew_less_low_k[known], rcond=None)[0]
    return np.asarray(line, dtype=np.float64)


def dew_point_from(
    by_day: FloatArray, low_c: FloatArray, high_c: FloatArray, line: FloatArray
) -> FloatArray:
    """Dew point of each day [C], no higher than the day's warmest air."""
    result: FloatArray = np.minimum(low_c + by_day @ line, high_c)
    return result
