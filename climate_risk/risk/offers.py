"""What can be done to a stack from a day on, the scheme that follows, and what it takes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from climate_risk.engine.stack import Scheme
from climate_risk.interventions import Act, ActKind, CoverSpan, Foot, Watering
from climate_risk.risk.cost import cloth_cost, doses, labour_cost
from climate_risk.risk.turns import Turns, sheds
from climate_risk.tables import canopies
from climate_risk.yard import Costs, Yard

CLOTH_PERCENTS = (80.0, 70.0, 60.0, 50.0, 30.0)
"""Usual weaves, the densest first (common practice, no source)."""
LITRES, EVERY_DAYS = (8.0, 4.0, 2.0), (3, 7)
USUAL_LITRES, USUAL_DAYS = 4.0, 7
LEAST_LITRES = 0.5
"""A smaller dose is not offered."""
WATERING_WEEKS = 12
"""A watering is planned for this long, then looked at anew."""
DAYS_PER_WEEK = 7
STANDS = ("conifer", "deciduous", "open")

Family = Literal["cloth", "bag", "water", "stand"]


@dataclass(frozen=True, kw_only=True)
class Offer:
    """One thing to do, on a day that is still open."""

    kind: ActKind
    percent: float | None = None
    since: date | None = None
    """Of a cover: the day it goes on where that is later than the day it is taken up."""
    until: date | None = None
    """Of a cover: the day it comes off; None: when the plan says, or at the end."""
    again: tuple[tuple[date, date | None], ...] = ()
    """Of a cover that comes and goes: the later days on and off."""
    material: str | None = None
    foot: Foot = "closed"
    litres: float = 0.0
    every_days: int = USUAL_DAYS
    canopy: str | None = None

    @property
    def family(self) -> Family:
        """Two offers of one family exclude each other."""
        if self.kind == "hang shade cloth":
            return "cloth"
        if self.kind == "water":
            return "water"
        return "stand" if self.kind == "move" else "bag"


def offers(
    yard: Yard,
    own: Scheme,
    day: date,
    horizon: date,
    *,
    every_size: bool,
    turns: Turns | None = None,
) -> list[Offer]:
    """Everything that could be done to a stack from a day on.

    Parameters
    ----------
    every_size : bool
        False: of each family the one that mostly does most.
    turns : Turns, optional
        Days on which a cover may go on later, or come off again.
    """
    ahead = turns if every_size else None
    found = [
        *_cloths(own, day, horizon, ahead),
        *_bags(own, day, horizon, ahead),
        *_doses(yard, day, horizon),
        *_moves(own.canopy),
    ]
    if every_size:
        return found
    return list({offer.family: offer for offer in reversed(found)}.values())[::-1]


def _on(cover: CoverSpan, day: date, horizon: date) -> bool:
    return (cover.on is None or cover.on <= day) and (cover.off or horizon) > day


def _current(scheme: Scheme, is_bag: bool, day: date, horizon: date) -> CoverSpan | None:
    """The bag, or the cloth, that is on on a day."""
    same = (c for c in scheme.covers if (c.kind == "bag") == is_bag)
    return next((c for c in same if _on(c, day, horizon)), None)


def _cloths(own: Scheme, day: date, horizon: date, turns: Turns | None) -> Iterator[Offer]:
    denser = _denser(own, day, horizon)
    for percent in denser:
        yield Offer(kind="hang shade cloth", percent=percent)
    if turns is None:
        return
    for until in (turns.leaf_fall, turns.leaf_out):
        if denser and day < until < horizon:
            yield Offer(kind="hang shade cloth", percent=denser[0], until=until)
    spans = [(on, off if off < horizon else None) for on, off in turns.leafless if on < horizon]
    if not sheds(own.canopy) or spans in ([], [(day, turns.leaf_out)]):
        return
    (since, off), *again = spans
    for percent in _denser(own, since, horizon)[:1]:
        yield Offer(kind="hang shade cloth", percent=percent, since=since, until=off,
                    again=tuple(again))  # fmt: skip


def _denser(own: Scheme, day: date, horizon: date) -> list[float]:
    """Cloths that stop more sun than the one that is on on a day, the densest first."""
    now = _current(own, False, day, horizon)
    hung = now.percent or 0.0 if now else 0.0
    return [percent for percent in CLOTH_PERCENTS if percent > hung]


def _bags(own: Scheme, day: date, horizon: date, turns: Turns | None) -> Iterator[Offer]:
    now = _current(own, True, day, horizon)
    if now is None:
        material = next((c.material for c in reversed(own.covers) if c.kind == "bag"), "paper")
        for foot in ("closed", "open"):
            yield Offer(kind="put bag on", material=material, foot=foot)
        for until in (turns.leaf_fall, turns.leaf_out, turns.wet_season) if turns else ():
            if until is not None and day < until < horizon:
                yield Offer(kind="put bag on", material=material, until=until)
        return
    yield Offer(kind="take bag off")
    yield Offer(kind="open foot" if now.foot == "closed" else "close foot")


def _doses(yard: Yard, day: date, horizon: date) -> Iterator[Offer]:
    usual = [(USUAL_LITRES, USUAL_DAYS)]
    sizes = usual + [(size, every) for every in EVERY_DAYS for size in LITRES]
    seen = set()
    for litres, every in sizes:
        bound = most_litres(yard, every, day, watering_end(day, horizon))
        size = litres if litres <= bound else math.floor(2.0 * bound) / 2.0
        if size >= LEAST_LITRES and (size, every) not in seen:
            seen.add((size, every))
            yield Offer(kind="water", litres=size, every_days=every)


def watering_end(day: date, horizon: date) -> date:
    """Last day on which a dose that begins on a day may be given."""
    return min(day + timedelta(weeks=WATERING_WEEKS), horizon - timedelta(days=1))


def most_litres(yard: Yard, every_days: int, first: date, last: date) -> float:
    """Largest dose a stack, all stacks alike, that no week's water falls short of.

    What the yard file's own waterings take in their fullest week is set aside first.
    """
    if yard.max_litres_per_week is None:
        return math.inf
    left = yard.max_litres_per_week - sum(
        stack.count * weekly(dose.litres, dose.every_days)
        for stack in yard.stacks
        for dose in stack.waterings
        if dose.first <= last and dose.last >= first
    )
    stacks = sum(stack.count for stack in yard.stacks)
    return max(left, 0.0) / weekly(1.0, every_days) / stacks


def weekly(litres: float, every_days: int) -> float:
    """Litres of the fullest seven days."""
    return litres * math.ceil(DAYS_PER_WEEK / every_days)


def _moves(canopy: str) -> Iterator[Offer]:
    rows = canopies()
    darkest = sorted(STANDS, key=lambda name: rows[name].diffuse_transmittance_on.value)
    return (Offer(kind="move", canopy=name) for name in darkest if name != canopy)


def act_on(offer: Offer, own: Scheme, day: date, horizon: date) -> Act | None:
    """An offer taken up on a day; None where there is then nothing to do."""
    if offer.kind == "water":
        last = watering_end(day, horizon)
        dose = Watering(litres=offer.litres, every_days=offer.every_days, first=day, last=last)
        return Act(kind="water", watering=dose)
    if offer.kind == "move":
        return Act(kind="move", canopy=offer.canopy)
    is_bag = offer.family == "bag"
    if offer.since is not None and offer.since > day:
        day = offer.since
    now = _current(own, is_bag, day, horizon)
    if offer.kind in ("hang shade cloth", "put bag on"):
        later = [c.on for c in own.covers if (c.kind == "bag") == is_bag and c.on and c.on > day]
        ends = now.off if now else min(later, default=None)
        until = offer.until if ends is None or (offer.until and offer.until < ends) else ends
        if (until is not None and until <= day) or (is_bag and now is not None):
            return None
        span = CoverSpan(kind="shade cloth", percent=offer.percent)
        if is_bag:
            span = CoverSpan(kind="bag", material=offer.material, foot=offer.foot)
        times = offer.again if ends is None else ()
        again = tuple(replace(span, on=on, off=off) for on, off in times)
        return Act(kind=offer.kind, cover=replace(span, on=day, off=until), again=again)
    if now is None:
        return None
    if offer.kind == "take bag off":
        return Act(kind=offer.kind, cover=replace(now, off=day))
    return Act(
        kind=offer.kind,
        cover=replace(now, foot="open" if offer.kind == "open foot" else "closed", on=day),
    )


def scheme_with(own: Scheme, acts: Sequence[Act], inoculated: date) -> Scheme:
    """The scheme that follows from acts, each on its day."""
    for act in acts:
        if act.watering is not None:
            own = replace(own, waterings=(*own.waterings, act.watering))
        elif act.canopy is not None:
            own = replace(own, canopy=act.canopy)
        elif act.cover is not None and act.day is not None:
            own = replace(own, covers=_covered(own.covers, act, act.day, inoculated))
    return own


def _covered(
    covers: tuple[CoverSpan, ...], act: Act, day: date, inoculated: date
) -> tuple[CoverSpan, ...]:
    """Covers of which the one that is on ends on the act's day, with what goes on in its place."""
    kept = []
    for cover in covers:
        begun = (cover.on or inoculated) < day
        runs = cover.off is None or cover.off > day
        same = act.cover is not None and cover.kind == act.cover.kind
        if same and runs and begun:
            kept.append(replace(cover, off=day))
        elif not (same and runs and (cover.on or inoculated) == day):
            kept.append(cover)
    goes_on = act.cover if act.cover is not None and act.kind != "take bag off" else None
    return (*kept, goes_on, *act.again) if goes_on is not None else tuple(kept)


@dataclass(frozen=True, kw_only=True)
class Price:
    """What acts take, for one stack."""

    money: float
    """Not a number where a price that it needs is not known."""
    minutes: float
    minutes_given: bool

    @property
    def weight(self) -> float:
        """What sets are ordered by: money, or work where some price is not known."""
        return self.minutes if math.isnan(self.money) else self.money


def price_of(acts: Sequence[Act], costs: Costs, horizon: date) -> Price:
    """Material, water and labour of acts; a cover is bought once, and each time that it goes on
    or comes off is work."""
    material, minutes, used = 0.0, 0.0, set()

    def work(name: str, times: int = 1) -> None:
        nonlocal minutes
        minutes += times * float(getattr(costs.minutes, name))
        if times:
            used.add(name)

    def on_and_off(act: Act, name: str) -> None:
        spans = [span for span in (act.cover, *act.again) if span is not None]
        work(f"{name}_on", len(spans))
        work(f"{name}_off", sum(s.off is not None and s.off < horizon for s in spans))

    for act in acts:
        if act.watering is not None:
            times = doses(act.watering)
            material += times * act.watering.litres * costs.water_per_litre
            work("watering_visit", times)
        elif act.kind == "move":
            work("move")
        elif act.kind == "hang shade cloth":
            material += cloth_cost(costs)
            on_and_off(act, "cloth")
        elif act.kind == "put bag on":
            material += costs.bag
            on_and_off(act, "bag")
        else:
            work("bag_off")
    return Price(
        money=material + labour_cost(minutes, costs),
        minutes=minutes,
        minutes_given=used <= set(costs.minutes.given),
    )
