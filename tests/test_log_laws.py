"""The log's laws and cell couplings one by one: published values, limits, hand arithmetic."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import log_samples as samples

from climate_risk.constants import SECONDS_PER_HOUR, WATER_HEAT_CAPACITY_J_KG_K
from climate_risk.log import formulas
from climate_risk.log import layout as at
from climate_risk.log.conductances import refresh_conductances
from climate_risk.log.kernel import through_boundary
from climate_risk.log.parameters import bark_resistance_s_m
from climate_risk.log.tridiagonal import solve_water_line
from climate_risk.log.uptake import take_up
from climate_risk.log.wood_surface import secant_pull

FloatArray = np.ndarray
SIGMA = 5.670374419e-8


# Air ------------------------------------------------------------------------------------------


def test_the_polynomial_is_an_exponential() -> None:
    x = np.linspace(-6.0, 6.0, 1001)
    np.testing.assert_allclose(formulas.fast_exp(x), np.exp(x), rtol=3e-7)


def test_two_steps_of_halley_are_a_cube_root() -> None:
    x = np.linspace(1.0, 2.0, 1001)
    np.testing.assert_allclose(formulas.fast_cbrt(x), np.cbrt(x), rtol=1e-15)


@pytest.mark.parametrize(
    ("temp_c", "grams_m3"), [(0.0, 4.85), (10.0, 9.40), (20.0, 17.3), (30.0, 30.4), (50.0, 83.0)]
)
def test_vapour_that_air_holds(temp_c: float, grams_m3: float) -> None:
    """Density of saturated steam (steam tables, from memory); Magnus's form is true to 1 %."""
    made = 1000.0 * formulas.saturation_vapour_density(temp_c)
    assert made == pytest.approx(grams_m3, rel=0.01)


@pytest.mark.parametrize("temp_c", [-20.0, 0.0, 20.0, 45.0])
def test_slope_of_saturation_is_its_derivative(temp_c: float) -> None:
    density, slope = formulas.saturated_vapour(temp_c)
    above, below = (samples.saturated_density(temp_c + step) for step in (0.01, -0.01))
    assert density == pytest.approx(float(samples.saturated_density(temp_c)), rel=1e-6)
    assert slope == pytest.approx(float(above - below) / 0.02, rel=1e-4)


def test_boundary_layer_by_the_lewis_analogy() -> None:
    """h / h_m = rho c Le^(2/3) (Incropera, ch. 6; from memory), Le = Sc/Pr = 0.622/0.713: at
    20 degC and 10 W/m2/K by hand 1.204 x 1006 x 0.913 / 10 = 110.6 s/m.
    """
    made = formulas.boundary_layer_resistance(10.0, 293.15)
    assert made == pytest.approx(110.6, rel=5e-3)
    assert formulas.boundary_layer_resistance(20.0, 293.15) == pytest.approx(made / 2.0)


@pytest.mark.parametrize("kelvin", [253.15, 293.15, 313.15])
def test_longwave_is_the_secant_of_the_fourth_power(kelvin: float) -> None:
    """Stefan and Boltzmann's law, exactly, at the rise for which the secant is taken."""
    rise = formulas.USUAL_RISE_K
    exact = 0.95 * SIGMA * ((kelvin + rise) ** 4 - kelvin**4) / rise
    assert formulas.longwave_loss(0.95, kelvin) == pytest.approx(exact, rel=1e-9)


def test_free_and_forced_convection_do_not_add_up() -> None:
    """Churchill 1977 (from memory), the cubes add: 3, 4 and 5 give 6; either alone is itself."""
    assert formulas.mixed_convection(12.0, 0.0) == pytest.approx(12.0)
    assert formulas.mixed_convection(0.0, 4.0) == pytest.approx(4.0)
    assert formulas.mixed_convection(3.0, np.cbrt(4.0**3 + 5.0**3)) == pytest.approx(6.0)


# Wood -----------------------------------------------------------------------------------------


def test_air_leaves_no_room_for_water_and_walls() -> None:
    """Oven-dry wood of 350 kg/m3: 1 - 0.35/1.54 = 0.773 by hand; none left at eq. 4-3 of the
    Wood Handbook.
    """
    assert formulas.air_share(0.0, 350.0) == pytest.approx(0.773, abs=5e-4)
    for density in (350.0, 560.0):
        full = formulas.max_moisture(density)
        assert formulas.air_share(full, density) == pytest.approx(0.0, abs=1e-12)


def test_bound_water_moves_as_fast_as_siau_says() -> None:
    """Siau 1984 (from memory): at 15 % moisture 3.507e-12 m2/s at 10 degC, 9.133e-12 at 30; the
    law that kernels take, over 20 degC.
    """
    warm, cold = (formulas.diffusivity_warmth(0.15, temp_c) for temp_c in (30.0, 10.0))
    assert warm / cold == pytest.approx(9.133 / 3.507, rel=1e-3)
    assert formulas.diffusivity_warmth(0.15, 20.0) == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize(
    ("moisture", "opening"), [(0.6, 1.0), (0.30, 1.0), (0.225, 2.5), (0.15, 4.0), (0.05, 4.0)]
)
def test_bark_opens_as_the_wood_beneath_shrinks(moisture: float, opening: float) -> None:
    """By hand with a factor of 3: none at fibre saturation, all of it at half of that."""
    assert formulas.bark_opening(moisture, 3.0) == pytest.approx(opening)


@pytest.mark.parametrize(
    ("temp_c", "ice", "share"),
    [(5.0, 0.0, 1.0), (0.0, 0.5, 0.0), (0.0, 0.25, 0.5), (-0.5, 0.0, 0.5), (-3.0, 0.0, 0.0)],
)
def test_ice_holds_back_its_share_of_free_water(temp_c: float, ice: float, share: float) -> None:
    """Wood of 80 % with 50 points above fibre saturation, by hand."""
    assert formulas.thawed_share(temp_c, ice, 0.8) == pytest.approx(share)


def test_bark_is_sound_bark_and_bare_patches_side_by_side() -> None:
    """By hand: whole bark of twice the thickness 20,000 s/m; half of it bare at 2,000 s/m lets
    through 1/40,000 + 1/4,000.
    """
    one = np.ones(1)
    whole = bark_resistance_s_m(10000.0 * one, 0.0 * one, 2000.0 * one, 2.0 * one)
    assert whole == pytest.approx(20000.0)
    half = bark_resistance_s_m(10000.0 * one, 0.5 * one, 2000.0 * one, 2.0 * one)
    assert half == pytest.approx(1.0 / (1.0 / 40000.0 + 1.0 / 4000.0))


@pytest.mark.parametrize(("gap", "flux"), [(0.1, 0.0), (-0.1, 0.03 * 0.2)])
def test_saturated_air_draws_nothing_but_wets_dry_wood(gap: float, flux: float) -> None:
    """Vapour density that counts for drying is none there; for damping it is the air's own."""
    assert secant_pull(0.2 * np.sign(gap), gap, 0.0, 0.03) == pytest.approx(flux)


def test_rings_fill_the_section() -> None:
    grid = samples.season_grid(pieces=2)
    outer = np.cumsum(grid.ring_out_m + grid.ring_in_m)
    assert grid.ring_area_m2.sum() == pytest.approx(np.pi * 0.12**2)
    assert np.cumsum(grid.ring_area_m2) == pytest.approx(np.pi * outer**2)
    assert grid.edge_girth_m == pytest.approx(2.0 * np.pi * outer)
    assert grid.level_m.sum() == pytest.approx(grid.height_m)


# Cells ----------------------------------------------------------------------------------------


def small_stack(**changes: float) -> samples.Stack:
    return samples.Stack(
        samples.small_grid(), samples.make_curves(), samples.make_parameters(**changes)
    )


def moist(*, levels: FloatArray, rings: FloatArray) -> tuple[samples.Stack, FloatArray]:
    """A stack at 20 degC whose moisture is a sum by level and ring, conductances made."""
    stack = small_stack()
    a = samples.start(stack)
    nz, nr = stack.grid.level_m.size, stack.grid.ring_area_m2.size
    u = np.resize(levels, nz)[:, None] + np.resize(rings, nr)[None, :]
    a[at.MOISTURE, : nz * nr] = u.reshape(-1, 1)
    refresh_conductances(stack.grid, stack.curves, a)
    return stack, a


def test_two_half_rings_stand_in_series() -> None:
    """1/g = out/D + into/D' (resistances in series), per girth of the edge between them; rings
    of moistures so far apart that one of the two decides.
    """
    stack, a = moist(levels=np.array([0.0]), rings=np.array([0.9, 0.12, 0.6]))
    grid = stack.grid
    for i in range(grid.ring_area_m2.size - 1):
        here, there = a[at.ACROSS, i, 0], a[at.ACROSS, i + 1, 0]
        assert max(here, there) > 5.0 * min(here, there)
        way = grid.ring_out_m[i] / here + grid.ring_in_m[i + 1] / there
        expected = stack.curves.density_kg_m3 * grid.edge_girth_m[i] / way
        assert a[at.WATER_R, i, 0] == pytest.approx(expected, rel=1e-9)
        here, there = a[at.CONDUCTIVITY, i, 0], a[at.CONDUCTIVITY, i + 1, 0]
        way = grid.ring_out_m[i] / here + grid.ring_in_m[i + 1] / there
        assert a[at.HEAT_R, i, 0] == pytest.approx(grid.edge_girth_m[i] / way, rel=1e-9)


def test_water_sinks_faster_than_it_rises() -> None:
    """Water that fills vessels from above runs as in uptake (Ogawa and Yashima 2021); that which
    drying draws up, in broken columns.  Two levels of one height, once either way.
    """
    flat = np.array([0.0])
    stack, up = moist(levels=np.array([0.9, 0.9, 0.5]), rings=flat)
    _, down = moist(levels=np.array([0.5, 0.9, 0.9]), rings=flat)
    nr = stack.grid.ring_area_m2.size
    assert stack.grid.level_m[0] == pytest.approx(stack.grid.level_m[2])
    assert down[at.WATER_Z, 0, 0] > 1.5 * up[at.WATER_Z, nr, 0]


def test_water_takes_the_warmth_of_the_cell_that_it_leaves() -> None:
    """A warm wet cell beside cold dry ones: the heat that arrives is c_w times the water that
    came times the temperature that it left at; none is made.
    """
    stack = small_stack()
    a, size, density = samples.start(stack), np.array([0.01, 0.01, 0.01]), 400.0
    a[at.BOUNDARY_DRYING : at.BOUNDARY_OUT] = 0.0
    a[at.SURFACE : at.SURFACE + at.BOUNDARIES] = 0.0
    a[at.MOISTURE, :3] = np.array([1.0, 0.2, 0.2])[:, None]
    a[at.TEMP, :3] = np.array([40.0, 0.0, 0.0])[:, None]
    a[at.ENERGY, :3] = 0.0
    a[at.WATER_Z, :3] = 1e-5
    before = a[at.MOISTURE, :3, 0].copy()
    solve_water_line(a, at.WATER_Z, 0, 1, size, density, 2.0, at.GROUND, at.TOP, 0, 1.0)
    moved = density * size[0] * (before[0] - a[at.MOISTURE, 0, 0])
    heat = size * a[at.ENERGY, :3, 0]
    assert moved > 1e-3
    assert density * size @ (a[at.MOISTURE, :3, 0] - before) == pytest.approx(0.0, abs=1e-12)
    assert heat[1] == pytest.approx(WATER_HEAT_CAPACITY_J_KG_K * moved * 40.0, rel=1e-9)
    assert heat.sum() == pytest.approx(0.0, abs=1e-9)


def test_a_barrier_that_has_rotted_holds_no_vapour_back() -> None:
    """Dry wood over moist ground: after its life the paper is as good as none, before it not."""
    lifetime_h, hours = 1000.0, 48
    gained = []
    for age_h, barrier in ((0.0, 1e6), (0.5 * lifetime_h, 1e6), (lifetime_h, 1e6), (0.0, 0.0)):
        stack = small_stack(
            start_moisture=0.1,
            bark_resistance_s_m=samples.SEALED_S_M,
            barrier_vapour_resistance_s_m=barrier,
            barrier_lifetime_h=lifetime_h,
        )
        dry = 0.3 * samples.saturated_density(20.0)
        forcing = samples.make_forcing(hours, vapour=dry, convection=10.0, barrier_age=age_h)
        a = samples.run(stack, samples.start(stack), forcing)
        gained.append(samples.cells(stack, a, at.MOISTURE)[0].mean())
    whole, half, rotted, none = gained
    assert whole < half < rotted
    assert rotted == pytest.approx(none, rel=1e-9)
    assert none - 0.1 > 2.0 * (whole - 0.1)


@pytest.mark.parametrize(("wet", "left"), [(1.0, 0.0), (0.25, 0.75), (0.0, 1.0)])
def test_wood_under_water_dries_for_the_dry_part_of_the_hour_only(wet: float, left: float) -> None:
    """Wood wetter than its rest with the air: what covers it takes the air's whole draw as long
    as it lasts; dew, which the air brings, leaves none.
    """
    stack = small_stack()
    whole = at.SURFACE + at.BARK
    a = samples.start(stack)
    a[at.MOISTURE, 0], a[whole, at.S_TARGET] = 0.5, 0.1
    a[whole, at.S_SUPPLY], a[whole, at.S_WET], a[whole, at.S_UPTAKE] = 1e-3, wet, 0.0
    a[at.BOUNDARY_DRYING + at.BARK, 0] = 2e-6
    take_up(a, at.BARK, 0, 0, 1.5)
    assert a[at.BOUNDARY_DRYING + at.BARK, 0] == pytest.approx(left * 2e-6)
    a[at.BOUNDARY_DRYING + at.BARK, 0] = 2e-6
    a[whole, at.S_EVAPORATION] = -1e-6
    take_up(a, at.BARK, 0, 0, 1.5)
    assert not a[at.BOUNDARY_DRYING + at.BARK, 0].any()


@pytest.mark.parametrize(
    ("moisture", "liquid", "heat_c"),
    [(0.5, 0.0, -2e-6 * 0.4 * 30.0), (0.5, 1e-6, (1e-6 - 2e-6 * 0.4 * 3.0) * 10.0),
     (0.05, 0.0, 2e-6 * 0.05 * 10.0)],
)  # fmt: skip
def test_water_leaves_as_warm_as_the_wood_and_comes_as_warm_as_the_air(
    moisture: float, liquid: float, heat_c: float
) -> None:
    """Wood at 30 degC in air at 10, at rest with it at 10 %: first law, c_w times what crosses
    times the temperature that it has on the side it comes from; vapour out, rain in, vapour in.
    """
    stack = small_stack()
    whole, row = at.SURFACE + at.BARK, 0
    a = samples.start(stack)
    a[at.MOISTURE, row], a[at.TEMP, row], a[at.ENERGY, row] = moisture, 30.0, 0.0
    a[whole, at.S_TARGET] = 0.1
    a[at.BOUNDARY_DRYING + at.BARK, row] = 2e-6
    a[at.BOUNDARY_WATER_RESISTANCE + at.BARK, row] = 1e3
    a[at.BOUNDARY_LIQUID + at.BARK, row] = liquid
    for term in (at.S_CONDENSED, at.S_DRIED, at.S_WATER_HEAT, at.S_TAKEN_UP):
        a[whole, term] = 0.0
    hour = samples.make_forcing(1, air_temp=10.0)[0]
    through_boundary(a, hour, at.BARK, row, row, 0.02, 1.0)
    expected = heat_c * WATER_HEAT_CAPACITY_J_KG_K * SECONDS_PER_HOUR
    assert a[at.ENERGY, row] * 0.02 == pytest.approx(expected, rel=1e-9)
    assert a[whole, at.S_WATER_HEAT] == pytest.approx(expected, rel=1e-9)
