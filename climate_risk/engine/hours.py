"""The hour loop: stand weather to stack, stack to log, log to fungus, many runs side by side."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from climate_risk.compiled import compiled, entry, inlined
from climate_risk.constants import (
    HOURS_PER_DAY,
    KELVIN_AT_0_C,
    SECONDS_PER_HOUR,
    WATER_VAPOUR_GAS_CONSTANT_J_KG_K,
)
from climate_risk.engine.forcing import assemble, fill_as_drawn, gather
from climate_risk.fungus.death import count_living, kill_by_drought, kill_by_heat
from climate_risk.fungus.kernel import (
    COLONIZED,
    interface_neighbours,
    respond_in_spawn,
    respond_to_water,
    run_fronts,
)
from climate_risk.fungus.rivals import rival_hours
from climate_risk.log import layout as at
from climate_risk.log.bag import humidity_round
from climate_risk.log.conductances import refresh_conductances
from climate_risk.log.formulas import saturation_vapour_density
from climate_risk.log.geometry import Grid
from climate_risk.log.kernel import REFRESH_HOURS, step_hour
from climate_risk.log.parameters import P
from climate_risk.log.rows import (
    Row,
    add_to_row,
    alike,
    choose,
    load,
    load_row,
    store_row,
)
from climate_risk.log.state import Curves
from climate_risk.microclimate.radiation import light_at_stack

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

WATER_RESPONSE_HOURS = 6
"""The fungus's response to water follows moisture at this interval."""

DAILY_COLUMNS = 20
# Columns of the daily table, a case each.
(
    D_AIR_MAX,
    D_AIR_MIN,
    D_VPD_MAX,
    D_RH_MIN,
    D_SHORTWAVE,
    D_BARK_MAX,
    D_CORE_MEAN,
    D_MOISTURE,
    D_DRIEST_FACE,
    D_COLONIZED,
    D_HEAT_STRESS,
    D_DROUGHT_STRESS,
    D_LOG_WATER,
    D_WATER_IN,
    D_WATER_OUT,
    D_RAIN,
    D_RIVAL_HOURS,
    D_SPAWN,
    D_SPAWN_STRESS,
    D_NEAR_HUMIDITY,
) = range(DAILY_COLUMNS)


@inlined
def hottest_bark(a: FloatArray, basis: FloatArray) -> Row:
    """Temperature of the bark where it is hottest round the girth [degC]."""
    swing, sunniest = alike(0.0), alike(-1e30)
    for m in range(at.MODES):
        swing += abs(load(a, at.MODE_SURFACE, m))
    for sector in range(at.SECTORS):
        round_girth = alike(0.0)
        for m in range(at.MODES):
            round_girth += basis[m, sector] * load(a, at.MODE_SURFACE, m)
        sunniest = max(sunniest, round_girth)
    return load(a, at.SURFACE_TEMP, at.BARK) + choose(swing - 0.01, sunniest, 0.0)


@compiled
def note_hour(
    a: FloatArray, forcing: FloatArray, basis: FloatArray, first: bool, day: FloatArray
) -> None:
    """Add one hour to a day's extremes and sums."""
    if first:
        for column in (D_AIR_MAX, D_VPD_MAX, D_BARK_MAX):
            store_row(day, column, -np.inf)
        for column in (D_AIR_MIN, D_RH_MIN):
            store_row(day, column, np.inf)
        for column in (D_SHORTWAVE, D_RAIN, D_CORE_MEAN, D_RIVAL_HOURS, D_NEAR_HUMIDITY):
            store_row(day, column, 0.0)
    air, vapour = load_row(forcing, at.F_AIR_TEMP), load_row(forcing, at.F_VAPOUR)
    saturated = saturation_vapour_density(air)
    lack = (saturated - vapour) * WATER_VAPOUR_GAS_CONSTANT_J_KG_K * (air + KELVIN_AT_0_C)
    store_row(day, D_AIR_MAX, max(load_row(day, D_AIR_MAX), air))
    store_row(day, D_AIR_MIN, min(load_row(day, D_AIR_MIN), air))
    store_row(day, D_VPD_MAX, max(load_row(day, D_VPD_MAX), lack * 0.001))
    store_row(day, D_RH_MIN, min(load_row(day, D_RH_MIN), 100.0 * vapour / saturated))
    store_row(day, D_BARK_MAX, max(load_row(day, D_BARK_MAX), hottest_bark(a, basis)))
    light = load_row(forcing, at.F_SUN_TOP) * (SECONDS_PER_HOUR * 1e-6)
    add_to_row(day, D_SHORTWAVE, light)
    add_to_row(day, D_RAIN, load_row(forcing, at.F_RAIN))


@inlined
def note_core(grid: Grid, a: FloatArray, forcing: FloatArray, day: FloatArray) -> None:
    """Add one hour to the day's means: the pith at mid height, and humidity round the bark."""
    r = (grid.level_m.size // 2) * grid.ring_area_m2.size
    share = 1.0 / HOURS_PER_DAY
    add_to_row(day, D_CORE_MEAN, share * load(a, at.TEMP, r))
    add_to_row(day, D_NEAR_HUMIDITY, share * humidity_round(a, forcing))


@inlined
def note_rivals(a: FloatArray, mycelium: FloatArray, day: FloatArray) -> None:
    """Add one hour to the day's rival hours: bark warm and wet, wood not yet colonized."""
    bark = at.SURFACE + at.BARK
    hours = rival_hours(
        load(a, at.SURFACE_TEMP, at.BARK),
        load(a, bark, at.S_WET),
        load(a, bark, at.S_HUMIDITY),
        load(mycelium, COLONIZED, 0),
    )
    add_to_row(day, D_RIVAL_HOURS, hours)


@inlined
def spawn_state(grid: Grid, a: FloatArray, case: int) -> tuple[float, float]:
    """Moisture of the driest spawn layer [kg/kg], and the water in all of them [kg]."""
    nr, section = grid.ring_area_m2.size, np.pi * grid.radius_m**2
    driest, water = 1e30, 0.0
    dry = a[at.PARAMETER, P.model_spawn_density_kg_m3, case] * grid.spawn_depth_m
    for layer in range(grid.interface_level.size):
        if grid.interface_level[layer] < grid.level_m.size:
            held = 0.0
            for i in range(nr):
                moisture = a[at.SPAWN_MOISTURE, layer * nr + i, case]
                held += grid.ring_area_m2[i] / section * moisture
            driest = min(driest, held)
            water += dry * section * held
    return driest, water


@compiled
def close_day(
    grid: Grid,
    density: float,
    a: FloatArray,
    mycelium: FloatArray,
    stress: FloatArray,
    booked: FloatArray,
    day: FloatArray,
) -> None:
    """Moisture, run and balance at a day's end."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    section = np.pi * grid.radius_m**2
    girth = 2.0 * np.pi * grid.radius_m
    for n in range(at.CASES):
        wood = 0.0
        for k in range(nz):
            for i in range(nr):
                wood += grid.level_m[k] * grid.ring_area_m2[i] * a[at.MOISTURE, k * nr + i, n]
        driest = 1e30
        for interface in range(grid.pieces + 1):
            below, above, weight = interface_neighbours(grid, interface)
            u = 0.0
            for i in range(nr):
                low, high = (
                    a[at.MOISTURE, below * nr + i, n],
                    a[at.MOISTURE, above * nr + i, n],
                )
                u += grid.ring_area_m2[i] / section * ((1.0 - weight) * low + weight * high)
            driest = min(driest, u)
        spawn, kept_spawn = spawn_state(grid, a, n)
        films = (
            girth * grid.height_m * a[at.SURFACE_WATER, 0, n] + section * a[at.SURFACE_WATER, 1, n]
        )
        kept = a[at.BUDGET, at.B_WATER_IN, n] - a[at.BUDGET, at.B_RUNOFF, n]
        day[D_MOISTURE, n] = 100.0 * wood / (section * grid.height_m)
        day[D_DRIEST_FACE, n] = 100.0 * driest
        day[D_COLONIZED, n] = mycelium[COLONIZED, 0, n]
        day[D_HEAT_STRESS, n] = stress[0, n]
        day[D_DROUGHT_STRESS, n] = stress[1, n]
        day[D_SPAWN_STRESS, n] = stress[2, n]
        day[D_LOG_WATER, n] = density * wood + films + kept_spawn
        day[D_SPAWN, n] = 100.0 * spawn
        day[D_WATER_IN, n] = kept - booked[0, n]
        day[D_WATER_OUT, n] = a[at.BUDGET, at.B_WATER_OUT, n] - booked[1, n]
        booked[0, n] = kept
        booked[1, n] = a[at.BUDGET, at.B_WATER_OUT, n]


@entry
def run_block(
    grid: Grid,
    curves: Curves,
    potential: FloatArray,
    spawn_potential: FloatArray,
    radiation: FloatArray,
    fungus: FloatArray,
    complete_share: float,
    diffuse_table: FloatArray,
    basis: FloatArray,
    stand: FloatArray,
    start: IntArray,
    cover: FloatArray,
    modes: FloatArray,
    first_hour: int,
    last_hour: int,
    inoculation_hour: int,
    a: FloatArray,
    mycelium: FloatArray,
    booked: FloatArray,
    daily: FloatArray,
    row: FloatArray,
    light: FloatArray,
    forcing: FloatArray,
    level_temp: FloatArray,
    stress: FloatArray,
) -> None:
    """Run one block of cases from one hour to another.

    Parameters
    ----------
    potential, spawn_potential : ndarray
        Water potential of wood and of spawn by moisture [MPa].
    radiation, fungus : (parameters, CASES) array
        Parameter rows, :data:`climate_risk.microclimate.radiation.R` and
        :data:`climate_risk.fungus.kernel.M`.
    stand : (hours of the record, STAND_COLUMNS) array
    start : (CASES,) array
        Row of ``stand`` at which each run's hour 0 lies.
    cover : (hours of the mycelium, COVER_COLUMNS) array
    modes : (hours of the mycelium, MODES) array
        Angular modes of the beam, the same for every run; 0 while the sun is down.
    first_hour, last_hour : int
        Hours of the mycelium, the last one not included; whole days.
    inoculation_hour : int
        Before it the log only dries.
    a, mycelium, booked
        State, changed in place; :func:`climate_risk.log.kernel.make_state`,
        :func:`climate_risk.fungus.kernel.make_mycelium`, (2, CASES) zeros.
    daily : (days, DAILY_COLUMNS, CASES) array
        Filled, from the first hour's day on.
    """
    for hour in range(first_hour, last_hour):
        day = daily[(hour - first_hour) // HOURS_PER_DAY]
        gather(stand, start, hour, row)
        fill_as_drawn(row, radiation)
        light_at_stack(row, cover[hour], radiation, diffuse_table, light)
        assemble(row, light, cover[hour], radiation, forcing)
        if hour % REFRESH_HOURS == 0:
            refresh_conductances(grid, curves, a)
        step_hour(grid, curves, a, forcing, modes[hour])
        note_hour(a, forcing, basis, hour % HOURS_PER_DAY == 0, day)
        note_core(grid, a, forcing, day)
        if hour >= inoculation_hour:
            if hour % WATER_RESPONSE_HOURS == 0 or hour == inoculation_hour:
                respond_to_water(grid, a, fungus, mycelium, potential, curves.density_kg_m3)
                respond_in_spawn(grid, a, fungus, mycelium, spawn_potential)
            kill_by_heat(grid, a, fungus, mycelium, basis)
            run_fronts(
                grid, a, fungus, mycelium, hour - inoculation_hour, complete_share, level_temp
            )
            note_rivals(a, mycelium, day)
        if hour % HOURS_PER_DAY == HOURS_PER_DAY - 1:
            if hour >= inoculation_hour:
                kill_by_drought(grid, a, fungus, mycelium)
            count_living(grid, mycelium, stress)
            close_day(grid, curves.density_kg_m3, a, mycelium, stress, booked, day)
