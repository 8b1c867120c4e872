"""One hour of heat and water in a stack, compiled, for several parameter draws side by side.

Each half of an hour's work (water, then heat) is two implicit sweeps, across the rings and along
the levels (Lie splitting), so that no forcing however absurd makes a state leave its physical
range, and what enters one cell has left another or crossed an outer face, where it is booked.
:mod:`climate_risk.log.state` says how the fields lie in their array.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from climate_risk.constants import (
    GAS_CONSTANT_J_MOL_K,
    KELVIN_AT_0_C,
    LATENT_HEAT_FUSION_J_KG,
    LATENT_HEAT_VAPORIZATION_J_KG,
    SECONDS_PER_HOUR,
    WATER_HEAT_CAPACITY_J_KG_K,
)
from climate_risk.log.faces import (
    BOUND_WATER_MAX,
    FREEZING_TEMP_C,
    balance_surfaces,
    face_water,
    fast_exp,
    least,
    look_up,
    most,
    size_of,
    take_up,
    thawed_share,
)
from climate_risk.log.faces import convection_coefficient as convection_coefficient
from climate_risk.log.faces import saturation_vapour_density as saturation_vapour_density
from climate_risk.log.geometry import Grid
from climate_risk.log.state import *
from climate_risk.log.wood import MOISTURE_STEP

REFRESH_HOURS = 3
"""Conductances follow moisture and temperature at this interval."""
FROZEN_FLOW = 0.1
"""Share of free-water flow left in frozen wood (judgement)."""
AXIAL_HEAT_RATIO = 1.8
"""Conductivity along over across the grain (Wood Handbook FPL-GTR-190, ch. 4: 1.5 to 2.8)."""
FAINTEST_MODE_W = 1e-200
"""Keeps angular modes of long nights from fading into denormal numbers, which are slow."""


@njit(**COMPILED)
def keep_own(lanes: Lanes, a: FloatArray) -> None:
    """Lay the lanes' own values beside the state, see :mod:`climate_risk.log.state`."""
    for own in range(len(lanes)):
        values = lanes[own]
        for n in range(a.shape[2]):
            a[OWN, own, n] = values[n]


@njit(**COMPILED)
def cell_properties(a: FloatArray, cells: int, bound_table: FloatArray, density: float) -> None:
    """Diffusivities and heat conductivity of every cell.

    Bound water moves by Siau's diffusivity with its activation energy, free water by the lane's
    constant, blended from 0.25 to 0.35 kg/kg.
    """
    g = density / 1000.0
    for r in range(cells):
        look_up(a, ACROSS, r, MOISTURE, r, bound_table, MOISTURE_STEP)
        for n in range(LANES):
            u, kelvin = a[MOISTURE, r, n], a[TEMP, r, n] + KELVIN_AT_0_C
            energy = (38500.0 - 29000.0 * least(u, 0.30)) * (1.0 / GAS_CONSTANT_J_MOL_K)
            warmth = energy * (1.0 / 293.15 - 1.0 / kelvin)
            free = least(most((u - 0.25) * 10.0, 0.0), 1.0)
            a[ACROSS, r, n] *= (1.0 - free) * fast_exp(warmth)
            thawed = thawed_share(a[TEMP, r, n], a[ICE, r, n], u)
            a[FREE_FLOW, r, n] = free * (FROZEN_FLOW + (1.0 - FROZEN_FLOW) * thawed)
        for n in range(LANES):
            bound, flow, u = a[ACROSS, r, n], a[FREE_FLOW, r, n], a[MOISTURE, r, n]
            a[ACROSS, r, n] = bound + flow * a[OWN, O_FREE_TRANSVERSE, n]
            along = bound * a[OWN, O_ANISOTROPY, n]
            a[ALONG, r, n] = along + flow * a[OWN, O_FREE_LONGITUDINAL, n]
            c = most(0.404 * u, least(0.548 * u, 0.1212 + 0.98 * (u - 0.30)))
            a[CONDUCTIVITY, r, n] = g * (0.200 + c) + 0.0238


@njit(inline="always", **COMPILED)
def join_rings(grid: Grid, density: float, a: FloatArray) -> None:
    """Conductances between rings: two half rings in series."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    for k in range(nz):
        for i in range(nr - 1):
            r = k * nr + i
            out, into, edge = grid.ring_out_m[i], grid.ring_in_m[i + 1], grid.edge_girth_m[i]
            for n in range(LANES):
                here, there = a[ACROSS, r, n], a[ACROSS, r + 1, n]
                warm_here, warm_there = a[CONDUCTIVITY, r, n], a[CONDUCTIVITY, r + 1, n]
                water, heat = out * there + into * here, out * warm_there + into * warm_here
                # One division serves both: divisions are what this kernel mostly waits for.
                shared = edge / (water * heat)
                a[WATER_R, r, n] = density * here * there * heat * shared
                a[HEAT_R, r, n] = warm_here * warm_there * water * shared


@njit(inline="always", **COMPILED)
def join_levels(grid: Grid, density: float, a: FloatArray) -> None:
    """Conductances between levels: half levels, and the spawn layer, in series.

    Water that sinks into drier wood below fills its vessels and runs as in uptake; water drawn
    up toward drying wood runs in broken columns, more slowly.
    """
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    for k in range(nz - 1):
        low, high = 0.5 * grid.level_m[k], 0.5 * grid.level_m[k + 1]
        spawn = 0.5 * grid.contact[k + 1]
        for r in range(k * nr, k * nr + nr):
            q = r + nr
            for n in range(LANES):
                faster = a[OWN, O_UPTAKE_DIFFUSIVITY, n] - a[OWN, O_FREE_LONGITUDINAL, n]
                a[SWEEP, r, n] = faster if a[MOISTURE, q, n] > a[MOISTURE, r, n] else 0.0
            for n in range(LANES):
                gap, faster = spawn * a[OWN, O_CONTACT, n], a[SWEEP, r, n]
                here = a[ALONG, r, n] + a[FREE_FLOW, r, n] * faster
                there = a[ALONG, q, n] + a[FREE_FLOW, q, n] * faster
                series = (low + gap) * there + (high + gap) * here
                a[WATER_Z, r, n] = density * here * there / series
            for n in range(LANES):
                here, there = a[CONDUCTIVITY, r, n], a[CONDUCTIVITY, q, n]
                a[HEAT_Z, r, n] = AXIAL_HEAT_RATIO * here * there / (low * there + high * here)


@njit(inline="always", **COMPILED)
def join_faces(grid: Grid, density: float, a: FloatArray) -> None:
    """Conductances of the half-cells under the outer faces, with bark and ground barrier."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top, half = nr - 1, (nz - 1) * nr, grid.ring_out_m[nr - 1]
    for k in range(nz):
        r = k * nr + last
        for n in range(LANES):
            bark = a[OWN, O_BARK_HEAT_RESISTANCE, n]
            a[FACE_WATER + BARK, k, n] = density / half * a[ACROSS, r, n]
            a[FACE_HEAT + BARK, k, n] = 1.0 / (half / a[CONDUCTIVITY, r, n] + bark)
    low, high = 0.5 * grid.level_m[0], 0.5 * grid.level_m[nz - 1]
    for i in range(nr):
        r = top + i
        for n in range(LANES):
            a[FACE_WATER + TOP, i, n] = density / high * a[ALONG, r, n]
            a[FACE_HEAT + TOP, i, n] = AXIAL_HEAT_RATIO / high * a[CONDUCTIVITY, r, n]
        for n in range(LANES):
            barrier = a[OWN, O_BARRIER_HEAT, n]
            inner = AXIAL_HEAT_RATIO / low * a[CONDUCTIVITY, i, n]
            a[FACE_WATER + GROUND, i, n] = density / low * a[ALONG, i, n]
            a[FACE_HEAT + GROUND, i, n] = barrier * inner / (barrier + inner)


@njit(**COMPILED)
def refresh_conductances(grid: Grid, curves: Curves, lanes: Lanes, a: FloatArray) -> None:
    """Water and heat conductances between cells from the present moisture and temperature."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    if a.shape[2] != LANES:
        raise ValueError("a state needs LANES lanes")
    keep_own(lanes, a)
    cell_properties(a, nz * nr, curves.bound_diffusivity_m2_s, curves.density_kg_m3)
    join_rings(grid, curves.density_kg_m3, a)
    join_levels(grid, curves.density_kg_m3, a)
    join_faces(grid, curves.density_kg_m3, a)


@njit(**COMPILED)
def hold_energy(a: FloatArray, first: int, cells: int, density: float, dry: float) -> None:
    """Heat of a line's cells, before water that moves carries some of it along."""
    for r in range(first, first + cells):
        for n in range(a.shape[2]):
            capacity = density * (dry + WATER_HEAT_CAPACITY_J_KG_K * a[MOISTURE, r, n])
            a[ENERGY, r, n] = capacity * a[TEMP, r, n]


@njit(**COMPILED)
def water_along(
    a: FloatArray, coupling: int, first: int, step: int, size: FloatArray, density: float
) -> None:
    """Move water along one line of cells, and its heat with it (Thomas algorithm, all lanes).

    Parameters
    ----------
    coupling : int
        WATER_R or WATER_Z.
    first, step : int
        Row of the line's first cell, rows from one cell to the next.
    size : (cells,) array
        Ring areas [m2] or level heights [m].
    """
    cells = size.size
    rate = density / SECONDS_PER_HOUR
    mass, r = rate * size[0], first
    for n in range(LANES):
        up = a[coupling, r, n]
        pivot = 1.0 / (mass + a[ENDS, E_LOW, n] + up)
        a[SWEEP, first, n] = up * pivot
        a[MOISTURE, r, n] = (mass * a[MOISTURE, r, n] + a[ENDS, E_LOW_DRIVE, n]) * pivot
    for j in range(1, cells - 1):
        mass, q, r = rate * size[j], r, r + step
        for n in range(LANES):
            down, up = a[coupling, q, n], a[coupling, r, n]
            pivot = 1.0 / (mass + up + down * (1.0 - a[SWEEP, q, n]))
            a[SWEEP, r, n] = up * pivot
            a[MOISTURE, r, n] = (mass * a[MOISTURE, r, n] + down * a[MOISTURE, q, n]) * pivot
    last = cells - 1
    mass, q, r = rate * size[last], r, r + step
    for n in range(LANES):
        down = a[coupling, q, n]
        pivot = 1.0 / (mass + a[ENDS, E_HIGH, n] + down * (1.0 - a[SWEEP, q, n]))
        drive = down * a[MOISTURE, q, n] + a[ENDS, E_HIGH_DRIVE, n]
        a[MOISTURE, r, n] = (mass * a[MOISTURE, r, n] + drive) * pivot
        a[SWEEP, r, n] = 0.0
    for j in range(last - 1, -1, -1):
        q, r = r, r - step
        carried = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[j + 1]
        for n in range(a.shape[2]):
            a[MOISTURE, r, n] += a[SWEEP, r, n] * a[MOISTURE, q, n]
        for n in range(LANES):
            here, there = a[TEMP, r, n], a[TEMP, q, n]
            flux = a[coupling, r, n] * (a[MOISTURE, r, n] - a[MOISTURE, q, n])
            a[SWEEP, r, n] = flux * (here if flux > 0.0 else there)
        for n in range(a.shape[2]):
            a[ENERGY, q, n] += carried * (a[SWEEP, r, n] - a[SWEEP, q, n])
    for n in range(a.shape[2]):
        carried = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[0]
        a[ENERGY, first, n] -= carried * a[SWEEP, first, n]


@njit(**COMPILED)
def heat_along(
    a: FloatArray,
    coupling: int,
    first: int,
    step: int,
    size: FloatArray,
    density: float,
    dry_heat: float,
) -> None:
    """Conduct heat along one line of cells; arguments as in :func:`water_along`.

    ``TEMP`` receives the temperatures; it holds what the cells hold of heat, per hour and per
    metre of height (rings) or square metre (levels) [W].
    """
    cells = size.size
    rate = density / SECONDS_PER_HOUR
    dry, wet = dry_heat * rate, WATER_HEAT_CAPACITY_J_KG_K * rate
    r = first
    for n in range(LANES):
        up, mass = a[coupling, r, n], size[0] * (dry + wet * a[MOISTURE, r, n])
        pivot = 1.0 / (mass + a[ENDS, E_LOW, n] + up)
        a[SWEEP, r, n] = up * pivot
        a[TEMP, r, n] = (a[TEMP, r, n] + a[ENDS, E_LOW_DRIVE, n]) * pivot
    for j in range(1, cells - 1):
        q, r = r, r + step
        for n in range(LANES):
            down, up = a[coupling, q, n], a[coupling, r, n]
            mass = size[j] * (dry + wet * a[MOISTURE, r, n])
            pivot = 1.0 / (mass + up + down * (1.0 - a[SWEEP, q, n]))
            a[SWEEP, r, n] = up * pivot
            a[TEMP, r, n] = (a[TEMP, r, n] + down * a[TEMP, q, n]) * pivot
    q, r = r, r + step
    for n in range(LANES):
        down, mass = a[coupling, q, n], size[cells - 1] * (dry + wet * a[MOISTURE, r, n])
        pivot = 1.0 / (mass + a[ENDS, E_HIGH, n] + down * (1.0 - a[SWEEP, q, n]))
        drive = down * a[TEMP, q, n] + a[ENDS, E_HIGH_DRIVE, n]
        a[TEMP, r, n] = (a[TEMP, r, n] + drive) * pivot
    for _ in range(cells - 1):
        q, r = r, r - step
        for n in range(a.shape[2]):
            a[TEMP, r, n] += a[SWEEP, r, n] * a[TEMP, q, n]


@njit(**COMPILED)
def hold_across(a: FloatArray, first: int, area: FloatArray) -> None:
    """Heat of one level's cells per hour and metre of height, for :func:`heat_along`."""
    for i in range(area.size):
        r, share = first + i, area[i] / SECONDS_PER_HOUR
        for n in range(a.shape[2]):
            a[TEMP, r, n] = share * a[ENERGY, r, n]


@njit(**COMPILED)
def hold_along(
    a: FloatArray, first: int, cells: int, height: float, density: float, dry_heat: float
) -> None:
    """Heat of one level's cells per hour and square metre, for :func:`heat_along`."""
    rate = density * height / SECONDS_PER_HOUR
    dry, wet = dry_heat * rate, WATER_HEAT_CAPACITY_J_KG_K * rate
    for r in range(first, first + cells):
        for n in range(a.shape[2]):
            a[TEMP, r, n] *= dry + wet * a[MOISTURE, r, n]


@njit(**COMPILED)
def drying_end(a: FloatArray, end: int, face: int, row: int, scale: float, full: float) -> None:
    """Drying and uptake of one face cell as the end of a line."""
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        pull = scale * a[FACE_DRYING + face, row, n]
        feed = scale * a[FACE_UPTAKE + face, row, n]
        a[ENDS, end, n] = pull + feed
        a[ENDS, end + 1, n] = pull * a[FACE + face, S_TARGET, n] + feed * full


@njit(**COMPILED)
def through_face(
    a: FloatArray,
    hour: FloatArray,
    face: int,
    row: int,
    cell: int,
    depth_m: float,
    share: float,
    full: float,
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
    full : float
        Moisture to which liquid can wet the wood.
    """
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    outside = F_SOIL_TEMP if face == GROUND else F_AIR_TEMP
    for n in range(LANES):
        wetter = a[MOISTURE, cell, n] - a[FACE + face, S_TARGET, n]
        a[FACE_OUT + face, row, n] = a[FACE_DRYING + face, row, n] * wetter
    for n in range(LANES):
        u = a[MOISTURE, cell, n]
        a[FACE_UPTAKE + face, row, n] *= full - u
        skin = u - a[FACE_OUT + face, row, n] / a[FACE_WATER + face, row, n]
        a[FACE_MOISTURE + face, row, n] = most(skin, 0.0)
    for n in range(LANES):
        out, here, there = a[FACE_OUT + face, row, n], a[TEMP, cell, n], hour[outside, n]
        taken = a[FACE_UPTAKE + face, row, n] * there
        left = out * (here if out > 0.0 else there)
        a[ENDS, E_HEAT, n] = (taken - left) * (WATER_HEAT_CAPACITY_J_KG_K * SECONDS_PER_HOUR)
    for n in range(a.shape[2]):
        a[ENERGY, cell, n] += a[ENDS, E_HEAT, n] * (1.0 / depth_m)
    for n in range(LANES):
        out = a[FACE_OUT + face, row, n] * share
        a[FACE + face, S_CONDENSED, n] += most(-out, 0.0)
        a[FACE + face, S_DRIED, n] += most(out, 0.0)
        a[FACE + face, S_WATER_HEAT, n] += a[ENDS, E_HEAT, n] * share
    for n in range(LANES):
        a[FACE + face, S_TAKEN_UP, n] += a[FACE_UPTAKE + face, row, n] * share


@njit(**COMPILED)
def book_water(a: FloatArray, face: int, area_m2: float) -> None:
    """Book the vapour that crossed a face in one hour and the heat that all water brought."""
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        heat = a[FACE + face, S_WATER_HEAT, n] * area_m2
        a[LEDGER, B_WATER_HEAT, n] += heat
        a[LEDGER, B_HEAT_MOVED, n] += size_of(heat)
        a[LEDGER, B_WATER_IN, n] += a[FACE + face, S_CONDENSED, n] * (area_m2 * SECONDS_PER_HOUR)
        a[LEDGER, B_WATER_OUT, n] += a[FACE + face, S_DRIED, n] * (area_m2 * SECONDS_PER_HOUR)


@njit(**COMPILED)
def drain_film(a: FloatArray, face: int, own_limit: int, area_m2: float) -> None:
    """What the hour leaves of a film: uptake, then evaporation, then runoff over its limit."""
    if a.shape[2] != LANES:
        return
    dt = SECONDS_PER_HOUR
    for n in range(LANES):
        come = a[FILM, face, n] + a[FACE + face, S_INFLOW, n]
        water = most(come - a[FACE + face, S_TAKEN_UP, n] * dt, 0.0)
        lost = least(a[FACE + face, S_FILM_OUT, n] * dt, water)
        over = most(water - lost - a[OWN, own_limit, n], 0.0)
        a[FILM, face, n] = water - lost - over
        a[FACE + face, S_FILM_OUT, n] = lost / dt
        a[FACE + face, S_OVER, n] = over
    for n in range(LANES):
        lost = a[FACE + face, S_FILM_OUT, n] * dt
        a[LEDGER, B_RUNOFF, n] += a[FACE + face, S_OVER, n] * area_m2
        a[LEDGER, B_WATER_IN, n] += (a[FACE + face, S_INFLOW, n] + most(-lost, 0.0)) * area_m2
        a[LEDGER, B_WATER_OUT, n] += most(lost, 0.0) * area_m2


@njit(inline="always", **COMPILED)
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
    for k in range(nz):
        first, depth = k * nr, grid.ring_area_m2[last] / girth
        hold_energy(a, first, nr, rho, dry)
        mass = rho * depth / SECONDS_PER_HOUR
        take_up(a, BARK, k, first + last, WATER_R, first + last - 1, girth, mass, full)
        drying_end(a, E_HIGH, BARK, k, girth, full)
        water_along(a, WATER_R, first, 1, grid.ring_area_m2, rho)
        through_face(a, hour, BARK, k, first + last, depth, grid.level_m[k] / grid.height_m, full)
    for i in range(nr):
        share = grid.ring_area_m2[i] / section
        drying_end(a, E_LOW, GROUND, i, 1.0, full)
        mass = rho * grid.level_m[nz - 1] / SECONDS_PER_HOUR
        take_up(a, TOP, i, top + i, WATER_Z, top + i - nr, 1.0, mass, full)
        drying_end(a, E_HIGH, TOP, i, 1.0, full)
        water_along(a, WATER_Z, i, nr, grid.level_m, rho)
        through_face(a, hour, TOP, i, top + i, grid.level_m[nz - 1], share, full)
        through_face(a, hour, GROUND, i, i, grid.level_m[0], share, full)
    for face in range(FACES):
        book_water(a, face, girth * grid.height_m if face == BARK else section)
    drain_film(a, BARK, O_BARK_STORE, girth * grid.height_m)
    drain_film(a, TOP, O_TOP_FILM, section)


@njit(**COMPILED)
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


@njit(**COMPILED)
def soil_end(a: FloatArray, hour: FloatArray, row: int) -> None:
    """The lowest cell's exchange of heat with the soil as the end of a line."""
    for n in range(LANES):
        a[ENDS, E_LOW, n] = a[FACE_HEAT + GROUND, row, n]
    for n in range(LANES):
        a[ENDS, E_LOW_DRIVE, n] = a[FACE_HEAT + GROUND, row, n] * hour[F_SOIL_TEMP, n]


@njit(**COMPILED)
def note_surface(a: FloatArray, face: int, row: int, cell: int, share: float) -> None:
    """Add one face cell's surface to the mean temperature of its face."""
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        evaporated = LATENT_HEAT_VAPORIZATION_J_KG * a[FACE_OUT + face, row, n]
        below = a[FACE_HEAT + face, row, n] * a[TEMP, cell, n]
        driven = a[FACE + face, S_GAIN, n] - evaporated + below
        a[SURFACE_TEMP, face, n] += driven * a[FACE_JOIN + face, row, n] * share


@njit(**COMPILED)
def book_soil_heat(a: FloatArray, hour: FloatArray, row: int, area_m2: float) -> None:
    """Book the heat that came from the soil into one of the lowest cells."""
    for n in range(LANES):
        warmer = hour[F_SOIL_TEMP, n] - a[TEMP, row, n]
        heat = a[FACE_HEAT + GROUND, row, n] * warmer * (area_m2 * SECONDS_PER_HOUR)
        a[LEDGER, B_GROUND_HEAT, n] += heat
        a[LEDGER, B_HEAT_MOVED, n] += size_of(heat)


@njit(**COMPILED)
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
        a[LEDGER, B_HEAT_MOVED, n] += (sun + size_of(exchange) + size_of(evaporated)) * joules


@njit(**COMPILED)
def settle_ice(a: FloatArray, first: int, step: int, cells: int, dry_heat: float) -> None:
    """Freeze or melt free water at 0 degC; each cell's own temperature pays for it."""
    dry = dry_heat / LATENT_HEAT_FUSION_J_KG
    wet = WATER_HEAT_CAPACITY_J_KG_K / LATENT_HEAT_FUSION_J_KG
    for j in range(cells):
        r = first + j * step
        cold = 0
        for n in range(LANES):
            temp, ice = a[TEMP, r, n], a[ICE, r, n]
            cold += (temp < FREEZING_TEMP_C) | (ice > 0.0)
        if cold == 0:
            continue
        for n in range(LANES):
            u, before, temp = a[MOISTURE, r, n], a[ICE, r, n], a[TEMP, r, n]
            heat = dry + wet * u
            wanted = before + (FREEZING_TEMP_C - temp) * heat
            ice = least(most(wanted, 0.0), most(u - BOUND_WATER_MAX, 0.0))
            a[TEMP, r, n] = temp + (ice - before) / heat
            a[ICE, r, n] = ice


@njit(**COMPILED)
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


@njit(inline="always", **COMPILED)
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
        hold_along(a, first, nr, grid.level_m[k], rho, dry)
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


@njit(**COMPILED)
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
        through = girth * a[FACE_HEAT + BARK, level, n] * a[FACE_JOIN + BARK, level, n]
        a[ENDS, E_HIGH, n] = through * a[FACE + BARK, S_BACK, n]
        a[ENDS, E_HIGH_DRIVE, n] = through * a[FACE + BARK, S_BEAM, n]


@njit(**COMPILED)
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


@njit(**COMPILED)
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
        a[MODE_SURFACE, mode, n] = driven * a[FACE_JOIN + BARK, level, n]


@njit(inline="always", **COMPILED)
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


@njit(**COMPILED)
def step_hour(
    grid: Grid,
    curves: Curves,
    lanes: Lanes,
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
    keep_own(lanes, a)
    balance_surfaces(grid, curves, a, hour)
    face_water(grid, curves, a)
    move_water(grid, curves, a, hour)
    move_heat(grid, curves, a, hour)
    turn_heat(grid, curves, a, girth_modes)
