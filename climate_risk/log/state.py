"""What a stack remembers: its array, the wood's curves, and what is stored in it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from climate_risk.constants import LATENT_HEAT_FUSION_J_KG, WATER_HEAT_CAPACITY_J_KG_K
from climate_risk.log import layout
from climate_risk.log.geometry import Grid
from climate_risk.log.parameters import P

FloatArray = npt.NDArray[np.float64]


class Curves(NamedTuple):
    """The wood's tabulated curves; see :class:`climate_risk.log.wood.WoodTables`."""

    density_kg_m3: float
    dry_heat_capacity_j_kg_k: float
    max_moisture: float
    """To which rain and watering can wet the wood [kg/kg]."""
    activity: FloatArray
    moisture_by_activity: FloatArray
    bound_diffusivity_m2_s: FloatArray
    spawn_as_wood: FloatArray
    """Moisture of this wood at the potential of spawn, by the spawn's moisture."""
    spawn_activity: FloatArray
    spawn_by_activity: FloatArray


def make_state(grid: Grid, parameters: FloatArray, air_temp_c: float) -> FloatArray:
    """A stack at the air's temperature and its cases' start moisture, dry outside.

    Parameters
    ----------
    parameters : (parameters, CASES) array
        See :func:`climate_risk.log.parameters.log_parameters`.

    Returns
    -------
    ndarray
        (TERMS, rows, CASES); all that the log remembers, so that a copy resumes bit for bit.

    Raises
    ------
    ValueError
        The parameters are not those of CASES cases.
    """
    if parameters.shape != (len(P), layout.CASES):
        raise ValueError(f"parameters of {layout.CASES} cases are needed")
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    rows = max(nz * nr, layout.MODES * nr, layout.S_ROWS, len(P))
    # An odd number of rows keeps the terms of one cell from falling on one cache line.
    a = layout.aligned(layout.TERMS, rows | 1, layout.CASES)
    start = parameters[P.start_moisture]
    a[layout.MOISTURE, : nz * nr] = start
    a[layout.TEMP, : nz * nr] = air_temp_c
    a[layout.SURFACE_TEMP, :2] = air_temp_c
    a[layout.STACK, layout.N_BAG_TEMP] = air_temp_c
    a[layout.SPAWN_MOISTURE] = parameters[P.spawn_moisture]
    first = layout.BOUNDARY_MOISTURE
    a[first : first + layout.BOUNDARIES, : max(nz, nr)] = start
    set_parameters(a, parameters)
    return a


def set_parameters(a: FloatArray, parameters: FloatArray) -> None:
    """Lay the cases' parameters beside the state; covers may have changed since it was made."""
    a[layout.PARAMETER, : len(P)] = parameters


def dry_mass_kg(grid: Grid, curves: Curves) -> FloatArray:
    """Oven-dry wood of every cell, (cells,)."""
    return (curves.density_kg_m3 * grid.level_m[:, None] * grid.ring_area_m2[None, :]).ravel()


def spawn_layers(grid: Grid) -> int:
    """How many interfaces have wood above them, and so a spawn layer of its own water."""
    if grid.spawn_depth_m == 0.0:
        return 0
    return int((grid.interface_level < grid.level_m.size).sum())


def spawn_water_kg(grid: Grid, a: FloatArray) -> FloatArray:
    """Water in the spawn layers, by case [kg]."""
    layers, nr = spawn_layers(grid), grid.ring_area_m2.size
    if layers == 0:
        return np.zeros(layout.CASES)
    moisture = a[layout.SPAWN_MOISTURE, : layers * nr].reshape(layers, nr, -1)
    dry = a[layout.PARAMETER, P.model_spawn_density_kg_m3] * grid.spawn_depth_m
    return np.asarray(dry * np.einsum("lrn,r->n", moisture, grid.ring_area_m2))


def stored_water_kg(grid: Grid, curves: Curves, a: FloatArray) -> FloatArray:
    """Water in the wood, on its surfaces and in the spawn, by case [kg]."""
    dry = dry_mass_kg(grid, curves)
    girth, top = grid.edge_girth_m[-1], np.pi * grid.radius_m**2
    outside = a[layout.SURFACE_WATER]
    films = girth * grid.height_m * outside[layout.BARK] + top * outside[layout.TOP]
    wood = dry @ a[layout.MOISTURE, : dry.size]
    return np.asarray(wood + films + spawn_water_kg(grid, a))


def stored_heat_j(grid: Grid, curves: Curves, a: FloatArray) -> FloatArray:
    """Heat of wood, water and ice above liquid water and wood at 0 degC, by case [J]."""
    dry = dry_mass_kg(grid, curves)
    cells = dry.size
    moisture = a[layout.MOISTURE, :cells]
    warm = curves.dry_heat_capacity_j_kg_k + WATER_HEAT_CAPACITY_J_KG_K * moisture
    cell = warm * a[layout.TEMP, :cells] - LATENT_HEAT_FUSION_J_KG * a[layout.ICE, :cells]
    return np.asarray(dry @ cell)
