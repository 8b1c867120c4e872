"""A stack with one fungus a lane, for the tests of the mycelium."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.engine.draws import best_estimate, mycelium_lanes, values_at
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.fungus import kernel
from climate_risk.fungus.kernel import Mycelium, make_run
from climate_risk.log.kernel import LANES, MODE_TEMP, MOISTURE, SURFACE_TEMP, TEMP
from climate_risk.microclimate.shade import sector_basis

FloatArray = npt.NDArray[np.float64]
GOOD_MOISTURE = 0.8
NAMES = ("grey oyster", "phoenix oyster", "golden oyster", "lion's mane", "shiitake")


class Stack(NamedTuple):
    """One stack with its state, one fungus a lane."""

    kind: StackModel
    a: FloatArray
    mycelium: Mycelium
    run: FloatArray

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
            np.stack(self.mycelium),
            self.run,
            self.kind.tables.potential_mpa,
            self.kind.curves.density_kg_m3,
        )

    def grow(self, hours: int, temp_c: npt.ArrayLike, since: int = 0) -> None:
        """Run the fronts at one temperature an hour."""
        grid = self.kind.grid
        scratch = np.empty((grid.level_m.size, LANES))
        mycelium = np.stack(self.mycelium)
        for hour, temp in enumerate(np.broadcast_to(temp_c, hours)):
            self.a[TEMP] = temp
            kernel.run_fronts(grid, self.a, mycelium, self.run, since + hour, 0.9, scratch)

    def heat(self, hours: int, temp_c: float) -> FloatArray:
        """Doses of heat at one temperature; returns the living share of the lowest face."""
        grid = self.kind.grid
        self.warm(temp_c)
        for _ in range(hours):
            kernel.kill_by_heat(grid, self.a, np.stack(self.mycelium), self.run, sector_basis())
        return self.count()[1]

    def dry(self, days: int, moisture: float, temp_c: float = 20.0) -> FloatArray:
        """Doses of drought at one moisture; returns the living share of the lowest face."""
        self.warm(temp_c)
        self.a[MOISTURE] = moisture
        for _ in range(days):
            kernel.kill_by_drought(self.kind.grid, self.a, np.stack(self.mycelium), self.run)
        return self.count()[1]

    def count(self) -> tuple[FloatArray, FloatArray]:
        """Stress by cause, and the living share of the lowest face, a lane each."""
        stress = np.zeros((2, LANES))
        kernel.count_living(self.kind.grid, self.run, stress)
        return stress, self.run[kernel.ALIVE, 0].copy()

    def fronts_m(self) -> FloatArray:
        """(fronts, LANES) way run."""
        return self.run[kernel.FRONT_M, : 2 * self.kind.grid.pieces]

    def heat_doses(self) -> FloatArray:
        """(SECTORS, faces * rings, LANES) half-kills by heat."""
        places = (self.kind.grid.pieces + 1) * self.kind.grid.ring_area_m2.size
        return self.run[kernel.HEAT_DOSE :, :places]


def mycelium_of(kind: StackModel, names: tuple[str, ...]) -> Mycelium:
    """Best estimates, a fungus a lane; lanes left over repeat the first."""
    lanes = []
    for name in names:
        stack = samples.small_stack(fungus=name, wood=kind.stack.wood)
        rows = samples.model_of(kind.record, stack).rows(Scheme(canopy="open"))
        lanes.append(mycelium_lanes(values_at(rows, best_estimate(len(rows.unknowns())))))
    taken = [lanes[n if n < len(names) else 0] for n in range(LANES)]
    return Mycelium(
        *(np.concatenate([getattr(one, field) for one in taken]) for field in Mycelium._fields)
    )


def make_stack(
    record: Record, wood: str = "aspen", piece_length_m: float = 0.3, **changes: npt.ArrayLike
) -> Stack:
    """Fresh spawn of every fungus, in lanes in the order of NAMES; changes are for all lanes."""
    kind = samples.model_of(
        record,
        samples.small_stack(wood=wood, piece_length_m=piece_length_m, start_moisture=0.8),
    )
    mycelium = mycelium_of(kind, NAMES)._replace(
        **{key: np.broadcast_to(value, LANES).copy() for key, value in changes.items()}
    )
    block = samples.fresh(kind, Scheme(canopy="open"))
    made = Stack(kind, block.a, mycelium, make_run(kind.grid))
    made.wet(GOOD_MOISTURE)
    return made
