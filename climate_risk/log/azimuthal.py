"""How bark heat differs round the girth, by azimuthal modes.

Heat in a cylinder without ends, ``rho c T_t = div(k grad T)``, its temperature split into modes
``T_m(r) cos(m phi)`` and ``sin(m phi)``.  In rings, and sectors of arc ``w``, over a step::

    C_i/dt T_i - g_(i-1) (T_(i-1) - T_i) - g_i (T_(i+1) - T_i) + d_m k_i (dr_i / r_i) T_i
        = C_i/dt T_i(old)

with ``d_m = 4 sin^2(m w / 2) / w^2`` for conduction between sectors, summed over the girth.  The
beam's mode drives the bark's surface; heat-loss coefficient and evaporation damp it.  The eight
sectors of the beam's half-cosine are carried as their exact discrete modes (the third vanishes
by symmetry).  Modes have no mean, so they hold no heat of the budget.
"""

from __future__ import annotations

import numpy as np
from numba import prange

from climate_risk.compiled import assume, compiled, inlined
from climate_risk.constants import SECONDS_PER_HOUR, WATER_HEAT_CAPACITY_J_KG_K
from climate_risk.log import layout as at
from climate_risk.log.formulas import FloatArray
from climate_risk.log.geometry import Grid
from climate_risk.log.state import Curves

FAINTEST_MODE_W = 1e-200
"""Keeps modes of long nights from fading into denormal numbers, which are slow."""

_ARC = 2.0 * np.pi / at.SECTORS
DAMPING = tuple(
    float(at.SECTORS * 4.0 * np.sin(0.5 * order * _ARC) ** 2 / _ARC) for order in (1, 1, 2, 2, 4)
)
"""Of each mode by conduction between sectors, summed over the girth: ``d_m`` of the equation."""


@compiled
def start_modes(
    a: FloatArray,
    level: int,
    area: FloatArray,
    girth: float,
    density: float,
    dry_heat: float,
    seconds: float,
) -> None:
    """Heat capacity of each ring for the modes, and the bark as the outer end of their line."""
    assume(a.shape[2] == at.CASES)
    nr, bark = area.size, at.SURFACE + at.BARK
    rate = density / seconds
    dry, wet = dry_heat * rate, WATER_HEAT_CAPACITY_J_KG_K * rate
    for i in range(nr):
        r = level * nr + i
        for n in prange(at.CASES):
            a[at.MODE_MASS, i, n] = area[i] * (dry + wet * a[at.MOISTURE, r, n])
    for n in prange(at.CASES):
        # Evaporation evens out the girth as it does the hours.
        loss = a[bark, at.S_HEAT_LOSS, n]
        loss += a[bark, at.S_AZIMUTHAL_DAMPING, n] * a[bark, at.S_SATURATION_SLOPE, n]
        resistance = 1.0 / (loss + a[at.BOUNDARY_HEAT + at.BARK, level, n])
        through = girth * a[at.BOUNDARY_HEAT + at.BARK, level, n] * resistance
        a[at.LINE_END, at.T_RESISTANCE, n] = resistance
        a[at.LINE_END, at.T_HIGH, n] = loss * through
        a[at.LINE_END, at.T_HIGH_SOURCE, n] = through * a[bark, at.S_BEAM, n]


@compiled
def eliminate_modes(
    a: FloatArray,
    first: int,
    ring_in: FloatArray,
    ring_out: FloatArray,
    radius: FloatArray,
    damping: float,
) -> None:
    """Eliminate the ring equation of all modes of one order.

    Beside the rings' own equation it has one more term, conduction between sectors.
    """
    assume(a.shape[2] == at.CASES)
    last = radius.size - 1
    aside = damping * (ring_in[0] + ring_out[0]) / radius[0]
    for n in prange(at.CASES):
        up = a[at.HEAT_R, first, n]
        pivot = 1.0 / (a[at.MODE_MASS, 0, n] + aside * a[at.CONDUCTIVITY, first, n] + up)
        a[at.MODE_PIVOT, 0, n] = pivot
        a[at.ELIMINATION, 0, n] = up * pivot
    for i in range(1, last):
        r, aside = first + i, damping * (ring_in[i] + ring_out[i]) / radius[i]
        for n in prange(at.CASES):
            down = a[at.HEAT_R, r - 1, n] * (1.0 - a[at.ELIMINATION, i - 1, n])
            up = a[at.HEAT_R, r, n]
            own = a[at.MODE_MASS, i, n] + aside * a[at.CONDUCTIVITY, r, n]
            pivot = 1.0 / (own + up + down)
            a[at.MODE_PIVOT, i, n] = pivot
            a[at.ELIMINATION, i, n] = up * pivot
    r, aside = first + last, damping * (ring_in[last] + ring_out[last]) / radius[last]
    for n in prange(at.CASES):
        down = a[at.HEAT_R, r - 1, n] * (1.0 - a[at.ELIMINATION, last - 1, n])
        down += a[at.LINE_END, at.T_HIGH, n]
        own = a[at.MODE_MASS, last, n] + aside * a[at.CONDUCTIVITY, r, n]
        a[at.MODE_PIVOT, last, n] = 1.0 / (own + down)


@compiled
def solve_mode(a: FloatArray, nr: int, level: int, mode: int, beam: float, steps: int) -> None:
    """Advance one mode, its ring equation eliminated, by one hour in so many steps."""
    assume(a.shape[2] == at.CASES)
    last, first, base = nr - 1, level * nr, mode * nr
    outer = base + last
    for _ in range(steps):
        for n in prange(at.CASES):
            a[at.MODE_TEMP, base, n] *= a[at.MODE_MASS, 0, n] * a[at.MODE_PIVOT, 0, n]
        for i in range(1, nr):
            r, inner = base + i, first + i - 1
            for n in prange(at.CASES):
                drive = a[at.HEAT_R, inner, n] * a[at.MODE_TEMP, r - 1, n]
                held = a[at.MODE_MASS, i, n] * a[at.MODE_TEMP, r, n]
                a[at.MODE_TEMP, r, n] = (held + drive) * a[at.MODE_PIVOT, i, n]
        for n in prange(at.CASES):
            drive = a[at.LINE_END, at.T_HIGH_SOURCE, n] * beam + FAINTEST_MODE_W
            a[at.MODE_TEMP, outer, n] += drive * a[at.MODE_PIVOT, last, n]
        for i in range(last - 1, -1, -1):
            r = base + i
            for n in prange(at.CASES):
                a[at.MODE_TEMP, r, n] += a[at.ELIMINATION, i, n] * a[at.MODE_TEMP, r + 1, n]
    for n in prange(at.CASES):
        below = a[at.BOUNDARY_HEAT + at.BARK, level, n] * a[at.MODE_TEMP, outer, n]
        driven = a[at.SURFACE + at.BARK, at.S_BEAM, n] * beam + below
        a[at.MODE_SURFACE, mode, n] = driven * a[at.LINE_END, at.T_RESISTANCE, n]


@inlined
def move_azimuthal_heat(
    grid: Grid, curves: Curves, a: FloatArray, girth_modes: FloatArray, steps: int
) -> None:
    """How bark heat differs round the girth after one hour, in so many equal steps."""
    nr, level = grid.ring_area_m2.size, grid.level_m.size // 2
    girth = grid.edge_girth_m[nr - 1]
    rho, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    start_modes(a, level, grid.ring_area_m2, girth, rho, dry, SECONDS_PER_HOUR / steps)
    for mode in range(at.MODES):
        if mode % 2 == 0:
            eliminate_modes(
                a, level * nr, grid.ring_in_m, grid.ring_out_m, grid.node_radius_m, DAMPING[mode]
            )
        solve_mode(a, nr, level, mode, girth_modes[mode], steps)
