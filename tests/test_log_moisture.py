"""Water in the log against closed solutions.

Above 35 % moisture only the lane's constants move water, so a log that stays above it obeys the
diffusion equation with constant coefficients.  The tests bring that about with the curves, which
are an input of the kernel: the wood is made to rest at 50 % in any air (a fixed surface, with no
resistance outside), or its activity is made a straight line (a film of constant coefficient).
A film of air so strong that evaporation cannot cool the surface keeps the log isothermal.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import numpy as np
import pytest

from climate_risk.log import layout as at
from climate_risk.log.parameters import P

sys.path.insert(0, str(Path(__file__).parent))

import log_samples as samples

from climate_risk import tables
from climate_risk.constants import SECONDS_PER_HOUR
from climate_risk.engine import stack as stack_room
from climate_risk.log import geometry, wood
from climate_risk.log.layout import MOISTURE

ACROSS, ALONG = 1e-10, 1.5e-9
START, REST = 0.9, 0.5
STRONG = 1e9
LATENT_HEAT_J_KG = 2.45e6
"""Allen et al. 1998, FAO-56."""
RADIATION = 5.0
"""Of a bark near air temperature [W/m2/K]; it only corrects a cooling of about 0.1 K."""
CURVES = samples.make_curves("aspen")


def diffusion_stack(grid: geometry.Grid, **changes: float) -> samples.Stack:
    """Wood that rests at 50 %, with nothing between its faces and the air or the ground."""
    parameters = samples.make_parameters(
        start_moisture=START,
        wood_free_diffusivity_transverse_m2_s=ACROSS,
        wood_free_diffusivity_longitudinal_m2_s=ALONG,
        wood_uptake_diffusivity_m2_s=ALONG,
        **{
            "bark_resistance_s_m": 0.0,
            "barrier_vapour_resistance_s_m": 0.0,
            "model_soil_resistance_s_m": 0.0,
            "ground_heat_w_m2k": STRONG,
        }
        | changes,
    )
    rest = np.full_like(CURVES.moisture_by_activity, REST)
    return samples.Stack(grid, CURVES._replace(moisture_by_activity=rest), parameters)


def film_s_m(temp_c: float, convection: float) -> float:
    """Resistance of the air film: Lewis analogy, Schmidt number 0.622, air of 101.3 kPa."""
    air = 101325.0 / (287.05 * (temp_c + 273.15))
    return air * 1006.0 / (convection * (0.713 / 0.622) ** (2.0 / 3.0))


def dry(stack: samples.Stack, hours: int) -> np.ndarray:
    """What is left (0 to 1) of the water above rest, by cell, in one case."""
    vapour = 0.5 * samples.saturated_density(20.0)
    forcing = samples.make_forcing(hours, convection=STRONG, vapour=vapour)
    a = samples.run(stack, samples.start(stack), forcing)
    return (samples.cells(stack, a, MOISTURE) - REST) / (START - REST)


@pytest.mark.parametrize(("days", "radial"), [(30, 0.563837), (180, 0.139821)])
def test_long_log_dries_as_the_series_says(days: int, radial: float) -> None:
    """Crank 1975, ch. 5 (sum of 4/a^2 exp(-a^2 Fo)), D 1e-10 m2/s, radius 75 mm."""
    stack = diffusion_stack(samples.column(0.15, 8, ring_ratio=1.5))
    left = samples.mean_over_rings(stack, dry(stack, 24 * days)[1])[0]
    assert samples.cylinder_mean(np.inf, ACROSS * days * 86400.0 / 0.075**2) == pytest.approx(
        radial, abs=2e-6
    )
    assert left == pytest.approx(radial, abs=0.01)


@pytest.mark.parametrize(
    ("height_m", "days", "remaining"),
    [(1.0, 30, 0.484495), (1.0, 180, 0.091627), (0.4, 180, 0.026879)],
)
def test_log_with_open_ends_dries_as_cylinder_times_slab(
    height_m: float, days: int, remaining: float
) -> None:
    """Crank 1975, ch. 4 and 5: the product, along 1.5e-9, across 1e-10 m2/s, radius 75 mm."""
    fourier = ACROSS * days * 86400.0 / 0.075**2
    fourier_end = ALONG * days * 86400.0 / (0.5 * height_m) ** 2
    product = samples.cylinder_mean(np.inf, fourier) * samples.slab_mean(np.inf, fourier_end)
    assert product == pytest.approx(remaining, abs=2e-6)
    stack = diffusion_stack(samples.column(0.15, 16, height_m=height_m, levels=48))
    left = samples.mean_over_stack(stack, dry(stack, 24 * days))[0]
    assert left == pytest.approx(remaining, abs=3e-3)


def test_error_falls_with_the_square_of_the_ring() -> None:
    """Even rings, 8 to 32, against the series with the time step's own error left in it."""
    hours = 24 * 60
    exact = samples.cylinder_mean(np.inf, ACROSS * hours * SECONDS_PER_HOUR / 0.075**2, hours)
    errors = []
    for rings in (8, 16, 32):
        stack = diffusion_stack(samples.column(0.15, rings))
        left = samples.mean_over_rings(stack, dry(stack, hours)[1])[0]
        errors.append(abs(left - exact))
    orders = [np.log2(coarse / fine) for coarse, fine in itertools.pairwise(errors)]
    assert errors[-1] < 5e-4
    assert min(orders) > 1.8, (errors, orders)


@pytest.mark.parametrize("biot", [0.5, 2.0, 10.0])
def test_log_with_a_bark_of_constant_coefficient(biot: float) -> None:
    """Crank 1975, ch. 5, surface evaporation: an activity in proportion to moisture is linear.

    The bark's coefficient is (saturated vapour density) / resistance per unit of moisture.
    """
    radius_m, hours = 0.075, 24 * 90
    moisture = np.arange(CURVES.activity.size) * wood.MOISTURE_STEP
    activity = np.arange(CURVES.moisture_by_activity.size) * wood.ACTIVITY_STEP
    coefficient = biot * CURVES.density_kg_m3 * ACROSS / radius_m
    stack = diffusion_stack(
        samples.column(2.0 * radius_m, 32),
        bark_resistance_s_m=samples.saturated_density(20.0) / coefficient,
    )
    stack = stack._replace(
        curves=CURVES._replace(activity=moisture, moisture_by_activity=activity)
    )
    left = samples.mean_over_rings(stack, dry(stack, hours)[1])[0]
    fourier = ACROSS * hours * SECONDS_PER_HOUR / radius_m**2
    assert left == pytest.approx(samples.cylinder_mean(biot, fourier), abs=2e-3)


def drying_over_free_water(
    grid: geometry.Grid, temp_c: float, humidity: float, resistance_s_m: float
) -> float:
    """Rate of green wood over that of free water behind the same bark and film, for two days."""
    convection, saturated = 40.0, samples.saturated_density(temp_c)
    stack = samples.Stack(
        grid,
        CURVES,
        samples.make_parameters(start_moisture=1.0, bark_resistance_s_m=resistance_s_m),
    )
    forcing = samples.make_forcing(
        72, air_temp=temp_c, vapour=humidity * saturated, convection=convection
    )
    a = samples.run(stack, samples.start(stack, temp_c), forcing[:24])
    before = samples.mean_over_rings(stack, samples.cells(stack, a, MOISTURE)[1])[0]
    samples.run(stack, a, forcing[24:], first_hour=24)
    after = samples.mean_over_rings(stack, samples.cells(stack, a, MOISTURE)[1])[0]
    assert samples.cells(stack, a, MOISTURE)[1, :, 0].min() > 0.5
    lost = (before - after) * CURVES.density_kg_m3 * 0.5 * grid.radius_m
    lost /= 48 * SECONDS_PER_HOUR
    surface_c = temp_c - LATENT_HEAT_J_KG * lost / (convection + RADIATION)
    free = samples.saturated_density(surface_c) - humidity * saturated
    return float(lost * (resistance_s_m + film_s_m(temp_c, convection)) / free)


@pytest.mark.parametrize("temp_c", [5.0, 20.0, 35.0])
@pytest.mark.parametrize("humidity", [0.3, 0.6, 0.9])
def test_wet_wood_dries_at_the_rate_of_its_bark(temp_c: float, humidity: float) -> None:
    """Above fibre saturation: (saturated - air) vapour over bark and film in series.

    Green wood holds its water at an activity of 0.995 or more.  Rings of 0.6 mm.
    """
    ratio = drying_over_free_water(samples.column(0.08, 64), temp_c, humidity, 6000.0)
    assert ratio == pytest.approx(1.0, abs=0.005 / (1.0 - humidity) + 0.01)


@pytest.mark.parametrize(
    ("temp_c", "humidity", "resistance_s_m"), [(25.0, 0.5, 2500.0), (35.0, 0.3, 6000.0)]
)
def test_season_grid_dries_at_the_rate_of_its_bark(
    temp_c: float, humidity: float, resistance_s_m: float
) -> None:
    """The same on the rings of a season, a log 0.24 m across."""
    grid = samples.column(0.24, stack_room.RINGS, ring_ratio=geometry.RING_RATIO)
    ratio = drying_over_free_water(grid, temp_c, humidity, resistance_s_m)
    assert ratio == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(("humidity_pct", "moisture_pct"), [(50, 9.2), (60, 11.0), (70, 13.1)])
def test_thin_stick_comes_to_rest_where_the_handbook_says(
    humidity_pct: float, moisture_pct: float
) -> None:
    """Wood Handbook Table 4-2, 70 degF; up to one point more is capillary water."""
    stack = samples.Stack(
        samples.column(0.01, 4),
        CURVES,
        samples.make_parameters(start_moisture=0.6, bark_resistance_s_m=100.0),
    )
    vapour = 0.01 * humidity_pct * samples.saturated_density(21.1)
    forcing = samples.make_forcing(24 * 120, air_temp=21.1, vapour=vapour, convection=20.0)
    a = samples.run(stack, samples.start(stack), forcing)
    held = 100.0 * samples.mean_over_rings(stack, samples.cells(stack, a, MOISTURE)[1])[0]
    made = wood.wood_tables(tables.woods()["aspen"])
    exact = made.moisture_by_activity[round(humidity_pct / 100.0 / wood.ACTIVITY_STEP)]
    assert held == pytest.approx(100.0 * exact, abs=0.02)
    assert -0.1 < held - moisture_pct < 1.0


def test_dry_stick_takes_water_from_damp_air_to_the_same_rest() -> None:
    """Drying and wetting meet: the model has one isotherm, the handbook's mean of both."""
    stack = samples.Stack(
        samples.column(0.01, 4),
        CURVES,
        samples.make_parameters(
            start_moisture=np.resize([0.02, 0.6], at.CASES), bark_resistance_s_m=100.0
        ),
    )
    forcing = samples.make_forcing(
        24 * 200, vapour=0.7 * samples.saturated_density(20.0), convection=20.0
    )
    a = samples.run(stack, samples.start(stack), forcing)
    held = samples.mean_over_rings(stack, samples.cells(stack, a, MOISTURE)[1])
    assert held[0] == pytest.approx(held[1], abs=2e-4)


def uptake_over_half_space(cell_m: float, hours: int) -> float:
    """Water taken up by a soaked end over that of a half-space whose face has no air left."""
    diffusivity = 1.2e-8
    stack = samples.Stack(
        samples.column(50.0, 2, height_m=1.5, levels=round(1.5 / cell_m)),
        CURVES,
        samples.make_parameters(
            start_moisture=0.6,
            wood_free_diffusivity_longitudinal_m2_s=diffusivity,
            wood_uptake_diffusivity_m2_s=diffusivity,
            bark_resistance_s_m=samples.SEALED_S_M,
            wood_bark_uptake_kg_m2_s=0.0,
            barrier_vapour_resistance_s_m=samples.SEALED_S_M,
        ),
    )
    damp = samples.saturated_density(20.0)
    forcing = samples.make_forcing(hours, vapour=damp, convection=10.0, rain=5.0)
    a = samples.run(stack, samples.start(stack), forcing)
    taken = (samples.cells(stack, a, MOISTURE)[:, 0, 0] - 0.6) @ stack.grid.level_m
    reach_m = 2.0 * np.sqrt(diffusivity * hours * SECONDS_PER_HOUR / np.pi)
    return float(taken / ((CURVES.max_moisture - 0.6) * reach_m))


@pytest.mark.parametrize(("hours", "tolerance"), [(240, 0.05), (1000, 0.03)])
def test_soaked_end_takes_up_water_with_the_square_root_of_time(
    hours: int, tolerance: float
) -> None:
    """Crank 1975, ch. 3, 2 sqrt(D t / pi): how Ogawa and Yashima 2021 read D off soaked logs."""
    assert uptake_over_half_space(0.02, hours) == pytest.approx(1.0, abs=tolerance)


def test_a_day_of_soaking_on_thin_cells() -> None:
    assert uptake_over_half_space(0.005, 24) == pytest.approx(1.0, abs=0.15)


@pytest.mark.parametrize("start", [0.12, 0.6])
@pytest.mark.parametrize(("hours", "share"), [(1, 0.88), (2, 0.93), (4, 0.96)])
def test_rain_of_an_hour_enters_wet_and_dry_end_grain_alike(
    start: float, hours: int, share: float
) -> None:
    """By the season's grid and hour; the law is Ogawa and Yashima's, measured from dry logs.

    Of 2 sqrt(D t / pi) one implicit step takes sqrt(pi) / 2 = 0.886, and more steps more.
    """
    grid = samples.season_grid(pieces=1)
    parameters = samples.make_parameters(
        start_moisture=start,
        bark_resistance_s_m=samples.SEALED_S_M,
        wood_bark_uptake_kg_m2_s=0.0,
        barrier_vapour_resistance_s_m=samples.SEALED_S_M,
    )
    stack = samples.Stack(grid, CURVES, parameters)
    damp = samples.saturated_density(20.0)
    forcing = samples.make_forcing(hours, vapour=damp, convection=10.0, rain=40.0)
    a = samples.run(stack, samples.start(stack), forcing)
    wet = samples.mean_over_rings(stack, samples.cells(stack, a, MOISTURE))[:, 0]
    reach_m = 2.0 * np.sqrt(
        parameters[P.wood_uptake_diffusivity_m2_s, 0] * hours * SECONDS_PER_HOUR / np.pi
    )
    law = (CURVES.max_moisture - start) * reach_m
    assert (wet - start) @ grid.level_m == pytest.approx(share * law, rel=0.025)
