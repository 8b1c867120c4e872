"""Where everything lies in the kernel's one array ``a[term, row, case]``.

A case is one simulation: one year's weather with one draw of the unknowns.  All fields live in
one array: a block is copied, branched and kept whole.  The numbers of all cases lie end to end,
and kernels take them as one value (:mod:`climate_risk.log.rows`).

Prefixes: ``F_`` row of an hour's forcing, ``S_`` row of a boundary's surface balance, ``E_`` row
of the modes' outer end, ``N_`` row of the whole stack, ``B_`` row of the budget.  A field
holds one quantity.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

CASES = 32
"""Side by side in a block: a compile-time constant, so that a row of them is one value."""
MODES = 5
"""Azimuthal modes of bark heat on eight sectors: cos 1, sin 1, cos 2, sin 2, cos 4."""
SECTORS = 8

# Rows of one hour's forcing: what reaches the outside of the stack or its bag.
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
    F_FOOT,  # of the bag: 0 shut at the ground, 1 open
    F_HOLES,  # area of holes in the bag [m2]
    F_PLIES,  # of the bag's wall
    F_WIND,  # at the stack [m/s]
    F_UNCUT,  # 1 while the wood is still part of a longer log, else 0
    F_SPAWN,  # 1 from inoculation on, else 0
    F_BARRIER_AGE,  # hours that the ground barrier has lain
    F_SUN_SIDE,  # mean over the side [W/m2]
    F_SUN_TOP,  # W/m2
    F_BEAM_SIDE,  # beam square to a vertical face [W/m2]
) = range(19)
FORCINGS = 19

# Terms whose rows are cells, ``row = level * nr + ring``.
(
    MOISTURE,  # kg/kg
    TEMP,  # degC
    ICE,  # kg ice per kg dry wood, part of the moisture
    WATER_R,  # conductance to the next ring out, per metre of height [kg/s/m per kg/kg]
    WATER_Z,  # conductance to the next level up, per square metre [kg/s/m2 per kg/kg]
    HEAT_R,  # [W/m/K]; of the last ring to the outside, for the hour in hand
    HEAT_Z,  # [W/m2/K]; of the last level likewise
    ACROSS,  # moisture diffusivity across the grain [m2/s]
    ALONG,  # along the grain
    FREE_FLOW,  # share of free water that can move: 0 below fibre saturation, less in frost
    CONDUCTIVITY,  # of heat, across the grain [W/m/K]
    ENERGY,  # heat held while water moves [J/m3]
    HEAT_PIVOT_R,  # of heat's lines across the rings, eliminated for the hour: 1 over what draws
    HEAT_PIVOT_Z,  # along the levels
    HEAT_NEXT_Z,  # share that a cell of those takes of the next one
    ELIMINATION,  # share of a cell of the line in hand, but heat's, that it takes of the next one
) = range(16)
# The outer boundaries; of the terms that follow each has its own, ``term + boundary``.
BARK, TOP, GROUND = range(3)
BOUNDARIES = 3
NOWHERE = -1  # in place of one of them
# Terms whose rows are a boundary's cells: levels under the bark, rings at the top and the ground.
(
    BOUNDARY_WATER,  # half-cell conductance [kg/s/m2 per kg/kg]
    BOUNDARY_WATER_RESISTANCE,  # 1 over that
    BOUNDARY_HEAT,  # half-cell with bark or ground barrier [W/m2/K]
    BOUNDARY_RESISTANCE,  # of half-cell and air once the surface is eliminated [m2 K/W]
    BOUNDARY_EXCHANGE,  # conductance of half-cell and air in series [W/m2/K]
    BOUNDARY_DRIVEN,  # what drives heat to the surface but the wood beneath [W/m2]
    BOUNDARY_TEMP,  # mean of the cell's temperature over the steps of an hour [degC]
    BOUNDARY_MOISTURE,  # of the wood's very surface [kg/kg]
    BOUNDARY_DRYING,  # secant conductance of drying [kg/s/m2 per kg/kg]
    BOUNDARY_UPTAKE,  # conductance of liquid [kg/s/m2 per kg/kg]; none below
    BOUNDARY_LIQUID,  # liquid taken up [kg/m2/s]
    BOUNDARY_OUT,  # vapour out of the wood [kg/m2/s]
    SURFACE,  # rows are the S_ quantities of the whole boundary
) = range(16, 55, 3)
BARK_OUT, TOP_OUT = BOUNDARY_OUT + BARK, BOUNDARY_OUT + TOP
(
    S_INNER_CONDUCTANCE,  # mean of the outer half-cells [W/m2/K]
    S_INNER_TEMP,  # mean temperature of the outer cells [degC]
    S_INNER_MOISTURE,  # mean moisture of the outer cells [kg/kg]
    S_WOOD_FLUX,  # mean vapour out of the wood while its surface is dry [kg/m2/s]
    S_SUN,  # absorbed [W/m2]
    S_BEAM,  # absorbed beam square to the side [W/m2]
    S_LONGWAVE,  # net at air temperature [W/m2]
    S_HEAT_LOSS,  # coefficient: loss per degree above the air [W/m2/K]
    S_PASSED,  # share of what falls on a bag's outside that warms the stack
    S_GAIN,  # all that warms the dry surface, were it at 0 degC [W/m2]
    S_VAPOUR,  # density in the air that the surface meets [kg/m3]
    S_AIR_RESISTANCE,  # boundary layer and bag, to vapour [s/m]
    S_VAPOUR_RESISTANCE,  # of all that covers the wood, bark or barrier too [s/m]
    S_NONSOLAR_GAIN,  # all that warms the surface but sun and vapour, were it at 0 degC [W/m2]
    S_TEMP,  # of the surface while it is dry [degC]
    S_AIR_SATURATED,  # vapour density at air temperature [kg/m3]
    S_AIR_SATURATION_SLOPE,  # growth of that density per degree [kg/m3/K]
    S_SATURATED,  # vapour density at S_TEMP [kg/m3]
    S_SATURATION_SLOPE,  # growth of that density per degree [kg/m3/K]
    S_DRIVING_DENSITY,  # S_SATURATED as it draws vapour from wood, less near saturation [kg/m3]
    S_AZIMUTHAL_DAMPING,  # latent heat by vapour deficit that evens the girth [W/m2 per kg/m3]
    S_STRONGEST_PULL,  # vapour that the air would draw from free water [kg/m2/s]
    S_HUMIDITY,  # vapour density of the air over the saturated one, at most ACTIVITY_MAX
    S_TARGET,  # moisture at which wood and air would be at rest
    S_WET,  # share of the hour with water on the surface
    S_EVAPORATION,  # of surface water, negative for dew [kg/m2/s]
    S_INFLOW,  # rain and watering [kg/m2]
    S_SUPPLY,  # surface water and inflow, spread over the hour [kg/m2/s]
    S_UPTAKE,  # liquid taken up per missing moisture [kg/m2/s per kg/kg]
    S_TAKEN_UP,  # mean uptake over the boundary [kg/m2/s]
    S_RUNOFF,  # surface water over its limit [kg/m2]
    S_CONDENSED,  # mean vapour into the wood [kg/m2/s]
    S_DRIED,  # mean vapour out of the wood [kg/m2/s]
    S_WATER_HEAT,  # mean heat that water brought into the wood [J/m2]
    S_GIVING,  # conductance at which the surface gives vapour to the air it meets [m/s]
    S_GIVEN,  # that conductance times the vapour density behind it [kg/m2/s]
) = range(36)
S_ROWS = 36
# Terms whose rows are one for the bark and one for the top.
SURFACE_WATER = 55  # kg/m2
SURFACE_TEMP = 56  # degC
# Azimuthal modes of bark heat: rows are mode * nr + ring; their surface values, a row each.
MODE_TEMP = 57
MODE_SURFACE = 58
# Of the modes' ring equation, rows are rings.
MODE_MASS = 59
MODE_PIVOT = 60
# The bark as the outer end of the rings for the modes.
MODE_END = 61
(
    E_EXCHANGE,  # conductance to the outside [W/m/K]
    E_BEAM,  # what a beam of mode 1 drives in there [W/m]
    E_RESISTANCE,  # of bark and air, the surface eliminated [m2 K/W]
) = range(3)
# The cases' own parameters: rows as in :data:`climate_risk.log.parameters.P`.
PARAMETER = 62
# Spawn layers: rows are ``interface * nr + ring``.
SPAWN_MOISTURE = 63  # kg per kg of oven-dry spawn
# Rows of the whole stack.
STACK = 64
(
    N_BAG_TEMP,  # degC
    N_BAG_VAPOUR,  # density in the bag's air [kg/m3]
    N_OUTFLOW,  # from the bag's air through wall and openings [m3/s]
    N_FROM_SOIL,  # from the ground inside the foot [m3/s]
    N_SOIL_VAPOUR,  # density at that ground [kg/m3]
    N_TO_WALL,  # to the wall, where it condenses there [m3/s]
    N_WALL_VAPOUR,  # saturated at the wall's temperature [kg/m3]
    N_CONDENSED,  # on the wall, as heat to it an hour later [kg/s]
    N_RIM_VAPOUR,  # density in the air that the rims of the spawn layers meet [kg/m3]
    N_RIM_RESISTANCE,  # boundary layer and bag there [s/m]
    N_RIM_GIVING,  # conductance from all rims to that air [m3/s]
    N_RIM_GIVEN,  # times the density behind it [kg/s]
    N_RIM_OUT,  # vapour out of all rims [kg/s]
    N_SPAWN,  # 1 once there is spawn between the pieces
) = range(14)
# Running sums since the start, one row each.
BUDGET = 65
TERMS = 66
(
    B_WATER_IN,  # kg
    B_WATER_OUT,
    B_RUNOFF,
    B_SHORTWAVE,  # J
    B_EXCHANGE,
    B_LATENT,
    B_GROUND_HEAT,
    B_WATER_HEAT,
    B_HEAT_MOVED,  # sizes of all of these, boundaries of one side taken together
    B_BAG_FROM_SOIL,  # kg, of the bag's air: from the ground inside its foot
    B_BAG_FROM_STACK,
    B_BAG_OUT,  # through wall and openings
    B_BAG_CONDENSED,  # on the wall, and run down
) = range(13)


CACHE_LINE_BYTES = 64
NUMBERS_OF_A_LINE = CACHE_LINE_BYTES // np.dtype(np.float64).itemsize


def aligned(*shape: int) -> npt.NDArray[np.float64]:
    """Zeros that begin on a cache line, so that no vector of eight numbers lies across two."""
    size = int(np.prod(shape))
    buffer = np.zeros(size + NUMBERS_OF_A_LINE)
    first = -(buffer.ctypes.data // buffer.itemsize) % NUMBERS_OF_A_LINE
    return buffer[first : first + size].reshape(shape)


def aligned_copy(array: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The same numbers, :func:`aligned`."""
    copy = aligned(*array.shape)
    copy[...] = array
    return copy
