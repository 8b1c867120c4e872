"""What could still be done for a stack, until when, and what it is worth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from climate_risk.engine.stack import Scheme
from climate_risk.interventions import Act, ActKind, CoverSpan, Watering
from climate_risk.risk.certainty import difference
from climate_risk.risk.chance import chance_of_loss
from climate_risk.risk.cost import covers_cost, watering_cost
from climate_risk.risk.ensemble import Outcomes
from climate_risk.risk.outlook import Outlook
from climate_risk.risk.results import Action, Chance, OptionResult
from climate_risk.yard import Yard

DELAYS_DAYS = (0, 14, 28, 56)
"""Days from now at which a helpful action is tried, to find the latest that still serves."""
CLOTH_PERCENT = 60.0
DOSE_LITRES = 4.0
DOSE_DAYS = 7
LEAST_GAIN = 0.005
"""Chance of loss that an action must take away to be worth a line (our own choice)."""
WATERING_WEEKS = 12
"""A watering action is planned for this long, then looked at anew."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """One thing to do from a day on, the scheme that follows, and its price."""

    act: Act
    scheme: Scheme
    cost: float


def changes(yard: Yard, outlook: Outlook, start: date) -> Iterator[Change]:
    """Everything that could be done to a stack from ``start`` on."""
    own, horizon = outlook.scheme, outlook.kind.horizon
    costs = yard.costs
    bag = next((c for c in own.covers if c.kind == "bag" and _on(c, start, horizon)), None)
    cloth = next((c for c in own.covers if c.kind != "bag" and _on(c, start, horizon)), None)
    if cloth is None:
        later = [c.on for c in own.covers if c.kind != "bag" and c.on and c.on > start]
        span = CoverSpan(
            kind="shade cloth", percent=CLOTH_PERCENT, on=start, off=min(later, default=None)
        )
        yield Change(
            act=Act(kind="hang shade cloth", cover=span),
            scheme=replace(own, covers=(*own.covers, span)),
            cost=covers_cost((span,), costs),
        )
    if bag is None:
        span = CoverSpan(kind="bag", material="paper", on=start)
        others = tuple(c for c in own.covers if c.kind != "bag" or (c.off and c.off <= start))
        yield Change(
            act=Act(kind="put bag on", cover=span),
            scheme=replace(own, covers=(*others, span)),
            cost=covers_cost((span,), costs),
        )
    else:
        cut = replace(bag, off=start)
        kept = tuple(c for c in own.covers if c is not bag)
        ended = (cut,) if (bag.on or outlook.kind.stack.inoculated) < start else ()
        labour = covers_cost((bag,), costs) - costs.bag
        yield Change(
            act=Act(kind="take bag off", cover=cut),
            scheme=replace(own, covers=(*kept, *ended)),
            cost=labour,
        )
    dose = Watering(
        litres=DOSE_LITRES,
        every_days=DOSE_DAYS,
        first=start,
        last=min(start + timedelta(weeks=WATERING_WEEKS), horizon),
    )
    yield Change(
        act=Act(kind="water", watering=dose),
        scheme=replace(own, waterings=(*own.waterings, dose)),
        cost=watering_cost((dose,), costs),
    )


def _on(cover: CoverSpan, day: date, horizon: date) -> bool:
    return (cover.on is None or cover.on <= day) and (cover.off or horizon) > day


def find_actions(
    yard: Yard, outlook: Outlook, as_it_stands: OptionResult, own: Outcomes
) -> tuple[Action, ...]:
    """Actions that lower the chance of loss, those that bring it under the tolerance first.

    One whose worth hangs on a number nobody has measured comes after all others.

    Nothing is sought for a stack that is under the tolerance as it stands, or for which the
    years are too few to give a chance.  The latest day is sought for each that is enough alone.
    """
    now = as_it_stands.chance
    tolerated = yard.costs.tolerated_chance
    if now is None or now.mean <= tolerated or outlook.next_day >= outlook.kind.horizon:
        return ()
    found = []
    for change in changes(yard, outlook, outlook.next_day):
        chance, ends = _tried(outlook, change.scheme)
        if chance is not None and chance.mean < now.mean - LEAST_GAIN:
            found.append(
                Action(
                    act=change.act,
                    start=outlook.next_day,
                    latest=outlook.next_day if chance.mean <= tolerated else None,
                    chance=chance,
                    cost=change.cost,
                    difference=difference(ends, own),
                )
            )
    found.sort(key=lambda a: _rank(a, tolerated))
    return tuple(
        action
        if action.latest is None
        else replace(action, latest=_latest(yard, outlook, action.act.kind, tolerated))
        for action in found
    )


def _rank(action: Action, tolerated: float) -> tuple[bool, bool, float]:
    """Sure ones first, of these enough before not enough, then the cheapest or most helpful."""
    chance = action.chance.mean if action.chance else 1.0
    enough = chance <= tolerated
    open_question = action.difference is not None and action.difference.turns_on is not None
    return (open_question, not enough, action.cost if enough else chance)


def _latest(yard: Yard, outlook: Outlook, act: ActKind, tolerated: float) -> date:
    """Last of the tried days on which starting still keeps the chance under the tolerance.

    Halving: a later start is taken to help no more than an earlier one.
    """
    enough, tried = 0, len(DELAYS_DAYS)
    while tried - enough > 1:
        middle = (enough + tried) // 2
        start = outlook.next_day + timedelta(days=DELAYS_DAYS[middle])
        change = None
        if start < outlook.kind.horizon:
            change = next((c for c in changes(yard, outlook, start) if c.act.kind == act), None)
        chance = _tried(outlook, change.scheme)[0] if change else None
        if chance is not None and chance.mean <= tolerated:
            enough = middle
        else:
            tried = middle
    return outlook.next_day + timedelta(days=DELAYS_DAYS[enough])


def _tried(outlook: Outlook, scheme: Scheme) -> tuple[Chance | None, Outcomes]:
    _, ends = outlook.carry_on(scheme)
    return chance_of_loss(ends.outcomes, ends.quantiles), ends
