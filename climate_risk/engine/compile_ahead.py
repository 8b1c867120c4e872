"""Compile on the second core while the first one reads the weather.

The first run after an installation compiles the kernels, one after the other.  A second process
that takes those which come last leaves them in numba's cache, where the first one finds them.
``python -m climate_risk.engine.compile_ahead`` is that second process.
"""

from __future__ import annotations

import atexit
import subprocess
import sys
from pathlib import Path


def start() -> None:
    """Start the second process, unless a compiled hour loop lies beside its source."""
    cache = Path(__file__).parent / "__pycache__"
    if not any(cache.glob("hours.run_block-*.nbi")):
        second = subprocess.Popen(
            [sys.executable, "-m", "climate_risk.engine.compile_ahead"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        # A mistake in the input ends the first process at once: the second must not go on.
        atexit.register(second.terminate)


def main() -> None:
    """Call the kernels that the hour loop reaches last once, on a stack of two cells."""
    import numpy as np

    from climate_risk.engine import hours
    from climate_risk.fungus import death
    from climate_risk.fungus import kernel as fungus
    from climate_risk.log import azimuthal, conductances, kernel, tridiagonal, uptake
    from climate_risk.log import layout as at
    from climate_risk.log.geometry import make_grid
    from climate_risk.log.state import Curves

    grid = make_grid(
        diameter_m=0.2,
        piece_length_m=0.2,
        pieces=1,
        cap_thickness_m=0.0,
        rings=3,
        levels_per_piece=3,
        cap_levels=0,
    )
    a = np.full((at.TERMS, 64, at.CASES), 0.5)
    hour = np.zeros((at.FORCINGS, at.CASES))
    basis = np.zeros((at.MODES, at.SECTORS))
    parameters = np.ones((len(fungus.M), at.CASES))
    state = fungus.make_mycelium(grid)
    stress, booked = np.zeros((3, at.CASES)), np.zeros((2, at.CASES))
    day = np.zeros((hours.DAILY_COLUMNS, at.CASES))
    curves = Curves(500.0, 1200.0, 1.0, *(np.zeros(400) for _ in range(6)))
    line = grid.ring_area_m2
    # In the order in which the first process would come to them, but for what it is at itself.
    conductances.refresh_conductances(grid, curves, a)
    uptake.take_up(a, 0, 0, 0, 1.0)
    uptake.soak(a, grid.level_m, 0, 0, 3, 500.0)
    kernel.drying_end(a, 0, 0, 0, 1.0)
    kernel.liquid_end(a, 0, 0, 1.0)
    tridiagonal.solve_water_line(a, at.WATER_R, 0, 1, line, 500.0, 1.0)
    kernel.keep_taken(a, 0, 0, 1.0)
    kernel.through_boundary(a, hour, 0, 0, 0, 1.0, 1.0)
    kernel.book_water(a, 0, 1.0)
    kernel.drain_surface(a, 0, 0, 1.0)
    azimuthal.start_modes(a, 0, line, 1.0, 500.0, 1200.0, 3600.0)
    azimuthal.eliminate_modes(a, 0, grid.ring_in_m, grid.ring_out_m, grid.node_radius_m, 1.0)
    azimuthal.solve_mode(a, 3, 0, 0, 0.5, 2)
    fungus.respond_to_water(grid, a, parameters, state, np.zeros(400), 500.0)
    death.kill_by_heat(grid, a, parameters, state, basis)
    fungus.run_fronts(grid, a, parameters, state, 0, 0.9, np.zeros((3, at.CASES)))
    death.kill_by_drought(grid, a, parameters, state)
    death.count_living(grid, state, stress)
    hours.close_day(grid, 500.0, a, state, stress, booked, day)
    hours.note_hour(a, hour, basis, True, day)


if __name__ == "__main__":
    main()
