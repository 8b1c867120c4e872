"""What the search of acts hands to the report: acts with their worth, and what would change it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from climate_risk.interventions import Act

if TYPE_CHECKING:
    from climate_risk.risk.results import Chance, Difference


@dataclass(frozen=True, kw_only=True)
class Tried:
    """A later day on which acts were tried, and the chance of loss if they begin then."""

    day: date
    chance_mean: float
    draw_error: float | None = None
    """Standard error that the number of draws leaves; None where not known."""


@dataclass(frozen=True, kw_only=True)
class Poured:
    """Water of a set of acts, for one stack."""

    litres: float
    kept_litres: float
    """By how much more water went into the log than without the acts, mean of all runs."""


@dataclass(frozen=True, kw_only=True)
class Action:
    """A dated set of one or two things to do, and what it is worth."""

    acts: tuple[Act, ...]
    start: date
    """First day on which there is something to do."""
    latest: date | None
    """Last day tried such that it and all tried before keep the chance under the tolerance; None
    where the set is not enough."""
    chance: Chance | None
    """Of all years and draws, begun on that first day."""
    cost: float
    """Per stack, in the yard's currency: material, water and labour."""
    minutes: float = 0.0
    """Of work, per stack."""
    minutes_given: bool = True
    """False where some of the minutes are the table's, not the grower's."""
    saved: tuple[float, float, float] | None = None
    """Expected loss avoided per stack, in money: least, mean and most that it may be."""
    difference: Difference | None = None
    """To the stack as it stands."""
    to_first: Difference | None = None
    """To the first action; None of that one itself."""
    later: tuple[Tried, ...] = ()
    """Every later day tried, in order; the last may be too late."""
    water: Poured | None = None

    @property
    def too_late(self) -> Tried | None:
        """First day tried that no longer serves; None where none was found."""
        return next((t for t in self.later if self.latest and t.day > self.latest), None)

    @property
    def on_latest(self) -> Tried | None:
        """The latest day, and the chance of loss where acts begin then; None where none is."""
        if self.latest is None or self.chance is None:
            return None
        at_once = Tried(
            day=self.start, chance_mean=self.chance.mean, draw_error=self.chance.draw_error
        )
        return next((t for t in (at_once, *self.later) if t.day == self.latest), None)

    @property
    def is_best_at_once(self) -> bool:
        """Whether no later day tried leaves less of the chance."""
        least = min((t.chance_mean for t in self.later), default=1.0)
        return self.chance is None or self.chance.mean <= least


@dataclass(frozen=True, kw_only=True)
class AlsoTried:
    """Acts that were tried on few draws and left there."""

    acts: tuple[Act, ...]
    helps: bool


@dataclass(frozen=True, kw_only=True)
class Sign:
    """Something to observe that would change the advice: on its two sides the chance of loss
    lies on different sides of the tolerance."""

    acts: tuple[Act, ...]
    """What is then done; none: the stack as it stands."""
    mass_kg: float | None = None
    """Of a piece, today."""
    mass_of_fresh: float | None = None
    """The same as a share of what it weighed at inoculation."""
    unknown: str | None = None
    """Group and field of a table row, in place of a mass."""
    where_low: float
    """Chance of loss where the piece is lighter, or in the lowest third of the unknown."""
    where_high: float
    runs: tuple[int, int]
    """On the two sides."""


@dataclass(frozen=True, kw_only=True)
class Advice:
    """All that the search of acts found for one stack."""

    actions: tuple[Action, ...] = ()
    also_tried: tuple[AlsoTried, ...] = ()
    signs: tuple[Sign, ...] = ()
