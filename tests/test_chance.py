"""Chance of loss: exact bounds, coverage of the interval, and what counts as lost."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy import stats

from climate_risk.engine.draws import DRAWS, LEAST_RUNS, draws_for, latin_hypercube
from climate_risk.risk import chance
from climate_risk.risk.chance import (
    KILLED_BY_DROUGHT,
    KILLED_BY_HEAT,
    NOT_FULLY_RUN,
    ON_TIME,
    chance_of_loss,
    draw_error,
    lost_of,
    outcome,
    shares,
)

IntArray = npt.NDArray[np.int64]


def years_lost(lost: int, of: int, draws: int = 4) -> IntArray:
    """The first years lost in every draw, the others on time in every draw."""
    outcomes = np.full((of, draws), ON_TIME)
    outcomes[:lost] = KILLED_BY_DROUGHT
    return outcomes


@pytest.mark.parametrize("years", [10, 30, 36])
def test_no_year_lost_is_not_nought(years: int) -> None:
    """One-sided 80 % bound of Clopper and Pearson 1934: the beta quantile at 1 and n."""
    found = chance_of_loss(years_lost(0, years))
    assert found is not None
    assert (found.mean, found.low) == (0.0, 0.0)
    assert found.high == pytest.approx(stats.beta.ppf(0.8, 1, years), rel=1e-9)
    assert found.interval == "exact binomial"


@pytest.mark.parametrize("years", [10, 30, 36])
def test_every_year_lost_is_not_certainty(years: int) -> None:
    found = chance_of_loss(years_lost(years, years))
    assert found is not None
    assert (found.mean, found.high) == (1.0, 1.0)
    assert found.low == pytest.approx(stats.beta.ppf(0.2, years, 1), rel=1e-9)


def test_years_alike_with_draws_that_differ_keep_both_widths() -> None:
    outcomes = np.full((12, 4), ON_TIME)
    outcomes[:, 0] = KILLED_BY_HEAT
    found = chance_of_loss(outcomes)
    assert found is not None
    assert found.low < 0.25 < found.high
    assert found.high - 0.25 == pytest.approx(1.0 - 0.2 ** (1 / 12))


def test_nine_years_give_no_chance_and_ten_do() -> None:
    assert chance_of_loss(years_lost(3, 9)) is None
    found = chance_of_loss(years_lost(3, 10))
    assert found is not None
    assert (found.mean, found.years, found.draws) == (pytest.approx(0.3), 10, 4)


def test_interval_is_the_same_each_time_and_holds_the_mean() -> None:
    first, second = (chance_of_loss(years_lost(7, 30)) for _ in range(2))
    assert first == second
    assert first is not None
    assert first.low < first.mean < first.high
    assert first.interval == "bootstrap"


def test_more_years_narrow_the_interval() -> None:
    few, many = chance_of_loss(years_lost(3, 12)), chance_of_loss(years_lost(30, 120))
    assert few is not None
    assert many is not None
    assert many.high - many.low < 0.5 * (few.high - few.low)


def test_draws_of_one_year_do_not_pass_for_years() -> None:
    """The draws share their year's weather: more of them leave the interval as it is."""
    few, many = (chance_of_loss(years_lost(5, 20, draws)) for draws in (2, 200))
    assert few is not None
    assert many is not None
    assert (few.low, few.high) == (many.low, many.high)


def test_interval_covers_the_truth_about_as_often_as_it_says(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Years of chance 0.3 on the mean, beta-distributed; 400 records of 30 years.  The
    percentile bootstrap of a skewed mean falls a few points short of its nominal 80 %
    (Efron and Tibshirani 1993, An Introduction to the Bootstrap; from memory).
    """
    monkeypatch.setattr(chance, "RESAMPLES", 400)
    rng = np.random.default_rng(5)
    inside = 0
    for _ in range(400):
        by_year = rng.beta(0.6, 1.4, 30)
        lost = rng.random((30, 8)) < by_year[:, None]
        found = chance_of_loss(np.where(lost, KILLED_BY_DROUGHT, ON_TIME))
        assert found is not None
        inside += found.low <= 0.3 <= found.high
    assert 0.72 <= inside / 400 <= 0.86


@given(arrays.arrays(np.int64, (11, 3), elements=st.integers(0, 3)))
def test_chance_shares_and_interval_agree(outcomes: IntArray) -> None:
    found, parts = chance_of_loss(outcomes), shares(outcomes, outcomes < 0, outcomes < 0)
    assert found is not None
    assert found.mean == pytest.approx(parts.lost)
    assert parts.on_time + parts.not_fully_run + parts.lost == pytest.approx(1.0)
    assert 0.0 <= found.low <= found.mean + 1e-12
    assert found.mean - 1e-12 <= found.high <= 1.0


@pytest.mark.parametrize(
    ("alive", "heat", "drought", "complete", "expected"),
    [
        (1.0, 0.0, 0.0, True, ON_TIME),
        (1.0, 0.0, 0.0, False, NOT_FULLY_RUN),
        (0.25, 2.0, 0.0, True, ON_TIME),  # at the threshold: not below it
        (0.24, 2.1, 0.1, False, KILLED_BY_HEAT),
        (0.24, 0.1, 2.1, False, KILLED_BY_DROUGHT),
        (0.24, 0.1, 2.1, True, KILLED_BY_DROUGHT),  # dead after the run was complete
        (0.60, 0.5, 0.2, False, NOT_FULLY_RUN),
    ],
)
def test_outcome_of_a_run(
    alive: float, heat: float, drought: float, complete: bool, expected: int
) -> None:
    """Lost under a quarter alive, by the larger stress; not fully run is no loss."""
    found = outcome(
        np.array([alive]),
        np.array([0.25]),
        np.array([heat]),
        np.array([drought]),
        np.array([complete]),
    )
    assert found.tolist() == [expected]


def test_delay_is_no_loss() -> None:
    found = chance_of_loss(np.full((12, 2), NOT_FULLY_RUN))
    assert found is not None
    assert found.mean == 0.0
    unfinished = np.full((12, 2), NOT_FULLY_RUN)
    parts = shares(unfinished, np.eye(12, 2) > 0.0, np.ones((12, 2), dtype=bool))
    assert parts.not_fully_run == 1.0
    assert parts.likely_to_fruit == pytest.approx(2 / 24)
    assert parts.spawn_dried == 0.0


def test_spawn_that_dried_is_part_of_death_by_drought() -> None:
    """And a dead stack is not likely to fruit, however far it had run."""
    outcomes = np.array([[KILLED_BY_DROUGHT, KILLED_BY_DROUGHT, KILLED_BY_HEAT, ON_TIME]])
    dried, far = np.array([[True, False, True, True]]), np.ones((1, 4), dtype=bool)
    parts = shares(outcomes, far, dried)
    assert parts.killed_by_drought == 0.5
    assert parts.spawn_dried == 0.25
    assert parts.likely_to_fruit == 0.25


def test_stacks_lost_of_a_number() -> None:
    assert lost_of(16, years_lost(0, 20)) == (0.0, 0.0, 0.0)
    assert lost_of(16, years_lost(20, 20)) == (16.0, 16.0, 16.0)


def test_stacks_alike_share_their_years() -> None:
    """Half the years lose every stack: all or none, where half the draws of every year lose
    spreads about 8 of 16 (binomial: 10th to 90th percentile 5 to 11).
    """
    assert lost_of(16, years_lost(10, 20)) in [(0.0, 0.0, 16.0), (0.0, 16.0, 16.0)]
    halves = np.full((20, 2), ON_TIME)
    halves[:, 0] = KILLED_BY_HEAT
    low, high = stats.binom.ppf([0.1, 0.9], 16, 0.5)
    assert lost_of(16, halves) == pytest.approx((low, 8.0, high), abs=1.0)


def test_one_loss_is_not_surer_than_none() -> None:
    """One draw of 256 lost reaches at least as far as none lost, and so at the other end."""
    outcomes = np.zeros((32, 8), dtype=np.int64)
    none = chance_of_loss(outcomes)
    outcomes[5, 3] = KILLED_BY_DROUGHT
    one = chance_of_loss(outcomes)
    all_but_one = chance_of_loss(KILLED_BY_DROUGHT - outcomes)
    assert none is not None
    assert one is not None
    assert all_but_one is not None
    assert one.high >= none.high > one.mean > 0.0
    assert all_but_one.low <= 1.0 - none.high


@pytest.mark.parametrize(("years", "draws", "level"), [(31, 8, 1.0), (31, 8, 1.6), (31, 2, 1.0)])
def test_error_of_the_draws_is_that_of_repeated_seeds(
    years: int, draws: int, level: float
) -> None:
    """120 Latin hypercubes of one made-up model of 70 unknowns, four of which count, one pair of
    them jointly: the error told of one is what their means differ by; without the hypercube it
    would be told a fifth larger or more.
    """
    weather = np.repeat(np.random.default_rng(1).normal(0.0, 0.25, years), draws)
    means, told, plain = [], [], []
    for seed in range(120):
        q = latin_hypercube(years * draws, 70, seed)
        harm = 1.2 * q[:, 3] + 0.8 * q[:, 7] + 0.4 * q[:, 11] * q[:, 20] + weather
        lost = (harm > level).reshape(years, draws).astype(np.float64)
        means.append(lost.mean())
        told.append(draw_error(lost, q) ** 2)
        plain.append(draw_error(lost) ** 2)
    seen = np.std(means, ddof=1)
    assert np.sqrt(np.mean(told)) == pytest.approx(seen, rel=0.25)
    assert np.sqrt(np.mean(plain)) > 1.2 * seen


def test_independent_draws_keep_the_binomial_error() -> None:
    """No hypercube, nothing to take off: sqrt(p (1 - p) / n), years alike."""
    rng = np.random.default_rng(4)
    q = rng.random((600, 20))
    lost = (q[:, 0] < 0.3).reshape(30, 20).astype(np.float64)
    assert draw_error(lost, q) == pytest.approx(np.sqrt(0.21 / 600), rel=0.1)


def test_no_loss_in_many_draws_has_an_error_of_one_draw() -> None:
    assert draw_error(np.zeros((30, 8))) == pytest.approx(1.0 / 242.0)


def test_short_records_get_more_draws_a_year() -> None:
    assert draws_for(100) == DRAWS
    for years in (10, 15, 31, 36):
        assert draws_for(years) * years >= LEAST_RUNS
        assert (draws_for(years) - 1) * years < LEAST_RUNS
    assert draws_for(1) == draws_for(10)
