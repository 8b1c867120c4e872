"""Vapour between wood and air through the wood's very surface, cell by cell.

The half-cell of wood feeds its surface, air draws from it through the boundary layer and bark::

    g_half (u - u_s) = (a_w(u_s) - h) c_draw / R

``g_half`` conductance of the half-cell, ``u`` and ``u_s`` moisture of cell and surface, ``a_w``
water activity (flat above fibre saturation, steep below), ``h`` humidity of the air at the
surface's temperature, ``c_draw`` driving vapour density, ``R`` resistance of all that covers the
wood.  ``u_s`` is kept from hour to hour and found by secants from rest with the air, where
``a_w(u_rest) = h``.
"""

from __future__ import annotations

from numba import prange

from climate_risk.compiled import assume, compiled, inlined, law
from climate_risk.log import layout as at
from climate_risk.log.formulas import FloatArray
from climate_risk.log.rows import interpolate, load, store
from climate_risk.log.wood import MOISTURE_STEP

NEAR_REST = 2e-3
"""Moisture [kg/kg] by which a surface stays off rest with the air: a secant needs two points."""


@inlined
def look_up(
    a: FloatArray, to: int, to_row: int, by: int, row: int, table: FloatArray, step: float
) -> None:
    """Interpolate a table on a uniform grid, for all cases."""
    store(a, to, to_row, interpolate(table, load(a, by, row) * (1.0 / step)))


@compiled
def bound_wood_surface(a: FloatArray, boundary: int, row: int, cell: int) -> None:
    """Keep the wood's very surface between its cell and rest with the air.

    Off rest, and of drying wood no drier than air over free water could draw it.
    """
    assume(a.shape[2] == at.CASES)
    whole = at.SURFACE + boundary
    for n in prange(at.CASES):
        u, rest = a[at.MOISTURE, cell, n], a[whole, at.S_TARGET, n]
        surface = a[at.BOUNDARY_MOISTURE + boundary, row, n]
        through = a[at.BOUNDARY_WATER_RESISTANCE + boundary, row, n]
        driest = u - a[whole, at.S_STRONGEST_PULL, n] * through
        wet = max(surface, driest, rest + NEAR_REST)
        dry = max(min(surface, rest - NEAR_REST), 0.0)
        a[at.BOUNDARY_MOISTURE + boundary, row, n] = wet if u > rest else dry


@inlined
def surface_activity(
    a: FloatArray, boundary: int, row: int, cell: int, activity: FloatArray
) -> None:
    """Water activity of one cell's very surface."""
    bound_wood_surface(a, boundary, row, cell)
    to, by = at.BOUNDARY_ACTIVITY + boundary, at.BOUNDARY_MOISTURE + boundary
    look_up(a, to, row, by, row, activity, MOISTURE_STEP)


@law
def secant_pull(rise: float, gap: float, drying: float, damp: float) -> float:
    """What air draws from a wood's surface, or gives it, ``gap`` off their rest [kg/m3].

    ``drying`` and ``damp`` are the vapour density that counts for each.
    """
    off = max(rise if gap > 0.0 else -rise, 1e-9 * abs(gap))
    return off * (drying if gap > 0.0 else damp)


@compiled
def solve_wood_surface(a: FloatArray, boundary: int, row: int, cell: int, share: float) -> None:
    """Bring one cell's very surface to what the wood feeds and air of ``S_HUMIDITY`` takes.

    One step by secants from where it was: from dry to wet or wet to dry in a few hours.
    """
    assume(a.shape[2] == at.CASES)
    whole = at.SURFACE + boundary
    for n in prange(at.CASES):
        u, rest = a[at.MOISTURE, cell, n], a[whole, at.S_TARGET, n]
        inner = a[at.BOUNDARY_WATER + boundary, row, n]
        cover = a[whole, at.S_VAPOUR_RESISTANCE, n]
        rise = a[at.BOUNDARY_ACTIVITY + boundary, row, n] - a[whole, at.S_HUMIDITY, n]
        gap = a[at.BOUNDARY_MOISTURE + boundary, row, n] - rest
        drying, damp = a[whole, at.S_DRIVING_DENSITY, n], a[whole, at.S_SATURATED, n]
        pull = secant_pull(rise, gap, drying, damp)
        lower = (u - rest) * pull / max(pull + inner * abs(gap) * cover, 1e-30)
        a[at.BOUNDARY_MOISTURE + boundary, row, n] = u - lower
        a[whole, at.S_WOOD_FLUX, n] += inner * lower * share


@compiled
def dry_cell(a: FloatArray, boundary: int, row: int) -> None:
    """Secant conductance of vapour from a cell of wood to the air.

    The flux is ``conductance * (moisture - target)`` with boundary layer and bark in series with
    the half-cell of wood; taken implicitly it can neither overshoot the moisture at rest nor run
    away.  The secant is that of the wood's very surface: water activity is flat above fibre
    saturation, and a wet cell may have a dry surface.
    """
    assume(a.shape[2] == at.CASES)
    whole = at.SURFACE + boundary
    for n in prange(at.CASES):
        gap = a[at.BOUNDARY_MOISTURE + boundary, row, n] - a[whole, at.S_TARGET, n]
        rise = a[at.BOUNDARY_ACTIVITY + boundary, row, n] - a[whole, at.S_HUMIDITY, n]
        drying, damp = a[whole, at.S_DRIVING_DENSITY, n], a[whole, at.S_SATURATED, n]
        pull = secant_pull(rise, gap, drying, damp)
        inner = a[at.BOUNDARY_WATER + boundary, row, n]
        cover = a[whole, at.S_VAPOUR_RESISTANCE, n]
        through = max(pull + inner * abs(gap) * cover, 1e-30)
        a[at.BOUNDARY_DRYING + boundary, row, n] = inner * pull / through
