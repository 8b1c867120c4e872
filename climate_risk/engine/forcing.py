"""One hour's forcing of a block: stand weather, as each run has drawn it, and covers."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from climate_risk.compiled import fetch_ahead, inlined, law
from climate_risk.constants import KELVIN_AT_0_C
from climate_risk.log import layout as at
from climate_risk.log.formulas import FloatArray, Number, saturation_vapour_density
from climate_risk.log.rows import choose, greatest, load_row, store_row
from climate_risk.microclimate.radiation import (
    C_BAG,
    C_BARRIER_AGE,
    C_CLOTH,
    C_FOOT,
    C_HOLES,
    C_PLIES,
    C_SPAWN,
    C_UNCUT,
    C_WATERING,
    L_BEAM_SIDE,
    L_LONGWAVE_SIDE,
    L_LONGWAVE_TOP,
    L_SIDE,
    L_TOP,
    STAND_COLUMNS,
    W_AIR_TEMP,
    W_CONVECTION,
    W_CONVECTION_CLOTH,
    W_GROUND_TEMP,
    W_HUMIDITY_DOUBT,
    W_LONGWAVE,
    W_RAIN,
    W_RAIN_DOUBT,
    W_TEMP_DOUBT,
    W_VAPOUR,
    W_WIND,
    W_WIND_CLOTH,
    W_WIND_DOUBT,
    R,
)

IntArray = npt.NDArray[np.int64]

LEAST_HUMIDITY = 0.05
"""Air outdoors is hardly ever drier (common practice, no source)."""
FETCHED_AHEAD_H = 4
"""Hours before its use in which a run's weather is fetched from memory."""


@inlined
def gather(stand: FloatArray, start: IntArray, hour: int, row: FloatArray) -> None:
    """One hour of every run's stand weather; runs stand at different places of the record."""
    for n in range(at.CASES):
        r = start[n] + hour
        for c in range(0, STAND_COLUMNS, at.NUMBERS_OF_A_LINE):
            fetch_ahead(stand, r + FETCHED_AHEAD_H, c)
        for c in range(STAND_COLUMNS):
            row[c, n] = stand[r, c]


@law
def humidity_off(air: Number, vapour: Number, points: Number) -> Number:
    """Vapour density [kg/m3] of air whose relative humidity is off by some points.

    Held between :data:`LEAST_HUMIDITY` and saturation.
    """
    saturated = saturation_vapour_density(air)
    least: Number = max(vapour + 0.01 * points * saturated, LEAST_HUMIDITY * saturated)
    return min(least, saturated)


@inlined
def fill_as_drawn(row: FloatArray, parameters: FloatArray) -> None:
    """Warmth and rain of long gaps, off by what each run has drawn.

    Relative humidity stays, as does the sky's emissivity.
    """
    rainier = load_row(parameters, R.model_estimated_rain_factor) - 1.0
    rain = load_row(row, W_RAIN) * (1.0 + load_row(row, W_RAIN_DOUBT) * rainier)
    store_row(row, W_RAIN, rain)
    off = load_row(row, W_TEMP_DOUBT) * load_row(parameters, R.model_estimated_temp_error_k)
    if greatest(abs(off)) > 0.0:
        air = load_row(row, W_AIR_TEMP)
        denser = saturation_vapour_density(air + off) / saturation_vapour_density(air)
        warmer = (air + off + KELVIN_AT_0_C) / (air + KELVIN_AT_0_C)
        sky = load_row(row, W_LONGWAVE) * warmer * warmer * warmer * warmer
        store_row(row, W_VAPOUR, load_row(row, W_VAPOUR) * denser)
        store_row(row, W_LONGWAVE, sky)
        store_row(row, W_AIR_TEMP, air + off)
        store_row(row, W_GROUND_TEMP, load_row(row, W_GROUND_TEMP) + off)


@inlined
def assemble(
    row: FloatArray,
    light: FloatArray,
    cover: FloatArray,
    parameters: FloatArray,
    forcing: FloatArray,
) -> None:
    """Stand weather, light and cover of one hour as the log's forcing.

    Humidity and wind that were estimated are off by what the run has drawn; sunlight is so in
    :func:`climate_risk.microclimate.radiation.light_at_stack`.
    """
    cloth = cover[C_CLOTH] > 0.0
    convection = W_CONVECTION_CLOTH if cloth else W_CONVECTION
    wind = W_WIND_CLOTH if cloth else W_WIND
    air, vapour = load_row(row, W_AIR_TEMP), load_row(row, W_VAPOUR)
    share = load_row(row, W_HUMIDITY_DOUBT)
    if greatest(share) > 0.0:
        points = share * load_row(parameters, R.model_estimated_humidity_error_pct)
        vapour = choose(share, humidity_off(air, vapour, points), vapour)
    share = load_row(row, W_WIND_DOUBT)
    windier = 1.0 + share * (load_row(parameters, R.model_estimated_wind_factor) - 1.0)
    on_heat = 1.0 + share * (load_row(parameters, R.estimated_convection_factor) - 1.0)
    store_row(forcing, at.F_AIR_TEMP, air)
    store_row(forcing, at.F_VAPOUR, vapour)
    store_row(forcing, at.F_CONVECTION, load_row(row, convection) * on_heat)
    store_row(forcing, at.F_WIND, load_row(row, wind) * windier)
    store_row(forcing, at.F_LONGWAVE_SIDE, load_row(light, L_LONGWAVE_SIDE))
    store_row(forcing, at.F_LONGWAVE_TOP, load_row(light, L_LONGWAVE_TOP))
    store_row(forcing, at.F_RAIN, load_row(row, W_RAIN))
    store_row(forcing, at.F_SOIL_TEMP, load_row(row, W_GROUND_TEMP))
    store_row(forcing, at.F_SUN_SIDE, load_row(light, L_SIDE))
    store_row(forcing, at.F_SUN_TOP, load_row(light, L_TOP))
    store_row(forcing, at.F_BEAM_SIDE, load_row(light, L_BEAM_SIDE))
    store_row(forcing, at.F_BAG, cover[C_BAG])
    store_row(forcing, at.F_FOOT, cover[C_FOOT])
    store_row(forcing, at.F_HOLES, cover[C_HOLES])
    store_row(forcing, at.F_PLIES, cover[C_PLIES])
    store_row(forcing, at.F_WATERING, cover[C_WATERING])
    store_row(forcing, at.F_UNCUT, cover[C_UNCUT])
    store_row(forcing, at.F_SPAWN, cover[C_SPAWN])
    store_row(forcing, at.F_BARRIER_AGE, cover[C_BARRIER_AGE])
