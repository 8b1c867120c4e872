"""Conductances to water and heat between the cells of a stack, from their present state."""

from __future__ import annotations

from climate_risk.compiled import compiled, inlined
from climate_risk.constants import GAS_CONSTANT_J_MOL_K, KELVIN_AT_0_C
from climate_risk.log.air import fast_exp
from climate_risk.log.geometry import Grid
from climate_risk.log.skin import look_up
from climate_risk.log.state import *
from climate_risk.log.uptake import thawed_share
from climate_risk.log.wood import MOISTURE_STEP

FROZEN_FLOW = 0.1
"""Share of free-water flow left in frozen wood (judgement)."""
AXIAL_HEAT_RATIO = 1.8
"""Conductivity along over across the grain (Wood Handbook FPL-GTR-190, ch. 4: 1.5 to 2.8)."""


@compiled
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
            energy = (38500.0 - 29000.0 * min(u, 0.30)) * (1.0 / GAS_CONSTANT_J_MOL_K)
            warmth = energy * (1.0 / 293.15 - 1.0 / kelvin)
            free = min(max((u - 0.25) * 10.0, 0.0), 1.0)
            a[ACROSS, r, n] *= (1.0 - free) * fast_exp(warmth) * a[OWN, O_BOUND_FACTOR, n]
            thawed = thawed_share(a[TEMP, r, n], a[ICE, r, n], u)
            a[FREE_FLOW, r, n] = free * (FROZEN_FLOW + (1.0 - FROZEN_FLOW) * thawed)
        for n in range(LANES):
            bound, flow, u = a[ACROSS, r, n], a[FREE_FLOW, r, n], a[MOISTURE, r, n]
            a[ACROSS, r, n] = bound + flow * a[OWN, O_FREE_TRANSVERSE, n]
            along = bound * a[OWN, O_ANISOTROPY, n]
            a[ALONG, r, n] = along + flow * a[OWN, O_FREE_LONGITUDINAL, n]
            c = max(0.404 * u, min(0.548 * u, 0.1212 + 0.98 * (u - 0.30)))
            a[CONDUCTIVITY, r, n] = g * (0.200 + c) + 0.0238


@inlined
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


@inlined
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


@inlined
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


@compiled
def refresh_conductances(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Water and heat conductances between cells from the present moisture and temperature."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    if a.shape[2] != LANES:
        raise ValueError("a state needs LANES lanes")
    cell_properties(a, nz * nr, curves.bound_diffusivity_m2_s, curves.density_kg_m3)
    join_rings(grid, curves.density_kg_m3, a)
    join_levels(grid, curves.density_kg_m3, a)
    join_faces(grid, curves.density_kg_m3, a)
