"""What a region's run found: plain arrays that report turns into a map, a page and a dataset."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from climate_risk.interventions import CoverSpan, Watering

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

RUN, SEA, MISSING, SHORT = range(4)
"""Of a cell: run; sea; without temperature or rain; fewer past years than a chance needs."""
STATES = ("run", "sea", "missing", "short")


@dataclass(frozen=True)
class Axis:
    """A coordinate or a grid mapping of the file: name, values, and attributes as written."""

    name: str
    values: FloatArray
    attributes: dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where the cells lie; arrays of shape (rows, columns)."""

    axes: tuple[Axis, Axis]
    """Of rows and of columns."""
    latitude: FloatArray
    longitude: FloatArray
    """Degrees east, -180 to 180."""
    elevation_m: FloatArray
    has_elevation: bool
    """False where every cell took the yard's."""
    regular: bool
    """True where rows are of one latitude and columns of one longitude."""
    mapping: Axis | None
    """The projection, where the file names one."""


@dataclass(frozen=True, kw_only=True)
class MapOption:
    """One canopy x cover x watering, the same in every cell."""

    canopy: str
    covers: tuple[CoverSpan, ...]
    waterings: tuple[Watering, ...]


@dataclass(frozen=True, kw_only=True)
class StackMap:
    """One kind of stack over the region; NaN where a cell was not run, or is short."""

    name: str
    fungus: str
    wood: str
    horizon_months: int
    fungus_caution: str
    chance: FloatArray
    """(options, rows, columns) of loss, 0 to 1."""
    low: FloatArray
    high: FloatArray
    """Ends of the 80 % interval."""
    draw_error: FloatArray
    """Standard error of the chance that the number of draws leaves."""
    best: FloatArray
    """(rows, columns) place of the best option, as `compare` ranks them."""
    years: FloatArray
    """(rows, columns) past years with weather of the whole season."""

    def best_chance(self) -> FloatArray:
        """(rows, columns) chance of loss under each cell's best option."""
        place = np.nan_to_num(self.best).astype(np.int64)
        taken = np.take_along_axis(self.chance, place[None], axis=0)[0]
        return np.where(np.isnan(self.best), np.nan, taken)


@dataclass(frozen=True, kw_only=True)
class RegionMap:
    """All that a region's run found."""

    yard_name: str
    invented: bool
    units: str
    currency: str
    tolerated_chance: float
    fewest_years: int
    """Past years under which no chance is given."""
    slope_deg: float
    aspect_deg: float
    openness: float
    canopy: str
    inputs: dict[str, str]
    """File name -> SHA-256 of the yard file, fingerprint of the grid."""
    grid_name: str
    step: str
    first: date
    last: date
    draws: int
    place: Place
    options: tuple[MapOption, ...]
    nothing: int | None
    """Place of the option that does nothing: the yard's canopy, bare, unwatered."""
    stacks: tuple[StackMap, ...]
    state: IntArray
    """(rows, columns) :data:`RUN`, :data:`SEA`, :data:`MISSING` or :data:`SHORT`."""
    observed: FloatArray
    """(rows, columns) share of hours with temperature, humidity and rain as in the grid."""
    water_residual: float
    energy_residual: float
    notes: tuple[str, ...]
    blocks: int
    blocks_kept: int
    """Finished by an earlier run of the same inputs."""
    work: Path | None
    """Where finished blocks are kept."""

    def count(self, state: int) -> int:
        """Cells in a state."""
        return int((self.state == state).sum())

    def gain(self, stack: StackMap) -> FloatArray | None:
        """(rows, columns) how much lower the chance is under the best option than by doing
        nothing; None where doing nothing is no option."""
        if self.nothing is None:
            return None
        lower: FloatArray = stack.chance[self.nothing] - stack.best_chance()
        return lower
