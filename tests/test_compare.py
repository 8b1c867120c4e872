"""Options over past years: one weather, one set of draws, nothing else between them."""

from __future__ import annotations

import itertools
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.engine.record import Record
from climate_risk.errors import InputError
from climate_risk.options import CoverSpan, Watering, WateringOption, parse_cover_option
from climate_risk.report.treatment import covers_key
from climate_risk.risk.compare import compare, warm_season_watering
from climate_risk.risk.cost import cost_of, covers_cost, watering_cost
from climate_risk.risk.results import Chance, CompareResult, OptionResult
from climate_risk.tables import model
from climate_risk.yard import Yard


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
def options(result: CompareResult) -> dict[tuple[str, str, bool], OptionResult]:
    """By canopy, cover, and whether watered."""
    return {
        (o.canopy, covers_key(o.covers), o.waterings != ()): o for o in result.stacks[0].options
    }


def test_every_option_is_there_once(
    options: dict[tuple[str, str, bool], OptionResult],
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


def test_best_comes_first(yard: Yard, record: Record) -> None:
    """Lion's mane in dried wood, for some of it to be lost: in the open, and under plastic."""
    dry = replace(
        yard.stacks[0], fungus="lion's mane", wood="beech", felled=None, start_moisture=0.45
    )
    covers = (*yard.compare.covers, parse_cover_option("plastic bag"))
    compared = replace(yard.compare, covers=covers)
    stack = run(replace(yard, stacks=(dry,), compare=compared), record).stacks[0]
    better = itertools.pairwise(stack.options)
    for first, second in better:
        lost = round(100 * first.shares.lost), round(100 * second.shares.lost)
        wet = [round(option.moisture_driest_face_pct[1]) for option in (first, second)]
        assert lost[0] <= lost[1]
        if lost[0] == lost[1]:
            assert wet[0] >= wet[1]
            assert wet[0] > wet[1] or first.cost.option <= second.cost.option
    assert {option.shares.lost for option in stack.options} != {0.0}


def test_trees_keep_the_sun_off(options: dict[tuple[str, str, bool], OptionResult]) -> None:
    """In every year: the same stack is cooler below conifers than in the open."""
    bare, shaded = options[("open", "none", False)], options[("conifer", "none", False)]
    for sun, shade in zip(bare.years, shaded.years, strict=True):
        assert sun.bark_temp_max_c > shade.bark_temp_max_c + 2.0


def test_watering_never_dries(options: dict[tuple[str, str, bool], OptionResult]) -> None:
    for canopy in ("open", "conifer"):
        dry, wet = options[(canopy, "none", False)], options[(canopy, "none", True)]
        for without, watered in zip(dry.years, wet.years, strict=True):
            assert watered.moisture_driest_face_pct >= without.moisture_driest_face_pct - 0.1
        assert wet.cost.option > dry.cost.option


def test_chosen_years_are_those_run_and_no_others(
    yard: Yard, record: Record, options: dict[tuple[str, str, bool], OptionResult]
) -> None:
    """The years are theirs; the draws differ, since each year of a run has draws of its own."""
    few = run(bare_under(yard, "open"), record, years=(2006, 2008))
    assert (few.first_year, few.last_year, few.years) == (2006, 2008, 3)
    bare = few.stacks[0].options[0]
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
        found = warm_season_watering(kind, place, option)
        assert [(w.first, w.last) for w in found] == spans
    none = WateringOption()
    assert warm_season_watering(samples.model_of(record), yard, none) == ()


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
