"""The bag: one node of air with its own heat and vapour, by hand arithmetic, limits, budget."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

sys.path.insert(0, str(Path(__file__).parent))

import log_samples as samples

from climate_risk.compiled import compiled
from climate_risk.constants import SECONDS_PER_HOUR
from climate_risk.log import layout as at
from climate_risk.log.bag import opening_air
from climate_risk.log.formulas import boundary_layer_resistance
from climate_risk.log.rows import alike, store
from climate_risk.log.state import stored_water_kg

FloatArray = np.ndarray
CURVES = samples.make_curves()
SIGMA = 5.670374419e-8
LATENT_HEAT_J_KG = 2.45e6
AIR_C = 20.0
NO_HOLE = {"bag_foot_gap_closed_mm": 0.0, "bag_foot_gap_open_mm": 0.0}
DRY_GROUND = {"model_soil_resistance_s_m": samples.SEALED_S_M}


def budget(a: FloatArray, *rows: int) -> FloatArray:
    return np.asarray([a[at.BUDGET, row] for row in rows])


@compiled
def keep_opening_air(a: FloatArray, hour: FloatArray, wide_m: float) -> None:
    """Keep the air through foot and holes of a bag so wide as the stack's outflow [m3/s]."""
    store(a, at.STACK, at.N_OUTFLOW, opening_air(a, hour, alike(wide_m)))


def air_through(stack: samples.Stack, hour: FloatArray) -> float:
    a = samples.start(stack)
    keep_opening_air(a, hour, 0.15)
    return float(a[at.STACK, at.N_OUTFLOW, 0])


@pytest.mark.parametrize(
    ("gap_mm", "wind_ms", "changes_h"),
    [(2.0, 0.5, 4.7), (20.0, 0.5, 47.0), (20.0, 2.0, 188)],
)
def test_air_changes_through_the_foot(gap_mm: float, wind_ms: float, changes_h: float) -> None:
    """Q = 0.025 A u (Warren 1977, single-sided ventilation; from memory), by hand: a sack of
    0.15 m radius with 18 L of air over a stack; 0.94 m of foot times the slit.
    """
    parameters = samples.make_parameters(bag_clearance_m=0.0, bag_foot_gap_closed_mm=gap_mm)
    stack = samples.Stack(samples.small_grid(), CURVES, parameters)
    hour = samples.make_forcing(1, wind=wind_ms)[0]
    assert air_through(stack, hour) * SECONDS_PER_HOUR / 0.018 == pytest.approx(
        changes_h, rel=0.01
    )


def test_holes_add_their_own_area() -> None:
    parameters = samples.make_parameters(**NO_HOLE)
    stack = samples.Stack(samples.small_grid(), CURVES, parameters)
    hour = samples.make_forcing(1, wind=1.0, holes=0.002)[0]
    assert air_through(stack, hour) == pytest.approx(0.025 * 0.002)


@pytest.mark.parametrize("clearance_m", [0.0, 0.05])
def test_bag_in_the_sun_is_one_more_node(clearance_m: float) -> None:
    """Steady state by hand: the wall takes sun and sky over its own area, hands the bark what
    the bark hands back, and loses the rest to the air.
    """
    film, gap, sun, absorptance, emissivity = 12.0, 8.0, 300.0, 0.6, 0.95
    through, absorbed, radius = 0.08, 0.6, 0.12
    wider = (radius + clearance_m) / radius
    black = (AIR_C + 273.15) ** 4

    def gain(bag_c: float) -> float:
        longwave = emissivity * SIGMA * (black - (bag_c + 273.15) ** 4)
        own = wider * (absorbed * sun + film * (AIR_C - bag_c) + longwave)
        return own + through * absorptance * sun

    bag_c = float(optimize.brentq(gain, AIR_C, 90.0))
    bark_c = bag_c + through * absorptance * sun / gap
    parameters = samples.make_parameters(
        start_moisture=0.0,
        model_bark_emissivity=emissivity,
        wood_bark_absorptance=absorptance,
        model_free_convection_w_m2k=0.0,
        model_outdoor_convection_factor=1.0,
        bark_resistance_s_m=samples.SEALED_S_M,
        barrier_vapour_resistance_s_m=samples.SEALED_S_M,
        bag_solar_transmittance=through,
        bag_solar_absorptance=absorbed,
        bag_gap_heat_w_m2k=gap,
        bag_clearance_m=clearance_m,
        **DRY_GROUND,
    )
    stack = samples.Stack(samples.column(2.0 * radius, 4), CURVES, parameters)
    forcing = samples.make_forcing(600, air_temp=AIR_C, convection=film, sun_side=sun, bag=1.0)
    a = samples.run(stack, samples.start(stack, AIR_C), forcing)
    assert bark_c > bag_c > AIR_C
    assert a[at.STACK, at.N_BAG_TEMP, 0] == pytest.approx(bag_c, abs=0.4)
    assert a[at.SURFACE_TEMP, 0, 0] == pytest.approx(bark_c, abs=0.4)


def test_vapour_goes_through_bark_gap_and_wall_or_foot() -> None:
    """A wet stick loses at the rate of resistances in series, wall and openings side by side."""
    gap, ply, convection, radius, wind = 1.5e-3, 2e-3, 40.0, 0.04, 1.0
    parameters = samples.make_parameters(
        start_moisture=1.0,
        bark_resistance_s_m=6000.0,
        bag_gap_vapour_conductance_m_s=gap,
        bag_vapour_conductance_m_s=ply,
        bag_gap_heat_w_m2k=1e6,
        bag_clearance_m=1e-6,
        bag_foot_gap_closed_mm=0.0,
        model_free_convection_w_m2k=0.0,
        model_outdoor_convection_factor=1.0,
        **DRY_GROUND,
    )
    stack = samples.Stack(samples.column(2.0 * radius, 64), CURVES, parameters)
    side_m2 = 2.0 * np.pi * radius * stack.grid.height_m
    holes = 0.3 * side_m2 / 25.0
    hours, vapour = 48, 0.6 * samples.saturated_density(AIR_C)
    forcing = samples.make_forcing(
        hours, vapour=vapour, convection=convection, bag=1.0, plies=2.0, holes=holes, wind=wind
    )
    a = samples.run(stack, samples.start(stack), forcing)
    left = samples.mean_over_rings(stack, samples.cells(stack, a, at.MOISTURE)[1])[0]
    lost = (1.0 - left) * CURVES.density_kg_m3 * radius / 2.0 / (hours * SECONDS_PER_HOUR)
    film = boundary_layer_resistance(convection, 293.15)
    out = 1.0 / (2.0 / ply + film) + 0.025 * holes * wind / side_m2
    way = 6000.0 + 1.0 / gap + 1.0 / out
    surface_c = AIR_C - LATENT_HEAT_J_KG * lost / (convection + 5.7)
    driving = samples.saturated_density(surface_c) - vapour
    assert lost == pytest.approx(float(driving) / way, rel=0.03)


def weather(hours: int, seed: int, *, humid: float, wind_ms: float) -> FloatArray:
    """Air that warms and cools by the day without sun, rain or a cold sky, other in each hour."""
    rng = np.random.default_rng(seed)
    clock = np.arange(hours)
    air = 18.0 + 8.0 * np.sin(2.0 * np.pi * clock / 24.0) + rng.normal(0.0, 1.0, hours)
    vapour = humid * samples.saturated_density(air)
    return samples.make_forcing(
        hours, air_temp=air, vapour=vapour, convection=4.0 + 3.0 * wind_ms, wind=wind_ms
    )


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    humid=st.floats(0.2, 0.9),
    wind_ms=st.floats(0.1, 3.0),
    ply=st.floats(1e-7, 1e-2),
    start=st.floats(0.2, 1.4),
)
def test_without_sun_and_rain_a_shut_bag_never_dries_a_log_faster_than_none(
    seed: int, humid: float, wind_ms: float, ply: float, start: float
) -> None:
    """Twelve days; half of the cases in a bag, the others bare, all else alike.

    Of two logs that gain water, the bag slows that too: then it holds what it began with.
    """
    bags = (np.arange(at.CASES) % 2).astype(float)
    parameters = samples.make_parameters(
        start_moisture=start,
        barrier_vapour_resistance_s_m=samples.SEALED_S_M,
        bag_vapour_conductance_m_s=ply,
    )
    stack = samples.Stack(samples.season_grid(2), CURVES, parameters)
    forcing = weather(24 * 12, seed, humid=humid, wind_ms=wind_ms)
    forcing[:, at.F_BAG], forcing[:, at.F_PLIES] = bags, 1.0
    forcing[:, at.F_SPAWN] = 1.0
    a = samples.start(stack, 15.0)
    began = stored_water_kg(stack.grid, stack.curves, a)[1]
    samples.run(stack, a, forcing)
    water = stored_water_kg(stack.grid, stack.curves, a)
    assert water[1] >= min(water[0], began) - 2e-3


def test_a_shut_film_over_dry_ground_lets_nothing_out() -> None:
    """Its limit: all that a log gives is what the air in the bag, and the film at dew, take."""
    parameters = samples.make_parameters(
        start_moisture=0.8,
        barrier_vapour_resistance_s_m=samples.SEALED_S_M,
        bag_vapour_conductance_m_s=1e-12,
        **NO_HOLE,
        **DRY_GROUND,
    )
    stack = samples.Stack(samples.small_grid(), CURVES, parameters)
    hours = 24 * 20
    vapour = 0.4 * samples.saturated_density(AIR_C)
    forcing = samples.make_forcing(hours, vapour=vapour, convection=8.0, bag=1.0, plies=1.0)
    a = samples.start(stack, AIR_C)
    before = stored_water_kg(stack.grid, stack.curves, a)[0]
    samples.run(stack, a, forcing)
    after = stored_water_kg(stack.grid, stack.curves, a)[0]
    assert before - after < 1e-3 * before
    assert a[at.STACK, at.N_BAG_VAPOUR, 0] == pytest.approx(
        float(samples.saturated_density(AIR_C)), rel=0.02
    )


def test_the_air_of_a_wide_open_foot_is_the_air_outside() -> None:
    """The other limit: a bag torn away below holds neither heat nor vapour."""
    parameters = samples.make_parameters(
        start_moisture=0.8, bag_foot_gap_open_mm=1e9, bag_solar_absorptance=0.5
    )
    stack = samples.Stack(samples.small_grid(), CURVES, parameters)
    vapour = float(0.5 * samples.saturated_density(AIR_C))
    forcing = samples.make_forcing(
        48, vapour=vapour, convection=8.0, bag=1.0, plies=1.0, foot=1.0, wind=1.0, sun_side=300.0
    )
    a = samples.run(stack, samples.start(stack, AIR_C), forcing)
    assert a[at.STACK, at.N_BAG_TEMP, 0] == pytest.approx(AIR_C, abs=1e-3)
    assert a[at.STACK, at.N_BAG_VAPOUR, 0] == pytest.approx(vapour, rel=1e-3)


@pytest.mark.parametrize("ply", [1e-6, 2e-3])
def test_what_comes_into_the_bag_goes_out_or_runs_down(ply: float) -> None:
    """Budget of the bag's air, closed to rounding; cold nights make water on the film."""
    parameters = samples.make_parameters(
        start_moisture=1.0,
        bag_vapour_conductance_m_s=ply,
        barrier_vapour_resistance_s_m=samples.SEALED_S_M,
    )
    stack = samples.Stack(samples.season_grid(2), CURVES, parameters)
    hours = 24 * 20
    forcing = weather(hours, 3, humid=0.6, wind_ms=0.5)
    forcing[:, at.F_BAG], forcing[:, at.F_PLIES], forcing[:, at.F_SPAWN] = 1.0, 1.0, 1.0
    night = (np.arange(hours) % 24 > 12)[:, None]
    for row in (at.F_LONGWAVE_SIDE, at.F_LONGWAVE_TOP):
        forcing[:, row] -= 60.0 * night
    a = samples.run(stack, samples.start(stack, 15.0), forcing)
    given_kg, soil, out, condensed = budget(
        a, at.B_BAG_FROM_STACK, at.B_BAG_FROM_SOIL, at.B_BAG_OUT, at.B_BAG_CONDENSED
    )
    moved = np.abs(given_kg) + np.abs(soil) + np.abs(out) + condensed
    assert np.max(np.abs(given_kg + soil - out - condensed) / moved) < 1e-12
    assert np.all(condensed >= 0.0)
    assert (condensed[0] > 0.01) == (ply < 1e-3)
    # What the stack gave is what its own budget says went out less what came in.
    lost = a[at.BUDGET, at.B_WATER_OUT, 0] - a[at.BUDGET, at.B_WATER_IN, 0]
    assert given_kg[0] == pytest.approx(lost, rel=1e-9)


def test_moist_ground_inside_the_foot_dampens_the_bag() -> None:
    """By hand for a dry log: the bag's air stands between ground and air by conductances."""
    radius, clearance, gap, ply, soil = 0.12, 0.05, 1.5e-3, 2e-3, 500.0
    parameters = samples.make_parameters(
        start_moisture=0.02,
        bark_resistance_s_m=samples.SEALED_S_M,
        barrier_vapour_resistance_s_m=samples.SEALED_S_M,
        bag_clearance_m=clearance,
        bag_gap_vapour_conductance_m_s=gap,
        bag_vapour_conductance_m_s=ply,
        model_soil_resistance_s_m=soil,
        model_free_convection_w_m2k=0.0,
        model_outdoor_convection_factor=1.0,
        **NO_HOLE,
    )
    stack = samples.Stack(samples.small_grid(), CURVES, parameters)
    saturated = float(samples.saturated_density(AIR_C))
    hour = samples.make_forcing(1, vapour=0.5 * saturated, convection=10.0, bag=1.0, plies=1.0)
    hour[:, at.F_UNCUT] = 1.0  # no end grain takes part
    a = samples.run(stack, samples.start(stack, AIR_C), hour)
    film = boundary_layer_resistance(10.0, 293.15)
    wide = radius + clearance
    wall = 2.0 * np.pi * wide * stack.grid.height_m / (1.0 / ply + film)
    wall += np.pi * wide**2 / (1.0 / ply + film)
    ring = np.pi * (wide**2 - radius**2) / (1.0 / gap + soil)
    inside = (wall * 0.5 + ring * 0.99) / (wall + ring)
    assert a[at.STACK, at.N_BAG_VAPOUR, 0] / saturated == pytest.approx(inside, abs=0.003)


def test_each_case_has_its_own_cover() -> None:
    """A bag on half of the cases leaves the other half as they are without."""
    parameters = samples.make_parameters(start_moisture=0.9)
    stack = samples.Stack(samples.season_grid(2), CURVES, parameters)
    bare = weather(24 * 5, 9, humid=0.5, wind_ms=1.0)
    mixed = bare.copy()
    mixed[:, at.F_BAG], mixed[:, at.F_PLIES] = np.arange(at.CASES) % 2, 1.0
    alone = samples.run(stack, samples.start(stack), bare)
    beside = samples.run(stack, samples.start(stack), mixed)
    np.testing.assert_array_equal(alone[at.MOISTURE, :, ::2], beside[at.MOISTURE, :, ::2])
    kept = stored_water_kg(stack.grid, stack.curves, beside)
    assert np.all(kept[1::2] > kept[::2])
