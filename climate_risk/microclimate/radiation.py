"""What of a stand's weather reaches the stack, hour by hour, for many runs side by side.

Sunlight through the canopy depends on each run's own canopy index; a shade cloth thins sun, sky
and wind and adds its own warmth.  Compiled, because it stands inside the hour loop.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from climate_risk.compiled import compiled, inlined
from climate_risk.constants import KELVIN_AT_0_C, STEFAN_BOLTZMANN_W_M2K4
from climate_risk.microclimate.canopy import INDEX_MAX, INDEX_STEP
from climate_risk.schema import Schema
from climate_risk.tables import Canopy, Cloth, Model

FloatArray = npt.NDArray[np.float64]

# Columns of a stand's table, one row per hour of the record.
(
    W_AIR_TEMP,
    W_VAPOUR,
    W_CONVECTION,
    W_CONVECTION_CLOTH,
    W_LONGWAVE,
    W_RAIN,
    W_GROUND_TEMP,
    W_BEAM,
    W_DIFFUSE,
    W_SUN_SINE,
    W_SUN_COSINE,
    W_INDEX,
    W_PATH,
    W_WIND,
    W_WIND_CLOTH,
    W_TEMP_DOUBT,  # of estimated weather, 0 to 1
    W_RAIN_DOUBT,
    W_HUMIDITY_DOUBT,
    W_SUN_DOUBT,
    W_WIND_DOUBT,
) = range(20)
STAND_COLUMNS = 20

# Columns of a cover's table, one row per hour of the run.
(
    C_BAG,  # 1 with a bag on, else 0
    C_FOOT,  # of the bag: 0 shut at the ground, 1 open
    C_HOLES,  # area of holes in it [m2]
    C_PLIES,  # of its wall
    C_CLOTH,  # share of sunlight that a cloth stops
    C_WATERING,  # kg
    C_UNCUT,  # 1 while the wood is part of a longer log
    C_SPAWN,  # 1 from inoculation on
    C_BARRIER_AGE,  # hours that the ground barrier has lain
) = range(9)
COVER_COLUMNS = 9

# Rows of the light that reaches the stack, a lane each [W/m2].
L_SIDE, L_TOP, L_BEAM_SIDE, L_LONGWAVE_SIDE, L_LONGWAVE_TOP = range(5)
LIGHTS = 5

CLOTH_COOLING_W_M2K = 42.0
"""Convection and radiation from both faces of a cloth, 2 x (15 + 6) W/m2/K (estimate)."""
BEAM_PATH_MAX = 8.0
"""exp(-8) is dark enough for the beam; the cap keeps the polynomial in its range."""


SCHEMA = Schema(
    {"canopy": Canopy, "model": Model, "cloth": Cloth},
    derived=("openness", "estimated_convection_factor"),
)
R = SCHEMA.index
"""Row of each parameter in the radiation's parameter array."""


def radiation_parameters(values: Mapping[str, FloatArray], openness: float) -> FloatArray:
    """Parameter rows of every case, (parameters, cases).

    Parameters
    ----------
    values : mapping of str to (cases,) array
        Drawn values by unknown, such as ``canopy.index_factor``.
    openness : float
        Share of sky seen through gaps, 0 to 1.
    """
    some = values["canopy.index_factor"]
    # Forced convection grows with the root of the wind (Churchill and Bernstein 1977).
    convection = np.sqrt(values["model.estimated_wind_factor"])
    return SCHEMA.fill(
        values,
        openness=np.full_like(some, openness),
        estimated_convection_factor=convection,
    )


@inlined
def _beam_share(way: float) -> float:
    """exp(-way) for ways up to :data:`BEAM_PATH_MAX`, by a polynomial for the vector unit."""
    y = -0.0625 * min(way, BEAM_PATH_MAX)
    p = 1.0 + y * (1.0 + y * (0.5 + y * (1 / 6 + y * (1 / 24 + y * (1 / 120 + y * (1 / 720))))))
    p *= p
    p *= p
    p *= p
    return p * p


@compiled
def light_at_stack(
    stand: FloatArray,
    cover: FloatArray,
    parameters: FloatArray,
    diffuse_table: FloatArray,
    out: FloatArray,
) -> None:
    """Sunlight and long-wave on a vertical cylinder, one hour, every run.

    Parameters
    ----------
    stand : (STAND_COLUMNS, cases) array
        One hour of each run's stand weather, see the W_ names.
    cover : (COVER_COLUMNS,) array
        See the C_ names.
    parameters : (parameters, cases) array
        See :data:`R`.
    diffuse_table : ndarray
        See :func:`climate_risk.microclimate.canopy.diffuse_table`.
    out : (LIGHTS, cases) array
        See the L_ names; filled.

    Notes
    -----
    A vertical cylinder takes the beam at cos(elevation)/pi of its normal strength, averaged
    round its girth; its side sees half sky and half ground, the ground at air temperature.
    """
    cases = stand.shape[1]
    stopped = cover[C_CLOTH]
    for n in range(cases):
        x = min(stand[W_INDEX, n] * parameters[R.canopy_index_factor, n], INDEX_MAX)
        place = x * (1.0 / INDEX_STEP)
        j = int(place)
        w = place - j
        out[L_TOP, n] = diffuse_table[j] * (1.0 - w) + diffuse_table[j + 1] * w
    for n in range(cases):
        gap = parameters[R.openness, n]
        beam_share = _beam_share(
            stand[W_INDEX, n] * parameters[R.canopy_index_factor, n] * stand[W_PATH, n]
        )
        up = 1.0 if stand[W_PATH, n] > 0.0 else 0.0
        light = 1.0 + stand[W_SUN_DOUBT, n] * parameters[R.model_estimated_sun_error, n]
        beam = light * stand[W_BEAM, n] * up * (gap + (1.0 - gap) * beam_share)
        diffuse = light * stand[W_DIFFUSE, n] * (gap + (1.0 - gap) * out[L_TOP, n])
        sine, cosine = stand[W_SUN_SINE, n], stand[W_SUN_COSINE, n]
        on_cloth = diffuse + beam * sine
        if stopped > 0.0:
            passed = min(max(1.0 - stopped + parameters[R.cloth_weave_error, n], 0.0), 1.0)
            turned = passed * parameters[R.cloth_beam_to_diffuse_share, n] * beam
            beam = passed * beam - turned
            diffuse = passed * diffuse + turned * sine
        top = diffuse + beam * sine
        kelvin = stand[W_AIR_TEMP, n] + KELVIN_AT_0_C
        black = STEFAN_BOLTZMANN_W_M2K4 * kelvin * kelvin * kelvin * kelvin
        warm = parameters[R.cloth_solar_absorptance, n] * stopped * on_cloth / CLOTH_COOLING_W_M2K
        cloth = black * (1.0 + 4.0 * warm / kelvin)
        longwave = (1.0 - stopped) * stand[W_LONGWAVE, n] + stopped * cloth
        out[L_SIDE, n] = (
            beam * cosine * (1.0 / np.pi)
            + 0.5 * diffuse
            + 0.5 * parameters[R.model_ground_albedo, n] * top
        )
        out[L_TOP, n] = top
        out[L_BEAM_SIDE, n] = beam * cosine
        out[L_LONGWAVE_SIDE, n] = 0.5 * (longwave + black)
        out[L_LONGWAVE_TOP, n] = longwave


def girth_modes(sun_azimuth_deg: FloatArray, sectors: int = 8) -> FloatArray:
    """Discrete angular modes of a beam's half-cosine on the sectors of a vertical cylinder.

    Sector ``n`` is centred on azimuth ``n * 360 / sectors`` from north; each takes the exact
    mean of max(cos(angle to the sun), 0) over its width.

    Parameters
    ----------
    sun_azimuth_deg : (hours,) array
    sectors : int
        Eight: modes above the fourth do not exist, and the third vanishes by symmetry.

    Returns
    -------
    ndarray
        (hours, 5) coefficients of cos 1, sin 1, cos 2, sin 2 and cos 4.
    """
    width = 2.0 * np.pi / sectors
    centres = width * np.arange(sectors)
    angle = centres[None, :] - np.radians(sun_azimuth_deg)[:, None]
    angle = (angle + np.pi) % (2.0 * np.pi) - np.pi
    low = np.clip(angle - width / 2, -np.pi / 2, np.pi / 2)
    high = np.clip(angle + width / 2, -np.pi / 2, np.pi / 2)
    lit = (np.sin(high) - np.sin(low)) / width
    modes = [
        2.0 * (lit @ np.cos(centres)) / sectors,
        2.0 * (lit @ np.sin(centres)) / sectors,
        2.0 * (lit @ np.cos(2 * centres)) / sectors,
        2.0 * (lit @ np.sin(2 * centres)) / sectors,
        (lit @ np.cos(4 * centres)) / sectors,
    ]
    return np.stack(modes, axis=1)


def sector_basis(sectors: int = 8) -> FloatArray:
    """Values of the five modes on the sectors, (5, sectors)."""
    centres = 2.0 * np.pi / sectors * np.arange(sectors)
    return np.stack(
        [
            np.cos(centres),
            np.sin(centres),
            np.cos(2 * centres),
            np.sin(2 * centres),
            np.cos(4 * centres),
        ]
    )
