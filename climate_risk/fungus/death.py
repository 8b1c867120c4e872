"""Heat and drought that kill the mycelium at its spawn interfaces, and what is left of it.

See :mod:`climate_risk.fungus.kernel` for the equations.
"""

from __future__ import annotations

import numpy as np

from climate_risk.compiled import compiled
from climate_risk.constants import HOURS_PER_DAY
from climate_risk.fungus.formulas import (
    drought_kills,
    dry_protection,
    half_kills,
    heat_kill_rate,
    warmth_of_death,
)
from climate_risk.fungus.kernel import (
    ALIVE,
    DROUGHT_DOSE,
    HEAT_DOSE,
    HEAT_LEFT,
    HOT,
    SPAWN_DOSE,
    WATCH_LEFT_H,
    M,
    has_spawn,
    has_taken,
    interface_neighbours,
)
from climate_risk.log import layout as at
from climate_risk.log.formulas import FloatArray
from climate_risk.log.geometry import Grid
from climate_risk.log.rows import choose, greatest, load, load_row, store

COLD_TEMP_C = 0.1
"""Cold or frozen wood does not kill by drought (common practice, no source); freezing wood stands
at 0 degC give or take rounding."""

WATCH_H = 36.0
"""Heat enters by the surface and is gone from the wood in less time than this."""


@compiled
def kill_by_heat(
    grid: Grid, a: FloatArray, parameters: FloatArray, mycelium: FloatArray, basis: FloatArray
) -> None:
    """One hour's heat dose at every interface, ring and sector, where it is hot enough to kill.

    See :func:`heat_kill_rate`; zero at or below the temperature at which growth stops.
    """
    nr = grid.ring_area_m2.size
    hottest = max(load(a, at.SURFACE_TEMP, at.BARK), load(a, at.SURFACE_TEMP, at.TOP))
    for m in range(at.MODES):
        hottest += abs(load(a, at.MODE_SURFACE, m))
    over = hottest - load_row(parameters, M.fungus_temp_max_c)
    left = choose(over, WATCH_H, max(load(mycelium, WATCH_LEFT_H, 0) - 1.0, 0.0))
    store(mycelium, WATCH_LEFT_H, 0, left)
    if greatest(left) == 0.0:
        return
    for n in range(at.CASES):
        if mycelium[WATCH_LEFT_H, 0, n] == 0.0:
            continue
        limit = parameters[M.fungus_temp_max_c, n]
        for i in range(nr):
            swing = 0.0
            for m in range(at.MODES):
                swing += abs(a[at.MODE_TEMP, m * nr + i, n])
            for interface in range(grid.pieces + 1):
                below, above, weight = interface_neighbours(grid, interface)
                mean = (1.0 - weight) * a[at.TEMP, below * nr + i, n]
                mean += weight * a[at.TEMP, above * nr + i, n]
                if mean + swing <= limit:
                    continue
                for sector in range(at.SECTORS):
                    temp = mean
                    for m in range(at.MODES):
                        temp += basis[m, sector] * a[at.MODE_TEMP, m * nr + i, n]
                    if temp > limit:
                        mycelium[HOT, 0, n] = 1.0
                        u = (1.0 - weight) * a[at.MOISTURE, below * nr + i, n]
                        u += weight * a[at.MOISTURE, above * nr + i, n]
                        shift = dry_protection(u, parameters[M.fungus_heat_dry_shift_k, n])
                        mycelium[HEAT_DOSE + sector, interface * nr + i, n] += heat_kill_rate(
                            temp,
                            parameters[M.fungus_heat_ref_temp_c, n] + shift,
                            parameters[M.fungus_heat_z_k, n],
                            parameters[M.fungus_heat_half_kill_h, n],
                        )


@compiled
def kill_by_drought(
    grid: Grid, a: FloatArray, parameters: FloatArray, mycelium: FloatArray
) -> None:
    """One day's drought dose at every interface and ring.

    From the spawn as long as the mycelium lives there alone, then from the wood on both sides.
    """
    nr = grid.ring_area_m2.size
    for interface in range(grid.pieces + 1):
        below, above, weight = interface_neighbours(grid, interface)
        spawn = has_spawn(grid, interface)
        for n in range(at.CASES):
            waits = spawn and not has_taken(grid, parameters, mycelium, interface, n)
            half = parameters[M.spawn_half_kill_h if waits else M.drought_half_kill_h, n]
            onset, full = parameters[M.drought_onset, n], parameters[M.drought_full, n]
            for i in range(nr):
                temp = a[at.TEMP, above * nr + i, n]
                if temp <= COLD_TEMP_C:
                    continue
                u = (1.0 - weight) * a[at.MOISTURE, below * nr + i, n]
                u += weight * a[at.MOISTURE, above * nr + i, n]
                u = a[at.SPAWN_MOISTURE, interface * nr + i, n] if waits else u
                if u >= onset:
                    continue
                kills = drought_kills(HOURS_PER_DAY, u, onset, full, half)
                kills *= warmth_of_death(temp, parameters[M.fungus_drought_q10, n])
                mycelium[DROUGHT_DOSE, interface * nr + i, n] += kills
                if waits:
                    mycelium[SPAWN_DOSE, interface * nr + i, n] += kills


@compiled
def count_living(grid: Grid, mycelium: FloatArray, stress: FloatArray) -> None:
    """Living share of each interface, and the stack's stress by cause, at the end of a day.

    A interface's living share is the mean over its area of what heat and drought left; a stress is
    the dose of half-kills that would leave the mean share: 1 = half the mycelium dead.

    Parameters
    ----------
    stress : (3, CASES) array
        Filled: heat, drought, and of drought the part before the front had leapt off.
    """
    nr = grid.ring_area_m2.size
    section = np.pi * grid.radius_m**2
    interfaces = grid.pieces + 1
    for n in range(at.CASES):
        if mycelium[HOT, 0, n] > 0.0:
            mycelium[HOT, 0, n] = 0.0
            for interface in range(interfaces):
                for i in range(nr):
                    left = 0.0
                    for sector in range(at.SECTORS):
                        left += 2.0 ** -min(
                            mycelium[HEAT_DOSE + sector, interface * nr + i, n], 60.0
                        )
                    mycelium[HEAT_LEFT, interface * nr + i, n] = left / at.SECTORS
        heat, drought, spawn = 1.0, 1.0, 1.0
        for interface in range(interfaces):
            alive = 1.0
            for i in range(nr):
                share = grid.ring_area_m2[i] / section
                dose = mycelium[DROUGHT_DOSE, interface * nr + i, n]
                moist = 1.0 if dose == 0.0 else 2.0 ** -min(dose, 60.0)
                cool = mycelium[HEAT_LEFT, interface * nr + i, n]
                alive -= share * (1.0 - cool * moist)
                heat -= share * (1.0 - cool) / interfaces
                drought -= share * (1.0 - moist) / interfaces
                dose = mycelium[SPAWN_DOSE, interface * nr + i, n]
                moist = 1.0 if dose == 0.0 else 2.0 ** -min(dose, 60.0)
                spawn -= share * (1.0 - moist) / interfaces
            mycelium[ALIVE, interface, n] = max(alive, 0.0)
        stress[0, n] = half_kills(heat)
        stress[1, n] = half_kills(drought)
        stress[2, n] = half_kills(spawn)
