"""A bag over a stack: one node of air and wall, with its own heat and vapour balance.

No mass of its own, so that for each hour::

    heat    a sun + A_w (L + K (T_a - T_b)) + rho c V (T_a - T_b) + lambda m
                = sum_f A_f g (T_b - T_f) + A_s g (T_b - T_soil)
    vapour  sum_f G_f (c_f - c_b) + G_soil (c_soil - c_b)
                = (G_wall + V) (c_b - c_a) + G_in (c_b - c_sat(T_b)) where that is above 0

``T_b``, ``c_b`` of the bag; ``f`` runs over bark, top and the rims of the spawn layers, the soil
is the ring of ground inside the foot; ``V`` air through the foot and holes,
``V = k A_open u`` (Warren 1977, single-sided ventilation); ``m`` water that condenses on the
wall and runs down.  The bag is eliminated for one surface at a time: of the others it sees what
they gave in the hour before.  So a surface under a bag meets air of its own, through a
resistance of its own, and the rest of the kernel need not know of the bag.
"""

from __future__ import annotations

import numpy as np
from numba import prange

from climate_risk.compiled import assume, compiled, inlined
from climate_risk.constants import (
    KELVIN_AT_0_C,
    LATENT_HEAT_VAPORIZATION_J_KG,
    SECONDS_PER_HOUR,
)
from climate_risk.log import layout as at
from climate_risk.log.formulas import (
    SOIL_HUMIDITY,
    FloatArray,
    air_heat_capacity,
    saturation_vapour_density,
)
from climate_risk.log.geometry import Grid
from climate_risk.log.parameters import P
from climate_risk.log.rows import Row, load, load_row


@inlined
def is_bagged(hour: FloatArray) -> bool:
    """Whether any case has a bag on."""
    bags = 0.0
    for n in prange(at.CASES):
        bags += hour[at.F_BAG, n]
    return bags > 0.0


@inlined
def humidity_round(a: FloatArray, hour: FloatArray) -> Row:
    """Relative humidity [%] of the air that the bark meets, in a bag or not."""
    bag, air, vapour = (
        load_row(hour, at.F_BAG),
        load_row(hour, at.F_AIR_TEMP),
        load_row(hour, at.F_VAPOUR),
    )
    air += bag * (load(a, at.STACK, at.N_BAG_TEMP) - air)
    vapour += bag * (load(a, at.STACK, at.N_BAG_VAPOUR) - vapour)
    return 100.0 * min(vapour / saturation_vapour_density(air), 1.0)


@compiled
def bag_heat(grid: Grid, a: FloatArray, hour: FloatArray) -> None:
    """Temperature of the bag, and what bark and top feel in its place of weather.

    Rows of heat hold the weather at a bare surface; in cases with a bag they are replaced.
    """
    assume(a.shape[2] == at.CASES and hour.shape[1] == at.CASES)
    bark, top = at.SURFACE + at.BARK, at.SURFACE + at.TOP
    radius, height = grid.radius_m, grid.height_m
    side_m2, top_m2 = 2.0 * np.pi * radius * height, np.pi * radius * radius
    for n in prange(at.CASES):
        bag, air = hour[at.F_BAG, n], hour[at.F_AIR_TEMP, n]
        gap = a[at.PARAMETER, P.bag_gap_heat_w_m2k, n]
        wide = radius + a[at.PARAMETER, P.bag_clearance_m, n]
        wall_m2, roof_m2 = 2.0 * np.pi * wide * height, np.pi * wide * wide
        ring_m2 = roof_m2 - top_m2
        draught = air_heat_capacity(air + KELVIN_AT_0_C) * opening_air(a, hour, wide, n)
        loss_side, loss_top = a[bark, at.S_HEAT_LOSS, n], a[top, at.S_HEAT_LOSS, n]
        outer = wall_m2 * loss_side + roof_m2 * loss_top + draught
        whole = outer + gap * (side_m2 + top_m2 + ring_m2)
        sky = wall_m2 * a[bark, at.S_LONGWAVE, n] + roof_m2 * a[top, at.S_LONGWAVE, n]
        absorbed = a[at.PARAMETER, P.bag_solar_absorptance, n]
        sun_side, sun_top = hour[at.F_SUN_SIDE, n], hour[at.F_SUN_TOP, n]
        sun = absorbed * (wall_m2 * sun_side + roof_m2 * sun_top)
        dew = LATENT_HEAT_VAPORIZATION_J_KG * a[at.STACK, at.N_CONDENSED, n]
        other = sky + outer * air + gap * ring_m2 * hour[at.F_SOIL_TEMP, n] + dew
        from_bark = gap * side_m2 * a[at.SURFACE_TEMP, at.BARK, n]
        from_top = gap * top_m2 * a[at.SURFACE_TEMP, at.TOP, n]
        a[at.STACK, at.N_BAG_TEMP, n] = (other + sun + from_bark + from_top) / whole
        shared = gap / whole
        through = a[at.PARAMETER, P.bag_solar_transmittance, n]
        # Sun on the wall's own side warms the bark there: half of it heats the air all round.
        near = absorbed * gap / (loss_side + gap)
        keep_bark = gap * (1.0 - side_m2 * shared)
        keep_top = gap * (1.0 - top_m2 * shared)
        gain_bark = shared * (other + from_top) - keep_bark * air
        gain_top = shared * (other + from_bark) - keep_top * air
        own_bark = a[at.PARAMETER, P.wood_bark_absorptance, n]
        own_top = a[at.PARAMETER, P.model_end_grain_absorptance, n]
        sun_bark = through * own_bark * sun_side + shared * sun
        sun_roof = through * own_top * sun_top + shared * sun
        beam = (through * own_bark + near) * hour[at.F_BEAM_SIDE, n]
        a[bark, at.S_HEAT_LOSS, n] += bag * (keep_bark - loss_side)
        a[top, at.S_HEAT_LOSS, n] += bag * (keep_top - loss_top)
        a[bark, at.S_LONGWAVE, n] += bag * (gain_bark - a[bark, at.S_LONGWAVE, n])
        a[top, at.S_LONGWAVE, n] += bag * (gain_top - a[top, at.S_LONGWAVE, n])
        a[bark, at.S_SUN, n] += bag * (sun_bark - a[bark, at.S_SUN, n])
        a[top, at.S_SUN, n] += bag * (sun_roof - a[top, at.S_SUN, n])
        a[bark, at.S_BEAM, n] += bag * (beam - a[bark, at.S_BEAM, n])


@inlined
def opening_air(a: FloatArray, hour: FloatArray, wide: float, n: int) -> float:
    """Air through foot and holes of one case's bag [m3/s]."""
    shut = a[at.PARAMETER, P.bag_foot_gap_closed_mm, n]
    free = a[at.PARAMETER, P.bag_foot_gap_open_mm, n]
    slit = 0.001 * (shut + hour[at.F_FOOT, n] * (free - shut))
    area = 2.0 * np.pi * wide * slit + hour[at.F_HOLES, n]
    share = a[at.PARAMETER, P.model_opening_exchange_factor, n]
    flow: float = share * area * hour[at.F_WIND, n]
    return flow


@inlined
def into_bag(
    a: FloatArray, whole: int, n: int, bag: float, resistance: float, vapour: float
) -> None:
    """Let one case's surface meet the bag's air in place of the weather's, if it has a bag."""
    inside = bag * (resistance - a[whole, at.S_AIR_RESISTANCE, n])
    a[whole, at.S_AIR_RESISTANCE, n] += inside
    a[whole, at.S_VAPOUR_RESISTANCE, n] += inside
    a[whole, at.S_VAPOUR, n] += bag * (vapour - a[whole, at.S_VAPOUR, n])


@compiled
def bag_vapour(grid: Grid, a: FloatArray, hour: FloatArray) -> None:
    """Air that bark, top and rims meet inside the bag, by its vapour and a resistance.

    Rows of vapour hold those of a bare surface; in cases with a bag they are replaced.
    """
    assume(a.shape[2] == at.CASES and hour.shape[1] == at.CASES)
    bark, top = at.SURFACE + at.BARK, at.SURFACE + at.TOP
    radius, height = grid.radius_m, grid.height_m
    side_m2, top_m2 = 2.0 * np.pi * radius * height, np.pi * radius * radius
    rims_m2 = 2.0 * np.pi * radius * grid.spawn_depth_m * grid.interface_level.size
    for n in prange(at.CASES):
        wide = radius + a[at.PARAMETER, P.bag_clearance_m, n]
        wall_m2, roof_m2 = 2.0 * np.pi * wide * height, np.pi * wide * wide
        ply = hour[at.F_PLIES, n] / a[at.PARAMETER, P.bag_vapour_conductance_m_s, n]
        out = wall_m2 / (ply + a[bark, at.S_AIR_RESISTANCE, n])
        out += roof_m2 / (ply + a[top, at.S_AIR_RESISTANCE, n])
        a[at.STACK, at.N_OUTFLOW, n] = out + opening_air(a, hour, wide, n)
        gap = 1.0 / a[at.PARAMETER, P.bag_gap_vapour_conductance_m_s, n]
        soil = gap + a[at.PARAMETER, P.model_soil_resistance_s_m, n]
        a[at.STACK, at.N_FROM_SOIL, n] = (roof_m2 - top_m2) / soil
        wet_soil = SOIL_HUMIDITY * saturation_vapour_density(hour[at.F_SOIL_TEMP, n])
        a[at.STACK, at.N_SOIL_VAPOUR, n] = wet_soil
        wall = saturation_vapour_density(a[at.STACK, at.N_BAG_TEMP, n])
        a[at.STACK, at.N_WALL_VAPOUR, n] = wall
        a[at.STACK, at.N_TO_WALL, n] = (wall_m2 + roof_m2) / gap
    for n in prange(at.CASES):
        out, soil = a[at.STACK, at.N_OUTFLOW, n], a[at.STACK, at.N_FROM_SOIL, n]
        other = out + soil
        drive = out * hour[at.F_VAPOUR, n] + soil * a[at.STACK, at.N_SOIL_VAPOUR, n]
        from_bark = a[bark, at.S_GIVING, n] * side_m2
        from_top = a[top, at.S_GIVING, n] * top_m2
        from_rims = a[at.STACK, at.N_RIM_GIVING, n]
        bark_drive, top_drive = a[bark, at.S_GIVEN, n] * side_m2, a[top, at.S_GIVEN, n] * top_m2
        rim_drive = a[at.STACK, at.N_RIM_GIVEN, n]
        all_given = drive + bark_drive + top_drive + rim_drive
        inside = all_given / (other + from_bark + from_top + from_rims)
        wall = a[at.STACK, at.N_WALL_VAPOUR, n]
        dewy = a[at.STACK, at.N_TO_WALL, n] if inside > wall else 0.0
        other += dewy
        drive += dewy * wall
        bag = hour[at.F_BAG, n]
        gap = 1.0 / a[at.PARAMETER, P.bag_gap_vapour_conductance_m_s, n]
        beside = other + from_top + from_rims
        resistance, vapour = gap + side_m2 / beside, (drive + top_drive + rim_drive) / beside
        into_bag(a, bark, n, bag, resistance, vapour)
        beside = other + from_bark + from_rims
        resistance, vapour = gap + top_m2 / beside, (drive + bark_drive + rim_drive) / beside
        into_bag(a, top, n, bag, resistance, vapour)
        beside = other + from_bark + from_top
        resistance, vapour = gap + rims_m2 / beside, (drive + bark_drive + top_drive) / beside
        a[at.STACK, at.N_RIM_RESISTANCE, n] += bag * (
            resistance - a[at.STACK, at.N_RIM_RESISTANCE, n]
        )
        a[at.STACK, at.N_RIM_VAPOUR, n] += bag * (vapour - a[at.STACK, at.N_RIM_VAPOUR, n])


@compiled
def settle_bag(grid: Grid, a: FloatArray, hour: FloatArray) -> None:
    """Vapour in the bag's air once it is known what the stack gave, and where it went.

    What comes in goes out, or condenses on the wall and runs down: booked.
    """
    assume(a.shape[2] == at.CASES and hour.shape[1] == at.CASES)
    bark, top = at.SURFACE + at.BARK, at.SURFACE + at.TOP
    side_m2 = 2.0 * np.pi * grid.radius_m * grid.height_m
    top_m2 = np.pi * grid.radius_m * grid.radius_m
    for n in prange(at.CASES):
        bag = hour[at.F_BAG, n]
        given = side_m2 * (
            a[bark, at.S_EVAPORATION, n] + a[bark, at.S_DRIED, n] - a[bark, at.S_CONDENSED, n]
        )
        given += top_m2 * (
            a[top, at.S_EVAPORATION, n] + a[top, at.S_DRIED, n] - a[top, at.S_CONDENSED, n]
        )
        given += a[at.STACK, at.N_RIM_OUT, n]
        out, soil = a[at.STACK, at.N_OUTFLOW, n], a[at.STACK, at.N_FROM_SOIL, n]
        outside, wet_soil = hour[at.F_VAPOUR, n], a[at.STACK, at.N_SOIL_VAPOUR, n]
        drive = given + out * outside + soil * wet_soil
        inside = drive / max(out + soil, 1e-30)
        wall, dewy = a[at.STACK, at.N_WALL_VAPOUR, n], a[at.STACK, at.N_TO_WALL, n]
        wet = (drive + dewy * wall) / max(out + soil + dewy, 1e-30)
        inside = wet if inside > wall else inside
        condensed = bag * dewy * max(inside - wall, 0.0)
        a[at.STACK, at.N_BAG_VAPOUR, n] = inside
        a[at.STACK, at.N_CONDENSED, n] = condensed
        a[at.BUDGET, at.B_BAG_FROM_STACK, n] += bag * given * SECONDS_PER_HOUR
        from_soil = bag * soil * (wet_soil - inside)
        a[at.BUDGET, at.B_BAG_FROM_SOIL, n] += from_soil * SECONDS_PER_HOUR
        a[at.BUDGET, at.B_BAG_OUT, n] += bag * out * (inside - outside) * SECONDS_PER_HOUR
        a[at.BUDGET, at.B_BAG_CONDENSED, n] += condensed * SECONDS_PER_HOUR
