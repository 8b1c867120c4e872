"""What the machine can do: multiply-adds and memory, measured by compiled loops."""

from __future__ import annotations

import os
import platform
import sys
from pathlib import Path

import numpy as np
from numba import njit

from climate_risk.bench.season import best_of

CHAINS = 64
"""Multiply-adds that wait for none of the others: enough for every machine's vector units."""
STEPS = 4_000_000
TRIAD_NUMBERS = 8_000_000


@njit(cache=True, fastmath=True)
def _multiply_add(seed: float, steps: int) -> float:  # pragma: no cover - compiled
    a = np.full(CHAINS, seed)
    for _ in range(steps):
        for n in range(CHAINS):
            a[n] = a[n] * 0.999999 + 1e-9
    return float(a.sum())


def multiply_adds_per_s(steps: int = STEPS) -> float:
    """Multiply-adds a second on one thread, at the peak."""
    _multiply_add(1.0, 10)
    return CHAINS * steps / best_of(lambda: _multiply_add(1.0, steps))


def triad_gb_s(numbers: int = TRIAD_NUMBERS) -> float:
    """Memory bandwidth of ``a = b + s c`` on arrays no cache holds, two passes, one thread."""
    a, b, c = (np.ones(numbers) for _ in range(3))

    def triad() -> None:
        np.multiply(c, 3.0, out=a)
        np.add(a, b, out=a)

    return 5 * a.nbytes / best_of(triad) / 1e9


def processor() -> str:
    """What the machine calls its processor."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    return next((x.split(":")[1].strip() for x in lines if x.startswith("model name")), "")


def waiting() -> float | None:
    """Tasks that wanted a core in the last minute; None where the system does not say."""
    return os.getloadavg()[0] if hasattr(os, "getloadavg") else None


def measure() -> dict[str, str | float | None]:
    """The machine's limits, and what it is."""
    import numba

    return {
        "processor": processor(),
        "cores": os.cpu_count() or 1,
        "waiting_before": waiting(),
        "python": sys.version.split()[0],
        "numba": numba.__version__,
        "peak_gflop_s": 2e-9 * multiply_adds_per_s(),
        "triad_gb_s": triad_gb_s(),
    }
