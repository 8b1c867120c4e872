"""Compile on the second core while the first one reads the weather.

The first run after an installation compiles the kernels, one after the other.  A second process
that takes them from the other end leaves them in numba's cache, where the first one finds them.
``python -m climate_risk.engine.compile_ahead`` is that second process.
"""

from __future__ import annotations

import atexit
import inspect
import os
import subprocess
import sys
from pathlib import Path
from typing import Any


def start() -> None:
    """Start the second process, unless the cache holds the hour loop as it is now."""
    from climate_risk.compiled import is_kept
    from climate_risk.engine.hours import run_block

    if not is_kept(run_block):
        second = subprocess.Popen(
            [*this_python(), "-m", "climate_risk.engine.compile_ahead"],
            env=this_package(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        # A mistake in the input ends the first process at once: the second must not go on.
        atexit.register(second.terminate)


def this_python() -> list[str]:
    """The interpreter, which is not to look for packages in the working folder first.

    There may lie a copy of this one, such as the folder that it was installed from.
    """
    return [sys.executable, "-P"]


def this_package() -> dict[str, str]:
    """The environment in which a second process finds this very package, and so its cache."""
    here = str(Path(__file__).parents[2])
    path = os.pathsep.join(filter(None, (here, os.getenv("PYTHONPATH"))))
    return os.environ | {"PYTHONPATH": path}


def work_list() -> list[tuple[Any, tuple[Any, ...]]]:
    """Kernels and arguments of the types that the hour loop gives them, the last one first."""
    import numpy as np

    from climate_risk.engine import hours
    from climate_risk.fungus import death
    from climate_risk.fungus import kernel as fungus
    from climate_risk.log import (
        azimuthal,
        bag,
        conductances,
        exposure,
        kernel,
        spawn,
        tridiagonal,
        uptake,
    )
    from climate_risk.log import surface_balance as surface
    from climate_risk.log import wood_surface as wood
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
    flat, a, row = np.zeros((1, 1)), np.zeros((1, 1, 1)), np.zeros(1)
    curves = Curves(500.0, 1200.0, 1.0, row, row, row, row, row, row)
    return [
        (hours.close_day, (grid, 1.0, a, a, flat, flat, flat)),
        (death.count_living, (grid, a, flat)),
        (death.kill_by_drought, (grid, a, flat, a)),
        (fungus.note_run, (grid, a, 0, 1.0)),
        (fungus.run_fronts, (grid, a, flat, a, 0, 1.0, flat)),
        (death.kill_by_heat, (grid, a, flat, a, flat)),
        (fungus.respond_in_spawn, (grid, a, flat, a, row)),
        (fungus.respond_to_water, (grid, a, flat, a, row, 1.0)),
        (hours.note_hour, (a, flat, flat, True, flat)),
        (azimuthal.solve_mode, (a, 0, 0, 0, 1.0, 0)),
        (azimuthal.eliminate_modes, (a, 0, row, row, row, 1.0)),
        (azimuthal.start_modes, (a, 0, row, 1.0, 1.0, 1.0, 1.0)),
        (azimuthal.move_azimuthal_heat, (grid, curves, a, row, 0)),
        (kernel.book_heat, (a, flat, 0, 1.0)),
        (kernel.book_soil_heat, (a, flat, row)),
        (kernel.note_surface, (a, 0, row, 1.0)),
        (tridiagonal.settle_ice, (a, 0, 1.0)),
        (tridiagonal.conduct_heat, (a, row, row, 1.0, 1.0, 1.0, 1.0)),
        (tridiagonal.holds_ice, (a, 0)),
        (tridiagonal.eliminate_heat_lines, (a, row, row, 1.0, 1.0, 1.0)),
        (kernel.close_lines, (a, 0, 0, 0, 0, 0, 1.0)),
        (kernel.face_soil, (a, flat, 0)),
        (kernel.face_air, (a, 0, row, 1.0)),
        (kernel.surface_gain, (a, flat, 0)),
        (kernel.start_heat, (grid, curves, a, flat, 1.0)),
        (kernel.move_heat, (grid, curves, a, flat, 0)),
        (bag.settle_bag, (grid, a, flat)),
        (spawn.rims_give, (grid, a)),
        (surface.surfaces_give, (a,)),
        (spawn.exchange_spawn, (grid, curves, a)),
        (kernel.drain_surface, (a, 0, 0, 1.0)),
        (kernel.book_water, (a, 0, 1.0)),
        (uptake.soak, (a, row, 0, 0, 0, 1.0)),
        (kernel.through_boundary, (a, flat, 0, 0, 0, 1.0, 1.0)),
        (tridiagonal.solve_water_line, (a, 0, 0, 0, row, 1.0, 1.0, 0, 0, 0, 1.0)),
        (uptake.take_up, (a, 0, 0, 0, 1.0)),
        (uptake.is_dry, (a, 0, 0)),
        (tridiagonal.hold_energy, (a, 0, 0, 1.0, 1.0)),
        (kernel.move_water, (grid, curves, a, flat)),
        (wood.dry_cell, (a, 0, 0, 0, row)),
        (surface.dry_surface, (a, 0)),
        (wood.solve_wood_surface, (a, 0, 0, 0, 1.0, row)),
        (surface.exchange_conductances, (grid, curves, a)),
        (surface.wet_surface, (a, flat, 0)),
        (surface.even_girth, (a, flat)),
        (surface.meet_air, (a, flat, 0)),
        (bag.bag_vapour, (grid, a, flat)),
        (bag.bag_heat, (grid, a, flat)),
        (exposure.catch_weather, (a, flat, 0)),
        (conductances.refresh_conductances, (grid, curves, a)),
    ]


def main() -> None:
    """Compile every kernel of the list, and call none."""
    import numba

    type_of: Any = numba.typeof
    for kernel, arguments in work_list():
        inspect.signature(kernel.py_func).bind(*arguments)
        kernel.compile(tuple(type_of(each) for each in arguments))


if __name__ == "__main__":
    main()
