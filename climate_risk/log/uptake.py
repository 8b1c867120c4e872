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
def take_up(
    a: FloatArray,
    face: int,
    row: int,
    cell: int,
    coupling: int,
    inner: int,
    area_m2: float,
    mass: float,
    full: float,
) -> None:
    """Conductance of liquid from a wet face into a cell that has room and is not frozen.

    No greater than what the supply would feed even if the cell sank, within the hour, as low as
    its neighbour and the air can draw it: so the implicit flux cannot exceed the supply.

    Parameters
    ----------
    coupling, inner : int
        Term and row of the conductance to the next cell inward, of which the face has
        ``area_m2``.
    mass : float
        Dry mass of the cell over its area and an hour [kg/m2/s].
    full : float
        Moisture to which liquid can wet the wood.
    """
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        drawn = a[coupling, inner, n] / area_m2 + a[FACE_DRYING + face, row, n]
        lowest = a[MOISTURE, cell, n] * mass / (mass + drawn)
        fed = a[FACE + face, S_SUPPLY, n] / max(full - lowest, 1e-6)
        a[FACE_UPTAKE + face, row, n] = min(a[FACE + face, S_UPTAKE, n], fed)
    for n in range(LANES):
        u = a[MOISTURE, cell, n]
        thawed = thawed_share(a[TEMP, cell, n], a[ICE, cell, n], u)
        a[FACE_UPTAKE + face, row, n] *= thawed if u < full else 0.0
    for n in range(LANES):
        # A film keeps the wood beneath from drying, and what it feeds spares the wood as much
        # vapour; dew takes all the vapour there is.
        u, out = a[MOISTURE, cell, n], a[FACE_DRYING + face, row, n]
        lack = (a[FACE + face, S_TARGET, n] - u) * out
        spared = min(a[FACE_UPTAKE + face, row, n] * (full - u) / max(lack, 1e-30), 1.0)
        spared = spared if lack > 0.0 else a[FACE + face, S_WET, n]
        dewy = a[FACE + face, S_FILM_OUT, n] < 0.0
        a[FACE_DRYING + face, row, n] = 0.0 if dewy else out * (1.0 - spared)
