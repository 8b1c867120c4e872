"""Weather that nobody measured: what it may be off by is part of the draws; the rest is not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from doubt_effect import UNKNOWNS, at_ends, kind_of
from test_humidity import NEW_YORK, airport_hours, in_days

from climate_risk.engine.forcing import LEAST_HUMIDITY, humidity_off
from climate_risk.engine.stack import StackModel
from climate_risk.log.formulas import saturation_vapour_density
from climate_risk.weather.doubt import FILLED_SHARE, doubt_of
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.record import FloatArray, RawWeather, first_flags


@pytest.fixture(scope="module")
def hours() -> pd.DataFrame:
    """Newark, 2013: no sun is measured there."""
    return airport_hours("EWR").asfreq("h")


def faces(kind: StackModel, canopy: str) -> FloatArray:
    """Lowest face with the doubt about humidity at its low end, middle and high end."""
    return at_ends(kind, UNKNOWNS[0], canopy).moisture_driest_face_pct[0]


@pytest.mark.parametrize("canopy", ["open", "deciduous"])
def test_the_doubt_holds_what_was_measured(hours: pd.DataFrame, canopy: str) -> None:
    """With humidity taken out, the face of the measured record lies between the doubt's ends."""
    measured = faces(kind_of(hours, "hourly", NEW_YORK, 0.8), canopy)
    assert measured[0] == measured[1] == measured[2]
    estimated = kind_of(hours.drop(columns="dew_point_c"), "hourly", NEW_YORK, 0.8)
    low, middle, high = faces(estimated, canopy)
    assert low < middle < high
    assert low < measured[1] < high


def test_more_sun_heats_the_bark_and_more_wind_cools_it(hours: pd.DataFrame) -> None:
    kind = kind_of(hours.drop(columns="wind_ms"), "hourly", NEW_YORK, 0.8)
    low, middle, high = at_ends(kind, UNKNOWNS[1], "open").bark_temp_max_c[0]
    assert low < middle < high
    low, middle, high = at_ends(kind, UNKNOWNS[2], "open").bark_temp_max_c[0]
    assert low > middle > high
    measured = kind_of(hours, "hourly", NEW_YORK, 0.8)
    assert np.ptp(at_ends(measured, UNKNOWNS[2], "open").bark_temp_max_c) == 0.0


def test_humidity_is_off_by_points_and_stays_possible() -> None:
    full = saturation_vapour_density(25.0)
    assert humidity_off(25.0, 0.5 * full, -12.0) == pytest.approx(0.38 * full)
    assert humidity_off(25.0, 0.95 * full, 12.0) == pytest.approx(full)
    assert humidity_off(25.0, 0.1 * full, -12.0) == pytest.approx(LEAST_HUMIDITY * full)


def test_which_hours_are_in_doubt(hours: pd.DataFrame) -> None:
    """A sensor's own are not, nor a short gap; a gap of weeks in part, a lost column in full."""
    table = hours["2013-05-01":"2013-08-31"].copy()
    table.loc["2013-06-01 03:00":"2013-06-01 06:00", "dew_point_c"] = np.nan
    table.loc["2013-07-01":"2013-07-20", "dew_point_c"] = np.nan

    def doubt(table: pd.DataFrame) -> pd.Series:
        raw = RawWeather(table=table, quality=first_flags(table), step="hourly", source="real")
        return pd.Series(doubt_of(fill_gaps(raw, NEW_YORK)).humidity, table.index)

    found = doubt(table)
    assert (found["2013-06-01":"2013-06-02"] == 0.0).all()
    assert (found["2013-07-01":"2013-07-20"] == FILLED_SHARE).all()
    assert (doubt(table.drop(columns="dew_point_c")) == 1.0).all()


def gap_of_july(hours: pd.DataFrame) -> pd.DataFrame:
    table = hours["2013-03-01":"2013-11-30"].copy()
    table.loc["2013-07-01":"2013-07-25", ["air_temp_c", "dew_point_c", "precip_mm"]] = np.nan
    return table


def test_a_long_gap_is_warmer_or_cooler_wetter_or_drier(hours: pd.DataFrame) -> None:
    """25 days of July: true bark heat and face lie between the ends; hours seen are no part."""
    kind = kind_of(gap_of_july(hours), "hourly", NEW_YORK, 0.8)
    bark = at_ends(kind, UNKNOWNS[3], "open").bark_temp_max_c[0]
    true = kind_of(hours["2013-03-01":"2013-11-30"], "hourly", NEW_YORK, 0.8)
    seen = at_ends(true, UNKNOWNS[3], "open")
    assert np.ptp(seen.bark_temp_max_c) == 0.0
    assert bark[0] <= bark[1] < bark[2]
    assert bark[2] - bark[1] < 5.0
    face = at_ends(kind, UNKNOWNS[4], "open").moisture_driest_face_pct[0]
    assert face[0] < face[1] < face[2]
    assert face[0] < seen.moisture_driest_face_pct[0, 1] < face[2]


def test_which_gaps_of_warmth_and_rain_are_in_doubt(hours: pd.DataFrame) -> None:
    table = gap_of_july(hours)
    table.loc["2013-05-10", ["air_temp_c", "precip_mm"]] = np.nan
    table.loc["2013-05-20 03:00":"2013-05-20 06:00", "air_temp_c"] = np.nan
    raw = RawWeather(table=table, quality=first_flags(table), step="hourly", source="real")
    record = fill_gaps(raw, NEW_YORK)
    found = doubt_of(record)
    temp, rain = pd.Series(found.temp, record.table.index), pd.Series(found.rain, table.index)
    july = slice("2013-07-02", "2013-07-24")
    assert (temp[july] == 1.0).all()
    assert (rain[july] == 1.0).all()
    assert (temp["2013-05-20"] == 0.0).all()
    assert (rain["2013-05-10"] == 0.0).all()
    assert (temp["2013-06"] == 0.0).all()
    assert (np.asarray(found.wind)[table.index.month == 6] == 0.0).all()


def test_the_wind_of_split_days_holds_what_they_cost_the_heat_dose(hours: pd.DataFrame) -> None:
    """Bark of the real hours lies between the ends, and hours of a sensor are in no doubt."""
    days = kind_of(in_days(hours.dropna(subset=["air_temp_c"])), "daily", NEW_YORK, 0.8)
    low, middle, high = at_ends(days, UNKNOWNS[2], "open").bark_temp_max_c[0]
    real = at_ends(kind_of(hours, "hourly", NEW_YORK, 0.8), UNKNOWNS[2], "open")
    assert high < middle < low
    assert high < real.bark_temp_max_c[0, 1] < low + 0.3
