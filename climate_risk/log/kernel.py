"""One hour of heat and water in a stack, compiled, for many cases side by side.

Solved on rings and levels of a cylinder, moisture ``u`` and temperature ``T`` of each cell::

    rho u_t = div(rho D grad u)
    rho (c_dry + c_w u) T_t + rho L (ice)_t = div(k grad T) - c_w q_water . grad T

with the surface balances of :mod:`climate_risk.log.surface_balance` outside.  Each half of an
hour's work (water, then heat) is two implicit sweeps, across the rings and along the levels (Lie
splitting), so that no forcing however absurd makes a state leave its physical range, and what
enters one cell has left another or crossed an outer boundary, where it is booked.
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
from climate_risk.log.azimuthal import move_azimuthal_heat
from climate_risk.log.bag import is_bagged, settle_bag
from climate_risk.log.formulas import FloatArray
from climate_risk.log.geometry import Grid
from climate_risk.log.parameters import P
from climate_risk.log.rows import add_to, load, load_row, store
from climate_risk.log.spawn import exchange_spawn, hold_spawn, rims_give
from climate_risk.log.state import Curves
from climate_risk.log.surface_balance import (
    balance_surfaces,
    exchange_conductances,
    surfaces_give,
)
from climate_risk.log.tridiagonal import (
    conduct_heat,
    eliminate_heat_lines,
    hold_energy,
    holds_ice,
    settle_ice,
    solve_water_line,
)
from climate_risk.log.uptake import is_dry, soak, take_up

SUNLIT_STEPS, DARK_STEPS = 6, 2
"""Equal steps in which an hour's heat is moved: many while the sun can jump.

By the clock and not by the weather: no run knows its neighbours, and less sun never warms.
"""

REFRESH_HOURS = 3
"""Conductances follow moisture and temperature at this interval."""


@inlined
def through_boundary(
    a: FloatArray,
    hour: FloatArray,
    boundary: int,
    row: int,
    cell: int,
    depth_m: float,
    share: float,
) -> None:
    """Let vapour and liquid cross one boundary cell, with the heat they bring or take.

    Parameters
    ----------
    row, cell : int
        The cell's row in the boundary's terms and in the cells' terms.
    depth_m : float
        The cell's volume over its area on the boundary.
    share : float
        The cell's part of the boundary.
    """
    whole = at.SURFACE + boundary
    outside = at.F_SOIL_TEMP if boundary == at.GROUND else at.F_AIR_TEMP
    u, here, there = load(a, at.MOISTURE, cell), load(a, at.TEMP, cell), load_row(hour, outside)
    out = load(a, at.BOUNDARY_DRYING + boundary, row) * (u - load(a, whole, at.S_TARGET))
    surface = u - out * load(a, at.BOUNDARY_WATER_RESISTANCE + boundary, row)
    liquid, dried, condensed = (
        load(a, at.BOUNDARY_LIQUID + boundary, row),
        max(out, 0.0),
        max(-out, 0.0),
    )
    left = dried * here - condensed * there
    heat = (liquid * there - left) * (WATER_HEAT_CAPACITY_J_KG_K * SECONDS_PER_HOUR)
    store(a, at.BOUNDARY_OUT + boundary, row, out)
    store(a, at.BOUNDARY_MOISTURE + boundary, row, max(surface, 0.0))
    add_to(a, at.ENERGY, cell, heat * (1.0 / depth_m))
    add_to(a, whole, at.S_CONDENSED, condensed * share)
    add_to(a, whole, at.S_DRIED, dried * share)
    add_to(a, whole, at.S_WATER_HEAT, heat * share)
    add_to(a, whole, at.S_TAKEN_UP, liquid * share)


@compiled
def book_water(a: FloatArray, boundary: int, area_m2: float) -> None:
    """Book the vapour that crossed a boundary in one hour and the heat that all water brought."""
    whole, scale = at.SURFACE + boundary, area_m2 * SECONDS_PER_HOUR
    heat = load(a, whole, at.S_WATER_HEAT) * area_m2
    add_to(a, at.BUDGET, at.B_WATER_HEAT, heat)
    add_to(a, at.BUDGET, at.B_HEAT_MOVED, abs(heat))
    add_to(a, at.BUDGET, at.B_WATER_IN, load(a, whole, at.S_CONDENSED) * scale)
    add_to(a, at.BUDGET, at.B_WATER_OUT, load(a, whole, at.S_DRIED) * scale)


@compiled
def drain_surface(a: FloatArray, boundary: int, limit: int, area_m2: float) -> None:
    """What the hour leaves of surface water: uptake, then evaporation, then runoff over a limit.

    Parameters
    ----------
    limit : int
        Row of the limit among the parameters [kg/m2].
    """
    whole, dt = at.SURFACE + boundary, SECONDS_PER_HOUR
    come = load(a, at.SURFACE_WATER, boundary) + load(a, whole, at.S_INFLOW)
    water = max(come - load(a, whole, at.S_TAKEN_UP) * dt, 0.0)
    lost = min(load(a, whole, at.S_EVAPORATION) * dt, water)
    over = max(water - lost - load(a, at.PARAMETER, limit), 0.0)
    store(a, at.SURFACE_WATER, boundary, water - lost - over)
    store(a, whole, at.S_EVAPORATION, lost / dt)
    store(a, whole, at.S_RUNOFF, over)
    add_to(a, at.BUDGET, at.B_RUNOFF, over * area_m2)
    add_to(a, at.BUDGET, at.B_WATER_IN, (load(a, whole, at.S_INFLOW) + max(-lost, 0.0)) * area_m2)
    add_to(a, at.BUDGET, at.B_WATER_OUT, max(lost, 0.0) * area_m2)


@inlined
def move_water(grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray) -> None:
    """Move water for one hour: across the rings, along the levels, onto and off the surfaces.

    Vapour that leaves is kept in ``BOUNDARY_OUT`` and ``S_EVAPORATION``: the heat step pays its
    latent heat.
    """
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top = nr - 1, (nz - 1) * nr
    rho, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    full = curves.max_moisture
    girth = grid.edge_girth_m[last]
    section = np.pi * grid.radius_m * grid.radius_m
    for boundary in range(at.BOUNDARIES):
        store(a, at.SURFACE + boundary, at.S_CONDENSED, 0.0)
        store(a, at.SURFACE + boundary, at.S_DRIED, 0.0)
        store(a, at.SURFACE + boundary, at.S_WATER_HEAT, 0.0)
    slice_foot = grid.interface_level[grid.pieces] if grid.interface_level[grid.pieces] < nz else 0
    bark_dry, top_dry = is_dry(a, at.BARK, nz), is_dry(a, at.TOP, nr)
    for k in range(nz):
        first, depth = k * nr, grid.ring_area_m2[last] / girth
        if not bark_dry:
            take_up(a, at.BARK, k, first + last, full)
        hold_energy(a, first, nr, rho, dry)
        solve_water_line(
            a, at.WATER_R, first, 1, grid.ring_area_m2, rho, full, at.NOWHERE, at.BARK, k, girth
        )
        share = grid.level_m[k] / grid.height_m
        through_boundary(a, hour, at.BARK, k, first + last, depth, share)
    for i in range(nr):
        share = grid.ring_area_m2[i] / section
        if not top_dry:
            take_up(a, at.TOP, i, top + i, full)
            soak(a, grid.level_m, slice_foot, i, nr, rho)
        solve_water_line(a, at.WATER_Z, i, nr, grid.level_m, rho, full, at.GROUND, at.TOP, i, 1.0)
        through_boundary(a, hour, at.TOP, i, top + i, grid.level_m[nz - 1], share)
        through_boundary(a, hour, at.GROUND, i, i, grid.level_m[0], share)
    for boundary in range(at.BOUNDARIES):
        book_water(a, boundary, girth * grid.height_m if boundary == at.BARK else section)
    drain_surface(a, at.BARK, P.wood_bark_store_kg_m2, girth * grid.height_m)
    drain_surface(a, at.TOP, P.model_top_film_kg_m2, section)


@compiled
def face_air(a: FloatArray, boundary: int, size: FloatArray, whole_size: float) -> None:
    """Exchange of heat of a boundary's cells with the air in an hour; their surfaces' own part.

    The surface has no mass: half-cell and air lie in series.

    Parameters
    ----------
    size, whole_size
        Of the cells on the boundary, and of all of it.
    """
    whole = at.SURFACE + boundary
    gain, loss = load(a, whole, at.S_GAIN), load(a, whole, at.S_HEAT_LOSS)
    above = load(a, at.SURFACE_TEMP, boundary)
    for row in range(size.size):
        inner = load(a, at.BOUNDARY_HEAT + boundary, row)
        latent = LATENT_HEAT_VAPORIZATION_J_KG * load(a, at.BOUNDARY_OUT + boundary, row)
        resistance, driven = 1.0 / (loss + inner), gain - latent
        through = inner * resistance
        store(a, at.BOUNDARY_RESISTANCE + boundary, row, resistance)
        store(a, at.BOUNDARY_EXCHANGE + boundary, row, through * loss)
        store(a, at.BOUNDARY_DRIVEN + boundary, row, driven * through)
        store(a, at.BOUNDARY_TEMP + boundary, row, 0.0)
        above += driven * resistance * (size[row] / whole_size)
    store(a, at.SURFACE_TEMP, boundary, above)


@compiled
def face_soil(a: FloatArray, hour: FloatArray, rings: int) -> None:
    """Exchange of heat of the lowest cells with the soil in an hour."""
    for row in range(rings):
        through = load(a, at.BOUNDARY_HEAT + at.GROUND, row)
        store(a, at.BOUNDARY_EXCHANGE + at.GROUND, row, through)
        store(a, at.BOUNDARY_DRIVEN + at.GROUND, row, through * load_row(hour, at.F_SOIL_TEMP))
        store(a, at.BOUNDARY_TEMP + at.GROUND, row, 0.0)


@compiled
def close_lines(
    a: FloatArray, boundary: int, coupling: int, rows: int, cell: int, step: int, girth: float
) -> None:
    """Join the last cells of lines of heat to the outside.

    Parameters
    ----------
    coupling : int
        HEAT_R or HEAT_Z.
    rows, cell, step : int
        How many cells, the row of the first, rows from one to the next.
    girth : float
        A cell's area on the boundary for one unit of its line.
    """
    for row in range(rows):
        outside = girth * load(a, at.BOUNDARY_EXCHANGE + boundary, row)
        store(a, coupling, cell + row * step, outside)


@compiled
def note_surface(a: FloatArray, boundary: int, size: FloatArray, whole_size: float) -> None:
    """Add what the wood beneath warms a boundary's surface by to its mean over the hour."""
    above = load(a, at.SURFACE_TEMP, boundary)
    for row in range(size.size):
        mean = load(a, at.BOUNDARY_TEMP + boundary, row)
        below = load(a, at.BOUNDARY_HEAT + boundary, row) * mean
        resistance = load(a, at.BOUNDARY_RESISTANCE + boundary, row)
        above += below * resistance * (size[row] / whole_size)
    store(a, at.SURFACE_TEMP, boundary, above)


@compiled
def book_soil_heat(a: FloatArray, hour: FloatArray, area_m2: FloatArray) -> None:
    """Book the heat that came from the soil into the lowest cells in an hour."""
    for row in range(area_m2.size):
        joules = area_m2[row] * SECONDS_PER_HOUR
        warmer = load_row(hour, at.F_SOIL_TEMP) - load(a, at.BOUNDARY_TEMP + at.GROUND, row)
        heat = load(a, at.BOUNDARY_HEAT + at.GROUND, row) * warmer * joules
        add_to(a, at.BUDGET, at.B_GROUND_HEAT, heat)
        add_to(a, at.BUDGET, at.B_HEAT_MOVED, abs(heat))


@compiled
def book_heat(a: FloatArray, hour: FloatArray, boundary: int, area_m2: float) -> None:
    """Book the heat that crossed bark or top in one hour."""
    whole, joules = at.SURFACE + boundary, area_m2 * SECONDS_PER_HOUR
    warmer = load_row(hour, at.F_AIR_TEMP) - load(a, at.SURFACE_TEMP, boundary)
    exchange = load(a, whole, at.S_LONGWAVE) + load(a, whole, at.S_HEAT_LOSS) * warmer
    left = load(a, whole, at.S_DRIED) - load(a, whole, at.S_CONDENSED)
    latent = LATENT_HEAT_VAPORIZATION_J_KG * (load(a, whole, at.S_EVAPORATION) + left)
    sun = load(a, whole, at.S_SUN)
    add_to(a, at.BUDGET, at.B_SHORTWAVE, sun * joules)
    add_to(a, at.BUDGET, at.B_EXCHANGE, exchange * joules)
    add_to(a, at.BUDGET, at.B_LATENT, latent * joules)
    add_to(a, at.BUDGET, at.B_HEAT_MOVED, (sun + abs(exchange) + abs(latent)) * joules)


@compiled
def surface_gain(a: FloatArray, hour: FloatArray, boundary: int) -> None:
    """All that warms a boundary but vapour out of the wood, were its surface at 0 degC."""
    whole = at.SURFACE + boundary
    latent = LATENT_HEAT_VAPORIZATION_J_KG * load(a, whole, at.S_EVAPORATION)
    radiation = load(a, whole, at.S_SUN) + load(a, whole, at.S_LONGWAVE)
    air = load(a, whole, at.S_HEAT_LOSS) * load_row(hour, at.F_AIR_TEMP)
    store(a, whole, at.S_GAIN, radiation - latent + air)
    store(a, at.SURFACE_TEMP, boundary, 0.0)


@inlined
def heat_steps(girth_modes: FloatArray) -> int:
    """Steps of an hour by whether the sun is up in it; then its beam has modes."""
    up = 0
    for mode in range(at.MODES):
        up += girth_modes[mode] != 0.0
    return SUNLIT_STEPS if up else DARK_STEPS


@inlined
def start_heat(
    grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray, seconds: float
) -> None:
    """All that stays the same in every step of one hour's heat: lines, their ends, surfaces."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top = nr - 1, (nz - 1) * nr
    girth, section = grid.edge_girth_m[last], np.pi * grid.radius_m * grid.radius_m
    area, height = grid.ring_area_m2, grid.level_m
    surface_gain(a, hour, at.BARK)
    surface_gain(a, hour, at.TOP)
    face_air(a, at.BARK, height, grid.height_m)
    face_air(a, at.TOP, area, section)
    face_soil(a, hour, nr)
    close_lines(a, at.BARK, at.HEAT_R, nz, last, nr, girth)
    close_lines(a, at.TOP, at.HEAT_Z, nr, top, 1, 1.0)
    rho, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    eliminate_heat_lines(a, area, height, rho, dry, seconds)


@inlined
def move_heat(grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray, steps: int) -> None:
    """Conduct heat for one hour: across the rings, along the levels, then freeze or melt."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    area, height = grid.ring_area_m2, grid.level_m
    girth, section = grid.edge_girth_m[nr - 1], np.pi * grid.radius_m * grid.radius_m
    rho, dry, seconds = (
        curves.density_kg_m3,
        curves.dry_heat_capacity_j_kg_k,
        SECONDS_PER_HOUR / steps,
    )
    start_heat(grid, curves, a, hour, seconds)
    frosty = holds_ice(a, nz * nr)
    for _ in range(steps):
        cold = conduct_heat(a, area, height, girth, rho, dry, seconds)
        if cold or frosty:
            frosty = True
            settle_ice(a, nz * nr, dry)
    note_surface(a, at.BARK, height, grid.height_m)
    note_surface(a, at.TOP, area, section)
    book_soil_heat(a, hour, area)
    book_heat(a, hour, at.BARK, girth * grid.height_m)
    book_heat(a, hour, at.TOP, section)


@inlined
def step_hour(
    grid: Grid,
    curves: Curves,
    a: FloatArray,
    hour: FloatArray,
    girth_modes: FloatArray,
) -> None:
    """Advance the log by one hour under one row of forcing.

    Parameters
    ----------
    a : (TERMS, rows, CASES) array
        The log's state, changed in place.
    hour : (FORCINGS, CASES) array
        See the F_ names.
    girth_modes : (MODES,) array
        Discrete azimuthal modes of the beam's half-cosine; 0 while the sun is down.

    Raises
    ------
    ValueError
        State or forcing are not those of CASES cases.
    """
    if a.shape[2] != at.CASES or hour.shape[1] != at.CASES:
        raise ValueError("state and forcing need CASES cases")
    spawn = hold_spawn(a, hour) and grid.spawn_depth_m > 0.0
    balance_surfaces(grid, curves, a, hour)
    exchange_conductances(grid, curves, a)
    move_water(grid, curves, a, hour)
    if spawn:
        exchange_spawn(grid, curves, a)
    if is_bagged(hour):
        surfaces_give(a)
        rims_give(grid, a)
        settle_bag(grid, a, hour)
    steps = heat_steps(girth_modes)
    move_heat(grid, curves, a, hour, steps)
    move_azimuthal_heat(grid, curves, a, girth_modes, steps)
