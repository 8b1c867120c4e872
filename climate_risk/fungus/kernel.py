"""The mycelium in a stack: fronts that run along the grain, heat and drought that kill.

Compiled, for many runs side by side.  The log's temperature and moisture come in, nothing goes
back: the fungus does not change the wood.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from climate_risk.compiled import compiled
from climate_risk.constants import HOURS_PER_DAY, WOOD_CELL_WALL_SPECIFIC_GRAVITY
from climate_risk.log.geometry import Grid
from climate_risk.log.kernel import (
    LANES,
    MODE_SURFACE,
    MODE_TEMP,
    MODES,
    MOISTURE,
    SECTORS,
    SURFACE_TEMP,
    TEMP,
)
from climate_risk.log.wood import MOISTURE_STEP

FloatArray = npt.NDArray[np.float64]

COLD_TEMP_C = 0.1
"""Cold or frozen wood does not kill by drought (common practice, no source); freezing wood stands
at 0 degC give or take rounding."""

WATCH_H = 36.0
"""Heat enters by the surface and is gone from the wood in less time than this."""


class Mycelium(NamedTuple):
    """What may differ between runs; every array has shape (LANES,)."""

    temp_min_c: FloatArray
    temp_opt_c: FloatArray
    temp_max_c: FloatArray
    front_rate_m_h: FloatArray
    """Along the grain at the optimum in this wood."""
    spawn_lag_h: FloatArray
    """Hours at the optimum before the front leaves the spawn."""
    psi_full_mpa: FloatArray
    psi_stop_mpa: FloatArray
    air_share_full: FloatArray
    air_share_stop: FloatArray
    heat_ref_temp_c: FloatArray
    heat_half_kill_h: FloatArray
    heat_z_k: FloatArray
    stall_recovery_h: FloatArray
    drought_half_kill_h: FloatArray
    drought_onset: FloatArray
    """kg/kg."""
    drought_full: FloatArray


# Rows of the fields, stacked.
(
    M_TEMP_MIN_C,
    M_TEMP_OPT_C,
    M_TEMP_MAX_C,
    M_FRONT_RATE_M_H,
    M_SPAWN_LAG_H,
    M_PSI_FULL_MPA,
    M_PSI_STOP_MPA,
    M_AIR_SHARE_FULL,
    M_AIR_SHARE_STOP,
    M_HEAT_REF_TEMP_C,
    M_HEAT_HALF_KILL_H,
    M_HEAT_Z_K,
    M_STALL_RECOVERY_H,
    M_DROUGHT_HALF_KILL_H,
    M_DROUGHT_ONSET,
    M_DROUGHT_FULL,
) = range(len(Mycelium._fields))

# All that the mycelium remembers, ``run[term, row, lane]``.  Fronts are two to a piece, up then
# down; a place is a ring of a face, ``face * nr + ring``.
(
    FRONT_M,  # by front: way run from the spawn face
    RIPE_H,  # by front: hours at the optimum since inoculation, until the lag is over
    STALL,  # by front: heat stress short of death; growth falls as exp(-3 stall)
    HEAT_LEFT,  # by place: share that heat left, sector mean
    DROUGHT_DOSE,  # by place: half-kills by drought
    WATER_RESPONSE,  # by level: growth response to water, ring mean
    ALIVE,  # by face: living share
    HOT,  # one row: 1 where the heat dose grew since the last count
    WATCH_LEFT_H,  # one row: the wood may still be hot from its last hot surface
    FULL_HOUR,  # one row: hours since inoculation until the run was complete; -1 before
    HEAT_DOSE,  # by place, a term for each sector: half-kills by heat
) = range(11)
RUN_TERMS = HEAT_DOSE + SECTORS


def make_run(grid: Grid) -> FloatArray:
    """Fresh spawn on every face, (RUN_TERMS, rows, LANES)."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    run = np.zeros((RUN_TERMS, max((grid.pieces + 1) * nr, nz), LANES))
    run[HEAT_LEFT] = 1.0
    run[ALIVE] = 1.0
    run[FULL_HOUR] = -1.0
    return run


@compiled
def temperature_response(temp_c: float, low_c: float, best_c: float, high_c: float) -> float:
    """Growth relative to the optimum, 0 to 1.

    Cardinal temperature model with inflection, Rosso, Lobry and Flandrois 1993, J. Theor. Biol.
    162:447-463.
    """
    if temp_c <= low_c or temp_c >= high_c:
        return 0.0
    top = (temp_c - high_c) * (temp_c - low_c) ** 2
    bottom = (best_c - low_c) * (
        (best_c - low_c) * (temp_c - best_c) - (best_c - high_c) * (best_c + low_c - 2.0 * temp_c)
    )
    return top / bottom


@compiled
def ramp(value: float, none: float, full: float) -> float:
    """0 up to ``none``, 1 from ``full``, a straight line between."""
    return min(max((value - none) / (full - none), 0.0), 1.0)


@compiled
def potential_response(psi_mpa: float, stop_mpa: float, full_mpa: float) -> float:
    """Growth over the best by water potential: the square of a straight line, 0 to 1.

    With the stop at -4 MPa it gives half growth near -1.5 and about a sixth at -2.5 MPa, as
    measured on wood decay fungi (see ``tests/published/growth.toml``).
    """
    share = ramp(psi_mpa, stop_mpa, full_mpa)
    return share * share


@compiled
def respond_to_water(
    grid: Grid,
    a: FloatArray,
    mycelium: FloatArray,
    run: FloatArray,
    potential: FloatArray,
    density: float,
) -> None:
    """Growth response to water potential and to air space by level, as the mean over rings.

    Means are summed from what lacks to 1, so that rounding takes nothing from a full response.
    """
    nr = grid.ring_area_m2.size
    section = np.pi * grid.radius_m**2
    g = density / 1000.0
    for k in range(grid.level_m.size):
        for n in range(LANES):
            run[WATER_RESPONSE, k, n] = 1.0
        for i in range(nr):
            share = grid.ring_area_m2[i] / section
            for n in range(LANES):
                u = a[MOISTURE, k * nr + i, n]
                x = u * (1.0 / MOISTURE_STEP)
                j = int(x)
                w = x - j
                psi = potential[j] * (1.0 - w) + potential[j + 1] * w
                air = 1.0 - g * (1.0 / WOOD_CELL_WALL_SPECIFIC_GRAVITY + u)
                stop, full = mycelium[M_PSI_STOP_MPA, n], mycelium[M_PSI_FULL_MPA, n]
                moist = potential_response(psi, stop, full)
                airy = ramp(air, mycelium[M_AIR_SHARE_STOP, n], mycelium[M_AIR_SHARE_FULL, n])
                run[WATER_RESPONSE, k, n] -= share * (1.0 - moist * airy)


@compiled
def face_neighbours(grid: Grid, face: int) -> tuple[int, int, float]:
    """Levels below and above a spawn face, and the weight of the upper one.

    The lowest face has wood above only, a bare top face wood below only.
    """
    above = grid.face_level[face]
    below = above - 1
    if below < 0:
        return above, above, 1.0
    if above >= grid.level_m.size:
        return below, below, 0.0
    near, far = grid.level_m[above], grid.level_m[below]
    return below, above, far / (near + far)


@compiled
def kill_by_heat(
    grid: Grid, a: FloatArray, mycelium: FloatArray, run: FloatArray, basis: FloatArray
) -> None:
    """One hour's heat dose at every face, ring and sector, where it is hot enough to kill.

    Log-linear thermal death: the time to half kill falls tenfold per ``heat_z_k`` (Bigelow
    1921, from memory); zero at or below the temperature at which growth stops.
    """
    nr = grid.ring_area_m2.size
    for n in range(LANES):
        limit = mycelium[M_TEMP_MAX_C, n]
        hottest = max(a[SURFACE_TEMP, 0, n], a[SURFACE_TEMP, 1, n])
        for m in range(MODES):
            hottest += abs(a[MODE_SURFACE, m, n])
        run[WATCH_LEFT_H, 0, n] = WATCH_H if hottest > limit else run[WATCH_LEFT_H, 0, n] - 1.0
        if run[WATCH_LEFT_H, 0, n] <= 0.0:
            run[WATCH_LEFT_H, 0, n] = 0.0
            continue
        for i in range(nr):
            swing = 0.0
            for m in range(MODES):
                swing += abs(a[MODE_TEMP, m * nr + i, n])
            for face in range(grid.pieces + 1):
                below, above, weight = face_neighbours(grid, face)
                mean = (1.0 - weight) * a[TEMP, below * nr + i, n]
                mean += weight * a[TEMP, above * nr + i, n]
                if mean + swing <= limit:
                    continue
                for sector in range(SECTORS):
                    temp = mean
                    for m in range(MODES):
                        temp += basis[m, sector] * a[MODE_TEMP, m * nr + i, n]
                    if temp > limit:
                        run[HOT, 0, n] = 1.0
                        hotter = (temp - mycelium[M_HEAT_REF_TEMP_C, n]) / mycelium[M_HEAT_Z_K, n]
                        run[HEAT_DOSE + sector, face * nr + i, n] += (
                            10.0 ** min(hotter, 6.0) / mycelium[M_HEAT_HALF_KILL_H, n]
                        )


@compiled
def kill_by_drought(grid: Grid, a: FloatArray, mycelium: FloatArray, run: FloatArray) -> None:
    """One day's drought dose at every face and ring, from the wood on both sides."""
    nr = grid.ring_area_m2.size
    for face in range(grid.pieces + 1):
        below, above, weight = face_neighbours(grid, face)
        for i in range(nr):
            for n in range(LANES):
                u = (1.0 - weight) * a[MOISTURE, below * nr + i, n]
                u += weight * a[MOISTURE, above * nr + i, n]
                if a[TEMP, above * nr + i, n] > COLD_TEMP_C:
                    onset = mycelium[M_DROUGHT_ONSET, n]
                    depth = (onset - u) / (onset - mycelium[M_DROUGHT_FULL, n])
                    run[DROUGHT_DOSE, face * nr + i, n] += (
                        HOURS_PER_DAY * max(depth, 0.0) / mycelium[M_DROUGHT_HALF_KILL_H, n]
                    )


@compiled
def half_kills(left: float) -> float:
    """Dose that would leave this share, at most 60, as much as one place takes."""
    dose: float = 0.0 - np.log2(max(left, 2.0**-60))
    return dose


@compiled
def count_living(grid: Grid, run: FloatArray, stress: FloatArray) -> None:
    """Living share of each face, and the stack's stress by cause, at the end of a day.

    A face's living share is the mean over its area of what heat and drought left; a stress is
    the dose of half-kills that would leave the mean share: 1 = half the mycelium dead.

    Parameters
    ----------
    stress : (2, LANES) array
        Filled: heat, drought.
    """
    nr = grid.ring_area_m2.size
    section = np.pi * grid.radius_m**2
    faces = grid.pieces + 1
    for n in range(LANES):
        if run[HOT, 0, n] > 0.0:
            run[HOT, 0, n] = 0.0
            for face in range(faces):
                for i in range(nr):
                    left = 0.0
                    for sector in range(SECTORS):
                        left += 2.0 ** -min(run[HEAT_DOSE + sector, face * nr + i, n], 60.0)
                    run[HEAT_LEFT, face * nr + i, n] = left / SECTORS
        heat, drought = 1.0, 1.0
        for face in range(faces):
            alive = 1.0
            for i in range(nr):
                share = grid.ring_area_m2[i] / section
                dose = run[DROUGHT_DOSE, face * nr + i, n]
                moist = 1.0 if dose == 0.0 else 2.0 ** -min(dose, 60.0)
                cool = run[HEAT_LEFT, face * nr + i, n]
                alive -= share * (1.0 - cool * moist)
                heat -= share * (1.0 - cool) / faces
                drought -= share * (1.0 - moist) / faces
            run[ALIVE, face, n] = max(alive, 0.0)
        stress[0, n] = half_kills(heat)
        stress[1, n] = half_kills(drought)


@compiled
def run_fronts(
    grid: Grid,
    a: FloatArray,
    mycelium: FloatArray,
    run: FloatArray,
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
        Share of the way between faces that makes a run complete.
    level_temp : (levels, LANES) array
        Scratch: mean temperature of each level.
    """
    nr = grid.ring_area_m2.size
    section = np.pi * grid.radius_m**2
    nz = grid.level_m.size
    for k in range(nz):
        for n in range(LANES):
            level_temp[k, n] = 0.0
        for i in range(nr):
            share = grid.ring_area_m2[i] / section
            for n in range(LANES):
                level_temp[k, n] += share * a[TEMP, k * nr + i, n]
    for front in range(2 * grid.pieces):
        piece, down = front // 2, front % 2
        face = piece + down
        first = grid.face_level[piece]
        levels = grid.face_level[piece + 1] - first
        base = grid.level_top_m[first] - grid.level_m[first]
        other = front + 1 - 2 * down
        for n in range(LANES):
            if run[FRONT_M, front, n] + run[FRONT_M, other, n] >= grid.piece_length_m:
                continue
            way = min(run[FRONT_M, front, n], grid.piece_length_m)
            place = base + (grid.piece_length_m - way if down == 1 else way)
            k = first
            while k < first + levels - 1 and place > grid.level_top_m[k]:
                k += 1
            temp = level_temp[k, n]
            growth = temperature_response(
                temp,
                mycelium[M_TEMP_MIN_C, n],
                mycelium[M_TEMP_OPT_C, n],
                mycelium[M_TEMP_MAX_C, n],
            )
            over = (temp - mycelium[M_TEMP_MAX_C, n]) / (
                mycelium[M_HEAT_REF_TEMP_C, n] - mycelium[M_TEMP_MAX_C, n]
            )
            stall = run[STALL, front, n]
            stall += max(over, 0.0) / HOURS_PER_DAY - stall / mycelium[M_STALL_RECOVERY_H, n]
            run[STALL, front, n] = stall if stall > 1e-9 else 0.0
            growth *= run[WATER_RESPONSE, k, n]
            if run[RIPE_H, front, n] < mycelium[M_SPAWN_LAG_H, n]:
                run[RIPE_H, front, n] += growth
            else:
                living = min(1.0, 2.0 * run[ALIVE, face, n])
                run[FRONT_M, front, n] = way + (
                    mycelium[M_FRONT_RATE_M_H, n] * growth * living * np.exp(-3.0 * stall)
                )
    for n in range(LANES):
        if run[FULL_HOUR, 0, n] < 0.0 and colonized_share(grid, run, n) >= complete_share:
            run[FULL_HOUR, 0, n] = hours


@compiled
def colonized_share(grid: Grid, run: FloatArray, lane: int) -> float:
    """Share of the way between spawn faces that the fronts have run, mean over pieces."""
    total = 0.0
    for piece in range(grid.pieces):
        way = run[FRONT_M, 2 * piece, lane] + run[FRONT_M, 2 * piece + 1, lane]
        total += min(1.0, way / grid.piece_length_m)
    return total / grid.pieces
