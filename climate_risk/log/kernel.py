"""One hour of heat and water in a stack, compiled, for several parameter draws side by side.

A lane is one run: one year's weather with one draw of the unknowns.  Each half of an hour's work (water, then heat) is two implicit sweeps, across the rings
and along the levels (Lie splitting), so that no forcing however absurd makes a state leave its
physical range, and what enters one cell has left another or crossed an outer face, where it is
booked.

All fields live in one array ``a[term, row, lane]`` with ``row = level * nr + ring``: over a
single array the compiler can prove that lanes do not overlap and turns the innermost loops into
vector instructions, which separate arrays prevent.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit

from climate_risk.constants import (
    AIR_HEAT_CAPACITY_J_KG_K,
    DRY_AIR_GAS_CONSTANT_J_KG_K,
    GAS_CONSTANT_J_MOL_K,
    KELVIN_AT_0_C,
    LATENT_HEAT_FUSION_J_KG,
    LATENT_HEAT_VAPORIZATION_J_KG,
    PRANDTL_AIR,
    SECONDS_PER_HOUR,
    STEFAN_BOLTZMANN_W_M2K4,
    VAPOUR_DIFFUSIVITY_M2_S,
    WATER_HEAT_CAPACITY_J_KG_K,
    WATER_VAPOUR_GAS_CONSTANT_J_KG_K,
)
from climate_risk.log.geometry import Grid
from climate_risk.log.wood import ACTIVITY_MAX, ACTIVITY_STEP, MOISTURE_STEP

FloatArray = npt.NDArray[np.float64]

LANES = 32
"""Draws side by side: a compile-time constant, so that the inner loops become vectors."""
REFRESH_HOURS = 3
"""Conductances follow moisture and temperature at this interval."""
MODES = 5
"""Angular modes of bark heat on eight sectors: cos 1, sin 1, cos 2, sin 2, cos 4."""
SECTORS = 8
FREEZING_TEMP_C = 0.0
BOUND_WATER_MAX = 0.30
"""Moisture below which water is bound in the cell wall and does not freeze."""
FROZEN_FLOW = 0.1
"""Share of free-water flow left in frozen wood (judgement)."""
LEWIS_FACTOR = (PRANDTL_AIR / (1.506e-5 / VAPOUR_DIFFUSIVITY_M2_S)) ** (2.0 / 3.0)
"""(Pr/Sc)^(2/3) of air near 20 degC."""
AXIAL_HEAT_RATIO = 1.8
"""Conductivity along over across the grain (Wood Handbook FPL-GTR-190, ch. 4: 1.5 to 2.8)."""

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

# Terms whose rows are cells.
(
    MOISTURE,  # kg/kg
    TEMP,  # degC
    ICE,  # kg ice per kg dry wood, part of the moisture
    WATER_R,  # conductance to the next ring out, per metre of height [kg/s/m per kg/kg]
    WATER_Z,  # conductance to the next level up, per square metre [kg/s/m2 per kg/kg]
    HEAT_R,  # [W/m/K]
    HEAT_Z,  # [W/m2/K]
    CELL_A,  # scratch: diffusivity across, then heat held [J/m3]
    CELL_B,  # scratch: diffusivity along
    CELL_C,  # scratch: heat conductivity
    DIAGONAL,  # of the sweep in hand
    SWEEP,  # its eliminated coupling
) = range(12)
# Terms whose rows are levels (bark) or rings (top, ground).
(
    BARK_WATER,  # half-cell conductance at the bark [kg/s/m2 per kg/kg]
    BARK_HEAT,  # half-cell and bark [W/m2/K]
    TOP_WATER,
    TOP_HEAT,
    GROUND_WATER,
    GROUND_HEAT,
    BARK_DRYING,  # secant conductance of drying [kg/s/m2 per kg/kg]
    TOP_DRYING,
    GROUND_DRYING,
    BARK_UPTAKE,  # liquid taken up [kg/m2/s]
    TOP_UPTAKE,
    BARK_OUT,  # vapour out of the wood [kg/m2/s]
    TOP_OUT,
    MODE_HEAT,  # heat conductivity by ring at mid height [W/m/K]
) = range(12, 26)
# Terms whose rows are one for the bark and one for the top.
(
    FILM,  # water on the surface [kg/m2]
    SURFACE_TEMP,  # degC
    SUN_IN,  # absorbed [W/m2]
    LONGWAVE_IN,  # net at air temperature [W/m2]
    BACK,  # loss per degree above the air [W/m2/K]
    MODE_SUN,  # absorbed beam square to the side [W/m2]
    RESISTANCE,  # of film and cover to vapour [s/m]
    SATURATED,  # vapour density at the surface's temperature [kg/m3]
    WET,  # share of the hour with water on the surface
    FILM_OUT,  # evaporation of the film, negative for dew [kg/m2/s]
    INFLOW,  # rain and watering [kg/m2]
    TARGET,  # moisture at which wood and air would be at rest; a third row is the ground
    TAKEN_UP,  # mean uptake over the face [kg/m2/s]
    GROUND_VAPOUR,  # density over the soil [kg/m3], one row
) = range(26, 40)
# Angular modes of bark heat: rows are mode * nr + ring; their surface values, a row each.
MODE_TEMP = 40
MODE_SURFACE = 41
# Running sums since the start, one row each.
LEDGER = 42
TERMS = 43
(
    B_WATER_IN,
    B_WATER_OUT,
    B_WATER_MOVED,
    B_RUNOFF,
    B_SHORTWAVE,
    B_EXCHANGE,
    B_LATENT,
    B_GROUND_HEAT,
    B_WATER_HEAT,
    B_HEAT_MOVED,
) = range(10)
LEDGER_ROWS = 10


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
    start_moisture: FloatArray


class Curves(NamedTuple):
    """The wood's tabulated curves; see :class:`climate_risk.log.wood.WoodTables`."""

    density_kg_m3: float
    dry_heat_capacity_j_kg_k: float
    max_moisture: float
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
    rows = max(nz * nr, MODES * nr, LEDGER_ROWS)
    a = np.zeros((TERMS, rows, LANES))
    a[MOISTURE, : nz * nr] = lanes.start_moisture
    a[TEMP, : nz * nr] = air_temp_c
    a[SURFACE_TEMP, :2] = air_temp_c
    return a


@njit(cache=True, error_model="numpy", inline="always")
def fast_exp(x: float) -> float:
    """Exponential by a Taylor polynomial of x/16, squared four times, for the vector unit.

    Relative error below 2e-7 for -6 < x < 6 and below 2e-6 for -8 < x < 8.
    """
    y = x * 0.0625
    p = 1.0 + y * (1.0 + y * (0.5 + y * (1 / 6 + y * (1 / 24 + y * (1 / 120 + y * (1 / 720))))))
    p += y * y * y * y * y * y * y * (1 / 5040)
    p *= p
    p *= p
    p *= p
    return p * p


@njit(cache=True, error_model="numpy", inline="always")
def saturation_vapour_density(temp_c: float) -> float:
    """Vapour density over water [kg/m3] (Allen et al. 1998, FAO-56, eq. 11, ideal gas)."""
    pressure_pa = 610.8 * fast_exp(17.27 * temp_c / (temp_c + 237.3))
    return pressure_pa / (WATER_VAPOUR_GAS_CONSTANT_J_KG_K * (temp_c + KELVIN_AT_0_C))


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


@njit(cache=True, error_model="numpy", inline="always")
def vapour_per_heat(air_temp_c: float) -> float:
    """Film conductance to vapour [m/s] per W/m2/K of convection (Lewis analogy).

    At 101.3 kPa, with the Schmidt number of 20 degC: both vary by a few percent.
    """
    air_density = 101325.0 / (DRY_AIR_GAS_CONSTANT_J_KG_K * (air_temp_c + KELVIN_AT_0_C))
    return LEWIS_FACTOR / (air_density * AIR_HEAT_CAPACITY_J_KG_K)


@njit(cache=True, error_model="numpy")
def refresh_conductances(grid: Grid, curves: Curves, lanes: Lanes, a: FloatArray) -> None:
    """Water and heat conductances between cells from the present moisture and temperature.

    Water flows on the gradient of moisture: bound water by Siau's diffusivity with its
    activation energy, free water by the lane's constant, blended from 0.25 to 0.35 kg/kg.
    """
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top = nr - 1, (nz - 1) * nr
    rho = curves.density_kg_m3
    g = rho / 1000.0
    across, along = (
        lanes.free_diffusivity_transverse_m2_s,
        lanes.free_diffusivity_longitudinal_m2_s,
    )
    for r in range(nz * nr):
        for l in range(LANES):
            x = a[MOISTURE, r, l] * (1.0 / MOISTURE_STEP)
            j = int(x)
            w = x - j
            a[CELL_A, r, l] = (
                curves.bound_diffusivity_m2_s[j] * (1.0 - w)
                + curves.bound_diffusivity_m2_s[j + 1] * w
            )
        for l in range(LANES):
            u = a[MOISTURE, r, l]
            energy = 38500.0 - 29000.0 * min(u, 0.30)
            kelvin = a[TEMP, r, l] + KELVIN_AT_0_C
            warmth = energy / GAS_CONSTANT_J_MOL_K * (1.0 / 293.15 - 1.0 / kelvin)
            free = min(max((u - 0.25) * 10.0, 0.0), 1.0)
            bound = (1.0 - free) * a[CELL_A, r, l] * fast_exp(warmth)
            flow = free * (FROZEN_FLOW if a[TEMP, r, l] < FREEZING_TEMP_C else 1.0)
            a[CELL_A, r, l] = bound + flow * across[l]
            a[CELL_B, r, l] = bound * lanes.bound_anisotropy[l] + flow * along[l]
            c = max(0.404 * u, min(0.548 * u, 0.1212 + 0.98 * (u - 0.30)))
            a[CELL_C, r, l] = g * (0.200 + c) + 0.0238
    for k in range(nz):
        for i in range(nr - 1):
            r = k * nr + i
            q = r + 1
            out, into, edge = grid.ring_out_m[i], grid.ring_in_m[i + 1], grid.edge_girth_m[i]
            for l in range(LANES):
                a[WATER_R, r, l] = rho * edge / (out / a[CELL_A, r, l] + into / a[CELL_A, q, l])
                a[HEAT_R, r, l] = edge / (out / a[CELL_C, r, l] + into / a[CELL_C, q, l])
        r, half = k * nr + last, grid.ring_out_m[last]
        for l in range(LANES):
            a[BARK_WATER, k, l] = rho * a[CELL_A, r, l] / half
            a[BARK_HEAT, k, l] = 1.0 / (
                half / a[CELL_C, r, l] + lanes.bark_heat_resistance_m2k_w[l]
            )
    for k in range(nz - 1):
        low, high = 0.5 * grid.level_m[k], 0.5 * grid.level_m[k + 1]
        spawn = 0.5 * grid.contact[k + 1]
        for i in range(nr):
            r = k * nr + i
            q = r + nr
            for l in range(LANES):
                gap = spawn * lanes.contact_m[l]
                a[WATER_Z, r, l] = rho / (
                    (low + gap) / a[CELL_B, r, l] + (high + gap) / a[CELL_B, q, l]
                )
                a[HEAT_Z, r, l] = AXIAL_HEAT_RATIO / (
                    low / a[CELL_C, r, l] + high / a[CELL_C, q, l]
                )
    low, high = 0.5 * grid.level_m[0], 0.5 * grid.level_m[nz - 1]
    for i in range(nr):
        for l in range(LANES):
            a[GROUND_WATER, i, l] = rho * a[CELL_B, i, l] / low
            a[GROUND_HEAT, i, l] = AXIAL_HEAT_RATIO * a[CELL_C, i, l] / low
            a[TOP_WATER, i, l] = rho * a[CELL_B, top + i, l] / high
            a[TOP_HEAT, i, l] = AXIAL_HEAT_RATIO * a[CELL_C, top + i, l] / high
            a[MODE_HEAT, i, l] = a[CELL_C, (nz // 2) * nr + i, l]


@njit(cache=True, error_model="numpy", inline="always")
def resting_moisture(activity_air: float, by_activity: FloatArray) -> float:
    """Moisture at which wood neither dries nor wets in air of this activity."""
    x = min(activity_air, ACTIVITY_MAX) * (1.0 / ACTIVITY_STEP)
    j = int(x)
    w = x - j
    return by_activity[j] * (1.0 - w) + by_activity[j + 1] * w


@njit(cache=True, error_model="numpy", inline="always")
def drying_conductance(
    moisture: float,
    resting: float,
    activity_air: float,
    saturated: float,
    film: float,
    inner: float,
    activity: FloatArray,
) -> float:
    """Secant conductance of vapour from a cell of wood to the air.

    The flux is ``conductance * (moisture - resting)`` with the film (cover and bark) in series
    with the half-cell of wood; taken implicitly it can neither overshoot the resting moisture
    nor run away.

    Parameters
    ----------
    moisture, resting : float
        Of the cell, and at rest with the air [kg/kg].
    activity_air : float
        Vapour density of the air over the saturated one at the surface's temperature.
    saturated : float
        Saturated vapour density at the surface's temperature [kg/m3].
    film : float
        Resistance of air film, cover and bark [s/m].
    inner : float
        Conductance of the half-cell [kg/m2/s per kg/kg].
    activity : ndarray
        The wood's water activity by moisture.
    """
    h = min(activity_air, ACTIVITY_MAX)
    x = moisture * (1.0 / MOISTURE_STEP)
    j = int(x)
    w = x - j
    gap = moisture - resting
    rise = activity[j] * (1.0 - w) + activity[j + 1] * w - h
    if abs(gap) < 1e-4:
        gap = 1e-4
        rise = 1e-4
    outer = max(rise / gap, 1e-9) * saturated
    return inner * outer / (outer + inner * film)


@njit(cache=True, error_model="numpy")
def balance_surfaces(
    grid: Grid, curves: Curves, lanes: Lanes, a: FloatArray, hour: FloatArray
) -> None:
    """Linear heat and vapour balance of the bark and of the top for one hour.

    Sunlight, long-wave and convection are linear in the surface temperature around the air's
    (4 sigma T^3); a bag is one more node of negligible mass between stack and air, eliminated
    by hand.  Film water and dew evaporate at a temperature found with evaporation implicit.
    """
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    top_area = np.pi * grid.radius_m**2
    for side in range(2):
        for l in range(LANES):
            a[CELL_A, 0, l] = 0.0
            a[CELL_B, 0, l] = 0.0
        for n in range(nz if side == 0 else nr):
            if side == 0:
                share, cell, heat = grid.level_m[n] / grid.height_m, n * nr + nr - 1, BARK_HEAT
            else:
                share, cell, heat = grid.ring_area_m2[n] / top_area, (nz - 1) * nr + n, TOP_HEAT
            for l in range(LANES):
                a[CELL_A, 0, l] += a[heat, n, l] * share
                a[CELL_B, 0, l] += a[TEMP, cell, l] * share
        for l in range(LANES):
            air, vapour, bag = hour[F_AIR_TEMP, l], hour[F_VAPOUR, l], hour[F_BAG, l]
            kelvin = air + KELVIN_AT_0_C
            black = STEFAN_BOLTZMANN_W_M2K4 * kelvin * kelvin * kelvin * kelvin
            saturated_air = saturation_vapour_density(air)
            slope = saturated_air * (4098.171 / ((air + 237.3) * (air + 237.3)) - 1.0 / kelvin)
            rain = (1.0 - bag) * hour[F_RAIN, l]
            top_inflow = rain + hour[F_WATERING, l] / top_area
            inflow = rain * lanes.side_catch_share[l] if side == 0 else top_inflow
            absorptance = lanes.bark_absorptance[l] if side == 0 else lanes.end_absorptance[l]
            sun = hour[F_SUN_SIDE, l] if side == 0 else hour[F_SUN_TOP, l]
            longwave = hour[F_LONGWAVE_SIDE, l] if side == 0 else hour[F_LONGWAVE_TOP, l]

            # The bare surface, or the outside of the bag.
            convection = lanes.film_factor[l] * max(
                hour[F_CONVECTION, l], lanes.free_convection_w_m2k[l]
            )
            film = 1.0 / (vapour_per_heat(air) * convection)
            net_longwave = lanes.emissivity[l] * (longwave - black)
            back = convection + lanes.emissivity[l] * 4.0 * black / kelvin
            # The bag in between, where there is one.
            passed = lanes.bag_gap_heat_w_m2k[l] / (back + lanes.bag_gap_heat_w_m2k[l])
            bagged = lanes.bag_transmittance[l] * absorptance + passed * lanes.bag_absorptance[l]
            wall = 1.0 / (1.0 / lanes.bag_vapour_m_s[l] + film) + lanes.bag_leak_m_s[l]
            bagged_film = 1.0 / lanes.bag_gap_vapour_m_s[l] + 1.0 / wall
            absorptance += bag * (bagged - absorptance)
            net_longwave *= 1.0 + bag * (passed - 1.0)
            back *= 1.0 + bag * (passed - 1.0)
            film += bag * (bagged_film - film)

            inner, below = a[CELL_A, 0, l], a[CELL_B, 0, l]
            heat = absorptance * sun + net_longwave
            dry_surface = (heat + back * air + inner * below) / (back + inner)
            latent = LATENT_HEAT_VAPORIZATION_J_KG / film
            wet_heat = heat - latent * (saturated_air - vapour)
            wet_back = back + latent * slope
            wet_surface = (wet_heat + wet_back * air + inner * below) / (wet_back + inner)
            water = a[FILM, side, l] + inflow
            dew = saturation_vapour_density(dry_surface) < vapour
            surface = wet_surface if water > 0.0 or dew else dry_surface
            saturated = saturation_vapour_density(surface)
            potential = (saturated - vapour) / film
            supply = water / SECONDS_PER_HOUR
            wet = min(1.0, supply / max(potential, 1e-30))
            a[SUN_IN, side, l] = absorptance * sun
            a[LONGWAVE_IN, side, l] = net_longwave
            a[BACK, side, l] = back
            a[MODE_SUN, side, l] = absorptance * hour[F_BEAM_SIDE, l]
            a[RESISTANCE, side, l] = film
            a[SATURATED, side, l] = saturated
            a[WET, side, l] = wet
            a[FILM_OUT, side, l] = min(potential, supply)
            a[INFLOW, side, l] = inflow
            a[TAKEN_UP, side, l] = 0.0
        for l in range(LANES):
            activity = hour[F_VAPOUR, l] / a[SATURATED, side, l]
            a[TARGET, side, l] = resting_moisture(activity, curves.moisture_by_activity)


@njit(cache=True, error_model="numpy")
def face_water(grid: Grid, curves: Curves, lanes: Lanes, a: FloatArray, hour: FloatArray) -> None:
    """Drying conductances and liquid uptake of every outer face, from the hour's start."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top = nr - 1, (nz - 1) * nr
    dt = SECONDS_PER_HOUR
    rho, full = curves.density_kg_m3, curves.max_moisture
    shell = 0.5 * rho * grid.ring_area_m2[last] / (grid.edge_girth_m[last] * dt)
    for k in range(nz):
        r, share = k * nr + last, grid.level_m[k] / grid.height_m
        for l in range(LANES):
            a[BARK_DRYING, k, l] = (1.0 - a[WET, 0, l]) * drying_conductance(
                a[MOISTURE, r, l],
                a[TARGET, 0, l],
                hour[F_VAPOUR, l] / a[SATURATED, 0, l],
                a[SATURATED, 0, l],
                a[RESISTANCE, 0, l] + lanes.bark_resistance_s_m[l],
                a[BARK_WATER, k, l],
                curves.activity,
            )
            room = max(full - a[MOISTURE, r, l], 0.0)
            take = min(lanes.bark_uptake_kg_m2_s[l] * room / full, shell * room)
            take = min(take, (a[FILM, 0, l] + a[INFLOW, 0, l]) / dt)
            take = take if a[TEMP, r, l] > FREEZING_TEMP_C else 0.0
            a[BARK_UPTAKE, k, l] = take
            a[TAKEN_UP, 0, l] += take * share
    cell = 0.5 * rho * grid.level_m[nz - 1] / dt
    for l in range(LANES):
        a[CELL_B, 0, l] = 0.0
    for i in range(nr):
        for l in range(LANES):
            a[CELL_B, 0, l] += a[TEMP, i, l] * grid.ring_area_m2[i]
    for l in range(LANES):
        soil = 0.99 * saturation_vapour_density(hour[F_SOIL_TEMP, l])
        a[GROUND_VAPOUR, 0, l] = soil
        saturated = saturation_vapour_density(a[CELL_B, 0, l] / (np.pi * grid.radius_m**2))
        a[SATURATED, 2, l] = saturated
        a[TARGET, 2, l] = resting_moisture(soil / saturated, curves.moisture_by_activity)
    for i in range(nr):
        r, share = top + i, grid.ring_area_m2[i] / (np.pi * grid.radius_m**2)
        for l in range(LANES):
            a[TOP_DRYING, i, l] = (1.0 - a[WET, 1, l]) * drying_conductance(
                a[MOISTURE, r, l],
                a[TARGET, 1, l],
                hour[F_VAPOUR, l] / a[SATURATED, 1, l],
                a[SATURATED, 1, l],
                a[RESISTANCE, 1, l],
                a[TOP_WATER, i, l],
                curves.activity,
            )
            a[GROUND_DRYING, i, l] = drying_conductance(
                a[MOISTURE, i, l],
                a[TARGET, 2, l],
                a[GROUND_VAPOUR, 0, l] / a[SATURATED, 2, l],
                a[SATURATED, 2, l],
                lanes.barrier_resistance_s_m[l],
                a[GROUND_WATER, i, l],
                curves.activity,
            )
            room = max(full - a[MOISTURE, r, l], 0.0)
            inner = rho * lanes.uptake_diffusivity_m2_s[l] / (0.5 * grid.level_m[nz - 1])
            take = inner * room / (1.0 + inner / cell)
            take = min(take, (a[FILM, 1, l] + a[INFLOW, 1, l]) / dt)
            take = take if a[TEMP, r, l] > FREEZING_TEMP_C else 0.0
            a[TOP_UPTAKE, i, l] = take
            a[TAKEN_UP, 1, l] += take * share


@njit(cache=True, error_model="numpy")
def solve_line(
    a: FloatArray, field: int, coupling: int, first: int, step: int, cells: int
) -> None:
    """Solve one line of cells in place (Thomas algorithm, every lane at once).

    ``a[field]`` holds the right-hand side and receives the solution, ``a[DIAGONAL]`` the
    storage and outer conductances, ``a[coupling]`` the conductance to the next cell.
    """
    for l in range(LANES):
        pivot = 1.0 / (a[DIAGONAL, first, l] + a[coupling, first, l])
        a[SWEEP, first, l] = a[coupling, first, l] * pivot
        a[field, first, l] *= pivot
    r = first
    for _ in range(cells - 2):
        q = r
        r += step
        for l in range(LANES):
            down, up = a[coupling, q, l], a[coupling, r, l]
            pivot = 1.0 / (a[DIAGONAL, r, l] + up + down * (1.0 - a[SWEEP, q, l]))
            a[SWEEP, r, l] = up * pivot
            a[field, r, l] = (a[field, r, l] + down * a[field, q, l]) * pivot
    q = r
    r += step
    for l in range(LANES):
        down = a[coupling, q, l]
        pivot = 1.0 / (a[DIAGONAL, r, l] + down * (1.0 - a[SWEEP, q, l]))
        a[field, r, l] = (a[field, r, l] + down * a[field, q, l]) * pivot
    for _ in range(cells - 1):
        q = r
        r -= step
        for l in range(LANES):
            a[field, r, l] += a[SWEEP, r, l] * a[field, q, l]


@njit(cache=True, error_model="numpy")
def carry_heat(
    a: FloatArray, coupling: int, first: int, step: int, cells: int, size: FloatArray
) -> None:
    """Let the water that just moved along a line take its heat with it (upwind)."""
    r = first
    for n in range(cells - 1):
        q = r + step
        lose = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[n]
        gain = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[n + 1]
        for l in range(LANES):
            flux = a[coupling, r, l] * (a[MOISTURE, r, l] - a[MOISTURE, q, l])
            heat = max(flux, 0.0) * a[TEMP, r, l] + min(flux, 0.0) * a[TEMP, q, l]
            a[CELL_A, r, l] -= lose * heat
            a[CELL_A, q, l] += gain * heat
        r = q


@njit(cache=True, error_model="numpy")
def move_water(grid: Grid, curves: Curves, lanes: Lanes, a: FloatArray, hour: FloatArray) -> None:
    """Move water for one hour: across the rings, then along the levels, then the films.

    Vapour that leaves is kept in ``BARK_OUT``, ``TOP_OUT`` and ``FILM_OUT``: the heat step pays
    its latent heat.
    """
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top = nr - 1, (nz - 1) * nr
    dt = SECONDS_PER_HOUR
    rho, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    girth = grid.edge_girth_m[last]
    cw = WATER_HEAT_CAPACITY_J_KG_K
    for r in range(nz * nr):
        for l in range(LANES):
            a[CELL_A, r, l] = rho * (dry + cw * a[MOISTURE, r, l]) * a[TEMP, r, l]

    for k in range(nz):
        first = k * nr
        for i in range(nr):
            mass = rho * grid.ring_area_m2[i] / dt
            for l in range(LANES):
                a[DIAGONAL, first + i, l] = mass
                a[MOISTURE, first + i, l] *= mass
        r = first + last
        for l in range(LANES):
            drying = girth * a[BARK_DRYING, k, l]
            a[DIAGONAL, r, l] += drying
            a[MOISTURE, r, l] += drying * a[TARGET, 0, l] + girth * a[BARK_UPTAKE, k, l]
        solve_line(a, MOISTURE, WATER_R, first, 1, nr)
        carry_heat(a, WATER_R, first, 1, nr, grid.ring_area_m2)
        shell, face = girth / grid.ring_area_m2[last], girth * grid.level_m[k]
        for l in range(LANES):
            air = hour[F_AIR_TEMP, l]
            out = a[BARK_DRYING, k, l] * (a[MOISTURE, r, l] - a[TARGET, 0, l])
            a[BARK_OUT, k, l] = out
            heat = (a[BARK_UPTAKE, k, l] - min(out, 0.0)) * air - max(out, 0.0) * a[TEMP, r, l]
            heat *= cw * dt
            a[CELL_A, r, l] += heat * shell
            a[LEDGER, B_WATER_HEAT, l] += heat * face
            a[LEDGER, B_HEAT_MOVED, l] += abs(heat) * face
            a[LEDGER, B_WATER_IN, l] += max(-out, 0.0) * dt * face
            a[LEDGER, B_WATER_OUT, l] += max(out, 0.0) * dt * face

    for k in range(nz):
        mass = rho * grid.level_m[k] / dt
        for r in range(k * nr, k * nr + nr):
            for l in range(LANES):
                a[DIAGONAL, r, l] = mass
                a[MOISTURE, r, l] *= mass
    for i in range(nr):
        r, area = top + i, grid.ring_area_m2[i]
        for l in range(LANES):
            a[DIAGONAL, i, l] += a[GROUND_DRYING, i, l]
            a[MOISTURE, i, l] += a[GROUND_DRYING, i, l] * a[TARGET, 2, l]
            a[DIAGONAL, r, l] += a[TOP_DRYING, i, l]
            a[MOISTURE, r, l] += a[TOP_DRYING, i, l] * a[TARGET, 1, l] + a[TOP_UPTAKE, i, l]
        solve_line(a, MOISTURE, WATER_Z, i, nr, nz)
        carry_heat(a, WATER_Z, i, nr, nz, grid.level_m)
        for l in range(LANES):
            air, soil = hour[F_AIR_TEMP, l], hour[F_SOIL_TEMP, l]
            out = a[TOP_DRYING, i, l] * (a[MOISTURE, r, l] - a[TARGET, 1, l])
            a[TOP_OUT, i, l] = out
            high = (a[TOP_UPTAKE, i, l] - min(out, 0.0)) * air - max(out, 0.0) * a[TEMP, r, l]
            down = a[GROUND_DRYING, i, l] * (a[MOISTURE, i, l] - a[TARGET, 2, l])
            low = -min(down, 0.0) * soil - max(down, 0.0) * a[TEMP, i, l]
            high *= cw * dt
            low *= cw * dt
            a[CELL_A, r, l] += high / grid.level_m[nz - 1]
            a[CELL_A, i, l] += low / grid.level_m[0]
            a[LEDGER, B_WATER_HEAT, l] += (high + low) * area
            a[LEDGER, B_HEAT_MOVED, l] += (abs(high) + abs(low)) * area
            a[LEDGER, B_WATER_IN, l] += (max(-out, 0.0) + max(-down, 0.0)) * dt * area
            a[LEDGER, B_WATER_OUT, l] += (max(out, 0.0) + max(down, 0.0)) * dt * area
    for r in range(nz * nr):
        for l in range(LANES):
            a[TEMP, r, l] = a[CELL_A, r, l] / (rho * (dry + cw * a[MOISTURE, r, l]))

    for side in range(2):
        face = girth * grid.height_m if side == 0 else np.pi * grid.radius_m**2
        for l in range(LANES):
            limit = lanes.bark_store_kg_m2[l] if side == 0 else lanes.top_film_kg_m2[l]
            inflow = a[INFLOW, side, l]
            water = max(a[FILM, side, l] + inflow - a[TAKEN_UP, side, l] * dt, 0.0)
            gone = a[FILM_OUT, side, l] * dt >= water
            out = water / dt if gone else a[FILM_OUT, side, l]
            water = 0.0 if gone else water - out * dt
            over = max(water - limit, 0.0)
            a[FILM_OUT, side, l] = out
            a[FILM, side, l] = water - over
            a[LEDGER, B_RUNOFF, l] += over * face
            a[LEDGER, B_WATER_IN, l] += (inflow + max(-out, 0.0) * dt) * face
            a[LEDGER, B_WATER_OUT, l] += max(out, 0.0) * dt * face


@njit(cache=True, error_model="numpy")
def move_heat(grid: Grid, curves: Curves, lanes: Lanes, a: FloatArray, hour: FloatArray) -> None:
    """Conduct heat for one hour: across the rings, along the levels, then freeze or melt."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    last, top = nr - 1, (nz - 1) * nr
    dt = SECONDS_PER_HOUR
    rho, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    girth = grid.edge_girth_m[last]
    cw = WATER_HEAT_CAPACITY_J_KG_K
    latent = LATENT_HEAT_VAPORIZATION_J_KG
    for l in range(LANES):
        a[SURFACE_TEMP, 0, l] = 0.0
        a[SURFACE_TEMP, 1, l] = 0.0

    for k in range(nz):
        first = k * nr
        for i in range(nr):
            size = rho * grid.ring_area_m2[i] / dt
            r = first + i
            for l in range(LANES):
                mass = size * (dry + cw * a[MOISTURE, r, l])
                a[DIAGONAL, r, l] = mass
                a[TEMP, r, l] *= mass
        r = first + last
        for l in range(LANES):
            air, back, skin = hour[F_AIR_TEMP, l], a[BACK, 0, l], a[BARK_HEAT, k, l]
            evaporated = latent * (a[FILM_OUT, 0, l] + a[BARK_OUT, k, l])
            gain = a[SUN_IN, 0, l] + a[LONGWAVE_IN, 0, l] - evaporated + back * air
            through = girth * skin / (back + skin)
            a[DIAGONAL, r, l] += through * back
            a[TEMP, r, l] += through * gain
        solve_line(a, TEMP, HEAT_R, first, 1, nr)
        face, share = girth * grid.level_m[k] * dt, grid.level_m[k] / grid.height_m
        for l in range(LANES):
            air, back, skin = hour[F_AIR_TEMP, l], a[BACK, 0, l], a[BARK_HEAT, k, l]
            evaporated = latent * (a[FILM_OUT, 0, l] + a[BARK_OUT, k, l])
            gain = a[SUN_IN, 0, l] + a[LONGWAVE_IN, 0, l] - evaporated + back * air
            surface = (gain + skin * a[TEMP, r, l]) / (back + skin)
            exchange = a[LONGWAVE_IN, 0, l] + back * (air - surface)
            a[SURFACE_TEMP, 0, l] += surface * share
            a[LEDGER, B_SHORTWAVE, l] += a[SUN_IN, 0, l] * face
            a[LEDGER, B_EXCHANGE, l] += exchange * face
            a[LEDGER, B_LATENT, l] += evaporated * face
            a[LEDGER, B_HEAT_MOVED, l] += (
                a[SUN_IN, 0, l] + abs(exchange) + abs(evaporated)
            ) * face

    for k in range(nz):
        size = rho * grid.level_m[k] / dt
        for r in range(k * nr, k * nr + nr):
            for l in range(LANES):
                mass = size * (dry + cw * a[MOISTURE, r, l])
                a[DIAGONAL, r, l] = mass
                a[TEMP, r, l] *= mass
    for i in range(nr):
        r, area = top + i, grid.ring_area_m2[i]
        face, share = area * dt, area / (np.pi * grid.radius_m**2)
        for l in range(LANES):
            ground, inner = lanes.barrier_heat_w_m2k[l], a[GROUND_HEAT, i, l]
            through = ground * inner / (ground + inner)
            a[DIAGONAL, i, l] += through
            a[TEMP, i, l] += through * hour[F_SOIL_TEMP, l]
            air, back, skin = hour[F_AIR_TEMP, l], a[BACK, 1, l], a[TOP_HEAT, i, l]
            evaporated = latent * (a[FILM_OUT, 1, l] + a[TOP_OUT, i, l])
            gain = a[SUN_IN, 1, l] + a[LONGWAVE_IN, 1, l] - evaporated + back * air
            through = skin / (back + skin)
            a[DIAGONAL, r, l] += through * back
            a[TEMP, r, l] += through * gain
        solve_line(a, TEMP, HEAT_Z, i, nr, nz)
        for l in range(LANES):
            ground, inner = lanes.barrier_heat_w_m2k[l], a[GROUND_HEAT, i, l]
            air, soil = hour[F_AIR_TEMP, l], hour[F_SOIL_TEMP, l]
            floor = (ground * soil + inner * a[TEMP, i, l]) / (ground + inner)
            low = ground * (soil - floor)
            back, skin = a[BACK, 1, l], a[TOP_HEAT, i, l]
            evaporated = latent * (a[FILM_OUT, 1, l] + a[TOP_OUT, i, l])
            gain = a[SUN_IN, 1, l] + a[LONGWAVE_IN, 1, l] - evaporated + back * air
            surface = (gain + skin * a[TEMP, r, l]) / (back + skin)
            exchange = a[LONGWAVE_IN, 1, l] + back * (air - surface)
            a[SURFACE_TEMP, 1, l] += surface * share
            a[LEDGER, B_SHORTWAVE, l] += a[SUN_IN, 1, l] * face
            a[LEDGER, B_EXCHANGE, l] += exchange * face
            a[LEDGER, B_LATENT, l] += evaporated * face
            a[LEDGER, B_GROUND_HEAT, l] += low * face
            a[LEDGER, B_HEAT_MOVED, l] += (
                a[SUN_IN, 1, l] + abs(exchange) + abs(evaporated) + abs(low)
            ) * face

    # Free water freezes and melts at 0 degC; the cell's own temperature pays for it.
    for r in range(nz * nr):
        for l in range(LANES):
            heat = (dry + cw * a[MOISTURE, r, l]) * (1.0 / LATENT_HEAT_FUSION_J_KG)
            before = a[ICE, r, l]
            wanted = before + (FREEZING_TEMP_C - a[TEMP, r, l]) * heat
            ice = min(max(wanted, 0.0), max(a[MOISTURE, r, l] - BOUND_WATER_MAX, 0.0))
            a[TEMP, r, l] += (ice - before) / heat
            a[ICE, r, l] = ice


@njit(cache=True, error_model="numpy")
def turn_heat(grid: Grid, curves: Curves, a: FloatArray, girth_modes: FloatArray) -> None:
    """How bark heat differs round the girth, by angular modes, for one hour.

    The eight sectors of the beam's half-cosine are carried as their exact discrete modes (the
    third vanishes by symmetry): the ring equation of each mode has one more term, conduction
    between sectors.  Modes have no mean, so they hold no heat of the balance.
    """
    nr, level = grid.ring_area_m2.size, (grid.level_m.size // 2) * grid.ring_area_m2.size
    last, k = nr - 1, grid.level_m.size // 2
    rho, dry = curves.density_kg_m3, curves.dry_heat_capacity_j_kg_k
    girth, arc = grid.edge_girth_m[last], 2.0 * np.pi / SECTORS
    for n in range(MODES):
        order = 1.0 if n < 2 else (2.0 if n < 4 else 4.0)
        damping = SECTORS * 4.0 * np.sin(0.5 * order * arc) ** 2 / arc
        first = n * nr
        for i in range(nr):
            aside = damping * (grid.ring_in_m[i] + grid.ring_out_m[i]) / grid.node_radius_m[i]
            size = rho * grid.ring_area_m2[i] / SECONDS_PER_HOUR
            for l in range(LANES):
                mass = size * (dry + WATER_HEAT_CAPACITY_J_KG_K * a[MOISTURE, level + i, l])
                a[DIAGONAL, first + i, l] = mass + aside * a[MODE_HEAT, i, l]
                a[MODE_TEMP, first + i, l] *= mass
                a[CELL_B, first + i, l] = a[HEAT_R, level + i, l]
        for l in range(LANES):
            back, skin = a[BACK, 0, l], a[BARK_HEAT, k, l]
            through = girth * skin / (back + skin)
            a[DIAGONAL, first + last, l] += through * back
            a[MODE_TEMP, first + last, l] += through * a[MODE_SUN, 0, l] * girth_modes[n]
        solve_line(a, MODE_TEMP, CELL_B, first, 1, nr)
        for l in range(LANES):
            back, skin = a[BACK, 0, l], a[BARK_HEAT, k, l]
            a[MODE_SURFACE, n, l] = (
                a[MODE_SUN, 0, l] * girth_modes[n] + skin * a[MODE_TEMP, first + last, l]
            ) / (back + skin)


@njit(cache=True, error_model="numpy")
def step_hour(
    grid: Grid,
    curves: Curves,
    lanes: Lanes,
    a: FloatArray,
    hour: FloatArray,
    girth_modes: FloatArray,
) -> None:
    """Advance the log by one hour under one row of forcing.

    Parameters
    ----------
    a : (TERMS, rows, LANES) array
        The log's state, changed in place.
    hour : (FORCINGS, LANES) array
        See the F_ names.
    girth_modes : (MODES,) array
        Discrete angular modes of the beam's half-cosine.
    """
    balance_surfaces(grid, curves, lanes, a, hour)
    face_water(grid, curves, lanes, a, hour)
    move_water(grid, curves, lanes, a, hour)
    move_heat(grid, curves, lanes, a, hour)
    turn_heat(grid, curves, a, girth_modes)


def stored_water_kg(grid: Grid, curves: Curves, a: FloatArray) -> FloatArray:
    """Water in the wood and in its films, per lane [kg]."""
    cells = grid.level_m.size * grid.ring_area_m2.size
    dry = (curves.density_kg_m3 * grid.level_m[:, None] * grid.ring_area_m2[None, :]).ravel()
    girth, top = grid.edge_girth_m[-1], np.pi * grid.radius_m**2
    films = girth * grid.height_m * a[FILM, 0] + top * a[FILM, 1]
    return np.asarray(dry @ a[MOISTURE, :cells] + films)


def stored_heat_j(grid: Grid, curves: Curves, a: FloatArray) -> FloatArray:
    """Heat of wood, water and ice above liquid water and wood at 0 degC, per lane [J]."""
    cells = grid.level_m.size * grid.ring_area_m2.size
    dry = (curves.density_kg_m3 * grid.level_m[:, None] * grid.ring_area_m2[None, :]).ravel()
    warm = curves.dry_heat_capacity_j_kg_k + WATER_HEAT_CAPACITY_J_KG_K * a[MOISTURE, :cells]
    cell = warm * a[TEMP, :cells] - LATENT_HEAT_FUSION_J_KG * a[ICE, :cells]
    return np.asarray(dry @ cell)
