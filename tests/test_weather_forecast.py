"""The coming days from a service on the loopback, in its real layout, into an outlook."""

from __future__ import annotations

import gzip
import sqlite3
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from forecast_skill import AHEAD, MEASURES, cut, model, on_from
from test_weather_network import service  # noqa: F401  (the misbehaving one, well behaved here)
from test_weather_stations import EWR, bulk_file, station_days, station_hours, station_list

import climate_risk as cr
from climate_risk.engine.forecast import Bridge, forecast_share
from climate_risk.engine.record import Record
from climate_risk.microclimate.radiation import W_AIR_TEMP, W_RAIN, W_SUN_SINE
from climate_risk.report.basis import coverage_sentence
from climate_risk.site import Site
from climate_risk.weather import load_sources, to_hourly
from climate_risk.weather.summary import summarise
from climate_risk.weather_options import WeatherOptions

YARD = Site(latitude=40.70, longitude=-74.17, elevation_m=5.0)
TODAY = datetime.now(UTC).date()
YESTERDAY = TODAY - timedelta(days=1)
SEEN_DAYS = 90


def moved(hours: pd.DataFrame) -> pd.DataFrame:
    """Newark's 2013 in three years around today, so that the season is the true one."""
    real = hours[hours.index.year == 2013]
    years = []
    for y in (-1, 0, 1):
        # No year is a copy of another, which would be found.
        other = real.assign(temp=real["temp"] + 0.3 * y, prcp=real["prcp"] * (1.0 + 0.1 * y))
        years.append(other.set_axis(real.index + pd.DateOffset(years=TODAY.year + y - 2013)))
    table = pd.concat(years).groupby(level=0).first().resample("h").first()
    for _ in range(3):  # hours that the record lacks, and 29 February, are as a day before
        table = table.combine_first(table.shift(24))
    return table


def with_model_rows(table: pd.DataFrame, *, hourly: bool, from_day: date, last: date) -> dict:
    """Paths of the service by year; rows from a day on come from a forecast, then they end."""
    begin = pd.Timestamp(from_day) + pd.Timedelta(hours=5 if hourly else 0)
    end = pd.Timestamp(last) + pd.Timedelta(hours=28 if hourly else 0)
    step = "hourly" if hourly else "daily"
    files = {}
    for year, part in table[:end].groupby(table[:end].index.year):
        plain = gzip.decompress(bulk_file(part, hourly=hourly)).decode().splitlines()
        rows = [line.replace("isd_lite", "dwd_mosmix") if time >= begin else line
                for line, time in zip(plain[1:], part.index, strict=True)]  # fmt: skip
        body = gzip.compress("\n".join([plain[0], *rows]).encode())
        files[f"/{step}/{year}/{EWR}.csv.gz"] = body
    return files


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Newark to yesterday as seen, and nine days from today on as a model's."""
    database = tmp_path_factory.mktemp("list") / "stations.db"
    station_list(database)
    connection = sqlite3.connect(database)
    connection.execute("update inventory set end = '2100-01-01'")
    connection.commit()
    connection.close()
    found = {"/stations.db": database.read_bytes()}
    hours = moved(station_hours()[EWR])
    last = TODAY + timedelta(days=8)
    found |= with_model_rows(hours, hourly=True, from_day=TODAY, last=last)
    found |= with_model_rows(station_days(hours), hourly=False, from_day=TODAY, last=last)
    return found


def loaded(*, forecast: bool = True, last: date | None = None):
    first = TODAY - timedelta(days=SEEN_DAYS)
    return load_sources(WeatherOptions(forecast=forecast), YARD, first, last)


def test_the_coming_days_are_taken_and_marked(service: SimpleNamespace) -> None:  # noqa: F811
    record = loaded()
    cover = record.coverage
    assert (cover.last, cover.forecast_to) == (YESTERDAY, TODAY + timedelta(days=6))
    assert cover.days == SEEN_DAYS
    by_day = record.quality.groupby(record.table.index.normalize())["precip_mm"]
    marked = by_day.agg(lambda flags: (flags == "forecast").all())
    assert list(marked.index[marked].date) == [TODAY + timedelta(days=n) for n in range(7)]
    assert "dwd" in cover.attribution.lower() or "Deutscher" in cover.attribution
    assert f"{TODAY + timedelta(days=6):%Y}" in coverage_sentence(cover)
    assert "forecast" in coverage_sentence(cover)
    hourly = to_hourly(record, YARD)
    made = Record(hourly, YARD)
    assert hourly.forecast_days == 7
    assert made.last == YESTERDAY
    assert not hourly.observed[-7 * 24 :].any()
    about = dict(yard_name="x", invented=False, tolerated_chance=0.1, currency="USD", units="us",
                 inputs={})  # fmt: skip
    summary = summarise(record.table, record.quality, cover, YARD, **about)
    assert sum(s.flag == "forecast" for s in summary.spells) >= 2
    # A second run finds all of it in the cache.
    asked = len(service.asked)
    again = loaded()
    assert len(service.asked) == asked
    assert again.coverage == cover
    pd.testing.assert_frame_equal(again.quality, record.quality, check_dtype=False)


def test_not_where_it_is_not_wanted(service: SimpleNamespace) -> None:  # noqa: F811
    for record in (loaded(forecast=False), loaded(last=YESTERDAY - timedelta(days=20))):
        assert record.coverage.forecast_to is None
        assert not (record.quality == "forecast").any(axis=None)
        assert to_hourly(record, YARD).forecast_days == 0
    assert loaded(last=YESTERDAY).coverage.forecast_to is not None


def test_the_share_of_a_forecast() -> None:
    """In full for three days, nothing on the seventh, a straight line between."""
    assert list(forecast_share(np.arange(1, 9))) == [1, 1, 1, 0.75, 0.5, 0.25, 0, 0]


@pytest.fixture(scope="module")
def iowa() -> Record:
    from climate_risk.weather import load_weather

    site = Site(latitude=42.03, longitude=-93.65, elevation_m=300.0)
    path = Path(__file__).parent / "data" / "iowa_1990_2020.csv.gz"
    record = load_weather(path, site, date(1990, 1, 1), date(1995, 7, 9))
    return Record(to_hourly(record, site), site)


def test_a_bridge_is_the_forecast_and_ends_in_the_past_year(iowa: Record) -> None:
    """First the forecast; on day 6 three quarters the past year; the sun is today's."""
    ahead = Record(replace(iowa.weather, forecast_days=9), iowa.site)
    assert ahead.last == date(1995, 6, 30)
    begins = [date(1991, 7, 1), date(1993, 7, 1)]
    bridge = Bridge(ahead, begins)
    table, whole = bridge.table("open", 0.0, 0.25), ahead.table("open", 0.0, 0.25)
    assert bridge.hours == 6 * 24
    assert len(table) == 2 * bridge.hours
    first = ahead.row(date(1995, 7, 1))
    for start in (0, bridge.hours):
        assert np.array_equal(bridge.sun(start, start + 48), ahead.sun(first, first + 48))
    told = whole[ahead.row(date(1995, 7, 1)) :][: bridge.hours]
    for n, begin in enumerate(begins):
        past = whole[ahead.row(begin) :][: bridge.hours]
        mixed = table[n * bridge.hours : (n + 1) * bridge.hours]
        assert np.array_equal(mixed[:72], told[:72])
        for column in (W_AIR_TEMP, W_RAIN):
            want = 0.25 * told[-24:, column] + 0.75 * past[-24:, column]
            assert np.allclose(mixed[-24:, column], want)
        assert np.array_equal(mixed[:, W_SUN_SINE], told[:, W_SUN_SINE])
    assert list(bridge.start_rows(2, 480)) == [-480, -480, 144 - 480, 144 - 480]


def test_a_true_forecast_is_what_comes_for_three_days(iowa: Record) -> None:
    """The days that came, given as forecast, lead to the state that they led to."""
    as_of = date(1995, 6, 20)
    none, truth = on_from(model(iowa, as_of), as_of)
    hours = iowa.row(as_of) + (1 + AHEAD) * 24
    ahead = Record(cut(iowa.weather, hours, AHEAD), iowa.site)
    told, _ = on_from(model(ahead, as_of), as_of)
    sure = [MEASURES.index("face day 3"), MEASURES.index("bark days 1-3")]
    assert np.allclose(told[sure], truth[sure], rtol=1e-12)
    assert (np.abs(none - truth)[sure] > 0.05).all()
    assert not np.allclose(told, truth)


def test_a_season_begins_its_outlook_with_the_forecast(
    service: SimpleNamespace,  # noqa: F811
    tmp_path: Path,
) -> None:
    """Through the calls that the command makes: three days alike in every simulation, then not."""
    path = tmp_path / "yard.toml"
    inoculated = TODAY - timedelta(days=40)
    path.write_text(
        f"""
[yard]
name = "By the airport"
latitude = {YARD.latitude}
longitude = {YARD.longitude}
elevation = "5 m"
canopy = "open"
[[stack]]
name = "Row"
fungus = "grey oyster"
wood = "aspen"
start_moisture = "80 %"
inoculated = {inoculated}
pieces = 2
piece_length = "25 cm"
diameter = "25 cm"
"""
    )
    yard = cr.read_yard(path)
    weather = cr.load_weather(yard)
    result = cr.season(yard, weather, draws=2)
    assert result.as_of == YESTERDAY
    days = result.stacks[0].outlook["air_temp_max_c"]
    assert days.index[0].date() == TODAY
    told = weather.table["air_temp_max_c"][str(TODAY) : str(TODAY + timedelta(days=2))]
    assert np.allclose(days[50][:3], told, atol=0.05)
    assert (days[90] - days[10])[:3].max() == 0.0
