"""Covers that go on or come off when the year turns: against every one tried by hand."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, cover_table, stack_model
from climate_risk.interventions import Act, CoverSpan, LeafFall, LeafOut, WetSeason
from climate_risk.microclimate.radiation import C_CLOTH
from climate_risk.report.treatment import act_words
from climate_risk.risk import actions
from climate_risk.risk.actions import QUICK, Effort, Own, carry_on_by_days, find_actions
from climate_risk.risk.advice import Advice
from climate_risk.risk.ensemble import Outcomes, option_result
from climate_risk.risk.offers import Offer, act_on, offers, price_of, scheme_with
from climate_risk.risk.outlook import Outlook, look_at_all
from climate_risk.risk.season import season
from climate_risk.risk.turns import Turns, next_wet_season, turns_ahead
from climate_risk.units import Units
from climate_risk.yard import Yard, read_yard

AS_OF = date(2013, 5, 15)
TODAY = AS_OF + timedelta(days=1)
BEGUN = date(2013, 4, 12)
DRAWS = 5
LIMIT = 0.05
SOME_DAYS = Effort(every_size=True, finished=9, dated=9, delays_days=(14, 60, 170))
"""The last lies after leaf fall."""
EARLIER = CoverSpan(kind="bag", material="plastic", off=date(2013, 5, 1))
"""A bag that has come off again: one that is put on is of its kind."""


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    made = samples.small_yard(tmp_path_factory.mktemp("yard"), year=2013)
    return replace(made, stacks=(replace(made.stacks[0], covers=(EARLIER,)),))


@pytest.fixture(scope="module")
def record() -> Record:
    """Warm; not a drop from April to September, three times the rain in the other months."""
    table = samples.daily_table("2002-01-01", str(AS_OF))
    is_dry = table.index.month.isin(range(4, 10))
    warmer = {
        name: table[name] + 4.0 for name in ("air_temp_min_c", "air_temp_mean_c", "air_temp_max_c")
    }
    rain = table["precip_mm"].where(~is_dry, 0.0) * 3.0
    return Record(samples.hours_of(table.assign(precip_mm=rain, **warmer), samples.NORTH),
                  samples.NORTH)  # fmt: skip


@pytest.fixture(scope="module")
def kind(yard: Yard, record: Record) -> StackModel:
    return stack_model(yard.stacks[0], record, 0.0)


@pytest.fixture(scope="module")
def outlook(kind: StackModel) -> Outlook:
    (found,) = look_at_all(kind, [Scheme(canopy="deciduous", covers=(EARLIER,))], AS_OF, DRAWS)
    return found


@pytest.fixture(scope="module")
def turns(kind: StackModel) -> Turns:
    return turns_ahead(kind, "deciduous", TODAY)


@pytest.fixture(scope="module")
def covers(yard: Yard, outlook: Outlook, turns: Turns) -> list[Offer]:
    """Every offer of a bag or of the densest cloth."""
    found = offers(yard, outlook.scheme, TODAY, outlook.kind.horizon, every_size=True, turns=turns)
    return [o for o in found if o.family == "bag" or o.percent == 80.0]


@pytest.fixture(scope="module")
def own(outlook: Outlook) -> Own:
    return carry_on_by_days(outlook, SOME_DAYS)


def act_of(outlook: Outlook, offer: Offer, day: date) -> Act:
    act = act_on(offer, outlook.scheme, day, outlook.kind.horizon)
    assert act is not None
    return act


def by_hand(outlook: Outlook, offer: Offer, day: date) -> Outcomes:
    """An offer taken up on a day, run in one piece from today by the dates in its scheme."""
    scheme = scheme_with(outlook.scheme, [act_of(outlook, offer, day)], BEGUN)
    return outlook.carry_on(scheme)[1]


@pytest.fixture(scope="module")
def tried(outlook: Outlook, covers: list[Offer]) -> dict[Offer, Outcomes]:
    return {offer: by_hand(outlook, offer, TODAY) for offer in covers}


@pytest.fixture(scope="module")
def advice(yard: Yard, outlook: Outlook, own: Own, covers: list[Offer]) -> Advice:
    """Of the search among these offers alone."""
    strict = replace(yard, costs=replace(yard.costs, tolerated_chance=LIMIT))
    as_it_stands = option_result(own.ends, outlook.scheme, strict.costs)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(actions, "offers", lambda *_, **__: covers)
        return find_actions(strict, outlook, as_it_stands, own, SOME_DAYS)


def test_what_turns_with_the_year_is_offered(covers: list[Offer], turns: Turns) -> None:
    """A cloth from leaf fall on, and a bag or a cloth until leaf fall; leaf out lies beyond the
    run, and rain comes back in October.
    """
    assert turns.wet_season == date(2013, 10, 1)
    cloths = {(o.since, o.until) for o in covers if o.family == "cloth"}
    bags = {(o.foot, o.until) for o in covers if o.family == "bag"}
    assert cloths == {(None, None), (None, turns.leaf_fall), (turns.leaf_fall, None)}
    assert bags == {("closed", None), ("open", None), ("closed", turns.leaf_fall),
                    ("closed", turns.wet_season)}  # fmt: skip


def test_the_cheapest_that_is_enough_among_all_tried_by_hand(
    yard: Yard, outlook: Outlook, advice: Advice, tried: dict[Offer, Outcomes]
) -> None:
    """Brute force: here a bag pays while the summer is dry, and keeps the winter's rain out; only
    one that comes off in time keeps the limit, though it is work twice.
    """
    prices = {}
    for offer, ends in tried.items():
        if max(ends.lost.mean(), ends.lost[:, 1:].mean()) <= LIMIT:
            act = act_of(outlook, offer, TODAY)
            prices[offer] = price_of([act], yard.costs, outlook.kind.horizon).money
    assert {offer.until for offer in prices} == {LeafFall(2013, 10, 17), WetSeason(2013, 10, 1)}
    first = advice.actions[0]
    assert first.cost == pytest.approx(min(prices.values()))
    assert first.acts[0] in [act_of(outlook, offer, TODAY) for offer in prices]
    for action in advice.actions:
        for offer, ends in tried.items():
            if action.acts == (act_of(outlook, offer, TODAY),):
                assert action.chance is not None
                assert action.chance.mean == pytest.approx(ends.lost.mean())


def test_the_latest_day_is_that_of_a_run_of_every_day_offered(
    outlook: Outlook, own: Own, advice: Advice, covers: list[Offer]
) -> None:
    """Exhaustive: of a bag that comes off in time, each day up to one that does not serve."""
    first = advice.actions[0]
    assert first.latest is not None
    offer = next(o for o in covers if first.acts == (act_of(outlook, o, TODAY),))
    latest = TODAY
    for day, found in zip(own.on_day, first.later, strict=False):
        chance = by_hand(outlook, offer, day).lost.mean()
        assert (found.day, found.chance_mean) == (day, chance)
        latest = day if chance <= LIMIT else latest
    assert first.latest == latest


def test_an_act_that_waits_for_leaf_fall_has_no_later_day_before_it(
    yard: Yard, outlook: Outlook, own: Own, covers: list[Offer], turns: Turns
) -> None:
    """It starts then; a day up to leaf fall is not tried, one after it is, and to the last bit."""
    every = replace(yard, costs=replace(yard.costs, tolerated_chance=1.0))
    search = actions._Search(every, outlook, own.ends, SOME_DAYS)
    offer = next(o for o in covers if o.since is not None)
    (trial,) = search.screen([(offer,)])
    search._with_all_draws([trial])
    later = search.later_days([trial], own)
    last = max(own.on_day)
    assert [found.day for found in later[id(trial)]] == [last]
    assert later[id(trial)][0].chance_mean == by_hand(outlook, offer, last).lost.mean()
    action = search.action(trial, None, trial, later, own)
    assert (action.start, action.latest) == (turns.leaf_fall, last)


def test_written_into_the_yard_file_it_gives_the_same_season(
    tmp_path: Path, outlook: Outlook, record: Record, turns: Turns
) -> None:
    """A bag until leaf fall and a cloth from then on, by ``off = "leaf fall"`` and ``on = "leaf
    fall"``: the same numbers to the last bit.
    """
    bag = Offer(kind="put bag on", material="plastic", until=turns.leaf_fall)
    cloth = Offer(kind="hang shade cloth", percent=80.0, since=turns.leaf_fall)
    acts = [act_of(outlook, offer, TODAY) for offer in (bag, cloth)]
    _, ends = outlook.carry_on(scheme_with(outlook.scheme, acts, BEGUN))
    text = samples.write_yard(tmp_path, year=2013).read_text(encoding="utf-8")
    plastic = '[[stack.cover]]\nkind = "bag"\nmaterial = "plastic"\n'
    written = (
        f"{plastic}off = {EARLIER.off}\n{plastic}on = {TODAY}\noff = 'leaf fall'\n"
        '[[stack.cover]]\nkind = "shade cloth"\npercent = 80\non = "leaf fall"\n[compare]'
    )
    (tmp_path / "yard.toml").write_text(text.replace("[compare]", written), "utf-8")
    yard = read_yard(tmp_path / "yard.toml")
    idle = replace(yard, costs=replace(yard.costs, tolerated_chance=1.0))
    table = samples.daily_table("2002-01-01", "2002-01-02")
    found = season(
        idle, record, samples.coverage(table), {}, as_of=AS_OF, draws=DRAWS, effort=QUICK
    )
    result = found.stacks[0].result
    assert result.chance is not None
    assert result.chance.mean == pytest.approx(ends.lost.mean())
    assert tuple(result.moisture_driest_face_pct) == tuple(
        option_result(ends, outlook.scheme, yard.costs).moisture_driest_face_pct
    )


def test_only_where_leaves_fall_and_only_in_a_full_search(yard: Yard) -> None:
    turns = Turns(
        leaf_fall=LeafFall(2013, 10, 17),
        leaf_out=LeafOut(2014, 5, 8),
        leafless=((LeafFall(2013, 10, 17), LeafOut(2014, 5, 8)),),
    )

    def waiting(canopy: str, *covers: CoverSpan, every_size: bool = True) -> list[Offer]:
        found = offers(yard, Scheme(canopy=canopy, covers=covers), TODAY, date(2015, 4, 12),
                       every_size=every_size, turns=turns)  # fmt: skip
        return [offer for offer in found if offer.since is not None]

    (leafless,) = waiting("deciduous")
    assert (leafless.since, leafless.until) == (turns.leaf_fall, turns.leaf_out)
    assert leafless.again == ()
    assert waiting("conifer") == waiting("open") == []
    assert waiting("deciduous", every_size=False) == []
    dense = CoverSpan(kind="shade cloth", percent=80.0)
    assert waiting("deciduous", dense) == []
    assert waiting("deciduous", replace(dense, off=date(2013, 9, 1))) == [leafless]


def test_a_cloth_from_leaf_fall_leaves_what_hangs_until_then() -> None:
    """By hand: half cloth throughout; the dense one takes its place on the day of leaf fall."""
    half = CoverSpan(kind="shade cloth", percent=50.0)
    fall, out = LeafFall(2013, 10, 17), LeafOut(2014, 5, 8)
    offer = Offer(kind="hang shade cloth", percent=80.0, since=fall, until=out)
    scheme = Scheme(canopy="deciduous", covers=(half,))
    act = act_on(offer, scheme, TODAY, date(2015, 4, 12))
    assert act is not None
    new = CoverSpan(kind="shade cloth", percent=80.0, on=fall, off=out)
    assert act.day == fall
    assert scheme_with(scheme, [act], BEGUN).covers == (replace(half, off=fall), new)


def test_a_cover_that_comes_off_again_is_work_twice(yard: Yard) -> None:
    """A cloth is bought once, hung and taken down; so is a bag; one that stays on is hung."""
    minutes = replace(yard.costs.minutes, cloth_on=4.0, cloth_off=2.0, bag_on=3.0, bag_off=1.0)
    costs = replace(yard.costs, minutes=minutes)
    fall, out = LeafFall(2013, 10, 17), LeafOut(2014, 5, 8)
    cloth = CoverSpan(kind="shade cloth", percent=80.0, on=fall, off=out)
    bag = CoverSpan(kind="bag", material="paper", on=TODAY, off=fall)

    def work(horizon: date) -> list[float]:
        acts = (Act(kind="hang shade cloth", cover=cloth), Act(kind="put bag on", cover=bag))
        return [price_of([act], costs, horizon).minutes for act in acts]

    twice = Act(kind="hang shade cloth", cover=cloth, again=(replace(cloth, off=None),))
    assert price_of([twice], costs, date(2015, 4, 12)).minutes == 10.0
    once = price_of([replace(twice, again=())], costs, date(2015, 4, 12))
    labour = 4.0 / 60.0 * costs.labour_per_hour
    assert price_of([twice], costs, date(2015, 4, 12)).money == pytest.approx(once.money + labour)
    assert work(date(2015, 4, 12)) == [6.0, 4.0]
    assert work(date(2014, 4, 12)) == [4.0, 4.0]
    assert work(date(2013, 10, 1)) == [4.0, 3.0]


@pytest.mark.parametrize(
    ("wet_months", "day", "said"),
    [
        ((10, 11, 12, 1, 2, 3), date(2013, 5, 16), date(2013, 10, 1)),
        ((10, 11, 12, 1, 2, 3), date(2013, 11, 2), date(2014, 10, 1)),
        ((6, 7), date(2013, 6, 1), date(2014, 6, 1)),
        ((1,), date(2013, 12, 31), date(2014, 1, 1)),
        ((), date(2013, 5, 16), None),
        (tuple(range(1, 13)), date(2013, 5, 16), None),
    ],
)
def test_wet_months_begin_where_a_dry_one_ends(
    wet_months: tuple[int, ...], day: date, said: date | None
) -> None:
    """By hand, 60 mm against 10; about 25 a month is where a bag ceases to pay."""
    rain = {month: 60.0 if month in wet_months else 10.0 for month in range(1, 13)}
    assert next_wet_season(rain, day) == said


def test_days_on_which_the_year_turns_are_named() -> None:
    show, fall = Units("us"), LeafFall(2013, 10, 17)
    cloth = CoverSpan(kind="shade cloth", percent=80.0, on=fall, off=LeafOut(2014, 5, 8))
    assert act_words(Act(kind="hang shade cloth", cover=cloth), show) == (
        "hang 80 % shade cloth from leaf fall (17 Oct 2013) until leaf out (8 May 2014)"
    )
    bag = CoverSpan(kind="bag", material="paper", on=TODAY, off=WetSeason(2013, 10, 1))
    assert act_words(Act(kind="put bag on", cover=bag), show) == (
        "put a paper bag on until the wet months (1 Oct 2013)"
    )


@pytest.mark.parametrize("asked", [date(2013, 4, 20), date(2013, 7, 1), date(2013, 12, 1)])
def test_a_cloth_hangs_in_every_leafless_time_to_the_end(
    tmp_path: Path, record: Record, asked: date
) -> None:
    """Two years, asked in spring, summer and winter: hour by hour the cover of a yard file with
    ``on = "leaf fall"`` and ``off = "leaf out"``, and in spring from the day asked to leaf out.
    """
    text = samples.write_yard(tmp_path, year=2013).read_text(encoding="utf-8")
    cover = (
        '[[stack.cover]]\nkind = "shade cloth"\npercent = 80\non = "leaf fall"\n'
        'off = "leaf out"\n[compare]'
    )
    text = text.replace("grey oyster", "lion's mane").replace("[compare]", cover)
    (tmp_path / "yard.toml").write_text(text, "utf-8")
    stack = read_yard(tmp_path / "yard.toml").stacks[0]
    kind = stack_model(replace(stack, covers=()), record, 0.0)
    bare = Scheme(canopy="deciduous")
    turns = turns_ahead(kind, "deciduous", asked)
    found = offers(read_yard(tmp_path / "yard.toml"), bare, asked, kind.horizon, every_size=True,
                   turns=turns)  # fmt: skip
    (offer,) = [o for o in found if o.again]
    act = act_on(offer, bare, asked, kind.horizon)
    assert act is not None
    table = cover_table(kind, scheme_with(bare, [act], BEGUN))
    written = cover_table(kind, replace(bare, covers=stack.covers))
    since = (asked - kind.start_day).days * 24
    leaf_out = (turns.leaf_out - kind.start_day).days * 24
    if asked < turns.leaf_out < turns.leaf_fall:
        assert table[since:leaf_out, C_CLOTH].min() == 0.8
        since = leaf_out
        assert "until leaf out" in act_words(act, Units("us"))
    assert (table[since:] == written[since:]).all()
    assert table[since:, C_CLOTH].any()
    assert act_words(act, Units("us")).endswith(", then each winter from leaf fall to leaf out")
