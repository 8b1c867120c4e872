"""The same equations by scipy's stiff solvers, for one scenario, and how far both are apart.

The right-hand side is :func:`climate_risk.log.rates.rates`: the kernel's own laws, conductances
and boundary balances under the same hourly forcing.  Left out on both sides: bag, spawn, frost.
Beside that the engine's time holds what only it does: light at the stack, the modes round the
girth, fungus and the day's sums.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt

from climate_risk.bench.season import Season, best_of
from climate_risk.constants import HOURS_PER_DAY, SECONDS_PER_HOUR
from climate_risk.engine.blocks import advance, new_blocks
from climate_risk.engine.draws import best_estimate, values_at
from climate_risk.engine.forcing import assemble, fill_as_drawn, gather
from climate_risk.engine.stack import Scheme, StackModel, cover_table
from climate_risk.log import layout as at
from climate_risk.log.conductances import refresh_conductances
from climate_risk.log.formulas import saturation_vapour_density
from climate_risk.log.geometry import Grid
from climate_risk.log.kernel import REFRESH_HOURS, step_hour
from climate_risk.log.rates import rates, unknowns
from climate_risk.microclimate.canopy import diffuse_table
from climate_risk.microclimate.radiation import (
    LIGHTS,
    STAND_COLUMNS,
    girth_modes,
    light_at_stack,
    radiation_parameters,
)
from climate_risk.risk.ensemble import jobs_for

FloatArray = npt.NDArray[np.float64]

DAMPEST = 0.75
"""Relative humidity at which the span's air is held at most: damper air makes dew at night."""
UPTAKE = range(at.BOUNDARY_UPTAKE, at.BOUNDARY_OUT)
"""Terms of liquid through the outer boundaries."""

TIGHT, LOOSE = 1e-5, 1e-2
"""Of the solver: as the truth, and as fast as it goes while no farther off than the hour step."""
DIFFERENCE = 1e-6
"""Step of the Jacobian's differences: kg/kg, kg/m2, tens of kelvin."""


@dataclass(frozen=True, kw_only=True)
class Span:
    """A stack's state at one moment, and the hours that follow; every case is the same."""

    kind: StackModel
    a: FloatArray
    hours: FloatArray
    """(hours, FORCINGS, CASES)."""
    modes: FloatArray
    """(hours, MODES) of the beam."""


def bare_span(season: Season, first: date, days: int) -> Span:
    """Days of a stack's season without bag and spawn, run to their first by the engine."""
    scheme = Scheme(canopy=season.scheme.canopy)
    kind = replace(season.kind, grid=season.kind.grid._replace(spawn_depth_m=0.0))
    middle = best_estimate(season.unknowns)
    block = new_blocks(kind, scheme, middle)[0]
    begin = (first - kind.start_day).days * HOURS_PER_DAY
    end = begin + days * HOURS_PER_DAY
    start = np.full(at.CASES, kind.record.row(kind.start_day), dtype=np.int64)
    advance(jobs_for(kind, scheme, [block], [start], 0, begin))
    openness = kind.openness_under(scheme.canopy)
    stand = kind.record.table(scheme.canopy, openness, kind.stack.diameter_m)
    cover = cover_table(kind, scheme)
    values = values_at(kind.parameter_set(scheme), block.quantiles)
    radiation = radiation_parameters(values, openness)
    row, light = np.empty((STAND_COLUMNS, at.CASES)), np.empty((LIGHTS, at.CASES))
    hours = np.empty((end - begin, at.FORCINGS, at.CASES))
    for hour, forcing in zip(range(begin, end), hours, strict=True):
        gather(stand, start, hour, row)
        fill_as_drawn(row, radiation)
        light_at_stack(row, cover[hour], radiation, diffuse_table(), light)
        assemble(row, light, cover[hour], radiation, forcing)
    elevation, azimuth = kind.record.sun(start[0] + begin, start[0] + end)
    modes = (elevation > 0.0)[:, None] * girth_modes(azimuth)
    saturated = saturation_vapour_density(hours[:, at.F_AIR_TEMP])
    hours[:, at.F_VAPOUR] = np.minimum(hours[:, at.F_VAPOUR], DAMPEST * saturated)
    hours[:, at.F_RAIN] = 0.0
    for term in (at.ICE, at.SURFACE_WATER, *UPTAKE):
        block.a[term] = 0.0
    return Span(kind=kind, a=block.a, hours=hours, modes=modes)


def by_the_hour(span: Span) -> FloatArray:
    """(hours, unknowns) of the kernel at the end of every hour."""
    a, seen = span.a.copy(), []
    grid, curves = span.kind.grid, span.kind.curves
    for number, (hour, modes) in enumerate(zip(span.hours, span.modes, strict=True)):
        if number % REFRESH_HOURS == 0:
            refresh_conductances(grid, curves, a)
        step_hour(grid, curves, a, hour, modes)
        seen.append(state_of(grid, a)[:, 0])
    return np.asarray(seen)


def state_of(grid: Grid, a: FloatArray) -> FloatArray:
    """(unknowns, CASES) state as :func:`climate_risk.log.rates.rates` takes it."""
    nz, nr = grid.level_m.size, grid.ring_area_m2.size
    wood = at.BOUNDARY_MOISTURE
    return np.concatenate(
        [
            a[at.MOISTURE, : nz * nr],
            a[at.TEMP, : nz * nr],
            a[wood + at.BARK, :nz],
            a[wood + at.TOP, :nr],
            a[wood + at.GROUND, :nr],
        ]
    )


class Rates:
    """The kernel's rates for scipy: one state, or the Jacobian by CASES states at a time.

    The Jacobian is by differences, small ones of fixed size, and is handed over sparse: scipy's
    own differences grow without end for what has no effect, such as water on a dry surface.
    """

    def __init__(self, span: Span) -> None:
        grid = span.kind.grid
        self._grid, self._curves, self._scratch = grid, span.kind.curves, span.a.copy()
        self._given, self._rate = np.empty((2, unknowns(grid), at.CASES))
        cells = grid.level_m.size * grid.ring_area_m2.size
        self.scale = np.ones(unknowns(grid))
        """Of each unknown: kg/kg, kg/m2 and tens of kelvin."""
        self.scale[cells : 2 * cells] = 10.0
        self.forcing = span.hours[0]
        self.calls = 0

    def _call(self) -> None:
        rates(self._grid, self._curves, self._given, self.forcing, self._scratch, self._rate)
        self.calls += 1

    def __call__(self, _: float, state: FloatArray) -> FloatArray:
        """Rates of one state, per second."""
        self._given[:] = state[:, None]
        self._call()
        return self._rate[:, 0].copy()

    def jacobian(self, time: float, state: FloatArray) -> Any:
        """How each rate grows with each unknown, (unknowns, unknowns) sparse."""
        from scipy.sparse import csc_matrix

        here, step = self(time, state), DIFFERENCE * self.scale
        found = np.empty((state.size, state.size))
        for low in range(0, state.size, at.CASES):
            columns = np.arange(low, min(low + at.CASES, state.size))
            self._given[:] = state[:, None]
            self._given[columns, columns - low] += step[columns]
            self._call()
            off = self._rate[:, : columns.size] - here[:, None]
            found[:, columns] = off / step[columns]
        return csc_matrix(found)


def by_solver(span: Span, method: str, tolerance: float) -> tuple[FloatArray, int]:
    """(hours, unknowns) of a scipy solver at the end of every hour, and its calls of the rates.

    Parameters
    ----------
    method : str
        Of :func:`scipy.integrate.solve_ivp`, one with a Jacobian.
    tolerance : float
        Relative, and absolute by :attr:`Rates.scale`.
    """
    from scipy.integrate import solve_ivp

    work, seen = Rates(span), []
    state = state_of(span.kind.grid, span.a)[:, 0]
    for work.forcing in span.hours:
        found = solve_ivp(
            work,
            (0.0, SECONDS_PER_HOUR),
            state,
            method=method,
            rtol=tolerance,
            atol=tolerance * work.scale,
            jac=work.jacobian,
        )
        state = found.y[:, -1]
        seen.append(state)
    return np.asarray(seen), work.calls


def apart(span: Span, states: FloatArray, true: FloatArray) -> dict[str, float]:
    """How far states, (hours, unknowns), are from others: root mean squares over the hours."""
    grid = span.kind.grid
    off = states - true
    volume = np.outer(grid.level_m, grid.ring_area_m2).ravel()
    cells = volume.size
    water, heat = 100.0 * off[:, :cells], off[:, cells : 2 * cells]
    whole = water @ volume / volume.sum()
    return {
        "stack_moisture_rms_points": float(np.sqrt((whole**2).mean())),
        "cell_moisture_rms_points": float(np.sqrt((water**2).mean())),
        "cell_moisture_max_points": float(np.abs(water).max()),
        "cell_temp_rms_k": float(np.sqrt((heat**2).mean())),
        "cell_temp_max_k": float(np.abs(heat).max()),
    }


def measure(season: Season, first: date, days: int) -> dict[str, Any]:
    """Time of both for one scenario, and how far each is from the solver's tightest."""
    span = bare_span(season, first, days)
    true, _ = by_solver(span, "Radau", TIGHT)
    loose: FloatArray = np.empty(0)
    calls = 0

    def solve() -> None:
        nonlocal loose, calls
        loose, calls = by_solver(span, "BDF", LOOSE)

    solver_s = best_of(solve, 2)
    engine_s = best_of(_engine_run(season, first, days))
    return {
        "days": days,
        "solver_method": "BDF",
        "solver_tolerance": LOOSE,
        "solver_calls": calls,
        "solver_s": solver_s,
        "block_s": engine_s,
        "scenarios_in_block": at.CASES,
        "solver_over_block": solver_s / engine_s,
        "solver_over_scenario": solver_s / engine_s * at.CASES,
        "engine_apart": apart(span, by_the_hour(span), true),
        "solver_apart": apart(span, loose, true),
    }


def _engine_run(season: Season, first: date, days: int) -> Callable[[], None]:
    """The engine's own run of a block over the same days on one thread, with all that it does."""
    kind, scheme = season.kind, Scheme(canopy=season.scheme.canopy)
    begin = (first - kind.start_day).days * HOURS_PER_DAY
    block = new_blocks(kind, scheme, best_estimate(season.unknowns))[0]
    start = np.full(at.CASES, kind.record.row(kind.start_day), dtype=np.int64)
    jobs = jobs_for(kind, scheme, [block], [start], begin, begin + days * HOURS_PER_DAY)
    return lambda: advance(jobs, threads=1)
