"""One wood's curves, tabulated for the kernel: retention, activity, bound-water diffusivity."""

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
from climate_risk.tables import Wood

MOISTURE_STEP = 0.005
"""Spacing of the tables by moisture."""
ACTIVITY_STEP = 0.0025
"""Spacing of the table by water activity."""


def retention_moisture(psi_mpa: npt.ArrayLike, wood: Wood) -> FloatArray:
    """Moisture held at a water potential: sorbed water plus capillary water.

    The sorbed part is :func:`equilibrium_moisture` at the activity of Kelvin's equation; the
    capillary part fills the rest of the pores, so that one smooth curve joins both.
    """
    sorbed = equilibrium_moisture(REFERENCE_TEMP_C, activity_of_potential(psi_mpa))
    full = max_moisture(wood.basic_density_kg_m3.value)
    sorbed_max = equilibrium_moisture(REFERENCE_TEMP_C, 1.0)
    filled = retention_saturation(
        psi_mpa, wood.retention_alpha_per_mpa.value, wood.retention_n.value
    )
    return np.asarray(sorbed + (full - sorbed_max) * filled)


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


def wood_tables(wood: Wood) -> WoodTables:
    """Tabulate the retention curve and the bound-water diffusivity of one wood."""
    density = wood.basic_density_kg_m3.value
    full = max_moisture(density)
    psi = -np.logspace(4.0, -5.0, 2000)
    held = retention_moisture(psi, wood)
    grid = np.arange(0.0, full + 2 * MOISTURE_STEP, MOISTURE_STEP)
    potential = np.interp(grid, held, psi)
    activity = activity_of_potential(potential)
    activity[0] = 0.0
    activity = np.maximum.accumulate(np.where(grid >= full, 1.0, activity))
    dry = grid < held[0]
    activity[dry] = np.interp(
        grid[dry], [0.0, held[0]], [0.0, float(activity_of_potential(psi[0]))]
    )
    wanted = np.arange(0.0, 1.0 + ACTIVITY_STEP / 2, ACTIVITY_STEP)
    by_activity = np.interp(np.minimum(wanted, ACTIVITY_MAX), activity, grid)
    return WoodTables(
        basic_density_kg_m3=density,
        max_moisture=full,
        activity=activity,
        potential_mpa=potential,
        moisture_by_activity=by_activity,
        bound_diffusivity_m2_s=bound_diffusivity(grid, density),
    )
