"""What the weather brings to bark and top: sun, sky, moving air, rain and watering.

Per square metre of surface at temperature ``T`` in air at ``T_a``::

    heat   a S + eps (L - sigma T_a^4) - K (T - T_a),   K = h + long-wave loss per degree
    h      ((c h_forced)^3 + h_free^3)^(1/3)
    vapour (c_surface - c_air) / (r + R_bark / (1 + crack))

``c`` the outdoor factor on forced convection, ``r`` of the air's boundary layer by the Lewis
analogy.
"""

from __future__ import annotations

from numba import prange

from climate_risk.compiled import assume, compiled
from climate_risk.constants import KELVIN_AT_0_C, SECONDS_PER_HOUR, STEFAN_BOLTZMANN_W_M2K4
from climate_risk.log import layout as at
from climate_risk.log.formulas import (
    FloatArray,
    bark_opening,
    boundary_layer_resistance,
    longwave_loss,
    mixed_convection,
)
from climate_risk.log.parameters import P

SEALED_S_M = 1e12
"""A resistance that no vapour passes."""


@compiled
def catch_water(a: FloatArray, hour: FloatArray, boundary: int, top_area: float) -> None:
    """Rain, as far as a bag lets it through, and watering onto the bark or the top."""
    assume(a.shape[2] == at.CASES and hour.shape[1] == at.CASES)
    whole, at_bark = at.SURFACE + boundary, boundary == at.BARK
    poured = 0.0 if at_bark else 1.0 / top_area
    for n in prange(at.CASES):
        bag = hour[at.F_BAG, n]
        whole_log = 1.0 if at_bark else 1.0 - hour[at.F_UNCUT, n]
        caught = a[at.PARAMETER, P.model_side_rain_catch_share, n] if at_bark else 1.0
        passed = 1.0 + bag * (a[at.PARAMETER, P.bag_rain_share, n] - 1.0)
        inflow = passed * hour[at.F_RAIN, n] * caught + hour[at.F_WATERING, n] * poured
        a[whole, at.S_INFLOW, n] = inflow * whole_log
        a[whole, at.S_SUPPLY, n] = inflow * whole_log * (1.0 / SECONDS_PER_HOUR)
        a[whole, at.S_TAKEN_UP, n] = 0.0
    for n in prange(at.CASES):
        a[whole, at.S_SUPPLY, n] += a[at.SURFACE_WATER, boundary, n] * (1.0 / SECONDS_PER_HOUR)


@compiled
def catch_weather(a: FloatArray, hour: FloatArray, boundary: int) -> None:
    """What sun, sky and air bring to a bare bark or top, or to the outside of a bag.

    Long-wave and convection are linear in the surface's temperature.
    """
    assume(a.shape[2] == at.CASES and hour.shape[1] == at.CASES)
    whole, at_bark = at.SURFACE + boundary, boundary == at.BARK
    own_absorptance = P.wood_bark_absorptance if at_bark else P.model_end_grain_absorptance
    bark = 1.0 if at_bark else 0.0
    sun = at.F_SUN_SIDE if at_bark else at.F_SUN_TOP
    longwave = at.F_LONGWAVE_SIDE if at_bark else at.F_LONGWAVE_TOP
    for n in prange(at.CASES):
        kelvin = hour[at.F_AIR_TEMP, n] + KELVIN_AT_0_C
        outdoors = a[at.PARAMETER, P.model_outdoor_convection_factor, n]
        convection = mixed_convection(
            outdoors * hour[at.F_CONVECTION, n], a[at.PARAMETER, P.model_free_convection_w_m2k, n]
        )
        air = boundary_layer_resistance(convection, kelvin)
        emissivity = a[at.PARAMETER, P.model_bark_emissivity, n]
        a[whole, at.S_AIR_RESISTANCE, n] = air
        a[whole, at.S_HEAT_LOSS, n] = convection + longwave_loss(emissivity, kelvin)
        cracked = bark_opening(
            a[whole, at.S_INNER_MOISTURE, n], a[at.PARAMETER, P.model_bark_crack_factor, n]
        )
        cover = bark * a[at.PARAMETER, P.bark_resistance_s_m, n] / cracked
        a[whole, at.S_VAPOUR_RESISTANCE, n] = air + cover
        a[whole, at.S_VAPOUR, n] = hour[at.F_VAPOUR, n]
    for n in prange(at.CASES):
        kelvin = hour[at.F_AIR_TEMP, n] + KELVIN_AT_0_C
        black = STEFAN_BOLTZMANN_W_M2K4 * kelvin * kelvin * kelvin * kelvin
        absorptance = a[at.PARAMETER, own_absorptance, n]
        emissivity = a[at.PARAMETER, P.model_bark_emissivity, n]
        a[whole, at.S_LONGWAVE, n] = emissivity * (hour[longwave, n] - black)
        a[whole, at.S_SUN, n] = absorptance * hour[sun, n]
        a[whole, at.S_BEAM, n] = bark * absorptance * hour[at.F_BEAM_SIDE, n]


@compiled
def seal_uncut(a: FloatArray, hour: FloatArray) -> None:
    """Within a longer log there is no end, and no air at it."""
    assume(a.shape[2] == at.CASES and hour.shape[1] == at.CASES)
    top = at.SURFACE + at.TOP
    for n in prange(at.CASES):
        sealed = SEALED_S_M * hour[at.F_UNCUT, n]
        a[top, at.S_AIR_RESISTANCE, n] += sealed
        a[top, at.S_VAPOUR_RESISTANCE, n] += sealed
