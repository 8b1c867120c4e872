"""Covers and waterings as a yard file writes them: of a stack, and as options to compare."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import cast

from climate_risk.interventions import CoverSpan, Foot, Watering
from climate_risk.tables import bags, find
from climate_risk.toml_section import Section
from climate_risk.units import parse_quantity

__all__ = [
    "CompareOptions",
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

_CLOTH = re.compile(r"shade cloth\s+(\d+(?:\.\d+)?)\s*%?", re.IGNORECASE)
_BAG = re.compile(r"(.+?)\s+bag", re.IGNORECASE)
_WATERING = re.compile(r"(.+?)\s+every\s+(\d+)\s+days?", re.IGNORECASE)
_COVER_HELP = 'use none, paper bag, plastic bag or shade cloth 60, joined by " + "'


@dataclass(frozen=True, kw_only=True)
class CoverOption:
    """Covers to compare; no spans is a bare stack, and the spans carry no dates."""

    spans: tuple[CoverSpan, ...] = ()


@dataclass(frozen=True, kw_only=True)
class WateringOption:
    """A watering to compare; 0 litres is none."""

    litres: float = 0.0
    every_days: int = 1


@dataclass(frozen=True, kw_only=True)
class CompareOptions:
    """What ``compare`` sets against each other."""

    canopies: tuple[str, ...]
    covers: tuple[CoverOption, ...]
    waterings: tuple[WateringOption, ...]


def parse_cover_option(text: str) -> CoverOption:
    """Read covers such as ``paper bag + shade cloth 60``.

    Raises
    ------
    ValueError
        A part is no cover, or a kind stands twice; the message says what is accepted.
    InputError
        No such bag.
    """
    if text.strip().casefold() == "none":
        return CoverOption()
    spans = tuple(_cover(part.strip()) for part in text.split("+"))
    if len({span.kind for span in spans}) < len(spans):
        raise ValueError(f'"{text}" has two covers of one kind')
    return CoverOption(spans=spans)


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
        return CoverSpan(kind="bag", material=find(bag[1], bags(), "bag").name)
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


def read_cover(section: Section, inoculated: date) -> CoverSpan:
    """Read one ``[[stack.cover]]``."""
    section.only("kind", "material", "foot", "holes", "plies", "percent", "on", "off")
    on = section.day("on") if section.has("on") else None
    off = section.day("off") if section.has("off") else None
    if off is not None and off <= (on or inoculated):
        section.fail("off", f"must be after {'on' if on else 'inoculated'}, {on or inoculated}")
    if section.choice("kind", ("bag", "shade cloth")) == "bag":
        if section.has("percent"):
            section.fail("percent", "a bag has a material, not a percent")
        return CoverSpan(
            kind="bag",
            material=section.named("material", bags(), "bag").name,
            foot=cast(Foot, section.choice("foot", ("closed", "open"), default="closed")),
            holes_m2=section.quantity("holes", "area", ("0 cm2", "2000 cm2"), "0 cm2"),
            plies=section.count("plies", 1, 4) if section.has("plies") else None,
            on=on,
            off=off,
        )
    for key in ("material", "foot", "holes", "plies"):
        if section.has(key):
            section.fail(key, f"a shade cloth has a percent, not {key}")
    percent = section.number("percent", CLOTH_PERCENT_MIN, CLOTH_PERCENT_MAX)
    return CoverSpan(kind="shade cloth", percent=percent, on=on, off=off)


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
