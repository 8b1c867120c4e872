"""The outer boundaries of a stack for one hour: heat and vapour at bark, top and ground.

A surface without mass, at temperature ``T_s`` over wood at ``T_w`` in air at ``T_a``::

    sun + L + G (T_w - T_s) = K (T_s - T_a) + lambda E(T_s)

``L`` net long-wave at air temperature, ``G`` conductance of the outer half-cell and bark, ``K``
heat-loss coefficient (convection and long-wave), ``E`` evaporation: of surface water
``(c_sat(T_s) - c_air) / R_air``, of wood as :mod:`climate_risk.log.wood_surface` has it.

A boundary is wet for part of the hour, as long as its water lasts, and dry for the rest, each at
its own temperature; the heat step then conducts what is left.  With more sun either is warmer,
and what evaporation takes of the sun is less than the sun brings: so less sun never warms.
"""

from __future__ import annotations

import numpy as np
from numba import prange

from climate_risk.compiled import assume, compiled, inlined, law
from climate_risk.constants import (
    LATENT_HEAT_VAPORIZATION_J_KG,
    SECONDS_PER_HOUR,
)
from climate_risk.log import layout as at
from climate_risk.log.bag import bag_heat, bag_vapour, is_bagged
from climate_risk.log.exposure import (
    SEALED_S_M,
    catch_water,
    catch_weather,
    seal_uncut,
)
from climate_risk.log.formulas import (
    ACTIVITY_MAX,
    SOIL_HUMIDITY,
    FloatArray,
    saturated_vapour,
    saturation_vapour_density,
    unsaturated,
)
from climate_risk.log.geometry import Grid
from climate_risk.log.parameters import P
from climate_risk.log.state import Curves
from climate_risk.log.wood import ACTIVITY_STEP
from climate_risk.log.wood_surface import (
    dry_cell,
    look_up,
    solve_wood_surface,
)

LEAST_SUPPLY_KG_M2_S = 1e-9 / SECONDS_PER_HOUR
"""Water that would not last the hour at this rate is rounding left over."""


@inlined
def add_outer_cell(a: FloatArray, boundary: int, row: int, cell: int, share: float) -> None:
    """Add one boundary cell to the means of its boundary."""
    assume(a.shape[2] == at.CASES)
    whole = at.SURFACE + boundary
    for n in prange(at.CASES):
        a[whole, at.S_INNER_CONDUCTANCE, n] += a[at.BOUNDARY_HEAT + boundary, row, n] * share
        a[whole, at.S_INNER_TEMP, n] += a[at.TEMP, cell, n] * share
        a[whole, at.S_INNER_MOISTURE, n] += a[at.MOISTURE, cell, n] * share


@inlined
def outer_cells(grid: Grid, a: FloatArray) -> None:
    """Mean temperature and conductance of the cells under the bark, the top and the ground."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    section = np.pi * grid.radius_m * grid.radius_m
    for boundary in (at.BARK, at.TOP, at.GROUND):
        for row in range(at.S_INNER_CONDUCTANCE, at.S_WOOD_FLUX + 1):
            for n in prange(at.CASES):
                a[at.SURFACE + boundary, row, n] = 0.0
    for k in range(nz):
        add_outer_cell(a, at.BARK, k, k * nr + nr - 1, grid.level_m[k] / grid.height_m)
    for i in range(nr):
        share = grid.ring_area_m2[i] / section
        add_outer_cell(a, at.TOP, i, (nz - 1) * nr + i, share)
        add_outer_cell(a, at.GROUND, i, i, share)


@compiled
def meet_air(a: FloatArray, hour: FloatArray, boundary: int) -> None:
    """What the air can hold, and what warms a boundary but sun and vapour."""
    assume(a.shape[2] == at.CASES and hour.shape[1] == at.CASES)
    whole = at.SURFACE + boundary
    for n in prange(at.CASES):
        saturated, slope = saturated_vapour(hour[at.F_AIR_TEMP, n])
        a[whole, at.S_AIR_SATURATED, n], a[whole, at.S_AIR_SATURATION_SLOPE, n] = saturated, slope
    for n in prange(at.CASES):
        heat = a[whole, at.S_LONGWAVE, n] + a[whole, at.S_HEAT_LOSS, n] * hour[at.F_AIR_TEMP, n]
        inner = a[whole, at.S_INNER_CONDUCTANCE, n] * a[whole, at.S_INNER_TEMP, n]
        a[whole, at.S_NONSOLAR_GAIN, n] = heat + inner


@law
def wet_surface_temp(
    heat: float,
    loss: float,
    air_c: float,
    saturated: float,
    slope: float,
    vapour: float,
    latent: float,
) -> float:
    """Temperature of a surface under water [degC].

    Two Newton steps from the air's temperature on ``heat - loss T = latent (c_sat(T) - c_air)``:
    saturated vapour is convex, so they end above.

    Parameters
    ----------
    heat : float
        What warms the surface, were it dry and at 0 degC [W/m2].
    loss : float
        To air and wood, per degree [W/m2/K].
    saturated, slope : float
        :func:`saturated_vapour` at the air's temperature.
    latent : float
        Latent heat by vapour deficit [W/m2 per kg/m3].
    """
    cooling = latent * slope
    temp = (heat - latent * (saturated - vapour) + cooling * air_c) / (loss + cooling)
    near, steeper = saturated_vapour(temp)
    cooling = latent * steeper
    return (heat - latent * (near - vapour) + cooling * temp) / (loss + cooling)


@law
def wet_share(potential: float, supply: float) -> float:
    """Share of the hour that water lasts on a surface that could evaporate so much."""
    wet = min(1.0, supply / max(potential, 1e-30))
    return wet if supply > LEAST_SUPPLY_KG_M2_S else 0.0


@compiled
def even_girth(a: FloatArray, hour: FloatArray) -> None:
    """How far evaporation evens out the bark's heat round the girth, by vapour deficit.

    With water or dew as it would be in the shade: the beam's own heating cannot change it.
    """
    assume(a.shape[2] == at.CASES and hour.shape[1] == at.CASES)
    bark = at.SURFACE + at.BARK
    for n in prange(at.CASES):
        loss = a[bark, at.S_HEAT_LOSS, n] + a[bark, at.S_INNER_CONDUCTANCE, n]
        shade = a[bark, at.S_NONSOLAR_GAIN, n]
        saturated, slope = a[bark, at.S_AIR_SATURATED, n], a[bark, at.S_AIR_SATURATION_SLOPE, n]
        air, vapour = hour[at.F_AIR_TEMP, n], a[bark, at.S_VAPOUR, n]
        conductance = 1.0 / a[bark, at.S_AIR_RESISTANCE, n]
        latent = LATENT_HEAT_VAPORIZATION_J_KG * conductance
        temp = wet_surface_temp(shade, loss, air, saturated, slope, vapour, latent)
        potential = (saturation_vapour_density(temp) - vapour) * conductance
        wet = wet_share(potential, a[bark, at.S_SUPPLY, n]) if potential > 0.0 else 1.0
        wood = LATENT_HEAT_VAPORIZATION_J_KG / a[bark, at.S_VAPOUR_RESISTANCE, n]
        a[bark, at.S_AZIMUTHAL_DAMPING, n] = wood + wet * (latent - wood)


@compiled
def wet_surface(a: FloatArray, hour: FloatArray, boundary: int) -> None:
    """Evaporation of surface water and dew, for the part of the hour that the surface is wet."""
    assume(a.shape[2] == at.CASES and hour.shape[1] == at.CASES)
    whole = at.SURFACE + boundary
    for n in prange(at.CASES):
        loss = a[whole, at.S_HEAT_LOSS, n] + a[whole, at.S_INNER_CONDUCTANCE, n]
        heat = a[whole, at.S_NONSOLAR_GAIN, n] + a[whole, at.S_SUN, n]
        saturated, slope = a[whole, at.S_AIR_SATURATED, n], a[whole, at.S_AIR_SATURATION_SLOPE, n]
        air, vapour = hour[at.F_AIR_TEMP, n], a[whole, at.S_VAPOUR, n]
        conductance = 1.0 / a[whole, at.S_AIR_RESISTANCE, n]
        latent = LATENT_HEAT_VAPORIZATION_J_KG * conductance
        temp = wet_surface_temp(heat, loss, air, saturated, slope, vapour, latent)
        # From here on the dry surface is sought: bark dries so slowly that it hardly cools.
        a[whole, at.S_TEMP, n] = heat / loss if boundary == at.BARK else temp
        potential = (saturation_vapour_density(temp) - vapour) * conductance
        a[whole, at.S_WET, n] = wet_share(potential, a[whole, at.S_SUPPLY, n])
        a[whole, at.S_EVAPORATION, n] = min(potential, a[whole, at.S_SUPPLY, n])


@inlined
def draw_vapour(a: FloatArray, boundary: int, n: int, humidity: float) -> None:
    """What air of a humidity at a boundary's temperature draws from one case's wood."""
    whole = at.SURFACE + boundary
    damp = min(humidity, ACTIVITY_MAX)
    driving = a[whole, at.S_SATURATED, n] * unsaturated(humidity)
    pull = driving * (1.0 - damp) / a[whole, at.S_VAPOUR_RESISTANCE, n]
    a[whole, at.S_HUMIDITY, n] = damp
    a[whole, at.S_DRIVING_DENSITY, n] = driving
    a[whole, at.S_STRONGEST_PULL, n] = pull


@compiled
def meet_vapour(a: FloatArray, boundary: int) -> None:
    """How much vapour the air would draw at the surface's temperature, and from what humidity."""
    assume(a.shape[2] == at.CASES)
    whole = at.SURFACE + boundary
    for n in prange(at.CASES):
        saturated, slope = saturated_vapour(a[whole, at.S_TEMP, n])
        a[whole, at.S_SATURATED, n], a[whole, at.S_SATURATION_SLOPE, n] = saturated, slope
        a[whole, at.S_WOOD_FLUX, n] = 0.0
        draw_vapour(a, boundary, n, a[whole, at.S_VAPOUR, n] / saturated)


@compiled
def dry_surface(a: FloatArray, boundary: int) -> None:
    """Temperature of a surface without water, cooled by what its wood loses: a Newton step.

    The wood's very surface keeps the activity at which it loses ``S_WOOD_FLUX``.
    """
    assume(a.shape[2] == at.CASES)
    whole = at.SURFACE + boundary
    for n in prange(at.CASES):
        latent = LATENT_HEAT_VAPORIZATION_J_KG * a[whole, at.S_WOOD_FLUX, n]
        cover = a[whole, at.S_VAPOUR_RESISTANCE, n]
        damp = LATENT_HEAT_VAPORIZATION_J_KG * a[whole, at.S_VAPOUR, n] / cover
        slope, saturated = a[whole, at.S_SATURATION_SLOPE, n], a[whole, at.S_SATURATED, n]
        cooling = (latent + damp) * slope / saturated
        heat = a[whole, at.S_NONSOLAR_GAIN, n] + a[whole, at.S_SUN, n] - latent
        loss = a[whole, at.S_HEAT_LOSS, n] + a[whole, at.S_INNER_CONDUCTANCE, n]
        temp = (heat + cooling * a[whole, at.S_TEMP, n]) / (loss + cooling)
        # Wood that gives off vapour is no warmer than without, wood that takes it no colder.
        at_rest = (heat + latent) / loss
        a[whole, at.S_TEMP, n] = min(temp, at_rest) if latent > 0.0 else max(temp, at_rest)
    meet_vapour(a, boundary)


@inlined
def bark_side(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Moisture of the wood's surface under the bark, and its temperature."""
    nz, nr, rest = grid.level_m.size, grid.ring_area_m2.size, curves.moisture_by_activity
    whole = at.SURFACE + at.BARK
    for k in range(nz):
        cell = k * nr + nr - 1
        share = grid.level_m[k] / grid.height_m
        solve_wood_surface(a, at.BARK, k, cell, share, curves.activity)
    dry_surface(a, at.BARK)
    look_up(a, whole, at.S_TARGET, whole, at.S_HUMIDITY, rest, ACTIVITY_STEP)


@inlined
def cut_top(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Moisture and temperature of the cut end on top."""
    nz, nr, rest = grid.level_m.size, grid.ring_area_m2.size, curves.moisture_by_activity
    section, whole = np.pi * grid.radius_m * grid.radius_m, at.SURFACE + at.TOP
    for i in range(nr):
        cell = (nz - 1) * nr + i
        share = grid.ring_area_m2[i] / section
        solve_wood_surface(a, at.TOP, i, cell, share, curves.activity)
    dry_surface(a, at.TOP)
    look_up(a, whole, at.S_TARGET, whole, at.S_HUMIDITY, rest, ACTIVITY_STEP)


@inlined
def balance_ground(a: FloatArray, hour: FloatArray) -> None:
    """Vapour between the lowest wood, through the barrier that rots, and the soil's air."""
    whole = at.SURFACE + at.GROUND
    for n in prange(at.CASES):
        left = 1.0 - hour[at.F_BARRIER_AGE, n] / a[at.PARAMETER, P.barrier_lifetime_h, n]
        barrier = a[at.PARAMETER, P.barrier_vapour_resistance_s_m, n] * min(max(left, 0.0), 1.0)
        sealed = SEALED_S_M * hour[at.F_UNCUT, n]
        soil = a[at.PARAMETER, P.model_soil_resistance_s_m, n]
        a[whole, at.S_VAPOUR_RESISTANCE, n] = soil + barrier + sealed
    for n in prange(at.CASES):
        saturated = saturation_vapour_density(a[whole, at.S_INNER_TEMP, n])
        soil = SOIL_HUMIDITY * saturation_vapour_density(hour[at.F_SOIL_TEMP, n])
        a[whole, at.S_SATURATED, n] = saturated
        draw_vapour(a, at.GROUND, n, soil / saturated)


@inlined
def balance_surfaces(grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray) -> None:
    """Linear heat and vapour balance of bark, top and ground for one hour."""
    section, rest = np.pi * grid.radius_m * grid.radius_m, curves.moisture_by_activity
    outer_cells(grid, a)
    for boundary in (at.BARK, at.TOP):
        catch_water(a, hour, boundary, section)
        catch_weather(a, hour, boundary)
    for n in prange(at.CASES):
        a[at.STACK, at.N_RIM_VAPOUR, n] = hour[at.F_VAPOUR, n]
        a[at.STACK, at.N_RIM_RESISTANCE, n] = a[at.SURFACE + at.BARK, at.S_AIR_RESISTANCE, n]
    if is_bagged(hour):
        bag_heat(grid, a, hour)
        bag_vapour(grid, a, hour)
    seal_uncut(a, hour)
    for boundary in (at.BARK, at.TOP):
        meet_air(a, hour, boundary)
        if boundary == at.BARK:
            even_girth(a, hour)
        wet_surface(a, hour, boundary)
        meet_vapour(a, boundary)
    balance_ground(a, hour)
    for boundary in (at.BARK, at.TOP, at.GROUND):
        whole = at.SURFACE + boundary
        look_up(a, whole, at.S_TARGET, whole, at.S_HUMIDITY, rest, ACTIVITY_STEP)
    bark_side(grid, curves, a)
    # Temperature and moisture of bare end grain hang on each other: twice round.
    for _ in range(2):
        cut_top(grid, curves, a)


@compiled
def surfaces_give(a: FloatArray) -> None:
    """How bark and top give vapour to the air that they meet, for a bag's next hour."""
    assume(a.shape[2] == at.CASES)
    for boundary in (at.BARK, at.TOP):
        whole = at.SURFACE + boundary
        for n in prange(at.CASES):
            wet, vapour = a[whole, at.S_WET, n], a[whole, at.S_VAPOUR, n]
            given = a[whole, at.S_EVAPORATION, n] + a[whole, at.S_DRIED, n]
            given -= a[whole, at.S_CONDENSED, n]
            giving = wet / a[whole, at.S_AIR_RESISTANCE, n]
            giving += (1.0 - wet) / a[whole, at.S_VAPOUR_RESISTANCE, n]
            a[whole, at.S_GIVING, n] = giving
            a[whole, at.S_GIVEN, n] = giving * vapour + given


@inlined
def exchange_conductances(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Drying conductances of every boundary, and how fast wet ones take up, for one hour."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    rho, full, activity = curves.density_kg_m3, curves.max_moisture, curves.activity
    bark, top, half = at.SURFACE + at.BARK, at.SURFACE + at.TOP, 0.5 * grid.level_m[nz - 1]
    for n in prange(at.CASES):
        a[bark, at.S_UPTAKE, n] = a[at.PARAMETER, P.wood_bark_uptake_kg_m2_s, n] / full
        uptake = a[at.PARAMETER, P.wood_uptake_diffusivity_m2_s, n]
        a[top, at.S_UPTAKE, n] = rho * uptake / half
    for k in range(nz):
        dry_cell(a, at.BARK, k, k * nr + nr - 1, activity)
    for i in range(nr):
        dry_cell(a, at.TOP, i, (nz - 1) * nr + i, activity)
        dry_cell(a, at.GROUND, i, i, activity)
