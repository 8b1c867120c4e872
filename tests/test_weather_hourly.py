"""Days split to hours: the published curve, and what must come back from the hours."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from climate_risk.site import Site
from climate_risk.weather import hourly, load_weather, psychro, to_hourly
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.record import RawWeather

SITE = Site(latitude=39.5, longitude=-79.3, elevation_m=700.0)


def raw_days(**columns):
    """Raw daily weather from arrays, everything observed."""
    index = pd.date_range("2019-03-01", periods=len(columns["air_temp_min_c"]), freq="D")
    table = pd.DataFrame(columns, index=index, dtype=float)
    quality = pd.DataFrame("observed", index=index, columns=table.columns, dtype=object)
    return RawWeather(
        table=table, quality=quality.where(table.notna(), "missing"), step="daily", source="test"
    )


def curve(clock_h, **lags):
    days = np.full(3, 1.0)
    clock = np.tile(np.array(clock_h, dtype=float), (3, 1))
    return hourly.diurnal_curve(clock, 10 * days, 30 * days, 6 * days, 18 * days, **lags)[1]


def test_north_carolina_curve():
    """Wann, Yen & Gold 1985 coefficients, night normalised; values worked out by hand."""
    found = curve([3, 7.55, 9, 12, 14.59, 18, 21])
    expected = [11.97, 10.0, 16.36, 26.75, 30.0, 24.48, 18.20]
    assert found == pytest.approx(expected, abs=0.006)


def test_prairie_curve():
    """Parton & Logan 1981 coefficients for 150 cm; by hand, with their own half wave."""
    # Their half wave is D + 2a: the lag of the maximum counts from noon plus the minimum's lag.
    found = curve([5.83, 9, 12, 13.69, 18, 21], max_lag_h=1.86 - 0.17, decay=2.20, min_lag_h=-0.17)
    assert found == pytest.approx([10.0, 21.84, 28.87, 30.0, 23.03, 16.76], abs=0.006)


def test_night_is_continuous_at_midnight():
    """On equal days the curve at 24 h is the next day's at 0 h."""
    start, end = curve([0.0, 24.0])
    assert start == pytest.approx(end)


def test_sunrise_against_spa():
    from pvlib.solarposition import sun_rise_set_transit_spa

    dates = pd.date_range("2019-01-15", periods=12, freq="30D", tz="Etc/GMT+5")
    spa = sun_rise_set_transit_spa(dates, SITE.latitude, SITE.longitude)
    rise, set_ = hourly.sun_hours(np.asarray(dates.day_of_year, float), SITE)
    for found, name in ((rise, "sunrise"), (set_, "sunset")):
        moment = spa[name].dt.hour + spa[name].dt.minute / 60.0
        # SPA counts refraction and the sun's disc: about 5 minutes earlier and later.
        assert np.abs(found - moment.to_numpy()).max() < 0.15


temperatures = hnp.arrays(float, 12, elements=st.floats(-30, 25))
ranges = hnp.arrays(float, 12, elements=st.floats(0, 25))


@settings(max_examples=60, deadline=None)
@given(
    low=temperatures,
    spread=ranges,
    rain=hnp.arrays(float, 12, elements=st.floats(0, 120)),
    wind=hnp.arrays(float, 12, elements=st.floats(0, 20)),
    share=hnp.arrays(float, 12, elements=st.floats(0, 0.75)),
)
def test_hours_give_the_day_back(low, spread, rain, wind, share):
    from climate_risk.weather.sun import extraterrestrial_mj_m2

    top = extraterrestrial_mj_m2(SITE.latitude, np.arange(60.0, 72.0))
    record = fill_gaps(
        raw_days(
            air_temp_min_c=low, air_temp_max_c=low + spread, precip_mm=rain, wind_ms=wind,
            shortwave_mj_m2=share * top, dew_point_c=low - 2.0,
        ),
        SITE,
    )  # fmt: skip
    hours = to_hourly(record, SITE)
    by_day = {
        name: getattr(hours, name).reshape(-1, 24)
        for name in ("air_temp_c", "precip_mm", "wind_10m_ms", "shortwave_w_m2")
    }
    assert by_day["air_temp_c"].min(axis=1) == pytest.approx(low, abs=1e-9)
    assert by_day["air_temp_c"].max(axis=1) == pytest.approx(low + spread, abs=1e-9)
    assert by_day["precip_mm"].sum(axis=1) == pytest.approx(rain, abs=1e-9)
    assert by_day["wind_10m_ms"].mean(axis=1) == pytest.approx(wind, abs=1e-9)
    sunshine = by_day["shortwave_w_m2"].sum(axis=1) * 3600 / 1e6
    assert sunshine == pytest.approx(share * top, abs=1e-9)
    sine = np.sin(np.radians(hours.sun_elevation_deg))
    lit = hours.sun_elevation_deg > 3.0
    both = hours.beam_normal_w_m2 * sine + hours.diffuse_w_m2
    assert both[lit] == pytest.approx(hours.shortwave_w_m2[lit], abs=1e-9)
    saturated = psychro.saturation_vapour_pressure_kpa(hours.air_temp_c)
    assert (hours.vapour_pressure_kpa <= saturated + 1e-12).all()


def test_thirty_one_real_years_conserve_and_are_finite():
    from pathlib import Path

    path = Path(__file__).parent / "data" / "iowa_1990_2020.csv.gz"
    site = Site(latitude=42.035, longitude=-93.0, elevation_m=300.0)
    record = load_weather(path, site)
    hours = to_hourly(record, site)
    assert len(hours.time) == 11323 * 24
    assert hours.time[0] == np.datetime64("1990-01-01T00")
    assert (np.diff(hours.time) == np.timedelta64(1, "h")).all()
    assert hours.precip_mm.sum() == pytest.approx(record.table["precip_mm"].sum())
    for name in ("air_temp_c", "vapour_pressure_kpa", "beam_normal_w_m2", "sun_azimuth_deg"):
        assert np.isfinite(getattr(hours, name)).all()
    # No beam stronger than what reaches the top of the atmosphere at perihelion.
    assert hours.beam_normal_w_m2.max() < 1415.0


def test_warmest_hour_is_in_the_afternoon():
    record = fill_gaps(
        raw_days(air_temp_min_c=[10.0] * 5, air_temp_max_c=[24.0] * 5, precip_mm=[0.0] * 5), SITE
    )
    warmest = to_hourly(record, SITE).air_temp_c.reshape(-1, 24).argmax(axis=1)
    assert set(warmest) <= {14, 15}


def test_an_hourly_record_passes_through():
    index = pd.date_range("2019-07-01", periods=72, freq="h")
    phase = 2 * np.pi * (np.arange(72) - 15) / 24
    table = pd.DataFrame(
        {"air_temp_c": 20 + 8 * np.cos(phase), "dew_point_c": 12.0, "precip_mm": 0.2}, index=index
    )
    quality = pd.DataFrame("observed", index=index, columns=table.columns, dtype=object)
    raw = RawWeather(table=table, quality=quality, step="hourly", source="test")
    hours = to_hourly(fill_gaps(raw, SITE), SITE)
    assert hours.air_temp_c == pytest.approx(table["air_temp_c"].to_numpy())
    assert hours.precip_mm.sum() == pytest.approx(0.2 * 72)
    assert hours.shortwave_w_m2.max() > 300.0
    assert hours.observed.all()
