"""The mycelium in a stack: fronts that run along the grain, heat and drought that kill.

Compiled, for many runs side by side.  The log's temperature and moisture come in, nothing goes
back: the fungus does not change the wood.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit

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

COLD_TEMP_C = 0.0
"""Cold or frozen wood does not kill by drought (common practice, no source)."""


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
    lost_share: FloatArray


class Run(NamedTuple):
    """All that the mycelium remembers; fronts are two to a piece, up then down."""

    front_m: FloatArray
    """(2 * pieces, LANES) way run from the spawn face."""
    ripe_h: FloatArray
    """(2 * pieces, LANES) hours at the optimum since inoculation, until the lag is over."""
    stall: FloatArray
    """(2 * pieces, LANES) heat stress short of death; growth falls as exp(-3 stall)."""
    heat_dose: FloatArray
    """(faces, rings, SECTORS, LANES) half-kills by heat."""
    heat_left: FloatArray
    """(faces, rings, LANES) share that heat left, sector mean."""
    hot: FloatArray
    """(LANES,) 1 where the heat dose grew since the last count."""
    watch_h: FloatArray
    """(LANES,) hours for which the wood may still be hot from its last hot surface."""
    drought_dose: FloatArray
    """(faces, rings, LANES) half-kills by drought."""
    water_response: FloatArray
    """(levels, LANES) growth response to water, ring mean."""
    alive: FloatArray
    """(faces, LANES) living share of each spawn face."""
    full_hour: FloatArray
    """(LANES,) hours since inoculation until the run was complete; -1 before."""


def make_run(grid: Grid) -> Run:
    """Fresh spawn on every face."""
    fronts, faces = 2 * grid.pieces, grid.pieces + 1
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    return Run(
        front_m=np.zeros((fronts, LANES)),
        ripe_h=np.zeros((fronts, LANES)),
        stall=np.zeros((fronts, LANES)),
        heat_dose=np.zeros((faces, nr, SECTORS, LANES)),
        heat_left=np.ones((faces, nr, LANES)),
        hot=np.zeros(LANES),
        watch_h=np.zeros(LANES),
        drought_dose=np.zeros((faces, nr, LANES)),
        water_response=np.zeros((nz, LANES)),
        alive=np.ones((faces, LANES)),
        full_hour=np.full(LANES, -1.0),
    )


@njit(cache=True, error_model="numpy", inline="always")
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


@njit(cache=True, error_model="numpy", inline="always")
def ramp(value: float, none: float, full: float) -> float:
    """0 up to ``none``, 1 from ``full``, a straight line between."""
    return min(max((value - none) / (full - none), 0.0), 1.0)


@njit(cache=True, error_model="numpy", inline="always")
def potential_response(psi_mpa: float, stop_mpa: float, full_mpa: float) -> float:
    """Growth over the best by water potential: the square of a straight line, 0 to 1.

    With the stop at -4 MPa it gives half growth near -1.5 and about a sixth at -2.5 MPa, as
    measured on wood decay fungi (see ``tests/published/growth.toml``).
    """
    share = ramp(psi_mpa, stop_mpa, full_mpa)
    return share * share


@njit(cache=True, error_model="numpy")
def respond_to_water(
    grid: Grid, a: FloatArray, mycelium: Mycelium, run: Run, potential: FloatArray, density: float
) -> None:
    """Growth response to water potential and to air space by level, as the mean over rings."""
    nr = grid.ring_area_m2.size
    section = np.pi * grid.radius_m**2
    g = density / 1000.0
    for k in range(grid.level_m.size):
        for n in range(LANES):
            run.water_response[k, n] = 0.0
        for i in range(nr):
            share = grid.ring_area_m2[i] / section
            for n in range(LANES):
                u = a[MOISTURE, k * nr + i, n]
                x = u * (1.0 / MOISTURE_STEP)
                j = int(x)
                w = x - j
                psi = potential[j] * (1.0 - w) + potential[j + 1] * w
                air = 1.0 - g * (1.0 / WOOD_CELL_WALL_SPECIFIC_GRAVITY + u)
                stop, full = mycelium.psi_stop_mpa[n], mycelium.psi_full_mpa[n]
                moist = potential_response(psi, stop, full)
                airy = ramp(air, mycelium.air_share_stop[n], mycelium.air_share_full[n])
                run.water_response[k, n] += share * moist * airy


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
def kill_by_heat(
    grid: Grid, a: FloatArray, mycelium: Mycelium, run: Run, basis: FloatArray
) -> None:
    """One hour's heat dose at every face, ring and sector, where it is hot enough to kill.

    Log-linear thermal death: the time to half kill falls tenfold per ``heat_z_k`` (Bigelow
    1921, from memory); zero at or below the temperature at which growth stops.
    """
    nr = grid.ring_area_m2.size
    for n in range(LANES):
        limit = mycelium.temp_max_c[n]
        hottest = max(a[SURFACE_TEMP, 0, n], a[SURFACE_TEMP, 1, n])
        for m in range(MODES):
            hottest += abs(a[MODE_SURFACE, m, n])
        run.watch_h[n] = WATCH_H if hottest > limit else run.watch_h[n] - 1.0
        if run.watch_h[n] <= 0.0:
            run.watch_h[n] = 0.0
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
                        run.hot[n] = 1.0
                        hotter = (temp - mycelium.heat_ref_temp_c[n]) / mycelium.heat_z_k[n]
                        run.heat_dose[face, i, sector, n] += (
                            10.0 ** min(hotter, 6.0) / mycelium.heat_half_kill_h[n]
                        )


@njit(cache=True, error_model="numpy")
def kill_by_drought(grid: Grid, a: FloatArray, mycelium: Mycelium, run: Run) -> None:
    """One day's drought dose at every face and ring, from the wood on both sides."""
    nr = grid.ring_area_m2.size
    for face in range(grid.pieces + 1):
        below, above, weight = face_neighbours(grid, face)
        for i in range(nr):
            for n in range(LANES):
                u = (1.0 - weight) * a[MOISTURE, below * nr + i, n]
                u += weight * a[MOISTURE, above * nr + i, n]
                if a[TEMP, above * nr + i, n] > COLD_TEMP_C:
                    onset = mycelium.drought_onset[n]
                    depth = (onset - u) / (onset - mycelium.drought_full[n])
                    run.drought_dose[face, i, n] += (
                        HOURS_PER_DAY * max(depth, 0.0) / mycelium.drought_half_kill_h[n]
                    )


@njit(cache=True, error_model="numpy", inline="always")
def half_kills(left: float) -> float:
    """Dose that would leave this share; exactly none where only rounding is missing."""
    dose = -np.log2(left)
    return dose if dose > 1e-12 else 0.0


@njit(cache=True, error_model="numpy")
def count_living(grid: Grid, run: Run, stress: FloatArray) -> None:
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
        if run.hot[n] > 0.0:
            run.hot[n] = 0.0
            for face in range(faces):
                for i in range(nr):
                    left = 0.0
                    for sector in range(SECTORS):
                        left += 2.0 ** -min(run.heat_dose[face, i, sector, n], 60.0)
                    run.heat_left[face, i, n] = left / SECTORS
        heat, drought = 0.0, 0.0
        for face in range(faces):
            alive = 0.0
            for i in range(nr):
                share = grid.ring_area_m2[i] / section
                dose = run.drought_dose[face, i, n]
                moist = 1.0 if dose == 0.0 else 2.0 ** -min(dose, 60.0)
                alive += share * run.heat_left[face, i, n] * moist
                heat += share * run.heat_left[face, i, n] / faces
                drought += share * moist / faces
            run.alive[face, n] = alive
        stress[0, n] = half_kills(heat)
        stress[1, n] = half_kills(drought)


@njit(cache=True, error_model="numpy")
def run_fronts(
    grid: Grid,
    a: FloatArray,
    mycelium: Mycelium,
    run: Run,
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
            if run.front_m[front, n] + run.front_m[other, n] >= grid.piece_length_m:
                continue
            way = min(run.front_m[front, n], grid.piece_length_m)
            place = base + (grid.piece_length_m - way if down == 1 else way)
            k = first
            while k < first + levels - 1 and place > grid.level_top_m[k]:
                k += 1
            temp = level_temp[k, n]
            growth = temperature_response(
                temp, mycelium.temp_min_c[n], mycelium.temp_opt_c[n], mycelium.temp_max_c[n]
            )
            over = (temp - mycelium.temp_max_c[n]) / (
                mycelium.heat_ref_temp_c[n] - mycelium.temp_max_c[n]
            )
            stall = run.stall[front, n]
            stall += max(over, 0.0) / HOURS_PER_DAY - stall / mycelium.stall_recovery_h[n]
            run.stall[front, n] = stall if stall > 1e-9 else 0.0
            growth *= run.water_response[k, n]
            if run.ripe_h[front, n] < mycelium.spawn_lag_h[n]:
                run.ripe_h[front, n] += growth
            else:
                living = min(1.0, 2.0 * run.alive[face, n])
                run.front_m[front, n] = way + (
                    mycelium.front_rate_m_h[n] * growth * living * np.exp(-3.0 * stall)
                )
    for n in range(LANES):
        if run.full_hour[n] < 0.0 and colonized_share(grid, run, n) >= complete_share:
            run.full_hour[n] = hours


@njit(cache=True, error_model="numpy")
def colonized_share(grid: Grid, run: Run, lane: int) -> float:
    """Share of the way between spawn faces that the fronts have run, mean over pieces."""
    total = 0.0
    for piece in range(grid.pieces):
        way = run.front_m[2 * piece, lane] + run.front_m[2 * piece + 1, lane]
        total += min(1.0, way / grid.piece_length_m)
    return total / grid.pieces
