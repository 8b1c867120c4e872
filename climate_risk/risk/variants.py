"""The options of a stack: the plan as written, then every combination of the yard's lists."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace
from datetime import date, timedelta

from climate_risk.engine.stack import Scheme, horizon_of
from climate_risk.interventions import CoverSpan, Watering
from climate_risk.options import CoverOption, WateringOption
from climate_risk.risk.results_compare import Build
from climate_risk.yard import CompareOptions, Stack, Yard

WATERING_MONTHS = (5, 9)
"""First and last month of watering in the north; half a year later in the south."""
DAYS_PER_WEEK = 7.0


@dataclass(frozen=True, kw_only=True)
class Variant:
    """One stack and what is over it."""

    stack: Stack
    scheme: Scheme
    places: tuple[int, ...] = field(default=(), compare=False)
    """Of the combinations of the lists, counted with the last list the fastest, that are this;
    none for a plan that is not among them."""


def plan_of(yard: Yard, stack: Stack) -> Variant:
    """The stack as the yard file writes it."""
    scheme = Scheme(canopy=yard.canopy, covers=stack.covers, waterings=stack.waterings)
    return Variant(stack=stack, scheme=scheme)


def variants(yard: Yard, stack: Stack) -> tuple[Variant, ...]:
    """The plan, then every combination of the ``[compare]`` lists, none twice."""
    lists = [getattr(yard.compare, name.name) for name in fields(CompareOptions)]
    found: dict[Variant, list[int]] = {plan_of(yard, stack): []}
    for place, entries in enumerate(itertools.product(*lists)):
        found.setdefault(_variant(yard, stack, *entries), []).append(place)
    return tuple(replace(variant, places=tuple(places)) for variant, places in found.items())


def build_of(stack: Stack) -> Build:
    """How and when a stack is made."""
    felled = stack.felled if stack.start_moisture is None else None
    return Build(
        fungus=stack.fungus,
        wood=stack.wood,
        pieces=stack.pieces,
        piece_length_m=stack.piece_length_m,
        diameter_m=stack.diameter_m,
        inoculated=stack.inoculated,
        felled_weeks_before=(
            None if felled is None else (stack.inoculated - felled).days / DAYS_PER_WEEK
        ),
    )


def _variant(
    yard: Yard,
    own: Stack,
    canopy: str | None,
    covers: CoverOption | None,
    watering: WateringOption | None,
    start_weeks: float | None,
    felled_weeks_before: float | None,
    piece_length_m: float | None,
    diameter_m: float | None,
    pieces: int | None,
    fungus: str | None,
    wood: str | None,
) -> Variant:
    later = timedelta(days=round(DAYS_PER_WEEK * (start_weeks or 0.0)))
    inoculated = own.inoculated + later
    felled = None if own.felled is None else own.felled + later
    if felled_weeks_before is not None:
        felled = inoculated - timedelta(days=round(DAYS_PER_WEEK * felled_weeks_before))
    cut = None if own.cut is None else max(own.cut + later, felled or date.min)
    stack = replace(
        own,
        inoculated=inoculated,
        felled=felled,
        cut=cut,
        piece_length_m=piece_length_m or own.piece_length_m,
        diameter_m=diameter_m or own.diameter_m,
        pieces=pieces or own.pieces,
        fungus=fungus or own.fungus,
        wood=wood or own.wood,
    )
    last = horizon_of(stack)
    if covers is None:
        spans = _on_from(own.covers, own.inoculated, inoculated)
    else:
        spans = covers.dated(yard.site, inoculated, last)
    if watering is None:
        doses = _poured_from(own.waterings, inoculated)
    else:
        doses = warm_season_watering(watering, inoculated, last, yard.site.latitude < 0.0)
    scheme = Scheme(canopy=canopy or yard.canopy, covers=spans, waterings=doses)
    return Variant(stack=replace(stack, covers=spans, waterings=doses), scheme=scheme)


def _on_from(covers: tuple[CoverSpan, ...], own: date, inoculated: date) -> tuple[CoverSpan, ...]:
    """The plan's covers on a stack begun on another day: what went on first still does.

    All other days are of the calendar and stay.
    """
    if own == inoculated:
        return covers
    moved = (
        replace(span, on=None if span.on in (None, own) else max(span.on, inoculated))
        for span in covers
    )
    return tuple(span for span in moved if span.off is None or span.off > (span.on or inoculated))


def _poured_from(waterings: tuple[Watering, ...], inoculated: date) -> tuple[Watering, ...]:
    """The plan's doses that fall on the stack or after it is there, on the plan's days."""
    found = []
    for dose in waterings:
        days = max((inoculated - dose.first).days, 0)
        first = dose.first + timedelta(days=-(-days // dose.every_days) * dose.every_days)
        if first <= dose.last:
            found.append(replace(dose, first=first))
    return tuple(found)


def warm_season_watering(
    option: WateringOption, inoculated: date, last: date, south: bool
) -> tuple[Watering, ...]:
    """An option's doses in every May to September of the run, November to March in the south."""
    return tuple(_warm_seasons(option, inoculated, last, south)) if option.litres else ()


def _warm_seasons(
    option: WateringOption, inoculated: date, last: date, south: bool
) -> Iterator[Watering]:
    first_month, last_month = (11, 3) if south else WATERING_MONTHS
    for year in range(inoculated.year - 1, last.year + 1):
        first = max(date(year, first_month, 1), inoculated)
        end = min(date(year + south, last_month, 30 if last_month == 9 else 31), last)
        if first < end:
            yield Watering(
                litres=option.litres, every_days=option.every_days, first=first, last=end
            )
