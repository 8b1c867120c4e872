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

from climate_risk.compiled import compiled, inlined
from climate_risk.constants import SECONDS_PER_HOUR
from climate_risk.log import layout as at
from climate_risk.log.formulas import FloatArray, heat_capacity
from climate_risk.log.geometry import Grid
from climate_risk.log.rows import alike, load, store
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
    nr, bark = area.size, at.SURFACE + at.BARK
    for i in range(nr):
        u = load(a, at.MOISTURE, level * nr + i)
        capacity = heat_capacity(u, density / seconds, dry_heat)
        store(a, at.MODE_MASS, i, area[i] * capacity)
    # Evaporation evens out the girth as it does the hours.
    damping = load(a, bark, at.S_AZIMUTHAL_DAMPING) * load(a, bark, at.S_SATURATION_SLOPE)
    loss, inner = (
        load(a, bark, at.S_HEAT_LOSS) + damping,
        load(a, at.BOUNDARY_HEAT + at.BARK, level),
    )
    resistance = 1.0 / (loss + inner)
    through = girth * inner * resistance
    store(a, at.MODE_END, at.E_RESISTANCE, resistance)
    store(a, at.MODE_END, at.E_EXCHANGE, loss * through)
    store(a, at.MODE_END, at.E_BEAM, through * load(a, bark, at.S_BEAM))


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
    last, inward = radius.size - 1, alike(0.0)
    for i in range(radius.size):
        aside = damping * (ring_in[i] + ring_out[i]) / radius[i]
        own = load(a, at.MODE_MASS, i) + aside * load(a, at.CONDUCTIVITY, first + i)
        out = load(a, at.HEAT_R, first + i) if i < last else load(a, at.MODE_END, at.E_EXCHANGE)
        pivot = 1.0 / (own + inward + out)
        store(a, at.MODE_PIVOT, i, pivot)
        store(a, at.ELIMINATION, i, out * pivot)
        inward = out * (1.0 - out * pivot)


@compiled
def solve_mode(a: FloatArray, nr: int, level: int, mode: int, beam: float, steps: int) -> None:
    """Advance one mode, its ring equation eliminated, by one hour in so many steps."""
    base, bark = mode * nr, at.SURFACE + at.BARK
    last = base + nr - 1
    driven = load(a, at.MODE_END, at.E_BEAM) * beam + FAINTEST_MODE_W
    for _ in range(steps):
        drive = load(a, at.MODE_MASS, 0) * load(a, at.MODE_TEMP, base)
        for i in range(1, nr):
            r = base + i
            store(a, at.MODE_TEMP, r - 1, drive)
            drive *= load(a, at.ELIMINATION, i - 1)
            drive += load(a, at.MODE_MASS, i) * load(a, at.MODE_TEMP, r)
        warm = (drive + driven) * load(a, at.MODE_PIVOT, nr - 1)
        store(a, at.MODE_TEMP, last, warm)
        for i in range(nr - 2, -1, -1):
            warm *= load(a, at.ELIMINATION, i)
            warm += load(a, at.MODE_PIVOT, i) * load(a, at.MODE_TEMP, base + i)
            store(a, at.MODE_TEMP, base + i, warm)
    below = load(a, at.BOUNDARY_HEAT + at.BARK, level) * load(a, at.MODE_TEMP, last)
    surface = (load(a, bark, at.S_BEAM) * beam + below) * load(a, at.MODE_END, at.E_RESISTANCE)
    store(a, at.MODE_SURFACE, mode, surface)


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
