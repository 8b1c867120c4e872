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
from numba import prange

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
    for n in prange(at.CASES):
        a[at.STACK, at.N_SPAWN, n] = hour[at.F_SPAWN, n]
        a[at.STACK, at.N_RIM_OUT, n] = 0.0
        found += hour[at.F_SPAWN, n]
    return found > 0.0


@compiled
def read_curve(curves: Curves, a: FloatArray, row: int) -> None:
    """Wood's moisture at the potential of one ring's spawn, and how it grows with the spawn's."""
    assume(a.shape[2] == at.CASES)
    look_up(a, at.SPAWN_AS_WOOD, row, at.SPAWN_MOISTURE, row, curves.spawn_as_wood, MOISTURE_STEP)
    near = at.SPAWN_AS_WOOD_SLOPE
    for n in prange(at.CASES):
        a[near, row, n] = max(a[at.SPAWN_MOISTURE, row, n] - NEAR, 0.0)
    look_up(a, near, row, near, row, curves.spawn_as_wood, MOISTURE_STEP)
    for n in prange(at.CASES):
        slope = (a[at.SPAWN_AS_WOOD, row, n] - a[near, row, n]) * (1.0 / NEAR)
        a[near, row, n] = max(slope, 1e-3)


@compiled
def read_rim(curves: Curves, a: FloatArray, layer: int, row: int, above: int, below: int) -> None:
    """Humidity of the air at one rim, its spawn's activity and where both would be at rest."""
    assume(a.shape[2] == at.CASES)
    for n in prange(at.CASES):
        temp = 0.5 * (a[at.TEMP, above, n] + a[at.TEMP, below, n])
        a[at.EXCHANGE, at.X_RIM_SATURATED, n] = saturation_vapour_density(temp)
    for n in prange(at.CASES):
        humid = a[at.STACK, at.N_RIM_VAPOUR, n] / a[at.EXCHANGE, at.X_RIM_SATURATED, n]
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
def open_rim(a: FloatArray, layer: int, row: int, rim: float, inward: float) -> None:
    """Conductance from one ring's spawn through its rim to the air, by ring area.

    Parameters
    ----------
    rim : float
        Area of the rim over that of the ring; 0 of inner rings.
    inward : float
        Of the distance from the rim to the ring's middle [1/m].
    """
    assume(a.shape[2] == at.CASES)
    if rim == 0.0:
        for n in prange(at.CASES):
            a[at.EXCHANGE, at.X_GAP, n] = 0.0
            a[at.EXCHANGE, at.X_RIM, n] = 0.0
        return
    for n in prange(at.CASES):
        gap = a[at.SPAWN_MOISTURE, row, n] - a[at.SPAWN_TARGET, layer, n]
        rise = a[at.SPAWN_ACTIVITY, layer, n] - a[at.SPAWN_RIM_HUMIDITY, layer, n]
        per_moisture = max(rise / gap, 1e-6) if abs(gap) > 1e-6 else 1e-6
        a[at.EXCHANGE, at.X_GAP, n] = gap
        a[at.EXCHANGE, at.X_RIM, n] = a[at.EXCHANGE, at.X_RIM_SATURATED, n] * per_moisture
    for n in prange(at.CASES):
        spawn_density = a[at.PARAMETER, P.model_spawn_density_kg_m3, n]
        inner = spawn_density * a[at.PARAMETER, P.model_spawn_diffusivity_m2_s, n] * inward
        vapour = a[at.EXCHANGE, at.X_RIM, n]
        through = vapour * inner / (vapour + inner * a[at.STACK, at.N_RIM_RESISTANCE, n])
        a[at.EXCHANGE, at.X_RIM, n] = a[at.STACK, at.N_SPAWN, n] * rim * through


@compiled
def reach_cell(
    a: FloatArray,
    to: int,
    row: int,
    cell: int,
    depth_m: float,
    density: float,
    above: bool,
    touches: float,
) -> None:
    """Conductance of water between one ring's spawn and the cell above or below it.

    Half a level and half a spawn contact, in series with what the cell itself can give.

    Parameters
    ----------
    to : int
        X_ABOVE or X_BELOW.
    touches : float
        1, or 0 where there is no such cell.
    """
    assume(a.shape[2] == at.CASES)
    for n in prange(at.CASES):
        wetter = a[at.MOISTURE, cell, n] - a[at.SPAWN_AS_WOOD, row, n]
        # Water that sinks into drier matter below runs as in uptake.
        sinking = wetter > 0.0 if above else wetter < 0.0
        uptake = a[at.PARAMETER, P.wood_uptake_diffusivity_m2_s, n]
        faster = uptake - a[at.PARAMETER, P.wood_free_diffusivity_longitudinal_m2_s, n]
        a[at.EXCHANGE, to, n] = faster if sinking else 0.0
    for n in prange(at.CASES):
        along = a[at.ALONG, cell, n] + a[at.FREE_FLOW, cell, n] * a[at.EXCHANGE, to, n]
        contact = 0.5 * a[at.PARAMETER, P.model_spawn_contact_resistance_m, n]
        g = density * along / (0.5 * depth_m + contact)
        mass = density * depth_m / SECONDS_PER_HOUR
        a[at.EXCHANGE, to, n] = touches * a[at.STACK, at.N_SPAWN, n] * g * mass / (g + mass)


@compiled
def solve_ring(
    a: FloatArray, row: int, above: int, below: int, spawn_depth_m: float, full: float
) -> None:
    """Water that goes into one ring's spawn from above and below, and out through its rim.

    Parameters
    ----------
    full : float
        Moisture of spawn that can hold no more.
    """
    assume(a.shape[2] == at.CASES)
    per_hour = spawn_depth_m / SECONDS_PER_HOUR
    for n in prange(at.CASES):
        wood = a[at.SPAWN_AS_WOOD, row, n]
        a[at.EXCHANGE, at.X_WETTER_ABOVE, n] = a[at.MOISTURE, above, n] - wood
        a[at.EXCHANGE, at.X_WETTER_BELOW, n] = a[at.MOISTURE, below, n] - wood
    for n in prange(at.CASES):
        k_above, k_below = a[at.EXCHANGE, at.X_ABOVE, n], a[at.EXCHANGE, at.X_BELOW, n]
        up, down = a[at.EXCHANGE, at.X_WETTER_ABOVE, n], a[at.EXCHANGE, at.X_WETTER_BELOW, n]
        g_rim, gap = a[at.EXCHANGE, at.X_RIM, n], a[at.EXCHANGE, at.X_GAP, n]
        slope = a[at.SPAWN_AS_WOOD_SLOPE, row, n]
        mass = a[at.PARAMETER, P.model_spawn_density_kg_m3, n] * per_hour
        drive = k_above * up + k_below * down - g_rim * gap
        change = drive / (mass + slope * (k_above + k_below) + g_rim)
        out = g_rim * (gap + change)
        # Near its fullest, spawn's curve is steeper than the secant: it takes what it can hold.
        room = mass * (full - a[at.SPAWN_MOISTURE, row, n]) + out
        from_above = k_above * (up - slope * change)
        from_below = k_below * (down - slope * change)
        asked = from_above + from_below
        given = min(1.0, max(room, 0.0) / asked) if asked > 0.0 else 1.0
        a[at.EXCHANGE, at.X_FROM_ABOVE, n] = given * from_above
        a[at.EXCHANGE, at.X_FROM_BELOW, n] = given * from_below
        a[at.EXCHANGE, at.X_OUT, n] = out
    for n in prange(at.CASES):
        mass = a[at.PARAMETER, P.model_spawn_density_kg_m3, n] * per_hour
        taken = a[at.EXCHANGE, at.X_FROM_ABOVE, n] + a[at.EXCHANGE, at.X_FROM_BELOW, n]
        a[at.SPAWN_MOISTURE, row, n] += (taken - a[at.EXCHANGE, at.X_OUT, n]) / mass


@compiled
def give_from(
    a: FloatArray, given: int, cell: int, depth_m: float, density: float, latent_share: float
) -> None:
    """Take from a cell the water that it gives to spawn, with its heat, and rim's latent heat.

    Parameters
    ----------
    given : int
        X_FROM_ABOVE or X_FROM_BELOW.
    latent_share : float
        Part of the rim's latent heat that the cell pays.
    """
    assume(a.shape[2] == at.CASES)
    mass, seconds = density * depth_m / SECONDS_PER_HOUR, SECONDS_PER_HOUR / depth_m
    for n in prange(at.CASES):
        a[at.MOISTURE, cell, n] -= a[at.EXCHANGE, given, n] / mass
    for n in prange(at.CASES):
        warm = WATER_HEAT_CAPACITY_J_KG_K * a[at.TEMP, cell, n] * a[at.EXCHANGE, given, n]
        latent = LATENT_HEAT_VAPORIZATION_J_KG * a[at.EXCHANGE, at.X_OUT, n]
        a[at.ENERGY, cell, n] -= (warm + latent_share * latent) * seconds
        a[at.EXCHANGE, at.X_HEAT, n] += warm


@compiled
def book_spawn(a: FloatArray, area_m2: float) -> None:
    """Book the heat that water took along into one ring's spawn, and what its rim gave off."""
    assume(a.shape[2] == at.CASES)
    scale = area_m2 * SECONDS_PER_HOUR
    for n in prange(at.CASES):
        heat = a[at.EXCHANGE, at.X_HEAT, n] * scale
        lost = a[at.EXCHANGE, at.X_OUT, n] * scale
        latent = LATENT_HEAT_VAPORIZATION_J_KG * lost
        a[at.BUDGET, at.B_WATER_HEAT, n] -= heat
        a[at.BUDGET, at.B_LATENT, n] += latent
        a[at.BUDGET, at.B_HEAT_MOVED, n] += abs(heat) + abs(latent)
        a[at.BUDGET, at.B_WATER_OUT, n] += max(lost, 0.0)
        a[at.BUDGET, at.B_WATER_IN, n] += max(-lost, 0.0)
    for n in prange(at.CASES):
        a[at.STACK, at.N_RIM_OUT, n] += a[at.EXCHANGE, at.X_OUT, n] * area_m2


@compiled
def exchange_spawn(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Move water between the spawn layers, the wood and the air, for one hour."""
    assume(a.shape[2] == at.CASES)
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    full = (curves.spawn_as_wood.size - 2) * MOISTURE_STEP
    rho, inward = curves.density_kg_m3, 1.0 / grid.ring_out_m[nr - 1]
    for layer in range(grid.interface_level.size):
        level = grid.interface_level[layer]
        if level >= nz:
            continue
        # A lowest layer has wood above only.
        under = max(level - 1, 0)
        both = 1.0 if under != level else 0.0
        depth_above, depth_below = grid.level_m[level], grid.level_m[under]
        for ring in range(nr):
            row, above, below = layer * nr + ring, level * nr + ring, under * nr + ring
            area, rim = grid.ring_area_m2[ring], 0.0
            read_curve(curves, a, row)
            if ring == nr - 1:
                rim = 2.0 * np.pi * grid.radius_m * grid.spawn_depth_m / area
                read_rim(curves, a, layer, row, above, below)
            open_rim(a, layer, row, rim, inward)
            reach_cell(a, at.X_ABOVE, row, above, depth_above, rho, True, 1.0)
            reach_cell(a, at.X_BELOW, row, below, depth_below, rho, False, both)
            solve_ring(a, row, above, below, grid.spawn_depth_m, full)
            for n in prange(at.CASES):
                a[at.EXCHANGE, at.X_HEAT, n] = 0.0
            give_from(a, at.X_FROM_ABOVE, above, depth_above, rho, 1.0 - 0.5 * both)
            give_from(a, at.X_FROM_BELOW, below, depth_below, rho, 0.5 * both)
            book_spawn(a, area)


@compiled
def rims_give(grid: Grid, a: FloatArray) -> None:
    """How the rims of all layers give vapour to the air that they meet."""
    rims_m2 = 2.0 * np.pi * grid.radius_m * grid.spawn_depth_m * grid.interface_level.size
    for n in prange(at.CASES):
        resistance = a[at.STACK, at.N_RIM_RESISTANCE, n]
        giving = a[at.STACK, at.N_SPAWN, n] * rims_m2 / resistance
        behind = giving * a[at.STACK, at.N_RIM_VAPOUR, n] + a[at.STACK, at.N_RIM_OUT, n]
        a[at.STACK, at.N_RIM_GIVING, n] = giving
        a[at.STACK, at.N_RIM_GIVEN, n] = behind
