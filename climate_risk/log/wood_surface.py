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

from climate_risk.compiled import inlined, law
from climate_risk.log import layout as at
from climate_risk.log.formulas import FloatArray, Number
from climate_risk.log.rows import Row, add_to, choose, interpolate, load, store
from climate_risk.log.wood import MOISTURE_STEP

NEAR_REST = 2e-3
"""Moisture [kg/kg] by which a surface stays off rest with the air: a secant needs two points."""


@inlined
def very_surface(a: FloatArray, boundary: int, row: int, cell: int) -> Row:
    """Moisture of the wood's very surface, kept between its cell and rest with the air.

    Off rest, and of drying wood no drier than air over free water could draw it.
    """
    whole, kept = at.SURFACE + boundary, load(a, at.BOUNDARY_MOISTURE + boundary, row)
    u, rest = load(a, at.MOISTURE, cell), load(a, whole, at.S_TARGET)
    through = load(a, at.BOUNDARY_WATER_RESISTANCE + boundary, row)
    driest = u - load(a, whole, at.S_STRONGEST_PULL) * through
    wet = max(max(kept, driest), rest + NEAR_REST)
    dry = max(min(kept, rest - NEAR_REST), 0.0)
    return choose(u - rest, wet, dry)


@law
def secant_pull(rise: Number, gap: Number, drying: Number, damp: Number) -> Number:
    """What air draws from a wood's surface, or gives it, ``gap`` off their rest [kg/m3].

    ``drying`` and ``damp`` are the vapour density that counts for each.
    """
    off: Number = max(choose(gap, rise, -rise), 1e-9 * abs(gap))
    density: Number = choose(gap, drying, damp)
    return off * density


@inlined
def pull_of_air(
    a: FloatArray, boundary: int, row: int, surface: Row, activity: FloatArray
) -> tuple[Row, Row]:
    """What air draws from one cell's very surface [kg/m3], and draw and feed together.

    The surface is at rest where ``(u - u_rest) pull / both`` is how much drier the cell is there.
    """
    whole = at.SURFACE + boundary
    rise = interpolate(activity, surface * (1.0 / MOISTURE_STEP)) - load(a, whole, at.S_HUMIDITY)
    gap = surface - load(a, whole, at.S_TARGET)
    drying, damp = load(a, whole, at.S_DRIVING_DENSITY), load(a, whole, at.S_SATURATED)
    pull = secant_pull(rise, gap, drying, damp)
    inner = load(a, at.BOUNDARY_WATER + boundary, row)
    feed = inner * abs(gap) * load(a, whole, at.S_VAPOUR_RESISTANCE)
    return pull, max(pull + feed, 1e-30)


@inlined
def solve_wood_surface(
    a: FloatArray, boundary: int, row: int, cell: int, share: float, activity: FloatArray
) -> None:
    """Bring one cell's very surface to what the wood feeds and air of ``S_HUMIDITY`` takes.

    One step by secants from where it was: from dry to wet or wet to dry in a few hours.
    """
    whole, u = at.SURFACE + boundary, load(a, at.MOISTURE, cell)
    surface = very_surface(a, boundary, row, cell)
    pull, both = pull_of_air(a, boundary, row, surface, activity)
    lower = (u - load(a, whole, at.S_TARGET)) * pull / both
    flux = load(a, at.BOUNDARY_WATER + boundary, row) * lower
    store(a, at.BOUNDARY_MOISTURE + boundary, row, u - lower)
    add_to(a, whole, at.S_WOOD_FLUX, flux * share)


@inlined
def dry_cell(a: FloatArray, boundary: int, row: int, cell: int, activity: FloatArray) -> None:
    """Secant conductance of vapour from a cell of wood to the air.

    The flux is ``conductance * (moisture - target)`` with boundary layer and bark in series with
    the half-cell of wood; taken implicitly it can neither overshoot the moisture at rest nor run
    away.  The secant is that of the wood's very surface: water activity is flat above fibre
    saturation, and a wet cell may have a dry surface.
    """
    surface = very_surface(a, boundary, row, cell)
    pull, both = pull_of_air(a, boundary, row, surface, activity)
    inner = load(a, at.BOUNDARY_WATER + boundary, row)
    store(a, at.BOUNDARY_MOISTURE + boundary, row, surface)
    store(a, at.BOUNDARY_DRYING + boundary, row, inner * pull / both)
