"""Wood: equilibrium moisture, the water retention curve, diffusivity, heat properties.

All moisture is dry basis, as a fraction (kg water per kg oven-dry wood), unless a name says
``pct``.  Functions take scalars or arrays and return arrays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from climate_risk.constants import (
    GAS_CONSTANT_J_MOL_K,
    KELVIN_AT_0_C,
    WATER_MOLAR_VOLUME_M3_MOL,
    WOOD_CELL_WALL_SPECIFIC_GRAVITY,
)
from climate_risk.tables import Wood

FloatArray = npt.NDArray[np.float64]

REFERENCE_TEMP_C = 20.0
"""The retention curve and the tabulated diffusivity are taken at this temperature."""
MOISTURE_STEP = 0.005
"""Spacing of the tables by moisture."""
ACTIVITY_STEP = 0.0025
"""Spacing of the table by water activity."""
ACTIVITY_MAX = 0.995
"""Vapour exchange aims at no wetter state than this; wetter wood is the film's business."""


def equilibrium_moisture(temp_c: npt.ArrayLike, activity: npt.ArrayLike) -> FloatArray:
    """Equilibrium moisture of wood in still air.

    Hailwood-Horrobin form of Glass and Zelinka 2010, Wood Handbook FPL-GTR-190, eq. 4-5
    (Simpson 1998, FPL-RN-0268); it saturates near 0.29 and says nothing of liquid water.

    Parameters
    ----------
    temp_c : array_like
        Temperature [degC].
    activity : array_like
        Relative humidity as a fraction, 0 to 1.

    Returns
    -------
    ndarray
        Moisture, dry basis [kg/kg], broadcast shape of the inputs.
    """
    t = np.asarray(temp_c, dtype=np.float64)
    h = np.asarray(activity, dtype=np.float64)
    w = 349.0 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    bound = kh / (1.0 - kh)
    hydrated = (k1 * kh + 2.0 * k1 * k2 * kh**2) / (1.0 + k1 * kh + k1 * k2 * kh**2)
    return np.asarray(18.0 / w * (bound + hydrated))


def max_moisture(basic_density_kg_m3: float) -> float:
    """Moisture at which no air is left [kg/kg] (Wood Handbook FPL-GTR-190, eq. 4-3)."""
    g = basic_density_kg_m3 / 1000.0
    return 1.0 / g - 1.0 / WOOD_CELL_WALL_SPECIFIC_GRAVITY


def activity_of_potential(psi_mpa: npt.ArrayLike, temp_c: float = REFERENCE_TEMP_C) -> FloatArray:
    """Water activity at a water potential (Kelvin's equation).

    Parameters
    ----------
    psi_mpa : array_like
        Water potential, zero or below [MPa].
    temp_c : float
        Temperature [degC].
    """
    psi_pa = np.asarray(psi_mpa, dtype=np.float64) * 1e6
    kelvin = temp_c + KELVIN_AT_0_C
    return np.asarray(np.exp(psi_pa * WATER_MOLAR_VOLUME_M3_MOL / (GAS_CONSTANT_J_MOL_K * kelvin)))


def retention_moisture(psi_mpa: npt.ArrayLike, wood: Wood) -> FloatArray:
    """Moisture held at a water potential: sorbed water plus capillary water.

    The sorbed part is :func:`equilibrium_moisture` at the activity of Kelvin's equation; the
    capillary part fills the rest of the pores by van Genuchten 1980 (Soil Sci. Soc. Am. J.
    44:892-898, eq. 21), so that one smooth curve joins both.
    """
    psi = np.asarray(psi_mpa, dtype=np.float64)
    sorbed = equilibrium_moisture(REFERENCE_TEMP_C, activity_of_potential(psi))
    full = max_moisture(wood.basic_density_kg_m3.value)
    sorbed_max = equilibrium_moisture(REFERENCE_TEMP_C, 1.0)
    alpha, n = wood.retention_alpha_per_mpa.value, wood.retention_n.value
    saturation = (1.0 + (alpha * np.abs(psi)) ** n) ** -(1.0 - 1.0 / n)
    return np.asarray(sorbed + (full - sorbed_max) * saturation)


def bound_diffusivity(moisture: npt.ArrayLike, basic_density_kg_m3: float) -> FloatArray:
    """Diffusivity across the grain on a moisture gradient, at 20 degC, below saturation.

    Siau 1984, Transport Processes in Wood (from memory): cell-wall diffusivity with an
    activation energy that falls with moisture, and the gross wood as walls in series and in
    parallel with lumens.

    Returns
    -------
    ndarray
        [m2/s].
    """
    m_pct = 100.0 * np.minimum(np.asarray(moisture, dtype=np.float64), 0.30)
    g = basic_density_kg_m3 / 1000.0
    kelvin = REFERENCE_TEMP_C + KELVIN_AT_0_C
    wall = 7e-6 * np.exp(-activation_energy(m_pct / 100.0) / (GAS_CONSTANT_J_MOL_K * kelvin))
    lumen_share = 1.0 - g * (0.667 + 0.01 * m_pct)
    return np.asarray(wall / ((1.0 - lumen_share) * (1.0 - np.sqrt(lumen_share))))


def activation_energy(moisture: npt.ArrayLike) -> FloatArray:
    """Activation energy of bound-water diffusion [J/mol] (Siau 1984, from memory)."""
    u = np.minimum(np.asarray(moisture, dtype=np.float64), 0.30)
    return np.asarray(38500.0 - 290.0 * 100.0 * u)


def conductivity_across_grain(moisture: npt.ArrayLike, basic_density_kg_m3: float) -> FloatArray:
    """Heat conductivity across the grain [W/m/K].

    MacLean 1941 (from memory): k = G (0.200 + c M) + 0.0238 with M in percent, c = 0.00404
    below and 0.00548 above 40 %; the two branches are joined by a line from 30 to 40 %.
    """
    u = np.asarray(moisture, dtype=np.float64)
    g = basic_density_kg_m3 / 1000.0
    bridge = 0.1212 + 0.98 * (u - 0.30)
    return np.asarray(g * (0.200 + np.maximum(0.404 * u, np.minimum(0.548 * u, bridge))) + 0.0238)


def dry_heat_capacity(temp_c: npt.ArrayLike) -> FloatArray:
    """Heat capacity of oven-dry wood [J/kg/K] (Wood Handbook FPL-GTR-190, eq. 4-16a)."""
    kelvin = np.asarray(temp_c, dtype=np.float64) + KELVIN_AT_0_C
    return np.asarray(103.1 + 3.867 * kelvin)


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
