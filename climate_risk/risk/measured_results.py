"""What a grower's own readings changed: plain frozen records for the report."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from climate_risk.measured_options import Ends

if TYPE_CHECKING:
    from climate_risk.risk.results import Chance

FloatArray = npt.NDArray[np.float64]
Band = tuple[float, float, float]
"""10th, 50th, 90th percentile."""
Reading = Literal["weighing", "bark thermometer", "bag hygrometer"]
LeftOutFor = Literal["unlike the others", "after the last day"]


@dataclass(frozen=True, kw_only=True)
class MovedParameter:
    """An unknown before and after the readings."""

    unknown: str
    """Group and field of its table row, such as ``wood.bark_resistance_s_m``."""
    unit: str
    prior: Band
    posterior: Band


@dataclass(frozen=True, kw_only=True)
class WeighedDay:
    """One weighing beside what the simulation said of it."""

    day: date
    mass_kg: float
    before_kg: Band
    """Without the readings."""
    after_kg: Band
    """With all that were kept."""
    left_out: LeftOutFor | None
    """Why it was not used; None: it was."""


@dataclass(frozen=True, kw_only=True)
class WitnessTrack:
    """The piece day by day: 10th, 50th and 90th percentile, each (3, days)."""

    first: date
    mass_before_kg: FloatArray
    """Without the readings: what size, wood and weather say."""
    mass_after_kg: FloatArray
    moisture_before_pct: FloatArray
    """Water over oven-dry wood."""
    moisture_after_pct: FloatArray


@dataclass(frozen=True, kw_only=True)
class HeldOut:
    """Error of readings that were held out in turn, root mean square."""

    count: int
    before_kg: float
    """With the numbers of the tables."""
    after_kg: float
    """With the numbers that the other weighings favour."""


@dataclass(frozen=True, kw_only=True)
class NextReading:
    """What one more kind of reading would settle."""

    kind: Reading
    of_loss: float
    """Expected share, 0 to 1, of the model's part of the doubt whether a stack is lost; 0 where
    none or all of the runs lose it."""
    of_moisture: float
    """The same of how dry the driest face gets."""


@dataclass(frozen=True, kw_only=True)
class StackMeasured:
    """A stack's readings, what they moved, and which would tell most next."""

    witness_length_m: float
    witness_diameter_m: float
    witness_ends: Ends
    has_disc: bool
    """Whether a disc's oven-dry mass was given."""
    dry_mass_kg: Band | None
    """Of the piece, after; None without weighings."""
    weighings: tuple[WeighedDay, ...]
    weighings_used: bool
    """False: held-out weighings were met no better, so they were set aside."""
    track: WitnessTrack | None
    """None without weighings."""
    bag_days: int
    """Days of readings in the bag that were used."""
    bark_days: int
    held_out: HeldOut | None
    """None with fewer than three weighings."""
    used: bool
    """False: no reading counts, so nothing was changed."""
    draws: int
    effective_draws: float
    """Draws that count after weighing."""
    power: float
    """Of the likelihood, at most 1; below 1 the readings were trusted less."""
    parameters: tuple[MovedParameter, ...]
    """The bark's resistance, then those that moved, most first."""
    chance_before: Chance | None
    chance_after: Chance | None
    lost_before: float
    """Share of runs lost, 0 to 1."""
    lost_after: float
    next_readings: tuple[NextReading, ...]
    """The most telling first."""

    @property
    def left_out(self) -> tuple[WeighedDay, ...]:
        """Weighings that were not used."""
        return tuple(w for w in self.weighings if w.left_out is not None)
