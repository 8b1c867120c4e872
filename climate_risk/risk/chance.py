"""Chance of loss from a few years of runs, with an interval that respects how few they are."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from climate_risk.risk.results import Chance, OutcomeShares

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

FEWEST_YEARS = 10
"""Under this many past years no chance is given, only what happened."""
COVERAGE = 0.80
"""Of every interval shown: 8 times in 10, as between the 10th and the 90th percentile."""
STEPPED, STEPS, RUNS_A_LINE = 2, 6, 8
"""Unknowns whose part is taken off the draws' error in so many steps; one more in a straight line
for every so many runs (our own choice)."""
FEWEST_SPARE = 30
"""Runs beyond the years that this takes."""
RESAMPLES = 2000
SEED = 20_251
ON_TIME, NOT_FULLY_RUN, KILLED_BY_HEAT, KILLED_BY_DROUGHT = range(4)


def outcome(
    alive: FloatArray,
    lost_share: FloatArray,
    heat_stress: FloatArray,
    drought_stress: FloatArray,
    complete: npt.NDArray[np.bool_],
) -> IntArray:
    """How each run ended at the horizon; arrays of one shape, one entry a run.

    A stack is lost when the living share, mean over spawn faces, is below the run's threshold,
    and the larger stress is the cause; otherwise it is on time or not fully run.
    """
    lost = alive < lost_share
    killed = np.where(heat_stress > drought_stress, KILLED_BY_HEAT, KILLED_BY_DROUGHT)
    return np.where(lost, killed, np.where(complete, ON_TIME, NOT_FULLY_RUN)).astype(np.int64)


def lost_runs(outcomes: IntArray) -> FloatArray:
    """1 for each run whose stack is lost, 0 for the others; of the same shape."""
    return (outcomes >= KILLED_BY_HEAT).astype(np.float64)


def shares(outcomes: IntArray, fruiting: BoolArray, spawn_dried: BoolArray) -> OutcomeShares:
    """Shares of runs by outcome, over all years and draws.

    Parameters
    ----------
    outcomes, fruiting, spawn_dried : arrays of one shape
        How each run ended; whether it had run far enough to fruit; whether its spawn had dried.
    """
    counts = np.bincount(outcomes.ravel(), minlength=4) / outcomes.size
    dried = spawn_dried & (outcomes == KILLED_BY_DROUGHT)
    return OutcomeShares(
        on_time=float(counts[ON_TIME]),
        not_fully_run=float(counts[NOT_FULLY_RUN]),
        killed_by_heat=float(counts[KILLED_BY_HEAT]),
        killed_by_drought=float(counts[KILLED_BY_DROUGHT]),
        spawn_dried=float(dried.mean()),
        likely_to_fruit=float((fruiting & (outcomes < KILLED_BY_HEAT)).mean()),
    )


def bootstrap_years(by_year: FloatArray) -> tuple[float, float]:
    """80 % interval of the mean of yearly values, by resampling whole years (Efron 1979)."""
    rng = np.random.default_rng(SEED)
    picked = by_year[rng.integers(0, by_year.size, (RESAMPLES, by_year.size))].mean(axis=1)
    tail = 1.0 - COVERAGE
    low, high = np.quantile(picked, [tail / 2, 1.0 - tail / 2])
    return float(low), float(high)


def chance_of_loss(outcomes: IntArray, quantiles: FloatArray | None = None) -> Chance | None:
    """Mean over years of the share of draws lost, with an 80 % interval.

    Parameters
    ----------
    outcomes : (years, draws) int array
    quantiles : (years * draws, unknowns) array, optional
        Where in its range each unknown was drawn; see :func:`draw_error`.

    Returns
    -------
    Chance or None
        None under :data:`FEWEST_YEARS` years.

    Notes
    -----
    The interval resamples whole years (Efron 1979, Ann. Stat. 7:1-26, percentile bootstrap;
    from memory), since the draws of one year share its weather.  Where all years agree,
    resampling says nothing, and the exact binomial bound of Clopper and Pearson 1934
    (Biometrika 26:404-413; from memory) for 0 (or all) of n years stands in: 0 of 30 years is
    not 0 %.  Nor does one loss in many draws make surer than none: the interval reaches at
    least as far as that bound.
    """
    years, draws = outcomes.shape
    if years < FEWEST_YEARS:
        return None
    lost = lost_runs(outcomes)
    by_year = lost.mean(axis=1)
    mean = float(by_year.mean())
    tail = 1.0 - COVERAGE
    alike = by_year.min() == by_year.max()
    if alike:
        low, high = exact_bounds(by_year[0], years, tail)
    else:
        low, high = bootstrap_years(by_year)
        low = min(low, exact_bounds(1.0, years, tail)[0])
        high = max(high, exact_bounds(0.0, years, tail)[1])
    return Chance(
        mean=mean,
        low=float(low),
        high=float(high),
        years=years,
        draws=draws,
        interval="exact binomial" if alike else "bootstrap",
        draw_error=draw_error(lost, quantiles),
    )


def draw_error(lost: FloatArray, quantiles: FloatArray | None = None) -> float:
    """Standard error of the mean that the number of draws leaves, the years being as they are.

    Parameters
    ----------
    lost : (years, draws) array of 0 and 1
    quantiles : (years * draws, unknowns) array, optional
        Without it the draws are taken as independent, and the error comes out too large.

    Notes
    -----
    What draws of one year differ by makes the error.  A Latin hypercube takes away what is
    additive in the unknowns (Stein 1987, Technometrics 29:143-151, from memory), so that of those
    that are evenly drawn steps in the two strongest, and straight lines in as many more as the
    runs bear, are taken off first.  Never under what one run more would change.  Set against
    repeated seeds in ``tests/test_chance.py`` and, on the invented farm, ``tests/draw_error.py``.
    """
    runs, (years, draws) = lost.size, lost.shape

    def within_years(values: FloatArray) -> FloatArray:
        by_year = values.reshape(years, draws, -1)
        middle = by_year.mean(axis=1 if draws > 1 else (0, 1), keepdims=True)
        return np.asarray((by_year - middle).reshape(runs, -1))

    rest, spent = within_years(lost), years if draws > 1 else 1
    if quantiles is not None and runs >= spent + FEWEST_SPARE:
        strata = np.sort(np.floor(quantiles * runs).astype(np.int64), axis=0)
        even = quantiles[:, (strata == np.arange(runs)[:, None]).all(axis=0)]
        order = np.argsort(-np.abs(within_years(even).T @ rest[:, 0]))
        bounds = np.arange(1, STEPS) / STEPS
        steps = [even[:, n, None] > bounds for n in order[:STEPPED]]
        lines = even[:, order[STEPPED : max(STEPPED, runs // RUNS_A_LINE - STEPS)]]
        additive = within_years(np.column_stack([*steps, lines]).astype(np.float64))
        rest = rest - additive @ np.linalg.lstsq(additive, rest, rcond=None)[0]
        spent += additive.shape[1]
    least = 1.0 / (runs + 2.0)
    return max(float(np.sqrt((rest**2).sum() / max(runs - spent, 1) / runs)), least)


def exact_bounds(share: float, years: int, tail: float) -> tuple[float, float]:
    """One-sided exact binomial bounds where every year gave the same share.

    With 0 of ``years`` lost the upper bound solves (1 - p)^years = tail; with all lost the lower
    one mirrors it.  A share between (the draws disagree, the years do not) gets both widths.
    """
    reach = 1.0 - tail ** (1.0 / years)
    return max(0.0, share - reach * (share > 0.0)), min(1.0, share + reach * (share < 1.0))


def percentiles(values: FloatArray) -> tuple[float, float, float]:
    """10th, 50th and 90th percentile of all entries."""
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return float(low), float(middle), float(high)


def lost_of(count: int, outcomes: IntArray) -> tuple[float, float, float]:
    """10th, 50th and 90th percentile of stacks lost out of ``count``.

    Stacks alike share the year's weather and differ in the draws: each year's share of draws
    lost is the chance at which its stacks fall, independently of each other.
    """
    rng = np.random.default_rng(SEED)
    by_year = lost_runs(outcomes).mean(axis=1)
    drawn = rng.binomial(count, by_year[rng.integers(0, by_year.size, RESAMPLES)])
    return percentiles(drawn.astype(np.float64))
