"""Heat in the log against closed solutions.

Bone-dry wood in bone-dry air exchanges no water, so that conduction and the surface are all that
is left: a cylinder of constant properties with a film of known Biot number.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import special

from climate_risk.log import formulas
from climate_risk.log import layout as at
from climate_risk.log.parameters import P

sys.path.insert(0, str(Path(__file__).parent))

import log_samples as samples

from climate_risk.constants import KELVIN_AT_0_C, SECONDS_PER_HOUR, STEFAN_BOLTZMANN_W_M2K4
from climate_risk.engine import stack as stack_room
from climate_risk.log import geometry
from climate_risk.log.kernel import DARK_STEPS

CURVES = samples.make_curves("aspen")
CONDUCTIVITY = float(formulas.conductivity_across_grain(0.0, CURVES.density_kg_m3))
DIFFUSIVITY = CONDUCTIVITY / (CURVES.density_kg_m3 * CURVES.dry_heat_capacity_j_kg_k)
AIR_C, START_C = 10.0, 30.0


def bare_stack(
    grid: geometry.Grid, exchange_w_m2k: float = 0.0, emissivity: float = 0.0
) -> samples.Stack:
    """Bone-dry wood without bark; the ground takes heat as the air does."""
    parameters = samples.make_parameters(
        start_moisture=0.0,
        bark_heat_resistance_m2k_w=0.0,
        model_bark_emissivity=emissivity,
        model_free_convection_w_m2k=0.0,
        model_outdoor_convection_factor=1.0,
        barrier_vapour_resistance_s_m=samples.SEALED_S_M,
        ground_heat_w_m2k=exchange_w_m2k,
    )
    return samples.Stack(grid, CURVES, parameters)


def cool(stack: samples.Stack, exchange_w_m2k: np.ndarray, hours: int) -> np.ndarray:
    """What is left (0 to 1) of the warmth in each cell.

    The coefficient, one to a case, is that of convection and long-wave together.
    """
    radiation = 4.0 * STEFAN_BOLTZMANN_W_M2K4 * (AIR_C + KELVIN_AT_0_C) ** 3
    convection = exchange_w_m2k - stack.parameters[P.model_bark_emissivity] * radiation
    convection = np.broadcast_to(convection, (hours, at.CASES))
    forcing = samples.make_forcing(hours, air_temp=AIR_C, convection=convection)
    a = samples.run(stack, samples.start(stack, START_C), forcing)
    return (samples.cells(stack, a, at.TEMP) - AIR_C) / (START_C - AIR_C)


def films(biots: list[float], radius_m: float) -> np.ndarray:
    """Film coefficient of each Biot number, cycled over the cases; 1e9 stands for infinite."""
    finite = np.array([min(biot, 1e9) for biot in biots])
    return np.resize(finite * CONDUCTIVITY / radius_m, at.CASES)


@pytest.mark.parametrize("key", ["mean", "axis"])
def test_series_agree_with_the_table(key: str) -> None:
    """The references themselves: Crank 1975, Carslaw and Jaeger 1959, computed apart."""
    series = {"mean": samples.cylinder_mean, "axis": samples.cylinder_centre}[key]
    for row in samples.published("cylinder_film.csv"):
        assert series(row["biot"], row["fourier"]) == pytest.approx(row[key], abs=2e-6), row


def misses_of_a_long_cylinder(fourier: float, rings: int, ratio: float) -> dict[float, float]:
    """Mean of what is left of a cooling cylinder, less the series, by Biot number."""
    radius_m = 2.0
    hours = round(fourier * radius_m**2 / DIFFUSIVITY / SECONDS_PER_HOUR)
    biots = [0.1, 1.0, 2.0, 10.0, np.inf]
    stack = bare_stack(samples.column(2.0 * radius_m, rings, ring_ratio=ratio))
    left = samples.mean_over_rings(stack, cool(stack, films(biots, radius_m), hours)[1])
    reached = hours * SECONDS_PER_HOUR * DIFFUSIVITY / radius_m**2
    return {b: left[lane] - samples.cylinder_mean(b, reached) for lane, b in enumerate(biots)}


@pytest.mark.parametrize("fourier", [0.1, 0.5, 1.0])
def test_long_cylinder_cools_as_the_series_says(fourier: float) -> None:
    """Crank 1975, ch. 5: six Biot numbers, two metres thick so that an hour is short.

    Eight graded rings; what they miss by is the grid's and stays within 1 %.
    """
    for biot, miss in misses_of_a_long_cylinder(fourier, 8, 1.5).items():
        assert abs(miss) < 0.01, biot


@pytest.mark.parametrize("fourier", [0.1, 0.5, 1.0])
def test_what_the_season_grid_misses_of_the_series(fourier: float) -> None:
    """As above on the rings of a season: 3 % at most, under 0.1 % at a bark's Biot number."""
    misses = misses_of_a_long_cylinder(fourier, stack_room.RINGS, geometry.RING_RATIO)
    assert abs(misses.pop(0.1)) < 0.001
    for biot, miss in misses.items():
        assert abs(miss) < 0.03, biot


@pytest.mark.parametrize("biot", [1.0, 10.0, np.inf])
def test_error_falls_with_the_square_of_the_ring(biot: float) -> None:
    """Even rings, 8 to 32, against the series with the time step's own error left in it."""
    radius_m, hours = 0.5, 100
    fourier = hours * SECONDS_PER_HOUR * DIFFUSIVITY / radius_m**2
    exact = samples.cylinder_mean(biot, fourier, hours * DARK_STEPS)
    errors = []
    for rings in (8, 16, 32):
        stack = bare_stack(samples.column(2.0 * radius_m, rings))
        left = cool(stack, films([biot], radius_m), hours)[1]
        errors.append(abs(samples.mean_over_rings(stack, left)[0] - exact))
    orders = [np.log2(coarse / fine) for coarse, fine in itertools.pairwise(errors)]
    assert errors[-1] < 5e-4
    assert min(orders) > 1.8, (errors, orders)


def test_error_falls_with_the_time_step() -> None:
    """An hour is first order in time: twice the steps to one Fourier number halve the error."""
    errors = []
    for radius_m, hours in ((0.5, 250), (0.5 * np.sqrt(2.0), 500), (1.0, 1000)):
        fourier = hours * SECONDS_PER_HOUR * DIFFUSIVITY / radius_m**2
        stack = bare_stack(samples.column(2.0 * radius_m, 64))
        left = cool(stack, films([10.0], radius_m), hours)[1]
        errors.append(
            samples.mean_over_rings(stack, left)[0] - samples.cylinder_mean(10.0, fourier)
        )
    assert errors[0] / errors[1] == pytest.approx(2.0, abs=0.3)
    assert errors[1] / errors[2] == pytest.approx(2.0, abs=0.3)


@pytest.mark.parametrize("emissivity", [0.0, 0.95])
@pytest.mark.parametrize("exchange_w_m2k", [10.0, 1e9])
def test_short_cylinder_is_a_cylinder_times_a_slab(
    exchange_w_m2k: float, emissivity: float
) -> None:
    """Both ends open: Carslaw and Jaeger 1959, the product of the two solutions."""
    radius_m, height_m, hours = 0.5, 1.2, 60
    grid = samples.column(2.0 * radius_m, 24, height_m=height_m, levels=24)
    stack = bare_stack(grid, exchange_w_m2k, emissivity)
    exchange = np.full(at.CASES, exchange_w_m2k)
    left = samples.mean_over_stack(stack, cool(stack, exchange, hours))[0]
    seconds, half_m = hours * SECONDS_PER_HOUR, 0.5 * height_m
    biot = exchange_w_m2k * radius_m / CONDUCTIVITY
    biot_end = exchange_w_m2k * half_m / (formulas.AXIAL_HEAT_RATIO * CONDUCTIVITY)
    fourier = DIFFUSIVITY * seconds / radius_m**2
    fourier_end = formulas.AXIAL_HEAT_RATIO * DIFFUSIVITY * seconds / half_m**2
    split = samples.cylinder_mean(biot, fourier, hours) * samples.slab_mean(
        biot_end, fourier_end, hours
    )
    assert left == pytest.approx(split, abs=1e-3)
    exact = samples.cylinder_mean(biot, fourier) * samples.slab_mean(biot_end, fourier_end)
    assert left == pytest.approx(exact, abs=0.01)


def test_wall_thick_beside_the_reach_of_heat_follows_the_error_function() -> None:
    """A step at the face of a half-space (Carslaw and Jaeger 1959, ch. 2): depth and uptake."""
    radius_m, hours = 100.0, 200
    stack = bare_stack(samples.column(2.0 * radius_m, 60, ring_ratio=1.15))
    left = cool(stack, films([np.inf], radius_m), hours)[1, :, 0]
    reach_m = 2.0 * np.sqrt(DIFFUSIVITY * hours * SECONDS_PER_HOUR)
    depth_m = radius_m - stack.grid.node_radius_m
    np.testing.assert_allclose(left, special.erf(depth_m / reach_m), atol=5e-3)
    lost_m = (1.0 - left) @ stack.grid.ring_area_m2 / (2.0 * np.pi * radius_m)
    assert lost_m == pytest.approx(reach_m / np.sqrt(np.pi), rel=0.01)


def test_wet_wood_holds_the_heat_of_its_water() -> None:
    """The same series with water in the wood; tight bark keeps it in."""
    radius_m, hours, moisture = 1.0, 600, 0.8
    stack = bare_stack(samples.column(2.0 * radius_m, 32))
    parameters = samples.changed(
        stack.parameters,
        start_moisture=moisture,
        bark_resistance_s_m=samples.SEALED_S_M,
    )
    stack = stack._replace(parameters=parameters)
    exchange = 5.0 * CONDUCTIVITY / radius_m
    forcing = samples.make_forcing(hours, air_temp=AIR_C, convection=exchange)
    forcing[:, at.F_UNCUT] = 1.0
    a = samples.run(stack, samples.start(stack, START_C), forcing)
    left = samples.mean_over_rings(stack, samples.cells(stack, a, at.TEMP)[1])[0]
    conductivity = float(formulas.conductivity_across_grain(moisture, CURVES.density_kg_m3))
    capacity = CURVES.density_kg_m3 * (CURVES.dry_heat_capacity_j_kg_k + 4186.0 * moisture)
    fourier = conductivity / capacity * hours * SECONDS_PER_HOUR / radius_m**2
    exact = samples.cylinder_mean(exchange * radius_m / conductivity, fourier, hours)
    assert (left - AIR_C) / (START_C - AIR_C) == pytest.approx(exact, abs=1e-3)


def test_bark_is_a_layer_in_series_with_the_film() -> None:
    """A thin sheet of resistance R lowers the film's coefficient h to 1 / (1/h + R)."""
    radius_m, hours, film, bark = 0.5, 100, 12.0, 0.1
    stack = bare_stack(samples.column(2.0 * radius_m, 16))
    barked = stack._replace(
        parameters=samples.changed(stack.parameters, bark_heat_resistance_m2k_w=bark)
    )
    both = 1.0 / (1.0 / film + bark)
    with_bark = cool(barked, np.full(at.CASES, film), hours)[1]
    with_less_film = cool(stack, np.full(at.CASES, both), hours)[1]
    np.testing.assert_allclose(with_bark, with_less_film, rtol=1e-12)


def test_sunlit_side_of_a_log_in_a_steady_beam() -> None:
    """Steady conduction under a half-cosine of beam: each mode of the girth has r^n.

    On eight sectors a mode's damping is that of the sectors, 4 sin^2(n pi/8) / (pi/4)^2 in place
    of n^2, so that the radial power is its root (Carslaw and Jaeger 1959, ch. 7, with it).
    """
    radius_m, exchange, beam = 0.12, 15.0, 400.0
    stack = bare_stack(samples.column(2.0 * radius_m, 48))
    modes, mean = samples.girth_modes(30.0), 1.0 / np.pi
    absorbed = float(stack.parameters[P.wood_bark_absorptance][0]) * beam
    forcing = samples.make_forcing(
        1500, air_temp=AIR_C, convection=exchange, beam_side=beam, sun_side=mean * beam
    )
    a = samples.run(stack, samples.start(stack, AIR_C), forcing, modes)
    for mode, order in enumerate((1, 1, 2, 2, 4)):
        power = 2.0 * np.sin(order * np.pi / 8.0) / (np.pi / 4.0)
        bark = absorbed * modes[mode] / (exchange + power * CONDUCTIVITY / radius_m)
        made = a[at.MODE_SURFACE, mode, 0]
        assert made == pytest.approx(bark, rel=0.02, abs=1e-9)
    assert a[at.SURFACE_TEMP, 0, 0] == pytest.approx(AIR_C + absorbed * mean / exchange, rel=1e-6)
