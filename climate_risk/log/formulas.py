"""The laws of wood, water and air that the log obeys, each once, with its source.

Moisture ``u`` is dry basis, as a fraction (kg water per kg oven-dry wood), unless a name says
``pct``.  Functions marked :data:`~climate_risk.compiled.law` take numbers or arrays; tables,
kernels and tests call the same ones.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from climate_risk.compiled import law
from climate_risk.constants import (
    AIR_HEAT_CAPACITY_J_KG_K,
    DRY_AIR_GAS_CONSTANT_J_KG_K,
    GAS_CONSTANT_J_MOL_K,
    KELVIN_AT_0_C,
    PRANDTL_AIR,
    SATURATION_COEFFICIENT,
    SATURATION_OFFSET_C,
    SATURATION_PRESSURE_0_C_PA,
    STEFAN_BOLTZMANN_W_M2K4,
    VAPOUR_DIFFUSIVITY_M2_S,
    WATER_HEAT_CAPACITY_J_KG_K,
    WATER_MOLAR_VOLUME_M3_MOL,
    WATER_VAPOUR_GAS_CONSTANT_J_KG_K,
    WOOD_CELL_WALL_SPECIFIC_GRAVITY,
)

FloatArray = npt.NDArray[np.float64]
Number = TypeVar("Number", float, FloatArray)
"""What a law takes and gives: one value, or an array of them."""

REFERENCE_TEMP_C = 20.0
"""The retention curve and the tabulated diffusivity are taken at this temperature."""
ACTIVITY_MAX = 0.995
"""Vapour exchange aims at no wetter state than this; wetter wood is surface water's business."""
FREEZING_TEMP_C = 0.0
BOUND_WATER_MAX = 0.30
"""Fibre saturation: moisture below which water is bound in the cell wall and does not freeze
(Glass and Zelinka 2010, Wood Handbook FPL-GTR-190, ch. 4)."""
FREE_FROM, FREE_PER_MOISTURE = 0.25, 10.0
"""Free water begins to move at this moisture, and moves fully a tenth above (judgement)."""
FROZEN_FLOW = 0.1
"""Share of free-water flow left in frozen wood (judgement)."""
AXIAL_HEAT_RATIO = 1.8
"""Conductivity along over across the grain (Wood Handbook FPL-GTR-190, ch. 4: 1.5 to 2.8)."""
LEWIS_FACTOR: float = (PRANDTL_AIR / (1.506e-5 / VAPOUR_DIFFUSIVITY_M2_S)) ** (2.0 / 3.0)
"""(Pr/Sc)^(2/3) of air near 20 degC."""
SOIL_HUMIDITY = 0.99
"""Of the air between soil and stack (judgement)."""
USUAL_RISE_K = 15.0
"""Long-wave is the secant from air to a surface this much warmer, the same by day and night, so
that the balance stays linear and more sun never cools: within 0.2 K near the air, 1 K too warm
at 30 K above it."""


# Air ------------------------------------------------------------------------------------------


@law
def fast_exp(x: Number) -> Number:
    """Exponential by a Taylor polynomial of x/16, squared four times, for the vector unit.

    Relative error below 2e-7 for -6 < x < 6 and below 2e-6 for -8 < x < 8.
    """
    y = x * 0.0625
    p = 1 / 24 + y * (1 / 120 + y * (1 / 720 + y * (1 / 5040)))
    p = 1.0 + y * (1.0 + y * (0.5 + y * (1 / 6 + y * p)))
    p *= p
    p *= p
    p *= p
    return p * p


@law
def saturation_vapour_density(temp_c: Number) -> Number:
    """Vapour density over water [kg/m3], ``610.8 exp(17.27 T / (T + 237.3)) / (R T)``.

    Allen et al. 1998, FAO-56, eq. 11, as an ideal gas.
    """
    warm = temp_c + SATURATION_OFFSET_C
    pressure_pa = SATURATION_PRESSURE_0_C_PA * fast_exp(SATURATION_COEFFICIENT * temp_c / warm)
    return pressure_pa / (WATER_VAPOUR_GAS_CONSTANT_J_KG_K * (temp_c + KELVIN_AT_0_C))


@law
def saturated_vapour(temp_c: Number) -> tuple[Number, Number]:
    """:func:`saturation_vapour_density`, and by how much it grows per degree [kg/m3/K].

    Both by one division: divisions are what this kernel mostly waits for.
    """
    warm, kelvin = temp_c + SATURATION_OFFSET_C, temp_c + KELVIN_AT_0_C
    shared = 1.0 / (warm * warm * kelvin)
    exponent = SATURATION_COEFFICIENT * temp_c * warm * kelvin * shared
    pressure_pa = SATURATION_PRESSURE_0_C_PA * fast_exp(exponent)
    density = pressure_pa * warm * warm * shared * (1.0 / WATER_VAPOUR_GAS_CONSTANT_J_KG_K)
    growth = SATURATION_COEFFICIENT * SATURATION_OFFSET_C
    return density, density * (growth * kelvin - warm * warm) * shared


def convection_coefficient(
    diameter_m: float, wind_ms: FloatArray, air_temp_c: FloatArray
) -> FloatArray:
    """Cross-flow convection on a cylinder [W/m2/K] (Churchill and Bernstein 1977).

    Parameters
    ----------
    diameter_m : float
    wind_ms, air_temp_c : ndarray
        Same shape; wind at the stack.
    """
    viscosity = 1.33e-5 + 8.8e-8 * air_temp_c
    conductivity = 0.0241 + 7.5e-5 * air_temp_c
    reynolds = wind_ms * diameter_m / viscosity
    shape = 0.62 * np.sqrt(reynolds) * PRANDTL_AIR ** (1.0 / 3.0)
    shape /= (1.0 + (0.4 / PRANDTL_AIR) ** (2.0 / 3.0)) ** 0.25
    nusselt = 0.3 + shape * (1.0 + (reynolds / 282000.0) ** 0.625) ** 0.8
    return np.asarray(nusselt * conductivity / diameter_m)


@law
def fast_cbrt(x: Number) -> Number:
    """Cube root of 1 to 2 by two of Halley's steps from a line, for the vector unit.

    Relative error below 1e-15.
    """
    y = 0.7471 + 0.2600 * x
    cube = y * y * y
    y = y * (cube + 2.0 * x) / (2.0 * cube + x)
    cube = y * y * y
    return y * (cube + 2.0 * x) / (2.0 * cube + x)


@law
def mixed_convection(forced: float, free: float) -> float:
    """Forced and free convection together, ``(h_forced^3 + h_free^3)^(1/3)`` [W/m2/K].

    Churchill 1977 and Incropera, ch. 9 (from memory): exponent 3 for assisting flow, 4 across;
    the two differ by 6 % at most.
    """
    more, less = max(forced, free), min(forced, free)
    ratio = less / max(more, 1e-30)
    return more * fast_cbrt(1.0 + ratio * ratio * ratio)


@law
def air_heat_capacity(kelvin: Number) -> Number:
    """Heat that a cubic metre of dry air holds per degree [J/m3/K], ideal gas at 101.3 kPa."""
    return 101325.0 / (DRY_AIR_GAS_CONSTANT_J_KG_K * kelvin) * AIR_HEAT_CAPACITY_J_KG_K


@law
def boundary_layer_resistance(convection: Number, kelvin: Number) -> Number:
    """Resistance of the air's boundary layer to vapour [s/m], ``rho c Le^(2/3) / h``.

    Lewis analogy, at 101.3 kPa, with the Schmidt number of 20 degC: both vary by a few percent.
    """
    return air_heat_capacity(kelvin) / (LEWIS_FACTOR * convection)


@law
def longwave_loss(emissivity: float, kelvin: Number) -> Number:
    """Long-wave that a surface loses per degree above air at ``kelvin`` [W/m2/K].

    Secant of ``eps sigma T^4`` from the air to :data:`USUAL_RISE_K` above it.
    """
    tangent = emissivity * 4.0 * STEFAN_BOLTZMANN_W_M2K4 * (kelvin * kelvin * kelvin)
    x = USUAL_RISE_K / kelvin
    return tangent * (1.0 + x * (1.5 + x * (1.0 + 0.25 * x)))


@law
def unsaturated(humidity: float) -> float:
    """1 in air that tables of moisture resolve, falling to 0 in saturated air."""
    return min(max((1.0 - humidity) * (1.0 / (1.0 - ACTIVITY_MAX)), 0.0), 1.0)


# Wood and its water ---------------------------------------------------------------------------


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


@law
def air_share(moisture: Number, basic_density_kg_m3: float) -> Number:
    """Share of the wood's volume that is air, ``1 - G (1/1.54 + u)``; zero at eq. 4-3."""
    g = basic_density_kg_m3 / 1000.0
    return 1.0 - g * (1.0 / WOOD_CELL_WALL_SPECIFIC_GRAVITY + moisture)


def activity_of_potential(psi_mpa: npt.ArrayLike, temp_c: float = REFERENCE_TEMP_C) -> FloatArray:
    """Water activity at a water potential (Kelvin's equation), ``exp(psi V / (R T))``.

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


def retention_saturation(psi_mpa: npt.ArrayLike, alpha_per_mpa: float, n: float) -> FloatArray:
    """Share of the pores that water fills, ``(1 + (alpha |psi|)^n)^(1/n - 1)``.

    van Genuchten 1980, Soil Sci. Soc. Am. J. 44:892-898, eq. 21.
    """
    psi = np.asarray(psi_mpa, dtype=np.float64)
    return np.asarray((1.0 + (alpha_per_mpa * np.abs(psi)) ** n) ** -(1.0 - 1.0 / n))


@law
def activation_energy(moisture: Number) -> Number:
    """Activation energy of bound-water diffusion [J/mol], ``38500 - 290 M``, M in percent.

    Siau 1984, Transport Processes in Wood (from memory).
    """
    energy: Number = 38500.0 - 29000.0 * np.minimum(moisture, BOUND_WATER_MAX)
    return energy


def bound_diffusivity(moisture: npt.ArrayLike, basic_density_kg_m3: float) -> FloatArray:
    """Diffusivity across the grain on a moisture gradient, at 20 degC, below saturation.

    Siau 1984, Transport Processes in Wood (from memory): cell-wall diffusivity
    ``7e-6 exp(-E / (R T))`` and the gross wood as walls in series and in parallel with lumens.

    Returns
    -------
    ndarray
        [m2/s].
    """
    m_pct = 100.0 * np.minimum(np.asarray(moisture, dtype=np.float64), BOUND_WATER_MAX)
    g = basic_density_kg_m3 / 1000.0
    kelvin = REFERENCE_TEMP_C + KELVIN_AT_0_C
    wall = 7e-6 * np.exp(-activation_energy(m_pct / 100.0) / (GAS_CONSTANT_J_MOL_K * kelvin))
    lumen_share = 1.0 - g * (0.667 + 0.01 * m_pct)
    return np.asarray(wall / ((1.0 - lumen_share) * (1.0 - np.sqrt(lumen_share))))


@law
def diffusivity_warmth(moisture: Number, temp_c: Number) -> Number:
    """Bound-water diffusivity over that at 20 degC (Arrhenius, :func:`activation_energy`)."""
    kelvin = temp_c + KELVIN_AT_0_C
    energy = activation_energy(moisture) * (1.0 / GAS_CONSTANT_J_MOL_K)
    reference = 1.0 / (REFERENCE_TEMP_C + KELVIN_AT_0_C)
    return fast_exp(energy * (reference - 1.0 / kelvin))


@law
def free_share(moisture: float) -> float:
    """How freely liquid moves: 0 up to :data:`FREE_FROM`, 1 a tenth above."""
    return min(max((moisture - FREE_FROM) * FREE_PER_MOISTURE, 0.0), 1.0)


@law
def bark_opening(moisture: float, factor: float) -> float:
    """How much more vapour bark lets through once the wood beneath is drier than saturation.

    1 above 30 %, ``1 + factor`` at 15 %, a line between: bark that shrinks splits and lets go.
    """
    dry = (BOUND_WATER_MAX - moisture) * (1.0 / (0.5 * BOUND_WATER_MAX))
    return 1.0 + factor * min(max(dry, 0.0), 1.0)


@law
def thawed_share(temp_c: float, ice: float, moisture: float) -> float:
    """Share of free water that can move: 0 where all of it is ice or the wood is below -1 degC."""
    frozen = min(ice / max(moisture - BOUND_WATER_MAX, 1e-6), 1.0)
    return (1.0 - frozen) * min(max(1.0 + temp_c, 0.0), 1.0)


# Heat in wood ---------------------------------------------------------------------------------


@law
def conductivity_across_grain(moisture: Number, basic_density_kg_m3: float) -> Number:
    """Heat conductivity across the grain [W/m/K].

    MacLean 1941 (from memory): ``k = G (0.200 + c M) + 0.0238`` with M in percent, c = 0.00404
    below and 0.00548 above 40 %; the two branches are joined by a line from 30 to 40 %.
    """
    g = basic_density_kg_m3 / 1000.0
    bridge = 0.1212 + 0.98 * (moisture - 0.30)
    wet = np.maximum(0.404 * moisture, np.minimum(0.548 * moisture, bridge))
    conductivity: Number = g * (0.200 + wet) + 0.0238
    return conductivity


def dry_heat_capacity(temp_c: npt.ArrayLike) -> FloatArray:
    """Heat capacity of oven-dry wood [J/kg/K], ``103.1 + 3.867 T``.

    Wood Handbook FPL-GTR-190, eq. 4-16a.
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + KELVIN_AT_0_C
    return np.asarray(103.1 + 3.867 * kelvin)


@law
def heat_capacity(moisture: Number, density: float, dry_heat: float) -> Number:
    """Heat that a cubic metre of wood and its water holds per degree, ``rho (c_dry + c_w u)``."""
    return density * dry_heat + density * WATER_HEAT_CAPACITY_J_KG_K * moisture
