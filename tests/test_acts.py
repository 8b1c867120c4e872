"""Acts searched over the simulation: against every one tried by hand, and what bounds them."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, stack_model
from climate_risk.interventions import Act, CoverSpan, Watering
from climate_risk.risk.actions import (
    QUICK,
    THOROUGH,
    Effort,
    Own,
    _Search,
    carry_on_by_days,
    find_actions,
)
from climate_risk.risk.advice import Action, Advice, Tried
from climate_risk.risk.chance import KILLED_BY_HEAT
from climate_risk.risk.ensemble import Outcomes, option_result
from climate_risk.risk.offers import (
    Offer,
    act_on,
    most_litres,
    offers,
    price_of,
    scheme_with,
    watering_end,
)
from climate_risk.risk.outlook import Outlook, look_at_all
from climate_risk.risk.season import acted_reference, season
from climate_risk.risk.tracks import reference_table
from climate_risk.tables import model
from climate_risk.yard import Yard, read_yard

AS_OF = date(2014, 7, 15)
TODAY = AS_OF + timedelta(days=1)
PLASTIC = CoverSpan(kind="bag", material="plastic")
DRAWS = 4
SOME_DAYS = Effort(every_size=False, finished=9, dated=9, delays_days=(14, 40, 90))


def lost(ends: Outcomes) -> float:
    return float((ends.outcomes >= KILLED_BY_HEAT).mean())


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    """A stack in plastic in the open."""
    made = samples.small_yard(tmp_path_factory.mktemp("yard"), year=2014)
    stack = replace(made.stacks[0], covers=(PLASTIC,))
    return replace(made, canopy="open", stacks=(stack,))


@pytest.fixture(scope="module")
def record() -> Record:
    return samples.make_record("2002-01-01", "2014-07-20")


@pytest.fixture(scope="module")
def outlook(yard: Yard, record: Record) -> Outlook:
    kind = stack_model(yard.stacks[0], record, 0.0)
    (found,) = look_at_all(kind, [Scheme(canopy="open", covers=(PLASTIC,))], AS_OF, DRAWS)
    return found


@pytest.fixture(scope="module")
def own(outlook: Outlook) -> Own:
    return carry_on_by_days(outlook, SOME_DAYS)


def by_hand(outlook: Outlook, chosen: tuple[Offer, ...], day: date) -> Outcomes:
    """A set taken up on a day, run in one piece from today by the dates in its scheme."""
    kind, scheme = outlook.kind, outlook.scheme
    for offer in chosen:
        act = act_on(offer, scheme, day, kind.horizon)
        assert act is not None
        scheme = scheme_with(scheme, [act], kind.stack.inoculated)
    return outlook.carry_on(scheme)[1]


@pytest.fixture(scope="module")
def singles(yard: Yard, outlook: Outlook) -> dict[Offer, Outcomes]:
    """Every offer but a move, taken up today, with all draws."""
    found = offers(yard, outlook.scheme, TODAY, outlook.kind.horizon, every_size=False)
    kept = [offer for offer in found if offer.kind != "move"]
    return {offer: by_hand(outlook, (offer,), TODAY) for offer in kept}


def advised(yard: Yard, outlook: Outlook, own: Own, limit: float, effort: Effort) -> Advice:
    strict = replace(yard, costs=replace(yard.costs, tolerated_chance=limit))
    as_it_stands = option_result(own.ends, outlook.scheme, strict.costs)
    return find_actions(strict, outlook, as_it_stands, own, effort)


@pytest.fixture(scope="module")
def limit(own: Own, singles: dict[Offer, Outcomes]) -> float:
    """Half way between the chance as it stands and the best that one act brings at once."""
    return (min(map(lost, singles.values())) + lost(own.ends)) / 2.0


@pytest.fixture(scope="module")
def advice(yard: Yard, outlook: Outlook, own: Own, limit: float) -> Advice:
    return advised(yard, outlook, own, limit, SOME_DAYS)


def test_the_stack_as_planned_is_the_same_with_and_without_stops(
    outlook: Outlook, own: Own
) -> None:
    """To the last bit: copies on the way change nothing."""
    blocks, ends = outlook.carry_on(outlook.scheme)
    assert (ends.full_hour == own.ends.full_hour).all()
    for one, other in zip(blocks, own.blocks, strict=True):
        assert (one.daily == other.daily).all()
        assert (one.a == other.a).all()


def test_latest_day_is_that_of_a_run_of_every_day_offered(
    outlook: Outlook, advice: Advice, singles: dict[Offer, Outcomes], limit: float
) -> None:
    """Exhaustive: every day offered, each run in one piece from today; the latest is the last
    before the first that does not serve, and each chance is the same to the last bit.
    """
    days = [TODAY + timedelta(days=delay) for delay in SOME_DAYS.delays_days]
    by_kind = {offer.kind: offer for offer in singles}
    checked = 0
    for action in advice.actions:
        if action.latest is None or len(action.acts) > 1 or action.acts[0].kind == "move":
            continue
        offer = by_kind[action.acts[0].kind]
        chances = {day: lost(by_hand(outlook, (offer,), day)) for day in days}
        for tried in action.later:
            assert tried.chance_mean == chances[tried.day]
        latest = TODAY
        for day in days:
            if chances[day] > limit:
                break
            latest = day
        assert action.latest == latest
        checked += 1
    assert checked


@pytest.mark.parametrize(
    ("serves", "tried"), [("", 1), ("1", 2), ("11", 3), ("111", 3), ("101", 2), ("011", 1)]
)
def test_a_good_day_after_a_bad_one_does_not_count(
    monkeypatch: pytest.MonkeyPatch, serves: str, tried: int
) -> None:
    """Days in order, 1 where the act begun then keeps the limit; with chances that fall and rise
    again, halving would jump over the bad one.
    """
    days = [TODAY + timedelta(days=n) for n in (1, 2, 3)]
    chance = dict(
        zip(days, [0.05 if s == "1" else 0.5 for s in serves.ljust(3, "0")], strict=True)
    )
    search = object.__new__(_Search)
    search.limit = 0.1
    search.outlook = SimpleNamespace(
        next_day=TODAY, fork=lambda way, _: way, go_on=lambda _: None, ends=lambda way: way
    )  # type: ignore[assignment]
    monkeypatch.setattr(search, "taken_up", lambda _, day: ((), day))
    monkeypatch.setattr(
        "climate_risk.risk.actions._tried",
        lambda day, ends: Tried(day=day, chance_mean=chance[ends]),
    )
    trial: Any = SimpleNamespace(offers=(), acts=())
    on_day: Any = {day: day for day in days}
    found = search.later_days([trial], SimpleNamespace(on_day=on_day))[id(trial)]  # type: ignore[arg-type]
    assert [t.day for t in found] == days[:tried]


def test_the_first_action_is_the_cheapest_of_all_sets_tried_by_hand(
    yard: Yard, outlook: Outlook, own: Own, singles: dict[Offer, Outcomes], limit: float
) -> None:
    """Brute force over every single act and pair, all draws; moves cost dear, to leave them out.

    Enough is what keeps the limit over all draws and over all but the first of each year.
    """
    minutes = replace(yard.costs.minutes, move=600.0)
    dear = replace(yard, costs=replace(yard.costs, minutes=minutes))
    horizon, begun = outlook.kind.horizon, outlook.kind.stack.inoculated
    sets = {(offer,): ends for offer, ends in singles.items()}
    for pair in combinations(singles, 2):
        if pair[0].family != pair[1].family:
            sets[pair] = by_hand(outlook, pair, TODAY)
    prices = {}
    for chosen, ends in sets.items():
        if max(lost(ends), float((ends.outcomes[:, 1:] >= KILLED_BY_HEAT).mean())) <= limit:
            scheme, acts = outlook.scheme, []
            for offer in chosen:
                act = act_on(offer, scheme, TODAY, horizon)
                assert act is not None
                acts.append(act)
                scheme = scheme_with(scheme, [act], begun)
            prices[chosen] = price_of(acts, dear.costs, horizon).money
    assert prices
    first = advised(dear, outlook, own, limit, SOME_DAYS).actions[0]
    assert first.cost == pytest.approx(min(prices.values()))
    kinds = [[offer.kind for offer in chosen] for chosen, cost in prices.items()
             if cost == min(prices.values())]  # fmt: skip
    assert [act.kind for act in first.acts] in kinds


def test_the_chance_is_always_of_all_draws_and_the_gain_is_paired(
    own: Own, advice: Advice, singles: dict[Offer, Outcomes]
) -> None:
    for action in advice.actions:
        assert action.chance is not None
        assert action.difference is not None
        assert (action.chance.draws, action.chance.years) == (DRAWS, 12)
        assert action.chance.mean < lost(own.ends)
        assert action.difference.mean == pytest.approx(action.chance.mean - lost(own.ends))
        for offer, ends in singles.items():
            if [act.kind for act in action.acts] == [offer.kind]:
                assert action.chance.mean == lost(ends)


def test_what_an_act_saves_is_the_loss_it_avoids(yard: Yard, own: Own, advice: Advice) -> None:
    for action in advice.actions:
        assert action.saved is not None
        assert action.chance is not None
        low, mean, high = action.saved
        avoided = lost(own.ends) - action.chance.mean
        assert mean == pytest.approx(avoided * yard.costs.value_of_stack)
        assert low <= mean <= high


@pytest.mark.parametrize("kind", ["hang shade cloth", "take bag off"])
def test_an_act_written_into_the_yard_file_gives_the_same_season(
    tmp_path: Path, outlook: Outlook, record: Record, singles: dict[Offer, Outcomes], kind: str
) -> None:
    """The same numbers to the last bit by ``season`` of a file with the act's dates in it."""
    offer = next(offer for offer in singles if offer.kind == kind)
    act = act_on(offer, outlook.scheme, TODAY, outlook.kind.horizon)
    assert act is not None
    scheme = scheme_with(outlook.scheme, [act], outlook.kind.stack.inoculated)
    text = samples.write_yard(tmp_path, year=2014).read_text(encoding="utf-8")
    covers = ""
    for cover in scheme.covers:
        keys = {"kind": cover.kind, "material": cover.material, "percent": cover.percent}
        lines = [f"{k} = {v!r}".replace("'", '"') for k, v in keys.items() if v is not None]
        dates = [f"{k} = {v}" for k, v in (("on", cover.on), ("off", cover.off)) if v]
        covers += "\n".join(["[[stack.cover]]", *lines, *dates, ""])
    text = text.replace('canopy = "deciduous"', 'canopy = "open"')
    (tmp_path / "yard.toml").write_text(text.replace("[compare]", f"{covers}[compare]"), "utf-8")
    written = read_yard(tmp_path / "yard.toml")
    table = samples.daily_table("2002-01-01", "2002-01-02")
    idle = replace(written, costs=replace(written.costs, tolerated_chance=1.0))
    found = season(
        idle, record, samples.coverage(table), {}, as_of=AS_OF, draws=DRAWS, effort=QUICK
    )
    result, ends = found.stacks[0].result, singles[offer]
    assert result.chance is not None
    assert result.chance.mean == lost(ends)
    driest = tuple(np.percentile(ends.moisture_driest_face_pct, [10, 50, 90]))
    assert result.moisture_driest_face_pct == driest


def test_above_the_tolerance_only_and_not_without_a_chance(
    yard: Yard, outlook: Outlook, own: Own
) -> None:
    assert advised(yard, outlook, own, 1.0, QUICK).actions == ()
    few = replace(option_result(own.ends, outlook.scheme, yard.costs), chance=None)
    assert find_actions(yard, outlook, few, own, QUICK).actions == ()


def test_what_can_be_done_follows_from_what_is_on(yard: Yard) -> None:
    def kinds(*covers: CoverSpan) -> set[str]:
        scheme = Scheme(canopy="open", covers=covers)
        found = offers(yard, scheme, TODAY, TODAY + timedelta(days=200), every_size=True)
        return {offer.kind for offer in found}

    always = {"water", "move"}
    assert kinds() == {"hang shade cloth", "put bag on"} | always
    bag, cloth = CoverSpan(kind="bag", material="paper"), CoverSpan(kind="shade cloth", percent=80)
    assert kinds(bag) == {"hang shade cloth", "take bag off", "open foot"} | always
    assert kinds(cloth, replace(bag, foot="open")) == {"take bag off", "close foot"} | always
    light = replace(cloth, percent=50.0)
    found = offers(yard, Scheme(canopy="open", covers=(light,)), TODAY, date(2015, 1, 1),
                   every_size=True)  # fmt: skip
    assert {o.percent for o in found if o.kind == "hang shade cloth"} == {60.0, 70.0, 80.0}


def test_a_cover_in_place_of_another_ends_it_and_keeps_what_was_planned() -> None:
    """By hand: half cloth to September, 80 % from today: the half ends today, the new one then."""
    ends = date(2014, 9, 1)
    half = CoverSpan(kind="shade cloth", percent=50.0, off=ends)
    scheme = Scheme(canopy="open", covers=(half, PLASTIC))
    begun = date(2014, 4, 12)
    act = act_on(Offer(kind="hang shade cloth", percent=80.0), scheme, TODAY, date(2015, 4, 12))
    assert act is not None
    found = scheme_with(scheme, [act], begun).covers
    new = CoverSpan(kind="shade cloth", percent=80.0, on=TODAY, off=ends)
    assert found == (replace(half, off=TODAY), PLASTIC, new)
    foot = act_on(Offer(kind="open foot"), scheme, TODAY, date(2015, 4, 12))
    assert foot is not None
    opened = replace(PLASTIC, foot="open", on=TODAY)
    assert scheme_with(scheme, [foot], begun).covers[1:] == (
        replace(PLASTIC, off=TODAY),
        opened,
    )


@pytest.mark.parametrize("most", [3.0, 20.0, 40.0, 100.0, 400.0])
@pytest.mark.parametrize("own_litres", [0.0, 1.0])
def test_no_week_takes_more_water_than_there_is(
    yard: Yard, most: float, own_litres: float
) -> None:
    """Every dose offered, poured on all stacks beside what is planned, day by day; no seven days
    pass the bound.
    """
    horizon = TODAY + timedelta(days=200)
    planned = Watering(litres=own_litres, every_days=3, first=TODAY, last=horizon)
    stack = replace(yard.stacks[0], waterings=(planned,) if own_litres else ())
    bounded = replace(yard, max_litres_per_week=most, stacks=(stack, replace(stack, name="B")))
    stacks = sum(s.count for s in bounded.stacks)
    for offer in offers(bounded, Scheme(canopy="open"), TODAY, horizon, every_size=True):
        if offer.kind != "water":
            continue
        poured = np.zeros(230)
        poured[: 200 : planned.every_days] += own_litres * stacks
        poured[: (watering_end(TODAY, horizon) - TODAY).days + 1 : offer.every_days] += (
            offer.litres * stacks
        )
        week = np.convolve(poured, np.ones(7))
        assert week.max() <= most + 1e-9
    unbound = replace(bounded, max_litres_per_week=None)
    assert most_litres(unbound, 7, TODAY, horizon) == np.inf


def test_a_price_by_hand(yard: Yard) -> None:
    """13 doses of 2 L at 0.01 and 1.5 minutes; a cloth that comes off again is work twice."""
    minutes = replace(
        yard.costs.minutes, watering_visit=1.5, cloth_on=4.0, cloth_off=2.0, move=30.0,
        given=("watering_visit", "cloth_on", "cloth_off"),
    )  # fmt: skip
    costs = replace(yard.costs, minutes=minutes, labour_per_hour=12.0, water_per_litre=0.01)
    dose = Watering(litres=2.0, every_days=7, first=TODAY, last=TODAY + timedelta(weeks=12))
    cloth = CoverSpan(kind="shade cloth", percent=60.0, on=TODAY, off=TODAY + timedelta(days=9))
    acts = (Act(kind="water", watering=dose), Act(kind="hang shade cloth", cover=cloth))
    found = price_of(acts, costs, date(2015, 4, 12))
    area = model().cloth_area_per_stack_m2.value
    assert found.minutes == pytest.approx(13 * 1.5 + 6.0)
    assert found.money == pytest.approx(0.26 + area * costs.shade_cloth_per_m2 + 25.5 / 5.0)
    assert found.minutes_given
    moved = price_of((Act(kind="move", canopy="conifer"),), costs, date(2015, 4, 12))
    assert (moved.money, moved.minutes_given) == (6.0, False)


def test_water_kept_is_less_than_poured_and_nothing_without(
    yard: Yard, outlook: Outlook, own: Own
) -> None:
    search = _Search(yard, outlook, own.ends, THOROUGH)
    bare = Offer(kind="take bag off")
    both = search.screen([(bare, Offer(kind="water", litres=4.0)), (bare,)])
    search.finish(both, 0)
    search._with_all_draws(both)
    watered, dry = (search.poured(trial, own) for trial in both)
    assert dry is None
    assert watered is not None
    assert watered.litres == 13 * 4.0
    off = by_hand(outlook, (bare,), TODAY)
    assert (both[1].ends or off).outcomes.tolist() == off.outcomes.tolist()
    assert 0.0 < watered.kept_litres < watered.litres


def test_actions_come_cheapest_first_and_are_dated(advice: Advice) -> None:
    enough = [action for action in advice.actions if action.latest is not None]
    assert enough
    sure = [a for a in enough if a.difference is not None and a.difference.turns_on is None]
    assert [a.cost for a in sure] == sorted(a.cost for a in sure)
    for action in advice.actions:
        assert isinstance(action, Action)
        assert action.start == TODAY
        assert action.latest is None or action.latest >= action.start


def test_the_act_s_line_starts_from_today_s_state_and_pays(
    outlook: Outlook, advice: Advice
) -> None:
    """A day apart at first; at the end less of the best estimate's mycelium is dead."""
    with_act = acted_reference(outlook, advice)
    without = reference_table(outlook.carry_reference_on(outlook.scheme), outlook)
    assert with_act is not None
    assert without is not None
    apart = (with_act - without)["moisture_driest_face_pct"]
    assert abs(apart.iloc[0]) < 2.0
    stress = [
        t["heat_stress"].iloc[-1] + t["drought_stress"].iloc[-1] for t in (with_act, without)
    ]
    assert stress[0] < stress[1]
    assert acted_reference(outlook, replace(advice, actions=())) is None
