"""Wood against published values and against its own limits."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from climate_risk.log import formulas

sys.path.insert(0, str(Path(__file__).parent))

import log_samples as samples

from climate_risk import tables
from climate_risk.log import wood

WOODS = sorted(tables.woods())


def test_equilibrium_moisture_is_that_of_the_wood_handbook() -> None:
    """Wood Handbook FPL-GTR-190, Table 4-2 (typed from memory): it is rounded to 0.1."""
    for row in samples.published("wood_handbook_table_4_2.csv"):
        temp_c = (row["temp_f"] - 32.0) / 1.8
        moisture = formulas.equilibrium_moisture(temp_c, row["rel_humidity_pct"] / 100.0)
        assert 100.0 * moisture == pytest.approx(row["moisture_pct"], abs=0.06), row


@pytest.mark.parametrize(
    ("rel_humidity_pct", "moisture_pct"), [(25, 5.3), (60, 11.1), (84, 17.6), (87, 19.0)]
)
def test_equilibrium_moisture_of_another_calculator(
    rel_humidity_pct: float, moisture_pct: float
) -> None:
    """A public calculator of Simpson 1998, FPL-RN-0268, at 70 degF; it rounds to 0.1 or so."""
    moisture = formulas.equilibrium_moisture(21.1, rel_humidity_pct / 100.0)
    assert 100.0 * moisture == pytest.approx(moisture_pct, abs=0.2)


@pytest.mark.parametrize(
    ("density", "moisture_pct"),
    [(560, 114), (490, 139), (400, 185), (350, 221), (600, 102), (460, 152), (320, 248)],
)
def test_moisture_with_no_air_left(density: float, moisture_pct: float) -> None:
    """Wood Handbook eq. 4-3 (from memory), worked by hand with walls of 1.54."""
    assert 100.0 * formulas.max_moisture(density) == pytest.approx(moisture_pct, abs=0.6)


@pytest.mark.parametrize(
    ("psi_mpa", "humidity_pct", "rounding"),
    [(-0.5, 99.63, 0.005), (-1.5, 98.9, 0.05), (-5.3, 96.2, 0.05), (-7.0, 95.0, 0.05)],
)
def test_humidity_over_water_at_a_potential(
    psi_mpa: float, humidity_pct: float, rounding: float
) -> None:
    """Kelvin's equation at 20 degC, worked apart from this program."""
    activity = formulas.activity_of_potential(psi_mpa, 20.0)
    assert 100.0 * activity == pytest.approx(humidity_pct, abs=1.01 * rounding)


@pytest.mark.parametrize("name", WOODS)
def test_retention_falls_with_tension_and_joins_both_ends(name: str) -> None:
    row = tables.woods()[name]
    psi = -np.logspace(-6, 3, 400)
    held = wood.retention_moisture(psi, row)
    assert np.all(np.diff(held) < 0.0)
    full = formulas.max_moisture(row.basic_density_kg_m3.value)
    assert wood.retention_moisture(0.0, row) == pytest.approx(full, rel=1e-12)
    # At -400 MPa, near 5 % humidity, capillary water is gone and the sorbed water is left.
    sorbed = formulas.equilibrium_moisture(20.0, formulas.activity_of_potential(-400.0))
    assert wood.retention_moisture(-400.0, row) == pytest.approx(sorbed, abs=0.003)


@pytest.mark.parametrize("name", WOODS)
def test_wood_at_rest_in_dry_air_follows_the_handbook(name: str) -> None:
    """Capillary water adds at most two points of moisture where air is at 80 % or less."""
    made = wood.wood_tables(tables.woods()[name])
    for row in samples.published("wood_handbook_table_4_2.csv"):
        if row["temp_f"] == 70 and 20 <= row["rel_humidity_pct"] <= 80:
            index = round(row["rel_humidity_pct"] / 100.0 / wood.ACTIVITY_STEP)
            extra = 100.0 * made.moisture_by_activity[index] - row["moisture_pct"]
            assert -0.1 < extra < 2.0, row


@pytest.mark.parametrize("name", WOODS)
def test_tables_invert_each_other(name: str) -> None:
    made = wood.wood_tables(tables.woods()[name])
    moisture = np.arange(made.activity.size) * wood.MOISTURE_STEP
    assert np.all(np.diff(made.activity) >= 0.0)
    assert made.activity[0] == 0.0
    assert made.activity[-1] == 1.0
    wanted = np.arange(0.05, wood.ACTIVITY_MAX, 0.05)
    grid = np.arange(made.moisture_by_activity.size) * wood.ACTIVITY_STEP
    held = np.interp(wanted, grid, made.moisture_by_activity)
    np.testing.assert_allclose(np.interp(held, moisture, made.activity), wanted, atol=2e-3)


@pytest.mark.parametrize("name", WOODS)
def test_potential_table_is_the_inverse_of_retention(name: str) -> None:
    row = tables.woods()[name]
    made = wood.wood_tables(row)
    moisture = np.arange(made.potential_mpa.size) * wood.MOISTURE_STEP
    inside = (moisture > 0.05) & (moisture < made.max_moisture - 0.01)
    back = wood.retention_moisture(made.potential_mpa[inside], row)
    np.testing.assert_allclose(back, moisture[inside], atol=5e-4)


@pytest.mark.parametrize(
    ("density", "moisture", "diffusivity"),
    [
        (500, 0.10, 3.852e-11),
        (500, 0.20, 9.727e-11),
        (600, 0.15, 4.104e-11),
        (400, 0.15, 9.807e-11),
    ],
)
def test_bound_water_diffusivity(density: float, moisture: float, diffusivity: float) -> None:
    """Siau 1984 (from memory), worked apart from this program at 20 degC."""
    assert formulas.bound_diffusivity(moisture, density) == pytest.approx(diffusivity, rel=2e-3)


def test_bound_water_diffuses_faster_in_warm_wood() -> None:
    """Siau 1984 (from memory): at 15 % moisture 3.507e-12 m2/s at 10 degC, 9.133e-12 at 30."""
    warming = 1.0 / (8.314 * 283.15) - 1.0 / (8.314 * 303.15)
    ratio = np.exp(formulas.activation_energy(0.15) * warming)
    assert ratio == pytest.approx(9.133 / 3.507, rel=1e-3)


@pytest.mark.parametrize(
    ("density", "moisture", "conductivity"),
    [(560, 0.60, 0.321), (400, 0.90, 0.302), (350, 1.00, 0.286)],
)
def test_conductivity_of_wet_wood(density: float, moisture: float, conductivity: float) -> None:
    """MacLean 1941 (from memory), worked apart from this program with the slope at 0.0055."""
    made = formulas.conductivity_across_grain(moisture, density)
    assert made == pytest.approx(conductivity, rel=4e-3)


@pytest.mark.parametrize(
    ("oven_dry_density", "moisture", "conductivity"),
    [(500, 0.0, 0.11569), (500, 0.12, 0.14007), (660, 0.12, 0.17893), (400, 0.12, 0.11579)],
)
def test_conductivity_of_dry_wood_is_within_the_handbooks_spread(
    oven_dry_density: float, moisture: float, conductivity: float
) -> None:
    """Wood Handbook FPL-GTR-190, eq. 4-15, which claims 20 %; ours is MacLean's line."""
    made = formulas.conductivity_across_grain(moisture, oven_dry_density)
    assert made == pytest.approx(conductivity, rel=0.10)


def test_conductivity_rises_without_a_jump() -> None:
    k = formulas.conductivity_across_grain(np.linspace(0.0, 2.0, 2001), 500.0)
    assert np.all(np.diff(k) > 0.0)
    assert np.diff(k).max() < 1e-3


@pytest.mark.parametrize(("kelvin", "capacity"), [(280, 1185.9), (300, 1263.2), (320, 1340.5)])
def test_heat_capacity_of_dry_wood(kelvin: float, capacity: float) -> None:
    """Wood Handbook FPL-GTR-190, eq. 4-16a, worked apart from this program."""
    assert formulas.dry_heat_capacity(kelvin - 273.15) == pytest.approx(capacity, abs=0.06)
