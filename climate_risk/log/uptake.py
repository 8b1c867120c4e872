"""Liquid from a wet face into the wood."""

from __future__ import annotations

from climate_risk.compiled import compiled
from climate_risk.log.state import *

FREEZING_TEMP_C = 0.0
BOUND_WATER_MAX = 0.30
"""Moisture below which water is bound in the cell wall and does not freeze."""


@compiled
def thawed_share(temp_c: float, ice: float, moisture: float) -> float:
    """Share of free water that can move: 0 where all of it is ice or the wood is below -1 degC."""
    frozen = min(ice / max(moisture - BOUND_WATER_MAX, 1e-6), 1.0)
    return (1.0 - frozen) * min(max(1.0 + temp_c, 0.0), 1.0)


@compiled
def dry_face(a: FloatArray, face: int, rows: int) -> bool:
    """Whether no lane has water or dew on a face; then its cells take up none: most hours."""
    wet = 0
    for n in range(LANES):
        wet += (a[FACE + face, S_SUPPLY, n] > 0.0) | (a[FACE + face, S_FILM_OUT, n] < 0.0)
    if wet == 0:
        for row in range(rows):
            for n in range(a.shape[2]):
                a[FACE_UPTAKE + face, row, n] = 0.0
    return wet == 0


@compiled
def take_up(a: FloatArray, face: int, row: int, cell: int, full: float) -> None:
    """Conductance of liquid from a wet face into a cell that has room and is not frozen.

    A film keeps the wood beneath from drying, and what it feeds spares the wood as much vapour;
    dew takes all the vapour there is.

    Parameters
    ----------
    full : float
        Moisture to which liquid can wet the wood.
    """
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        u = a[MOISTURE, cell, n]
        thawed = thawed_share(a[TEMP, cell, n], a[ICE, cell, n], u)
        wet = a[FACE + face, S_SUPPLY, n] > 0.0
        a[FACE_UPTAKE + face, row, n] = (
            a[FACE + face, S_UPTAKE, n] * thawed if wet and u < full else 0.0
        )
    for n in range(LANES):
        u, out = a[MOISTURE, cell, n], a[FACE_DRYING + face, row, n]
        lack = (a[FACE + face, S_TARGET, n] - u) * out
        fed = min(a[FACE_UPTAKE + face, row, n] * (full - u), a[FACE + face, S_SUPPLY, n])
        spared = min(fed / max(lack, 1e-30), 1.0) if lack > 0.0 else a[FACE + face, S_WET, n]
        dewy = a[FACE + face, S_FILM_OUT, n] < 0.0
        a[FACE_DRYING + face, row, n] = 0.0 if dewy else out * (1.0 - spared)


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
    if a.shape[2] != LANES:
        return
    for k in range(first, level_m.size - 1):
        r, q = k * rings + ring, (k + 1) * rings + ring
        apart = 0.5 * (level_m[k] + level_m[k + 1])
        for n in range(LANES):
            thawed = thawed_share(a[TEMP, q, n], a[ICE, q, n], a[MOISTURE, q, n])
            wet = density / apart * a[OWN, O_UPTAKE_DIFFUSIVITY, n] * thawed
            soaked = a[FACE + TOP, S_SUPPLY, n] > 0.0 and wet > a[WATER_Z, r, n]
            a[WATER_Z, r, n] = wet if soaked else a[WATER_Z, r, n]
