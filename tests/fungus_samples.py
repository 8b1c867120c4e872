"""A stack with one fungus a case, for the tests of the mycelium."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.engine.draws import best_estimate, values_at
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.fungus import death, kernel
from climate_risk.fungus.kernel import M, make_mycelium, mycelium_parameters
from climate_risk.log.layout import CASES, MODE_TEMP, MOISTURE, SURFACE_TEMP, TEMP
from climate_risk.microclimate.radiation import sector_basis

FloatArray = npt.NDArray[np.float64]
GOOD_MOISTURE = 0.8
NAMES = ("grey oyster", "phoenix oyster", "golden oyster", "lion's mane", "shiitake")


class Stack(NamedTuple):
    """One stack with its state, one fungus a case."""

    kind: StackModel
    a: FloatArray
    parameters: FloatArray
    mycelium: FloatArray

    def warm(self, temp_c: float) -> None:
        """The same temperature everywhere."""
        self.a[TEMP] = temp_c
        self.a[SURFACE_TEMP] = temp_c
        self.a[MODE_TEMP] = 0.0

    def wet(self, moisture: float) -> None:
        """The same moisture everywhere, and the growth that it allows."""
        self.a[MOISTURE] = moisture
        kernel.respond_to_water(
            self.kind.grid,
            self.a,
            self.parameters,
            self.mycelium,
            self.kind.tables.potential_mpa,
            self.kind.curves.density_kg_m3,
        )

    def grow(self, hours: int, temp_c: npt.ArrayLike, since: int = 0) -> None:
        """Run the fronts at one temperature an hour."""
        grid = self.kind.grid
        scratch = np.empty((grid.level_m.size, CASES))
        for hour, temp in enumerate(np.broadcast_to(temp_c, hours)):
            self.a[TEMP] = temp
            kernel.run_fronts(
                grid, self.a, self.parameters, self.mycelium, since + hour, 0.9, scratch
            )

    def heat(self, hours: int, temp_c: float) -> FloatArray:
        """Doses of heat at one temperature; returns the living share of the lowest interface."""
        grid = self.kind.grid
        self.warm(temp_c)
        for _ in range(hours):
            death.kill_by_heat(grid, self.a, self.parameters, self.mycelium, sector_basis())
        return self.count()[1]

    def dry(self, days: int, moisture: float, temp_c: float = 20.0) -> FloatArray:
        """Doses of drought at one moisture; returns the living share of the lowest interface."""
        self.warm(temp_c)
        self.a[MOISTURE] = moisture
        for _ in range(days):
            death.kill_by_drought(self.kind.grid, self.a, self.parameters, self.mycelium)
        return self.count()[1]

    def count(self) -> tuple[FloatArray, FloatArray]:
        """Stress by cause, and the living share of the lowest interface, a case each."""
        stress = np.zeros((3, CASES))
        death.count_living(self.kind.grid, self.mycelium, stress)
        return stress, self.mycelium[kernel.ALIVE, 0].copy()

    def fronts_m(self) -> FloatArray:
        """(fronts, CASES) way run."""
        return self.mycelium[kernel.FRONT_M, : 2 * self.kind.grid.pieces]

    def heat_doses(self) -> FloatArray:
        """(SECTORS, interfaces * rings, CASES) half-kills by heat."""
        places = (self.kind.grid.pieces + 1) * self.kind.grid.ring_area_m2.size
        return self.mycelium[kernel.HEAT_DOSE :, :places]


def parameters_of(kind: StackModel, names: tuple[str, ...]) -> FloatArray:
    """Best estimates, a fungus a case; cases left over repeat the first."""
    found = []
    for name in names:
        stack = samples.small_stack(fungus=name, wood=kind.stack.wood)
        rows = samples.model_of(kind.record, stack).parameter_set(Scheme(canopy="open"))
        found.append(mycelium_parameters(values_at(rows, best_estimate(len(rows.unknowns())))))
    taken = [found[n if n < len(names) else 0] for n in range(CASES)]
    return np.concatenate(taken, axis=1)


def make_stack(
    record: Record, wood: str = "aspen", piece_length_m: float = 0.3, **changes: npt.ArrayLike
) -> Stack:
    """Fresh spawn of every fungus, in cases in the order of NAMES; changes are for all cases."""
    kind = samples.model_of(
        record,
        samples.small_stack(wood=wood, piece_length_m=piece_length_m, start_moisture=0.8),
    )
    parameters = parameters_of(kind, NAMES)
    for key, value in changes.items():
        parameters[getattr(M, key)] = value
    block = samples.fresh(kind, Scheme(canopy="open"))
    made = Stack(kind, block.a, parameters, make_mycelium(kind.grid))
    made.wet(GOOD_MOISTURE)
    return made
