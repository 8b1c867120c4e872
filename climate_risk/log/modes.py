"""How bark heat differs round the girth, by angular modes."""

from __future__ import annotations

import numpy as np

from climate_risk.compiled import compiled, inlined
from climate_risk.constants import SECONDS_PER_HOUR, WATER_HEAT_CAPACITY_J_KG_K
from climate_risk.log.geometry import Grid
from climate_risk.log.state import *

FAINTEST_MODE_W = 1e-200
"""Keeps angular modes of long nights from fading into denormal numbers, which are slow."""


@compiled
def start_modes(
    a: FloatArray, level: int, area: FloatArray, girth: float, density: float, dry_heat: float
) -> None:
    """Heat capacity of each ring for the modes, and the bark as the outer end of their line."""
    if a.shape[2] != LANES:
        return
    nr = area.size
    rate = density / SECONDS_PER_HOUR
    dry, wet = dry_heat * rate, WATER_HEAT_CAPACITY_J_KG_K * rate
    for i in range(nr):
        r = level * nr + i
        for n in range(a.shape[2]):
            a[MODE_MASS, i, n] = area[i] * (dry + wet * a[MOISTURE, r, n])
    for n in range(LANES):
        # Evaporation evens out the girth as it does the hours.
        back = a[FACE + BARK, S_BACK, n]
        back += a[FACE + BARK, S_EVENING, n] * a[FACE + BARK, S_STEEP, n]
        a[ENDS, E_JOIN, n] = 1.0 / (back + a[FACE_HEAT + BARK, level, n])
        a[ENDS, E_HIGH, n] = back
    for n in range(LANES):
        through = girth * a[FACE_HEAT + BARK, level, n] * a[ENDS, E_JOIN, n]
        a[ENDS, E_HIGH, n] *= through
        a[ENDS, E_HIGH_DRIVE, n] = through * a[FACE + BARK, S_BEAM, n]


@compiled
def eliminate_modes(
    a: FloatArray,
    first: int,
    ring_in: FloatArray,
    ring_out: FloatArray,
    radius: FloatArray,
    damping: float,
) -> None:
    """Eliminate the ring equation of all angular modes of one order.

    Beside the rings' own equation it has one more term, conduction between sectors.
    """
    if a.shape[2] != LANES:
        return
    last = radius.size - 1
    aside = damping * (ring_in[0] + ring_out[0]) / radius[0]
    for n in range(LANES):
        up = a[HEAT_R, first, n]
        pivot = 1.0 / (a[MODE_MASS, 0, n] + aside * a[CONDUCTIVITY, first, n] + up)
        a[MODE_PIVOT, 0, n] = pivot
        a[SWEEP, 0, n] = up * pivot
    for i in range(1, last):
        r, aside = first + i, damping * (ring_in[i] + ring_out[i]) / radius[i]
        for n in range(LANES):
            down, up = a[HEAT_R, r - 1, n] * (1.0 - a[SWEEP, i - 1, n]), a[HEAT_R, r, n]
            own = a[MODE_MASS, i, n] + aside * a[CONDUCTIVITY, r, n]
            pivot = 1.0 / (own + up + down)
            a[MODE_PIVOT, i, n] = pivot
            a[SWEEP, i, n] = up * pivot
    r, aside = first + last, damping * (ring_in[last] + ring_out[last]) / radius[last]
    for n in range(LANES):
        down = a[HEAT_R, r - 1, n] * (1.0 - a[SWEEP, last - 1, n]) + a[ENDS, E_HIGH, n]
        own = a[MODE_MASS, last, n] + aside * a[CONDUCTIVITY, r, n]
        a[MODE_PIVOT, last, n] = 1.0 / (own + down)


@compiled
def solve_mode(a: FloatArray, nr: int, level: int, mode: int, beam: float) -> None:
    """Advance one angular mode, its ring equation eliminated, by one hour."""
    if a.shape[2] != LANES:
        return
    last, first, base = nr - 1, level * nr, mode * nr
    for n in range(a.shape[2]):
        a[MODE_TEMP, base, n] *= a[MODE_MASS, 0, n] * a[MODE_PIVOT, 0, n]
    for i in range(1, nr):
        r, inner = base + i, first + i - 1
        for n in range(LANES):
            drive = a[HEAT_R, inner, n] * a[MODE_TEMP, r - 1, n]
            held = a[MODE_MASS, i, n] * a[MODE_TEMP, r, n]
            a[MODE_TEMP, r, n] = (held + drive) * a[MODE_PIVOT, i, n]
    r = base + last
    for n in range(LANES):
        drive = a[ENDS, E_HIGH_DRIVE, n] * beam + FAINTEST_MODE_W
        a[MODE_TEMP, r, n] += drive * a[MODE_PIVOT, last, n]
    for i in range(last - 1, -1, -1):
        r = base + i
        for n in range(a.shape[2]):
            a[MODE_TEMP, r, n] += a[SWEEP, i, n] * a[MODE_TEMP, r + 1, n]
    r = base + last
    for n in range(LANES):
        below = a[FACE_HEAT + BARK, level, n] * a[MODE_TEMP, r, n]
        driven = a[FACE + BARK, S_BEAM, n] * beam + below
        a[MODE_SURFACE, mode, n] = driven * a[ENDS, E_JOIN, n]


@inlined
def turn_heat(grid: Grid, curves: Curves, a: FloatArray, girth_modes: FloatArray) -> None:
    """How bark heat differs round the girth, by angular modes, for one hour.

    The eight sectors of the beam's half-cosine are carried as their exact discrete modes (the
    third vanishes by symmetry).  Modes have no mean, so they hold no heat of the balance.
    """
    nr, level = grid.ring_area_m2.size, grid.level_m.size // 2
    girth, arc = grid.edge_girth_m[nr - 1], 2.0 * np.pi / SECTORS
    rho, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    start_modes(a, level, grid.ring_area_m2, girth, rho, dry)
    for mode in range(MODES):
        if mode % 2 == 0:
            order = 1.0 if mode == 0 else (2.0 if mode == 2 else 4.0)
            damping = SECTORS * 4.0 * np.sin(0.5 * order * arc) ** 2 / arc
            eliminate_modes(
                a, level * nr, grid.ring_in_m, grid.ring_out_m, grid.node_radius_m, damping
            )
        solve_mode(a, nr, level, mode, girth_modes[mode])
