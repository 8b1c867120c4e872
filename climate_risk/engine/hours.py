"""The hour loop: stand weather to stack, stack to log, log to fungus, many runs side by side."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import prange

from climate_risk.compiled import compiled, entry, fetch_ahead, inlined
from climate_risk.constants import (
    HOURS_PER_DAY,
    KELVIN_AT_0_C,
    SECONDS_PER_HOUR,
    WATER_VAPOUR_GAS_CONSTANT_J_KG_K,
)
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
from climate_risk.log.rows import load, load_row, store_row
from climate_risk.log.state import Curves
from climate_risk.microclimate.radiation import (
    C_BAG,
    C_BARRIER_AGE,
    C_CLOTH,
    C_FOOT,
    C_HOLES,
    C_PLIES,
    C_SPAWN,
    C_UNCUT,
    C_WATERING,
    L_BEAM_SIDE,
    L_LONGWAVE_SIDE,
    L_LONGWAVE_TOP,
    L_SIDE,
    L_TOP,
    STAND_COLUMNS,
    W_AIR_TEMP,
    W_CONVECTION,
    W_CONVECTION_CLOTH,
    W_GROUND_TEMP,
    W_HUMIDITY_DOUBT,
    W_LONGWAVE,
    W_RAIN,
    W_RAIN_DOUBT,
    W_TEMP_DOUBT,
    W_VAPOUR,
    W_WIND,
    W_WIND_CLOTH,
    W_WIND_DOUBT,
    R,
    light_at_stack,
)

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

LEAST_HUMIDITY = 0.05
"""Air outdoors is hardly ever drier (common practice, no source)."""
WATER_RESPONSE_HOURS = 6
"""The fungus's response to water follows moisture at this interval."""

FETCHED_AHEAD_H = 4
"""Hours before its use in which a run's weather is fetched from memory."""

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
def gather(stand: FloatArray, start: IntArray, hour: int, row: FloatArray) -> None:
    """One hour of every run's stand weather; runs stand at different places of the record."""
    for n in range(at.CASES):
        r = start[n] + hour
        for c in range(0, STAND_COLUMNS, at.NUMBERS_OF_A_LINE):
            fetch_ahead(stand, r + FETCHED_AHEAD_H, c)
        for c in range(STAND_COLUMNS):
            row[c, n] = stand[r, c]


@inlined
def humidity_off(air: float, vapour: float, points: float) -> float:
    """Vapour density [kg/m3] of air whose relative humidity is off by some points.

    Held between :data:`LEAST_HUMIDITY` and saturation.
    """
    saturated = saturation_vapour_density(air)
    return min(max(vapour + 0.01 * points * saturated, LEAST_HUMIDITY * saturated), saturated)


@inlined
def fill_as_drawn(row: FloatArray, parameters: FloatArray) -> None:
    """Warmth and rain of long gaps, off by what each run has drawn.

    Relative humidity stays, as does the sky's emissivity.
    """
    for n in prange(at.CASES):
        row[W_RAIN, n] *= 1.0 + row[W_RAIN_DOUBT, n] * (
            parameters[R.model_estimated_rain_factor, n] - 1.0
        )
        off = row[W_TEMP_DOUBT, n] * parameters[R.model_estimated_temp_error_k, n]
        if off != 0.0:
            air = row[W_AIR_TEMP, n]
            kelvin = air + KELVIN_AT_0_C
            row[W_VAPOUR, n] *= saturation_vapour_density(air + off) / saturation_vapour_density(
                air
            )
            row[W_LONGWAVE, n] *= ((kelvin + off) / kelvin) ** 4
            row[W_AIR_TEMP, n] += off
            row[W_GROUND_TEMP, n] += off


@inlined
def assemble(
    row: FloatArray,
    light: FloatArray,
    cover: FloatArray,
    parameters: FloatArray,
    forcing: FloatArray,
) -> None:
    """Stand weather, light and cover of one hour as the log's forcing.

    Humidity and wind that were estimated are off by what the run has drawn; sunlight is so in
    :func:`climate_risk.microclimate.radiation.light_at_stack`.
    """
    cloth = cover[C_CLOTH] > 0.0
    convection = W_CONVECTION_CLOTH if cloth else W_CONVECTION
    wind = W_WIND_CLOTH if cloth else W_WIND
    for n in prange(at.CASES):
        forcing[at.F_AIR_TEMP, n] = row[W_AIR_TEMP, n]
        forcing[at.F_VAPOUR, n] = row[W_VAPOUR, n]
        forcing[at.F_CONVECTION, n] = row[convection, n]
        forcing[at.F_WIND, n] = row[wind, n]
        forcing[at.F_LONGWAVE_SIDE, n] = light[L_LONGWAVE_SIDE, n]
        forcing[at.F_LONGWAVE_TOP, n] = light[L_LONGWAVE_TOP, n]
        forcing[at.F_RAIN, n] = row[W_RAIN, n]
        forcing[at.F_SOIL_TEMP, n] = row[W_GROUND_TEMP, n]
        forcing[at.F_SUN_SIDE, n] = light[L_SIDE, n]
        forcing[at.F_SUN_TOP, n] = light[L_TOP, n]
        forcing[at.F_BEAM_SIDE, n] = light[L_BEAM_SIDE, n]
    for n in prange(at.CASES):
        forcing[at.F_BAG, n] = cover[C_BAG]
        forcing[at.F_FOOT, n] = cover[C_FOOT]
        forcing[at.F_HOLES, n] = cover[C_HOLES]
        forcing[at.F_PLIES, n] = cover[C_PLIES]
        forcing[at.F_WATERING, n] = cover[C_WATERING]
        forcing[at.F_UNCUT, n] = cover[C_UNCUT]
        forcing[at.F_SPAWN, n] = cover[C_SPAWN]
        forcing[at.F_BARRIER_AGE, n] = cover[C_BARRIER_AGE]
    for n in prange(at.CASES):
        share = row[W_HUMIDITY_DOUBT, n]
        if share > 0.0:
            forcing[at.F_VAPOUR, n] = humidity_off(
                row[W_AIR_TEMP, n],
                row[W_VAPOUR, n],
                share * parameters[R.model_estimated_humidity_error_pct, n],
            )
    for n in prange(at.CASES):
        share = row[W_WIND_DOUBT, n]
        factor, on_heat = (
            parameters[R.model_estimated_wind_factor, n],
            parameters[R.estimated_convection_factor, n],
        )
        forcing[at.F_WIND, n] *= 1.0 + share * (factor - 1.0)
        forcing[at.F_CONVECTION, n] *= 1.0 + share * (on_heat - 1.0)


@compiled
def note_hour(
    a: FloatArray, forcing: FloatArray, basis: FloatArray, first: bool, day: FloatArray
) -> None:
    """Add one hour to a day's extremes and sums."""
    for n in prange(at.CASES):
        air, vapour = forcing[at.F_AIR_TEMP, n], forcing[at.F_VAPOUR, n]
        saturated = saturation_vapour_density(air)
        lack = (saturated - vapour) * WATER_VAPOUR_GAS_CONSTANT_J_KG_K * (air + KELVIN_AT_0_C)
        swing, sunniest = 0.0, -1e30
        for m in range(at.MODES):
            swing += abs(a[at.MODE_SURFACE, m, n])
        for sector in range(at.SECTORS):
            round_girth = 0.0
            for m in range(at.MODES):
                round_girth += basis[m, sector] * a[at.MODE_SURFACE, m, n]
            sunniest = max(sunniest, round_girth)
        hottest = a[at.SURFACE_TEMP, 0, n] + (sunniest if swing > 0.01 else 0.0)
        light = forcing[at.F_SUN_TOP, n] * SECONDS_PER_HOUR * 1e-6
        if first:
            day[D_AIR_MAX, n], day[D_AIR_MIN, n] = air, air
            day[D_VPD_MAX, n], day[D_RH_MIN, n] = lack / 1000.0, 100.0 * vapour / saturated
            day[D_BARK_MAX, n] = hottest
            day[D_SHORTWAVE, n], day[D_RAIN, n], day[D_CORE_MEAN, n] = 0.0, 0.0, 0.0
            day[D_RIVAL_HOURS, n], day[D_NEAR_HUMIDITY, n] = 0.0, 0.0
        day[D_AIR_MAX, n] = max(day[D_AIR_MAX, n], air)
        day[D_AIR_MIN, n] = min(day[D_AIR_MIN, n], air)
        day[D_VPD_MAX, n] = max(day[D_VPD_MAX, n], lack / 1000.0)
        day[D_RH_MIN, n] = min(day[D_RH_MIN, n], 100.0 * vapour / saturated)
        day[D_BARK_MAX, n] = max(day[D_BARK_MAX, n], hottest)
        day[D_SHORTWAVE, n] += light
        day[D_RAIN, n] += forcing[at.F_RAIN, n]


@inlined
def note_core(grid: Grid, a: FloatArray, forcing: FloatArray, day: FloatArray) -> None:
    """Add one hour to the day's means: the pith at mid height, and humidity round the bark."""
    r = (grid.level_m.size // 2) * grid.ring_area_m2.size
    share = 1.0 / HOURS_PER_DAY
    store_row(day, D_CORE_MEAN, load_row(day, D_CORE_MEAN) + share * load(a, at.TEMP, r))
    humid = load_row(day, D_NEAR_HUMIDITY) + share * humidity_round(a, forcing)
    store_row(day, D_NEAR_HUMIDITY, humid)


@inlined
def note_rivals(a: FloatArray, mycelium: FloatArray, day: FloatArray) -> None:
    """Add one hour to the day's rival hours: bark warm and wet, wood not yet colonized."""
    bark = at.SURFACE + at.BARK
    for n in prange(at.CASES):
        skin, run = a[at.SURFACE_TEMP, 0, n], mycelium[COLONIZED, 0, n]
        wet, humidity = a[bark, at.S_WET, n], a[bark, at.S_HUMIDITY, n]
        day[D_RIVAL_HOURS, n] += rival_hours(skin, wet, humidity, run)


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
    for n in prange(at.CASES):
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
