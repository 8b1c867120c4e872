"""What an option of a comparison is called: by what tells it from the others, and no more."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date

from climate_risk.interventions import CoverSpan, Watering
from climate_risk.report.display import day, plural
from climate_risk.report.treatment import cover_words, turn_words, watering_words
from climate_risk.report.words import place_words
from climate_risk.risk.results_compare import ComparedOption, StackCompare
from climate_risk.units import Units

PLAN = "your plan"
OPTIONS_CHARTED = 15
"""Rows of a chart beside the plan's; the page's table has all."""
Words = Callable[[ComparedOption, Units], str]


def day_words(value: date) -> str:
    """``leaf fall``, or ``20 Oct``."""
    return turn_words(value) or day(value)


def dated_cover_words(cover: CoverSpan, inoculated: date) -> str:
    """``60 % shade cloth (leaf fall to leaf out)``; without dates where it is on throughout."""
    on = None if cover.on is None or cover.on <= inoculated else day_words(cover.on)
    off = None if cover.off is None else day_words(cover.off)
    if on is None and off is None:
        return cover_words(cover)
    when = f"from {on}" if off is None else f"to {off}" if on is None else f"{on} to {off}"
    return f"{cover_words(cover)} ({when})"


def _covers(option: ComparedOption, _: Units) -> str:
    found = [dated_cover_words(cover, option.build.inoculated) for cover in option.covers]
    return " and ".join(dict.fromkeys(found)) or "bare"


def _waterings(option: ComparedOption, show: Units) -> str:
    return " and ".join(dict.fromkeys(_dose(each, show) for each in option.waterings))


def _dose(watering: Watering, show: Units) -> str:
    return f"{watering_words(watering, show)} ({day(watering.first)} to {day(watering.last)})"


def _felled(option: ComparedOption, _: Units) -> str:
    weeks = option.build.felled_weeks_before
    if weeks is None:
        return "felling not told"
    return f"felled {weeks:.3g} week{'' if weeks == 1.0 else 's'} before"


def _length(metres: float, show: Units) -> str:
    return f"{show.length.of(metres):.3g} {show.length.unit}"


AXES: Mapping[str, Words] = {
    "fungus": lambda option, _: option.build.fungus,
    "wood": lambda option, _: f"on {option.build.wood}",
    "pieces": lambda option, _: plural(option.build.pieces, "piece"),
    "piece_length": lambda option, show: f"{_length(option.build.piece_length_m, show)} long",
    "diameter": lambda option, show: f"{_length(option.build.diameter_m, show)} thick",
    "start": lambda option, _: f"begun {day(option.build.inoculated)}",
    "felled": _felled,
    "canopy": lambda option, _: place_words(option.canopy),
    "cover": _covers,
    "watering": _waterings,
}
"""What options may differ by, in the order in which a name says it."""
METRIC = Units("metric")


def differ_by(stack: StackCompare) -> tuple[str, ...]:
    """Keys of :data:`AXES` by which the options of a stack differ."""
    return tuple(
        key
        for key, words in AXES.items()
        if len({words(option, METRIC) for option in stack.options}) > 1
    )


def charted(stack: StackCompare) -> tuple[ComparedOption, ...]:
    """The plan and the best of the others, so many that a chart stays readable."""
    return stack.options[: 1 + OPTIONS_CHARTED]


def option_name(option: ComparedOption, stack: StackCompare, show: Units) -> str:
    """``under conifer trees, paper bag``; of the plan ``your plan, in the open, bare``."""
    said = ", ".join(filter(None, (AXES[key](option, show) for key in differ_by(stack))))
    if option.is_plan:
        return f"{PLAN}, {said}" if said else PLAN
    return said


def in_common(stack: StackCompare, show: Units) -> list[str]:
    """What all options share and a reader may ask for: place, covers, water."""
    differ = differ_by(stack)
    shared = [key for key in ("canopy", "cover", "watering") if key not in differ]
    return [said for said in (AXES[key](stack.plan, show) for key in shared) if said]
