"""Covers and waterings as a yard file writes them: of a stack, and as options to compare."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import cast

from climate_risk.interventions import CoverSpan, Foot, LeafDay, LeafFall, LeafOut, Watering
from climate_risk.leaves import next_leaf_day
from climate_risk.site import Site
from climate_risk.tables import bags, find
from climate_risk.toml_section import Section
from climate_risk.units import parse_quantity

__all__ = [
    "CoverOption",
    "CoverSpan",
    "Watering",
    "WateringOption",
    "parse_cover_option",
    "parse_watering_option",
    "read_cover",
    "read_watering",
]

CLOTH_PERCENT_MIN, CLOTH_PERCENT_MAX = 5.0, 95.0

LEAF_DAYS: Mapping[str, type[LeafDay]] = {"leaf out": LeafOut, "leaf fall": LeafFall}
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

_CLOTH = re.compile(r"shade cloth\s+(\d+(?:\.\d+)?)\s*%?", re.IGNORECASE)
_BAG = re.compile(r"(.+?)\s+bag(\s+open at the foot)?", re.IGNORECASE)
_FROM_TO = re.compile(r"(.+?)(?:\s+from\s+(.+?))?(?:\s+to\s+(.+?))?", re.IGNORECASE)
_DAY_MONTH = re.compile(r"(\d{1,2})\.?\s+([a-z]{3})[a-z]*|([a-z]{3})[a-z]*\.?\s+(\d{1,2})")
_WATERING = re.compile(r"(.+?)\s+every\s+(\d+)\s+days?", re.IGNORECASE)
_COVER_HELP = 'use none, paper bag, plastic bag or shade cloth 60, joined by " + "'
_DAY_HELP = "use leaf fall, leaf out, or a day and month such as 20 Oct"

_DAY = timedelta(days=1)

DayOfYear = tuple[int, int] | type[LeafDay]
"""Month and day, or a day that the leaves set."""


@dataclass(frozen=True, kw_only=True)
class CoverOption:
    """Covers to compare; no spans is a bare stack, and the spans carry no dates yet."""

    spans: tuple[CoverSpan, ...] = ()
    days: tuple[tuple[DayOfYear | None, DayOfYear | None], ...] = ()
    """When each goes on and comes off; None: from inoculation, to the end."""

    def dated(self, site: Site, inoculated: date, last: date) -> tuple[CoverSpan, ...]:
        """The spans of a stack that runs from inoculation to its last day.

        What goes on and comes off on days of the year does so in every year of the run.
        """
        return tuple(
            each
            for span, (on, off) in zip(self.spans, self.days, strict=True)
            for each in _every_year(span, on, off, site, inoculated, last)
        )


@dataclass(frozen=True, kw_only=True)
class WateringOption:
    """A watering to compare; 0 litres is none."""

    litres: float = 0.0
    every_days: int = 1


def parse_cover_option(text: str) -> CoverOption:
    """Read covers such as ``paper bag + shade cloth 60 from leaf fall to leaf out``.

    Raises
    ------
    ValueError
        A part is no cover, a day is none, or a kind stands twice; the message says what is
        accepted.
    InputError
        No such bag.
    """
    if text.strip().casefold() == "none":
        return CoverOption()
    spans, days = [], []
    for part in text.split("+"):
        match = _FROM_TO.fullmatch(part.strip())
        what, on, off = match.groups() if match else (part.strip(), None, None)
        spans.append(_cover(what))
        days.append((_day_of_year(on), _day_of_year(off)))
    if len({span.kind for span in spans}) < len(spans):
        raise ValueError(f'"{text}" has two covers of one kind')
    return CoverOption(spans=tuple(spans), days=tuple(days))


def _day_of_year(text: str | None) -> DayOfYear | None:
    if text is None:
        return None
    word = text.strip().casefold()
    if word in LEAF_DAYS:
        return LEAF_DAYS[word]
    match = _DAY_MONTH.fullmatch(word)
    if match:
        day, month = int(match[1] or match[4]), match[2] or match[3]
        if month in _MONTHS:
            try:
                return date(2001, _MONTHS.index(month) + 1, day).timetuple()[1:3]
            except ValueError:
                pass
    raise ValueError(f'"{text}" is no day of the year; {_DAY_HELP}')


def _next_day(day: DayOfYear, site: Site, after: date) -> date:
    """The first such day on a date or after it."""
    if isinstance(day, type):
        return next_leaf_day(day, site, after)
    this_year = date(after.year, *day)
    return this_year if this_year >= after else date(after.year + 1, *day)


def _every_year(
    span: CoverSpan,
    on: DayOfYear | None,
    off: DayOfYear | None,
    site: Site,
    inoculated: date,
    last: date,
) -> list[CoverSpan]:
    """A cover with its dates: once, or each year where both its days recur."""
    begins = None if on is None else _next_day(on, site, inoculated)
    found: list[CoverSpan] = []
    while not found or (on and off and begins is not None and begins < last):
        ends = None if off is None else _next_day(off, site, (begins or inoculated) + _DAY)
        found.append(replace(span, on=begins, off=ends))
        begins = None if on is None else _next_day(on, site, (ends or last) + _DAY)
    return found


def _cover(text: str) -> CoverSpan:
    cloth, bag = _CLOTH.fullmatch(text), _BAG.fullmatch(text)
    if cloth:
        percent = float(cloth[1])
        if not CLOTH_PERCENT_MIN <= percent <= CLOTH_PERCENT_MAX:
            raise ValueError(
                f'"{text}": a shade cloth stops {CLOTH_PERCENT_MIN:g} to {CLOTH_PERCENT_MAX:g} %'
            )
        return CoverSpan(kind="shade cloth", percent=percent)
    if bag:
        foot: Foot = "open" if bag[2] else "closed"
        return CoverSpan(kind="bag", material=find(bag[1], bags(), "bag").name, foot=foot)
    raise ValueError(f'"{text}" is no cover; {_COVER_HELP}')


def parse_watering_option(text: str) -> WateringOption:
    """Read a watering such as ``4 L every 7 days`` or ``none``.

    Raises
    ------
    ValueError
        Saying what is accepted.
    """
    if text.strip().casefold() == "none":
        return WateringOption()
    match = _WATERING.fullmatch(text.strip())
    if match is None:
        raise ValueError(f'"{text}" is no watering; use none or, say, 4 L every 7 days')
    litres, every_days = parse_quantity(match[1], "volume"), int(match[2])
    if not 0.0 < litres <= 1000.0 or not 1 <= every_days <= 365:
        raise ValueError(f'"{text}": water up to 1000 L, every 1 to 365 days')
    return WateringOption(litres=litres, every_days=every_days)


def read_cover(
    section: Section, inoculated: date, site: Site, last: date
) -> tuple[CoverSpan, ...]:
    """Read one ``[[stack.cover]]``; on at leaf fall and off at leaf out, it is one a winter.

    Parameters
    ----------
    site : Site
        Whose leaves come and fall.
    last : date
        About when the stack's run ends.
    """
    section.only("kind", "material", "foot", "holes", "plies", "percent", "on", "off")
    on, off = _day_or_leaves(section, "on"), _day_or_leaves(section, "off")
    if isinstance(on, type) and isinstance(off, type):
        return tuple(_every_year(_cover_of(section), on, off, site, inoculated, last))
    begins = next_leaf_day(on, site, inoculated) if isinstance(on, type) else on
    earliest = begins or inoculated
    ends = next_leaf_day(off, site, earliest + _DAY) if isinstance(off, type) else off
    if ends is not None and ends <= earliest:
        section.fail("off", f"must be after {'on' if begins else 'inoculated'}, {earliest}")
    return (replace(_cover_of(section), on=begins, off=ends),)


def _day_or_leaves(section: Section, key: str) -> date | type[LeafDay] | None:
    if not section.has(key):
        return None
    word = section.raw[key]
    leaves = LEAF_DAYS.get(word.strip().casefold()) if isinstance(word, str) else None
    return leaves or section.day(key, ', or as "leaf fall" or "leaf out"')


def _cover_of(section: Section) -> CoverSpan:
    """What a ``[[stack.cover]]`` is, without its dates."""
    if section.choice("kind", ("bag", "shade cloth")) == "bag":
        if section.has("percent"):
            section.fail("percent", "a bag has a material, not a percent")
        return CoverSpan(
            kind="bag",
            material=section.named("material", bags(), "bag").name,
            foot=cast(Foot, section.choice("foot", ("closed", "open"), default="closed")),
            holes_m2=section.quantity("holes", "area", ("0 cm2", "2000 cm2"), "0 cm2"),
            plies=section.count("plies", 1, 4) if section.has("plies") else None,
        )
    for key in ("material", "foot", "holes", "plies"):
        if section.has(key):
            section.fail(key, f"a shade cloth has a percent, not {key}")
    percent = section.number("percent", CLOTH_PERCENT_MIN, CLOTH_PERCENT_MAX)
    return CoverSpan(kind="shade cloth", percent=percent)


def read_watering(section: Section, inoculated: date) -> Watering:
    """Read one ``[[stack.watering]]``."""
    section.only("litres", "gallons", "every_days", "from", "to")
    if section.has("litres") == section.has("gallons"):
        section.fail("litres", "give either litres or gallons, per stack and time")
    if section.has("litres"):
        litres = section.number("litres", 0.01, 1000.0)
    else:
        gallons = section.number("gallons", 0.0025, 250.0)
        litres = parse_quantity(f"{gallons} gal", "volume")
    first, last = section.day("from"), section.day("to")
    if last < first:
        section.fail("to", f"must not be before from, {first}")
    if last < inoculated:
        section.fail("to", f"must not be before inoculated, {inoculated}")
    every_days = section.count("every_days", 1, 365)
    return Watering(litres=litres, every_days=every_days, first=first, last=last)
