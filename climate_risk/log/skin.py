"""Vapour between wood and air through the wood's very surface, cell by cell.

Wood feeds its surface from half a cell beneath; air draws from it by its water activity, which is
flat above fibre saturation and steep below.  The surface's moisture, where both agree, is kept
from hour to hour and found by secants from rest with the air.
"""

from __future__ import annotations

from climate_risk.compiled import compiled, inlined
from climate_risk.log.state import *
from climate_risk.log.wood import ACTIVITY_MAX, MOISTURE_STEP

NEAR_REST = 2e-3
"""Moisture [kg/kg] by which a surface stays off rest with the air: a secant needs two points."""


@compiled
def look_up(
    a: FloatArray, to: int, to_row: int, by: int, row: int, table: FloatArray, step: float
) -> None:
    """Interpolate a table on a uniform grid; apart, as table look-ups do not become vectors."""
    for n in range(LANES):
        x = a[by, row, n] * (1.0 / step)
        j = int(x) & 0xFFFF  # masked, so that it cannot count from the table's end
        w = x - j
        a[to, to_row, n] = table[j] * (1.0 - w) + table[j + 1] * w


@compiled
def unsaturated(humidity: float) -> float:
    """1 in air that tables of moisture resolve, falling to 0 in saturated air."""
    return min(max((1.0 - humidity) * (1.0 / (1.0 - ACTIVITY_MAX)), 0.0), 1.0)


@compiled
def skin_apart(a: FloatArray, face: int, row: int, cell: int) -> None:
    """Keep the wood's very surface between its cell and rest with the air.

    Off rest, and of drying wood no drier than air over free water could draw it.
    """
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        u, rest = a[MOISTURE, cell, n], a[FACE + face, S_TARGET, n]
        skin, inner = a[FACE_MOISTURE + face, row, n], a[FACE_WATER + face, row, n]
        draw = a[FACE + face, S_DRAW, n] * (1.0 - a[FACE + face, S_HUMIDITY, n])
        wet = max(skin, u - draw / (inner * a[FACE + face, S_COVER, n]), rest + NEAR_REST)
        dry = max(min(skin, rest - NEAR_REST), 0.0)
        a[FACE_MOISTURE + face, row, n] = wet if u > rest else dry


@inlined
def face_activity(a: FloatArray, face: int, row: int, cell: int, activity: FloatArray) -> None:
    """Water activity of one cell's very surface."""
    skin_apart(a, face, row, cell)
    look_up(a, FACE_ACTIVITY + face, row, FACE_MOISTURE + face, row, activity, MOISTURE_STEP)


@compiled
def secant_pull(rise: float, gap: float, drying: float, damp: float) -> float:
    """What air draws from a wood's surface, or gives it, ``gap`` off their rest [kg/m3].

    ``drying`` and ``damp`` are the vapour density that counts for each.
    """
    off = max(rise if gap > 0.0 else -rise, 1e-9 * abs(gap))
    return off * (drying if gap > 0.0 else damp)


@compiled
def find_skin(a: FloatArray, face: int, row: int, cell: int, share: float) -> None:
    """Bring one cell's very surface to what the wood feeds and air of ``S_HUMIDITY`` takes.

    One step by secants from where it was: from dry to wet or wet to dry in a few hours.
    """
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        u, rest = a[MOISTURE, cell, n], a[FACE + face, S_TARGET, n]
        inner, cover = a[FACE_WATER + face, row, n], a[FACE + face, S_COVER, n]
        rise = a[FACE_ACTIVITY + face, row, n] - a[FACE + face, S_HUMIDITY, n]
        gap = a[FACE_MOISTURE + face, row, n] - rest
        drying, damp = a[FACE + face, S_DRAW, n], a[FACE + face, S_SATURATED, n]
        pull = secant_pull(rise, gap, drying, damp)
        lower = (u - rest) * pull / max(pull + inner * abs(gap) * cover, 1e-30)
        a[FACE_MOISTURE + face, row, n] = u - lower
        a[FACE + face, S_WOOD, n] += inner * lower * share


@compiled
def dry_cell(a: FloatArray, face: int, row: int) -> None:
    """Secant conductance of vapour from a cell of wood to the air.

    The flux is ``conductance * (moisture - target)`` with the film (cover and bark) in series
    with the half-cell of wood; taken implicitly it can neither overshoot the moisture at rest
    nor run away.  The secant is that of the wood's very surface: water activity is flat above
    fibre saturation, and a wet cell may have a dry skin.
    """
    if a.shape[2] != LANES:
        return
    for n in range(LANES):
        gap = a[FACE_MOISTURE + face, row, n] - a[FACE + face, S_TARGET, n]
        rise = a[FACE_ACTIVITY + face, row, n] - a[FACE + face, S_HUMIDITY, n]
        drying, damp = a[FACE + face, S_DRAW, n], a[FACE + face, S_SATURATED, n]
        pull = secant_pull(rise, gap, drying, damp)
        inner, cover = a[FACE_WATER + face, row, n], a[FACE + face, S_COVER, n]
        through = max(pull + inner * abs(gap) * cover, 1e-30)
        a[FACE_DRYING + face, row, n] = inner * pull / through
