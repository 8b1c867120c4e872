"""What is made of ended runs: causes, dates, order of actions, split of the doubt, limits."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.blocks import new_blocks
from climate_risk.engine.draws import latin_hypercube
from climate_risk.engine.hours import D_DROUGHT_STRESS, D_HEAT_STRESS, DAILY_COLUMNS
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.fungus.kernel import ALIVE, FULL_HOUR
from climate_risk.log.layout import CASES
from climate_risk.log.wood import retention_moisture
from climate_risk.risk.actions import rank
from climate_risk.risk.certainty import difference, level_of
from climate_risk.risk.chance import KILLED_BY_DROUGHT, KILLED_BY_HEAT, ON_TIME
from climate_risk.risk.ensemble import Outcomes, collect, start_rows
from climate_risk.risk.outlook import look_at_all
from climate_risk.risk.season import _full_run
from climate_risk.risk.sensitivity import rank_correlation, split_variance
from climate_risk.risk.thresholds import thresholds_of
from climate_risk.tables import fungi, woods

FloatArray = np.ndarray
OPEN = Scheme(canopy="open")


@pytest.fixture(scope="module")
def kind() -> StackModel:
    return samples.model_of(samples.make_record("2008-01-01", "2012-12-31"))


def ended(
    kind: StackModel, heat: FloatArray, drought: FloatArray, alive: float, full_hour: float
) -> Outcomes:
    """One year of four runs that ended so, their stress by day from none to what is given."""
    unknowns = len(kind.parameter_set(OPEN).unknowns())
    (block,) = new_blocks(kind, OPEN, latin_hypercube(4, unknowns, 1))
    block.daily = np.zeros((3, DAILY_COLUMNS, CASES))
    block.daily[:, D_HEAT_STRESS, :4] = heat[:, None]
    block.daily[:, D_DROUGHT_STRESS, :4] = drought[:, None]
    block.mycelium[ALIVE] = alive
    block.mycelium[FULL_HOUR] = full_hour
    return collect(kind, OPEN, [block], (2010,), 4)


def test_the_cause_is_the_larger_stress_at_the_end(kind: StackModel) -> None:
    """Drought led on the first day, heat on the last; and the other way round."""
    early, late = np.array([0.5, 0.6, 0.7]), np.array([0.0, 2.0, 6.0])
    assert np.all(ended(kind, late, early, 0.01, -1.0).outcomes == KILLED_BY_HEAT)
    assert np.all(ended(kind, early, late, 0.01, -1.0).outcomes == KILLED_BY_DROUGHT)
    assert np.all(ended(kind, early, late, 1.0, 100.0).outcomes == ON_TIME)


def test_each_year_starts_on_its_own_day(kind: StackModel) -> None:
    """Runs of a year are driven by that year's weather, from the same day of the year on."""
    rows = start_rows(kind, (2008, 2010, 2011), 2, kind.start_day, 0)[0][:6]
    time = kind.record.weather.time
    days = [time[row].astype("datetime64[D]").item() for row in rows]
    assert days == [date(y, 4, 12) for y in (2008, 2008, 2010, 2010, 2011, 2011)]
    later = start_rows(kind, (2009,), 1, kind.start_day + timedelta(days=30), 30 * HOURS_PER_DAY)
    assert time[later[0][0]].astype("datetime64[D]").item() == date(2009, 4, 12)


def test_dates_of_the_full_run_leave_out_what_never_ran(kind: StackModel) -> None:
    """Of ten runs seven are complete, after 10 to 70 days: a tenth by the 20th, half by the
    60th, and nine tenths never.
    """
    hours = np.array([[10, 20, 30, 40, 50, 60, 70]]) * 24.0
    ends = ended(kind, np.zeros(3), np.zeros(3), 1.0, 0.0)
    full = np.concatenate([hours, np.full((1, 3), -1.0)], axis=1)
    early, middle, late = _full_run(kind.stack, replace(ends, full_hour=full))
    assert early == kind.stack.inoculated + timedelta(days=20)
    assert middle == kind.stack.inoculated + timedelta(days=60)
    assert late is None


def test_what_is_enough_and_cheap_comes_first_then_what_helps_most() -> None:
    """Chance, cost, enough, hangs on an unmeasured number; whatever order they were found in."""
    ordered = [
        (0.08, 1.0, True, False),
        (0.02, 9.0, True, False),
        (0.15, 5.0, False, False),
        (0.40, 0.5, False, False),
        (0.01, 0.1, True, True),
    ]
    assert sorted(ordered[::-1], key=lambda one: rank(*one)) == ordered


def test_doubt_is_split_as_it_was_made() -> None:
    """One-way analysis of variance of random effects: years alone, draws alone, four to one."""
    rng = np.random.default_rng(4)
    years, draws = rng.normal(size=(4000, 1)), rng.normal(size=(4000, 8))
    assert split_variance(np.repeat(years, 8, axis=1)) == pytest.approx((1.0, 0.0))
    weather, model = split_variance(draws)
    assert weather < 0.02
    assert model > 0.98
    weather, model = split_variance(2.0 * years + draws)
    assert weather == pytest.approx(0.8, abs=0.02)
    assert weather + model == pytest.approx(1.0)
    assert split_variance(np.ones((12, 4))) == (0.0, 0.0)


def test_rank_correlation_is_spearman_s() -> None:
    """Against a statistics library, on a bent relation with noise; none of a constant."""
    rng = np.random.default_rng(5)
    x = rng.normal(size=300)
    y = np.exp(2.0 * x) + rng.normal(size=300)
    assert rank_correlation(x, y) == pytest.approx(stats.spearmanr(x, y).statistic, abs=1e-12)
    assert rank_correlation(x, -x) == pytest.approx(-1.0)
    assert rank_correlation(x, np.ones(300)) == 0.0


def test_limits_of_moisture_lie_on_the_wood_s_own_curve(kind: StackModel) -> None:
    """What the wood holds at the potentials at which the fungus stops and slows."""
    found, fungus, wood = thresholds_of(kind), fungi()["grey oyster"], woods()["aspen"]
    for pct, psi in (
        (found.moisture_stop_pct, fungus.psi_stop_mpa.value),
        (found.moisture_slow_pct, fungus.psi_full_mpa.value),
    ):
        assert pct == pytest.approx(100.0 * float(retention_moisture(psi, wood)), abs=0.1)
    assert found.drought_kill_pct < found.drought_onset_pct < found.moisture_stop_pct
    assert found.moisture_stop_pct < found.moisture_slow_pct


def told(kind: StackModel, lost: FloatArray, quantiles: FloatArray) -> Outcomes:
    """Twenty years of ten draws of one unknown, some of them lost."""
    ends = ended(kind, np.zeros(3), np.zeros(3), 1.0, 0.0)
    return replace(
        ends,
        years=tuple(range(2000, 2020)),
        outcomes=np.where(lost, KILLED_BY_DROUGHT, ON_TIME).reshape(20, 10),
        moisture_driest_face_pct=np.full((20, 10), 40.0),
        quantiles=quantiles[:, None],
        unknowns=("unmeasured",),
    )


def test_a_difference_is_an_option_less_the_first_and_turns_where_its_sign_does(
    kind: StackModel,
) -> None:
    """By hand: one lost where the number is low, the other where it is high: neither is better
    until it is measured; one always lost, the other never: 1, and nothing turns it.
    """
    quantiles = np.random.default_rng(1).permutation(np.linspace(0.0, 1.0, 200))
    where_low, where_high = (told(kind, w, quantiles) for w in (quantiles < 0.5, quantiles > 0.5))
    tie = difference(where_low, where_high)
    assert tie is not None
    assert tie.turns_on == "unmeasured"
    assert tie.is_tie
    never, always = (told(kind, np.full(200, w), quantiles) for w in (False, True))
    worse = difference(always, never)
    assert worse is not None
    assert (worse.mean, worse.low, worse.high, worse.turns_on) == (1.0, 1.0, 1.0, None)
    better = difference(never, where_low)
    assert better is not None
    assert better.mean == pytest.approx(-0.5)
    assert better.turns_on is None
    assert not better.is_tie


def test_a_level_is_told_at_both_ends_of_what_moves_it(kind: StackModel) -> None:
    """All lost where the number is low, none where it is high."""
    quantiles = np.random.default_rng(2).permutation(np.linspace(0.0, 1.0, 200))
    level = level_of(told(kind, quantiles < 0.5, quantiles))
    assert level is not None
    assert (level.unknown, level.where_low, level.where_high) == ("unmeasured", 1.0, 0.0)


def test_an_outlook_of_a_past_season_goes_on_with_the_years_before_it(kind: StackModel) -> None:
    """The record runs from 2008 to 2012: whoever stood there in April 2010 knew 2008 and 2009."""
    (outlook,) = look_at_all(kind, [OPEN], kind.stack.inoculated, 1)
    assert outlook.next_day == date(2010, 4, 13)
    assert outlook.years == (2008, 2009)
