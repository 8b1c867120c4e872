"""Liquid from a wet boundary into the wood.

``flux = min(g (u_full - u), supply)``: conductance ``g`` times the moisture that is missing, as
long as there is water on the surface.  On end grain ``g = rho D_uptake / d`` with the half level
``d``, and the levels beneath are joined by the same diffusivity, so that an hour's uptake follows
the square-root law of ``u_t = D u_zz``.
"""

from __future__ import annotations

from climate_risk.compiled import compiled
from climate_risk.log import layout as at
from climate_risk.log.formulas import FloatArray, thawed_share
from climate_risk.log.parameters import P
from climate_risk.log.rows import choose, greatest, load, store


@compiled
def is_dry(a: FloatArray, boundary: int, rows: int) -> bool:
    """Whether no case has water or dew on a boundary; then its cells take up none: most hours."""
    whole = at.SURFACE + boundary
    wet = max(load(a, whole, at.S_SUPPLY), -load(a, whole, at.S_EVAPORATION))
    dry = greatest(wet) <= 0.0
    if dry:
        for row in range(rows):
            store(a, at.BOUNDARY_UPTAKE + boundary, row, 0.0)
    return dry


@compiled
def take_up(a: FloatArray, boundary: int, row: int, cell: int, full: float) -> None:
    """Conductance of liquid from a wet boundary into a cell that has room and is not frozen.

    Surface water keeps the wood beneath from drying, and what it feeds spares the wood as much
    vapour; dew takes all the vapour there is.

    Parameters
    ----------
    full : float
        Moisture to which liquid can wet the wood.
    """
    whole, u = at.SURFACE + boundary, load(a, at.MOISTURE, cell)
    supply, room = load(a, whole, at.S_SUPPLY), full - u
    thawed = thawed_share(load(a, at.TEMP, cell), load(a, at.ICE, cell), u)
    uptake = choose(supply, choose(room, load(a, whole, at.S_UPTAKE) * thawed, 0.0), 0.0)
    out = load(a, at.BOUNDARY_DRYING + boundary, row)
    lack = (load(a, whole, at.S_TARGET) - u) * out
    fed = min(uptake * room, supply)
    spared = choose(lack, min(fed / max(lack, 1e-30), 1.0), load(a, whole, at.S_WET))
    dew = -load(a, whole, at.S_EVAPORATION)
    store(a, at.BOUNDARY_UPTAKE + boundary, row, uptake)
    store(a, at.BOUNDARY_DRYING + boundary, row, choose(dew, 0.0, out * (1.0 - spared)))


@compiled
def soak(
    a: FloatArray, level_m: FloatArray, first: int, ring: int, rings: int, density: float
) -> None:
    """Let water on the top run down a ring of the top slice at the measured uptake diffusivity.

    Dry wood passes next to no water until it is wet: conductances of the hour before would keep
    the hour's water out.

    Parameters
    ----------
    first : int
        Lowest level of the slice.
    """
    supply = load(a, at.SURFACE + at.TOP, at.S_SUPPLY)
    uptake = load(a, at.PARAMETER, P.wood_uptake_diffusivity_m2_s)
    for k in range(first, level_m.size - 1):
        r, q = k * rings + ring, (k + 1) * rings + ring
        thawed = thawed_share(load(a, at.TEMP, q), load(a, at.ICE, q), load(a, at.MOISTURE, q))
        wet = density / (0.5 * (level_m[k] + level_m[k + 1])) * uptake * thawed
        before = load(a, at.WATER_Z, r)
        store(a, at.WATER_Z, r, choose(supply, max(wet, before), before))
