"""Is a yearly count rising or falling, and how large a change would go unnoticed?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from climate_risk.risk.chance import COVERAGE, SEED
from climate_risk.risk.hindsight import Measure, Trend

FloatArray = npt.NDArray[np.float64]

FEWEST_YEARS = 10
SIGNIFICANT = 0.05
POWER = 0.8
"""A change that is found this often is called one that would be noticed (Cohen 1988, Statistical
Power Analysis, from memory)."""
SIMULATIONS = 500
HALVINGS = 12
MOST_SPREADS = 8.0
"""Of the counts' standard deviations over the whole record: the largest change looked at."""


def trend_of(measure: Measure, years: npt.NDArray[np.int64], counts: FloatArray) -> Trend | None:
    """Slope with its interval, its significance, and the change that would be missed.

    Parameters
    ----------
    measure : Measure
        Name of the count.
    years, counts : (years,) arrays

    Returns
    -------
    Trend or None
        None under :data:`FEWEST_YEARS` years, or where all are the same.

    Notes
    -----
    Test: Mann 1945 (Econometrica 13:245-259) and Kendall 1975, two-sided at 5 %. Slope and
    interval: Theil 1950 and Sen 1968 (J. Am. Stat. Assoc. 63:1379-1389). All from memory. Power
    by simulation, as Yue, Pilon and Cavadias 2002 do (J. Hydrol. 259:254-271, from memory): the
    record's own departures from its slope, in random order, with a slope put on. Years are taken
    as independent of each other.
    """
    if counts.size < FEWEST_YEARS or np.ptp(counts) == 0.0:
        return None
    from scipy.stats import theilslopes

    slope, _, low, high = theilslopes(counts, years, alpha=COVERAGE)
    return Trend(
        measure=measure,
        per_decade=10.0 * float(slope),
        low=10.0 * float(low),
        high=10.0 * float(high),
        p_value=float(mann_kendall(counts[None, :])[0]),
        noticed_per_decade=10.0 * noticed_slope(years, counts - slope * (years - years.mean())),
        years=counts.size,
    )


def mann_kendall(series: FloatArray) -> FloatArray:
    """Two-sided p-value of no trend in each row, by the normal approximation with ties.

    Parameters
    ----------
    series : (n, years) array

    Returns
    -------
    (n,) array
    """
    from scipy.special import ndtr

    years = series.shape[1]
    score, ties = np.zeros(len(series)), np.zeros(len(series))
    for place in range(years):
        later = series[:, place + 1 :] - series[:, place, None]
        score += np.sign(later).sum(axis=1)
        alike = (series == series[:, place, None]).sum(axis=1)
        # A group of t ties counts t (t - 1) (2 t + 5): here one of its t members at a time.
        ties += (alike - 1) * (2 * alike + 5)
    variance = (years * (years - 1) * (2 * years + 5) - ties) / 18.0
    away = np.maximum(np.abs(score) - 1.0, 0.0)
    z = np.divide(away, np.sqrt(variance), out=np.zeros_like(away), where=variance > 0.0)
    return np.asarray(2.0 * ndtr(-z))


def noticed_slope(years: npt.NDArray[np.int64], departures: FloatArray) -> float:
    """Least slope a year that the test finds in :data:`POWER` of the records like this one."""
    rng = np.random.default_rng(SEED)
    noise = rng.permuted(np.tile(departures, (SIMULATIONS, 1)), axis=1)
    run = years - years.mean()

    def power(slope: float) -> float:
        return float((mann_kendall(noise + slope * run) < SIGNIFICANT).mean())

    low, high = 0.0, MOST_SPREADS * float(departures.std()) / float(np.ptp(years))
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        if power(middle) < POWER:
            low = middle
        else:
            high = middle
    return high
