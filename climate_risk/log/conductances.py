"""Conductances to water and heat between the cells of a stack, from their present state.

Between two cells, half-cells of diffusivity D (conductivity k) and thickness d in series::

    g_water = rho / (d1/D1 + d2/D2)      g_heat = 1 / (d1/k1 + d2/k2)

Across the grain ``D = (1 - f) D_bound(u, T) F + f m D_free``, along it
``D = A (1 - f) D_bound F + f m D_along``: bound water by Siau's law with the case's factor F and
anisotropy A, free water by the case's constants, blended by :func:`free_share` f; m is the share
that can move in frost.
"""

from __future__ import annotations

from climate_risk.compiled import compiled, inlined
from climate_risk.log import layout as at
from climate_risk.log.formulas import (
    AXIAL_HEAT_RATIO,
    FROZEN_FLOW,
    FloatArray,
    conductivity_across_grain,
    diffusivity_warmth,
    free_share,
    thawed_share,
)
from climate_risk.log.geometry import Grid
from climate_risk.log.parameters import P
from climate_risk.log.rows import Row, interpolate, load, store
from climate_risk.log.state import Curves
from climate_risk.log.wood import MOISTURE_STEP

SINKS_FULLY = 0.01
"""Wetter than the level below by this much [kg/kg], water sinks as in uptake: no leap at level."""


@compiled
def cell_properties(a: FloatArray, cells: int, bound_table: FloatArray, density: float) -> None:
    """Diffusivities and heat conductivity of every cell."""
    slow = load(a, at.PARAMETER, P.wood_bound_diffusivity_factor)
    for r in range(cells):
        u, temp = load(a, at.MOISTURE, r), load(a, at.TEMP, r)
        free, warmth = free_share(u), diffusivity_warmth(u, temp)
        bound = interpolate(bound_table, u * (1.0 / MOISTURE_STEP)) * warmth * slow * (1.0 - free)
        thawed = thawed_share(temp, load(a, at.ICE, r), u)
        flow = free * (FROZEN_FLOW + (1.0 - FROZEN_FLOW) * thawed)
        across = flow * load(a, at.PARAMETER, P.wood_free_diffusivity_transverse_m2_s)
        along = flow * load(a, at.PARAMETER, P.wood_free_diffusivity_longitudinal_m2_s)
        store(a, at.FREE_FLOW, r, flow)
        store(a, at.ACROSS, r, bound + across)
        store(a, at.ALONG, r, bound * load(a, at.PARAMETER, P.wood_bound_anisotropy) + along)
        store(a, at.CONDUCTIVITY, r, conductivity_across_grain(u, density))


@inlined
def join_rings(grid: Grid, density: float, a: FloatArray) -> None:
    """Conductances between rings: two half rings in series."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    for k in range(nz):
        here, warm_here = load(a, at.ACROSS, k * nr), load(a, at.CONDUCTIVITY, k * nr)
        for i in range(nr - 1):
            r = k * nr + i
            out, into, edge = grid.ring_out_m[i], grid.ring_in_m[i + 1], grid.edge_girth_m[i]
            there, warm_there = load(a, at.ACROSS, r + 1), load(a, at.CONDUCTIVITY, r + 1)
            water, heat = out * there + into * here, out * warm_there + into * warm_here
            # One division serves both: divisions are what this kernel mostly waits for.
            shared = edge / (water * heat)
            store(a, at.WATER_R, r, density * here * there * heat * shared)
            store(a, at.HEAT_R, r, warm_here * warm_there * water * shared)
            here, warm_here = there, warm_there


@inlined
def join_levels(grid: Grid, density: float, a: FloatArray) -> None:
    """Conductances between levels: two half levels in series.

    Across a spawn layer nothing passes but through the layer; see
    :mod:`climate_risk.log.spawn`; before there is spawn, cut faces touch.

    Water that sinks into drier wood below fills its vessels and runs as in uptake; water drawn
    up toward drying wood runs in broken columns, more slowly.  The one passes into the other over
    :data:`SINKS_FULLY`, so that no run turns on which of two like levels is the wetter.
    """
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    uptake = load(a, at.PARAMETER, P.wood_uptake_diffusivity_m2_s)
    faster = uptake - load(a, at.PARAMETER, P.wood_free_diffusivity_longitudinal_m2_s)
    for k in range(nz - 1):
        low, high = 0.5 * grid.level_m[k], 0.5 * grid.level_m[k + 1]
        joint = float(grid.contact[k + 1]) if grid.spawn_depth_m > 0.0 else 0.0
        passes = density * (1.0 - joint * load(a, at.STACK, at.N_SPAWN))
        for r in range(k * nr, k * nr + nr):
            q = r + nr
            wetter = load(a, at.MOISTURE, q) - load(a, at.MOISTURE, r)
            sinking = min(max(wetter * (1.0 / SINKS_FULLY), 0.0), 1.0) * faster
            here = load(a, at.ALONG, r) + load(a, at.FREE_FLOW, r) * sinking
            there = load(a, at.ALONG, q) + load(a, at.FREE_FLOW, q) * sinking
            warm_here, warm_there = load(a, at.CONDUCTIVITY, r), load(a, at.CONDUCTIVITY, q)
            water, heat = low * there + high * here, low * warm_there + high * warm_here
            shared = 1.0 / (water * heat)
            store(a, at.WATER_Z, r, passes * here * there * heat * shared)
            store(a, at.HEAT_Z, r, AXIAL_HEAT_RATIO * warm_here * warm_there * water * shared)


@inlined
def join_boundary(a: FloatArray, boundary: int, row: int, conductance: Row) -> None:
    """Keep the conductance of water in one half-cell under a boundary, and 1 over it."""
    store(a, at.BOUNDARY_WATER + boundary, row, conductance)
    store(a, at.BOUNDARY_WATER_RESISTANCE + boundary, row, 1.0 / conductance)


@inlined
def join_boundaries(grid: Grid, density: float, a: FloatArray) -> None:
    """Conductances of the half-cells under the outer boundaries, with bark and ground barrier."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top, half = nr - 1, (nz - 1) * nr, grid.ring_out_m[nr - 1]
    for k in range(nz):
        r = k * nr + last
        warm, bark = (
            load(a, at.CONDUCTIVITY, r),
            load(a, at.PARAMETER, P.bark_heat_resistance_m2k_w),
        )
        join_boundary(a, at.BARK, k, density / half * load(a, at.ACROSS, r))
        store(a, at.BOUNDARY_HEAT + at.BARK, k, warm / (half + bark * warm))
    low, high = 0.5 * grid.level_m[0], 0.5 * grid.level_m[nz - 1]
    for i in range(nr):
        r = top + i
        warm = AXIAL_HEAT_RATIO / high * load(a, at.CONDUCTIVITY, r)
        join_boundary(a, at.TOP, i, density / high * load(a, at.ALONG, r))
        store(a, at.BOUNDARY_HEAT + at.TOP, i, warm)
        barrier = load(a, at.PARAMETER, P.ground_heat_w_m2k)
        inner = AXIAL_HEAT_RATIO / low * load(a, at.CONDUCTIVITY, i)
        join_boundary(a, at.GROUND, i, density / low * load(a, at.ALONG, i))
        store(a, at.BOUNDARY_HEAT + at.GROUND, i, barrier * inner / (barrier + inner))


@compiled
def refresh_conductances(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Water and heat conductances between cells from the present moisture and temperature."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    cell_properties(a, nz * nr, curves.bound_diffusivity_m2_s, curves.density_kg_m3)
    join_rings(grid, curves.density_kg_m3, a)
    join_levels(grid, curves.density_kg_m3, a)
    join_boundaries(grid, curves.density_kg_m3, a)
