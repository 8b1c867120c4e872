"""Water and energy of the log add up, whatever the weather; frost; the closed ledger."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, special

from climate_risk.log import formulas, state
from climate_risk.log import layout as at
from climate_risk.log.parameters import P

sys.path.insert(0, str(Path(__file__).parent))

import log_samples as samples

from climate_risk.constants import LATENT_HEAT_FUSION_J_KG, SECONDS_PER_HOUR

HOURS = 24 * 15
WATER_TERMS = {at.B_WATER_IN: 1.0, at.B_WATER_OUT: -1.0, at.B_RUNOFF: -1.0}
HEAT_TERMS = {
    at.B_SHORTWAVE: 1.0,
    at.B_EXCHANGE: 1.0,
    at.B_LATENT: -1.0,
    at.B_GROUND_HEAT: 1.0,
    at.B_WATER_HEAT: 1.0,
}


def weather(kind: str, seed: int) -> np.ndarray:
    """Random hours, other in every case: of a mild season, of frost, or of drought."""
    rng = np.random.default_rng(seed)
    shape = (HOURS, at.CASES)
    warm, swing = {"mild": (15.0, 12.0), "frost": (-1.0, 8.0), "drought": (28.0, 10.0)}[kind]
    hour = np.arange(HOURS)[:, None]
    air = warm + swing * np.sin(2 * np.pi * (hour - 9) / 24) + rng.normal(0.0, 3.0, shape)
    humidity = rng.uniform(0.1, 0.5, shape) if kind == "drought" else rng.uniform(0.3, 1.0, shape)
    sun = np.maximum(np.sin(2 * np.pi * (hour - 6) / 24), 0.0) * rng.uniform(0.0, 900.0, shape)
    rain = np.where(rng.random(shape) < 0.1, rng.exponential(3.0, shape), 0.0)
    day = np.repeat(rng.random((HOURS // 24, at.CASES)) < 0.5, 24, axis=0)
    return samples.make_forcing(
        HOURS,
        air_temp=air,
        vapour=humidity * samples.saturated_density(air),
        convection=rng.uniform(1.0, 40.0, shape),
        longwave_side=rng.uniform(250.0, 450.0, shape),
        longwave_top=rng.uniform(200.0, 450.0, shape),
        rain=0.0 if kind == "drought" else rain,
        watering=np.where(rng.random(shape) < 0.02, rng.uniform(0.0, 8.0, shape), 0.0),
        soil_temp=np.clip(warm + rng.normal(0.0, 2.0, shape), -5.0, 30.0),
        bag=day,
        sun_side=sun / np.pi,
        sun_top=sun,
        beam_side=sun,
    )


def ran(kind: str, seed: int = 1) -> tuple[samples.Stack, np.ndarray, np.ndarray]:
    """A stack, its state before and after one such season; cases differ in start moisture."""
    parameters = samples.make_parameters(
        "red maple",
        start_moisture=np.linspace(0.05, 1.3, at.CASES),
        bark_resistance_s_m=np.geomspace(100.0, 50000.0, at.CASES),
    )
    stack = samples.Stack(samples.small_grid(5, 4), samples.make_curves("red maple"), parameters)
    before = samples.start(stack, 5.0)
    after = samples.run(stack, before.copy(), weather(kind, seed), samples.girth_modes(200.0))
    return stack, before, after


def water_residual(stack: samples.Stack, before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Change of stored water less what the ledger explains, over all that moved, by case."""
    stored = [state.stored_water_kg(stack.grid, stack.curves, a) for a in (before, after)]
    return _residual(stored, after, WATER_TERMS)


def heat_residual(stack: samples.Stack, before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Change of stored heat less what the ledger explains, over all that moved, by case."""
    stored = [state.stored_heat_j(stack.grid, stack.curves, a) for a in (before, after)]
    return _residual(stored, after, HEAT_TERMS)


def _residual(stored: list[np.ndarray], after: np.ndarray, terms: dict[int, float]) -> np.ndarray:
    ledger = after[at.BUDGET]
    explained = sum(sign * ledger[term] for term, sign in terms.items())
    moved = sum(np.abs(ledger[term]) for term in terms)
    return np.abs(stored[1] - stored[0] - explained) / moved


@pytest.mark.parametrize("kind", ["mild", "frost", "drought"])
@pytest.mark.parametrize("seed", [1, 2])
def test_water_and_energy_close(kind: str, seed: int) -> None:
    """What is stored is what came in less what left, to rounding."""
    stack, before, after = ran(kind, seed)
    assert water_residual(stack, before, after).max() < 1e-11
    assert heat_residual(stack, before, after).max() < 1e-11


@pytest.mark.parametrize("kind", ["mild", "frost"])
def test_every_term_of_the_budget_acts(kind: str) -> None:
    """Each term weighs in these runs, so that a flux of the wrong sign or one that is not booked
    opens the balance: such fluxes are planted in the kernel by ``plant_faults.py``.
    """
    _, _, after = ran(kind)
    for terms in (WATER_TERMS, HEAT_TERMS):
        moved = sum(np.abs(after[at.BUDGET, term]) for term in terms)
        for term in terms:
            assert np.median(np.abs(after[at.BUDGET, term]) / moved) > 1e-4, term


def test_random_weather_holds_what_it_should() -> None:
    """The runs above see frost and thaw, films, dew, dry and soaked wood."""
    _, before, mild = ran("mild")
    stack, _, frost = ran("frost")
    _, _, drought = ran("drought")
    assert frost[at.ICE].max() > 0.0
    assert (samples.cells(stack, frost, at.TEMP) > 0.0).any()
    assert (samples.cells(stack, frost, at.TEMP) < 0.0).any()
    assert mild[at.SURFACE_WATER, :2].max() > 0.0
    assert samples.cells(stack, drought, at.MOISTURE).min() < 0.15
    gained = samples.cells(stack, mild, at.MOISTURE) - samples.cells(stack, before, at.MOISTURE)
    assert gained.max() > 0.3


def test_rain_and_watering_are_booked_as_they_fall() -> None:
    """Depth times top area and a share of the side, a tenth of it into a bag; litres on top."""
    stack = samples.Stack(
        samples.small_grid(),
        samples.make_curves(),
        samples.make_parameters(
            start_moisture=0.0,
            barrier_vapour_resistance_s_m=samples.SEALED_S_M,
            bag_rain_share=0.1,
        ),
    )
    bag = np.resize([0.0, 1.0], at.CASES)
    forcing = samples.make_forcing(
        6, rain=2.0, watering=0.5, bag=np.broadcast_to(bag, (6, at.CASES)), convection=10.0
    )
    a = samples.run(stack, samples.start(stack), forcing)
    top = np.pi * stack.grid.radius_m**2
    side = 2.0 * np.pi * stack.grid.radius_m * stack.grid.height_m
    share = float(stack.parameters[P.model_side_rain_catch_share][0])
    rain_kg = 6 * 2.0 * (top + share * side)
    booked = a[at.BUDGET, at.B_WATER_IN]
    assert booked[0] == pytest.approx(rain_kg + 6 * 0.5, rel=1e-9)
    assert booked[1] == pytest.approx(0.1 * rain_kg + 6 * 0.5, rel=1e-9)


def frozen_column(hours: int, air_c: float, rings: int = 60) -> tuple[samples.Stack, np.ndarray]:
    """A thick wall at 0 degC, 80 % moist and sealed, its face held at the air's temperature."""
    stack = samples.Stack(
        samples.column(200.0, rings, ring_ratio=1.15),
        samples.make_curves(),
        samples.make_parameters(
            start_moisture=0.8,
            bark_heat_resistance_m2k_w=0.0,
            bark_resistance_s_m=samples.SEALED_S_M,
            barrier_vapour_resistance_s_m=samples.SEALED_S_M,
        ),
    )
    forcing = samples.make_forcing(hours, air_temp=air_c, convection=1e9)
    return stack, samples.run(stack, samples.start(stack, 0.0), forcing)


def test_frost_goes_in_as_stefan_says() -> None:
    """One-phase Stefan problem (Carslaw and Jaeger 1959, ch. 11): s = 2 c sqrt(alpha t).

    c exp(c^2) erf(c) = Stefan number / sqrt(pi).  Only water above 30 % freezes.
    """
    hours, cold = 400, -8.0
    stack, a = frozen_column(hours, cold)
    curves = stack.curves
    capacity = curves.dry_heat_capacity_j_kg_k + 4186.0 * 0.8
    latent = LATENT_HEAT_FUSION_J_KG * (0.8 - formulas.BOUND_WATER_MAX)
    stefan = capacity * -cold / latent

    def gap(c: float) -> float:
        return float(c * np.exp(c * c) * special.erf(c) - stefan / np.sqrt(np.pi))

    conductivity = float(formulas.conductivity_across_grain(0.8, curves.density_kg_m3))
    diffusivity = conductivity / (curves.density_kg_m3 * capacity)
    depth = 2.0 * optimize.brentq(gap, 1e-6, 3.0) * np.sqrt(diffusivity * hours * SECONDS_PER_HOUR)
    ice = samples.cells(stack, a, at.ICE)[1, :, 0] / (0.8 - formulas.BOUND_WATER_MAX)
    made = ice @ stack.grid.ring_area_m2 / (2.0 * np.pi * stack.grid.radius_m)
    assert made == pytest.approx(depth, rel=0.05)


def test_freezing_and_thawing_hold_the_log_at_zero() -> None:
    """Ten cold days, ten warm: the core waits at 0 degC, ice comes and goes, energy closes."""
    stack = samples.Stack(
        samples.small_grid(5, 4),
        samples.make_curves(),
        samples.make_parameters(start_moisture=1.2),
    )
    air = np.repeat([-6.0, 6.0], 24 * 10)
    forcing = samples.make_forcing(
        480, air_temp=air, vapour=0.8 * samples.saturated_density(air), convection=12.0
    )
    before = samples.start(stack, 5.0)
    a, core, ice = before.copy(), [], []
    for hour, row in enumerate(forcing):
        samples.run(stack, a, row[None], first_hour=hour)
        core.append(samples.cells(stack, a, at.TEMP)[4, 0, 0])
        ice.append(samples.cells(stack, a, at.ICE)[4, 0, 0])
        assert np.all(a[at.ICE] >= 0.0)
        assert np.all(a[at.ICE] <= np.maximum(a[at.MOISTURE] - 0.30, 0.0) + 1e-12)
    waiting = np.abs(core) < 1e-6
    assert waiting[:240].sum() > 24
    assert waiting[240:].sum() > 24
    assert core[239] < -4.0
    assert core[-1] > 4.0
    assert ice[239] > 0.5
    assert ice[-1] == 0.0
    assert heat_residual(stack, before, a).max() < 1e-11
    assert water_residual(stack, before, a).max() < 1e-11
