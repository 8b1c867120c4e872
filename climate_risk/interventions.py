"""What a grower puts over a stack or pours on it, as typed values; the words are report's."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal


class LeafDay(date):
    """A day of the year as it usually is; runs move it with each year's own spring."""


class LeafOut(LeafDay):
    """Half of the leaves are out."""


class LeafFall(LeafDay):
    """Half of the leaves are down; the model has it on the same day every year."""


class WetSeason(date):
    """The first of the months that bring a stack more rain than a bag is worth there."""


CoverKind = Literal["bag", "shade cloth"]
Foot = Literal["open", "closed"]
ActKind = Literal[
    "hang shade cloth", "put bag on", "take bag off", "open foot", "close foot", "water", "move"
]


@dataclass(frozen=True, kw_only=True)
class CoverSpan:
    """A bag or a shade cloth over a stack, from one date to another."""

    kind: CoverKind
    material: str | None = None
    """Of a bag: a name in :func:`climate_risk.tables.bags`."""
    foot: Foot = "closed"
    """Of a bag: shut at the ground, or open."""
    holes_m2: float = 0.0
    """Of a bag: area of holes in its wall."""
    plies: int | None = None
    """Of a bag's wall; None: as is usual for the material."""
    percent: float | None = None
    """Of a cloth: sunlight stopped."""
    on: date | None = None
    """None: from inoculation."""
    off: date | None = None
    """None: to the end."""


@dataclass(frozen=True, kw_only=True)
class Watering:
    """The same dose at a fixed interval, per stack, between two dates."""

    litres: float
    every_days: int
    first: date
    last: date


@dataclass(frozen=True, kw_only=True)
class Act:
    """One thing to do to a stack: to a cover, with water, or with the stack itself."""

    kind: ActKind
    cover: CoverSpan | None = None
    """Of a cover: what goes on, or what has been on until then."""
    again: tuple[CoverSpan, ...] = ()
    """Of a cover that comes and goes: the later times."""
    watering: Watering | None = None
    canopy: str | None = None
    """Of a move: what the stack is carried under."""

    @property
    def day(self) -> date | None:
        """On which it is done, or done first; None of a move, which has no day of its own."""
        if self.watering is not None:
            return self.watering.first
        if self.cover is not None:
            return self.cover.off if self.kind == "take bag off" else self.cover.on
        return None
