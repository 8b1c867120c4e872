"""Scores against reference libraries, and hindcasts that know nothing of their year."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import properscoring
import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).parent))

import report_samples
import risk_samples as samples

from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.errors import InputError
from climate_risk.plot import skill_figure
from climate_risk.report import skill as words
from climate_risk.report import summary, write_skill
from climate_risk.report.page import season_page
from climate_risk.risk.hindcast import hindcast, records_without, run_target
from climate_risk.risk.hindsight import Hindcast
from climate_risk.risk.scores import brier, crps, reliability, skill
from climate_risk.risk.skill_table import measured_skill
from climate_risk.weather.bias import without_bias
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.record import RawWeather, first_flags
from climate_risk.yard import Yard

RNG = np.random.default_rng(17)
EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)


# ---- scores -------------------------------------------------------------------------------------


@pytest.mark.parametrize("members", [1, 2, 17])
def test_crps_agrees_with_properscoring(members: int) -> None:
    """properscoring 0.1, `crps_ensemble`."""
    ensemble, came = RNG.normal(3.0, 2.0, members), RNG.normal(2.0, 1.0, 9)
    reference = properscoring.crps_ensemble(came, np.tile(ensemble, (9, 1)))
    assert crps(ensemble, came) == pytest.approx(reference.mean(), rel=1e-12)


def test_crps_of_a_normal_is_the_closed_form() -> None:
    """properscoring 0.1, `crps_gaussian` (Gneiting and others 2005)."""
    middles = stats.norm.ppf((np.arange(4000) + 0.5) / 4000)
    assert crps(middles, np.array([0.7])) == pytest.approx(
        properscoring.crps_gaussian(0.7, 0.0, 1.0), abs=2e-3
    )


def test_brier_agrees_with_properscoring() -> None:
    """properscoring 0.1, `brier_score`."""
    lost = (RNG.random(40) < 0.4).astype(float)
    reference = properscoring.brier_score(lost, np.full(40, 0.3)).mean()
    assert brier(0.3, lost) == pytest.approx(reference, rel=1e-12)


def calibrated(years: int, draws: int) -> tuple[np.ndarray, np.ndarray]:
    """Chances of years, and whether a loss came of each draw: calibrated by construction."""
    rng = np.random.default_rng(23)
    chances = rng.beta(1.2, 2.0, years)
    return chances, (rng.random((years, draws)) < chances[:, None]).astype(float)


def test_skill_of_a_calibrated_forecast_is_the_variance_of_its_chances() -> None:
    """Murphy 1973 (J. Appl. Meteorol. 12:595-600, from memory): with perfect reliability, skill
    against the base rate p is Var(chance) / (p (1 - p)): of a beta(a, b), 1 / (a + b + 1).
    """
    chances, lost = calibrated(4000, 5)
    told = np.array([brier(p, o) for p, o in zip(chances, lost, strict=True)])
    usual = np.array([brier(1.2 / 3.2, o) for o in lost])
    found = skill(told, usual, told)
    assert found.skill == pytest.approx(1.0 / 4.2, abs=0.02)
    assert found.low < 1.0 / 4.2 < found.high
    assert found.is_sure


def test_the_usual_chance_told_again_has_no_skill() -> None:
    usual = RNG.random(30)
    found = skill(usual, usual, 0.5 * usual)
    assert (found.skill, found.low, found.high) == (0.0, 0.0, 0.0)
    assert not found.is_sure
    assert found.best == pytest.approx(0.5)
    assert skill(1.2 * usual, usual, usual).skill == pytest.approx(-0.2)


def test_interval_of_skill_holds_the_truth_about_as_often_as_it_says() -> None:
    """80 % by name; the percentile bootstrap of a ratio falls somewhat short with 30 years."""
    truth, inside = 1.0 / 4.2, 0
    rng = np.random.default_rng(5)
    for _ in range(60):
        chances = rng.beta(1.2, 2.0, 30)
        lost = (rng.random((30, 40)) < chances[:, None]).astype(float)
        told = np.array([brier(p, o) for p, o in zip(chances, lost, strict=True)])
        usual = np.array([brier(1.2 / 3.2, o) for o in lost])
        found = skill(told, usual, told)
        inside += found.low <= truth <= found.high
    assert 0.65 <= inside / 60 <= 0.93


def test_reliability_of_a_calibrated_forecast_lies_on_the_diagonal() -> None:
    chances, lost = calibrated(600, 20)
    found = reliability(chances, lost.mean(axis=1), np.arange(600), EDGES)
    assert sum(each.outlooks for each in found) == 600
    for each in found:
        assert each.came == pytest.approx(each.told, abs=0.04)
        assert each.low - 0.02 <= each.told <= each.high + 0.02


def test_reliability_shows_a_forecast_that_is_too_sure() -> None:
    """Chances pushed to the ends: where 90 % was told, less came; where 10 %, more."""
    chances, lost = calibrated(600, 20)
    sure = np.clip(0.5 + 2.0 * (chances - 0.5), 0.0, 1.0)
    found = reliability(sure, lost.mean(axis=1), np.arange(600), EDGES)
    assert found[-1].told > found[-1].high + 0.05
    assert found[0].told < found[0].low - 0.02


def test_outlooks_of_one_year_do_not_pass_for_years() -> None:
    chances, lost = calibrated(40, 5)
    once = reliability(chances, lost.mean(axis=1), np.arange(40), (0.0, 1.0))[0]
    often = reliability(
        np.tile(chances, 6), np.tile(lost.mean(axis=1), 6), np.tile(np.arange(40), 6), (0.0, 1.0)
    )[0]
    assert often.years == once.years
    assert often.high - often.low == pytest.approx(once.high - once.low, rel=0.05)


# ---- weather with a year left out ---------------------------------------------------------------

LEFT_OUT = (date(2003, 4, 1), date(2004, 3, 31))


def gappy(summer_k: float) -> RawWeather:
    """Six years with gaps, the summer left out so much hotter, moister and wetter."""
    table = samples.daily_table("2000-01-01", "2005-12-31")
    table = table.drop(columns=["air_temp_mean_c", "wind_ms", "shortwave_mj_m2"]).copy()
    odd = slice(*map(str, LEFT_OUT))
    names = ["air_temp_min_c", "air_temp_max_c", "dew_point_c"]
    table.loc[odd, names] += summer_k
    table.loc[odd, "dew_point_c"] += 0.5 * summer_k
    table.loc[odd, "precip_mm"] += summer_k
    table.loc["2001-07-01":"2001-07-20", ["air_temp_max_c", "air_temp_min_c"]] = np.nan
    table.loc["2002-08-01":"2002-08-20", "dew_point_c"] = np.nan
    table.loc["2004-07-01":"2004-07-09", "precip_mm"] = np.nan
    table.loc["2003-07-10":"2003-07-25", ["air_temp_max_c", "air_temp_min_c"]] = np.nan
    return RawWeather(table=table, quality=first_flags(table), step="daily", source="test")


def test_days_left_out_teach_nothing() -> None:
    """Whatever they were, every other day comes out the same; and it would not otherwise."""
    others = ~((pd.date_range("2000-01-01", "2005-12-31") >= str(LEFT_OUT[0]))
               & (pd.date_range("2000-01-01", "2005-12-31") <= str(LEFT_OUT[1])))  # fmt: skip
    as_it_was, odd = (
        fill_gaps(gappy(kelvin), samples.NORTH, LEFT_OUT).table[others] for kelvin in (0.0, 9.0)
    )
    pd.testing.assert_frame_equal(as_it_was, odd)
    known = [fill_gaps(gappy(kelvin), samples.NORTH).table[others] for kelvin in (0.0, 9.0)]
    apart = (known[0] - known[1]).abs().max()
    for name in ("air_temp_max_c", "dew_point_c", "precip_mm"):
        assert apart[name] > 0.05, name


def test_gaps_of_the_days_left_out_are_filled_from_the_others() -> None:
    filled = fill_gaps(gappy(9.0), samples.NORTH, LEFT_OUT)
    gap = filled.table.loc["2003-07-10":"2003-07-25", "air_temp_max_c"]
    usual = fill_gaps(gappy(0.0), samples.NORTH, LEFT_OUT).table.loc[gap.index, "air_temp_max_c"]
    assert (gap == usual).all()


def test_a_neighbour_is_moved_by_what_the_other_days_teach() -> None:
    first = samples.daily_table("2000-01-01", "2005-12-31")[["air_temp_max_c"]]
    other = first + 2.0
    first.loc[slice(*map(str, LEFT_OUT))] += 5.0
    moved = without_bias(first, other, "daily", LEFT_OUT)
    assert (moved - (other - 2.0)).abs().max().item() == pytest.approx(0.0, abs=1e-9)
    assert (without_bias(first, other, "daily") - (other - 2.0)).abs().max().item() > 0.3


# ---- hindcasts ----------------------------------------------------------------------------------

YEARS = range(2000, 2010)
DAYS = (date(2010, 6, 12), date(2010, 8, 12))


@pytest.fixture(scope="module")
def record() -> Record:
    return samples.make_record("2000-01-01", "2010-06-30")


@pytest.fixture(scope="module")
def kind(record: Record) -> StackModel:
    return stack_model(replace(samples.small_stack(), diameter_m=0.1), record, 0.0)


def test_an_outlook_knows_nothing_of_the_days_to_come(record: Record, kind: StackModel) -> None:
    """The target's own weather after the day of the outlook may be anything: what is told stays
    the same (to what ground remembers after a year), and what came does not."""
    weather = record.weather
    after = slice(record.row(date(2005, 8, 12)), record.row(date(2006, 4, 12)))
    warmer = weather.air_temp_c.copy()
    warmer[after] += 8.0
    rain = weather.precip_mm.copy()
    rain[after] = 0.0
    odd = Record(replace(weather, air_temp_c=warmer, precip_mm=rain), record.site)
    told, other = (
        run_target(replace(kind, record=of), Scheme(canopy="open"), YEARS, 2005, DAYS, 1)
        for of in (record, odd)
    )
    assert 2005 not in told.usual.years
    for before, now in zip((told.usual, *told.told), (other.usual, *other.told), strict=True):
        np.testing.assert_allclose(
            now.moisture_driest_face_pct, before.moisture_driest_face_pct, rtol=0.0, atol=1e-4
        )
        assert (before.outcomes == now.outcomes).all()
    apart = told.came.moisture_driest_face_pct - other.came.moisture_driest_face_pct
    assert np.abs(apart).max() > 1.0


def test_no_year_that_shares_a_day_with_the_target_is_carried_on(kind: StackModel) -> None:
    """Felled before it is inoculated, a season of a year and more laps into its neighbours."""
    lapping = replace(kind, start_day=kind.start_day - timedelta(days=10))
    found = run_target(lapping, Scheme(canopy="open"), YEARS, 2005, DAYS[:1], 1)
    assert found.usual.years == tuple(y for y in YEARS if abs(y - 2005) > 1)
    exact = run_target(kind, Scheme(canopy="open"), YEARS, 2005, DAYS[:1], 1)
    assert exact.usual.years == tuple(y for y in YEARS if y not in (2005, 2006))


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    return samples.small_yard(tmp_path_factory.mktemp("yard"), year=2010)


@pytest.fixture(scope="module")
def found(yard: Yard, kind: StackModel) -> Hindcast:
    short = samples.make_record("2000-01-01", "2005-06-30")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("climate_risk.risk.hindcast.FEWEST_YEARS", 4)
        return hindcast(
            replace(yard, canopy="open"),
            kind.stack,
            lambda first, last: short,
            source="invented",
            months_seen=(2, 6),
            draws=2,
        )


def test_a_hindcast_scores_every_year_at_every_date(found: Hindcast) -> None:
    assert (found.years, found.first_year, found.last_year) == (5, 2000, 2004)
    assert [lead.months_seen for lead in found.leads] == [2, 6]
    assert [lead.lead_days for lead in found.leads] == [304, 182]
    assert sum(each.outlooks for each in found.reliability) == 10
    for lead in found.leads:
        for of in (lead.loss, lead.dryness_pct):
            assert of.low <= of.skill <= of.high
            assert of.skill <= of.best + 1e-9


def test_too_few_years_are_refused(yard: Yard, kind: StackModel) -> None:
    short = samples.make_record("2000-01-01", "2009-06-30")
    with pytest.raises(InputError, match="9 whole seasons"):
        hindcast(yard, kind.stack, lambda first, last: short, source="short", draws=1)


def test_a_record_that_comes_out_alike_is_made_once() -> None:
    whole = samples.daily_table("2000-01-01", "2001-12-31")
    raw = RawWeather(table=whole, quality=first_flags(whole), step="daily", source="test")
    made = records_without(lambda days: fill_gaps(raw, samples.NORTH, days), samples.NORTH)
    first = made(date(2000, 4, 1), date(2000, 9, 1))
    assert made(date(2001, 4, 1), date(2001, 9, 1)) is first


# ---- what is said and shown ---------------------------------------------------------------------


def test_no_skill_is_said_as_such(found: Hindcast) -> None:
    none = replace(found.leads[0].loss, skill=0.0, low=-0.1, high=0.1)
    poor = replace(found, leads=tuple(replace(lead, loss=none) for lead in found.leads))
    said = words.outlook_sentence([poor])
    assert "no more of losses than the usual chance" in said
    assert "better by" not in said
    assert "tells no more" in words.skill_sentence(poor)
    good = replace(none, skill=0.2, low=0.1, high=0.3, best=0.4)
    mixed = replace(poor, leads=(poor.leads[0], replace(poor.leads[1], loss=good)))
    said = words.skill_sentence(mixed)
    assert "2 months after inoculation the outlook tells no more" in said
    assert "6 months after inoculation it is 20.0 % (8 times in 10: 10.0 to 30.0) better" in said
    assert "not against losses that somebody counted" in words.outlook_sentence([mixed])


def test_what_is_shipped_was_measured_on_real_records() -> None:
    shipped = measured_skill()
    assert len(shipped) >= 2
    assert min(each.years for each in shipped) >= 25
    assert {each.source.split(",")[0] for each in shipped} == {"central Iowa", "Champion"}


def test_page_summary_and_files_carry_the_measured_skill(tmp_path: Path, found: Hindcast) -> None:
    season = replace(report_samples.season(), skill=measured_skill())
    page = season_page(season)
    assert "How far such an outlook can be trusted" in page
    assert "central Iowa" in page
    assert "How far such an outlook" not in season_page(report_samples.season())
    told = summary.summary(season, None)["season"]["skill"]
    assert len(told["records"]) == len(measured_skill())
    summary.json_text(told)
    names = [path.name for path in write_skill(tmp_path, [found])]
    assert names == ["skill.csv", "skill.png", "skill.svg"]
    rows = pd.read_csv(tmp_path / "skill.csv")
    assert len(rows) == 2 * len(found.leads)
    assert len(skill_figure([found]).axes) == 2
