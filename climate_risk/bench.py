"""What a run costs: ``python -m climate_risk.bench``.

Absolute figures drift with the machine; the ratios, taken in one process, are what to compare.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np
from numba import njit

from climate_risk import api
from climate_risk.demo_files import demo_folder
from climate_risk.engine.blocks import advance, new_blocks
from climate_risk.engine.draws import best_estimate, latin_hypercube
from climate_risk.engine.stack import Scheme, stack_model
from climate_risk.log.layout import CASES
from climate_risk.risk.ensemble import jobs_for, start_rows, usable_years

REPEATS = 3
FMA_CHAINS = 16
FMA_STEPS = 4_000_000


@njit(cache=True, fastmath=True)
def _multiply_add(seed: float, steps: int) -> float:  # pragma: no cover - compiled
    """Independent chains of multiply-add, for the machine's peak on one thread."""
    a = np.full(4 * FMA_CHAINS, seed)
    for _ in range(steps):
        for n in range(4 * FMA_CHAINS):
            a[n] = a[n] * 0.999999 + 1e-9
    return float(a.sum())


def best_of(work: Callable[[], object]) -> float:
    """Shortest of a few timings [s]."""
    times = []
    for _ in range(REPEATS):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


def main() -> None:
    """Print the table."""
    print(f"help, whole process        {best_of(_help) * 1e3:9.0f} ms")
    yard = api.read_yard(demo_folder() / "yard.toml")
    begin = time.perf_counter()
    weather = api.load_weather(yard)
    print(f"weather, {len(weather.table)} days      {(time.perf_counter() - begin) * 1e3:9.0f} ms")
    stack = yard.stacks[0]
    kind = stack_model(stack, weather.record, yard.openness, yard.canopy)
    scheme = Scheme(canopy=yard.canopy, covers=stack.covers)
    begin = time.perf_counter()
    weather.record.table(scheme.canopy, kind.openness_under(scheme.canopy), stack.diameter_m)
    print(f"stand table of the record  {(time.perf_counter() - begin) * 1e3:9.0f} ms")
    years = usable_years(kind, kind.start_day, kind.horizon)
    unknowns = len(kind.parameter_set(scheme).unknowns())
    cells = kind.grid.level_m.size * kind.grid.ring_area_m2.size

    def block(count: int) -> None:
        sample = np.concatenate([best_estimate(unknowns), latin_hypercube(3, unknowns, 1)])
        blocks = new_blocks(kind, scheme, np.tile(sample, (len(years), 1)))
        rows = start_rows(kind, years, len(sample), kind.start_day, 0)
        advance(jobs_for(kind, scheme, blocks, rows, 0, kind.hours)[:count])

    begin = time.perf_counter()
    block(1)
    print(f"first block, with compiling{(time.perf_counter() - begin) * 1e3:9.0f} ms")
    one = best_of(lambda: block(1))
    two = best_of(lambda: block(2))
    per_run_hour = one / (CASES * kind.hours)
    _multiply_add(1.0, 10)
    peak = best_of(lambda: _multiply_add(1.0, FMA_STEPS)) / (4 * FMA_CHAINS * FMA_STEPS)
    print(f"one run-hour, one thread   {per_run_hour * 1e9:9.0f} ns  ({cells} cells)")
    print(f"  per cell                 {per_run_hour / cells * 1e9:9.2f} ns")
    print(f"  in multiply-adds at peak {per_run_hour / cells / peak:9.1f} a cell")
    print(f"two blocks on two threads  {two / one:9.2f} x one block")
    blocks = -(-len(years) * 4 // CASES)
    seconds = blocks / 2 * two
    print(f"{len(years)} years x 4 draws, an option {seconds:7.2f} s  (calculated)")


def _help() -> None:
    subprocess.run(
        [sys.executable, "-m", "climate_risk", "--help"], check=True, capture_output=True
    )


if __name__ == "__main__":
    main()
