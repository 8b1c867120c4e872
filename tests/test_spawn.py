"""Spawn layers: their curve, their water by hand, their budget, and what the fungus feels."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import fungus_samples
import log_samples as samples
import risk_samples

from climate_risk import tables
from climate_risk.constants import HOURS_PER_DAY, SECONDS_PER_HOUR
from climate_risk.engine.record import Record
from climate_risk.fungus import kernel as fungus
from climate_risk.fungus.kernel import DROUGHT_DOSE, SPAWN_DOSE, SPAWN_RESPONSE, M
from climate_risk.log import layout as at
from climate_risk.log.formulas import boundary_layer_resistance
from climate_risk.log.state import spawn_water_kg, stored_heat_j, stored_water_kg
from climate_risk.log.wood import MOISTURE_STEP, spawn_moisture, wood_tables

AIR_C = 20.0
CURVES = samples.make_curves()
SEALED = {
    "bark_resistance_s_m": samples.SEALED_S_M,
    "barrier_vapour_resistance_s_m": samples.SEALED_S_M,
}


@pytest.fixture(scope="module")
def record() -> Record:
    return risk_samples.make_record("2010-01-01", "2010-12-31")


@pytest.mark.parametrize(
    ("psi_mpa", "moisture", "within"),
    [(-0.5, 1.22, 0.06), (-5.3, 0.30, 0.05), (-30.0, 0.16, 0.01)],
)
def test_what_sawdust_holds(psi_mpa: float, moisture: float, within: float) -> None:
    """55 % of wet mass at -0.5 MPa (Ohga 1999, J. Wood Sci. 45:337, abstract); about 0.3 where
    shiitake stops, -5.3 MPa (Ohga 1990, abstract); dry, as wood (Wood Handbook, eq. 4-5, 80 %).
    """
    assert float(spawn_moisture(psi_mpa, tables.model())) == pytest.approx(moisture, abs=within)


def test_spawn_and_wood_of_one_potential_are_named_alike() -> None:
    """``spawn_as_wood`` maps moistures that hold water equally hard, and never falls."""
    for name in ("aspen", "white oak"):
        made = wood_tables(tables.woods()[name])
        wood_moisture = np.arange(made.potential_mpa.size) * MOISTURE_STEP
        potential = np.interp(made.spawn_as_wood, wood_moisture, made.potential_mpa)
        inside = slice(40, made.spawn_as_wood.size - 4)
        np.testing.assert_allclose(potential[inside], made.spawn_potential_mpa[inside], rtol=0.02)
        assert np.all(np.diff(made.spawn_as_wood) >= 0.0)


def forcing(hours: int, **changes: float) -> np.ndarray:
    vapour = 0.6 * samples.saturated_density(AIR_C)
    return samples.make_forcing(hours, **({"vapour": vapour, "spawn": 1.0, "wind": 1.0} | changes))


def stack_of(**changes: float) -> samples.Stack:
    grid = samples.season_grid(2)._replace(spawn_depth_m=0.006, radius_m=0.12)
    return samples.Stack(grid, CURVES, samples.make_parameters(**(SEALED | changes)))


def test_a_layer_holds_the_water_of_its_volume() -> None:
    """By hand: 6 mm of 180 kg/m3 at 150 % on 0.12 m radius is 73 g a layer, three of them."""
    stack = stack_of(spawn_moisture=1.5, model_spawn_density_kg_m3=180.0)
    a = samples.start(stack)
    by_hand = 3 * 0.006 * 180.0 * 1.5 * np.pi * 0.12**2
    assert spawn_water_kg(stack.grid, a)[0] == pytest.approx(by_hand, rel=1e-9)


def test_the_rim_dries_as_an_open_wet_strip_does() -> None:
    """By hand: air of 60 % at 20 degC over 6 mm x girth of wet spawn, three layers, within the
    film's resistance; the first day, before the rim is dry.  Some 24 g a layer in air that moves,
    less what the rim's own cooling saves.
    """
    stack = stack_of(
        start_moisture=0.6, spawn_moisture=1.6, model_spawn_diffusivity_m2_s=1e-6,
        model_free_convection_w_m2k=0.0, model_outdoor_convection_factor=1.0,
    )  # fmt: skip
    hour = forcing(24, convection=10.0)
    hour[:, at.F_UNCUT] = 1.0
    a = samples.start(stack, AIR_C)
    samples.run(stack, a, hour)
    rims_m2 = 3 * 2.0 * np.pi * 0.12 * 0.006
    driving = 0.4 * float(samples.saturated_density(AIR_C))
    by_hand = rims_m2 * driving / boundary_layer_resistance(10.0, 293.15) * 24 * SECONDS_PER_HOUR
    assert 0.06 < by_hand < 0.09
    assert 0.8 * by_hand < a[at.BUDGET, at.B_WATER_OUT, 0] < by_hand


def test_a_bag_keeps_the_rims_moist() -> None:
    """While they are wet, by hand: air of a gap of 670 s/m against 115 in a breeze: a fifth."""
    bags = (np.arange(at.CASES) % 2).astype(float)
    stack = stack_of(start_moisture=0.45, spawn_moisture=1.6, model_spawn_diffusivity_m2_s=1e-6)
    hour = forcing(24, convection=12.0, plies=2.0)
    hour[:, at.F_BAG], hour[:, at.F_UNCUT] = bags, 1.0
    a = samples.run(stack, samples.start(stack, AIR_C), hour)
    lost = a[at.BUDGET, at.B_WATER_OUT]
    np.testing.assert_allclose(lost[1::2] / lost[::2], 0.15, atol=0.07)


@pytest.mark.parametrize("bag", [0.0, 1.0])
@pytest.mark.parametrize("start", [0.1, 0.5, 1.2])
def test_water_and_heat_close_with_spawn(bag: float, start: float) -> None:
    """Wood, surfaces and spawn against all that crossed; 1e-12 of what moved."""
    stack = samples.Stack(
        samples.season_grid(3)._replace(spawn_depth_m=0.006),
        CURVES,
        samples.make_parameters(
            start_moisture=start, spawn_moisture=np.linspace(0.05, 1.65, at.CASES)
        ),
    )
    hours = 24 * 30
    clock = np.arange(hours)
    air = 12.0 + 14.0 * np.sin(2.0 * np.pi * clock / 24.0)
    hour = forcing(hours, air_temp=air, convection=9.0, bag=bag, plies=2.0)
    hour[:, at.F_RAIN] = (clock % 60 == 5)[:, None] * 4.0
    hour[:, at.F_SUN_SIDE] = np.maximum(300.0 * np.sin(2.0 * np.pi * clock / 24.0), 0.0)[:, None]
    hour[:, at.F_SPAWN] = (clock >= 72)[:, None]
    a = samples.start(stack, 8.0)
    water, heat = stored_water_kg(stack.grid, CURVES, a), stored_heat_j(stack.grid, CURVES, a)
    samples.run(stack, a, hour)
    book = a[at.BUDGET]
    moved = book[at.B_WATER_IN] + book[at.B_WATER_OUT] + book[at.B_RUNOFF]
    gained = book[at.B_WATER_IN] - book[at.B_WATER_OUT] - book[at.B_RUNOFF]
    change = stored_water_kg(stack.grid, CURVES, a) - water
    assert np.max(np.abs(change - gained) / (water + moved)) < 1e-12
    warmed = book[at.B_SHORTWAVE] + book[at.B_EXCHANGE] - book[at.B_LATENT]
    warmed = warmed + book[at.B_GROUND_HEAT] + book[at.B_WATER_HEAT]
    change = stored_heat_j(stack.grid, CURVES, a) - heat
    assert np.max(np.abs(change - warmed) / (np.abs(heat) + book[at.B_HEAT_MOVED])) < 1e-12
    held = a[at.SPAWN_MOISTURE, : 4 * stack.grid.ring_area_m2.size]
    assert np.all(held >= 0.0)
    assert np.all(held <= tables.model().spawn_full_moisture_pct.value / 100.0 + 1e-9)


def test_between_sealed_wet_faces_spawn_comes_to_rest_with_the_wood() -> None:
    stack = stack_of(start_moisture=0.5, spawn_moisture=0.3, wood_uptake_diffusivity_m2_s=1e-7)
    hour = forcing(24 * 400, convection=1e-6)
    hour[:, at.F_UNCUT] = 1.0
    hour[:, at.F_VAPOUR] = samples.saturated_density(AIR_C)
    a = samples.run(stack, samples.start(stack, AIR_C), hour)
    grid, nr = stack.grid, stack.grid.ring_area_m2.size
    level = grid.interface_level[1]
    beside = a[at.MOISTURE, level * nr, 0]
    spawn = a[at.SPAWN_MOISTURE, nr, 0]
    as_wood = np.interp(
        spawn, np.arange(CURVES.spawn_as_wood.size) * MOISTURE_STEP, CURVES.spawn_as_wood
    )
    assert as_wood == pytest.approx(beside, abs=0.02)
    assert beside == pytest.approx(0.5, abs=0.03)


def test_before_inoculation_there_is_no_spawn() -> None:
    stack = stack_of(start_moisture=0.8, spawn_moisture=1.5)
    hour = forcing(72, convection=10.0)
    hour[:, at.F_SPAWN] = 0.0
    a = samples.run(stack, samples.start(stack, AIR_C), hour)
    rows = 3 * stack.grid.ring_area_m2.size
    np.testing.assert_array_equal(a[at.SPAWN_MOISTURE, :rows], 1.5)


def test_dry_spawn_does_not_leap_off(record: Record) -> None:
    """Lag in hours at the optimum: none of it passes where spawn is drier than growth allows."""
    stack = fungus_samples.make_stack(record, spawn_lag_h=50.0, fungus_temp_opt_c=25.0)
    for moisture, leaps in ((0.2, False), (1.5, True)):
        stack.a[at.SPAWN_MOISTURE] = moisture
        fungus.respond_in_spawn(
            stack.kind.grid,
            stack.a,
            stack.parameters,
            stack.mycelium,
            stack.kind.tables.spawn_potential_mpa,
        )
        assert bool(stack.mycelium[SPAWN_RESPONSE, 0, 0] > 0.9) is leaps
        stack.grow(100, 25.0)
        assert bool((stack.fronts_m()[0] > 0.0).all()) is leaps


def test_spawn_that_dries_before_it_took_is_told_apart(record: Record) -> None:
    """One half-kill in its own time at 15 % and 20 degC; once it has taken, the wood decides."""
    stack = fungus_samples.make_stack(
        record, spawn_half_kill_h=10.0 * HOURS_PER_DAY, spawn_lag_h=50.0
    )
    stack.a[at.SPAWN_MOISTURE] = stack.parameters[M.drought_full, 0]
    stack.dry(10, 0.8)
    for row in (DROUGHT_DOSE, SPAWN_DOSE):
        assert stack.mycelium[row, 0, 0] == pytest.approx(1.0, rel=1e-9)
    stress, _ = stack.count()
    np.testing.assert_allclose(stress[1], stress[2])
    stack.mycelium[fungus.RIPE_H] = 1e6
    stack.dry(100, 0.8)
    assert stack.mycelium[DROUGHT_DOSE, 0, 0] == pytest.approx(1.0, rel=1e-9)
