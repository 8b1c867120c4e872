"""The engine's bookkeeping: draws by their scale, and weather of the hour on its own day."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.engine.days import months_after
from climate_risk.engine.draws import at_quantile
from climate_risk.engine.record import Record
from climate_risk.engine.reference import simulate
from climate_risk.engine.stack import Scheme, cover_table
from climate_risk.interventions import CoverSpan
from climate_risk.microclimate.radiation import (
    C_BARRIER_AGE,
    W_CONVECTION,
    W_CONVECTION_CLOTH,
    W_WIND,
    W_WIND_CLOTH,
)
from climate_risk.tables import Parameter, cloths

INOCULATED = date(2021, 7, 1)


def unknown(scale: str) -> Parameter:
    return Parameter(
        value=10.0, low=1.0, high=1000.0, unit="1", source="judgement", confidence="D",
        scale=scale,  # type: ignore[arg-type]
    )  # fmt: skip


@pytest.mark.parametrize(
    ("scale", "values"),
    [("log", (1.0, 10**0.5, 10.0, 100.0, 1000.0)), ("linear", (1.0, 5.5, 10.0, 505.0, 1000.0))],
)
def test_quarters_of_a_range_by_its_scale(scale: str, values: tuple[float, ...]) -> None:
    """Half the draws on either side of the best estimate, even in the value or its logarithm."""
    quarters = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
    assert at_quantile(unknown(scale), quarters) == pytest.approx(values)


def test_weather_of_a_day_is_told_of_that_day() -> None:
    """Each day a degree warmer than the last, the same all day long, with rain on the third at
    one hour: hours of one day reach no other.  The lack of vapour by FAO-56 eq. 11 (Allen et al.
    1998): 2.338 kPa at 20 degC less 1.2.
    """
    days = 6
    weather = samples.steady_weather(20.0, 1.2, days=days)
    day = np.repeat(np.arange(days), 24)
    rain = np.where(np.arange(days * 24) == 2 * 24, 5.0, 0.0)
    weather = replace(weather, air_temp_c=20.0 + day, precip_mm=rain)
    record = Record(weather, samples.NORTH)
    kind = samples.model_of(record, samples.small_stack(inoculated=INOCULATED))
    table = simulate(kind, Scheme(canopy="open"), date(2021, 7, days), "weather")
    assert table.index[0].date() == INOCULATED
    expected = 20.0 + np.arange(days)
    assert table["air_temp_min_c"].to_numpy() == pytest.approx(expected)
    assert table["air_temp_max_c"].to_numpy() == pytest.approx(expected)
    assert table["vpd_max_kpa"].iloc[0] == pytest.approx(2.338 - 1.2, rel=5e-3)
    assert table["rh_min_pct"].iloc[0] == pytest.approx(100.0 * 1.2 / 2.338, rel=5e-3)
    assert table["precip_mm"].tolist() == [0.0, 0.0, 5.0, 0.0, 0.0, 0.0]


def test_under_a_cloth_there_is_its_share_of_the_wind() -> None:
    record = samples.make_record("2021-07-01", "2021-07-05")
    table = record.table("open", 0.0, 0.15)
    share = cloths()["shade cloth"].wind_factor.value
    assert share < 1.0
    assert table[:, W_WIND_CLOTH] == pytest.approx(share * table[:, W_WIND])
    assert np.all(table[:, W_CONVECTION_CLOTH] < table[:, W_CONVECTION])


def test_the_ground_barrier_ages_from_inoculation_on() -> None:
    record = samples.make_record("2010-01-01", "2011-12-31")
    stack = samples.small_stack(felled=date(2010, 3, 20))
    kind = samples.model_of(record, stack)
    bagged = Scheme(canopy="open", covers=(CoverSpan(kind="bag", material="paper"),))
    age = cover_table(kind, bagged)[:, C_BARRIER_AGE]
    first = kind.inoculation_hour
    assert first == 23 * 24
    assert not age[: first + 1].any()
    assert age[first + 24] == 24.0
    assert np.all(np.diff(age[first:]) == 1.0)


@pytest.mark.parametrize("day", [date(2015, 12, 31), date(2016, 2, 29), date(2016, 6, 1)])
def test_months_go_by_as_in_a_calendar_library(day: date) -> None:
    """Against pandas, over two and a half years of every month."""
    for months in range(31):
        later = (pd.Timestamp(day) + pd.DateOffset(months=months)).date()
        assert months_after(day, months) == later
