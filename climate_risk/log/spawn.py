"""Spawn layers: a few millimetres of moist sawdust between cut faces, with water of their own.

For each ring of a layer of depth ``d`` and dry density ``rho_s``, over an hour, implicit::

    rho_s d S_t = k_b (u_b - w(S)) + k_a (u_a - w(S)) - G (S - S_rest) A_rim / A_ring

``S`` moisture of the spawn, ``w(S)`` moisture of wood at the same water potential, ``u_b`` and
``u_a`` of the cells below and above, ``k`` half a level and half a spawn contact in series with
what the cell itself can give, ``G`` from the outermost ring's middle through its rim to the air
of stack or bag.  ``w`` is taken straight between ``S`` and a little less.  Each cell gives what
its neighbour takes.  Spawn is as warm as the wood beside it and holds no heat of its own; what
its rim evaporates is paid by the wood.
"""

from __future__ import annotations

import numpy as np

from climate_risk.compiled import assume, compiled
from climate_risk.constants import (
    LATENT_HEAT_VAPORIZATION_J_KG,
    SECONDS_PER_HOUR,
    WATER_HEAT_CAPACITY_J_KG_K,
)
from climate_risk.log import layout as at
from climate_risk.log.formulas import ACTIVITY_MAX, FloatArray, saturation_vapour_density
from climate_risk.log.geometry import Grid
from climate_risk.log.parameters import P
from climate_risk.log.state import Curves
from climate_risk.log.wood import ACTIVITY_STEP, MOISTURE_STEP
from climate_risk.log.wood_surface import look_up

NEAR = 0.02
"""Moisture by which the second point of a secant on the spawn's curve lies apart [kg/kg]."""


@compiled
def hold_spawn(a: FloatArray, hour: FloatArray) -> bool:
    """Note where there is spawn between the pieces, and whether any case has."""
    found = 0.0
    for n in range(at.CASES):
        a[at.STACK, at.N_SPAWN, n] = hour[at.F_SPAWN, n]
        a[at.STACK, at.N_RIM_OUT, n] = 0.0
        found += hour[at.F_SPAWN, n]
    return found > 0.0


@compiled
def read_curve(grid: Grid, curves: Curves, a: FloatArray, row: int) -> None:
    """Wood's moisture at the potential of one ring's spawn, and of spawn a little drier."""
    look_up(a, at.SPAWN_AS_WOOD, row, at.SPAWN_MOISTURE, row, curves.spawn_as_wood, MOISTURE_STEP)
    for n in range(at.CASES):
        a[at.SPAWN_AS_WOOD_NEAR, row, n] = max(a[at.SPAWN_MOISTURE, row, n] - NEAR, 0.0)
    near = at.SPAWN_AS_WOOD_NEAR
    look_up(a, near, row, near, row, curves.spawn_as_wood, MOISTURE_STEP)


@compiled
def read_rim(
    grid: Grid, curves: Curves, a: FloatArray, layer: int, row: int, above: int, below: int
) -> None:
    """Humidity of the air at one rim, its spawn's activity and where both would be at rest."""
    for n in range(at.CASES):
        temp = 0.5 * (a[at.TEMP, above, n] + a[at.TEMP, below, n])
        humid = a[at.STACK, at.N_RIM_VAPOUR, n] / saturation_vapour_density(temp)
        a[at.SPAWN_RIM_HUMIDITY, layer, n] = min(humid, ACTIVITY_MAX)
    look_up(
        a, at.SPAWN_ACTIVITY, layer, at.SPAWN_MOISTURE, row, curves.spawn_activity, MOISTURE_STEP
    )
    look_up(
        a,
        at.SPAWN_TARGET,
        layer,
        at.SPAWN_RIM_HUMIDITY,
        layer,
        curves.spawn_by_activity,
        ACTIVITY_STEP,
    )


@compiled
def exchange_ring(
    grid: Grid,
    a: FloatArray,
    layer: int,
    ring: int,
    row: int,
    above: int,
    below: int,
    depths: tuple[float, float],
    density: float,
    full: float,
) -> None:
    """Move one ring's water between spawn, the cells beside it and, outermost, the air.

    Parameters
    ----------
    row : int
        Of the ring among the spawn's terms.
    above, below : int
        Rows of the cells; the same for a lowest layer, which has wood above only.
    depths : (float, float)
        Heights of the cells above and below [m].
    full : float
        Moisture of spawn that can hold no more.
    """
    assume(a.shape[2] == at.CASES)
    nr = grid.ring_area_m2.size
    area = grid.ring_area_m2[ring]
    outer = 1.0 if ring == nr - 1 else 0.0
    rim = outer * 2.0 * np.pi * grid.radius_m * grid.spawn_depth_m / area
    inward = 1.0 / grid.ring_out_m[nr - 1]
    both = 1.0 if below != above else 0.0
    rate_above, rate_below = density * depths[0], density * depths[1]
    for n in range(at.CASES):
        spawn, wood = a[at.SPAWN_MOISTURE, row, n], a[at.SPAWN_AS_WOOD, row, n]
        slope = (wood - a[at.SPAWN_AS_WOOD_NEAR, row, n]) * (1.0 / NEAR)
        slope = max(slope, 1e-3)
        active = a[at.STACK, at.N_SPAWN, n]
        contact = 0.5 * a[at.PARAMETER, P.model_spawn_contact_resistance_m, n]
        uptake = a[at.PARAMETER, P.wood_uptake_diffusivity_m2_s, n]
        faster = uptake - a[at.PARAMETER, P.wood_free_diffusivity_longitudinal_m2_s, n]
        up, down = a[at.MOISTURE, above, n], a[at.MOISTURE, below, n]
        # Water that sinks into drier matter below runs as in uptake.
        sink_above = faster if up > wood else 0.0
        sink_below = faster if wood > down else 0.0
        d_above = a[at.ALONG, above, n] + a[at.FREE_FLOW, above, n] * sink_above
        d_below = a[at.ALONG, below, n] + a[at.FREE_FLOW, below, n] * sink_below
        g_above = density * d_above / (0.5 * depths[0] + contact)
        g_below = both * density * d_below / (0.5 * depths[1] + contact)
        m_above, m_below = rate_above / SECONDS_PER_HOUR, rate_below / SECONDS_PER_HOUR
        k_above = active * g_above * m_above / (g_above + m_above)
        k_below = active * g_below * m_below / (g_below + m_below)
        spawn_density = a[at.PARAMETER, P.model_spawn_density_kg_m3, n]
        rest = a[at.SPAWN_TARGET, layer, n]
        gap = spawn - rest
        rise = a[at.SPAWN_ACTIVITY, layer, n] - a[at.SPAWN_RIM_HUMIDITY, layer, n]
        per_moisture = max(rise / gap, 1e-6) if abs(gap) > 1e-6 else 1e-6
        temp = 0.5 * (a[at.TEMP, above, n] + a[at.TEMP, below, n])
        vapour = saturation_vapour_density(temp) * per_moisture
        inner = spawn_density * a[at.PARAMETER, P.model_spawn_diffusivity_m2_s, n] * inward
        through = vapour * inner / (vapour + inner * a[at.STACK, at.N_RIM_RESISTANCE, n])
        g_rim = active * rim * through
        mass = spawn_density * grid.spawn_depth_m / SECONDS_PER_HOUR
        drive = k_above * (up - wood) + k_below * (down - wood) - g_rim * gap
        change = drive / (mass + slope * (k_above + k_below) + g_rim)
        reached = wood + slope * change
        out = g_rim * (gap + change)
        # Near its fullest, spawn's curve is steeper than the secant: it takes what it can hold.
        room = mass * (full - spawn) + out
        asked = k_above * (up - reached) + k_below * (down - reached)
        given = min(1.0, max(room, 0.0) / asked) if asked > 0.0 else 1.0
        from_above = given * k_above * (up - reached)
        from_below = given * k_below * (down - reached)
        a[at.SPAWN_MOISTURE, row, n] = spawn + (from_above + from_below - out) / mass
        a[at.MOISTURE, above, n] = up - from_above / m_above
        a[at.MOISTURE, below, n] -= from_below / m_below
        latent = LATENT_HEAT_VAPORIZATION_J_KG * out
        share = 1.0 - 0.5 * both
        seconds_above, seconds_below = SECONDS_PER_HOUR / depths[0], SECONDS_PER_HOUR / depths[1]
        warm_above = WATER_HEAT_CAPACITY_J_KG_K * a[at.TEMP, above, n] * from_above
        warm_below = WATER_HEAT_CAPACITY_J_KG_K * a[at.TEMP, below, n] * from_below
        a[at.ENERGY, above, n] -= (warm_above + share * latent) * seconds_above
        a[at.ENERGY, below, n] -= (warm_below + (1.0 - share) * latent) * seconds_below
        heat = (warm_above + warm_below) * (area * SECONDS_PER_HOUR)
        a[at.BUDGET, at.B_WATER_HEAT, n] -= heat
        a[at.BUDGET, at.B_LATENT, n] += latent * (area * SECONDS_PER_HOUR)
        a[at.BUDGET, at.B_HEAT_MOVED, n] += abs(heat) + abs(latent) * area * SECONDS_PER_HOUR
        lost = out * (area * SECONDS_PER_HOUR)
        a[at.BUDGET, at.B_WATER_OUT, n] += max(lost, 0.0)
        a[at.BUDGET, at.B_WATER_IN, n] += max(-lost, 0.0)
        a[at.STACK, at.N_RIM_OUT, n] += out * area


@compiled
def exchange_spawn(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Move water between the spawn layers, the wood and the air, for one hour."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    full = (curves.spawn_as_wood.size - 2) * MOISTURE_STEP
    for layer in range(grid.interface_level.size):
        level = grid.interface_level[layer]
        if level >= nz:
            continue
        under = max(level - 1, 0)
        depths = (grid.level_m[level], grid.level_m[under])
        for ring in range(nr):
            row, above, below = layer * nr + ring, level * nr + ring, under * nr + ring
            read_curve(grid, curves, a, row)
            if ring == nr - 1:
                read_rim(grid, curves, a, layer, row, above, below)
            rho = curves.density_kg_m3
            exchange_ring(grid, a, layer, ring, row, above, below, depths, rho, full)


@compiled
def rims_give(grid: Grid, a: FloatArray) -> None:
    """How the rims of all layers give vapour to the air that they meet."""
    rims_m2 = 2.0 * np.pi * grid.radius_m * grid.spawn_depth_m * grid.interface_level.size
    for n in range(at.CASES):
        resistance = a[at.STACK, at.N_RIM_RESISTANCE, n]
        giving = a[at.STACK, at.N_SPAWN, n] * rims_m2 / resistance
        behind = giving * a[at.STACK, at.N_RIM_VAPOUR, n] + a[at.STACK, at.N_RIM_OUT, n]
        a[at.STACK, at.N_RIM_GIVING, n] = giving
        a[at.STACK, at.N_RIM_GIVEN, n] = behind
