"""Water and heat along one line of cells, and ice in it: the implicit step's tridiagonal solves.

Each line is one backward Euler step of ``C x_t = (g x_z)_z`` between cells, its ends as given::

    C_j/dt (x_j - x_j(old)) = g_(j-1) (x_(j-1) - x_j) + g_j (x_(j+1) - x_j) + ends

solved by elimination and back substitution (Thomas), for all cases together.  Water carries heat
``c_w T`` along, at the temperature of the cell that it leaves.  Free water freezes and melts at
0 degC: ``L d(ice) = -(c_dry + c_w u) dT``.
"""

from __future__ import annotations

from climate_risk.compiled import compiled, inlined
from climate_risk.constants import (
    LATENT_HEAT_FUSION_J_KG,
    SECONDS_PER_HOUR,
    WATER_HEAT_CAPACITY_J_KG_K,
)
from climate_risk.log import layout as at
from climate_risk.log.formulas import (
    BOUND_WATER_MAX,
    FREEZING_TEMP_C,
    FloatArray,
    heat_capacity,
)
from climate_risk.log.rows import Row, add_to, alike, greatest, least, load, store


@inlined
def hold_energy(a: FloatArray, first: int, cells: int, density: float, dry_heat: float) -> None:
    """Heat of some cells, before water that moves carries some of it along."""
    for r in range(first, first + cells):
        capacity = heat_capacity(load(a, at.MOISTURE, r), density, dry_heat)
        store(a, at.ENERGY, r, capacity * load(a, at.TEMP, r))


@inlined
def solve_water_line(
    a: FloatArray,
    coupling: int,
    first: int,
    step: int,
    size: FloatArray,
    density: float,
    full: float,
    low: int,
    high: int,
    row: int,
    girth: float,
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
    low, high : int
        Boundaries on which the first and the last cell lie; NOWHERE for none.
    row : int
        The line's row among the cells of these boundaries.
    girth : float
        The last cell's area on its boundary for one unit of the line.
    """
    last, rate, r = size.size - 1, density / SECONDS_PER_HOUR, first
    inward, brought = alike(0.0), alike(0.0)
    if low != at.NOWHERE:
        inward = load(a, at.BOUNDARY_DRYING + low, row)
        brought = inward * load(a, at.SURFACE + low, at.S_TARGET)
    for j in range(last):
        mass, up = rate * size[j], load(a, coupling, r)
        pivot = 1.0 / (mass + inward + up)
        u, share = (mass * load(a, at.MOISTURE, r) + brought) * pivot, up * pivot
        store(a, at.MOISTURE, r, u)
        store(a, at.ELIMINATION, j, share)
        inward, brought = up * (1.0 - share), up * u
        r += step
    mass, whole = rate * size[last], at.SURFACE + high
    pull = girth * load(a, at.BOUNDARY_DRYING + high, row)
    liquid = girth * load(a, at.BOUNDARY_UPTAKE + high, row)
    own = mass + pull + inward
    drive = mass * load(a, at.MOISTURE, r) + pull * load(a, whole, at.S_TARGET) + brought
    shared = 1.0 / (own * (own + liquid))
    wanted = liquid * (full * own - drive) * own * shared
    taken = min(max(wanted, 0.0), girth * load(a, whole, at.S_SUPPLY))
    store(a, at.BOUNDARY_LIQUID + high, row, taken * (1.0 / girth))
    above, there = (drive + taken) * (own + liquid) * shared, load(a, at.TEMP, r)
    store(a, at.MOISTURE, r, above)
    beyond = alike(0.0)
    for j in range(last, 0, -1):
        q, r = r, r - step
        u, here = (
            load(a, at.MOISTURE, r) + load(a, at.ELIMINATION, j - 1) * above,
            load(a, at.TEMP, r),
        )
        flux = load(a, coupling, r) * (u - above)
        carried = max(flux, 0.0) * here + min(flux, 0.0) * there
        change = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[j] * (carried - beyond)
        store(a, at.MOISTURE, r, u)
        add_to(a, at.ENERGY, q, change)
        above, there, beyond = u, here, carried
    change = SECONDS_PER_HOUR * WATER_HEAT_CAPACITY_J_KG_K / size[0] * beyond
    add_to(a, at.ENERGY, first, -change)


@compiled
def eliminate_heat_lines(
    a: FloatArray,
    area_m2: FloatArray,
    level_m: FloatArray,
    density: float,
    dry_heat: float,
    seconds: float,
) -> None:
    """Heat capacities and temperatures after water moved; the hour's lines of heat, eliminated.

    Nothing in the lines across the rings and along the levels changes within an hour, so that a
    step of heat needs no division.  One division serves a cell's temperature and both its lines:
    divisions are what this kernel mostly waits for.

    Parameters
    ----------
    dry_heat : float
        Heat capacity of the dry wood [J/kg/K].
    seconds : float
        Of one step.
    """
    nz, nr, rate = level_m.size, area_m2.size, density / seconds
    for k in range(nz):
        inward = alike(0.0)
        for i in range(nr):
            r, under = k * nr + i, (k - 1) * nr + i
            capacity = heat_capacity(load(a, at.MOISTURE, r), rate, dry_heat)
            out, up = load(a, at.HEAT_R, r), load(a, at.HEAT_Z, r)
            if k > 0:
                down = load(a, at.HEAT_Z, under) * (1.0 - load(a, at.HEAT_NEXT_Z, under))
            else:
                down = load(a, at.BOUNDARY_EXCHANGE + at.GROUND, i)
            across = area_m2[i] * capacity + out + inward
            along = level_m[k] * capacity + up + down
            both = across * along
            shared = 1.0 / (both * capacity)
            pivot_r, pivot_z = along * capacity * shared, across * capacity * shared
            store(a, at.TEMP, r, load(a, at.ENERGY, r) * (1.0 / seconds) * both * shared)
            store(a, at.HEAT_PIVOT_R, r, pivot_r)
            store(a, at.HEAT_PIVOT_Z, r, pivot_z)
            store(a, at.HEAT_NEXT_Z, r, up * pivot_z)
            inward = out * (1.0 - out * pivot_r)


@inlined
def climb(a: FloatArray, k: int, rings: int, i: int, held: Row) -> None:
    """Eliminate one cell, once heat has moved across the rings, from its line up the levels."""
    under = (k - 1) * rings + i
    if k > 0:
        below = load(a, at.HEAT_NEXT_Z, under) * load(a, at.TEMP, under)
    else:
        below = load(a, at.BOUNDARY_DRIVEN + at.GROUND, i)
    store(a, at.TEMP, k * rings + i, held + below)


@compiled
def conduct_heat(
    a: FloatArray,
    area_m2: FloatArray,
    level_m: FloatArray,
    girth_m: float,
    density: float,
    dry_heat: float,
    seconds: float,
) -> bool:
    """Conduct heat for one step, across the rings of each level, then along the levels.

    Along lines eliminated by :func:`eliminate_heat_lines`.  Boundary cells' temperatures are
    added to their means over the hour; those under the bark as they are before heat moves along
    the levels.

    Returns
    -------
    bool
        Whether any cell of any case is cold enough to make ice.
    """
    levels, rings, rate = level_m.size, area_m2.size, density / seconds
    bark, mean, share = at.BOUNDARY_DRIVEN + at.BARK, at.BOUNDARY_TEMP, seconds / SECONDS_PER_HOUR
    coldest = alike(FREEZING_TEMP_C)
    for k in range(levels):
        first, height = k * rings, level_m[k]
        last = first + rings - 1
        capacity = heat_capacity(load(a, at.MOISTURE, first), rate, dry_heat)
        drive = capacity * load(a, at.TEMP, first) * area_m2[0]
        for i in range(1, rings):
            r = first + i
            store(a, at.TEMP, r - 1, drive)
            drive *= load(a, at.HEAT_PIVOT_R, r - 1) * load(a, at.HEAT_R, r - 1)
            capacity = heat_capacity(load(a, at.MOISTURE, r), rate, dry_heat)
            drive += capacity * load(a, at.TEMP, r) * area_m2[i]
        drive += girth_m * load(a, bark, k)
        warm = drive * load(a, at.HEAT_PIVOT_R, last)
        add_to(a, mean + at.BARK, k, share * warm)
        climb(a, k, rings, rings - 1, height * capacity * warm)
        for i in range(rings - 2, -1, -1):
            r = first + i
            warm = load(a, at.HEAT_R, r) * warm + load(a, at.TEMP, r)
            warm *= load(a, at.HEAT_PIVOT_R, r)
            capacity = heat_capacity(load(a, at.MOISTURE, r), rate, dry_heat)
            climb(a, k, rings, i, height * capacity * warm)
    for i in range(rings):
        r = (levels - 1) * rings + i
        drive = load(a, at.TEMP, r) + load(a, at.BOUNDARY_DRIVEN + at.TOP, i)
        warm = drive * load(a, at.HEAT_PIVOT_Z, r)
        store(a, at.TEMP, r, warm)
        add_to(a, mean + at.TOP, i, share * warm)
        coldest = min(coldest, warm)
        for _ in range(levels - 1):
            r -= rings
            warm *= load(a, at.HEAT_NEXT_Z, r)
            warm += load(a, at.HEAT_PIVOT_Z, r) * load(a, at.TEMP, r)
            store(a, at.TEMP, r, warm)
            coldest = min(coldest, warm)
        add_to(a, mean + at.GROUND, i, share * warm)
    return least(coldest) < FREEZING_TEMP_C


@compiled
def holds_ice(a: FloatArray, cells: int) -> bool:
    """Whether any cell of any case holds ice."""
    most = load(a, at.ICE, 0)
    for r in range(1, cells):
        most = max(most, load(a, at.ICE, r))
    return greatest(most) > 0.0


@compiled
def settle_ice(a: FloatArray, cells: int, dry_heat: float) -> None:
    """Freeze or melt free water at 0 degC; each cell's own temperature pays for it."""
    for r in range(cells):
        u, before, temp = load(a, at.MOISTURE, r), load(a, at.ICE, r), load(a, at.TEMP, r)
        heat = heat_capacity(u, 1.0 / LATENT_HEAT_FUSION_J_KG, dry_heat)
        wanted = before + (FREEZING_TEMP_C - temp) * heat
        ice = min(max(wanted, 0.0), max(u - BOUND_WATER_MAX, 0.0))
        store(a, at.TEMP, r, temp + (ice - before) / heat)
        store(a, at.ICE, r, ice)
