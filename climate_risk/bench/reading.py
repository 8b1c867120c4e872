"""What reading the weather takes: a file, stations from a warm cache, a stand's table."""

from __future__ import annotations

import os
import tempfile
from datetime import date
from pathlib import Path
from unittest import mock

import numpy as np
import pandas as pd

from climate_risk import api
from climate_risk.bench.season import Season, best_of, seconds
from climate_risk.site import Site
from climate_risk.weather import load_weather, to_hourly
from climate_risk.weather.station_cache import cache_path, write_table
from climate_risk.weather.stations import RADIUS_M


def measure(season: Season) -> dict[str, float]:
    """Seconds of the yard's own weather, its table inside a stand, and 30 years of hours."""
    kind, canopy = season.kind, season.scheme.canopy
    fresh = api.load_weather(season.yard)
    from_file, from_cache = weather_times()
    return {
        "days": len(season.weather.table),
        "yard_s": best_of(lambda: api.load_weather(season.yard)),
        "stand_table_s": seconds(
            lambda: fresh.record.table(canopy, kind.openness_under(canopy), kind.stack.diameter_m)
        ),
        "hours_from_file_s": from_file,
        "hours_from_cache_s": from_cache,
    }


def weather_times() -> tuple[float, float]:
    """Seconds for 30 years of hours: from a CSV file, and of stations from a warm cache.

    The hours are made here, of the size and with the gaps of a real record.
    """
    time_of = pd.date_range("1994-01-01", "2023-12-31 23:00", freq="h")
    rng = np.random.default_rng(1)
    day = 2.0 * np.pi * (time_of.day_of_year.to_numpy() - 200) / 365.25
    clock = 2.0 * np.pi * (time_of.hour.to_numpy() - 15) / 24.0
    temp = 11.0 + 12.0 * np.cos(day) + 5.0 * np.cos(clock) + rng.normal(0.0, 0.8, len(day))
    wet = rng.random(len(day)) < 0.05
    hours = pd.DataFrame(
        {
            "temp": temp.round(1),
            "rhum": np.clip(90.0 - 1.5 * temp + rng.normal(0.0, 8.0, len(day)), 15.0, 99.0),
            "prcp": np.where(wet, rng.exponential(1.5, len(day)), 0.0).round(1),
            "wspd": np.abs(rng.normal(11.0, 4.0, len(day))).round(1),
            "pres": 1013.0,
        },
        index=pd.DatetimeIndex(time_of, name="time"),
    ).round(1)
    hours[rng.random(len(day)) < 0.01] = np.nan
    site = Site(latitude=41.0, longitude=-80.0, elevation_m=300.0)
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "hours.csv"
        table = hours[["temp", "rhum", "prcp"]].assign(wind=hours["wspd"] / 3.6)
        table.columns = ["air_temp_c", "rel_humidity_pct", "precip_mm", "wind_ms"]
        table.to_csv(file, index_label="time", date_format="%Y-%m-%d %H:%M")
        with mock.patch.dict(os.environ, CLIMATE_RISK_CACHE=name):
            from_file = seconds(lambda: to_hourly(load_weather(file, site), site))
            _fill_cache(hours, site)
            span = date(1994, 1, 2), date(2023, 12, 30)
            to_hourly(load_weather("meteostat", site, *span), site)
            from_cache = best_of(lambda: to_hourly(load_weather("meteostat", site, *span), site))
    return from_file, from_cache


def _fill_cache(hours: pd.DataFrame, site: Site) -> None:
    """A cache as a run leaves it: a station list, and a file a year, hourly and daily."""
    from meteostat import config

    one = {
        "name": "Made", "country": "US", "latitude": site.latitude, "longitude": site.longitude,
        "elevation": site.elevation_m, "timezone": "UTC", "distance": 1000.0,
        "first_year": 1990.0, "last_year": 2023.0,
    }  # fmt: skip
    place = f"near_{site.latitude:.3f}_{site.longitude:.3f}_{RADIUS_M:.0f}.csv.gz"
    listed = cache_path(";".join(config.stations_db_endpoints), place)
    write_table(listed, pd.DataFrame(one, index=pd.Index(["00001"], name="id")), "made")
    grouped = hours.groupby(pd.DatetimeIndex(hours.index).date)
    days = pd.DataFrame(
        {
            "temp": grouped["temp"].mean(),
            "tmin": grouped["temp"].min(),
            "tmax": grouped["temp"].max(),
            "prcp": grouped["prcp"].sum(),
        }
    )
    days.index = pd.DatetimeIndex(days.index, name="time")
    for step, endpoint, table in (
        ("hourly", config.hourly_endpoint, hours),
        ("daily", config.daily_endpoint, days),
    ):
        for year, part in table.groupby(pd.DatetimeIndex(table.index).year):
            write_table(cache_path(endpoint, step, str(year), "00001.csv.gz"), part, "made")
