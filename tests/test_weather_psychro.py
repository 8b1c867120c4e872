"""Moist air against the printed examples of FAO-56 (Allen et al. 1998)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from climate_risk.weather import psychro


@pytest.mark.parametrize(
    ("temp_c", "expected_kpa"),
    [(0.0, 0.611), (10.0, 1.228), (15.0, 1.705), (20.0, 2.338), (24.5, 3.075), (40.0, 7.376)],
)
def test_saturation_pressure_matches_fao56_table_2_3(temp_c, expected_kpa):
    assert psychro.saturation_vapour_pressure_kpa(temp_c) == pytest.approx(expected_kpa, abs=6e-4)


def test_mean_saturation_matches_fao56_example_3():
    assert psychro.mean_saturation_kpa(15.0, 24.5) == pytest.approx(2.39, abs=5e-3)


def test_pressure_matches_fao56_example_2():
    assert psychro.pressure_hpa(1800.0) == pytest.approx(818.0, abs=0.5)


def test_mean_humidity_form_matches_fao56_example_5():
    mean_humidity = (54.0 + 82.0) / 2.0
    vapour = mean_humidity / 100.0 * psychro.mean_saturation_kpa(18.0, 25.0)
    assert vapour == pytest.approx(1.78, abs=5e-3)


def test_dew_point_of_25_c_at_half_saturation():
    # 13.84 C by Bolton's formula (computed with MetPy 1.7.1); ours differs by its constants.
    vapour = psychro.vapour_pressure_kpa(np.array(25.0), np.array(50.0))
    assert psychro.dew_point_c(vapour) == pytest.approx(13.84, abs=0.03)


@given(temp=st.floats(-40, 45), humidity=st.floats(1, 100))
def test_humidity_and_dew_point_are_inverses(temp, humidity):
    vapour = psychro.vapour_pressure_kpa(np.array(temp), np.array(humidity))
    assert psychro.relative_humidity_pct(np.array(temp), vapour) == pytest.approx(humidity)
    if vapour > 1e-3:
        dew = psychro.dew_point_c(vapour)
        assert dew <= temp + 1e-9
        assert psychro.saturation_vapour_pressure_kpa(dew) == pytest.approx(vapour)
