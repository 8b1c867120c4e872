"""Water and heat along one line of cells, and ice in it: the sweeps of the implicit step.

Loops whose body is small count to ``a.shape[2]``: were their length a constant, the compiler
would unroll them before it turns loops into vectors, and would end with neither.
"""

from __future__ import annotations

from climate_risk.compiled import compiled
from climate_risk.constants import (
    LATENT_HEAT_FUSION_J_KG,
    SECONDS_PER_HOUR,
    WATER_HEAT_CAPACITY_J_KG_K,
)
from climate_risk.log.state import *
from climate_risk.log.uptake import BOUND_WATER_MAX, FREEZING_TEMP_C


@compiled
def hold_energy(a: FloatArray, first: int, cells: int, density: float, dry: float) -> None:
    """Heat of a line's cells, before water that moves carries some of it along."""
    for r in range(first, first + cells):
        for n in range(a.shape[2]):
            capacity = density * (dry + WATER_HEAT_CAPACITY_J_KG_K * a[MOISTURE, r, n])
            a[ENERGY, r, n] = capacity * a[TEMP, r, n]


@compiled
def water_along(
    a: FloatArray,
    coupling: int,
    first: int,
    step: int,
    size: FloatArray,
    density: float,
    full: float,
) -> None:
    """Move water along one line of cells, and its heat with it (Thomas algorithm, all lanes).

    Liquid enters the last cell as fast as the wood takes it up, or as the supply lasts: whichever
    is less, by the moisture at the hour's end.

    Parameters
    ----------
    coupling : int
        WATER_R or WATER_Z.
    first, step : int
        Row of the line's first cell, rows from one cell to the next.
    size : (cells,) array
        Ring areas [m2] or level heights [m].
    full : float
        Moisture to which liquid can wet the wood.
    """
    cells = size.size
    rate = density / SECONDS_PER_HOUR
    mass, r = rate * size[0], first
    for n in range(LANES):
        up = a[coupling, r, n]
        pivot = 1.0 / (mass + a[ENDS, E_LOW, n] + up)
        a[SWEEP, first, n] = up * pivot
        a[MOISTURE, r, n] = (mass * a[MOISTURE, r, n] + a[ENDS, E_LOW_DRIVE, n]) * pivot
    for j in range(1, cells - 1):
        mass, q, r = rate * size[j], r, r + step
        for n in range(LANES):
            down, up = a[coupling, q, n], a[coupling, r, n]
            pivot = 1.0 / (mass + up + down * (1.0 - a[SWEEP, q, n]))
            a[SWEEP, r, n] = up * pivot
            a[MOISTURE, r, n] = (mass * a[MOISTURE, r, n] + down * a[MOISTURE, q, n]) * pivot
    last = cells - 1
    mass, q, r = rate * size[last], r, r + step
    for n in range(LANES):
        down, feed = a[coupling, q, n], a[ENDS, E_FEED, n]
        own = mass + a[ENDS, E_HIGH, n] + down * (1.0 - a[SWEEP, q, n])
        drive = down * a[MOISTURE, q, n] + a[ENDS, E_HIGH_DRIVE, n] + mass * a[MOISTURE, r, n]
        wanted = feed * (full * own - drive) / (own + feed)
        taken = min(max(wanted, 0.0), a[ENDS, E_SUPPLY, n])
        a[ENDS, E_TAKEN, n] = taken
        a[MOISTURE, r, n] = (drive + taken) / own
    for n in range(a.shape[2]):
        a[SWEEP, r, n] = 0.0
    for j in range(last - 1, -1, -1):
        q, r = r, r - step
        carried = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[j + 1]
        for n in range(a.shape[2]):
            a[MOISTURE, r, n] += a[SWEEP, r, n] * a[MOISTURE, q, n]
        for n in range(LANES):
            here, there = a[TEMP, r, n], a[TEMP, q, n]
            flux = a[coupling, r, n] * (a[MOISTURE, r, n] - a[MOISTURE, q, n])
            a[SWEEP, r, n] = flux * (here if flux > 0.0 else there)
        for n in range(a.shape[2]):
            a[ENERGY, q, n] += carried * (a[SWEEP, r, n] - a[SWEEP, q, n])
    for n in range(a.shape[2]):
        carried = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[0]
        a[ENERGY, first, n] -= carried * a[SWEEP, first, n]


@compiled
def heat_along(
    a: FloatArray,
    coupling: int,
    first: int,
    step: int,
    size: FloatArray,
    density: float,
    dry_heat: float,
) -> None:
    """Conduct heat along one line of cells; arguments as in :func:`water_along`.

    Across the rings it sets out from :func:`hold_across`, along the levels from temperatures.
    """
    cells = size.size
    rate = density / SECONDS_PER_HOUR
    dry, wet = dry_heat * rate, WATER_HEAT_CAPACITY_J_KG_K * rate
    # The heat a cell holds is (ready + raw * mass) times what TEMP has in it.
    ready, raw = (1.0, 0.0) if coupling == HEAT_R else (0.0, 1.0)
    r = first
    for n in range(LANES):
        up, mass = a[coupling, r, n], size[0] * (dry + wet * a[MOISTURE, r, n])
        pivot = 1.0 / (mass + a[ENDS, E_LOW, n] + up)
        a[SWEEP, r, n] = up * pivot
        held = (ready + raw * mass) * a[TEMP, r, n]
        a[TEMP, r, n] = (held + a[ENDS, E_LOW_DRIVE, n]) * pivot
    for j in range(1, cells - 1):
        q, r = r, r + step
        for n in range(LANES):
            down, up = a[coupling, q, n], a[coupling, r, n]
            mass = size[j] * (dry + wet * a[MOISTURE, r, n])
            pivot = 1.0 / (mass + up + down * (1.0 - a[SWEEP, q, n]))
            a[SWEEP, r, n] = up * pivot
            held = (ready + raw * mass) * a[TEMP, r, n]
            a[TEMP, r, n] = (held + down * a[TEMP, q, n]) * pivot
    q, r = r, r + step
    for n in range(LANES):
        down, mass = a[coupling, q, n], size[cells - 1] * (dry + wet * a[MOISTURE, r, n])
        pivot = 1.0 / (mass + a[ENDS, E_HIGH, n] + down * (1.0 - a[SWEEP, q, n]))
        drive = down * a[TEMP, q, n] + a[ENDS, E_HIGH_DRIVE, n]
        a[TEMP, r, n] = ((ready + raw * mass) * a[TEMP, r, n] + drive) * pivot
    for _ in range(cells - 1):
        q, r = r, r - step
        for n in range(a.shape[2]):
            a[TEMP, r, n] += a[SWEEP, r, n] * a[TEMP, q, n]


@compiled
def hold_across(a: FloatArray, first: int, area: FloatArray) -> None:
    """Heat of one level's cells per hour and metre of height, for :func:`heat_along`."""
    for i in range(area.size):
        r, share = first + i, area[i] / SECONDS_PER_HOUR
        for n in range(a.shape[2]):
            a[TEMP, r, n] = share * a[ENERGY, r, n]


@compiled
def settle_ice(a: FloatArray, first: int, step: int, cells: int, dry_heat: float) -> None:
    """Freeze or melt free water at 0 degC; each cell's own temperature pays for it."""
    dry = dry_heat / LATENT_HEAT_FUSION_J_KG
    wet = WATER_HEAT_CAPACITY_J_KG_K / LATENT_HEAT_FUSION_J_KG
    for j in range(cells):
        r = first + j * step
        cold = 0
        for n in range(LANES):
            temp, ice = a[TEMP, r, n], a[ICE, r, n]
            cold += (temp < FREEZING_TEMP_C) | (ice > 0.0)
        if cold == 0:
            continue
        for n in range(LANES):
            u, before, temp = a[MOISTURE, r, n], a[ICE, r, n], a[TEMP, r, n]
            heat = dry + wet * u
            wanted = before + (FREEZING_TEMP_C - temp) * heat
            ice = min(max(wanted, 0.0), max(u - BOUND_WATER_MAX, 0.0))
            a[TEMP, r, n] = temp + (ice - before) / heat
            a[ICE, r, n] = ice
