"""The mycelium in a stack: what it remembers, and fronts that run along the grain.

Front ``L`` from each spawn interface into both pieces, living share ``V`` of an interface::

    dL/dt = v g(T) w(psi) b(air) exp(-3 S) min(1, 2 V)
    dS/dt = max(T - Tmax, 0) / (Tref - Tmax) / 1 d - S / tau
    V = 2^-(H + D),  dH/dt = 10^((T - Tref(u)) / z) / t_half above Tmax,
                     dD/dt = q^((T - 20) / 10) (u_on - u) / (u_on - u_full) / t_dry below u_on

``g`` growth by temperature, ``w`` by water potential, ``b`` by air space, ``S`` heat stress short
of death, ``H`` and ``D`` half-kills by heat and drought.  Until the front has leapt off, it
waits for moist spawn, and ``u`` is the spawn's own.  The log's temperature and moisture come
in, nothing goes back: the fungus does not change the wood.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from climate_risk.compiled import compiled, inlined, law
from climate_risk.constants import HOURS_PER_DAY
from climate_risk.fungus.formulas import (
    potential_response,
    ramp,
    temperature_response,
)
from climate_risk.log import layout as at
from climate_risk.log.formulas import FloatArray, air_share, fast_exp
from climate_risk.log.geometry import Grid
from climate_risk.log.rows import (
    alike,
    choose,
    greatest,
    interpolate,
    load,
    load_row,
    store,
    store_row,
)
from climate_risk.log.wood import MOISTURE_STEP
from climate_risk.schema import Schema
from climate_risk.tables import Fungus

SCHEMA = Schema(
    {"fungus": Fungus},
    derived=(
        "front_rate_m_h",
        "spawn_lag_h",
        "stall_recovery_h",
        "drought_half_kill_h",
        "spawn_half_kill_h",
        "drought_onset",
        "drought_full",
    ),
)
M = SCHEMA.index
"""Row of each parameter in the mycelium's parameter array."""


def mycelium_parameters(values: Mapping[str, FloatArray]) -> FloatArray:
    """Parameter rows of every case, (parameters, cases).

    Parameters
    ----------
    values : mapping of str to (cases,) array
        Drawn values by unknown, such as ``fungus.temp_opt_c``.
    """
    per_day = float(HOURS_PER_DAY)
    front_mm_day = values["fungus.front_rate_mm_day"] * values["fungus.wood_factor"]
    return SCHEMA.fill(
        values,
        front_rate_m_h=front_mm_day / (1000.0 * per_day),
        spawn_lag_h=values["fungus.spawn_lag_gdays"] * per_day,
        stall_recovery_h=values["fungus.stall_recovery_d"] * per_day,
        drought_half_kill_h=values["fungus.drought_half_kill_d"] * per_day,
        spawn_half_kill_h=values["fungus.spawn_half_kill_d"] * per_day,
        drought_onset=values["fungus.drought_onset_pct"] / 100.0,
        drought_full=values["fungus.drought_full_pct"] / 100.0,
    )


LEAST_STALL = 1e-4
"""Heat stress that slows growth by 0.03 % is over."""

# All that the mycelium remembers, ``mycelium[term, row, case]``.  Fronts are two to a piece, up
# then down; a place is a ring of an interface, ``interface * nr + ring``.
(
    FRONT_M,  # by front: way run from the spawn interface
    RIPE_H,  # by front: hours at the optimum since inoculation, until the lag is over
    STALL,  # by front: heat stress short of death; growth falls as exp(-3 stall)
    HEAT_LEFT,  # by place: share that heat left, sector mean
    DROUGHT_DOSE,  # by place: half-kills by drought
    SPAWN_DOSE,  # by place: those of them that fell before the front had leapt off
    WATER_RESPONSE,  # by level: growth response to water, ring mean
    SPAWN_RESPONSE,  # by interface: the same of the spawn layer
    ALIVE,  # by interface: living share
    HOT,  # one row: 1 where the heat dose grew since the last count
    WATCH_LEFT_H,  # one row: the wood may still be hot from its last hot surface
    FULL_HOUR,  # one row: hours since inoculation until the run was complete; -1 before
    COLONIZED,  # one row: share of the way between spawn interfaces that the fronts have run
    HEAT_DOSE,  # by place, a term for each sector: half-kills by heat
) = range(14)
MYCELIUM_TERMS = HEAT_DOSE + at.SECTORS


def make_mycelium(grid: Grid) -> FloatArray:
    """Fresh spawn on every interface, (MYCELIUM_TERMS, rows, CASES)."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    mycelium = at.aligned(MYCELIUM_TERMS, max((grid.pieces + 1) * nr, nz), at.CASES)
    mycelium[HEAT_LEFT] = 1.0
    mycelium[ALIVE] = 1.0
    mycelium[SPAWN_RESPONSE] = 1.0
    mycelium[FULL_HOUR] = -1.0
    return mycelium


@compiled
def respond_to_water(
    grid: Grid,
    a: FloatArray,
    parameters: FloatArray,
    mycelium: FloatArray,
    potential: FloatArray,
    density: float,
) -> None:
    """Growth response to water potential and to air space by level, as the mean over rings.

    Means are summed from what lacks to 1, so that rounding takes nothing from a full response.
    """
    nr = grid.ring_area_m2.size
    section = np.pi * grid.radius_m**2
    stop, full = (
        load_row(parameters, M.fungus_psi_stop_mpa),
        load_row(parameters, M.fungus_psi_full_mpa),
    )
    stuffy, airy = (
        load_row(parameters, M.fungus_air_share_stop),
        load_row(parameters, M.fungus_air_share_full),
    )
    for k in range(grid.level_m.size):
        lack = alike(0.0)
        for i in range(nr):
            u = load(a, at.MOISTURE, k * nr + i)
            psi = interpolate(potential, u * (1.0 / MOISTURE_STEP))
            moist = potential_response(psi, stop, full)
            response = moist * ramp(air_share(u, density), stuffy, airy)
            lack += grid.ring_area_m2[i] / section * (1.0 - response)
        store(mycelium, WATER_RESPONSE, k, 1.0 - lack)


@inlined
def has_spawn(grid: Grid, interface: int) -> bool:
    """Whether a spawn layer with its own water lies at an interface: there is wood above it."""
    covered: bool = grid.interface_level[interface] < grid.level_m.size
    return grid.spawn_depth_m > 0.0 and covered


@compiled
def respond_in_spawn(
    grid: Grid, a: FloatArray, parameters: FloatArray, mycelium: FloatArray, potential: FloatArray
) -> None:
    """Growth response to water potential in each spawn layer, as the mean over rings."""
    nr = grid.ring_area_m2.size
    section = np.pi * grid.radius_m**2
    stop, full = (
        load_row(parameters, M.fungus_psi_stop_mpa),
        load_row(parameters, M.fungus_psi_full_mpa),
    )
    for interface in range(grid.pieces + 1):
        if not has_spawn(grid, interface):
            continue
        lack = alike(0.0)
        for i in range(nr):
            u = load(a, at.SPAWN_MOISTURE, interface * nr + i)
            psi = interpolate(potential, u * (1.0 / MOISTURE_STEP))
            moist = potential_response(psi, stop, full)
            lack += grid.ring_area_m2[i] / section * (1.0 - moist)
        store(mycelium, SPAWN_RESPONSE, interface, 1.0 - lack)


@inlined
def has_taken(
    grid: Grid, parameters: FloatArray, mycelium: FloatArray, interface: int, n: int
) -> bool:
    """Whether a front has leapt off from an interface, up or down."""
    ripe = 0.0
    if interface < grid.pieces:
        ripe = mycelium[RIPE_H, 2 * interface, n]
    if interface > 0:
        ripe = max(ripe, mycelium[RIPE_H, 2 * interface - 1, n])
    taken: bool = ripe >= parameters[M.spawn_lag_h, n]
    return taken


@law
def interface_neighbours(grid: Grid, interface: int) -> tuple[int, int, float]:
    """Levels below and above a spawn interface, and the weight of the upper one.

    The lowest interface has wood above only, a bare top interface wood below only.
    """
    above = grid.interface_level[interface]
    below = above - 1
    if below < 0:
        return above, above, 1.0
    if above >= grid.level_m.size:
        return below, below, 0.0
    near, far = grid.level_m[above], grid.level_m[below]
    return below, above, far / (near + far)


@compiled
def run_fronts(
    grid: Grid,
    a: FloatArray,
    parameters: FloatArray,
    mycelium: FloatArray,
    hours: float,
    complete_share: float,
    level_temp: FloatArray,
) -> None:
    """Advance every front by one hour at the temperature and moisture where it stands.

    Parameters
    ----------
    hours : float
        Since inoculation, for the date of the full run.
    complete_share : float
        Share of the way between interfaces that makes a run complete.
    level_temp : (levels, CASES) array
        Scratch: mean temperature of each level.
    """
    nr = grid.ring_area_m2.size
    section = np.pi * grid.radius_m**2
    nz = grid.level_m.size
    for k in range(nz):
        mean = alike(0.0)
        for i in range(nr):
            mean += grid.ring_area_m2[i] / section * load(a, at.TEMP, k * nr + i)
        store_row(level_temp, k, mean)
    coldest, best, hottest, deadly = (
        load_row(parameters, M.fungus_temp_min_c),
        load_row(parameters, M.fungus_temp_opt_c),
        load_row(parameters, M.fungus_temp_max_c),
        load_row(parameters, M.fungus_heat_ref_temp_c),
    )
    for front in range(2 * grid.pieces):
        piece, down = front // 2, front % 2
        interface = piece + down
        first = grid.interface_level[piece]
        levels = grid.interface_level[piece + 1] - first
        base = grid.level_top_m[first] - grid.level_m[first]
        own = load(mycelium, FRONT_M, front)
        runs = grid.piece_length_m - own - load(mycelium, FRONT_M, front + 1 - 2 * down)
        if greatest(runs) <= 0.0:
            continue
        way = min(own, grid.piece_length_m)
        place = base + (grid.piece_length_m - way if down == 1 else way)
        temp, moist = load_row(level_temp, first), load(mycelium, WATER_RESPONSE, first)
        for k in range(first, first + levels - 1):
            beyond = place - grid.level_top_m[k]
            temp = choose(beyond, load_row(level_temp, k + 1), temp)
            moist = choose(beyond, load(mycelium, WATER_RESPONSE, k + 1), moist)
        growth = temperature_response(temp, coldest, best, hottest) * moist
        before = load(mycelium, STALL, front)
        stall = max(temp - hottest, 0.0) / (deadly - hottest) / HOURS_PER_DAY
        stall += before - before / load_row(parameters, M.stall_recovery_h)
        stall = choose(stall - LEAST_STALL, stall, 0.0)
        living = min(2.0 * load(mycelium, ALIVE, interface), 1.0)
        slowed = growth * living * fast_exp(max(-3.0 * stall, -8.0))
        ripe = load(mycelium, RIPE_H, front)
        waits = load_row(parameters, M.spawn_lag_h) - ripe
        ripened = ripe + growth * load(mycelium, SPAWN_RESPONSE, interface)
        moved = way + load_row(parameters, M.front_rate_m_h) * slowed
        store(mycelium, STALL, front, choose(runs, stall, before))
        store(mycelium, RIPE_H, front, choose(runs, choose(waits, ripened, ripe), ripe))
        store(mycelium, FRONT_M, front, choose(runs, choose(waits, own, moved), own))
    note_run(grid, mycelium, hours, complete_share)


@compiled
def note_run(grid: Grid, mycelium: FloatArray, hours: float, complete_share: float) -> None:
    """Share of the way between spawn interfaces that is run, mean over pieces; is it complete."""
    run, full = alike(0.0), load(mycelium, FULL_HOUR, 0)
    for piece in range(grid.pieces):
        way = load(mycelium, FRONT_M, 2 * piece) + load(mycelium, FRONT_M, 2 * piece + 1)
        run += min(way / grid.piece_length_m, 1.0)
    run /= float(grid.pieces)
    now = choose(complete_share - run, full, alike(float(hours)))
    store(mycelium, COLONIZED, 0, run)
    store(mycelium, FULL_HOUR, 0, choose(-full, now, full))
