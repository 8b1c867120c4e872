"""One hour of heat and water in a stack, compiled, for several parameter draws side by side.

Each half of an hour's work (water, then heat) is two implicit sweeps, across the rings and along
the levels (Lie splitting), so that no forcing however absurd makes a state leave its physical
range, and what enters one cell has left another or crossed an outer face, where it is booked.
:mod:`climate_risk.log.state` says how the fields lie in their array.
"""

from __future__ import annotations

import numpy as np

from climate_risk.compiled import compiled, inlined
from climate_risk.constants import (
    LATENT_HEAT_VAPORIZATION_J_KG,
    SECONDS_PER_HOUR,
    WATER_HEAT_CAPACITY_J_KG_K,
)
from climate_risk.log.air import convection_coefficient as convection_coefficient
from climate_risk.log.air import fast_exp as fast_exp
from climate_risk.log.air import saturation_vapour_density as saturation_vapour_density
from climate_risk.log.conductances import AXIAL_HEAT_RATIO as AXIAL_HEAT_RATIO
from climate_risk.log.conductances import refresh_conductances as refresh_conductances
from climate_risk.log.faces import balance_surfaces, face_water
from climate_risk.log.geometry import Grid
from climate_risk.log.lines import heat_along, hold_across, hold_energy, settle_ice, water_along
from climate_risk.log.modes import turn_heat
from climate_risk.log.state import *
from climate_risk.log.uptake import BOUND_WATER_MAX as BOUND_WATER_MAX
from climate_risk.log.uptake import dry_face, soak, take_up

REFRESH_HOURS = 3
"""Conductances follow moisture and temperature at this interval."""


@compiled
def drying_end(a: FloatArray, end: int, face: int, row: int, scale: float) -> None:
    """Drying of one face cell as the end of a line."""
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        pull = scale * a[FACE_DRYING + face, row, n]
        a[ENDS, end, n] = pull
        a[ENDS, end + 1, n] = pull * a[FACE + face, S_TARGET, n]


@compiled
def feeding_end(a: FloatArray, face: int, row: int, scale: float) -> None:
    """Liquid on one face cell as the high end of a line."""
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        a[ENDS, E_FEED, n] = scale * a[FACE_UPTAKE + face, row, n]
        a[ENDS, E_SUPPLY, n] = scale * a[FACE + face, S_SUPPLY, n]


@compiled
def fed_end(a: FloatArray, face: int, row: int, scale: float) -> None:
    """How much of that liquid the line took."""
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        a[FACE_UPTAKE + face, row, n] = a[ENDS, E_TAKEN, n] * (1.0 / scale)


@compiled
def through_face(
    a: FloatArray,
    hour: FloatArray,
    face: int,
    row: int,
    cell: int,
    depth_m: float,
    share: float,
) -> None:
    """Let vapour and liquid cross one face cell, with the heat they bring or take.

    Parameters
    ----------
    row, cell : int
        The cell's row in the face's terms and in the cells' terms.
    depth_m : float
        The cell's volume over its area on the face.
    share : float
        The cell's part of the face.
    """
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    outside = F_SOIL_TEMP if face == GROUND else F_AIR_TEMP
    for n in range(LANES):
        wetter = a[MOISTURE, cell, n] - a[FACE + face, S_TARGET, n]
        a[FACE_OUT + face, row, n] = a[FACE_DRYING + face, row, n] * wetter
    for n in range(LANES):
        u = a[MOISTURE, cell, n]
        skin = u - a[FACE_OUT + face, row, n] / a[FACE_WATER + face, row, n]
        a[FACE_MOISTURE + face, row, n] = max(skin, 0.0)
    for n in range(LANES):
        out, here, there = a[FACE_OUT + face, row, n], a[TEMP, cell, n], hour[outside, n]
        taken = a[FACE_UPTAKE + face, row, n] * there
        left = out * (here if out > 0.0 else there)
        a[ENDS, E_HEAT, n] = (taken - left) * (WATER_HEAT_CAPACITY_J_KG_K * SECONDS_PER_HOUR)
    for n in range(a.shape[2]):
        a[ENERGY, cell, n] += a[ENDS, E_HEAT, n] * (1.0 / depth_m)
    for n in range(LANES):
        out = a[FACE_OUT + face, row, n] * share
        a[FACE + face, S_CONDENSED, n] += max(-out, 0.0)
        a[FACE + face, S_DRIED, n] += max(out, 0.0)
        a[FACE + face, S_WATER_HEAT, n] += a[ENDS, E_HEAT, n] * share
    for n in range(LANES):
        a[FACE + face, S_TAKEN_UP, n] += a[FACE_UPTAKE + face, row, n] * share


@compiled
def book_water(a: FloatArray, face: int, area_m2: float) -> None:
    """Book the vapour that crossed a face in one hour and the heat that all water brought."""
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        heat = a[FACE + face, S_WATER_HEAT, n] * area_m2
        a[LEDGER, B_WATER_HEAT, n] += heat
        a[LEDGER, B_HEAT_MOVED, n] += abs(heat)
        a[LEDGER, B_WATER_IN, n] += a[FACE + face, S_CONDENSED, n] * (area_m2 * SECONDS_PER_HOUR)
        a[LEDGER, B_WATER_OUT, n] += a[FACE + face, S_DRIED, n] * (area_m2 * SECONDS_PER_HOUR)


@compiled
def drain_film(a: FloatArray, face: int, own_limit: int, area_m2: float) -> None:
    """What the hour leaves of a film: uptake, then evaporation, then runoff over its limit."""
    if a.shape[2] != LANES:
        return
    dt = SECONDS_PER_HOUR
    for n in range(LANES):
        come = a[FILM, face, n] + a[FACE + face, S_INFLOW, n]
        water = max(come - a[FACE + face, S_TAKEN_UP, n] * dt, 0.0)
        lost = min(a[FACE + face, S_FILM_OUT, n] * dt, water)
        over = max(water - lost - a[OWN, own_limit, n], 0.0)
        a[FILM, face, n] = water - lost - over
        a[FACE + face, S_FILM_OUT, n] = lost / dt
        a[FACE + face, S_OVER, n] = over
    for n in range(LANES):
        lost = a[FACE + face, S_FILM_OUT, n] * dt
        a[LEDGER, B_RUNOFF, n] += a[FACE + face, S_OVER, n] * area_m2
        a[LEDGER, B_WATER_IN, n] += (a[FACE + face, S_INFLOW, n] + max(-lost, 0.0)) * area_m2
        a[LEDGER, B_WATER_OUT, n] += max(lost, 0.0) * area_m2


@inlined
def move_water(grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray) -> None:
    """Move water for one hour: across the rings, along the levels, onto and off the films.

    Vapour that leaves is kept in ``FACE_OUT`` and ``S_FILM_OUT``: the heat step pays its
    latent heat.
    """
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top = nr - 1, (nz - 1) * nr
    rho, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    full = curves.max_moisture
    girth = grid.edge_girth_m[last]
    section = np.pi * grid.radius_m * grid.radius_m
    for n in range(LANES):
        a[ENDS, E_LOW, n] = 0.0
        a[ENDS, E_LOW_DRIVE, n] = 0.0
    for face in range(FACES):
        for n in range(LANES):
            a[FACE + face, S_CONDENSED, n] = 0.0
            a[FACE + face, S_DRIED, n] = 0.0
            a[FACE + face, S_WATER_HEAT, n] = 0.0
    slice_foot = grid.face_level[grid.pieces] if grid.face_level[grid.pieces] < nz else 0
    bark_dry, top_dry = dry_face(a, BARK, nz), dry_face(a, TOP, nr)
    for k in range(nz):
        first, depth = k * nr, grid.ring_area_m2[last] / girth
        hold_energy(a, first, nr, rho, dry)
        if not bark_dry:
            take_up(a, BARK, k, first + last, full)
        drying_end(a, E_HIGH, BARK, k, girth)
        feeding_end(a, BARK, k, girth)
        water_along(a, WATER_R, first, 1, grid.ring_area_m2, rho, full)
        fed_end(a, BARK, k, girth)
        through_face(a, hour, BARK, k, first + last, depth, grid.level_m[k] / grid.height_m)
    for i in range(nr):
        share = grid.ring_area_m2[i] / section
        if not top_dry:
            take_up(a, TOP, i, top + i, full)
            soak(a, grid.level_m, slice_foot, i, nr, rho)
        drying_end(a, E_LOW, GROUND, i, 1.0)
        drying_end(a, E_HIGH, TOP, i, 1.0)
        feeding_end(a, TOP, i, 1.0)
        water_along(a, WATER_Z, i, nr, grid.level_m, rho, full)
        fed_end(a, TOP, i, 1.0)
        through_face(a, hour, TOP, i, top + i, grid.level_m[nz - 1], share)
        through_face(a, hour, GROUND, i, i, grid.level_m[0], share)
    for face in range(FACES):
        book_water(a, face, girth * grid.height_m if face == BARK else section)
    drain_film(a, BARK, O_BARK_STORE, girth * grid.height_m)
    drain_film(a, TOP, O_TOP_FILM, section)


@compiled
def warming_end(a: FloatArray, face: int, row: int, scale: float) -> None:
    """A face cell's exchange of heat with the air as the end of a line.

    The surface has no mass: half-cell and air lie in series.
    """
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        back = a[FACE + face, S_BACK, n]
        a[FACE_JOIN + face, row, n] = 1.0 / (back + a[FACE_HEAT + face, row, n])
    for n in range(LANES):
        through = scale * a[FACE_HEAT + face, row, n] * a[FACE_JOIN + face, row, n]
        evaporated = LATENT_HEAT_VAPORIZATION_J_KG * a[FACE_OUT + face, row, n]
        a[ENDS, E_HIGH, n] = through * a[FACE + face, S_BACK, n]
        a[ENDS, E_HIGH_DRIVE, n] = through * (a[FACE + face, S_GAIN, n] - evaporated)


@compiled
def soil_end(a: FloatArray, hour: FloatArray, row: int) -> None:
    """The lowest cell's exchange of heat with the soil as the end of a line."""
    for n in range(LANES):
        a[ENDS, E_LOW, n] = a[FACE_HEAT + GROUND, row, n]
    for n in range(LANES):
        a[ENDS, E_LOW_DRIVE, n] = a[FACE_HEAT + GROUND, row, n] * hour[F_SOIL_TEMP, n]


@compiled
def note_surface(a: FloatArray, face: int, row: int, cell: int, share: float) -> None:
    """Add one face cell's surface to the mean temperature of its face."""
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        evaporated = LATENT_HEAT_VAPORIZATION_J_KG * a[FACE_OUT + face, row, n]
        below = a[FACE_HEAT + face, row, n] * a[TEMP, cell, n]
        driven = a[FACE + face, S_GAIN, n] - evaporated + below
        a[SURFACE_TEMP, face, n] += driven * a[FACE_JOIN + face, row, n] * share


@compiled
def book_soil_heat(a: FloatArray, hour: FloatArray, row: int, area_m2: float) -> None:
    """Book the heat that came from the soil into one of the lowest cells."""
    for n in range(LANES):
        warmer = hour[F_SOIL_TEMP, n] - a[TEMP, row, n]
        heat = a[FACE_HEAT + GROUND, row, n] * warmer * (area_m2 * SECONDS_PER_HOUR)
        a[LEDGER, B_GROUND_HEAT, n] += heat
        a[LEDGER, B_HEAT_MOVED, n] += abs(heat)


@compiled
def book_heat(a: FloatArray, hour: FloatArray, face: int, area_m2: float) -> None:
    """Book the heat that crossed bark or top in one hour."""
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    joules = area_m2 * SECONDS_PER_HOUR
    for n in range(LANES):
        warmer = hour[F_AIR_TEMP, n] - a[SURFACE_TEMP, face, n]
        exchange = a[FACE + face, S_LONGWAVE, n] + a[FACE + face, S_BACK, n] * warmer
        left = a[FACE + face, S_DRIED, n] - a[FACE + face, S_CONDENSED, n]
        evaporated = LATENT_HEAT_VAPORIZATION_J_KG * (a[FACE + face, S_FILM_OUT, n] + left)
        sun = a[FACE + face, S_SUN, n]
        a[LEDGER, B_SHORTWAVE, n] += sun * joules
        a[LEDGER, B_EXCHANGE, n] += exchange * joules
        a[LEDGER, B_LATENT, n] += evaporated * joules
        a[LEDGER, B_HEAT_MOVED, n] += (sun + abs(exchange) + abs(evaporated)) * joules


@compiled
def face_gain(a: FloatArray, hour: FloatArray, face: int) -> None:
    """All that warms a face but vapour out of the wood, were its surface at 0 degC."""
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    for n in range(LANES):
        evaporated = LATENT_HEAT_VAPORIZATION_J_KG * a[FACE + face, S_FILM_OUT, n]
        radiation = a[FACE + face, S_SUN, n] + a[FACE + face, S_LONGWAVE, n]
        air = a[FACE + face, S_BACK, n] * hour[F_AIR_TEMP, n]
        a[FACE + face, S_GAIN, n] = radiation - evaporated + air
        a[SURFACE_TEMP, face, n] = 0.0


@inlined
def move_heat(grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray) -> None:
    """Conduct heat for one hour: across the rings, along the levels, then freeze or melt."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top = nr - 1, (nz - 1) * nr
    rho, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    girth, section = grid.edge_girth_m[last], np.pi * grid.radius_m * grid.radius_m
    face_gain(a, hour, BARK)
    face_gain(a, hour, TOP)
    for n in range(LANES):
        a[ENDS, E_LOW, n] = 0.0
        a[ENDS, E_LOW_DRIVE, n] = 0.0
    for k in range(nz):
        first = k * nr
        warming_end(a, BARK, k, girth)
        hold_across(a, first, grid.ring_area_m2)
        heat_along(a, HEAT_R, first, 1, grid.ring_area_m2, rho, dry)
        note_surface(a, BARK, k, first + last, grid.level_m[k] / grid.height_m)
    for i in range(nr):
        area = grid.ring_area_m2[i]
        soil_end(a, hour, i)
        warming_end(a, TOP, i, 1.0)
        heat_along(a, HEAT_Z, i, nr, grid.level_m, rho, dry)
        note_surface(a, TOP, i, top + i, area / section)
        book_soil_heat(a, hour, i, area)
        settle_ice(a, i, nr, nz, dry)
    book_heat(a, hour, BARK, girth * grid.height_m)
    book_heat(a, hour, TOP, section)


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
    a : (TERMS, rows, LANES) array
        The log's state, changed in place.
    hour : (FORCINGS, LANES) array
        See the F_ names.
    girth_modes : (MODES,) array
        Discrete angular modes of the beam's half-cosine.
    """
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        raise ValueError("state and forcing need LANES lanes")
    balance_surfaces(grid, curves, a, hour)
    face_water(grid, curves, a)
    move_water(grid, curves, a, hour)
    move_heat(grid, curves, a, hour)
    turn_heat(grid, curves, a, girth_modes)
