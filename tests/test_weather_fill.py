"""Checks and gap filling: everything made up is marked, counted and said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from climate_risk.errors import InputError
from climate_risk.site import Site
from climate_risk.tables import model
from climate_risk.weather import load_weather, psychro
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.quality import check
from climate_risk.weather.record import RawWeather

SITE = Site(latitude=42.035, longitude=-93.0, elevation_m=300.0)
DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def iowa():
    return load_weather(DATA / "iowa_1990_2020.csv.gz", SITE)


def raw_of(table, step="daily"):
    quality = pd.DataFrame("observed", index=table.index, columns=table.columns, dtype=object)
    return RawWeather(
        table=table, quality=quality.where(table.notna(), "missing"), step=step, source="test"
    )


def with_gap(record, name, start, stop):
    table = record.table.drop(columns=["air_temp_mean_c", "wind_ms", "pressure_hpa"]).copy()
    if name in ("dew_point_c", "rel_humidity_pct"):
        table.loc[start:stop, ["dew_point_c", "rel_humidity_pct"]] = np.nan
    table.loc[start:stop, name] = np.nan
    return table


def test_a_whole_file_has_no_gap_and_says_what_it_lacks(iowa):
    assert not iowa.table.isna().any(axis=None)
    assert set(iowa.coverage.estimated) == {"wind_ms", "pressure_hpa"}
    # One maximum of 31 years stands alone against its neighbours.
    assert iowa.coverage.filled_count == 1
    assert any("derived and not measured" in note for note in iowa.coverage.warnings)


def test_short_gap_is_interpolated_and_counted(iowa):
    table = with_gap(iowa, "air_temp_max_c", "2003-07-10", "2003-07-12")
    record = fill_gaps(raw_of(table), SITE)
    assert record.coverage.filled["air_temp_max_c"] == {"interpolated": 3}
    flags = record.quality["air_temp_max_c"].loc["2003-07-09":"2003-07-13"]
    assert flags.tolist() == ["observed", *["filled: interpolated"] * 3, "observed"]
    low, high = sorted(iowa.table["air_temp_max_c"].loc[["2003-07-09", "2003-07-13"]])
    inside = record.table["air_temp_max_c"].loc["2003-07-10":"2003-07-12"]
    assert inside.between(low - 0.5, high + 0.5).all()


def test_long_gap_takes_the_normal_of_other_years(iowa):
    table = with_gap(iowa, "air_temp_min_c", "2003-07-01", "2003-07-31")
    record = fill_gaps(raw_of(table), SITE)
    assert record.coverage.filled["air_temp_min_c"] == {"normal of the day": 31}
    july = iowa.table["air_temp_min_c"]
    july = july[july.index.month == 7].mean()
    filled = record.table["air_temp_min_c"].loc["2003-07-01":"2003-07-31"]
    assert filled.mean() == pytest.approx(july, abs=0.5)


def test_rain_is_never_interpolated_but_taken_from_another_year(iowa):
    table = with_gap(iowa, "precip_mm", "2003-07-05", "2003-07-14")
    record = fill_gaps(raw_of(table), SITE)
    assert record.coverage.filled["precip_mm"] == {"same days of 2002": 10}
    donor = iowa.table["precip_mm"].loc["2002-07-05":"2002-07-14"].to_numpy()
    assert record.table["precip_mm"].loc["2003-07-05":"2003-07-14"].to_numpy() == (
        pytest.approx(donor)
    )


def test_rain_without_another_year_is_taken_from_the_days_beside(iowa):
    table = with_gap(iowa, "precip_mm", "2003-07-05", "2003-07-14").loc["2003"]
    record = fill_gaps(raw_of(table), SITE)
    donor = iowa.table["precip_mm"].loc["2003-06-25":"2003-07-04"].to_numpy()
    filled = record.table["precip_mm"].loc["2003-07-05":"2003-07-14"].to_numpy()
    assert filled == pytest.approx(donor)
    assert record.coverage.filled["precip_mm"] == {"days near by": 10}


def test_rain_without_any_days_to_take_it_from_is_dry_and_warned_of(iowa):
    table = with_gap(iowa, "precip_mm", "2003-05-01", "2003-09-30").loc["2003-04":"2003-10"]
    record = fill_gaps(raw_of(table), SITE)
    assert record.table["precip_mm"].loc["2003-07"].sum() == 0.0
    assert any("drought may be false" in note for note in record.coverage.warnings)


@pytest.mark.parametrize("length", [10, 30])
def test_rain_of_gaps_comes_back_in_sum_and_within_its_doubt(iowa, length):
    """Gaps of single years: the mean sum within a quarter, the ratio within the draws' ends."""
    true, filled = [], []
    for year in range(1995, 2015, 2):
        for begin in (110, 150, 190, 230):
            rows = iowa.table.loc[str(year)].index[begin : begin + length]
            table = with_gap(iowa, "precip_mm", rows[0], rows[-1]).loc[str(year)]
            filled.append(fill_gaps(raw_of(table), SITE).table.loc[rows, "precip_mm"].sum())
            true.append(iowa.table.loc[rows, "precip_mm"].sum())
    assert sum(filled) == pytest.approx(sum(true), rel=0.25)
    factor = model().estimated_rain_factor
    fell, put = np.array(true), np.array(filled)
    inside = (fell > factor.low * put) & (fell < factor.high * put)
    assert inside.mean() > (0.6 if length == 10 else 0.9)


def test_humidity_follows_the_filled_dew_point(iowa):
    """Relative humidity is not interpolated: it agrees with dew point on filled days."""
    table = with_gap(iowa, "dew_point_c", "2003-07-10", "2003-07-12")
    record = fill_gaps(raw_of(table), SITE)
    day = record.table.loc["2003-07-11"]
    saturation = psychro.mean_saturation_kpa(day["air_temp_min_c"], day["air_temp_max_c"])
    vapour = psychro.saturation_vapour_pressure_kpa(day["dew_point_c"])
    assert day["rel_humidity_pct"] == pytest.approx(min(100.0, 100.0 * vapour / saturation))
    assert record.quality["rel_humidity_pct"].loc["2003-07-11"] == "filled: from dew point"


def test_without_humidity_it_is_estimated_and_marked(iowa):
    table = iowa.table[["air_temp_min_c", "air_temp_max_c", "precip_mm"]].loc["2003"]
    record = fill_gaps(raw_of(table), SITE)
    assert (record.table["dew_point_c"] <= record.table["air_temp_max_c"]).all()
    assert "temperature range" in record.coverage.estimated["dew_point_c"]
    assert record.quality["dew_point_c"].str.startswith("estimated").all()
    assert any("points of relative humidity a day" in note for note in record.coverage.warnings)


def test_a_long_gap_is_named_with_its_days(iowa):
    table = with_gap(iowa, "air_temp_max_c", "2003-07-01", "2003-07-31")
    record = fill_gaps(raw_of(table), SITE)
    assert any(
        "air_temp_max_c: nothing from 2003-07-01 to 2003-07-31" in note
        for note in record.coverage.warnings
    )


def test_mostly_filled_summer_is_warned_of(iowa):
    table = with_gap(iowa, "air_temp_max_c", "2003-05-15", "2003-08-31").loc["2002":"2004"]
    record = fill_gaps(raw_of(table), SITE)
    assert not any("warm months" in note for note in record.coverage.warnings)
    table = table.loc["2003"]
    record = fill_gaps(raw_of(table), SITE)
    assert any("air_temp_max_c" in n and "warm months" in n for n in record.coverage.warnings)


@pytest.mark.parametrize("name", ["air_temp_max_c", "precip_mm"])
def test_temperature_and_rain_are_never_made_up_whole(iowa, name):
    table = iowa.table.loc["2003"].copy()
    table[name] = np.nan
    with pytest.raises(InputError, match=name):
        fill_gaps(raw_of(table), SITE)


def test_a_missing_day_is_put_back_into_the_calendar(iowa):
    table = iowa.table.loc["2004"].drop(pd.Timestamp("2004-02-29"))
    record = fill_gaps(raw_of(table), SITE)
    assert pd.Timestamp("2004-02-29") in record.table.index
    assert record.quality.loc["2004-02-29", "air_temp_max_c"] == "filled: interpolated"


def test_hourly_gap_follows_the_daily_cycle():
    index = pd.date_range("2020-06-01", periods=24 * 20, freq="h")
    temp = 20 + 8 * np.cos(2 * np.pi * (index.hour - 15) / 24)
    table = pd.DataFrame({"air_temp_c": temp, "dew_point_c": 10.0, "precip_mm": 0.0}, index=index)
    table.iloc[24 * 5 + 12 : 24 * 5 + 18, 0] = np.nan
    table.iloc[24 * 9 : 24 * 10, 0] = np.nan
    record = fill_gaps(raw_of(table, "hourly"), SITE)
    assert record.table["air_temp_c"].to_numpy() == pytest.approx(temp.to_numpy())
    assert record.coverage.filled["air_temp_c"] == {"interpolated": 6, "normal of the day": 24}


@settings(max_examples=40, deadline=None)
@given(holes=st.lists(st.tuples(st.integers(0, 5), st.integers(0, 364), st.integers(1, 40))))
def test_any_pattern_of_gaps_is_filled_flagged_and_leaves_observed_values(iowa, holes):
    source = iowa.table.loc["2003"].drop(columns=["air_temp_mean_c", "wind_ms", "pressure_hpa"])
    table = source.copy()
    for column, start, length in holes:
        table.iloc[start : start + length, column] = np.nan
    if table[["air_temp_min_c", "air_temp_max_c", "precip_mm"]].notna().sum().min() == 0:
        return
    record = fill_gaps(raw_of(table), SITE)
    assert not record.table.isna().any(axis=None)
    assert (record.table["air_temp_min_c"] <= record.table["air_temp_max_c"]).all()
    for name in source:
        seen = table[name].notna()
        assert (record.table.loc[seen, name] == source.loc[seen, name]).all()
        assert (record.quality.loc[~seen, name] != "observed").all()


def test_checks_catch_what_is_impossible(iowa):
    table = iowa.table.loc["2003"].copy()
    table.loc["2003-07-18", "air_temp_min_c"] = -57.8  # the error in a long Clemson series
    table.loc["2003-03-03", "precip_mm"] = -1.0
    table.loc["2003-04-04", "shortwave_mj_m2"] = 44.0
    table.loc["2003-05-05", "rel_humidity_pct"] = 130.0
    table.loc["2003-06-06", "wind_ms"] = 468.0  # 1,048 mph, as in a 2013 New York series
    checked = check(raw_of(table), SITE)
    for day, name in [
        ("2003-07-18", "air_temp_min_c"),
        ("2003-03-03", "precip_mm"),
        ("2003-04-04", "shortwave_mj_m2"),
        ("2003-05-05", "rel_humidity_pct"),
        ("2003-06-06", "wind_ms"),
    ]:
        assert np.isnan(checked.table.loc[day, name])
        assert checked.quality.loc[day, name].startswith("suspect")
        assert any(note.startswith(f"{name}: 1 value") for note in checked.warnings)
    assert checked.table.isna().sum().sum() == 5


def test_crossed_extremes_are_blanked():
    index = pd.date_range("2020-06-01", periods=40, freq="D")
    table = pd.DataFrame(
        {"air_temp_min_c": 10.0, "air_temp_max_c": 20.0, "precip_mm": 1.0}, index=index
    )
    table.iloc[5, 0] = 25.0
    checked = check(raw_of(table), SITE)
    assert checked.table.iloc[5, :2].isna().all()


def test_a_stuck_thermometer_is_blanked_and_counted(iowa):
    table = iowa.table.loc["2003"].drop(columns="wind_ms").copy()
    table.loc["2003-07-01":"2003-07-12", "air_temp_max_c"] = 29.0
    checked = check(raw_of(table), SITE)
    assert checked.quality["air_temp_max_c"].str.contains("stuck").sum() == 12
    assert checked.table["air_temp_max_c"].isna().sum() == 12


def test_rain_gaps_written_as_zero_are_named(iowa):
    table = iowa.table.copy()
    table.loc["2005-06-01":"2005-08-31", "precip_mm"] = 0.0
    checked = check(raw_of(table), SITE)
    flags = checked.quality["precip_mm"].loc["2005-06-01":"2005-08-31"]
    assert flags.str.contains("missing").all()
    assert any("no rain at all" in note for note in checked.warnings)
    assert not any("no rain at all" in note for note in iowa.coverage.warnings)


def test_sea_level_pressure_is_brought_down_to_the_site():
    index = pd.date_range("2020-06-01", periods=40, freq="D")
    table = pd.DataFrame(
        {
            "air_temp_min_c": 10.0,
            "air_temp_max_c": 20.0,
            "precip_mm": 1.0,
            "pressure_hpa": np.linspace(1005.0, 1020.0, 40),
        },
        index=index,
    )
    high = Site(latitude=39.5, longitude=-79.3, elevation_m=700.0)
    checked = check(raw_of(table), high)
    assert checked.table["pressure_hpa"].mean() == pytest.approx(
        psychro.pressure_hpa(700.0), abs=3.0
    )
    assert any("sea-level" in note for note in checked.warnings)


def test_a_gap_at_the_end_is_not_extrapolated(iowa):
    table = with_gap(iowa, "air_temp_max_c", "2003-12-30", "2003-12-31").loc[:"2003"]
    record = fill_gaps(raw_of(table), SITE)
    assert record.coverage.filled["air_temp_max_c"] == {"normal of the day": 2}
