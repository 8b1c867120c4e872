"""The hour step's equations as rates of change, for a solver that chooses its own steps.

Conductances and surface balances are the kernel's own functions, called at the state of the
moment; written here is only the balance of a cell, which the kernel solves implicitly, line by
line::

    rho u_t = sum of water through its faces
    C T_t = sum of heat through its faces and with the water - c_w T rho u_t

Of bare wood in dry weather: no spawn, bag, frost, rain or dew, whose switches no solver takes
in small steps.  The wood's very surface, which the kernel brings to rest with the air by a secant
or two an hour, follows within :data:`SETTLING_S`.
"""

from __future__ import annotations

import numpy as np

from climate_risk.compiled import compiled, entry
from climate_risk.constants import SECONDS_PER_HOUR, WATER_HEAT_CAPACITY_J_KG_K
from climate_risk.log import layout as at
from climate_risk.log.conductances import refresh_conductances
from climate_risk.log.formulas import FloatArray
from climate_risk.log.geometry import Grid
from climate_risk.log.kernel import face_air, face_soil, surface_gain, through_boundary
from climate_risk.log.spawn import hold_spawn
from climate_risk.log.state import Curves
from climate_risk.log.surface_balance import balance_surfaces, exchange_conductances

SETTLING_S = 60.0
"""In which the wood's very surface comes to rest with what the wood feeds and the air takes."""


def unknowns(grid: Grid) -> int:
    """Length of the state: moisture and temperature of cells, surfaces of the wood."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    return 2 * nz * nr + nz + 2 * nr


@compiled
def lay_state(grid: Grid, state: FloatArray, a: FloatArray) -> None:
    """Copy a (:func:`unknowns`, CASES) state into the log's array."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    row = 0
    for term, rows in (
        (at.MOISTURE, nz * nr),
        (at.TEMP, nz * nr),
        (at.BOUNDARY_MOISTURE + at.BARK, nz),
        (at.BOUNDARY_MOISTURE + at.TOP, nr),
        (at.BOUNDARY_MOISTURE + at.GROUND, nr),
    ):
        for r in range(rows):
            for n in range(a.shape[2]):
                a[term, r, n] = state[row + r, n]
        row += rows


@compiled
def warm_cell(
    a: FloatArray, boundary: int, row: int, cell: int, depth_m: float, heat: FloatArray
) -> None:
    """Heat through one boundary cell, into its balance of heat [W/m3]."""
    for n in range(a.shape[2]):
        lost = a[at.BOUNDARY_EXCHANGE + boundary, row, n] * a[at.TEMP, cell, n]
        heat[cell, n] += (a[at.BOUNDARY_DRIVEN + boundary, row, n] - lost) / depth_m


@compiled
def between_cells(
    a: FloatArray, water_term: int, heat_term: int, r: int, q: int, size: float, size_next: float,
    water: FloatArray, heat: FloatArray,
) -> None:  # fmt: skip
    """Water, the heat it carries, and heat from cell ``r`` to its neighbour ``q``."""
    for n in range(a.shape[2]):
        flux = a[water_term, r, n] * (a[at.MOISTURE, r, n] - a[at.MOISTURE, q, n])
        warm = a[at.TEMP, r, n] if flux > 0.0 else a[at.TEMP, q, n]
        conducted = a[heat_term, r, n] * (a[at.TEMP, r, n] - a[at.TEMP, q, n])
        conducted += WATER_HEAT_CAPACITY_J_KG_K * flux * warm
        water[r, n] -= flux / size
        water[q, n] += flux / size_next
        heat[r, n] -= conducted / size
        heat[q, n] += conducted / size_next


@compiled
def give_vapour(grid: Grid, a: FloatArray, hour: FloatArray, water: FloatArray) -> None:
    """Vapour through every outer boundary, into its cells' balance of water [kg/m3/s]."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, section = nr - 1, np.pi * grid.radius_m * grid.radius_m
    inward = grid.ring_area_m2[last] / grid.edge_girth_m[last]
    for k in range(nz):
        cell, share = k * nr + last, grid.level_m[k] / grid.height_m
        through_boundary(a, hour, at.BARK, k, cell, inward, share)
        for n in range(a.shape[2]):
            water[cell, n] -= a[at.BOUNDARY_OUT + at.BARK, k, n] / inward
    for boundary, level in ((at.TOP, nz - 1), (at.GROUND, 0)):
        for i in range(nr):
            cell, depth, share = (
                level * nr + i,
                grid.level_m[level],
                grid.ring_area_m2[i] / section,
            )
            through_boundary(a, hour, boundary, i, cell, depth, share)
            for n in range(a.shape[2]):
                water[cell, n] -= a[at.BOUNDARY_OUT + boundary, i, n] / depth


@compiled
def warm_all_ends(grid: Grid, a: FloatArray, hour: FloatArray, heat: FloatArray) -> None:
    """Heat through every outer boundary: sun, sky, air, soil, and vapour's latent heat."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, section = nr - 1, np.pi * grid.radius_m * grid.radius_m
    inward, high = grid.ring_area_m2[last] / grid.edge_girth_m[last], grid.level_m[nz - 1]
    surface_gain(a, hour, at.BARK)
    surface_gain(a, hour, at.TOP)
    face_air(a, at.BARK, grid.level_m, grid.height_m)
    face_air(a, at.TOP, grid.ring_area_m2, section)
    face_soil(a, hour, nr)
    for k in range(nz):
        warm_cell(a, at.BARK, k, k * nr + last, inward, heat)
    for i in range(nr):
        warm_cell(a, at.TOP, i, (nz - 1) * nr + i, high, heat)
        warm_cell(a, at.GROUND, i, i, grid.level_m[0], heat)


@entry
def rates(
    grid: Grid, curves: Curves, state: FloatArray, hour: FloatArray, a: FloatArray,
    rate: FloatArray,
) -> None:  # fmt: skip
    """Rates of change of a state under one hour's forcing.

    Parameters
    ----------
    state : (unknowns, CASES) array
        Moisture of cells [kg/kg], their temperature [degC], moisture of the wood's very surface
        under bark, top and ground [kg/kg].
    hour : (FORCINGS, CASES) array
    a : (TERMS, rows, CASES) array
        Scratch with the cases' parameters; no ice, surface water or liquid taken up in it.
    rate : (unknowns, CASES) array
        Filled, per second.
    """
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    cells, count = nz * nr, state.shape[0]
    lay_state(grid, state, a)
    hold_spawn(a, hour)
    refresh_conductances(grid, curves, a)
    balance_surfaces(grid, curves, a, hour)
    exchange_conductances(grid, curves, a)
    for r in range(cells):
        for n in range(a.shape[2]):
            rate[r, n], rate[cells + r, n], a[at.ENERGY, r, n] = 0.0, 0.0, 0.0
    water, heat = rate[:cells], rate[cells : 2 * cells]
    give_vapour(grid, a, hour, water)
    warm_all_ends(grid, a, hour, heat)
    for k in range(nz):
        for i in range(nr):
            r, ring, level = k * nr + i, grid.ring_area_m2[i], grid.level_m[k]
            if i < nr - 1:
                out = grid.ring_area_m2[i + 1]
                between_cells(a, at.WATER_R, at.HEAT_R, r, r + 1, ring, out, water, heat)
            if k < nz - 1:
                up = grid.level_m[k + 1]
                between_cells(a, at.WATER_Z, at.HEAT_Z, r, r + nr, level, up, water, heat)
    density, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    for r in range(cells):
        for n in range(a.shape[2]):
            u, temp = a[at.MOISTURE, r, n], a[at.TEMP, r, n]
            gained = heat[r, n] + a[at.ENERGY, r, n] / SECONDS_PER_HOUR
            gained -= WATER_HEAT_CAPACITY_J_KG_K * temp * water[r, n]
            heat[r, n] = gained / (density * (dry + WATER_HEAT_CAPACITY_J_KG_K * u))
            water[r, n] /= density
    after = rate[2 * cells :]
    lay_ends(grid, a, after)
    for row in range(count - 2 * cells):
        for n in range(a.shape[2]):
            after[row, n] = (after[row, n] - state[2 * cells + row, n]) / SETTLING_S


@compiled
def lay_ends(grid: Grid, a: FloatArray, ends: FloatArray) -> None:
    """Copy the moisture of the wood's surfaces out of the log's array."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    for k in range(nz):
        for n in range(a.shape[2]):
            ends[k, n] = a[at.BOUNDARY_MOISTURE + at.BARK, k, n]
    for i in range(nr):
        for n in range(a.shape[2]):
            ends[nz + i, n] = a[at.BOUNDARY_MOISTURE + at.TOP, i, n]
            ends[nz + nr + i, n] = a[at.BOUNDARY_MOISTURE + at.GROUND, i, n]
