"""Curves of one wood, and of spawn, tabulated for the kernel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from climate_risk.log.formulas import (
    ACTIVITY_MAX,
    REFERENCE_TEMP_C,
    FloatArray,
    activity_of_potential,
    bound_diffusivity,
    equilibrium_moisture,
    max_moisture,
    retention_saturation,
)
from climate_risk.tables import Model, Wood, model

MOISTURE_STEP = 0.005
"""Spacing of the tables by moisture."""
ACTIVITY_STEP = 0.0025
"""Spacing of the table by water activity."""


def held_moisture(
    psi_mpa: npt.ArrayLike, full: float, alpha_per_mpa: float, n: float
) -> FloatArray:
    """Moisture held at a water potential: sorbed water plus capillary water.

    The sorbed part is :func:`equilibrium_moisture` at the activity of Kelvin's equation; the
    capillary part fills the rest of the pores up to ``full``, so that one smooth curve joins
    both.
    """
    sorbed = equilibrium_moisture(REFERENCE_TEMP_C, activity_of_potential(psi_mpa))
    sorbed_max = equilibrium_moisture(REFERENCE_TEMP_C, 1.0)
    filled = retention_saturation(psi_mpa, alpha_per_mpa, n)
    return np.asarray(sorbed + (full - sorbed_max) * filled)


def retention_moisture(psi_mpa: npt.ArrayLike, wood: Wood) -> FloatArray:
    """Moisture that a wood holds at a water potential."""
    full = max_moisture(wood.basic_density_kg_m3.value)
    return held_moisture(psi_mpa, full, wood.retention_alpha_per_mpa.value, wood.retention_n.value)


def spawn_moisture(psi_mpa: npt.ArrayLike, rows: Model) -> FloatArray:
    """Moisture that sawdust spawn holds at a water potential; sorbed water as in wood."""
    return held_moisture(
        psi_mpa,
        rows.spawn_full_moisture_pct.value / 100.0,
        rows.spawn_retention_alpha_per_mpa.value,
        rows.spawn_retention_n.value,
    )


@dataclass(frozen=True)
class WoodTables:
    """One wood's curves on uniform grids, ready for the compiled kernel."""

    basic_density_kg_m3: float
    max_moisture: float
    activity: FloatArray
    """Water activity by moisture, step :data:`MOISTURE_STEP`."""
    potential_mpa: FloatArray
    """Water potential by moisture, same grid."""
    moisture_by_activity: FloatArray
    """Inverse of ``activity``, step :data:`ACTIVITY_STEP` up to :data:`ACTIVITY_MAX`."""
    bound_diffusivity_m2_s: FloatArray
    """By moisture, at 20 degC."""
    spawn_potential_mpa: FloatArray
    """Water potential of spawn by its moisture, step :data:`MOISTURE_STEP`."""
    spawn_activity: FloatArray
    """Water activity, same grid."""
    spawn_by_activity: FloatArray
    """Inverse of ``spawn_activity``, as ``moisture_by_activity``."""
    spawn_as_wood: FloatArray
    """Moisture of this wood at the same potential, by the spawn's moisture."""


def potential_table(held: FloatArray, psi: FloatArray, full: float) -> FloatArray:
    """Water potential by moisture [MPa] of what holds ``held`` at ``psi``."""
    grid = np.arange(0.0, full + 2 * MOISTURE_STEP, MOISTURE_STEP)
    return np.asarray(np.interp(grid, held, psi))


def activity_table(potential: FloatArray, held: FloatArray, psi: FloatArray) -> FloatArray:
    """Water activity by moisture; below the driest of ``held`` a line to dryness."""
    grid = np.arange(potential.size) * MOISTURE_STEP
    activity = activity_of_potential(potential)
    activity[0] = 0.0
    activity = np.maximum.accumulate(np.where(grid >= held[-1], 1.0, activity))
    dry = grid < held[0]
    driest = float(activity_of_potential(psi[0]))
    activity[dry] = np.interp(grid[dry], [0.0, held[0]], [0.0, driest])
    return activity


def by_activity(activity: FloatArray) -> FloatArray:
    """Moisture by water activity, step :data:`ACTIVITY_STEP` up to :data:`ACTIVITY_MAX`."""
    grid = np.arange(activity.size) * MOISTURE_STEP
    wanted = np.arange(0.0, 1.0 + ACTIVITY_STEP / 2, ACTIVITY_STEP)
    return np.asarray(np.interp(np.minimum(wanted, ACTIVITY_MAX), activity, grid))


def wood_tables(wood: Wood) -> WoodTables:
    """Tabulate the retention curves of one wood and of spawn, and bound-water diffusivity."""
    density = wood.basic_density_kg_m3.value
    full = max_moisture(density)
    psi = -np.logspace(4.0, -5.0, 2000)
    held, spawn = retention_moisture(psi, wood), spawn_moisture(psi, model())
    potential = potential_table(held, psi, full)
    activity = activity_table(potential, held, psi)
    spawn_full = model().spawn_full_moisture_pct.value / 100.0
    spawn_potential = potential_table(spawn, psi, spawn_full)
    spawn_activity = activity_table(spawn_potential, spawn, psi)
    moisture = np.arange(potential.size) * MOISTURE_STEP
    return WoodTables(
        basic_density_kg_m3=density,
        max_moisture=full,
        activity=activity,
        potential_mpa=potential,
        moisture_by_activity=by_activity(activity),
        bound_diffusivity_m2_s=bound_diffusivity(moisture, density),
        spawn_potential_mpa=spawn_potential,
        spawn_activity=spawn_activity,
        spawn_by_activity=by_activity(spawn_activity),
        spawn_as_wood=np.interp(spawn_potential, psi, held),
    )
