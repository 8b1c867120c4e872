"""The hour step against scipy's stiff solver on the same equations, over days of real forcing.

The solver is the outside reference: Radau IIA of order 5 (Hairer and Wanner 1996, Solving
Ordinary Differential Equations II, ch. IV.8) as :func:`scipy.integrate.solve_ivp` has it.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from climate_risk.bench import stiff
from climate_risk.bench.season import demo_season
from climate_risk.bench.stiff import FloatArray, Span
from climate_risk.log import layout as at
from climate_risk.log.rates import rates, unknowns

FIRST, DAYS = date(2026, 6, 14), 3
STATED = {
    "stack_moisture_rms_points": 0.03,
    "cell_moisture_rms_points": 0.6,
    "cell_moisture_max_points": 4.0,
    "cell_temp_rms_k": 0.15,
    "cell_temp_max_k": 1.0,
}
"""How far the hour step may be from the equations' own solution, of which most in the thin cells
under the bare top, whose surface the kernel holds for an hour."""


@pytest.fixture(scope="module")
def span() -> Span:
    return stiff.bare_span(demo_season(), FIRST, DAYS)


@pytest.fixture(scope="module")
def exact(span: Span) -> FloatArray:
    return stiff.by_solver(span, "Radau", stiff.TIGHT)[0]


def test_the_solver_agrees_with_itself_at_another_tolerance_and_method(
    span: Span, exact: FloatArray
) -> None:
    other = stiff.apart(span, stiff.by_solver(span, "BDF", 1e-3)[0], exact)
    assert other["cell_moisture_rms_points"] < 0.02
    assert other["cell_temp_rms_k"] < 0.05


def test_the_hour_step_is_as_near_to_the_solver_as_stated(span: Span, exact: FloatArray) -> None:
    found = stiff.apart(span, stiff.by_the_hour(span), exact)
    for name, most in STATED.items():
        assert 0.0 < found[name] < most, name


def test_the_span_moves_heat_and_water_enough_to_tell_errors(
    span: Span, exact: FloatArray
) -> None:
    """Tens of kelvin under the top, and points of moisture."""
    cells = span.kind.grid.level_m.size * span.kind.grid.ring_area_m2.size
    moisture, temp = exact[:, :cells], exact[:, cells : 2 * cells]
    assert np.ptp(temp, axis=0).max() > 10.0
    assert 100.0 * np.ptp(moisture, axis=0).max() > 5.0
    assert span.hours[:, at.F_RAIN].max() == 0.0


def test_rates_of_cells_are_their_own_and_conserve_water(span: Span) -> None:
    """What the cells lose is what crosses the outer faces, exactly; cases do not mix."""
    grid, curves = span.kind.grid, span.kind.curves
    cells = grid.level_m.size * grid.ring_area_m2.size
    state = stiff.state_of(grid, span.a)
    state[:cells] *= np.linspace(0.9, 1.1, at.CASES)
    a, rate = span.a.copy(), np.empty((unknowns(grid), at.CASES))
    a[at.SURFACE : at.SURFACE + at.BOUNDARIES, [at.S_DRIED, at.S_CONDENSED]] = 0.0
    rates(grid, curves, state, span.hours[12], a, rate)
    volume = np.outer(grid.level_m, grid.ring_area_m2).ravel()
    gained = curves.density_kg_m3 * volume @ rate[:cells]
    girth, section = grid.edge_girth_m[-1] * grid.height_m, np.pi * grid.radius_m**2
    areas = {at.BARK: girth, at.TOP: section, at.GROUND: section}
    net = sum(
        area * (a[at.SURFACE + face, at.S_DRIED] - a[at.SURFACE + face, at.S_CONDENSED])
        for face, area in areas.items()
    )
    np.testing.assert_allclose(gained, -net, rtol=1e-9)
    state[:] = state[:, 3:4]
    alone = np.empty_like(rate)
    rates(grid, curves, state, span.hours[12], span.a.copy(), alone)
    np.testing.assert_array_equal(alone[:, 0], rate[:, 3])
