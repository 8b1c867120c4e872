"""Scores of forecasts against what came: Brier, CRPS, skill with its interval, reliability."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from climate_risk.risk.chance import COVERAGE, RESAMPLES, SEED
from climate_risk.risk.hindsight import Reliability, Skill

FloatArray = npt.NDArray[np.float64]


def brier(chance: float, lost: FloatArray) -> float:
    """Mean square of a chance less what came of each run, 0 or 1.

    Brier 1950, Mon. Weather Rev. 78:1-3 (from memory), in its one-sided form.
    """
    return float(np.mean((chance - lost) ** 2))


def crps(members: FloatArray, came: FloatArray) -> float:
    """Continuous ranked probability score of an ensemble, mean over what came.

    Parameters
    ----------
    members : (n,) array
        Equally likely values.
    came : (m,) array

    Notes
    -----
    E|X - y| - E|X - X'| / 2 (Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102:359-378; from
    memory), in the unit of the values.
    """
    x = np.sort(members)
    order = 2.0 * np.arange(1, x.size + 1) - x.size - 1.0
    half_spread = float(order @ x) / x.size**2
    return float(np.abs(x[:, None] - came[None, :]).mean()) - half_spread


def skill(scores: FloatArray, usual: FloatArray, best: FloatArray) -> Skill:
    """How much better than the usual chance: 1 - mean score / mean score of the usual.

    Parameters
    ----------
    scores, usual, best : (years,) arrays
        Score of each year by the outlook, by the plain share of the other years, and with the
        year's weather known.

    Returns
    -------
    Skill
        With an 80 % interval by resampling whole years in pairs (Efron 1979). Skill is a ratio,
        and so a little biased with few years (Bradley, Schwartz and Hashino 2008, Weather
        Forecast. 23:992-1006). Where no year differs, it is 0 and the interval is nought wide.
    """
    from scipy.stats import bootstrap

    def ratio(a: FloatArray, b: FloatArray, axis: int = -1) -> FloatArray:
        below = b.mean(axis=axis)
        share = np.divide(a.mean(axis=axis), below, out=np.ones_like(below), where=below > 0.0)
        return np.asarray(1.0 - share)

    point, most = (float(ratio(a[None, :], usual[None, :])[0]) for a in (scores, best))
    if np.ptp(scores) == 0.0 and np.ptp(usual) == 0.0:
        low = high = point
    else:
        found = bootstrap(
            (scores, usual),
            ratio,
            paired=True,
            vectorized=True,
            n_resamples=RESAMPLES,
            confidence_level=COVERAGE,
            method="percentile",
            rng=np.random.default_rng(SEED),
        ).confidence_interval
        low, high = float(found.low), float(found.high)
    return Skill(score=float(scores.mean()), usual=float(usual.mean()), skill=point, best=most,
                 low=low, high=high)  # fmt: skip


def reliability(
    chances: FloatArray, came: FloatArray, years: npt.NDArray[np.int64], edges: Sequence[float]
) -> tuple[Reliability, ...]:
    """How often it came where so much was told, one entry a class of chances that occurs.

    Parameters
    ----------
    chances, came : (n,) arrays
        Chance told and share that came, 0 to 1, of each outlook.
    years : (n,) array
        Year of each: outlooks of one year share their weather and are resampled together.
    edges : sequence of float
        Bounds of the classes, rising from 0 to 1.
    """
    rng = np.random.default_rng(SEED)
    places = np.clip(np.searchsorted(edges, chances, side="right") - 1, 0, len(edges) - 2)
    found = []
    for place in np.unique(places):
        inside = places == place
        own = np.unique(years[inside])
        sums = np.array([came[inside & (years == year)].sum() for year in own])
        counts = np.array([(inside & (years == year)).sum() for year in own], dtype=np.float64)
        picked = rng.integers(0, own.size, (RESAMPLES, own.size))
        means = sums[picked].sum(axis=1) / counts[picked].sum(axis=1)
        tail = (1.0 - COVERAGE) / 2.0
        low, high = np.quantile(means, [tail, 1.0 - tail])
        found.append(
            Reliability(
                told=float(chances[inside].mean()),
                came=float(came[inside].mean()),
                low=float(low),
                high=float(high),
                outlooks=int(inside.sum()),
                years=int(own.size),
            )
        )
    return tuple(found)
