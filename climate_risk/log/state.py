"""What a stack remembers: the layout of the kernel's one array, its inputs and its balances.

A lane is one run: one year's weather with one draw of the unknowns.  All fields live in one
array ``a[term, row, lane]``.  The compiler turns loops over lanes into vector instructions only
where it can prove, or cheaply check, that what is written does not overlap what is read: one
array, few terms in one loop, and quantities of one face as neighbouring rows of one term.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from climate_risk.constants import LATENT_HEAT_FUSION_J_KG, WATER_HEAT_CAPACITY_J_KG_K
from climate_risk.log.geometry import Grid

FloatArray = npt.NDArray[np.float64]

LANES = 32
"""Draws side by side: a compile-time constant, so that the inner loops become vectors."""
MODES = 5
"""Angular modes of bark heat on eight sectors: cos 1, sin 1, cos 2, sin 2, cos 4."""
SECTORS = 8

# Rows of one hour's forcing, a lane each: what reaches the outside of the stack or its bag.
(
    F_AIR_TEMP,  # degC
    F_VAPOUR,  # density in the air [kg/m3]
    F_CONVECTION,  # forced convection [W/m2/K]
    F_LONGWAVE_SIDE,  # W/m2
    F_LONGWAVE_TOP,  # W/m2
    F_RAIN,  # kg/m2 of ground
    F_WATERING,  # kg
    F_SOIL_TEMP,  # degC
    F_BAG,  # 1 with a bag on, else 0
    F_SUN_SIDE,  # mean over the side [W/m2]
    F_SUN_TOP,  # W/m2
    F_BEAM_SIDE,  # beam square to a vertical face [W/m2]
) = range(12)
FORCINGS = 12

# Terms whose rows are cells, ``row = level * nr + ring``.
(
    MOISTURE,  # kg/kg
    TEMP,  # degC
    ICE,  # kg ice per kg dry wood, part of the moisture
    WATER_R,  # conductance to the next ring out, per metre of height [kg/s/m per kg/kg]
    WATER_Z,  # conductance to the next level up, per square metre [kg/s/m2 per kg/kg]
    HEAT_R,  # [W/m/K]
    HEAT_Z,  # [W/m2/K]
    ACROSS,  # moisture diffusivity across the grain [m2/s]
    ALONG,  # along the grain
    FREE_FLOW,  # share of free water that can move: 0 below fibre saturation, less in frost
    CONDUCTIVITY,  # of heat, across the grain [W/m/K]
    ENERGY,  # heat held while water moves [J/m3]
    SWEEP,  # eliminated coupling of the line in hand, by its cells, then their fluxes of heat
) = range(13)
# The outer faces; of the terms that follow each face has its own, ``term + face``.
BARK, TOP, GROUND = range(3)
FACES = 3
# Terms whose rows are a face's cells: levels under the bark, rings at the top and the ground.
(
    FACE_WATER,  # half-cell conductance [kg/s/m2 per kg/kg]
    FACE_HEAT,  # half-cell with bark or ground barrier [W/m2/K]
    FACE_JOIN,  # resistance of half-cell and air once the surface is eliminated [m2 K/W]
    FACE_MOISTURE,  # of the wood's very surface [kg/kg]
    FACE_ACTIVITY,  # water activity there
    FACE_DRYING,  # secant conductance of drying [kg/s/m2 per kg/kg]
    FACE_UPTAKE,  # conductance of liquid [kg/s/m2 per kg/kg], then its flux [kg/s/m2]; none below
    FACE_OUT,  # vapour out of the wood [kg/m2/s]
    FACE,  # rows are the S_ quantities of the whole face
) = range(13, 40, 3)
BARK_OUT, TOP_OUT = FACE_OUT + BARK, FACE_OUT + TOP
(
    S_INNER,  # mean conductance of the outer half-cells [W/m2/K]
    S_BELOW,  # mean temperature of the outer cells [degC]
    S_WOOD,  # mean vapour out of the wood while its surface is dry [kg/m2/s]
    S_SUN,  # absorbed [W/m2]
    S_BEAM,  # absorbed beam square to the side [W/m2]
    S_LONGWAVE,  # net at air temperature [W/m2]
    S_BACK,  # loss per degree above the air [W/m2/K]
    S_GAIN,  # all that warms the dry face, were its surface at 0 degC [W/m2]
    S_FILM,  # resistance of air film and bag to vapour [s/m]
    S_COVER,  # resistance to vapour of all that covers the wood, bark or barrier too [s/m]
    S_SHADE,  # all that warms the face but sun and vapour, were its surface at 0 degC [W/m2]
    S_TEMP,  # of the surface while it is dry [degC]
    S_SATURATED,  # vapour density at that temperature [kg/m3]
    S_DRAW,  # the same for the flux from wood, less near saturation [kg/m3]
    S_STEEP,  # growth of that density per degree [kg/m3/K]
    S_EVENING,  # latent heat by vapour deficit that evens out the girth [W/m2 per kg/m3]
    S_HUMIDITY,  # vapour density of the air over the saturated one, at most ACTIVITY_MAX
    S_TARGET,  # moisture at which wood and air would be at rest
    S_WET,  # share of the hour with water on the surface
    S_FILM_OUT,  # evaporation of the film, negative for dew [kg/m2/s]
    S_INFLOW,  # rain and watering [kg/m2]
    S_SUPPLY,  # film and inflow, spread over the hour [kg/m2/s]
    S_UPTAKE,  # liquid taken up per missing moisture [kg/m2/s per kg/kg]
    S_TAKEN_UP,  # mean uptake over the face [kg/m2/s]
    S_OVER,  # film over its limit [kg/m2]
    S_CONDENSED,  # mean vapour into the wood [kg/m2/s]
    S_DRIED,  # mean vapour out of the wood [kg/m2/s]
    S_WATER_HEAT,  # mean heat that water brought into the wood [J/m2]
) = range(28)
S_ROWS = 28
# Terms whose rows are one for the bark and one for the top.
FILM = 40  # water on the surface [kg/m2]
SURFACE_TEMP = 41  # degC
# The two ends of the line in hand: conductance to the outside and what drives in; of liquid, how
# fast the wood takes it up per missing moisture, how much there is, and how much is taken.
ENDS = 42
(
    E_LOW,
    E_LOW_DRIVE,
    E_HIGH,
    E_HIGH_DRIVE,
    E_FEED,
    E_SUPPLY,
    E_TAKEN,
    E_HEAT,
    E_JOIN,
) = range(9)
# Angular modes of bark heat: rows are mode * nr + ring; their surface values, a row each.
MODE_TEMP = 43
MODE_SURFACE = 44
# Of the modes' ring equation, rows are rings.
MODE_MASS = 45
MODE_PIVOT = 46
# The lanes' own values, in the order of :class:`Lanes`.
OWN = 47
# Running sums since the start, one row each.
LEDGER = 48
TERMS = 49
(
    B_WATER_IN,  # kg
    B_WATER_OUT,
    B_RUNOFF,
    B_SHORTWAVE,  # J
    B_EXCHANGE,
    B_LATENT,
    B_GROUND_HEAT,
    B_WATER_HEAT,
    B_HEAT_MOVED,  # sizes of all of these, faces of one side taken together
) = range(9)


class Lanes(NamedTuple):
    """What may differ between lanes; every array has shape (LANES,)."""

    bark_absorptance: FloatArray
    end_absorptance: FloatArray
    emissivity: FloatArray
    film_factor: FloatArray
    free_convection_w_m2k: FloatArray
    bark_resistance_s_m: FloatArray
    bark_heat_resistance_m2k_w: FloatArray
    bark_uptake_kg_m2_s: FloatArray
    bark_store_kg_m2: FloatArray
    top_film_kg_m2: FloatArray
    side_catch_share: FloatArray
    free_diffusivity_transverse_m2_s: FloatArray
    free_diffusivity_longitudinal_m2_s: FloatArray
    uptake_diffusivity_m2_s: FloatArray
    bound_diffusivity_factor: FloatArray
    bound_anisotropy: FloatArray
    contact_m: FloatArray
    barrier_resistance_s_m: FloatArray
    barrier_heat_w_m2k: FloatArray
    bag_transmittance: FloatArray
    bag_absorptance: FloatArray
    bag_vapour_m_s: FloatArray
    bag_gap_vapour_m_s: FloatArray
    bag_leak_m_s: FloatArray
    bag_gap_heat_w_m2k: FloatArray
    bag_rain_share: FloatArray
    """Of the rain: comes through a bag."""
    start_moisture: FloatArray


(
    O_BARK_ABSORPTANCE,
    O_END_ABSORPTANCE,
    O_EMISSIVITY,
    O_FILM_FACTOR,
    O_FREE_CONVECTION,
    O_BARK_RESISTANCE,
    O_BARK_HEAT_RESISTANCE,
    O_BARK_UPTAKE,
    O_BARK_STORE,
    O_TOP_FILM,
    O_SIDE_CATCH,
    O_FREE_TRANSVERSE,
    O_FREE_LONGITUDINAL,
    O_UPTAKE_DIFFUSIVITY,
    O_BOUND_FACTOR,
    O_ANISOTROPY,
    O_CONTACT,
    O_BARRIER_RESISTANCE,
    O_BARRIER_HEAT,
    O_BAG_TRANSMITTANCE,
    O_BAG_ABSORPTANCE,
    O_BAG_VAPOUR,
    O_BAG_GAP_VAPOUR,
    O_BAG_LEAK,
    O_BAG_GAP_HEAT,
    O_BAG_RAIN,
    O_START_MOISTURE,
) = range(len(Lanes._fields))


class Curves(NamedTuple):
    """The wood's tabulated curves; see :class:`climate_risk.log.wood.WoodTables`."""

    density_kg_m3: float
    dry_heat_capacity_j_kg_k: float
    max_moisture: float
    """To which rain and watering can wet the wood [kg/kg]."""
    activity: FloatArray
    moisture_by_activity: FloatArray
    bound_diffusivity_m2_s: FloatArray


def make_state(grid: Grid, lanes: Lanes, air_temp_c: float) -> FloatArray:
    """A stack at the air's temperature and its lanes' start moisture, dry outside.

    Returns
    -------
    ndarray
        (TERMS, rows, LANES); all that the log remembers, so that a copy resumes bit for bit.
    """
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    rows = max(nz * nr, MODES * nr, S_ROWS, len(lanes))
    # An odd number of rows keeps the terms of one cell from falling on one cache line.
    a = np.zeros((TERMS, rows | 1, LANES))
    a[MOISTURE, : nz * nr] = lanes.start_moisture
    a[TEMP, : nz * nr] = air_temp_c
    a[SURFACE_TEMP, :2] = air_temp_c
    a[FACE_MOISTURE : FACE_MOISTURE + FACES, : max(nz, nr)] = lanes.start_moisture
    keep_own(a, lanes)
    return a


def keep_own(a: FloatArray, lanes: Lanes) -> None:
    """Lay the lanes' own values beside the state; covers may have changed since it was made."""
    a[OWN, : len(lanes)] = lanes


def _dry_mass_kg(grid: Grid, curves: Curves) -> FloatArray:
    """Oven-dry wood of every cell, (cells,)."""
    return (curves.density_kg_m3 * grid.level_m[:, None] * grid.ring_area_m2[None, :]).ravel()


def stored_water_kg(grid: Grid, curves: Curves, a: FloatArray) -> FloatArray:
    """Water in the wood and in its films, per lane [kg]."""
    dry = _dry_mass_kg(grid, curves)
    girth, top = grid.edge_girth_m[-1], np.pi * grid.radius_m**2
    films = girth * grid.height_m * a[FILM, 0] + top * a[FILM, 1]
    return np.asarray(dry @ a[MOISTURE, : dry.size] + films)


def stored_heat_j(grid: Grid, curves: Curves, a: FloatArray) -> FloatArray:
    """Heat of wood, water and ice above liquid water and wood at 0 degC, per lane [J]."""
    dry = _dry_mass_kg(grid, curves)
    cells = dry.size
    warm = curves.dry_heat_capacity_j_kg_k + WATER_HEAT_CAPACITY_J_KG_K * a[MOISTURE, :cells]
    cell = warm * a[TEMP, :cells] - LATENT_HEAT_FUSION_J_KG * a[ICE, :cells]
    return np.asarray(dry @ cell)
