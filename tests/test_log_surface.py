"""The surface of the log against balances solved apart from it.

A column so tall that its ends do not matter, run until it stores no more heat: then sunlight,
long-wave, convection and evaporation must cancel, and Brent's method finds where.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize

from climate_risk.log import formulas, state
from climate_risk.log import layout as at

sys.path.insert(0, str(Path(__file__).parent))

import log_samples as samples

SIGMA = 5.670374419e-8
AIR_C, HUMIDITY, DIAMETER_M = 30.0, 0.40, 0.15
EMISSIVITY, SKY = 0.95, 0.9
"""Long-wave is 0.9 of a black body at the air's temperature, as in the published table."""
CURVES = samples.make_curves("aspen")


def churchill_bernstein(reynolds: float, prandtl: float) -> float:
    """Nusselt number of a cylinder in cross-flow (Churchill and Bernstein 1977)."""
    shape = 0.62 * reynolds**0.5 * prandtl ** (1 / 3) / (1 + (0.4 / prandtl) ** (2 / 3)) ** 0.25
    return 0.3 + shape * (1 + (reynolds / 282000) ** (5 / 8)) ** 0.8


def convection(wind_ms: float) -> float:
    """Of the log, with the properties of air at 20 degC [W/m2/K]."""
    return churchill_bernstein(wind_ms * DIAMETER_M / 1.506e-5, 0.713) * 0.02560 / DIAMETER_M


def vapour_conductance(heat_w_m2k: float, air_c: float = 20.0) -> float:
    """Lewis analogy at 101.325 kPa, Schmidt number 0.622 [m/s]."""
    density = 101325.0 / (287.05 * (air_c + 273.15))
    return heat_w_m2k / (density * 1006.0) * (0.713 / 0.622) ** (2 / 3)


def hand_balance(absorbed: float, heat_w_m2k: float, *, wet: bool, air_c: float = 20.0) -> float:
    """Temperature at which gains and losses cancel [degC]; vapour at the film's own rate."""
    vapour = HUMIDITY * samples.saturated_density(AIR_C)
    sky = SKY * SIGMA * (AIR_C + 273.15) ** 4

    def gain(surface_c: float) -> float:
        loss = 0.0
        if wet:
            rate = samples.saturated_density(surface_c) - vapour
            loss = 2.45e6 * vapour_conductance(heat_w_m2k, air_c) * float(rate)
        longwave = EMISSIVITY * (sky - SIGMA * (surface_c + 273.15) ** 4)
        return absorbed + longwave + heat_w_m2k * (AIR_C - surface_c) - loss

    return float(optimize.brentq(gain, -20.0, 120.0))


def steady_surface(absorbed: float, heat_w_m2k: float, *, wet: bool, sky: float = SKY) -> float:
    """Surface temperature of the kernel's log after it has come to rest [degC]."""
    parameters = samples.make_parameters(
        start_moisture=0.0,
        model_bark_emissivity=EMISSIVITY,
        wood_bark_absorptance=0.6,
        model_free_convection_w_m2k=0.0,
        model_outdoor_convection_factor=1.0,
        wood_bark_uptake_kg_m2_s=0.0,
        bark_resistance_s_m=samples.SEALED_S_M,
        barrier_vapour_resistance_s_m=samples.SEALED_S_M,
        model_side_rain_catch_share=1.0,
        wood_bark_store_kg_m2=50.0,
    )
    stack = samples.Stack(samples.column(DIAMETER_M, 4), CURVES, parameters)
    forcing = samples.make_forcing(
        300,
        air_temp=AIR_C,
        vapour=HUMIDITY * samples.saturated_density(AIR_C),
        convection=heat_w_m2k,
        sun_side=absorbed / 0.6,
        longwave_side=sky * SIGMA * (AIR_C + 273.15) ** 4,
        rain=5.0 if wet else 0.0,
    )
    a = samples.run(stack, samples.start(stack, AIR_C), forcing)
    return float(a[at.SURFACE_TEMP, 0, 0])


@pytest.mark.parametrize(
    ("reynolds", "prandtl", "nusselt"),
    [(6071, 0.7, 40.6371), (120, 0.71, 5.65356), (25000, 4, 174.054), (200000, 60, 1727.58)],
)
def test_reference_convection(reynolds: float, prandtl: float, nusselt: float) -> None:
    """The reference itself, against values of a public heat transfer library."""
    assert churchill_bernstein(reynolds, prandtl) == pytest.approx(nusselt, rel=1e-5)


def test_convection_of_the_program() -> None:
    """Churchill and Bernstein 1977; the program fits the properties of air by lines (1 %)."""
    for row in samples.published("convection_cylinder.csv"):
        made = formulas.convection_coefficient(
            row["diameter_m"], np.array([row["wind_ms"]]), np.array([20.0])
        )
        assert made[0] == pytest.approx(row["heat_w_m2k"], rel=0.01), row


def test_hand_balance_agrees_with_the_table() -> None:
    """The reference itself; the table is rounded to 0.1."""
    for row in samples.published("steady_bark.csv"):
        film = convection(row["wind_ms"])
        dry = hand_balance(row["absorbed_w_m2"], film, wet=False)
        wet = hand_balance(row["absorbed_w_m2"], film, wet=True)
        assert dry == pytest.approx(row["dry_c"], abs=0.15), row
        assert wet == pytest.approx(row["wet_c"], abs=0.25), row


def test_dry_bark_comes_to_the_balance() -> None:
    """Within 0.2 K: long-wave is the secant from the air's temperature to 15 K above it."""
    for row in samples.published("steady_bark.csv"):
        made = steady_surface(row["absorbed_w_m2"], convection(row["wind_ms"]), wet=False)
        assert made == pytest.approx(row["dry_c"], abs=0.2), row


def test_wet_bark_comes_to_the_balance() -> None:
    """The table's winds and suns by hand, film vapour at the program's 30 degC air.

    Up to 0.3 K too warm, where 0.2 was the aim: the secant of long-wave suits warm bark, and a
    wet one is 10 K colder than the air.
    """
    for row in samples.published("steady_bark.csv"):
        film = convection(row["wind_ms"])
        hand = hand_balance(row["absorbed_w_m2"], film, wet=True, air_c=AIR_C)
        made = steady_surface(row["absorbed_w_m2"], film, wet=True)
        assert made == pytest.approx(hand, abs=0.35), row


def test_wet_bark_never_warms_past_dry_bark() -> None:
    for row in samples.published("steady_bark.csv"):
        film = convection(row["wind_ms"])
        wet = steady_surface(row["absorbed_w_m2"], film, wet=True)
        assert 10.0 < wet < steady_surface(row["absorbed_w_m2"], film, wet=False) - 3.0


def test_wet_shaded_windy_bark_nears_the_wet_bulb() -> None:
    """30 degC and 40 %: wet bulb 19.84 degC (psychrometric tables, 1013.25 hPa).

    Radiation from surroundings at the air's temperature keeps it above, less as wind grows; the
    Lewis factor of a cylinder sets its own limit 0.4 K below the thermodynamic wet bulb.
    """
    wet = [steady_surface(0.0, film, wet=True, sky=1.0) for film in (5.0, 10.0, 30.0, 100.0)]
    assert wet == sorted(wet, reverse=True)
    assert wet[0] > 20.5
    assert wet[-1] == pytest.approx(19.84, abs=0.5)


@pytest.mark.parametrize("cold_c", [2.0, 8.0])
def test_dew_falls_on_bark_colder_than_the_dew_point(cold_c: float) -> None:
    """Air of 20 degC and 90 %, dew point 18.3: cold wood gains a film and its latent heat."""
    parameters = samples.make_parameters(
        start_moisture=0.0,
        wood_bark_uptake_kg_m2_s=0.0,
        bark_resistance_s_m=samples.SEALED_S_M,
    )
    stack = samples.Stack(samples.column(DIAMETER_M, 4), CURVES, parameters)
    vapour = 0.9 * samples.saturated_density(20.0)
    damp = samples.run(
        stack,
        samples.start(stack, cold_c),
        samples.make_forcing(1, vapour=vapour, convection=10.0),
    )
    dry = samples.run(
        stack,
        samples.start(stack, cold_c),
        samples.make_forcing(1, vapour=0.0, convection=10.0),
    )
    assert damp[at.SURFACE_WATER, 0, 0] > 0.0
    assert dry[at.SURFACE_WATER, 0, 0] == 0.0
    warmer = samples.cells(stack, damp, at.TEMP) - samples.cells(stack, dry, at.TEMP)
    assert warmer[1].min() > 0.0


@pytest.mark.parametrize("wind_ms", [0.5, 1.0, 2.0, 4.0, 8.0])
def test_wet_end_grain_evaporates_as_a_wet_surface(wind_ms: float) -> None:
    """Green end grain that water reaches easily is a wet surface in shade: 30 degC, 40 %.

    Up to 0.3 K too warm, as wet bark is, and so up to 6 % too much vapour.
    """
    film = convection(wind_ms)
    stack = samples.Stack(
        samples.column(50.0, 2, height_m=0.36, levels=20),
        CURVES,
        samples.make_parameters(
            start_moisture=1.5,
            model_bark_emissivity=EMISSIVITY,
            model_free_convection_w_m2k=0.0,
            model_outdoor_convection_factor=1.0,
            wood_free_diffusivity_longitudinal_m2_s=1e-6,
            bark_resistance_s_m=samples.SEALED_S_M,
            barrier_vapour_resistance_s_m=samples.SEALED_S_M,
            ground_heat_w_m2k=1e-9,
        ),
    )
    forcing = samples.make_forcing(
        200,
        air_temp=AIR_C,
        vapour=HUMIDITY * samples.saturated_density(AIR_C),
        convection=film,
        longwave_top=SKY * SIGMA * (AIR_C + 273.15) ** 4,
    )
    a = samples.run(stack, samples.start(stack, 21.0), forcing[:190])
    before = state.stored_water_kg(stack.grid, stack.curves, a)[0]
    samples.run(stack, a, forcing[190:], first_hour=190)
    lost = before - state.stored_water_kg(stack.grid, stack.curves, a)[0]
    assert samples.cells(stack, a, at.MOISTURE).min() > 0.6
    hand = hand_balance(0.0, film, wet=True, air_c=AIR_C)
    assert a[at.SURFACE_TEMP, 1, 0] == pytest.approx(hand, abs=0.3)
    deficit = samples.saturated_density(hand) - HUMIDITY * samples.saturated_density(AIR_C)
    rate = float(vapour_conductance(film, AIR_C) * deficit)
    assert lost / (36000.0 * np.pi * stack.grid.radius_m**2) == pytest.approx(rate, rel=0.06)


def test_soil_resists_where_the_barrier_has_rotted() -> None:
    """What a wet foot gives to soil at 99 % through a resistance, by hand: (c_wood - c_soil) / r.

    ``F_BARRIER_AGE`` far beyond any barrier's life; neither bark nor top gives anything.
    """
    resistances = np.array([500.0, 1000.0, 2000.0, 4000.0] * (at.CASES // 4))
    stack = samples.Stack(
        samples.column(0.2, 3, height_m=0.3, levels=15),
        samples.make_curves(),
        samples.make_parameters(
            start_moisture=1.0,
            bark_resistance_s_m=samples.SEALED_S_M,
            model_soil_resistance_s_m=resistances,
        ),
    )
    forcing = samples.make_forcing(240, air_temp=20.0, vapour=samples.saturated_density(20.0))
    forcing[:, at.F_BARRIER_AGE] = 1e6
    forcing[:, at.F_UNCUT] = 0.0
    a = samples.start(stack, 20.0)
    before = state.stored_water_kg(stack.grid, stack.curves, a)
    samples.run(stack, a, forcing)
    lost = before - state.stored_water_kg(stack.grid, stack.curves, a)
    area = np.pi * stack.grid.radius_m**2
    by_hand = (1.0 - formulas.SOIL_HUMIDITY) * samples.saturated_density(20.0) / resistances
    assert np.all(lost <= 1.02 * by_hand * area * 240 * 3600.0)
    assert np.all(lost > 0.5 * by_hand * area * 240 * 3600.0)
