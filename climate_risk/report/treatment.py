"""Covers, waterings and acts in trade words, amounts in the units asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from climate_risk.interventions import (
    Act,
    ActKind,
    CoverSpan,
    LeafFall,
    LeafOut,
    Watering,
    WetSeason,
)
from climate_risk.report.display import full_day, plural
from climate_risk.units import LITRES_PER_GALLON, Units

DAYS_PER_WEEK = 7
WHY: Mapping[ActKind, str] = {
    "hang shade cloth": "less sun and wind: cooler bark, slower drying",
    "put bag on": "damper, stiller air round the wood, though less rain",
    "take bag off": "rain soaks in through the cap",
    "open foot": "air moves under the bag: cooler, less damp",
    "close foot": "the ground's damp stays under the bag",
    "water": "what the cap takes up; most of a dose runs off",
    "move": "the sun, wind and rain of the other stand",
}


TURNS: Mapping[type[date], str] = {
    LeafOut: "leaf out",
    LeafFall: "leaf fall",
    WetSeason: "the wet months",
}
"""What days on which the year turns are called."""


def volume(litres: float, show: Units) -> str:
    """``4 L``; where gallons are asked for ``1 gal (4 L)``.

    Gallons are to the nearest quarter, below one to two digits.
    """
    metric = f"{litres:.3g} L"
    if show.system != "us":
        return metric
    gallons = litres / LITRES_PER_GALLON
    shown = f"{gallons:.2g}" if gallons < 1.0 else f"{round(4.0 * gallons) / 4.0:g}"
    return f"{shown} gal ({metric})"


def turn_words(value: date) -> str:
    """What turns in the year on a day: ``leaf fall``; empty for a plain date."""
    return TURNS.get(type(value), "")


def _when(word: str, value: date | None) -> str:
    """`` from leaf fall (20 Oct 2026)``; empty without a day."""
    if value is None:
        return ""
    turn = turn_words(value)
    return f" {word} {turn} ({full_day(value)})" if turn else f" {word} {full_day(value)}"


def cover_words(cover: CoverSpan) -> str:
    """``paper bag``, ``60 % shade cloth``."""
    if cover.kind == "bag":
        return f"{cover.material} bag{' open at the foot' if cover.foot == 'open' else ''}"
    return f"{cover.percent:g} % shade cloth"


def covers_words(covers: Sequence[CoverSpan], bare: str) -> str:
    """``paper bag and 60 % shade cloth``, or what a bare stack is called."""
    return " and ".join(dict.fromkeys(map(cover_words, covers))) or bare


def covers_key(covers: Sequence[CoverSpan]) -> str:
    """Covers as a yard file's options have them: ``paper bag + shade cloth 60``, ``none``."""
    keys = [
        f"{cover.material} bag" if cover.kind == "bag" else f"shade cloth {cover.percent:g}"
        for cover in covers
    ]
    return " + ".join(dict.fromkeys(keys)) or "none"


def watering_words(watering: Watering, show: Units) -> str:
    """``1 gal (4 L) every 7 days``."""
    return f"{volume(watering.litres, show)} every {plural(watering.every_days, 'day')}"


def waterings_words(waterings: Sequence[Watering], show: Units) -> str:
    """Each dose once; empty for none."""
    return " and ".join(dict.fromkeys(watering_words(w, show) for w in waterings))


def waterings_key(waterings: Sequence[Watering]) -> str:
    """Waterings as a yard file's options have them: ``4 L every 7 days``, ``none``."""
    doses = dict.fromkeys(f"{w.litres:.3g} L every {w.every_days} days" for w in waterings)
    return " + ".join(doses) or "none"


def act_words(act: Act, show: Units) -> str:
    """``hang 60 % shade cloth``, ``water 1 gal (4 L) a stack every 7 days for 12 weeks``."""
    if act.kind == "water" and act.watering is not None:
        dose = act.watering
        weeks = round(((dose.last - dose.first).days + 1) / DAYS_PER_WEEK)
        each = f"a stack every {plural(dose.every_days, 'day')}"
        return f"water {volume(dose.litres, show)} {each} for {plural(weeks, 'week')}"
    if act.kind == "move":
        return (
            f"move it {'into the open' if act.canopy == 'open' else f'under {act.canopy} trees'}"
        )
    if act.kind == "take bag off" or act.cover is None:
        return "take the bag off and let the rain in"
    if act.kind in ("open foot", "close foot"):
        return f"{act.kind.partition(' ')[0]} the foot of the bag"
    until = _when("until", act.cover.off)
    if act.kind == "put bag on":
        return f"put a {cover_words(act.cover)} on{until}"
    on = act.cover.on if act.cover.on and turn_words(act.cover.on) else None
    again = ", then each winter from leaf fall to leaf out" if act.again else ""
    return f"hang {cover_words(act.cover)}{_when('from', on)}{until}{again}"


def acts_words(acts: Sequence[Act], show: Units) -> str:
    """One act, or two joined by *and*."""
    return " and ".join(act_words(act, show) for act in acts)
