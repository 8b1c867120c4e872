"""This year's stacks: to date, then an outlook; and what is refused."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

import climate_risk as cr
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, stack_model
from climate_risk.errors import InputError
from climate_risk.options import CoverSpan
from climate_risk.risk.outlook import Outlook, look_at_all
from climate_risk.risk.results import SeasonResult, StackSeason
from climate_risk.risk.season import hot_dry_spells, season
from climate_risk.yard import Yard

AS_OF = date(2014, 7, 15)


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    return samples.small_yard(tmp_path_factory.mktemp("yard"), year=2014)


@pytest.fixture(scope="module")
def record() -> Record:
    return samples.make_record("2002-01-01", "2014-07-20")


def run(yard: Yard, record: Record, as_of: date = AS_OF, draws: int = 2) -> SeasonResult:
    table = samples.daily_table("2002-01-01", "2002-01-02")
    return season(
        yard, record, samples.coverage(table), {"yard.toml": "0"}, as_of=as_of, draws=draws
    )


@pytest.fixture(scope="module")
def result(yard: Yard, record: Record) -> SeasonResult:
    return run(yard, record)


@pytest.fixture(scope="module")
def stack(result: SeasonResult) -> StackSeason:
    return result.stacks[0]


def test_to_date_runs_from_inoculation_to_the_day_asked_for(
    result: SeasonResult, stack: StackSeason
) -> None:
    assert result.as_of == AS_OF
    assert stack.daily.index[0].date() == date(2014, 4, 12)
    assert stack.daily.index[-1].date() == AS_OF
    assert stack.horizon == date(2015, 4, 12)
    assert set(stack.daily["source"]) == {"observed"}


def test_outlook_goes_on_the_day_after_and_ends_before_the_horizon(stack: StackSeason) -> None:
    assert stack.outlook is not None
    assert stack.outlook.index[0].date() == AS_OF + timedelta(days=1)
    assert stack.outlook.index[-1].date() == stack.horizon - timedelta(days=1)


def test_outlook_starts_from_the_state_to_date(stack: StackSeason) -> None:
    """Water and run do not jump from the last day seen to the first day ahead."""
    assert stack.outlook is not None
    for name, room in (("moisture_mean_pct", 6.0), ("colonized_fraction", 0.1)):
        ahead = stack.outlook[name].iloc[0]
        assert ahead[10] - room <= stack.daily[name].iloc[-1] <= ahead[90] + room


def test_outlook_percentiles_are_in_order(stack: StackSeason) -> None:
    assert stack.outlook is not None
    for name in stack.outlook.columns.get_level_values(0).unique():
        fan = stack.outlook[name]
        assert (fan[10] <= fan[50]).all()
        assert (fan[50] <= fan[90]).all()


def test_what_accumulates_never_falls(stack: StackSeason) -> None:
    for name in ("colonized_fraction", "heat_stress", "drought_stress"):
        assert (stack.daily[name].diff().dropna() >= 0.0).all()
        assert stack.outlook is not None
        assert (stack.outlook[name].diff().dropna() >= -1e-12).all().all()


def test_the_water_of_every_day_closes(stack: StackSeason) -> None:
    """Stored today less stored yesterday is what came in less what went out."""
    daily = stack.daily
    change = daily["log_water_kg"].diff().iloc[1:]
    flow = (daily["water_in_kg"] - daily["water_out_kg"]).iloc[1:]
    assert change.to_numpy() == pytest.approx(flow.to_numpy(), abs=1e-9)


def test_every_balance_closes(result: SeasonResult) -> None:
    assert 0.0 <= result.water_residual <= 1e-9
    assert 0.0 <= result.energy_residual <= 1e-9


def test_results_carry_every_parameter_drawn_with_its_range(
    yard: Yard, record: Record, stack: StackSeason, result: SeasonResult
) -> None:
    """Those of the stack's own rows, covers that are on and the barrier included."""
    used = {(p.group, p.name): p for p in stack.parameters if p.group not in ("canopy",)}
    kind = stack_model(yard.stacks[0], record, 0.0)
    drawn = kind.parameter_set(Scheme(canopy="deciduous")).unknowns()
    for key, parameter in drawn.items():
        group, _, name = key.partition(".")
        if group in ("bag", "cloth", "canopy"):
            continue
        taken = used[group, "wood_factor.aspen" if name == "wood_factor" else name]
        assert taken.drawn
        assert (taken.value, taken.low, taken.high, taken.unit, taken.source) == (
            parameter.value,
            parameter.low,
            parameter.high,
            parameter.unit,
            parameter.source,
        )
    assert {p.row for p in stack.parameters if p.group == "canopy"} == {
        "open",
        "deciduous",
        "conifer",
    }
    assert {p.source for p in stack.parameters} == {source.key for source in result.sources}
    bagged = replace(
        yard, stacks=(replace(yard.stacks[0], covers=(CoverSpan(kind="bag", material="paper"),)),)
    )
    groups = {p.group for p in run(bagged, record).stacks[0].parameters}
    assert {"bag", "barrier"} <= groups


def test_chance_is_over_the_past_years_alone(stack: StackSeason) -> None:
    """The record begins in 2002 and ends in this year's July: 12 whole years to look ahead."""
    chance = stack.result.chance
    assert chance is not None
    assert (chance.years, chance.draws) == (12, 2)
    assert [year.year for year in stack.result.years] == list(range(2002, 2014))
    parts = stack.result.shares
    assert parts.on_time + parts.not_fully_run + parts.lost == pytest.approx(1.0)


def test_the_same_stack_under_each_canopy(stack: StackSeason) -> None:
    assert [o.canopy for o in stack.under_canopies] == ["open", "deciduous", "conifer"]
    own = next(o for o in stack.under_canopies if o.canopy == "deciduous")
    assert own.shares == stack.result.shares
    hottest = {o.canopy: o.bark_temp_max_c[1] for o in stack.under_canopies}
    assert hottest["open"] > hottest["conifer"] + 2.0


def test_dates_of_the_full_run_are_in_order(stack: StackSeason) -> None:
    known = [day for day in stack.full_run if day is not None]
    assert known == sorted(known)
    assert all(stack.inoculated < day <= stack.horizon for day in known)


def test_the_same_call_gives_the_same_result(
    yard: Yard, record: Record, stack: StackSeason
) -> None:
    again = run(yard, record).stacks[0]
    assert again.result == stack.result
    pd.testing.assert_frame_equal(again.daily, stack.daily)


def test_weather_after_the_day_asked_for_changes_nothing(yard: Yard, record: Record) -> None:
    """What is not yet seen may not leak into the run to date; only the last evening, which a
    daily record draws toward the next morning, may differ.
    """
    cut = samples.make_record("2002-01-01", AS_OF.isoformat())
    seen, unseen = run(yard, record).stacks[0], run(yard, cut).stacks[0]
    pd.testing.assert_frame_equal(seen.daily.iloc[:-1], unseen.daily.iloc[:-1])
    assert seen.daily.index.equals(unseen.daily.index)


def test_a_day_beyond_the_weather_is_its_last(yard: Yard, record: Record) -> None:
    assert run(yard, record, as_of=date(2030, 1, 1)).as_of == record.last


def test_a_season_that_is_over_has_no_outlook(tmp_path: Path, record: Record) -> None:
    yard = samples.small_yard(tmp_path, year=2012)
    stack = run(yard, record, as_of=date(2014, 1, 1)).stacks[0]
    assert stack.outlook is None
    assert stack.daily.index[-1].date() == stack.horizon - timedelta(days=1)
    assert stack.actions == ()
    assert stack.result.chance is None
    assert [year.year for year in stack.result.years] == [2012]
    assert len({o.bark_temp_max_c for o in stack.under_canopies}) == 3


def test_few_years_give_no_chance_but_what_happened(yard: Yard) -> None:
    short = samples.make_record("2010-01-01", "2014-07-20")
    stack = run(yard, short).stacks[0]
    assert stack.result.chance is None
    assert stack.result.cost.expected_loss is None
    assert stack.lost_of_count is None
    assert stack.actions == ()
    assert len(stack.result.years) == 4


@pytest.mark.parametrize(
    ("first", "last", "as_of", "words"),
    [
        ("2002-01-01", "2014-07-20", date(2014, 3, 1), "--as-of 2014-03-01 lies before"),
        ("2014-05-01", "2014-07-20", AS_OF, "starts on 2014-04-12"),
        ("2002-01-01", "2013-07-20", AS_OF, "starts on 2014-03-20"),
    ],
)
def test_weather_that_does_not_serve_is_refused(
    yard: Yard, first: str, last: str, as_of: date, words: str
) -> None:
    with pytest.raises(InputError, match=words) as error:
        run(yard, samples.make_record(first, last), as_of=as_of)
    assert "\n" not in str(error.value)
    assert "accepted is" in str(error.value)


def test_a_record_of_one_year_has_its_season_to_date(yard: Yard, record: Record) -> None:
    """The same days as with past years, no chance, no outlook, and what to do for one."""
    alone = run(yard, samples.make_record("2014-01-01", "2014-07-20")).stacks[0]
    with_past = run(yard, record).stacks[0]
    # Leaves come out by the record's own warmth, so that the two differ by a little.
    pd.testing.assert_frame_equal(alone.daily, with_past.daily, rtol=0.05, atol=0.5)
    assert alone.lacks_past
    assert not with_past.lacks_past
    assert alone.result.chance is None
    assert alone.outlook is None
    assert alone.result.years == ()
    assert alone.actions == ()
    assert alone.result.cost.expected_loss is None
    # Its driest face is that of the days run, not of a season not yet seen.
    lowest = alone.daily["moisture_driest_face_pct"].min()
    low, _, high = alone.result.moisture_driest_face_pct
    assert low - 10.0 <= lowest <= high + 10.0


def test_wood_felled_before_the_weather_starts_fresh_with_it(tmp_path: Path, yard: Yard) -> None:
    """The same run as of wood felled on the record's first day, and it is said."""
    begins = date(2014, 4, 1)
    late = samples.make_record("2014-04-01", "2014-07-20")
    felled_then = replace(yard, stacks=(replace(yard.stacks[0], felled=begins),))
    days = run(yard, late).stacks[0].daily
    pd.testing.assert_frame_equal(days, run(felled_then, late).stacks[0].daily)
    path = samples.write_yard(tmp_path, year=2014)
    table = samples.daily_table("2014-04-01", "2014-07-20")
    table.to_csv(path.with_name("weather.csv"), index_label="date")
    said = cr.load_weather(cr.read_yard(path)).coverage.warnings
    assert any("felled on 2014-03-20" in w and "fresh on 2014-04-01" in w for w in said)


def test_hot_dry_spells() -> None:
    """Three days in a row at 30 degC or more with under 1 mm; two days are none."""
    table = samples.daily_table("2014-06-01", "2014-06-30")
    table[["air_temp_min_c", "air_temp_mean_c", "air_temp_max_c"]] = [12.0, 18.0, 24.0]
    table["dew_point_c"], table["precip_mm"] = 10.0, 0.0
    table.loc["2014-06-05":"2014-06-06", "air_temp_max_c"] = 33.0
    table.loc["2014-06-10":"2014-06-13", "air_temp_max_c"] = 33.0
    table.loc["2014-06-20":"2014-06-24", "air_temp_max_c"] = 33.0
    table.loc["2014-06-22", "precip_mm"] = 12.0
    weather = samples.hours_of(table, samples.NORTH)
    spells = hot_dry_spells(weather, date(2014, 6, 1), date(2014, 6, 30))
    assert [(s.first, s.last, s.days) for s in spells] == [
        (date(2014, 6, 10), date(2014, 6, 13), 4)
    ]
    assert spells[0].air_temp_max_c == pytest.approx(33.0, abs=0.5)
    cut = hot_dry_spells(weather, date(2014, 6, 1), date(2014, 6, 12))
    assert cut[0].last == date(2014, 6, 12)


def outlook_of(yard: Yard, record: Record, scheme: Scheme) -> Outlook:
    """The yard's first stack to date, under a scheme, ready to be carried on."""
    kind = stack_model(yard.stacks[0], record, 0.0)
    (outlook,) = look_at_all(kind, [scheme], AS_OF, 2)
    return outlook


def test_the_reference_run_is_no_draw(yard: Yard, record: Record) -> None:
    """Runs ahead are laid out (year, draw), each with a draw of its own; lane 0 is none."""
    outlook = outlook_of(yard, record, Scheme(canopy="open"))
    drawn = outlook.seen[0].quantiles
    assert (drawn[0] == 0.5).all()
    ahead = outlook.carry_on(outlook.scheme)[0][0].quantiles
    for lane in range(4):
        assert (ahead[lane] == drawn[1 + lane]).all()


def test_driest_face_of_the_last_day_is_the_least_of_the_faces(stack: StackSeason) -> None:
    assert len(stack.face_moisture_pct) == 2
    driest = stack.daily["moisture_driest_face_pct"].iloc[-1]
    assert min(stack.face_moisture_pct) == pytest.approx(driest, rel=1e-12)


def test_the_reference_run_goes_on_from_today_s_state(stack: StackSeason) -> None:
    """Its run never falls, and the day after today it is where a day of growth can take it."""
    ahead = stack.reference_ahead
    assert ahead is not None
    assert stack.outlook is not None
    assert ahead.index.equals(stack.outlook.index)
    joined = pd.concat([stack.daily["colonized_fraction"].iloc[-1:], ahead["colonized_fraction"]])
    assert (joined.diff().dropna() >= -1e-12).all()
    assert joined.iloc[1] - joined.iloc[0] < 0.05


def test_the_band_holds_the_same_draws_on_both_sides_of_today(stack: StackSeason) -> None:
    """Whole season long, ahead the outlook itself, and a fungus that runs never runs back."""
    own = stack.tracks[0]
    assert own.canopy == stack.canopy
    assert [track.canopy for track in stack.tracks] == ["deciduous", "open", "conifer"]
    quantiles = own.quantiles
    assert quantiles.index[0].date() == stack.inoculated
    assert quantiles.index[-1].date() == stack.horizon - timedelta(days=1)
    assert stack.outlook is not None
    for name in ("bark_temp_max_c", "moisture_driest_face_pct", "colonized_fraction"):
        ahead = quantiles.loc[stack.outlook.index, name]
        pd.testing.assert_frame_equal(ahead, stack.outlook[name], check_freq=False)
    assert (quantiles["colonized_fraction"].diff().dropna() >= -1e-12).all().all()


def test_progress_rises_to_the_whole(yard: Yard, record: Record) -> None:
    told: list[float] = []
    table = samples.daily_table("2002-01-01", "2002-01-02")
    two = replace(yard, stacks=yard.stacks * 2)
    season(two, record, samples.coverage(table), {}, as_of=AS_OF, draws=1, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    assert 0.5 in [pytest.approx(share) for share in told]
