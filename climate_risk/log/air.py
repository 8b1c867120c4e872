"""Air beside a stack: vapour it can hold, heat and vapour it carries off."""

from __future__ import annotations

import numpy as np

from climate_risk.compiled import compiled
from climate_risk.constants import (
    AIR_HEAT_CAPACITY_J_KG_K,
    DRY_AIR_GAS_CONSTANT_J_KG_K,
    KELVIN_AT_0_C,
    PRANDTL_AIR,
    VAPOUR_DIFFUSIVITY_M2_S,
    WATER_VAPOUR_GAS_CONSTANT_J_KG_K,
)
from climate_risk.log.geometry import FloatArray

LEWIS_FACTOR: float = (PRANDTL_AIR / (1.506e-5 / VAPOUR_DIFFUSIVITY_M2_S)) ** (2.0 / 3.0)
"""(Pr/Sc)^(2/3) of air near 20 degC."""


@compiled
def fast_exp(x: float) -> float:
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


@compiled
def saturation_vapour_density(temp_c: float) -> float:
    """Vapour density over water [kg/m3] (Allen et al. 1998, FAO-56, eq. 11, ideal gas)."""
    pressure_pa = 610.8 * fast_exp(17.27 * temp_c / (temp_c + 237.3))
    return pressure_pa / (WATER_VAPOUR_GAS_CONSTANT_J_KG_K * (temp_c + KELVIN_AT_0_C))


@compiled
def saturated_vapour(temp_c: float) -> tuple[float, float]:
    """:func:`saturation_vapour_density`, and by how much it grows per degree [kg/m3/K].

    Both by one division: divisions are what this kernel mostly waits for.
    """
    warm, kelvin = temp_c + 237.3, temp_c + KELVIN_AT_0_C
    shared = 1.0 / (warm * warm * kelvin)
    pressure_pa = 610.8 * fast_exp(17.27 * temp_c * warm * kelvin * shared)
    density = pressure_pa * warm * warm * shared * (1.0 / WATER_VAPOUR_GAS_CONSTANT_J_KG_K)
    return density, density * (4098.171 * kelvin - warm * warm) * shared


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


@compiled
def film_resistance(convection: float, kelvin: float) -> float:
    """Resistance of the air film to vapour [s/m] (Lewis analogy).

    At 101.3 kPa, with the Schmidt number of 20 degC: both vary by a few percent.
    """
    air_density = 101325.0 / (DRY_AIR_GAS_CONSTANT_J_KG_K * kelvin)
    return air_density * AIR_HEAT_CAPACITY_J_KG_K / (LEWIS_FACTOR * convection)
