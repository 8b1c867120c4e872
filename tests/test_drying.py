"""Published drying of logs against the model, and the error of the production grid."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import drying
import grids

from climate_risk.tables import woods

TOLERANCE = {"ratio": 0.1}
"""By which a stated miss may differ from the computed one; 0.3 points for other quantities."""


@pytest.fixture(scope="module")
def found() -> pd.DataFrame:
    return drying.comparison()


@pytest.mark.parametrize("name", [n for n, c in drying.CASES.items() if c["use"] != "helper"])
def test_a_case_lies_in_the_published_scatter_or_its_miss_is_stated(
    found: pd.DataFrame, name: str
) -> None:
    """Sources and scatter stand beside each case in published/drying.toml."""
    row, stated = found.loc[name], drying.PUBLISHED["miss"].get(name)
    if stated is None:
        assert row["off"] == 0.0
        return
    assert row["off"] == pytest.approx(stated["off"], abs=TOLERANCE.get(row["quantity"], 0.3))
    if stated["band"]:
        assert row["p10"] <= row["high"]
        assert row["p90"] >= row["low"]


def test_eight_or_more_tested_blind_cases_hold_and_three_at_most_do_not(
    found: pd.DataFrame,
) -> None:
    """The aim, of 11; the case file tells how blind they are."""
    inside = found.loc[found["use"] == "blind", "verdict"] == "inside"
    assert inside.sum() >= 8
    assert (~inside).sum() <= 3


def test_a_case_is_not_tested_for_a_stated_reason() -> None:
    for case in drying.CASES.values():
        assert ("why_not" in case) == (case["use"] == "not tested")
    assert sum(case["use"] == "not tested" for case in drying.CASES.values()) <= 3


@pytest.mark.parametrize("table", ["miss", "miss_before"])
def test_a_miss_is_stated_of_a_case_that_exists(table: str) -> None:
    assert drying.PUBLISHED[table].keys() <= drying.CASES.keys()


def test_bigger_sawlogs_lose_less(found: pd.DataFrame) -> None:
    """Adams 1971: the percentage falls as logs get bigger."""
    assert found.loc["V1 small", "best"] > found.loc["V1", "best"] > found.loc["V1 large", "best"]


def test_short_bolts_dry_faster_than_long_logs() -> None:
    """Tomczak et al. 2020: 22.9 against 15 points in the same three months."""
    assert drying.predict("V3 bolts")[0] > 1.2 * drying.predict("V3 long logs")[0]


def test_the_fitted_bark_stands_near_what_the_sawlogs_need() -> None:
    """Red oak alone was fitted, to V1; rain is the least known of its weather.

    With the typical year's rain the tables' bark is what V1 needs, within 5 %.
    """
    bark = woods()["red oak"].bark_resistance_s_m
    wet, dry = drying.needed_resistance_s_m("V1"), drying.needed_resistance_s_m("V1", rain=False)
    assert bark.low < wet < dry < bark.high
    assert bark.value == pytest.approx(wet, rel=0.05)


def test_three_sizes_of_sawlog_lose_what_was_published(found: pd.DataFrame) -> None:
    """Adams 1971: 14.5, 7.6 and 5.3 %; the fit of bark and exponent, not a prediction."""
    rows = found.loc[["V1 small", "V1", "V1 large"]]
    np.testing.assert_allclose(rows["best"], rows["published"], rtol=0.04)


def test_time_lag_of_a_thousand_hour_stick() -> None:
    row = drying.PUBLISHED["timelag"]
    assert row["low_h"] < drying.timelag_hours()[0] < row["high_h"]


def test_made_weather_has_its_months_normals() -> None:
    place = drying.PUBLISHED["place"]["styria"]
    days = drying.typical_days(place, date(2014, 1, 1), date(2014, 12, 31))
    by_month = days.groupby(days.index.month)
    for column, normal in {"air_temp_mean_c": "mean_temp_c", "wind_ms": "wind_ms"}.items():
        assert by_month[column].mean().to_numpy() == pytest.approx(place[normal])
    rain = by_month["precip_mm"].mean().to_numpy() * 30.4
    assert rain == pytest.approx(place["rain_mm"])
    assert np.all(days["dew_point_c"] <= days["air_temp_mean_c"])


@pytest.mark.parametrize("scheme", grids.SCHEMES)
def test_error_of_the_production_grid_is_as_stated(scheme: str) -> None:
    """Best estimate, stack and driest face."""
    stated = drying.PUBLISHED["grid_error_pct"][scheme]
    made = grids.error_pct(scheme, grids.Cut(), grids.Cut().refined(4))[:, 0]
    assert made == pytest.approx(stated, abs=0.1)


@pytest.mark.xfail(strict=True, reason="see grid_error_pct in drying.toml")
@pytest.mark.parametrize("scheme", grids.SCHEMES)
def test_a_season_is_resolved_to_a_hundredth_of_its_range(scheme: str) -> None:
    """The aim, missed: 0.3 to 5.9 % for the stack, 2.5 to 6.1 % for the driest face."""
    assert (grids.error_pct(scheme, grids.Cut(), grids.Cut().refined(4))[:, 0] < 1.15).all()
