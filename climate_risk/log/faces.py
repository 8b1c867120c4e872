"""The outer faces of a stack for one hour: heat and vapour at bark, top and ground.

A face is wet for part of the hour, as long as its film lasts, and dry for the rest.  Each state
has its own surface temperature, at which sun, long-wave, air, wood and evaporation balance; the
heat step then conducts what is left.  With more sun either is warmer, and what evaporation takes
of the sun is less than the sun brings: so less sun never warms.
"""

from __future__ import annotations

import numpy as np

from climate_risk.compiled import compiled, inlined
from climate_risk.constants import (
    KELVIN_AT_0_C,
    LATENT_HEAT_VAPORIZATION_J_KG,
    SECONDS_PER_HOUR,
    STEFAN_BOLTZMANN_W_M2K4,
)
from climate_risk.log.air import film_resistance, saturated_vapour, saturation_vapour_density
from climate_risk.log.geometry import Grid
from climate_risk.log.skin import dry_cell, face_activity, find_skin, look_up, unsaturated
from climate_risk.log.state import *
from climate_risk.log.wood import ACTIVITY_MAX, ACTIVITY_STEP

SOIL_HUMIDITY = 0.99
"""Of the air between soil and stack (judgement)."""
USUAL_RISE_K = 15.0
"""Long-wave is the secant from air to a surface this much warmer, the same by day and night, so
that the balance stays linear and more sun never cools: within 0.2 K near the air, 1 K too warm
at 30 K above it."""
THINNEST_FILM_KG_M2_S = 1e-9 / SECONDS_PER_HOUR
"""A film that would not last the hour at this rate is rounding left over, not water."""


@compiled
def add_outer_cell(a: FloatArray, face: int, row: int, cell: int, share: float) -> None:
    """Add one face cell to the means of its face."""
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        a[FACE + face, S_INNER, n] += a[FACE_HEAT + face, row, n] * share
        a[FACE + face, S_BELOW, n] += a[TEMP, cell, n] * share


@inlined
def outer_cells(grid: Grid, a: FloatArray) -> None:
    """Mean temperature and conductance of the cells under the bark, the top and the ground."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    section = np.pi * grid.radius_m * grid.radius_m
    for face in (BARK, TOP, GROUND):
        for row in range(S_INNER, S_WOOD + 1):
            for n in range(a.shape[2]):
                a[FACE + face, row, n] = 0.0
    for k in range(nz):
        add_outer_cell(a, BARK, k, k * nr + nr - 1, grid.level_m[k] / grid.height_m)
    for i in range(nr):
        share = grid.ring_area_m2[i] / section
        add_outer_cell(a, TOP, i, (nz - 1) * nr + i, share)
        add_outer_cell(a, GROUND, i, i, share)


@compiled
def catch_weather(a: FloatArray, hour: FloatArray, face: int, top_area: float) -> None:
    """What the weather brings to the bark or the top, through the bag where there is one.

    Sunlight, long-wave and convection are linear in the surface temperature; a bag is one more
    node of negligible mass between stack and air, eliminated by hand.
    """
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    at_bark = face == BARK
    own_absorptance = O_BARK_ABSORPTANCE if at_bark else O_END_ABSORPTANCE
    bark = 1.0 if at_bark else 0.0
    sun = F_SUN_SIDE if at_bark else F_SUN_TOP
    longwave = F_LONGWAVE_SIDE if at_bark else F_LONGWAVE_TOP
    poured = 0.0 if at_bark else 1.0 / top_area
    for n in range(LANES):
        bag = hour[F_BAG, n]
        caught = a[OWN, O_SIDE_CATCH, n] if at_bark else 1.0
        passed = 1.0 + bag * (a[OWN, O_BAG_RAIN, n] - 1.0)
        inflow = passed * hour[F_RAIN, n] * caught + hour[F_WATERING, n] * poured
        a[FACE + face, S_INFLOW, n] = inflow
        a[FACE + face, S_SUPPLY, n] = inflow * (1.0 / SECONDS_PER_HOUR)
        a[FACE + face, S_TAKEN_UP, n] = 0.0
    for n in range(LANES):
        a[FACE + face, S_SUPPLY, n] += a[FILM, face, n] * (1.0 / SECONDS_PER_HOUR)
    for n in range(LANES):
        bag, kelvin = hour[F_BAG, n], hour[F_AIR_TEMP, n] + KELVIN_AT_0_C
        radiative = a[OWN, O_EMISSIVITY, n] * 4.0 * STEFAN_BOLTZMANN_W_M2K4
        radiative *= kelvin * kelvin * kelvin
        # The bare surface, or the outside of the bag.
        convection = a[OWN, O_FILM_FACTOR, n] * max(
            hour[F_CONVECTION, n], a[OWN, O_FREE_CONVECTION, n]
        )
        film = film_resistance(convection, kelvin)
        x = USUAL_RISE_K / kelvin
        back = convection + radiative * (1.0 + x * (1.5 + x * (1.0 + 0.25 * x)))
        # The bag in between, where there is one.
        gap_heat, gap_vapour = a[OWN, O_BAG_GAP_HEAT, n], a[OWN, O_BAG_GAP_VAPOUR, n]
        passed = gap_heat / (back + gap_heat)
        skin = a[OWN, O_BAG_VAPOUR, n]
        wall = skin / (1.0 + skin * film) + a[OWN, O_BAG_LEAK, n]
        bagged_film = (wall + gap_vapour) / (wall * gap_vapour)
        film += bag * (bagged_film - film)
        a[FACE + face, S_FILM, n] = film
        a[FACE + face, S_COVER, n] = film + bark * a[OWN, O_BARK_RESISTANCE, n]
        a[FACE + face, S_BACK, n] = back * (1.0 + bag * (passed - 1.0))
        a[FACE + face, S_SUN, n] = passed
    for n in range(LANES):
        bag, passed = hour[F_BAG, n], a[FACE + face, S_SUN, n]
        kelvin = hour[F_AIR_TEMP, n] + KELVIN_AT_0_C
        black = STEFAN_BOLTZMANN_W_M2K4 * kelvin * kelvin * kelvin * kelvin
        bare = a[OWN, own_absorptance, n]
        bagged = a[OWN, O_BAG_TRANSMITTANCE, n] * bare + passed * a[OWN, O_BAG_ABSORPTANCE, n]
        absorptance = bare + bag * (bagged - bare)
        net_longwave = a[OWN, O_EMISSIVITY, n] * (hour[longwave, n] - black)
        a[FACE + face, S_LONGWAVE, n] = net_longwave * (1.0 + bag * (passed - 1.0))
        a[FACE + face, S_SUN, n] = absorptance * hour[sun, n]
        a[FACE + face, S_BEAM, n] = absorptance * hour[F_BEAM_SIDE, n]


@compiled
def meet_air(a: FloatArray, hour: FloatArray, face: int) -> None:
    """Take a face to be as warm as the air, until more is known of it."""
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    for n in range(LANES):
        saturated, steep = saturated_vapour(hour[F_AIR_TEMP, n])
        a[FACE + face, S_SATURATED, n], a[FACE + face, S_STEEP, n] = saturated, steep
    for n in range(LANES):
        heat = a[FACE + face, S_LONGWAVE, n] + a[FACE + face, S_BACK, n] * hour[F_AIR_TEMP, n]
        a[FACE + face, S_SHADE, n] = heat + a[FACE + face, S_INNER, n] * a[FACE + face, S_BELOW, n]


@compiled
def film_temp(
    heat: float,
    loss: float,
    air_c: float,
    saturated: float,
    steep: float,
    vapour: float,
    film: float,
) -> float:
    """Temperature of a surface under water [degC].

    Two Newton steps from the air's temperature: saturated vapour is convex, so they end above.

    Parameters
    ----------
    heat : float
        What warms the surface, were it dry and at 0 degC [W/m2].
    loss : float
        To air and wood, per degree [W/m2/K].
    saturated, steep : float
        :func:`saturated_vapour` at the air's temperature.
    film : float
        Latent heat by vapour deficit [W/m2 per kg/m3].
    """
    cooling = film * steep
    temp = (heat - film * (saturated - vapour) + cooling * air_c) / (loss + cooling)
    near, steeper = saturated_vapour(temp)
    cooling = film * steeper
    return (heat - film * (near - vapour) + cooling * temp) / (loss + cooling)


@compiled
def wet_share(potential: float, supply: float) -> float:
    """Share of the hour that water lasts on a surface that could evaporate so much."""
    wet = min(1.0, supply / max(potential, 1e-30))
    return wet if supply > THINNEST_FILM_KG_M2_S else 0.0


@compiled
def even_girth(a: FloatArray, hour: FloatArray) -> None:
    """How far evaporation evens out the bark's heat round the girth, by vapour deficit.

    With film or dew as it would be in the shade, so that the beam's own heating cannot change it.
    """
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    for n in range(LANES):
        loss = a[FACE + BARK, S_BACK, n] + a[FACE + BARK, S_INNER, n]
        shade = a[FACE + BARK, S_SHADE, n]
        saturated, steep = a[FACE + BARK, S_SATURATED, n], a[FACE + BARK, S_STEEP, n]
        air, vapour = hour[F_AIR_TEMP, n], hour[F_VAPOUR, n]
        per_film = 1.0 / a[FACE + BARK, S_FILM, n]
        film = LATENT_HEAT_VAPORIZATION_J_KG * per_film
        temp = film_temp(shade, loss, air, saturated, steep, vapour, film)
        potential = (saturation_vapour_density(temp) - vapour) * per_film
        wet = wet_share(potential, a[FACE + BARK, S_SUPPLY, n]) if potential > 0.0 else 1.0
        wood = LATENT_HEAT_VAPORIZATION_J_KG / a[FACE + BARK, S_COVER, n]
        a[FACE + BARK, S_EVENING, n] = wood + wet * (film - wood)


@compiled
def wet_surface(a: FloatArray, hour: FloatArray, face: int) -> None:
    """Evaporation of a film and dew, for the part of the hour that the surface is wet."""
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    for n in range(LANES):
        loss = a[FACE + face, S_BACK, n] + a[FACE + face, S_INNER, n]
        heat = a[FACE + face, S_SHADE, n] + a[FACE + face, S_SUN, n]
        saturated, steep = a[FACE + face, S_SATURATED, n], a[FACE + face, S_STEEP, n]
        air, vapour = hour[F_AIR_TEMP, n], hour[F_VAPOUR, n]
        per_film = 1.0 / a[FACE + face, S_FILM, n]
        film = LATENT_HEAT_VAPORIZATION_J_KG * per_film
        temp = film_temp(heat, loss, air, saturated, steep, vapour, film)
        # From here on the dry surface is sought: bark dries so slowly that it hardly cools.
        a[FACE + face, S_TEMP, n] = heat / loss if face == BARK else temp
        potential = (saturation_vapour_density(temp) - vapour) * per_film
        a[FACE + face, S_WET, n] = wet_share(potential, a[FACE + face, S_SUPPLY, n])
        a[FACE + face, S_FILM_OUT, n] = min(potential, a[FACE + face, S_SUPPLY, n])


@compiled
def meet_vapour(a: FloatArray, hour: FloatArray, face: int) -> None:
    """How much vapour the air would draw at the surface's temperature, and from what humidity."""
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    for n in range(LANES):
        saturated, steep = saturated_vapour(a[FACE + face, S_TEMP, n])
        humidity = hour[F_VAPOUR, n] / saturated
        a[FACE + face, S_SATURATED, n], a[FACE + face, S_STEEP, n] = saturated, steep
        a[FACE + face, S_HUMIDITY, n] = min(humidity, ACTIVITY_MAX)
        a[FACE + face, S_DRAW, n] = saturated * unsaturated(humidity)
        a[FACE + face, S_WOOD, n] = 0.0


@compiled
def dry_surface(a: FloatArray, hour: FloatArray, face: int) -> None:
    """Temperature of a face without film, cooled by what its wood loses: a Newton step.

    The wood's very surface keeps the activity at which it loses ``S_WOOD``.
    """
    if a.shape[2] != LANES or hour.shape[1] != LANES:
        return
    for n in range(LANES):
        latent = LATENT_HEAT_VAPORIZATION_J_KG * a[FACE + face, S_WOOD, n]
        damp = LATENT_HEAT_VAPORIZATION_J_KG * hour[F_VAPOUR, n] / a[FACE + face, S_COVER, n]
        cooling = (latent + damp) * a[FACE + face, S_STEEP, n] / a[FACE + face, S_SATURATED, n]
        heat = a[FACE + face, S_SHADE, n] + a[FACE + face, S_SUN, n] - latent
        loss = a[FACE + face, S_BACK, n] + a[FACE + face, S_INNER, n]
        temp = (heat + cooling * a[FACE + face, S_TEMP, n]) / (loss + cooling)
        # Wood that gives off vapour is no warmer than without, wood that takes it no colder.
        at_rest = (heat + latent) / loss
        a[FACE + face, S_TEMP, n] = min(temp, at_rest) if latent > 0.0 else max(temp, at_rest)
    meet_vapour(a, hour, face)


@inlined
def bark_side(grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray) -> None:
    """Moisture of the wood's surface under the bark, and its temperature."""
    nz, nr, rest = grid.level_m.size, grid.ring_area_m2.size, curves.moisture_by_activity
    for k in range(nz):
        cell = k * nr + nr - 1
        face_activity(a, BARK, k, cell, curves.activity)
        find_skin(a, BARK, k, cell, grid.level_m[k] / grid.height_m)
    dry_surface(a, hour, BARK)
    look_up(a, FACE + BARK, S_TARGET, FACE + BARK, S_HUMIDITY, rest, ACTIVITY_STEP)


@inlined
def cut_top(grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray) -> None:
    """Moisture and temperature of the cut end on top."""
    nz, nr, rest = grid.level_m.size, grid.ring_area_m2.size, curves.moisture_by_activity
    section = np.pi * grid.radius_m * grid.radius_m
    for i in range(nr):
        cell = (nz - 1) * nr + i
        face_activity(a, TOP, i, cell, curves.activity)
        find_skin(a, TOP, i, cell, grid.ring_area_m2[i] / section)
    dry_surface(a, hour, TOP)
    look_up(a, FACE + TOP, S_TARGET, FACE + TOP, S_HUMIDITY, rest, ACTIVITY_STEP)


@inlined
def balance_surfaces(grid: Grid, curves: Curves, a: FloatArray, hour: FloatArray) -> None:
    """Linear heat and vapour balance of bark, top and ground face for one hour."""
    section, rest = np.pi * grid.radius_m * grid.radius_m, curves.moisture_by_activity
    outer_cells(grid, a)
    for face in (BARK, TOP):
        catch_weather(a, hour, face, section)
        meet_air(a, hour, face)
        if face == BARK:
            even_girth(a, hour)
        wet_surface(a, hour, face)
        meet_vapour(a, hour, face)
    for n in range(LANES):
        a[FACE + GROUND, S_COVER, n] = a[OWN, O_BARRIER_RESISTANCE, n]
    for n in range(LANES):
        saturated = saturation_vapour_density(a[FACE + GROUND, S_BELOW, n])
        soil = SOIL_HUMIDITY * saturation_vapour_density(hour[F_SOIL_TEMP, n])
        a[FACE + GROUND, S_SATURATED, n] = saturated
        a[FACE + GROUND, S_HUMIDITY, n] = min(soil / saturated, ACTIVITY_MAX)
        a[FACE + GROUND, S_DRAW, n] = saturated * unsaturated(soil / saturated)
    for face in (BARK, TOP, GROUND):
        look_up(a, FACE + face, S_TARGET, FACE + face, S_HUMIDITY, rest, ACTIVITY_STEP)
    bark_side(grid, curves, a, hour)
    # Temperature and moisture of bare end grain hang on each other: twice round.
    for _ in range(2):
        cut_top(grid, curves, a, hour)


@inlined
def face_water(grid: Grid, curves: Curves, a: FloatArray) -> None:
    """Drying conductances of every outer face, and how fast wet faces take up, for one hour."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    rho, full, activity = curves.density_kg_m3, curves.max_moisture, curves.activity
    half = 0.5 * grid.level_m[nz - 1]
    for n in range(LANES):
        a[FACE + BARK, S_UPTAKE, n] = a[OWN, O_BARK_UPTAKE, n] / full
        a[FACE + TOP, S_UPTAKE, n] = rho * a[OWN, O_UPTAKE_DIFFUSIVITY, n] / half
    for k in range(nz):
        face_activity(a, BARK, k, k * nr + nr - 1, activity)
        dry_cell(a, BARK, k)
    for i in range(nr):
        face_activity(a, TOP, i, (nz - 1) * nr + i, activity)
        dry_cell(a, TOP, i)
        face_activity(a, GROUND, i, i, activity)
        dry_cell(a, GROUND, i)
