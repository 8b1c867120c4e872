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

from climate_risk.compiled import compiled, inlined
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
from climate_risk.log.rows import Row, add_to, choose, greatest, load, load_row, store


@inlined
def is_bagged(hour: FloatArray) -> bool:
    """Whether any case has a bag on."""
    return greatest(load_row(hour, at.F_BAG)) > 0.0


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


@inlined
def take_bags(a: FloatArray, term: int, row: int, bag: Row, inside: Row) -> None:
    """Let a row be the bag's, in cases that have one."""
    add_to(a, term, row, bag * (inside - load(a, term, row)))


@compiled
def bag_heat(grid: Grid, a: FloatArray, hour: FloatArray) -> None:
    """Temperature of the bag, and what bark and top feel in its place of weather.

    Rows of heat hold the weather at a bare surface; in cases with a bag they are replaced.
    """
    bark, top = at.SURFACE + at.BARK, at.SURFACE + at.TOP
    radius, height = grid.radius_m, grid.height_m
    side_m2, top_m2 = 2.0 * np.pi * radius * height, np.pi * radius * radius
    bag, air = load_row(hour, at.F_BAG), load_row(hour, at.F_AIR_TEMP)
    gap = load(a, at.PARAMETER, P.bag_gap_heat_w_m2k)
    wide = radius + load(a, at.PARAMETER, P.bag_clearance_m)
    wall_m2, roof_m2 = 2.0 * np.pi * wide * height, np.pi * wide * wide
    ring_m2 = roof_m2 - top_m2
    draught = air_heat_capacity(air + KELVIN_AT_0_C) * opening_air(a, hour, wide)
    loss_side, loss_top = load(a, bark, at.S_HEAT_LOSS), load(a, top, at.S_HEAT_LOSS)
    outer = wall_m2 * loss_side + roof_m2 * loss_top + draught
    whole = outer + gap * (side_m2 + top_m2 + ring_m2)
    sky = wall_m2 * load(a, bark, at.S_LONGWAVE) + roof_m2 * load(a, top, at.S_LONGWAVE)
    absorbed = load(a, at.PARAMETER, P.bag_solar_absorptance)
    sun_side, sun_top = load_row(hour, at.F_SUN_SIDE), load_row(hour, at.F_SUN_TOP)
    sun = absorbed * (wall_m2 * sun_side + roof_m2 * sun_top)
    dew = LATENT_HEAT_VAPORIZATION_J_KG * load(a, at.STACK, at.N_CONDENSED)
    other = sky + outer * air + gap * ring_m2 * load_row(hour, at.F_SOIL_TEMP) + dew
    from_bark = gap * side_m2 * load(a, at.SURFACE_TEMP, at.BARK)
    from_top = gap * top_m2 * load(a, at.SURFACE_TEMP, at.TOP)
    store(a, at.STACK, at.N_BAG_TEMP, (other + sun + from_bark + from_top) / whole)
    shared = gap / whole
    through = load(a, at.PARAMETER, P.bag_solar_transmittance)
    # Sun on the wall's own side warms the bark there: half of it heats the air all round.
    near = absorbed * gap / (loss_side + gap)
    keep_bark = gap * (1.0 - side_m2 * shared)
    keep_top = gap * (1.0 - top_m2 * shared)
    gain_bark = shared * (other + from_top) - keep_bark * air
    gain_top = shared * (other + from_bark) - keep_top * air
    own_bark = load(a, at.PARAMETER, P.wood_bark_absorptance)
    own_top = load(a, at.PARAMETER, P.model_end_grain_absorptance)
    sun_bark = through * own_bark * sun_side + shared * sun
    sun_roof = through * own_top * sun_top + shared * sun
    beam = (through * own_bark + near) * load_row(hour, at.F_BEAM_SIDE)
    take_bags(a, bark, at.S_HEAT_LOSS, bag, keep_bark)
    take_bags(a, top, at.S_HEAT_LOSS, bag, keep_top)
    take_bags(a, bark, at.S_LONGWAVE, bag, gain_bark)
    take_bags(a, top, at.S_LONGWAVE, bag, gain_top)
    take_bags(a, bark, at.S_SUN, bag, sun_bark)
    take_bags(a, top, at.S_SUN, bag, sun_roof)
    take_bags(a, bark, at.S_BEAM, bag, beam)


@inlined
def opening_air(a: FloatArray, hour: FloatArray, wide: Row) -> Row:
    """Air through foot and holes of the bag [m3/s]."""
    shut = load(a, at.PARAMETER, P.bag_foot_gap_closed_mm)
    free = load(a, at.PARAMETER, P.bag_foot_gap_open_mm)
    slit = 0.001 * (shut + load_row(hour, at.F_FOOT) * (free - shut))
    area = 2.0 * np.pi * wide * slit + load_row(hour, at.F_HOLES)
    share = load(a, at.PARAMETER, P.model_opening_exchange_factor)
    return share * area * load_row(hour, at.F_WIND)


@inlined
def into_bag(a: FloatArray, whole: int, bag: Row, resistance: Row, vapour: Row) -> None:
    """Let a surface meet the bag's air in place of the weather's, in cases that have a bag."""
    inside = bag * (resistance - load(a, whole, at.S_AIR_RESISTANCE))
    add_to(a, whole, at.S_AIR_RESISTANCE, inside)
    add_to(a, whole, at.S_VAPOUR_RESISTANCE, inside)
    take_bags(a, whole, at.S_VAPOUR, bag, vapour)


@compiled
def bag_vapour(grid: Grid, a: FloatArray, hour: FloatArray) -> None:
    """Air that bark, top and rims meet inside the bag, by its vapour and a resistance.

    Rows of vapour hold those of a bare surface; in cases with a bag they are replaced.
    """
    bark, top = at.SURFACE + at.BARK, at.SURFACE + at.TOP
    radius, height = grid.radius_m, grid.height_m
    side_m2, top_m2 = 2.0 * np.pi * radius * height, np.pi * radius * radius
    rims_m2 = 2.0 * np.pi * radius * grid.spawn_depth_m * grid.interface_level.size
    wide = radius + load(a, at.PARAMETER, P.bag_clearance_m)
    wall_m2, roof_m2 = 2.0 * np.pi * wide * height, np.pi * wide * wide
    ply = load_row(hour, at.F_PLIES) / load(a, at.PARAMETER, P.bag_vapour_conductance_m_s)
    out = wall_m2 / (ply + load(a, bark, at.S_AIR_RESISTANCE))
    out += roof_m2 / (ply + load(a, top, at.S_AIR_RESISTANCE))
    out += opening_air(a, hour, wide)
    gap = 1.0 / load(a, at.PARAMETER, P.bag_gap_vapour_conductance_m_s)
    soil = (roof_m2 - top_m2) / (gap + load(a, at.PARAMETER, P.model_soil_resistance_s_m))
    wet_soil = SOIL_HUMIDITY * saturation_vapour_density(load_row(hour, at.F_SOIL_TEMP))
    wall = saturation_vapour_density(load(a, at.STACK, at.N_BAG_TEMP))
    to_wall = (wall_m2 + roof_m2) / gap
    store(a, at.STACK, at.N_OUTFLOW, out)
    store(a, at.STACK, at.N_FROM_SOIL, soil)
    store(a, at.STACK, at.N_SOIL_VAPOUR, wet_soil)
    store(a, at.STACK, at.N_WALL_VAPOUR, wall)
    store(a, at.STACK, at.N_TO_WALL, to_wall)
    other = out + soil
    drive = out * load_row(hour, at.F_VAPOUR) + soil * wet_soil
    from_bark = load(a, bark, at.S_GIVING) * side_m2
    from_top = load(a, top, at.S_GIVING) * top_m2
    from_rims = load(a, at.STACK, at.N_RIM_GIVING)
    bark_drive, top_drive = load(a, bark, at.S_GIVEN) * side_m2, load(a, top, at.S_GIVEN) * top_m2
    rim_drive = load(a, at.STACK, at.N_RIM_GIVEN)
    all_given = drive + bark_drive + top_drive + rim_drive
    inside = all_given / (other + from_bark + from_top + from_rims)
    dewy = choose(inside - wall, to_wall, 0.0)
    other += dewy
    drive += dewy * wall
    bag = load_row(hour, at.F_BAG)
    beside = other + from_top + from_rims
    resistance, vapour = gap + side_m2 / beside, (drive + top_drive + rim_drive) / beside
    into_bag(a, bark, bag, resistance, vapour)
    beside = other + from_bark + from_rims
    resistance, vapour = gap + top_m2 / beside, (drive + bark_drive + rim_drive) / beside
    into_bag(a, top, bag, resistance, vapour)
    beside = other + from_bark + from_top
    resistance, vapour = gap + rims_m2 / beside, (drive + bark_drive + top_drive) / beside
    take_bags(a, at.STACK, at.N_RIM_RESISTANCE, bag, resistance)
    take_bags(a, at.STACK, at.N_RIM_VAPOUR, bag, vapour)


@compiled
def settle_bag(grid: Grid, a: FloatArray, hour: FloatArray) -> None:
    """Vapour in the bag's air once it is known what the stack gave, and where it went.

    What comes in goes out, or condenses on the wall and runs down: booked.
    """
    bark, top = at.SURFACE + at.BARK, at.SURFACE + at.TOP
    side_m2 = 2.0 * np.pi * grid.radius_m * grid.height_m
    top_m2 = np.pi * grid.radius_m * grid.radius_m
    bag = load_row(hour, at.F_BAG)
    given = side_m2 * (
        load(a, bark, at.S_EVAPORATION) + load(a, bark, at.S_DRIED) - load(a, bark, at.S_CONDENSED)
    )
    given += top_m2 * (
        load(a, top, at.S_EVAPORATION) + load(a, top, at.S_DRIED) - load(a, top, at.S_CONDENSED)
    )
    given += load(a, at.STACK, at.N_RIM_OUT)
    out, soil = load(a, at.STACK, at.N_OUTFLOW), load(a, at.STACK, at.N_FROM_SOIL)
    outside, wet_soil = load_row(hour, at.F_VAPOUR), load(a, at.STACK, at.N_SOIL_VAPOUR)
    drive = given + out * outside + soil * wet_soil
    inside = drive / max(out + soil, 1e-30)
    wall, dewy = load(a, at.STACK, at.N_WALL_VAPOUR), load(a, at.STACK, at.N_TO_WALL)
    wet = (drive + dewy * wall) / max(out + soil + dewy, 1e-30)
    inside = choose(inside - wall, wet, inside)
    condensed = bag * dewy * max(inside - wall, 0.0)
    store(a, at.STACK, at.N_BAG_VAPOUR, inside)
    store(a, at.STACK, at.N_CONDENSED, condensed)
    add_to(a, at.BUDGET, at.B_BAG_FROM_STACK, bag * given * SECONDS_PER_HOUR)
    from_soil = bag * soil * (wet_soil - inside)
    add_to(a, at.BUDGET, at.B_BAG_FROM_SOIL, from_soil * SECONDS_PER_HOUR)
    add_to(a, at.BUDGET, at.B_BAG_OUT, bag * out * (inside - outside) * SECONDS_PER_HOUR)
    add_to(a, at.BUDGET, at.B_BAG_CONDENSED, condensed * SECONDS_PER_HOUR)
