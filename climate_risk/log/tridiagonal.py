"""Water and heat along one line of cells, and ice in it: the implicit step's tridiagonal solves.

Each line is one backward Euler step of ``C x_t = (g x_z)_z`` between cells, its ends as given::

    C_j/dt (x_j - x_j(old)) = g_(j-1) (x_(j-1) - x_j) + g_j (x_(j+1) - x_j) + ends

solved by elimination and back substitution (Thomas), for all cases together.  Water carries heat
``c_w T`` along, at the temperature of the cell that it leaves.  Free water freezes and melts at
0 degC: ``L d(ice) = -(c_dry + c_w u) dT``.

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
from climate_risk.log import layout as at
from climate_risk.log.formulas import BOUND_WATER_MAX, FREEZING_TEMP_C, FloatArray


@compiled
def hold_energy(a: FloatArray, first: int, cells: int, density: float, dry: float) -> None:
    """Heat of a line's cells, before water that moves carries some of it along."""
    for r in range(first, first + cells):
        for n in range(a.shape[2]):
            capacity = density * (dry + WATER_HEAT_CAPACITY_J_KG_K * a[at.MOISTURE, r, n])
            a[at.ENERGY, r, n] = capacity * a[at.TEMP, r, n]


@compiled
def solve_water_line(
    a: FloatArray,
    coupling: int,
    first: int,
    step: int,
    size: FloatArray,
    density: float,
    full: float,
) -> None:
    """Move water along one line of cells, and its heat with it.

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
    for n in range(at.CASES):
        up = a[coupling, r, n]
        pivot = 1.0 / (mass + a[at.LINE_END, at.T_LOW, n] + up)
        a[at.ELIMINATION, first, n] = up * pivot
        held = mass * a[at.MOISTURE, r, n]
        a[at.MOISTURE, r, n] = (held + a[at.LINE_END, at.T_LOW_SOURCE, n]) * pivot
    for j in range(1, cells - 1):
        mass, q, r = rate * size[j], r, r + step
        for n in range(at.CASES):
            down, up = a[coupling, q, n], a[coupling, r, n]
            pivot = 1.0 / (mass + up + down * (1.0 - a[at.ELIMINATION, q, n]))
            a[at.ELIMINATION, r, n] = up * pivot
            drive = mass * a[at.MOISTURE, r, n] + down * a[at.MOISTURE, q, n]
            a[at.MOISTURE, r, n] = drive * pivot
    last = cells - 1
    mass, q, r = rate * size[last], r, r + step
    for n in range(at.CASES):
        down, liquid = a[coupling, q, n], a[at.LINE_END, at.T_LIQUID, n]
        own = mass + a[at.LINE_END, at.T_HIGH, n] + down * (1.0 - a[at.ELIMINATION, q, n])
        drive = down * a[at.MOISTURE, q, n] + a[at.LINE_END, at.T_HIGH_SOURCE, n]
        drive += mass * a[at.MOISTURE, r, n]
        wanted = liquid * (full * own - drive) / (own + liquid)
        taken = min(max(wanted, 0.0), a[at.LINE_END, at.T_SUPPLY, n])
        a[at.LINE_END, at.T_TAKEN, n] = taken
        a[at.MOISTURE, r, n] = (drive + taken) / own
    for n in range(a.shape[2]):
        a[at.CARRIED, r, n] = 0.0
    for j in range(last - 1, -1, -1):
        q, r = r, r - step
        carried = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[j + 1]
        for n in range(a.shape[2]):
            a[at.MOISTURE, r, n] += a[at.ELIMINATION, r, n] * a[at.MOISTURE, q, n]
        for n in range(at.CASES):
            here, there = a[at.TEMP, r, n], a[at.TEMP, q, n]
            flux = a[coupling, r, n] * (a[at.MOISTURE, r, n] - a[at.MOISTURE, q, n])
            a[at.CARRIED, r, n] = flux * (here if flux > 0.0 else there)
        for n in range(a.shape[2]):
            a[at.ENERGY, q, n] += carried * (a[at.CARRIED, r, n] - a[at.CARRIED, q, n])
    for n in range(a.shape[2]):
        carried = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[0]
        a[at.ENERGY, first, n] -= carried * a[at.CARRIED, first, n]


@compiled
def hold_moved(a: FloatArray, first: int, area: FloatArray, seconds: float) -> None:
    """Heat of one level's cells per second and metre of height, after water has moved."""
    for i in range(area.size):
        r, share = first + i, area[i] / seconds
        for n in range(a.shape[2]):
            a[at.HELD_RATE, r, n] = share * a[at.ENERGY, r, n]


@compiled
def hold_heat(
    a: FloatArray,
    first: int,
    step: int,
    size: FloatArray,
    density: float,
    dry_heat: float,
    seconds: float,
) -> None:
    """Heat of one line's cells per second, by their temperatures."""
    rate = density / seconds
    dry, wet = dry_heat * rate, WATER_HEAT_CAPACITY_J_KG_K * rate
    for j in range(size.size):
        r = first + j * step
        for n in range(a.shape[2]):
            mass = size[j] * (dry + wet * a[at.MOISTURE, r, n])
            a[at.HELD_RATE, r, n] = mass * a[at.TEMP, r, n]


@compiled
def solve_heat_line(
    a: FloatArray,
    coupling: int,
    first: int,
    step: int,
    size: FloatArray,
    density: float,
    dry_heat: float,
    seconds: float,
) -> None:
    """Conduct the heat of ``HELD_RATE`` along one line for some seconds.

    Other arguments as in :func:`solve_water_line`.
    """
    cells = size.size
    rate = density / seconds
    dry, wet = dry_heat * rate, WATER_HEAT_CAPACITY_J_KG_K * rate
    r = first
    for n in range(at.CASES):
        up, mass = a[coupling, r, n], size[0] * (dry + wet * a[at.MOISTURE, r, n])
        pivot = 1.0 / (mass + a[at.LINE_END, at.T_LOW, n] + up)
        a[at.ELIMINATION, r, n] = up * pivot
        drive = a[at.HELD_RATE, r, n] + a[at.LINE_END, at.T_LOW_SOURCE, n]
        a[at.TEMP, r, n] = drive * pivot
    for j in range(1, cells - 1):
        q, r = r, r + step
        for n in range(at.CASES):
            down, up = a[coupling, q, n], a[coupling, r, n]
            mass = size[j] * (dry + wet * a[at.MOISTURE, r, n])
            pivot = 1.0 / (mass + up + down * (1.0 - a[at.ELIMINATION, q, n]))
            a[at.ELIMINATION, r, n] = up * pivot
            a[at.TEMP, r, n] = (a[at.HELD_RATE, r, n] + down * a[at.TEMP, q, n]) * pivot
    q, r = r, r + step
    for n in range(at.CASES):
        down, mass = a[coupling, q, n], size[cells - 1] * (dry + wet * a[at.MOISTURE, r, n])
        own = mass + a[at.LINE_END, at.T_HIGH, n] + down * (1.0 - a[at.ELIMINATION, q, n])
        drive = down * a[at.TEMP, q, n] + a[at.LINE_END, at.T_HIGH_SOURCE, n]
        a[at.TEMP, r, n] = (a[at.HELD_RATE, r, n] + drive) * (1.0 / own)
    for _ in range(cells - 1):
        q, r = r, r - step
        for n in range(a.shape[2]):
            a[at.TEMP, r, n] += a[at.ELIMINATION, r, n] * a[at.TEMP, q, n]


@compiled
def settle_ice(a: FloatArray, first: int, step: int, cells: int, dry_heat: float) -> None:
    """Freeze or melt free water at 0 degC; each cell's own temperature pays for it."""
    dry = dry_heat / LATENT_HEAT_FUSION_J_KG
    wet = WATER_HEAT_CAPACITY_J_KG_K / LATENT_HEAT_FUSION_J_KG
    for j in range(cells):
        r = first + j * step
        cold = 0
        for n in range(at.CASES):
            temp, ice = a[at.TEMP, r, n], a[at.ICE, r, n]
            cold += (temp < FREEZING_TEMP_C) | (ice > 0.0)
        if cold == 0:
            continue
        for n in range(at.CASES):
            u, before, temp = a[at.MOISTURE, r, n], a[at.ICE, r, n], a[at.TEMP, r, n]
            heat = dry + wet * u
            wanted = before + (FREEZING_TEMP_C - temp) * heat
            ice = min(max(wanted, 0.0), max(u - BOUND_WATER_MAX, 0.0))
            a[at.TEMP, r, n] = temp + (ice - before) / heat
            a[at.ICE, r, n] = ice
