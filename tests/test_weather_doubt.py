"""Weather that nobody measured: what it may be off by is part of the draws; the rest is not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from doubt_effect import UNKNOWNS, at_ends, kind_of
from test_humidity import NEW_YORK, airport_hours

from climate_risk.engine.hours import LEAST_HUMIDITY, humidity_off
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
