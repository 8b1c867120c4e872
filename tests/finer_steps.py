"""One warm season of a stack by steps shorter than an hour, in a process of its own.

The kernel takes the length of its step from ``SECONDS_PER_HOUR`` when it is compiled: a fresh
process with a compiled cache of its own sets that before it loads the kernel.  Called by
:func:`by_steps`; ``python tests/finer_steps.py STEPS FILE`` writes the season by so many steps.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import numpy.typing as npt

from climate_risk.log import layout as at

FloatArray = npt.NDArray[np.float64]
HERE = Path(__file__).parent
DAYS = 120
SUNNY_HOURS = 8
QUANTITIES = ("stack moisture", "top face moisture", "bark temperature", "core temperature")


def by_steps(steps: int, what: str = "season") -> FloatArray:
    """The season, (QUANTITIES, hours, CASES) at the end of every hour, or a step of the sun."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "season.npy"
        subprocess.run(
            [sys.executable, __file__, str(steps), str(out), what],
            check=True,
            env=os.environ | {"NUMBA_CACHE_DIR": folder, "PYTHONPATH": os.pathsep.join(sys.path)},
        )
        return np.asarray(np.load(out))


def run_season(steps: int) -> FloatArray:
    """The same in a process whose kernel has steps of that length.

    The demo farm's weather of 2023 in the open on two pieces and a cap, half of the draws in a
    bag, watered by the week; the best estimate is lane 0.
    """
    import drying
    import grids
    import log_samples as samples

    log = drying.make_log("aspen", 0.24, 0.5, 100.0)
    grid = samples.season_grid(pieces=2)
    stack = samples.Stack(grid, log.curves, log.parameters)
    record = grids.record(True)
    first = record.row(grids.FIRST)
    forcing = drying.forcing_of(log, record.weather, grids.SITE, 1.0)[first : first + 24 * DAYS]
    forcing[:, at.F_BAG] = np.arange(at.CASES) % 2
    forcing[8 :: 24 * 7, at.F_WATERING] = 2.0
    forcing[:, [at.F_RAIN, at.F_WATERING]] /= steps
    a, seen = samples.start(stack, 10.0), []
    for hour, row in enumerate(forcing):
        rows = np.repeat(row[None], steps, axis=0)
        samples.run(stack, a, rows, first_hour=hour * steps)
        moisture = samples.cells(stack, a, at.MOISTURE)
        top = grid.interface_level[-1]
        seen.append(
            (
                100.0 * samples.mean_over_stack(stack, moisture),
                100.0 * samples.mean_over_rings(stack, moisture[top - 1 : top + 1].mean(axis=0)),
                a[at.SURFACE_TEMP, 0].copy(),
                samples.cells(stack, a, at.TEMP)[2, 0].copy(),
            )
        )
    return np.asarray(seen).transpose(1, 0, 2)


def run_sun_step(steps: int) -> FloatArray:
    """(hours, sectors) outermost ring of a log on which 600 W/m2 of beam fall at once [degC].

    A night of rest at 20 degC first; tight bark, so that heat alone moves.
    """
    import log_samples as samples

    from climate_risk.log import layout as at

    parameters = samples.make_parameters(
        start_moisture=0.28, bark_resistance_s_m=samples.SEALED_S_M,
        barrier_vapour_resistance_s_m=samples.SEALED_S_M,
    )  # fmt: skip
    stack = samples.Stack(samples.season_grid(2), samples.make_curves(), parameters)
    forcing = samples.make_forcing(24 + SUNNY_HOURS, air_temp=20.0, convection=12.0)
    forcing[:, at.F_UNCUT] = 1.0
    forcing[24:, at.F_SUN_SIDE] = 600.0 / np.pi
    forcing[24:, at.F_BEAM_SIDE] = 600.0
    a, modes, seen = samples.start(stack, 20.0), samples.girth_modes(180.0), []
    for hour, row in enumerate(forcing):
        rows = np.repeat(row[None], steps, axis=0)
        samples.run(stack, a, rows, modes, first_hour=hour * steps)
        seen.append(samples.sector_temps(stack, a)[:, -1, 0])
    return np.asarray(seen[24:])


if __name__ == "__main__":
    from climate_risk import constants

    steps = int(sys.argv[1])
    constants.SECONDS_PER_HOUR = 3600.0 / steps
    work = {"season": run_season, "sun": run_sun_step}[sys.argv[3]]
    np.save(sys.argv[2], work(steps))
