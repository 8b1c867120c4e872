"""Weather files as people bring them: read, or refused in one clear line."""

from __future__ import annotations

import gzip
import os
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from climate_risk.errors import InputError
from climate_risk.site import Site
from climate_risk.weather import load_weather, write_clean_table
from climate_risk.weather.files import read_weather_file

SITE = Site(latitude=39.5, longitude=-79.3, elevation_m=700.0)
HEAD = "date,air_temp_min_c,air_temp_max_c,precip_mm\n"
DATA = Path(__file__).parent / "data"


@pytest.fixture
def write(tmp_path):
    def _write(text, name="weather.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return path

    return _write


def days(rows, head=HEAD, start="2024-06-01"):
    dates = pd.date_range(start, periods=len(rows), freq="D")
    return head + "".join(f"{d:%Y-%m-%d},{row}\n" for d, row in zip(dates, rows, strict=True))


def refused(path, columns=None):
    with pytest.raises(InputError) as caught:
        read_weather_file(path, SITE, columns)
    message = str(caught.value)
    assert all("accepted" in line for line in message.split("\n"))
    assert message.isprintable() or "\n" in message
    return message


def test_canonical_header_is_taken_as_it_is(write):
    raw = read_weather_file(write(days(["10,20,0", "11,21,5.5"])), SITE)
    assert raw.step == "daily"
    assert raw.table["precip_mm"].tolist() == [0.0, 5.5]
    assert raw.warnings == ()
    assert (raw.quality == "observed").all(axis=None)


@pytest.mark.parametrize(
    ("head", "row", "name", "expected"),
    [
        ("Date,Min Temp (F),Max Temp (°F),Rain (in)", "50,68,1", "air_temp_max_c", 20.0),
        ("DATE,TMIN_F,TMAX_F,PRCP_IN", "50,68,1", "precip_mm", 25.4),
        ("day,tmin_c,tmax_c,precip_mm,wind mph", "5,9,1,10", "wind_ms", 4.4704),
        ("date,tmin c,tmax c,rain mm,Wind Speed [km/h]", "5,9,1,36", "wind_ms", 10.0),
        ("date,tmin_c,tmax_c,rain_mm,wind (kt)", "5,9,1,10", "wind_ms", 5.14444),
        ("date,tmin_c,tmax_c,rain_mm,Pressure (inHg)", "5,9,1,29.92", "pressure_hpa", 1013.207),
        ("date,tmin_c,tmax_c,rain_mm,Solar (W/m2)", "5,9,1,200", "shortwave_mj_m2", 17.28),
        ("date,tmin (K),tmax (K),rain_mm", "283.15,293.15,1", "air_temp_min_c", 10.0),
    ],
)
def test_strangers_headers_and_units(write, head, row, name, expected):
    raw = read_weather_file(write(days([row, row], head + "\n")), SITE)
    assert raw.table[name].iloc[0] == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    ("size", "said"),
    [(0.3, "r is read in inches"), (7.6, "r is read in mm")],
)
def test_rain_without_a_unit_is_read_by_the_size_of_its_rains(write, size, said):
    """Inches read as millimetres would be a drought."""
    text = days([f"50,70,{size * (i % 3)}" for i in range(60)], "day,lo,hi,r\n")
    columns = {
        "date": "day",
        "air_temp_min_c": {"column": "lo", "unit": "F"},
        "air_temp_max_c": {"column": "hi", "unit": "F"},
        "precip_mm": {"column": "r"},
    }
    raw = read_weather_file(write(text), SITE, columns)
    assert any(note.startswith(said) for note in raw.warnings)
    assert raw.table["precip_mm"].max() == pytest.approx(15.24, rel=0.01)


def test_rain_of_two_days_without_a_unit_is_asked_about(write):
    assert 'unit = "in"' in refused(
        write(days(["10,20,0.5", "10,20,0"], "day,tmin_c,tmax_c,r\n".replace(",r", ",rain")))
    )


def test_mapping_with_units(write):
    text = "When,lo,hi,r\n06/13/2024,50,86,0.5\n06/14/2024,50,86,0\n"
    columns = {
        "date": {"column": "When", "format": "%m/%d/%Y"},
        "air_temp_min_c": {"column": "lo", "unit": "F"},
        "air_temp_max_c": {"column": "hi", "unit": "F"},
        "precip_mm": {"column": "r", "unit": "in"},
    }
    raw = read_weather_file(write(text), SITE, columns)
    assert raw.table.iloc[0].tolist() == pytest.approx([10.0, 30.0, 12.7])
    assert raw.table.index[0] == pd.Timestamp("2024-06-13")


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"air_temp_mx_c": "hi"}, ["air_temp_mx_c", "air_temp_max_c"]),
        ({"air_temp_max_c": "high"}, ["'high'", "lo, hi"]),
        ({"air_temp_max_c": {"column": "hi", "unit": "R"}}, ["'R'", "c, f, k"]),
        ({"air_temp_max_c": {"col": "hi"}}, ["air_temp_max_c", "unit"]),
        ({"air_temp_max_c": 3}, ["air_temp_max_c", "3"]),
    ],
)
def test_wrong_mapping(write, columns, words):
    message = refused(write("date,lo,hi\n2024-06-01,1,2\n"), columns)
    assert all(word in message for word in words)


def test_tenths_of_ghcn_daily(write):
    text = "DATE,TMAX,TMAX_ATTRIBUTES,TMIN,PRCP\n2024-06-01,256,x,150,25\n"
    assert "tenths" in refused(write(text))
    columns = {
        "date": "DATE",
        "air_temp_max_c": {"column": "TMAX", "unit": "tenths C"},
        "air_temp_min_c": {"column": "TMIN", "unit": "tenths C"},
        "precip_mm": {"column": "PRCP", "unit": "tenths mm"},
    }
    raw = read_weather_file(write(text), SITE, columns)
    assert raw.table.iloc[0].tolist() == pytest.approx([25.6, 15.0, 2.5])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["weather.csv", "empty"]),
        ("\n\n", ["empty"]),
        (HEAD, ["no row"]),
        (b"PK\x03\x04\x00\x00binary", ["not a text file"]),
        (b"\x1f\x8bbroken", ["cannot be read"]),
        ("a,b\n1,2\n", ["no date column", "a, b"]),
        ("date,rain_mm\n2024-06-01,2\n", ["no usable temperature"]),
        (HEAD + "2024-06-01,1,2,0\n2024-06-31,1,2,0\n", ["line 3", "2024-06-31", "date"]),
        (HEAD + "2024-06-01,1,2,0\n\n2024-06-03,1,x2,0\n", ["line 4", "air_temp_max_c", "'x2'"]),
        (HEAD + "2024-06-01,1,2,0,9,9\n", ["line 2", "6 fields", "4"]),
        (HEAD + "2024-06-01,1,2,0\n2024-06-01,1,3,0\n", ["lines 2 and 3", "2024-06-01"]),
        (HEAD + "2024-06-01,12,2,0\n", ["line 2", "12", "above", "2 C"]),
        ("date,tmin_c,tmax_c,rain_mm\n01/02/2024,1,2,0\n02/03/2024,1,2,0\n", ["month and day"]),
        ("time,air_temp_c\n2024-06-01 00:00,9\n2024-06-01 06:00,9\n", ["line 3", "step"]),
    ],
)
def test_bad_files_are_refused_with_the_place(write, text, words):
    message = refused(write(text))
    assert all(word in message for word in words), message


def test_absent_file(tmp_path):
    assert "no such" in refused(tmp_path / "none.csv")


def test_fahrenheit_taken_for_celsius_is_named(write):
    message = refused(write(days(["55,81,0", "58,84,0", "60,88,0"])))
    assert "Fahrenheit" in message
    assert 'unit = "F"' in message


def test_winter_fahrenheit_is_caught_by_the_season(write):
    rows = ["24,38,0"] * 20
    assert "Fahrenheit" in refused(write(days(rows, start="2024-01-01")))


def test_one_wild_value_is_blanked_not_refused(write):
    rows = ["10,20,0"] * 40
    rows[7] = "10,85,0"
    record = load_weather(write(days(rows)), SITE)
    assert record.table["air_temp_max_c"].max() == pytest.approx(20.0)
    assert record.quality["air_temp_max_c"].iloc[7].startswith("filled")
    assert any("outside -70 to 60" in note for note in record.coverage.warnings)


def test_humidity_as_a_fraction_is_refused(write):
    head = HEAD.strip() + ",rel_humidity_pct\n"
    assert "fraction" in refused(write(days(["10,20,0,0.6"] * 12, head)))


@pytest.mark.parametrize(
    ("column", "code"),
    [("air_temp_max_c", "-9999"), ("air_temp_max_c", "9999.9"), ("precip_mm", "-9999")],
)
def test_codes_for_missing_are_blanked_and_counted(write, column, code):
    rows = ["10,20,1"] * 30
    rows[3] = f"10,{code},1" if column == "air_temp_max_c" else f"10,20,{code}"
    raw = read_weather_file(write(days(rows)), SITE)
    assert raw.table[column].isna().sum() == 1
    assert raw.quality[column].iloc[3] == "missing"
    assert any(code in note and "1 value " in note for note in raw.warnings)


def test_missing_rain_of_99_99_inches(write):
    text = days(["50,68,99.99"] * 3 + ["50,68,0.1"] * 3, "date,tmin_f,tmax_f,prcp_in\n")
    raw = read_weather_file(write(text), SITE)
    assert raw.table["precip_mm"].tolist()[3:] == pytest.approx([2.54] * 3)
    assert raw.table["precip_mm"].isna().sum() == 3


def test_a_pressure_of_999_9_is_no_code(write):
    head = HEAD.strip() + ",pressure_hpa\n"
    raw = read_weather_file(write(days(["10,20,1,999.9"] * 3, head)), SITE)
    assert raw.table["pressure_hpa"].notna().all()


def test_identical_rows_are_dropped_and_counted(write):
    text = days(["10,20,1", "10,20,2"]) + "2024-06-02,10,20,2\n"
    raw = read_weather_file(write(text), SITE)
    assert raw.table["precip_mm"].sum() == 3.0
    assert any("1 row given twice" in note for note in raw.warnings)


def test_unsorted_rows_are_sorted_and_said(write):
    text = HEAD + "2024-06-02,1,2,7\n2024-06-01,1,2,0\n"
    raw = read_weather_file(write(text), SITE)
    assert raw.table["precip_mm"].tolist() == [0.0, 7.0]
    assert any("sorted" in note for note in raw.warnings)


def test_traces_of_rain_are_zero_and_said(write):
    raw = read_weather_file(write(days(["1,2,T", "1,2,1"])), SITE)
    assert raw.table["precip_mm"].tolist() == [0.0, 1.0]
    assert any("trace" in note for note in raw.warnings)


def test_semicolons_decimal_commas_and_marks(write):
    text = "﻿date;tmin_c;tmax_c;rain_mm\n01.06.2024;1,5;2,5;0\n13.06.2024;1;2;0,4\n"
    for encoding in ("utf-8", "utf-16"):
        raw = read_weather_file(write(text, encoding=encoding), SITE)
        assert raw.table.iloc[0].tolist() == [1.5, 2.5, 0.0]


def test_compressed_text_is_read(write):
    path = write(gzip.compress(days(["1,2,0"]).encode()), "weather.csv.gz")
    assert len(read_weather_file(path, SITE).table) == 1


def test_logger_readings_fold_to_hours(write):
    times = pd.date_range("2024-06-01", periods=96, freq="15min")
    text = "time,air_temp_c,rel_humidity_pct,precip_mm\n" + "".join(
        f"{t:%Y-%m-%d %H:%M},{i % 4},80,0.5\n" for i, t in enumerate(times)
    )
    raw = read_weather_file(write(text), SITE)
    assert raw.step == "hourly"
    assert len(raw.table) == 24
    assert raw.table["air_temp_c"].tolist() == [1.5] * 24
    assert raw.table["precip_mm"].sum() == 48.0


def test_times_with_an_offset_come_to_standard_time(write):
    text = "time,air_temp_c,precip_mm\n2024-06-01T05:00Z,9,0\n2024-06-01T06:00Z,9,0\n"
    raw = read_weather_file(write(text), SITE)
    assert raw.table.index[0] == pd.Timestamp("2024-06-01 00:00")


def test_autumn_clock_change_is_refused(write):
    text = "time,air_temp_c\n2024-11-03 01:00,9\n2024-11-03 01:00,8\n2024-11-03 02:00,8\n"
    assert "standard time" in refused(write(text))


def test_file_outside_the_season_names_both_spans(write):
    path = write(days(["1,2,0"] * 3))
    with pytest.raises(InputError, match=r"2024-06-01 to 2024-06-03.*2025-04-12 to 2026-04-11"):
        load_weather(path, SITE, date(2025, 4, 12), date(2026, 4, 11))


def test_file_is_cut_and_never_prolonged(write):
    path = write(days(["1,2,0"] * 10))
    record = load_weather(path, SITE, date(2024, 6, 4), date(2024, 7, 1))
    assert record.coverage.first == date(2024, 6, 4)
    assert record.coverage.last == date(2024, 6, 10)
    assert record.coverage.days == len(record.table) == 7
    assert any("stops 21 days early" in note for note in record.coverage.warnings)


def test_interrupted_clean_table_leaves_no_scratch_file(tmp_path, monkeypatch):
    def stop(*_):
        raise KeyboardInterrupt

    record = load_weather(
        DATA / "nyc_ewr_2013.csv", Site(latitude=40.7, longitude=-74.17, elevation_m=5.0)
    )
    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_clean_table(record, tmp_path / "clean.csv")
    assert list(tmp_path.iterdir()) == []


def test_clean_table_reads_back_the_same(tmp_path):
    site = Site(latitude=40.7, longitude=-74.17, elevation_m=5.0)
    record = load_weather(DATA / "nyc_ewr_2013.csv", site)
    path = tmp_path / "clean.csv"
    write_clean_table(record, path)
    assert [p.name for p in tmp_path.iterdir()] == ["clean.csv"]
    again = load_weather(path, site)
    pd.testing.assert_frame_equal(again.table, record.table, atol=1e-3, check_like=True)
