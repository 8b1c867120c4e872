"""The ``[compare]`` table of a yard file: lists of what is set against the plan as written."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

from climate_risk.errors import InputError
from climate_risk.options import (
    CoverOption,
    WateringOption,
    parse_cover_option,
    parse_watering_option,
)
from climate_risk.parameter import AnyRow, find
from climate_risk.tables import canopies, fungi, woods
from climate_risk.toml_section import Section
from climate_risk.units import parse_quantity

AS_WRITTEN = "as written"
DEFAULTS: Mapping[str, tuple[str, ...]] = {
    "canopies": ("open", "deciduous", "conifer"),
    "covers": ("none", "paper bag", "shade cloth 60", "paper bag + shade cloth 60"),
    "waterings": ("none",),
}
"""What a yard file without this table compares."""
OPTIONS_MAX = 120
"""Options of one stack that are run (our own choice)."""
PIECE_LENGTHS, DIAMETERS, PIECES_MAX = ("5 cm", "150 cm"), ("5 cm", "60 cm"), 10
"""What a stack may be built of."""
SHIFT_WEEKS_MAX = 26.0
FELLED_WEEKS_MAX = 104.0

Entry = TypeVar("Entry")


@dataclass(frozen=True, kw_only=True)
class CompareOptions:
    """What ``compare`` sets against each other; in each list None is as the stack has it."""

    canopies: tuple[str | None, ...] = (None,)
    covers: tuple[CoverOption | None, ...] = (None,)
    waterings: tuple[WateringOption | None, ...] = (None,)
    start_weeks: tuple[float | None, ...] = (None,)
    """Weeks after the stack's own day of inoculation; below zero before it."""
    felled_weeks_before: tuple[float | None, ...] = (None,)
    """Weeks from felling to inoculation."""
    piece_lengths_m: tuple[float | None, ...] = (None,)
    diameters_m: tuple[float | None, ...] = (None,)
    pieces: tuple[int | None, ...] = (None,)
    """Pieces in a stack: with their length the way between spawn faces and the height."""
    fungi: tuple[str | None, ...] = (None,)
    woods: tuple[str | None, ...] = (None,)


def read_compare(section: Section) -> CompareOptions:
    """Read ``[compare]``: a list left out is as the stack has it, no table is the usual set.

    Raises
    ------
    InputError
        An entry is none of its kind or stands twice, or the lists make more options than
        :data:`OPTIONS_MAX`.
    """
    section.only(*(field.name.removesuffix("_m") for field in fields(CompareOptions)))
    if not section.raw:
        usual = {key: list(words) for key, words in DEFAULTS.items()}
        section = replace(section, raw=usual)
    weeks, felled, pieces = SHIFT_WEEKS_MAX, FELLED_WEEKS_MAX, PIECES_MAX
    options = CompareOptions(
        canopies=_words(section, "canopies", _name_in(canopies(), "canopy")),
        covers=_words(section, "covers", parse_cover_option),
        waterings=_words(section, "waterings", parse_watering_option),
        start_weeks=_numbers(section, "start_weeks", (-weeks, weeks)),
        felled_weeks_before=_numbers(section, "felled_weeks_before", (0.0, felled)),
        piece_lengths_m=_words(section, "piece_lengths", _length_in(*PIECE_LENGTHS)),
        diameters_m=_words(section, "diameters", _length_in(*DIAMETERS)),
        pieces=_numbers(section, "pieces", (1, pieces), whole=True),
        fungi=_words(section, "fungi", _name_in(fungi(), "fungus")),
        woods=_words(section, "woods", _name_in(woods(), "wood")),
    )
    _refuse_too_many(section, options)
    return options


def refuse_felling(section: Section, weeks: tuple[float | None, ...], stack: str) -> None:
    """Refuse weeks since felling where a stack's moisture is given and so settles the matter."""
    if weeks != (None,):
        section.fail(
            "felled_weeks_before",
            f'stack "{stack}" gives start_moisture, so that its felling does not matter; accepted '
            "is one of the two",
        )


def _refuse_too_many(section: Section, options: CompareOptions) -> None:
    counts = {
        field.name.removesuffix("_m"): len(getattr(options, field.name))
        for field in fields(options)
    }
    made = math.prod(counts.values())
    if made > OPTIONS_MAX:
        lists = " x ".join(f"{n} {name.replace('_', ' ')}" for name, n in counts.items() if n > 1)
        section.fail(
            max(counts, key=lambda name: counts[name]),
            f"{lists} make {made} options, accepted are up to {OPTIONS_MAX}; shorten a list",
        )


def _words(section: Section, key: str, parse: Callable[[str], Entry]) -> tuple[Entry | None, ...]:
    if not section.has(key):
        return (None,)
    entries: list[Entry | None] = []
    for text in section.list_of_words(key):
        try:
            entries.append(None if text.strip().casefold() == AS_WRITTEN else parse(text))
        except (ValueError, InputError) as error:
            section.fail(key, str(error))
    if len(entries) != len(set(entries)):
        section.fail(key, "an entry stands twice")
    return tuple(entries)


def _numbers(
    section: Section, key: str, bounds: tuple[float, float], *, whole: bool = False
) -> tuple[Any, ...]:
    if not section.has(key):
        return (None,)
    numbers = section.list_of_numbers(key, *bounds)
    if not whole:
        return numbers
    if not all(number.is_integer() for number in numbers):
        section.fail(key, "each must be a whole number")
    return tuple(int(number) for number in numbers)


def _name_in(rows: Mapping[str, AnyRow], what: str) -> Callable[[str], str]:
    return lambda word: find(word, rows, what).name


def _length_in(low: str, high: str) -> Callable[[str], float]:
    def read(text: str) -> float:
        size = parse_quantity(text, "length")
        if not parse_quantity(low, "length") <= size <= parse_quantity(high, "length"):
            raise ValueError(f'"{text}": must be {low} to {high}')
        return size

    return read
