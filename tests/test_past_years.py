"""Past years: spells by published measures, trends and their power, bad years and why."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import nct, t

sys.path.insert(0, str(Path(__file__).parent))

import pymannkendall
import report_samples
import risk_samples as samples

from climate_risk.engine.blocks import advance
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.plot import past_years_figure
from climate_risk.report import past as words
from climate_risk.report import summary
from climate_risk.report.page import compare_page, season_page
from climate_risk.report.past import COUNTS
from climate_risk.risk.hindsight import BadYear, Departure, PastYears
from climate_risk.risk.past import past_jobs, past_years, spells
from climate_risk.risk.trend import POWER, SIGNIFICANT, mann_kendall, noticed_slope, trend_of
from climate_risk.units import Units
from climate_risk.weather.spells import DRY_DAY_MM, HEATWAVE_DAYS, hot_from_c, runs

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def iowa() -> pd.DataFrame:
    return pd.read_csv(DATA / "iowa_1990_2020.csv.gz", parse_dates=["date"], index_col="date")


# ---- published measures -------------------------------------------------------------------------


def test_runs_by_hand() -> None:
    on = np.array([1, 1, 0, 1, 0, 0, 1, 1, 1], dtype=bool)
    assert runs(on) == [(0, 2), (3, 4), (6, 9)]
    assert runs(on, 3) == [(6, 9)]
    assert runs(np.zeros(4, dtype=bool)) == []
    found = spells(on, 2)
    assert (found.count, found.days, found.longest_d) == (2, 5, 3)


def test_consecutive_dry_days_by_hand() -> None:
    """Zhang and others 2011: a day is dry below 1 mm, not at it."""
    rain = np.array([0.0, 0.9, 1.0, 0.2, 0.0, 0.99, 3.0, 0.0])
    assert spells(rain < DRY_DAY_MM, 1).longest_d == 3


# Values of xclim 0.62.0 on tests/data/iowa_1990_2020.csv.gz, May to September of each year of 1990
# to 2020: `maximum_consecutive_dry_days` (threshold 1 mm/day) and, with `percentile_doy` (window
# 15, the 90th) of all years, `warm_spell_duration_index` (window 3).
XCLIM_DRY = [
    10, 23, 21, 8, 16, 21, 17, 13, 12, 21, 10, 17, 19, 19, 13, 12,
    11, 25, 12, 24, 10, 21, 17, 18, 12, 10, 13, 19, 12, 12, 15,
]  # fmt: skip
XCLIM_HEAT = [
    3, 22, 3, 0, 7, 14, 3, 0, 6, 3, 0, 11, 6, 10, 0, 9,
    7, 0, 0, 0, 6, 10, 27, 12, 0, 0, 6, 13, 15, 0, 6,
]  # fmt: skip


def test_measures_agree_with_a_reference_library(iowa: pd.DataFrame) -> None:
    """Heatwave days may differ by one spell where a leap day moves a window by a day."""
    warm = np.asarray(iowa.index.month.isin((5, 6, 7, 8, 9)))
    warmest = iowa["tmax_c"].to_numpy()
    dry = warm & (iowa["precip_mm"].to_numpy() < DRY_DAY_MM)
    hot = warm & (warmest > hot_from_c(warmest, pd.DatetimeIndex(iowa.index)))
    years = range(1990, 2021)
    inside = [np.asarray(iowa.index.year == year) for year in years]
    assert [spells(dry[rows], 1).longest_d for rows in inside] == XCLIM_DRY
    days = np.array([spells(hot[rows], HEATWAVE_DAYS).days for rows in inside])
    apart = np.abs(days - XCLIM_HEAT)
    assert apart.max() <= HEATWAVE_DAYS
    assert (apart == 0).mean() > 0.8


# ---- trends ---------------------------------------------------------------------------------


@pytest.mark.parametrize("slope", [0.0, 0.15, -0.4])
def test_mann_kendall_agrees_with_pymannkendall(slope: float) -> None:
    """pymannkendall 1.4, `original_test` and `sens_slope`; counts with ties."""
    rng = np.random.default_rng(3)
    years = np.arange(1990, 2020)
    counts = np.round(rng.poisson(6.0, years.size) + slope * np.arange(years.size)) + 12.0
    reference = pymannkendall.original_test(counts)
    assert mann_kendall(counts[None, :])[0] == pytest.approx(reference.p, rel=1e-9)
    found = trend_of("wood_dry_d", years, counts)
    assert found is not None
    assert found.per_decade == pytest.approx(10.0 * reference.slope)
    assert found.low <= found.per_decade <= found.high
    assert found.is_told == (reference.p < 0.05)


def power_of_regression(slope: float, spread: float, years: int) -> float:
    """Of the t test of a slope, two-sided, with normal departures: the noncentral t (textbook)."""
    run = np.arange(years) - (years - 1) / 2.0
    away = slope / spread * np.sqrt((run**2).sum())
    limit = t.ppf(1.0 - SIGNIFICANT / 2.0, years - 2)
    return float(nct.sf(limit, years - 2, away) + nct.cdf(-limit, years - 2, away))


def test_change_that_is_noticed_is_near_that_of_regression() -> None:
    """For normal departures the rank test is nearly as powerful (Yue and Pilon 2004, Hydrol. Sci.
    J. 49:21-37, abstract read: "slightly higher" for slope-based tests)."""
    departures = np.random.default_rng(8).standard_normal(30)
    departures = (departures - departures.mean()) / departures.std()
    noticed = noticed_slope(np.arange(30), departures)
    assert power_of_regression(0.9 * noticed, 1.0, 30) >= 0.70
    assert power_of_regression(noticed, 1.0, 30) == pytest.approx(POWER + 0.03, abs=0.06)
    assert power_of_regression(0.5 * noticed, 1.0, 30) < 0.4


def test_fewer_years_notice_only_larger_changes() -> None:
    few, many = (
        noticed_slope(np.arange(n), np.random.default_rng(2).standard_normal(n)) for n in (15, 60)
    )
    assert few > 3.0 * many


def test_no_trend_of_counts_that_never_change_or_are_few() -> None:
    years = np.arange(2000, 2020)
    assert trend_of("heatwave_d", years, np.full(20, 3.0)) is None
    assert trend_of("heatwave_d", years[:9], np.arange(9.0)) is None


# ---- the wood's own state and bad years -------------------------------------------------------

DROUGHT_YEAR = 2007


def with_drought(table: pd.DataFrame) -> pd.DataFrame:
    """No rain, hotter and drier, in one summer."""
    table = table.copy()
    days = slice(f"{DROUGHT_YEAR}-06-01", f"{DROUGHT_YEAR}-09-30")
    table.loc[days, "precip_mm"] = 0.0
    for name in ("air_temp_min_c", "air_temp_mean_c", "air_temp_max_c"):
        table.loc[days, name] += 6.0
    return table


@pytest.fixture(scope="module")
def kind() -> StackModel:
    table = with_drought(samples.daily_table("2000-01-01", "2014-07-20"))
    record = Record(samples.hours_of(table, samples.NORTH), samples.NORTH)
    stack = replace(samples.small_stack(), cap_thickness_m=0.0, diameter_m=0.12)
    return stack_model(stack, record, 0.0)


@pytest.fixture(scope="module")
def past(kind: StackModel) -> PastYears:
    jobs = past_jobs(kind, Scheme(canopy="open"))
    advance(jobs)
    found = past_years(kind, jobs)
    assert found is not None
    return found


def test_every_whole_year_is_there(past: PastYears) -> None:
    assert [year.year for year in past.years] == list(range(2000, 2014))
    assert past.warm_months == (5, 6, 7, 8, 9)


def test_the_year_of_the_drought_is_the_worst_and_says_why(past: PastYears) -> None:
    bad = past.bad[0]
    assert (bad.year, bad.cause) == (DROUGHT_YEAR, "drought")
    assert f"{DROUGHT_YEAR}-06-01" <= bad.last.isoformat() <= f"{DROUGHT_YEAR}-11-30"
    assert bad.weather_from <= bad.first <= bad.last
    off = {d.weather: d.value - d.usual for d in bad.departures}
    assert off["precip_mm"] < -50.0
    assert off["air_temp_max_c"] > 2.0
    assert off["rel_humidity_pct"] < 0.0


def test_published_measures_see_the_drought_too(past: PastYears) -> None:
    by_year = {year.year: year for year in past.years}
    dry = by_year[DROUGHT_YEAR]
    assert dry.rainless.longest_d >= 122
    assert dry.heatwaves.days > max(
        year.heatwaves.days for year in past.years if year.year != DROUGHT_YEAR
    )
    table = with_drought(samples.daily_table("2000-01-01", "2014-07-20"))
    for year in (2003, 2010):
        warm = table.loc[f"{year}-05-01" : f"{year}-09-30"]
        dry_days = (warm["precip_mm"] < 1.0).to_numpy()
        assert by_year[year].rainless == spells(dry_days, 1)
    assert dry.wood_dry.longest_d == max(year.wood_dry.longest_d for year in past.years)


def test_a_record_without_a_whole_season_has_no_past_years(kind: StackModel) -> None:
    short = samples.make_record("2010-03-01", "2010-09-01")
    brief = stack_model(kind.stack, short, 0.0)
    assert past_years(brief, past_jobs(brief, Scheme(canopy="open"))) is None


# ---- what is said and shown -----------------------------------------------------------------


def test_sentences_name_the_year_its_weather_and_the_power(past: PastYears) -> None:
    said = " ".join(words.sentences(past, Units("us")))
    assert f"{DROUGHT_YEAR}, by drought" in said
    assert "of the usual rain" in said
    assert "°F hotter than usual" in said
    assert "would be missed more than 1 time in 5" in said
    assert "Zhang and others 2011" in said
    assert words.sentences(None, Units("us")) == []


def test_departures_in_words() -> None:
    metric = Units("metric")
    rain = Departure(weather="precip_mm", value=20.0, usual=80.0)
    assert words.departure_words(rain, metric) == "25 % of the usual rain (20.0 mm for 80.0 mm)"
    sun = Departure(weather="shortwave_mj_m2", value=18.0, usual=20.0)
    assert words.departure_words(sun, metric) == "10 % less sun than usual"
    moist = Departure(weather="rel_humidity_pct", value=75.0, usual=70.0)
    assert "5 points of relative humidity moister" in words.departure_words(moist, metric)


def test_nothing_off_its_usual_is_said_as_such(past: PastYears) -> None:
    bad: BadYear = replace(past.bad[0], departures=())
    assert "stood out" in words.bad_year_sentence(bad, Units("metric"))


def test_figure_page_and_summary_carry_past_years(past: PastYears) -> None:
    season = report_samples.season(replace(report_samples.stack(), past=past))
    figure = past_years_figure(season)
    assert len(figure.axes) == len(COUNTS)
    for axes, count in zip(figure.axes, COUNTS.values(), strict=True):
        whole, longest = (shape.get_paths()[0].vertices.reshape(-1, 5, 2) for shape in
                          axes.collections)  # fmt: skip
        assert [column[1, 1] for column in whole] == count(past)
        assert np.all(longest[:, 1] <= whole[:, 1])
    page = season_page(season)
    assert "Past years: dry and hot spells" in page
    assert "Past years: dry and hot spells" not in season_page(report_samples.season())
    told = summary.summary(season, None)["season"]["stacks"][0]["past_years"]
    assert [row[0] for row in told["rows"]] == [year.year for year in past.years]
    assert len(told["columns"]) == len(told["rows"][0])
    compare = report_samples.compare()
    whole = replace(compare, stacks=(replace(compare.stacks[0], past=past),))
    assert "Past years: dry and hot spells" in compare_page(whole)
    with pytest.raises(ValueError, match="no past years"):
        past_years_figure(compare)
