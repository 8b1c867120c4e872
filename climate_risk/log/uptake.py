"""Liquid from a wet boundary into the wood.

``flux = min(g (u_full - u), supply)``: conductance ``g`` times the moisture that is missing, as
long as there is water on the surface.  On end grain ``g = rho D_uptake / d`` with the half level
``d``, and the levels beneath are joined by the same diffusivity, so that an hour's uptake follows
the square-root law of ``u_t = D u_zz``.
"""

from __future__ import annotations

from numba import prange

from climate_risk.compiled import assume, compiled
from climate_risk.log import layout as at
from climate_risk.log.formulas import FloatArray, thawed_share
from climate_risk.log.parameters import P


@compiled
def is_dry(a: FloatArray, boundary: int, rows: int) -> bool:
    """Whether no case has water or dew on a boundary; then its cells take up none: most hours."""
    wet, whole = 0, at.SURFACE + boundary
    for n in prange(at.CASES):
        wet += (a[whole, at.S_SUPPLY, n] > 0.0) | (a[whole, at.S_EVAPORATION, n] < 0.0)
    if wet == 0:
        for row in range(rows):
            for n in prange(at.CASES):
                a[at.BOUNDARY_UPTAKE + boundary, row, n] = 0.0
    return wet == 0


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
    assume(a.shape[2] == at.CASES)
    whole = at.SURFACE + boundary
    for n in prange(at.CASES):
        u = a[at.MOISTURE, cell, n]
        thawed = thawed_share(a[at.TEMP, cell, n], a[at.ICE, cell, n], u)
        wet = a[whole, at.S_SUPPLY, n] > 0.0
        uptake = a[whole, at.S_UPTAKE, n] * thawed if wet and u < full else 0.0
        a[at.BOUNDARY_UPTAKE + boundary, row, n] = uptake
        out = a[at.BOUNDARY_DRYING + boundary, row, n]
        lack = (a[whole, at.S_TARGET, n] - u) * out
        taken = uptake * (full - u)
        fed = min(taken, a[whole, at.S_SUPPLY, n])
        spared = min(fed / max(lack, 1e-30), 1.0) if lack > 0.0 else a[whole, at.S_WET, n]
        dewy = a[whole, at.S_EVAPORATION, n] < 0.0
        a[at.BOUNDARY_DRYING + boundary, row, n] = 0.0 if dewy else out * (1.0 - spared)


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
    assume(a.shape[2] == at.CASES)
    whole = at.SURFACE + at.TOP
    for k in range(first, level_m.size - 1):
        r, q = k * rings + ring, (k + 1) * rings + ring
        apart = 0.5 * (level_m[k] + level_m[k + 1])
        for n in prange(at.CASES):
            thawed = thawed_share(a[at.TEMP, q, n], a[at.ICE, q, n], a[at.MOISTURE, q, n])
            uptake = a[at.PARAMETER, P.wood_uptake_diffusivity_m2_s, n]
            wet = density / apart * uptake * thawed
            soaked = a[whole, at.S_SUPPLY, n] > 0.0 and wet > a[at.WATER_Z, r, n]
            a[at.WATER_Z, r, n] = wet if soaked else a[at.WATER_Z, r, n]
