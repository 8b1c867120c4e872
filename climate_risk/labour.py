"""The ``[costs.minutes]`` and ``[water]`` parts of a yard file, as typed values."""

from __future__ import annotations

from dataclasses import dataclass, replace

from climate_risk.tables import model
from climate_risk.toml_section import Section

LONGEST_MINUTES = 600.0
MOST_LITRES = 1e6
VISIT = "watering_visit"


@dataclass(frozen=True, kw_only=True)
class Minutes:
    """Of work on one stack, each time."""

    watering_visit: float
    """One stack's share of a round with water."""
    cloth_on: float
    cloth_off: float
    bag_on: float
    bag_off: float
    move: float
    """Carrying one stack to another stand."""
    given: tuple[str, ...] = ()
    """Names that the grower wrote; all others are the table's."""


def read_minutes(section: Section) -> Minutes:
    """Read ``[costs.minutes]``; a watering visit is one round over all stacks of the yard."""
    rows = model()
    cover = rows.minutes_per_cover.value
    usual = {
        VISIT: rows.minutes_per_watering.value,
        "cloth_on": cover,
        "cloth_off": cover,
        "bag_on": cover,
        "bag_off": cover,
        "move": rows.minutes_per_move.value,
    }
    section.only(*usual)
    read = {key: section.number(key, 0.0, LONGEST_MINUTES, value) for key, value in usual.items()}
    return Minutes(**read, given=tuple(filter(section.has, usual)))


def shared_by(minutes: Minutes, stacks: int) -> Minutes:
    """The same, a round with water that the grower gave shared out over all stacks."""
    if VISIT not in minutes.given:
        return minutes
    return replace(minutes, watering_visit=minutes.watering_visit / stacks)


def read_max_litres(section: Section) -> float | None:
    """Read ``[water] max_litres_per_week``, for all stacks together; None: no bound."""
    section.only("max_litres_per_week")
    if not section.has("max_litres_per_week"):
        return None
    return section.number("max_litres_per_week", 0.0, MOST_LITRES)
