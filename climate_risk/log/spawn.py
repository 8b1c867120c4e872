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

from climate_risk.compiled import compiled, inlined
from climate_risk.constants import (
    LATENT_HEAT_VAPORIZATION_J_KG,
    SECONDS_PER_HOUR,
    WATER_HEAT_CAPACITY_J_KG_K,
)
from climate_risk.log import layout as at
from climate_risk.log.formulas import ACTIVITY_MAX, FloatArray, saturation_vapour_density
from climate_risk.log.geometry import Grid
from climate_risk.log.parameters import P
from climate_risk.log.rows import (
    Row,
    add_to,
    alike,
    choose,
    greatest,
    interpolate,
    load,
    load_row,
    store,
)
from climate_risk.log.state import Curves
from climate_risk.log.wood import ACTIVITY_STEP, MOISTURE_STEP

NEAR = 0.02
"""Moisture by which the second point of a secant on the spawn's curve lies apart [kg/kg]."""


@compiled
def hold_spawn(a: FloatArray, hour: FloatArray) -> bool:
    """Note where there is spawn between the pieces, and whether any case has."""
    here = load_row(hour, at.F_SPAWN)
    store(a, at.STACK, at.N_SPAWN, here)
    store(a, at.STACK, at.N_RIM_OUT, 0.0)
    return greatest(here) > 0.0


@inlined
def open_rim(
    curves: Curves, a: FloatArray, row: int, temp_c: Row, rim: float, inward: float
) -> tuple[Row, Row]:
    """Conductance from the outermost ring's spawn through its rim to the air, by ring area.

    Parameters
    ----------
    temp_c : row
        Of the rim.
    rim : float
        Area of the rim over that of the ring.
    inward : float
        Of the distance from the rim to the ring's middle [1/m].

    Returns
    -------
    row, row
        The conductance, and moisture of the spawn over that at rest with the air.
    """
    saturated, held = saturation_vapour_density(temp_c), load(a, at.SPAWN_MOISTURE, row)
    humid = min(load(a, at.STACK, at.N_RIM_VAPOUR) / saturated, ACTIVITY_MAX)
    rise = interpolate(curves.spawn_activity, held * (1.0 / MOISTURE_STEP)) - humid
    gap = held - interpolate(curves.spawn_by_activity, humid * (1.0 / ACTIVITY_STEP))
    vapour = saturated * choose(abs(gap) - 1e-6, max(rise / gap, 1e-6), 1e-6)
    inner = load(a, at.PARAMETER, P.model_spawn_density_kg_m3)
    inner *= load(a, at.PARAMETER, P.model_spawn_diffusivity_m2_s) * inward
    through = vapour * inner / (vapour + inner * load(a, at.STACK, at.N_RIM_RESISTANCE))
    return load(a, at.STACK, at.N_SPAWN) * rim * through, gap


@inlined
def reach_cell(a: FloatArray, cell: int, depth_m: float, density: float, sinking: Row) -> Row:
    """Conductance of water between one ring's spawn and the cell above or below it.

    Half a level and half a spawn contact, in series with what the cell itself can give.

    Parameters
    ----------
    sinking : row
        Above 0 where water goes down, from the cell or into it; it then runs as in uptake.
    """
    uptake = load(a, at.PARAMETER, P.wood_uptake_diffusivity_m2_s)
    faster = uptake - load(a, at.PARAMETER, P.wood_free_diffusivity_longitudinal_m2_s)
    along = load(a, at.ALONG, cell)
    along += load(a, at.FREE_FLOW, cell) * choose(sinking, faster, 0.0)
    way = 0.5 * (depth_m + load(a, at.PARAMETER, P.model_spawn_contact_resistance_m))
    feeds, mass = density * along, density * depth_m / SECONDS_PER_HOUR
    return load(a, at.STACK, at.N_SPAWN) * mass * feeds / (feeds + mass * way)


@inlined
def give_from(
    a: FloatArray, given: Row, cell: int, depth_m: float, density: float, latent: Row
) -> Row:
    """Take from a cell the water that it gives to spawn, with its heat, and latent heat of a rim.

    Returns
    -------
    row
        Heat that the water takes along [W/m2].
    """
    seconds = SECONDS_PER_HOUR / depth_m
    warm = WATER_HEAT_CAPACITY_J_KG_K * load(a, at.TEMP, cell) * given
    dried = load(a, at.MOISTURE, cell) - given * (seconds / density)
    store(a, at.MOISTURE, cell, dried)
    add_to(a, at.ENERGY, cell, -(warm + latent) * seconds)
    return warm


@inlined
def book_spawn(a: FloatArray, warm: Row, out: Row, area_m2: float) -> None:
    """Book the heat that water took along into one ring's spawn, and what its rim gave off."""
    scale = area_m2 * SECONDS_PER_HOUR
    heat, lost = warm * scale, out * scale
    latent = LATENT_HEAT_VAPORIZATION_J_KG * lost
    moved = abs(heat) + abs(latent)
    add_to(a, at.BUDGET, at.B_WATER_HEAT, -heat)
    add_to(a, at.BUDGET, at.B_LATENT, latent)
    add_to(a, at.BUDGET, at.B_HEAT_MOVED, moved)
    add_to(a, at.BUDGET, at.B_WATER_OUT, max(lost, 0.0))
    add_to(a, at.BUDGET, at.B_WATER_IN, max(-lost, 0.0))
    add_to(a, at.STACK, at.N_RIM_OUT, out * area_m2)


@compiled
def exchange_ring(
    curves: Curves,
    a: FloatArray,
    row: int,
    above: int,
    below: int,
    height_above_m: float,
    height_below_m: float,
    rim: Row,
    gap: Row,
    spawn_depth_m: float,
    full: float,
    both: float,
    area_m2: float,
) -> None:
    """Water that goes into one ring's spawn from above and below, and out through its rim.

    Parameters
    ----------
    rim, gap : row
        Conductance through the rim, and moisture of the spawn over that at rest with the air.
    full : float
        Moisture of spawn that can hold no more.
    both : float
        1, or 0 where there is no cell below.
    """
    held = load(a, at.SPAWN_MOISTURE, row)
    wood = interpolate(curves.spawn_as_wood, held * (1.0 / MOISTURE_STEP))
    less = interpolate(curves.spawn_as_wood, max(held - NEAR, 0.0) * (1.0 / MOISTURE_STEP))
    slope = max((wood - less) * (1.0 / NEAR), 1e-3)
    density = curves.density_kg_m3
    up, down = load(a, at.MOISTURE, above) - wood, load(a, at.MOISTURE, below) - wood
    k_above = reach_cell(a, above, height_above_m, density, up)
    k_below = both * reach_cell(a, below, height_below_m, density, -down)
    mass = load(a, at.PARAMETER, P.model_spawn_density_kg_m3) * (spawn_depth_m / SECONDS_PER_HOUR)
    drive = k_above * up + k_below * down - rim * gap
    change = drive / (mass + slope * (k_above + k_below) + rim)
    out = rim * (gap + change)
    # Near its fullest, spawn's curve is steeper than the secant: it takes what it can hold.
    room = max(mass * (full - held) + out, 0.0)
    from_above, from_below = k_above * (up - slope * change), k_below * (down - slope * change)
    asked = from_above + from_below
    given = choose(asked, min(room / asked, 1.0), 1.0)
    store(a, at.SPAWN_MOISTURE, row, held + (given * asked - out) / mass)
    latent = LATENT_HEAT_VAPORIZATION_J_KG * out
    below_pays = 0.5 * both
    warm = give_from(
        a, given * from_above, above, height_above_m, density, (1.0 - below_pays) * latent
    )
    warm += give_from(a, given * from_below, below, height_below_m, density, below_pays * latent)
    book_spawn(a, warm, out, area_m2)


@compiled
def exchange_spawn(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Move water between the spawn layers, the wood and the air, for one hour."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    full = (curves.spawn_as_wood.size - 2) * MOISTURE_STEP
    inward = 1.0 / grid.ring_out_m[nr - 1]
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
            area, through, gap = grid.ring_area_m2[ring], alike(0.0), alike(0.0)
            if ring == nr - 1:
                rim = 2.0 * np.pi * grid.radius_m * grid.spawn_depth_m / area
                temp = 0.5 * (load(a, at.TEMP, above) + load(a, at.TEMP, below))
                through, gap = open_rim(curves, a, row, temp, rim, inward)
            exchange_ring(
                curves,
                a,
                row,
                above,
                below,
                depth_above,
                depth_below,
                through,
                gap,
                grid.spawn_depth_m,
                full,
                both,
                area,
            )


@compiled
def rims_give(grid: Grid, a: FloatArray) -> None:
    """How the rims of all layers give vapour to the air that they meet."""
    rims_m2 = 2.0 * np.pi * grid.radius_m * grid.spawn_depth_m * grid.interface_level.size
    giving = load(a, at.STACK, at.N_SPAWN) * rims_m2 / load(a, at.STACK, at.N_RIM_RESISTANCE)
    behind = giving * load(a, at.STACK, at.N_RIM_VAPOUR) + load(a, at.STACK, at.N_RIM_OUT)
    store(a, at.STACK, at.N_RIM_GIVING, giving)
    store(a, at.STACK, at.N_RIM_GIVEN, behind)
