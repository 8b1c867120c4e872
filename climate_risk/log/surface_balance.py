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

from climate_risk.compiled import compiled, inlined, law
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
from climate_risk.log.rows import Row, alike, choose, interpolate, load, load_row, store
from climate_risk.log.state import Curves
from climate_risk.log.wood import ACTIVITY_STEP
from climate_risk.log.wood_surface import (
    dry_cell,
    solve_wood_surface,
)

LEAST_SUPPLY_KG_M2_S = 1e-9 / SECONDS_PER_HOUR
"""Water that would not last the hour at this rate is rounding left over."""


@compiled
def mean_outer_cells(
    a: FloatArray, boundary: int, cell: int, step: int, size: FloatArray, whole_size: float
) -> None:
    """Mean temperature, moisture and conductance of the cells under a boundary.

    Parameters
    ----------
    cell, step : int
        The first of them, and rows from one to the next.
    size, whole_size
        Of the cells on the boundary, and of all of it.
    """
    whole = at.SURFACE + boundary
    conductance, temp, moisture = alike(0.0), alike(0.0), alike(0.0)
    for row in range(size.size):
        r, share = cell + row * step, size[row] / whole_size
        conductance += load(a, at.BOUNDARY_HEAT + boundary, row) * share
        temp += load(a, at.TEMP, r) * share
        moisture += load(a, at.MOISTURE, r) * share
    store(a, whole, at.S_INNER_CONDUCTANCE, conductance)
    store(a, whole, at.S_INNER_TEMP, temp)
    store(a, whole, at.S_INNER_MOISTURE, moisture)


@inlined
def outer_cells(grid: Grid, a: FloatArray) -> None:
    """Means of the cells under the bark, the top and the ground."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    section = np.pi * grid.radius_m * grid.radius_m
    mean_outer_cells(a, at.BARK, nr - 1, nr, grid.level_m, grid.height_m)
    mean_outer_cells(a, at.TOP, (nz - 1) * nr, 1, grid.ring_area_m2, section)
    mean_outer_cells(a, at.GROUND, 0, 1, grid.ring_area_m2, section)


@compiled
def meet_air(a: FloatArray, hour: FloatArray, boundary: int) -> None:
    """What the air can hold, and what warms a boundary but sun and vapour."""
    whole = at.SURFACE + boundary
    air = load_row(hour, at.F_AIR_TEMP)
    saturated, slope = saturated_vapour(air)
    store(a, whole, at.S_AIR_SATURATED, saturated)
    store(a, whole, at.S_AIR_SATURATION_SLOPE, slope)
    heat = load(a, whole, at.S_LONGWAVE) + load(a, whole, at.S_HEAT_LOSS) * air
    inner = load(a, whole, at.S_INNER_CONDUCTANCE) * load(a, whole, at.S_INNER_TEMP)
    store(a, whole, at.S_NONSOLAR_GAIN, heat + inner)


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
    share: float = choose(supply - LEAST_SUPPLY_KG_M2_S, wet, 0.0)
    return share


@compiled
def even_girth(a: FloatArray, hour: FloatArray) -> None:
    """How far evaporation evens out the bark's heat round the girth, by vapour deficit.

    With water or dew as it would be in the shade: the beam's own heating cannot change it.
    """
    bark = at.SURFACE + at.BARK
    loss = load(a, bark, at.S_HEAT_LOSS) + load(a, bark, at.S_INNER_CONDUCTANCE)
    shade = load(a, bark, at.S_NONSOLAR_GAIN)
    saturated, slope = load(a, bark, at.S_AIR_SATURATED), load(a, bark, at.S_AIR_SATURATION_SLOPE)
    air, vapour = load_row(hour, at.F_AIR_TEMP), load(a, bark, at.S_VAPOUR)
    conductance = 1.0 / load(a, bark, at.S_AIR_RESISTANCE)
    latent = LATENT_HEAT_VAPORIZATION_J_KG * conductance
    temp = wet_surface_temp(shade, loss, air, saturated, slope, vapour, latent)
    potential = (saturation_vapour_density(temp) - vapour) * conductance
    wet = choose(potential, wet_share(potential, load(a, bark, at.S_SUPPLY)), 1.0)
    wood = LATENT_HEAT_VAPORIZATION_J_KG / load(a, bark, at.S_VAPOUR_RESISTANCE)
    store(a, bark, at.S_AZIMUTHAL_DAMPING, wood + wet * (latent - wood))


@compiled
def wet_surface(a: FloatArray, hour: FloatArray, boundary: int) -> None:
    """Evaporation of surface water and dew, for the part of the hour that the surface is wet."""
    whole = at.SURFACE + boundary
    loss = load(a, whole, at.S_HEAT_LOSS) + load(a, whole, at.S_INNER_CONDUCTANCE)
    heat = load(a, whole, at.S_NONSOLAR_GAIN) + load(a, whole, at.S_SUN)
    saturated = load(a, whole, at.S_AIR_SATURATED)
    slope = load(a, whole, at.S_AIR_SATURATION_SLOPE)
    air, vapour = load_row(hour, at.F_AIR_TEMP), load(a, whole, at.S_VAPOUR)
    conductance = 1.0 / load(a, whole, at.S_AIR_RESISTANCE)
    latent = LATENT_HEAT_VAPORIZATION_J_KG * conductance
    temp = wet_surface_temp(heat, loss, air, saturated, slope, vapour, latent)
    # From here on the dry surface is sought: bark dries so slowly that it hardly cools.
    store(a, whole, at.S_TEMP, heat / loss if boundary == at.BARK else temp)
    potential = (saturation_vapour_density(temp) - vapour) * conductance
    store(a, whole, at.S_WET, wet_share(potential, load(a, whole, at.S_SUPPLY)))
    store(a, whole, at.S_EVAPORATION, min(potential, load(a, whole, at.S_SUPPLY)))


@inlined
def draw_vapour(a: FloatArray, boundary: int, humidity: Row) -> None:
    """What air of a humidity at a boundary's temperature draws from the wood."""
    whole, damp = at.SURFACE + boundary, min(humidity, ACTIVITY_MAX)
    driving = load(a, whole, at.S_SATURATED) * unsaturated(humidity)
    pull = driving * (1.0 - damp) / load(a, whole, at.S_VAPOUR_RESISTANCE)
    store(a, whole, at.S_HUMIDITY, damp)
    store(a, whole, at.S_DRIVING_DENSITY, driving)
    store(a, whole, at.S_STRONGEST_PULL, pull)


@compiled
def meet_vapour(a: FloatArray, boundary: int) -> None:
    """How much vapour the air would draw at the surface's temperature, and from what humidity."""
    whole = at.SURFACE + boundary
    saturated, slope = saturated_vapour(load(a, whole, at.S_TEMP))
    store(a, whole, at.S_SATURATED, saturated)
    store(a, whole, at.S_SATURATION_SLOPE, slope)
    store(a, whole, at.S_WOOD_FLUX, 0.0)
    draw_vapour(a, boundary, load(a, whole, at.S_VAPOUR) / saturated)


@compiled
def dry_surface(a: FloatArray, boundary: int) -> None:
    """Temperature of a surface without water, cooled by what its wood loses: a Newton step.

    The wood's very surface keeps the activity at which it loses ``S_WOOD_FLUX``.
    """
    whole = at.SURFACE + boundary
    latent = LATENT_HEAT_VAPORIZATION_J_KG * load(a, whole, at.S_WOOD_FLUX)
    cover = load(a, whole, at.S_VAPOUR_RESISTANCE)
    damp = LATENT_HEAT_VAPORIZATION_J_KG * load(a, whole, at.S_VAPOUR) / cover
    slope, saturated = load(a, whole, at.S_SATURATION_SLOPE), load(a, whole, at.S_SATURATED)
    cooling = (latent + damp) * slope / saturated
    heat = load(a, whole, at.S_NONSOLAR_GAIN) + load(a, whole, at.S_SUN) - latent
    loss = load(a, whole, at.S_HEAT_LOSS) + load(a, whole, at.S_INNER_CONDUCTANCE)
    temp = (heat + cooling * load(a, whole, at.S_TEMP)) / (loss + cooling)
    # Wood that gives off vapour is no warmer than without, wood that takes it no colder.
    at_rest = (heat + latent) / loss
    store(a, whole, at.S_TEMP, choose(latent, min(temp, at_rest), max(temp, at_rest)))
    meet_vapour(a, boundary)


@inlined
def rest_with_air(a: FloatArray, boundary: int, rest: FloatArray) -> None:
    """Moisture at which a boundary's wood and the air it meets would be at rest."""
    whole = at.SURFACE + boundary
    humid = load(a, whole, at.S_HUMIDITY)
    store(a, whole, at.S_TARGET, interpolate(rest, humid * (1.0 / ACTIVITY_STEP)))


@inlined
def bark_side(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Moisture of the wood's surface under the bark, and its temperature."""
    nz, nr, rest = grid.level_m.size, grid.ring_area_m2.size, curves.moisture_by_activity
    for k in range(nz):
        cell = k * nr + nr - 1
        share = grid.level_m[k] / grid.height_m
        solve_wood_surface(a, at.BARK, k, cell, share, curves.activity)
    dry_surface(a, at.BARK)
    rest_with_air(a, at.BARK, rest)


@inlined
def cut_top(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Moisture and temperature of the cut end on top."""
    nz, nr, rest = grid.level_m.size, grid.ring_area_m2.size, curves.moisture_by_activity
    section = np.pi * grid.radius_m * grid.radius_m
    for i in range(nr):
        cell = (nz - 1) * nr + i
        share = grid.ring_area_m2[i] / section
        solve_wood_surface(a, at.TOP, i, cell, share, curves.activity)
    dry_surface(a, at.TOP)
    rest_with_air(a, at.TOP, rest)


@inlined
def balance_ground(a: FloatArray, hour: FloatArray) -> None:
    """Vapour between the lowest wood, through the barrier that rots, and the soil's air."""
    whole = at.SURFACE + at.GROUND
    left = 1.0 - load_row(hour, at.F_BARRIER_AGE) / load(a, at.PARAMETER, P.barrier_lifetime_h)
    barrier = load(a, at.PARAMETER, P.barrier_vapour_resistance_s_m) * min(max(left, 0.0), 1.0)
    sealed = SEALED_S_M * load_row(hour, at.F_UNCUT)
    soil = load(a, at.PARAMETER, P.model_soil_resistance_s_m)
    store(a, whole, at.S_VAPOUR_RESISTANCE, soil + barrier + sealed)
    saturated = saturation_vapour_density(load(a, whole, at.S_INNER_TEMP))
    soil = SOIL_HUMIDITY * saturation_vapour_density(load_row(hour, at.F_SOIL_TEMP))
    store(a, whole, at.S_SATURATED, saturated)
    draw_vapour(a, at.GROUND, soil / saturated)


@inlined
def balance_surfaces(grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray) -> None:
    """Linear heat and vapour balance of bark, top and ground for one hour."""
    section, rest = np.pi * grid.radius_m * grid.radius_m, curves.moisture_by_activity
    outer_cells(grid, a)
    for boundary in (at.BARK, at.TOP):
        catch_water(a, hour, boundary, section)
        catch_weather(a, hour, boundary)
    store(a, at.STACK, at.N_RIM_VAPOUR, load_row(hour, at.F_VAPOUR))
    store(a, at.STACK, at.N_RIM_RESISTANCE, load(a, at.SURFACE + at.BARK, at.S_AIR_RESISTANCE))
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
        rest_with_air(a, boundary, rest)
    bark_side(grid, curves, a)
    # Temperature and moisture of bare end grain hang on each other: twice round.
    for _ in range(2):
        cut_top(grid, curves, a)


@compiled
def surfaces_give(a: FloatArray) -> None:
    """How bark and top give vapour to the air that they meet, for a bag's next hour."""
    for boundary in (at.BARK, at.TOP):
        whole = at.SURFACE + boundary
        wet, vapour = load(a, whole, at.S_WET), load(a, whole, at.S_VAPOUR)
        given = load(a, whole, at.S_EVAPORATION) + load(a, whole, at.S_DRIED)
        given -= load(a, whole, at.S_CONDENSED)
        giving = wet / load(a, whole, at.S_AIR_RESISTANCE)
        giving += (1.0 - wet) / load(a, whole, at.S_VAPOUR_RESISTANCE)
        store(a, whole, at.S_GIVING, giving)
        store(a, whole, at.S_GIVEN, giving * vapour + given)


@inlined
def exchange_conductances(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Drying conductances of every boundary, and how fast wet ones take up, for one hour."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    rho, full, activity = curves.density_kg_m3, curves.max_moisture, curves.activity
    bark, top, half = at.SURFACE + at.BARK, at.SURFACE + at.TOP, 0.5 * grid.level_m[nz - 1]
    store(a, bark, at.S_UPTAKE, load(a, at.PARAMETER, P.wood_bark_uptake_kg_m2_s) / full)
    uptake = load(a, at.PARAMETER, P.wood_uptake_diffusivity_m2_s)
    store(a, top, at.S_UPTAKE, rho * uptake / half)
    for k in range(nz):
        dry_cell(a, at.BARK, k, k * nr + nr - 1, activity)
    for i in range(nr):
        dry_cell(a, at.TOP, i, (nz - 1) * nr + i, activity)
        dry_cell(a, at.GROUND, i, i, activity)
