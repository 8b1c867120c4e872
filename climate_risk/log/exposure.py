"""What the weather brings to bark and top: sun, sky, moving air, rain and watering.

Per square metre of surface at temperature ``T`` in air at ``T_a``::

    heat   a S + eps (L - sigma T_a^4) - K (T - T_a),   K = h + long-wave loss per degree
    h      ((c h_forced)^3 + h_free^3)^(1/3)
    vapour (c_surface - c_air) / (r + R_bark / (1 + crack))

``c`` the outdoor factor on forced convection, ``r`` of the air's boundary layer by the Lewis
analogy.
"""

from __future__ import annotations

from climate_risk.compiled import compiled
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
from climate_risk.log.rows import add_to, alike, load, load_row, store

SEALED_S_M = 1e12
"""A resistance that no vapour passes."""


@compiled
def catch_water(a: FloatArray, hour: FloatArray, boundary: int, top_area: float) -> None:
    """Rain, as far as a bag lets it through, and watering onto the bark or the top."""
    whole, held = at.SURFACE + boundary, load(a, at.SURFACE_WATER, boundary)
    passed = 1.0 + load_row(hour, at.F_BAG) * (load(a, at.PARAMETER, P.bag_rain_share) - 1.0)
    inflow = passed * load_row(hour, at.F_RAIN)
    if boundary == at.BARK:
        inflow *= load(a, at.PARAMETER, P.model_side_rain_catch_share)
    else:
        inflow += load_row(hour, at.F_WATERING) * (1.0 / top_area)
        inflow *= 1.0 - load_row(hour, at.F_UNCUT)
    store(a, whole, at.S_INFLOW, inflow)
    store(a, whole, at.S_SUPPLY, (inflow + held) * (1.0 / SECONDS_PER_HOUR))
    store(a, whole, at.S_TAKEN_UP, 0.0)


@compiled
def catch_weather(a: FloatArray, hour: FloatArray, boundary: int) -> None:
    """What sun, sky and air bring to a bare bark or top, or to the outside of a bag.

    Long-wave and convection are linear in the surface's temperature.
    """
    whole, at_bark = at.SURFACE + boundary, boundary == at.BARK
    own_absorptance = P.wood_bark_absorptance if at_bark else P.model_end_grain_absorptance
    sun = at.F_SUN_SIDE if at_bark else at.F_SUN_TOP
    longwave = at.F_LONGWAVE_SIDE if at_bark else at.F_LONGWAVE_TOP
    kelvin = load_row(hour, at.F_AIR_TEMP) + KELVIN_AT_0_C
    outdoors = load(a, at.PARAMETER, P.model_outdoor_convection_factor)
    forced = outdoors * load_row(hour, at.F_CONVECTION)
    convection = mixed_convection(forced, load(a, at.PARAMETER, P.model_free_convection_w_m2k))
    emissivity = load(a, at.PARAMETER, P.model_bark_emissivity)
    air = boundary_layer_resistance(convection, kelvin)
    store(a, whole, at.S_AIR_RESISTANCE, air)
    store(a, whole, at.S_HEAT_LOSS, convection + longwave_loss(emissivity, kelvin))
    store(a, whole, at.S_VAPOUR, load_row(hour, at.F_VAPOUR))
    black = STEFAN_BOLTZMANN_W_M2K4 * kelvin * kelvin * kelvin * kelvin
    store(a, whole, at.S_LONGWAVE, emissivity * (load_row(hour, longwave) - black))
    absorptance = load(a, at.PARAMETER, own_absorptance)
    store(a, whole, at.S_SUN, absorptance * load_row(hour, sun))
    beam, cover = alike(0.0), alike(0.0)
    if at_bark:
        beam = absorptance * load_row(hour, at.F_BEAM_SIDE)
        crack = load(a, at.PARAMETER, P.model_bark_crack_factor)
        opened = bark_opening(load(a, whole, at.S_INNER_MOISTURE), crack)
        cover = load(a, at.PARAMETER, P.bark_resistance_s_m) / opened
    store(a, whole, at.S_BEAM, beam)
    store(a, whole, at.S_VAPOUR_RESISTANCE, air + cover)


@compiled
def seal_uncut(a: FloatArray, hour: FloatArray) -> None:
    """Within a longer log there is no end, and no air at it."""
    top, sealed = at.SURFACE + at.TOP, SEALED_S_M * load_row(hour, at.F_UNCUT)
    add_to(a, top, at.S_AIR_RESISTANCE, sealed)
    add_to(a, top, at.S_VAPOUR_RESISTANCE, sealed)
