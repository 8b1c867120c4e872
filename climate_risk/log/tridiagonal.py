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

from numba import prange

from climate_risk.compiled import compiled
from climate_risk.constants import (
    LATENT_HEAT_FUSION_J_KG,
    SECONDS_PER_HOUR,
    WATER_HEAT_CAPACITY_J_KG_K,
)
from climate_risk.log import layout as at
from climate_risk.log.formulas import BOUND_WATER_MAX, FREEZING_TEMP_C, FloatArray


@compiled
def hold_energy(a: FloatArray, width: int, density: float, dry: float) -> None:
    """Heat of all cells, before water that moves carries some of it along.

    Parameters
    ----------
    width : int
        Cells times cases: rows of a term lie end to end, so that one loop may run through many.
    """
    for n in prange(width):
        capacity = density * (dry + WATER_HEAT_CAPACITY_J_KG_K * a[at.MOISTURE, 0, n])
        a[at.ENERGY, 0, n] = capacity * a[at.TEMP, 0, n]


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
    for n in prange(at.CASES):
        up = a[coupling, r, n]
        pivot = 1.0 / (mass + a[at.LINE_END, at.T_LOW, n] + up)
        a[at.ELIMINATION, first, n] = up * pivot
        held = mass * a[at.MOISTURE, r, n]
        a[at.MOISTURE, r, n] = (held + a[at.LINE_END, at.T_LOW_SOURCE, n]) * pivot
    for j in range(1, cells - 1):
        mass, q, r = rate * size[j], r, r + step
        for n in prange(at.CASES):
            down, up = a[coupling, q, n], a[coupling, r, n]
            pivot = 1.0 / (mass + up + down * (1.0 - a[at.ELIMINATION, q, n]))
            a[at.ELIMINATION, r, n] = up * pivot
            drive = mass * a[at.MOISTURE, r, n] + down * a[at.MOISTURE, q, n]
            a[at.MOISTURE, r, n] = drive * pivot
    last = cells - 1
    mass, q, r = rate * size[last], r, r + step
    for n in prange(at.CASES):
        down, liquid = a[coupling, q, n], a[at.LINE_END, at.T_LIQUID, n]
        own = mass + a[at.LINE_END, at.T_HIGH, n] + down * (1.0 - a[at.ELIMINATION, q, n])
        drive = down * a[at.MOISTURE, q, n] + a[at.LINE_END, at.T_HIGH_SOURCE, n]
        drive += mass * a[at.MOISTURE, r, n]
        wanted = liquid * (full * own - drive) / (own + liquid)
        taken = min(max(wanted, 0.0), a[at.LINE_END, at.T_SUPPLY, n])
        a[at.LINE_END, at.T_TAKEN, n] = taken
        a[at.MOISTURE, r, n] = (drive + taken) / own
        a[at.CARRIED, r, n] = 0.0
    for j in range(last - 1, -1, -1):
        q, r = r, r - step
        carried = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[j + 1]
        for n in prange(at.CASES):
            a[at.MOISTURE, r, n] += a[at.ELIMINATION, r, n] * a[at.MOISTURE, q, n]
            here, there = a[at.TEMP, r, n], a[at.TEMP, q, n]
            flux = a[coupling, r, n] * (a[at.MOISTURE, r, n] - a[at.MOISTURE, q, n])
            a[at.CARRIED, r, n] = flux * (here if flux > 0.0 else there)
            a[at.ENERGY, q, n] += carried * (a[at.CARRIED, r, n] - a[at.CARRIED, q, n])
    for n in prange(at.CASES):
        carried = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[0]
        a[at.ENERGY, first, n] -= carried * a[at.CARRIED, first, n]


@compiled
def hold_heat(a: FloatArray, width: int, density: float, dry_heat: float, seconds: float) -> None:
    """Heat capacities of all cells for one hour's steps, and temperatures after water moved.

    Parameters
    ----------
    width : int
        See :func:`hold_energy`.
    seconds : float
        Of one step.
    """
    rate = density / seconds
    dry, wet = dry_heat * rate, WATER_HEAT_CAPACITY_J_KG_K * rate
    for n in prange(width):
        a[at.CAPACITY_RATE, 0, n] = dry + wet * a[at.MOISTURE, 0, n]
        a[at.TEMP, 0, n] = a[at.ENERGY, 0, n] / (seconds * a[at.CAPACITY_RATE, 0, n])


@compiled
def weigh_heat_lines(
    a: FloatArray, line: int, lines: int, apart: int, step: int, width: int, size: FloatArray
) -> None:
    """Lay the heat capacities of lines' cells where their ends are then joined.

    Arguments as in :func:`eliminate_heat_lines`.
    """
    for first in range(0, lines * apart, apart):
        for j in range(size.size):
            r, whole = first + j * step, size[j]
            for n in prange(width):
                a[line, r, n] = whole * a[at.CAPACITY_RATE, r, n]


@compiled
def eliminate_heat_lines(
    a: FloatArray,
    line: int,
    coupling: int,
    lines: int,
    apart: int,
    step: int,
    width: int,
    size: FloatArray,
) -> None:
    """Eliminate the equations of lines of cells, one after the other or side by side.

    Nothing in them changes within an hour, so that a step of heat needs no division.

    Parameters
    ----------
    line : int
        HEAT_LINES_R or HEAT_LINES_Z; its own term holds what draws on the cell but its
        neighbours: its heat capacity, and at the ends what lies outside.
    coupling : int
        HEAT_R or HEAT_Z; 0 beyond the last cell.
    lines, apart, step : int
        How many lines, rows from the first cell of one to that of the next, rows from one cell
        to the next.
    width : int
        Numbers side by side: cases, or cases of more than one row.
    """
    own, before, after = line + at.K_OWN, line + at.K_BELOW, line + at.K_ABOVE
    for first in range(0, lines * apart, apart):
        for j in range(size.size):
            r, q, whole = first + j * step, first + (j - 1) * step, size[j]
            if j > 0:
                for n in prange(width):
                    rest = a[own, r, n] + a[coupling, r, n]
                    rest += a[coupling, q, n] * (1.0 - a[after, q, n])
                    pivot = 1.0 / rest
                    a[after, r, n] = a[coupling, r, n] * pivot
                    a[before, r, n] = a[coupling, q, n] * pivot
                    a[own, r, n] = pivot * (whole * a[at.CAPACITY_RATE, r, n])
            else:
                for n in prange(width):
                    pivot = 1.0 / (a[own, r, n] + a[coupling, r, n])
                    a[after, r, n] = a[coupling, r, n] * pivot
                    a[own, r, n] = pivot * (whole * a[at.CAPACITY_RATE, r, n])


@compiled
def conduct_lines(
    a: FloatArray, line: int, lines: int, apart: int, step: int, width: int, cells: int
) -> None:
    """Conduct heat for one step along lines eliminated by :func:`eliminate_heat_lines`."""
    own, before, after = line + at.K_OWN, line + at.K_BELOW, line + at.K_ABOVE
    for first in range(0, lines * apart, apart):
        for n in prange(width):
            a[at.TEMP, first, n] *= a[own, first, n]
        for j in range(1, cells):
            r, q = first + j * step, first + (j - 1) * step
            for n in prange(width):
                kept = a[own, r, n] * a[at.TEMP, r, n]
                a[at.TEMP, r, n] = kept + a[before, r, n] * a[at.TEMP, q, n]
        for j in range(cells - 2, -1, -1):
            r, q = first + j * step, first + (j + 1) * step
            for n in prange(width):
                a[at.TEMP, r, n] += a[after, r, n] * a[at.TEMP, q, n]


@compiled
def warm_ends(a: FloatArray, boundary: int, rows: int, cell: int, step: int) -> None:
    """Give boundary cells what one step's outside brings, but for what their own warmth loses.

    Parameters
    ----------
    rows, cell, step : int
        How many cells, the row of the first, rows from one to the next.
    """
    warming = at.BOUNDARY_WARMING + boundary
    for row in range(rows):
        r = cell + row * step
        for n in prange(at.CASES):
            a[at.TEMP, r, n] += a[warming, row, n]


@compiled
def note_ends(a: FloatArray, boundary: int, rows: int, cell: int, step: int, share: float) -> None:
    """Add one step's temperature of boundary cells to their mean over the hour.

    Other arguments as in :func:`warm_ends`.
    """
    mean = at.BOUNDARY_TEMP + boundary
    for row in range(rows):
        r = cell + row * step
        for n in prange(at.CASES):
            a[mean, row, n] += share * a[at.TEMP, r, n]


@compiled
def is_frosty(a: FloatArray, width: int) -> bool:
    """Whether any cell of any case holds ice or is cold enough to make some."""
    frosty = 0
    for n in prange(width):
        frosty += (a[at.TEMP, 0, n] < FREEZING_TEMP_C) | (a[at.ICE, 0, n] > 0.0)
    return frosty > 0


@compiled
def settle_ice(a: FloatArray, width: int, dry_heat: float) -> None:
    """Freeze or melt free water at 0 degC; each cell's own temperature pays for it."""
    dry = dry_heat / LATENT_HEAT_FUSION_J_KG
    wet = WATER_HEAT_CAPACITY_J_KG_K / LATENT_HEAT_FUSION_J_KG
    for n in prange(width):
        u, before, temp = a[at.MOISTURE, 0, n], a[at.ICE, 0, n], a[at.TEMP, 0, n]
        heat = dry + wet * u
        wanted = before + (FREEZING_TEMP_C - temp) * heat
        ice = min(max(wanted, 0.0), max(u - BOUND_WATER_MAX, 0.0))
        a[at.TEMP, 0, n] = temp + (ice - before) / heat
        a[at.ICE, 0, n] = ice
