"""Moist air: vapour pressure, dew point, relative humidity, pressure with height.

Source of the equations: Allen, Pereira, Raes & Smith 1998, Crop evapotranspiration,
FAO Irrigation and Drainage Paper 56 (FAO-56 below).
"""

from __future__ import annotations

import numpy as np

from climate_risk.weather.record import FloatArray


def saturation_vapour_pressure_kpa(temp_c: FloatArray | float) -> FloatArray:
    """Saturation vapour pressure over water, FAO-56 equation 11.

    Parameters
    ----------
    temp_c : array or float, any shape
        Air temperature [C].

    Returns
    -------
    array, same shape
        Pressure [kPa]. The curve over water is kept below freezing, as in the source.
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    result: FloatArray = 0.6108 * np.exp(17.27 * temp / (temp + 237.3))
    return result


def dew_point_c(vapour_pressure_kpa: FloatArray | float) -> FloatArray:
    """Temperature at which air of this vapour pressure is saturated, equation 11 inverted.

    Parameters
    ----------
    vapour_pressure_kpa : array or float, any shape
        Actual vapour pressure [kPa]; values under 0.001 kPa are taken as 0.001.

    Returns
    -------
    array, same shape
        Dew point [C].
    """
    log_ratio = np.log(np.maximum(vapour_pressure_kpa, 1e-3) / 0.6108)
    result: FloatArray = 237.3 * log_ratio / (17.27 - log_ratio)
    return result


def vapour_pressure_kpa(temp_c: FloatArray, rel_humidity_pct: FloatArray) -> FloatArray:
    """Actual vapour pressure [kPa] of air at `temp_c` [C] and `rel_humidity_pct` [%]."""
    return saturation_vapour_pressure_kpa(temp_c) * rel_humidity_pct / 100.0


def relative_humidity_pct(temp_c: FloatArray, vapour_pressure_kpa: FloatArray) -> FloatArray:
    """Relative humidity [%] of air at `temp_c` [C], capped at 100."""
    ratio = vapour_pressure_kpa / saturation_vapour_pressure_kpa(temp_c)
    result: FloatArray = np.minimum(100.0 * ratio, 100.0)
    return result


def mean_saturation_kpa(temp_min_c: FloatArray, temp_max_c: FloatArray) -> FloatArray:
    """Day's mean saturation vapour pressure [kPa] from its two extremes, FAO-56 equation 12."""
    low = saturation_vapour_pressure_kpa(temp_min_c)
    high = saturation_vapour_pressure_kpa(temp_max_c)
    result: FloatArray = (low + high) / 2.0
    return result


def pressure_hpa(elevation_m: float) -> float:
    """Air pressure [hPa] at `elevation_m` [m] in the standard air of FAO-56 equation 7."""
    return float(1013.0 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)
