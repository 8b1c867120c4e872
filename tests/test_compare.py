"""Options over past years: one weather, one set of draws, nothing else between them."""

from __future__ import annotations

import itertools
import math
import sys
from dataclasses import fields, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.compare_options import CompareOptions
from climate_risk.engine import record as engine_record
from climate_risk.engine.blocks import advance, new_blocks
from climate_risk.engine.draws import SEED, latin_hypercube
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme
from climate_risk.errors import InputError
from climate_risk.interventions import LeafOut
from climate_risk.leaves import next_leaf_day
from climate_risk.options import (
    CoverOption,
    CoverSpan,
    Watering,
    WateringOption,
    parse_cover_option,
)
from climate_risk.report.treatment import covers_key
from climate_risk.risk.compare import compare
from climate_risk.risk.cost import cost_of, covers_cost, watering_cost
from climate_risk.risk.ensemble import jobs_for, start_rows
from climate_risk.risk.results import Chance, Difference
from climate_risk.risk.results_compare import ComparedOption, CompareResult
from climate_risk.risk.season import season
from climate_risk.risk.variants import variants, warm_season_watering
from climate_risk.risk.worth import break_even, build_cost, spawn_cost
from climate_risk.tables import model
from climate_risk.yard import Yard

FloatArray = npt.NDArray[np.float64]


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    return samples.small_yard(tmp_path_factory.mktemp("yard"))


@pytest.fixture(scope="module")
def record() -> Record:
    return samples.make_record("2002-01-01", "2014-12-31")


def run(yard: Yard, record: Record, years: tuple[int, int] | None = None) -> CompareResult:
    coverage = samples.coverage(samples.daily_table("2002-01-01", "2002-01-02"))
    return compare(yard, record, coverage, {"yard.toml": "0"}, years=years, draws=2)


def bare_under(yard: Yard, *canopies: str) -> Yard:
    """Bare and dry under these canopies only."""
    options = replace(
        yard.compare,
        canopies=canopies,
        covers=yard.compare.covers[:1],
        waterings=yard.compare.waterings[:1],
    )
    return replace(yard, compare=options)


@pytest.fixture(scope="module")
def result(yard: Yard, record: Record) -> CompareResult:
    return run(yard, record)


@pytest.fixture(scope="module")
def options(result: CompareResult) -> dict[tuple[str, str, bool], ComparedOption]:
    """By canopy, cover, and whether watered."""
    return {
        (o.canopy, covers_key(o.covers), o.waterings != ()): o
        for o in result.stacks[0].options
        if o.places
    }


def test_every_option_is_there_once(
    options: dict[tuple[str, str, bool], ComparedOption],
) -> None:
    canopies, covers = ("open", "conifer"), ("none", "paper bag")
    assert set(options) == {(c, v, w) for c in canopies for v in covers for w in (False, True)}


def test_every_balance_of_every_option_closes(result: CompareResult) -> None:
    assert 0.0 <= result.water_residual <= 1e-9
    assert 0.0 <= result.energy_residual <= 1e-9


def test_years_are_those_whose_season_is_whole(result: CompareResult) -> None:
    """From 20 March of a year to 12 April of the next: the last one that fits is 2013."""
    assert (result.first_year, result.last_year, result.years) == (2002, 2013, 12)
    for option in result.stacks[0].options:
        assert option.chance is not None
        assert option.chance.years == 12
        assert [year.year for year in option.years] == list(range(2002, 2014))
        parts = option.shares
        assert parts.on_time + parts.not_fully_run + parts.lost == pytest.approx(1.0)


def test_the_plan_comes_first_then_the_best(yard: Yard, record: Record) -> None:
    """Lion's mane in dried wood, for some of it to be lost: in the open, and under plastic."""
    dry = replace(
        yard.stacks[0], fungus="lion's mane", wood="beech", felled=None, start_moisture=0.45
    )
    covers = (*yard.compare.covers, parse_cover_option("plastic bag"))
    compared = replace(yard.compare, covers=covers)
    stack = run(replace(yard, stacks=(dry,), compare=compared), record).stacks[0]
    plan, *others = stack.options
    assert plan.is_plan
    assert not any(option.is_plan for option in others)
    assert [option.rank for option in stack.ranked] == list(range(1, len(stack.options) + 1))
    assert [option.rank for option in others] == sorted(option.rank for option in others)
    worth = yard.costs.value_of_stack
    for first, second in itertools.pairwise(stack.ranked):
        assert first.cost.total is not None
        assert second.cost.total is not None
        dear = [round(option.cost.total / worth, 2) for option in (first, second)]
        lost = [round(option.shares.lost, 2) for option in (first, second)]
        assert (dear[0], lost[0]) <= (dear[1], lost[1])
    assert {option.shares.lost for option in stack.options} != {0.0}
    assert stack.is_by_money


def test_an_option_does_not_depend_on_what_else_is_listed(yard: Yard, record: Record) -> None:
    """Bit for bit: listed with others of every kind, alone, and in another order.

    An earlier start leaves the record's first year out of that option, and of no other.
    """
    lists = replace(
        yard.compare,
        canopies=("conifer", "deciduous", "open"),  # more than run side by side
        covers=(CoverOption(),),
        waterings=(WateringOption(),),
        start_weeks=(-15.0, 0.0),
        diameters_m=(0.1, 0.15),
    )
    years = (2002, 2013)
    many = run(replace(yard, compare=lists), record, years).stacks[0].options
    alone = replace(lists, canopies=("open",), start_weeks=(-15.0,), diameters_m=(0.1,))
    plan, one = run(replace(yard, compare=alone), record, years).stacks[0].options
    wanted = (one.build, one.canopy)
    (same,) = (option for option in many if (option.build, option.canopy) == wanted)
    kept = {"rank", "places", "to_best"}
    for field in fields(one):
        if field.name not in kept:
            assert getattr(same, field.name) == getattr(one, field.name), field.name
    assert many[0].shares == plan.shares
    assert [len(option.years) for option in (plan, one)] == [12, 11]
    assert one.build.inoculated == plan.build.inoculated + timedelta(weeks=-15)
    assert one.build.felled_weeks_before == plan.build.felled_weeks_before


def test_lists_multiply_and_the_plan_stands_once(yard: Yard) -> None:
    """Two starts by two lengths by two fungi; one of the eight is the plan itself."""
    own = yard.stacks[0]
    lists = CompareOptions(
        start_weeks=(0.0, -2.0),
        piece_lengths_m=(own.piece_length_m, 0.3),
        fungi=(own.fungus, "shiitake"),
    )
    listed = variants(replace(yard, compare=lists), own)
    assert len(listed) == 8
    assert listed[0].stack == own
    assert listed[0].places == (0,)
    assert sorted(place for variant in listed for place in variant.places) == list(range(8))
    earlier = {v.stack.inoculated for v in listed} - {own.inoculated}
    assert earlier == {own.inoculated - timedelta(weeks=2)}
    felled = next(v.stack.felled for v in listed if v.stack.inoculated in earlier)
    assert own.felled is not None
    assert felled == own.felled - timedelta(weeks=2)


def test_felling_and_the_plan_s_covers_follow_the_start(yard: Yard) -> None:
    """What went on with the spawn goes on with it; days of the calendar stay."""
    own = yard.stacks[0]
    bag = CoverSpan(kind="bag", material="paper", on=own.inoculated, off=date(2010, 9, 1))
    cloth = CoverSpan(kind="shade cloth", percent=60.0, on=date(2010, 6, 1))
    dose = Watering(litres=4.0, every_days=7, first=date(2010, 4, 12), last=date(2010, 8, 30))
    own = replace(own, covers=(bag, cloth), waterings=(dose,))
    lists = CompareOptions(start_weeks=(2.0,), felled_weeks_before=(1.0,))
    _, later = variants(replace(yard, compare=lists), own)
    begun = own.inoculated + timedelta(weeks=2)
    assert later.stack.inoculated == begun
    assert later.stack.felled == begun - timedelta(weeks=1)
    assert later.scheme.covers == (replace(bag, on=None), cloth)
    assert later.scheme.waterings == (replace(dose, first=date(2010, 4, 26)),)


def test_a_bag_ends_by_one_rule_in_season_and_compare(yard: Yard, record: Record) -> None:
    """A bag without dates is on to the end in both, so that the plan and the same listed are
    one option."""
    own = replace(yard.stacks[0], covers=(CoverSpan(kind="bag", material="paper"),))
    lists = CompareOptions(covers=(parse_cover_option("paper bag"),))
    (plan,) = variants(replace(yard, compare=lists, stacks=(own,)), own)
    assert plan.places == (0,)
    assert plan.scheme.covers == own.covers


def test_season_before_its_first_day_agrees_with_compare(
    yard: Yard, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """The plan over the same past years, looked at on the day of felling: the same draws, and
    one day of weather in common."""
    record = samples.make_record("2001-01-01", "2014-06-30")
    place = samples.small_yard(tmp_path_factory.mktemp("plan"), year=2014)
    place = replace(place, compare=CompareOptions())
    coverage = samples.coverage(samples.daily_table("2001-01-01", "2001-01-02"))
    felled = place.stacks[0].felled
    assert felled is not None
    found = season(place, record, coverage, {}, as_of=felled, draws=2).stacks[0]
    plan = compare(place, record, coverage, {}, draws=2).stacks[0].plan
    assert [y.year for y in plan.years] == list(range(2001, 2014))
    assert found.result.shares == plan.shares
    dry = [result.moisture_driest_face_pct[1] for result in (found.result, plan)]
    assert dry[0] == pytest.approx(dry[1], abs=0.5)


def test_break_even_by_hand() -> None:
    """A cloth of 6 that saves 20 (10 to 30) of 100 stacks pays from 30 (20 to 60) on; left off,
    it pays for stacks worth less; where the years do not show that it saves, there is no end."""
    saves = Difference(mean=-0.2, low=-0.3, high=-0.1, turns_on=None)
    found = break_even(6.0, saves)
    assert found is not None
    assert (found.worth, found.low, found.high) == pytest.approx((30.0, 20.0, 60.0))
    assert found.pays_above
    loses = Difference(mean=0.2, low=0.1, high=0.3, turns_on=None)
    found = break_even(-6.0, loses)
    assert found is not None
    assert (found.worth, found.low, found.high) == pytest.approx((30.0, 20.0, 60.0))
    assert not found.pays_above
    unsure = break_even(6.0, Difference(mean=-0.1, low=-0.3, high=0.05, turns_on=None))
    assert unsure is not None
    assert (unsure.low, unsure.high) == (pytest.approx(20.0), math.inf)
    assert break_even(-1.0, saves) is None
    assert break_even(1.0, loses) is None
    assert break_even(math.nan, saves) is None


def test_leaf_out_moves_with_each_year_s_spring(yard: Yard, record: Record) -> None:
    """Runs of several years in one block, each against a block in which all have its own date.

    A cloth to leaf out comes off days apart: the warm spring of this record by the model's days
    a kelvin earlier, to the day.
    """
    stack = yard.stacks[0]
    usual = next_leaf_day(LeafOut, yard.site, stack.inoculated)
    cloth = CoverSpan(kind="shade cloth", percent=80.0, off=usual)
    kind = samples.model_of(record, stack)
    years = (2003, 2005, 2008, 2011)
    shifts = [record.leaf_shift_days(usual, year - stack.inoculated.year) for year in years]
    assert len(set(shifts)) > 2
    scheme = Scheme(canopy="deciduous", covers=(cloth,))
    sample = latin_hypercube(len(years) * 2, len(kind.parameter_set(scheme).unknowns()), SEED)

    def ran(scheme: Scheme) -> FloatArray:
        blocks = new_blocks(kind, scheme, sample)
        rows = start_rows(kind, years, 2, kind.start_day, 0)
        advance(jobs_for(kind, scheme, blocks, rows, 0, kind.hours))
        return blocks[0].daily[:, :, : len(sample)]

    together = ran(scheme)
    for place, shift in enumerate(shifts):
        day = date.fromordinal(usual.toordinal() + shift)
        plain = Scheme(canopy="deciduous", covers=(replace(cloth, off=day),))
        rows = slice(2 * place, 2 * place + 2)
        np.testing.assert_array_equal(together[:, :, rows], ran(plain)[:, :, rows])
    fixed = Scheme(canopy="deciduous", covers=(replace(cloth, off=date(*usual.timetuple()[:3])),))
    assert (together != ran(fixed)).any()


def test_trees_keep_the_sun_off(options: dict[tuple[str, str, bool], ComparedOption]) -> None:
    """In every year: the same stack is cooler below conifers than in the open."""
    bare, shaded = options[("open", "none", False)], options[("conifer", "none", False)]
    for sun, shade in zip(bare.years, shaded.years, strict=True):
        assert sun.bark_temp_max_c > shade.bark_temp_max_c + 2.0


def test_watering_never_dries(options: dict[tuple[str, str, bool], ComparedOption]) -> None:
    for canopy in ("open", "conifer"):
        dry, wet = options[(canopy, "none", False)], options[(canopy, "none", True)]
        for without, watered in zip(dry.years, wet.years, strict=True):
            assert watered.moisture_driest_face_pct >= without.moisture_driest_face_pct - 0.1
        assert wet.cost.option > dry.cost.option


def test_chosen_years_are_those_run_and_no_others(
    yard: Yard, record: Record, options: dict[tuple[str, str, bool], ComparedOption]
) -> None:
    """The years are theirs; the draws differ, since each year of a run has draws of its own."""
    few = run(bare_under(yard, "open"), record, years=(2006, 2008))
    assert (few.first_year, few.last_year, few.years) == (2006, 2008, 3)
    bare = next(o for o in few.stacks[0].options if o.canopy == "open")
    assert bare.chance is None
    assert [year.year for year in bare.years] == [2006, 2007, 2008]
    among = next(y for y in options[("open", "none", False)].years if y.year == 2006)
    assert bare.years[0].bark_temp_max_c == pytest.approx(among.bark_temp_max_c, abs=8.0)


def test_progress_rises_to_the_whole(yard: Yard, record: Record) -> None:
    told: list[float] = []
    coverage = samples.coverage(samples.daily_table("2002-01-01", "2002-01-02"))
    compare(yard, record, coverage, {}, years=(2006, 2007), draws=1, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    assert len(told) >= len(yard.compare.canopies) * len(yard.compare.covers)


@pytest.mark.parametrize("years", [(1950, 1960), (2014, 2014)])
def test_years_that_the_weather_does_not_hold_are_refused(
    yard: Yard, record: Record, years: tuple[int, int]
) -> None:
    with pytest.raises(InputError, match="no whole season") as error:
        run(yard, record, years)
    assert f"{years[0]} to {years[1]}" in str(error.value)
    assert "2002-01-01 to 2014-12-31" in str(error.value)


def test_a_record_without_a_whole_season_is_refused(yard: Yard) -> None:
    with pytest.raises(InputError, match="no whole season"):
        run(yard, samples.make_record("2010-03-20", "2011-04-10"))


@pytest.fixture(scope="module")
def southern(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    """The same yard half a year later on the other side of the equator."""
    yard = samples.small_yard(tmp_path_factory.mktemp("south"), latitude=-42.5)
    stack = replace(yard.stacks[0], felled=date(2010, 9, 20), inoculated=date(2010, 10, 12))
    return replace(yard, site=samples.SOUTH, stacks=(stack,))


def test_a_southern_yard_runs(southern: Yard) -> None:
    """Sun, leaves and seasons turn round: its bark is hottest in its own summer, and the run
    gets as far as in the north.
    """
    record = samples.make_record("2007-01-01", "2012-12-31", samples.SOUTH)
    found = run(bare_under(southern, "open", "conifer"), record).stacks[0].options
    assert [year.year for year in found[0].years] == [2007, 2008, 2009, 2010, 2011]
    bare, shaded = (next(o for o in found if o.canopy == c) for c in ("open", "conifer"))
    assert bare.bark_temp_max_c[1] > shaded.bark_temp_max_c[1] + 2.0
    assert shaded.colonized_fraction[1] > 0.5


def test_watering_runs_from_may_to_september_or_november_to_march(
    yard: Yard, southern: Yard, record: Record
) -> None:
    option = WateringOption(litres=4.0, every_days=14)
    for place, spans in (
        (yard, [(date(2010, 5, 1), date(2010, 9, 30))]),
        (southern, [(date(2010, 11, 1), date(2011, 3, 31))]),
    ):
        kind = samples.model_of(record, place.stacks[0])
        south = place.site.latitude < 0.0
        begun = kind.stack.inoculated
        found = warm_season_watering(option, begun, kind.horizon, south)
        assert [(w.first, w.last) for w in found] == spans
        assert warm_season_watering(WateringOption(), begun, kind.horizon, south) == ()


def test_costs_by_hand(yard: Yard) -> None:
    """A bag at 0.60, a roof of cloth at 1.80 a square metre, labour at 20 an hour; water at
    0.01 a litre, a dose on 1 June and every seven days to the 29th: five.
    """
    costs, rows = yard.costs, model()
    cover = rows.minutes_per_cover.value / 60.0 * 20.0
    bag = CoverSpan(kind="bag", material="paper")
    cloth = CoverSpan(kind="shade cloth", percent=60.0)
    assert covers_cost((), costs) == 0.0
    assert covers_cost((bag,), costs) == pytest.approx(0.6 + cover)
    area = rows.cloth_area_per_stack_m2.value
    again = replace(cloth, on=date(2010, 10, 1))
    assert covers_cost((cloth, again), costs) == pytest.approx(1.8 * area + 2 * cover)
    winter = replace(again, off=date(2011, 5, 1))
    assert covers_cost((winter,), costs) == pytest.approx(1.8 * area + 2 * cover)
    assert covers_cost((bag, cloth), costs) == pytest.approx(0.6 + 1.8 * area + 2 * cover)
    dose = Watering(litres=4.0, every_days=7, first=date(2010, 6, 1), last=date(2010, 6, 29))
    each = 0.04 + rows.minutes_per_watering.value / 60.0 * 20.0
    assert watering_cost((dose,), costs) == pytest.approx(5 * each)


def test_expected_loss_is_chance_times_value(yard: Yard) -> None:
    chance = Chance(mean=0.2, low=0.1, high=0.3, years=30, draws=2, interval="bootstrap")
    cost = cost_of(3.0, chance, yard.costs)
    assert cost.expected_loss == pytest.approx(0.2 * yard.costs.value_of_stack)
    assert cost.total == pytest.approx(3.0 + 0.2 * yard.costs.value_of_stack)
    assert cost_of(3.0, None, yard.costs).total is None


def test_a_larger_stack_s_spawn_and_covers_are_shared_out(yard: Yard) -> None:
    """Two pieces in place of one: three faces, not two, for twice the wood. A cover of 3 is 1.50
    for as much wood as before, and the spawn 1.5 times over 2, a quarter less than before."""
    plan = yard.stacks[0]
    faces = spawn_cost(plan, yard.costs)
    assert faces > 0.0
    found = build_cost(replace(plan, pieces=2 * plan.pieces), 3.0, plan, yard.costs)
    assert found == pytest.approx(1.5 + 0.75 * faces - faces)
    assert build_cost(plan, 3.0, plan, yard.costs) == 3.0


def test_prices_not_known_are_not_reckoned_with(yard: Yard) -> None:
    """In euro without prices: no cost of a bag, but bare and dry is free."""
    costs = replace(yard.costs, labour_per_hour=math.nan, value_of_stack=math.nan)
    bag = CoverSpan(kind="bag", material="paper")
    assert math.isnan(covers_cost((bag,), costs))
    assert covers_cost((), costs) == 0.0
    chance = Chance(mean=0.2, low=0.1, high=0.3, years=30, draws=2, interval="bootstrap")
    assert cost_of(0.0, chance, costs).total is None
    assert cost_of(math.nan, chance, yard.costs).total is None


def test_options_share_weather_and_stand_tables(
    yard: Yard, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two canopies, two diameters, two covers, and runs on every core: two stands and four
    tables, each made once."""
    made: list[str] = []
    for name in ("below_canopy", "_stand_table"):

        def counted(*args: object, name: str = name, make: object = getattr(engine_record, name)):  # type: ignore[no-untyped-def]
            made.append(name)
            return make(*args)  # type: ignore[operator]

        monkeypatch.setattr(engine_record, name, counted)
    lists = replace(
        yard.compare,
        canopies=("deciduous", "conifer"),
        waterings=(None,),
        diameters_m=(0.1, 0.15),
    )
    run(replace(yard, compare=lists), samples.make_record("2005-01-01", "2008-12-31"))
    assert (made.count("below_canopy"), made.count("_stand_table")) == (2, 4)
