"""A weather service that misbehaves on purpose, on this machine's loopback."""

from __future__ import annotations

import gzip
import http.server
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest
from test_weather_stations import EWR, LGA, bulk_file, station_days, station_hours, station_list

from climate_risk.errors import RunError
from climate_risk.site import Site
from climate_risk.weather import download, load_weather
from climate_risk.weather.download import FetchError, NoWay, Patience
from climate_risk.weather.service_file import DamagedFile, read_service_file
from climate_risk.weather.station_cache import read_table

YARD = Site(latitude=40.70, longitude=-74.17, elevation_m=5.0)
SPAN = (date(2013, 6, 1), date(2013, 6, 30))
Answer = Callable[[http.server.BaseHTTPRequestHandler, bytes], None]


def whole(handler: http.server.BaseHTTPRequestHandler, body: bytes) -> None:
    handler.send_response(200)
    handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    handler.wfile.write(body)


def status(code: int) -> Answer:
    def answer(handler: http.server.BaseHTTPRequestHandler, _: bytes) -> None:
        handler.send_response(code)
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    return answer


def cut_short(handler: http.server.BaseHTTPRequestHandler, body: bytes) -> None:
    """Half of what is announced."""
    handler.send_response(200)
    handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    handler.wfile.write(body[: len(body) // 2])
    handler.close_connection = True


def half_a_gzip(handler: http.server.BaseHTTPRequestHandler, body: bytes) -> None:
    """Announced as whole, but its gzip stream stops in the middle."""
    whole(handler, body[: len(body) // 2])


def a_page(handler: http.server.BaseHTTPRequestHandler, _: bytes) -> None:
    whole(handler, b"<html>Please log in</html>")


def a_drip(handler: http.server.BaseHTTPRequestHandler, body: bytes) -> None:
    """A byte now and then, for as long as anyone listens."""
    handler.send_response(200)
    handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    for place in range(len(body)):
        try:
            handler.wfile.write(body[place : place + 1])
            handler.wfile.flush()
        except OSError:
            return
        time.sleep(0.05)


def no_rows(handler: http.server.BaseHTTPRequestHandler, body: bytes) -> None:
    if not body.startswith(b"\x1f\x8b"):
        return status(404)(handler, body)
    head = gzip.decompress(body).split(b"\n")[0]
    return whole(handler, gzip.compress(head + b"\n"))


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Paths of the service with Newark and La Guardia, 2013."""
    folder = tmp_path_factory.mktemp("list")
    station_list(folder / "stations.db")
    found = {"/stations.db": (folder / "stations.db").read_bytes()}
    for code, hours in station_hours().items():
        if code in (EWR, LGA):
            year = hours[hours.index.year == 2013]
            found[f"/hourly/2013/{code}.csv.gz"] = bulk_file(year, hourly=True)
            found[f"/daily/2013/{code}.csv.gz"] = bulk_file(station_days(year), hourly=False)
    return found


@pytest.fixture
def service(
    files: dict[str, bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[SimpleNamespace]:
    """A running service: `answers` maps a part of a path to how it misbehaves."""
    from meteostat import config

    state = SimpleNamespace(answers={}, asked=[])

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            state.asked.append(self.path)
            body = files.get(self.path)
            for part, answer in state.answers.items():
                if part in self.path:
                    return answer(self, body or b"x" * 1000)
            return status(404)(self, b"") if body is None else whole(self, body)

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    base = f"http://127.0.0.1:{server.server_address[1]}"
    monkeypatch.setenv("CLIMATE_RISK_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    monkeypatch.setattr(download, "PAUSE_S", 0.01)
    monkeypatch.setattr(config, "daily_endpoint", base + "/daily/{year}/{station}.csv.gz")
    monkeypatch.setattr(config, "hourly_endpoint", base + "/hourly/{year}/{station}.csv.gz")
    monkeypatch.setattr(config, "stations_db_endpoints", [base + "/stations.db"])
    state.base, state.cache = base, tmp_path / "cache"
    yield state
    server.shutdown()
    server.server_close()


def cached_names(service: SimpleNamespace) -> list[str]:
    return sorted(path.name for path in service.cache.rglob("*.csv.gz"))


@pytest.mark.parametrize(
    ("answer", "reason"),
    [
        (status(500), "status 500"),
        (status(429), "status 429"),
        (cut_short, "cut off"),
        (half_a_gzip, "cut off or damaged"),
        (a_page, "a web page"),
    ],
    ids=["500", "429", "cut short", "half a gzip", "a page"],
)
def test_failures_have_their_reason_and_do_not_stay(
    service: SimpleNamespace, answer: Answer, reason: str
) -> None:
    """One line with the reason, exit 1; a healthy service afterwards gives the weather."""
    service.answers = {"csv.gz": answer}
    with pytest.raises(RunError) as caught:
        load_weather("meteostat", YARD, *SPAN)
    assert reason in str(caught.value)
    assert len(caught.value.lines) == 1
    assert caught.value.exit_status == 1
    service.answers = {}
    assert load_weather("meteostat", YARD, *SPAN).coverage.days == 30


@pytest.mark.parametrize("answer", [status(500), a_page, half_a_gzip], ids=["500", "page", "half"])
def test_a_list_of_stations_that_fails_is_asked_for_again(
    service: SimpleNamespace, answer: Answer
) -> None:
    service.answers = {"stations.db": answer}
    with pytest.raises(RunError, match="station list"):
        load_weather("meteostat", YARD, *SPAN)
    service.answers = {}
    assert load_weather("meteostat", YARD, *SPAN).coverage.days == 30


@pytest.mark.parametrize("answer", [status(404), no_rows], ids=["404", "no rows"])
def test_absence_is_believed_for_a_day_at_most(
    service: SimpleNamespace, answer: Answer, monkeypatch: pytest.MonkeyPatch
) -> None:
    service.answers = {"csv.gz": answer}
    with pytest.raises(RunError, match="no station within 100 km has weather"):
        load_weather("meteostat", YARD, *SPAN)
    service.answers = {}
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now + 86_401)
    assert load_weather("meteostat", YARD, *SPAN).coverage.days == 30


def test_a_server_that_drips_is_given_up_in_the_time_set(service: SimpleNamespace) -> None:
    """The bound is on the whole, however little time passes between two bytes."""
    service.answers = {"csv.gz": a_drip}
    begin = time.monotonic()
    with pytest.raises(RunError, match="no whole answer within"):
        load_weather("meteostat", YARD, *SPAN, longest_wait_s=1.0)
    assert time.monotonic() - begin < 20.0
    assert cached_names(service) == [
        f"near_{YARD.latitude:.3f}_{YARD.longitude:.3f}_100000.csv.gz"
    ]


def test_a_part_of_the_answers_is_used_and_the_rest_named(service: SimpleNamespace) -> None:
    service.answers = {EWR: status(500)}
    record = load_weather("meteostat", YARD, *SPAN)
    assert "La Guardia" in record.coverage.source
    assert any(f"{EWR} daily 2013 (the server answers" in w for w in record.coverage.warnings)


def test_a_damaged_entry_is_fetched_again(service: SimpleNamespace) -> None:
    before = load_weather("meteostat", YARD, *SPAN)
    for path in service.cache.rglob("*.csv.gz"):
        path.write_bytes(path.read_bytes()[:-20])
        assert read_table(path, 2013) is None
    service.asked.clear()
    after = load_weather("meteostat", YARD, *SPAN)
    assert service.asked
    pd.testing.assert_frame_equal(before.table, after.table)


def test_two_runs_at_once_share_a_cache(service: SimpleNamespace) -> None:
    def run(_: int) -> pd.DataFrame:
        return load_weather("meteostat", YARD, *SPAN).table

    with ThreadPoolExecutor(2) as pool:
        one, other = pool.map(run, range(2))
    pd.testing.assert_frame_equal(one, other)
    assert not [path for path in service.cache.rglob(".*") if path.is_file()]


def test_nobody_listens() -> None:
    with pytest.raises(NoWay, match="no connection"):
        download.download("http://127.0.0.1:9/x", Patience(5.0))
    with pytest.raises(NoWay, match="longest wait"):
        download.download("http://127.0.0.1:9/x", Patience(0.0))


def test_an_absurd_length_is_not_waited_for(service: SimpleNamespace) -> None:
    def huge(handler: http.server.BaseHTTPRequestHandler, _: bytes) -> None:
        handler.send_response(200)
        handler.send_header("Content-Length", str(10**12))
        handler.end_headers()

    service.answers = {"csv.gz": huge}
    with pytest.raises(FetchError, match="too much"):
        download.download(f"{service.base}/x.csv.gz", Patience(5.0))


def test_values_that_a_model_made_are_kept_apart() -> None:
    """Layout of the service's own documentation (bulk data, daily)."""
    text = (
        "year,month,day,temp,temp_source,tmin,tmin_source,prcp,prcp_source\n"
        "2024,6,1,20.1,dwd_hourly,15.0,dwd_hourly,1.2,dwd_hourly\n"
        "2024,6,2,22.4,dwd_mosmix,16.0,metno_forecast dwd_mosmix,,\n"
    )
    seen, forecast, sources = read_service_file(gzip.compress(text.encode()))
    assert list(seen.index) == [pd.Timestamp("2024-06-01")]
    assert forecast.loc["2024-06-02", "tmin"] == 16.0
    assert sources == {"dwd_hourly", "dwd_mosmix", "metno_forecast"}


@pytest.mark.parametrize("data", [b"", b"<html>", b"\x1f\x8bxx", b"a,b\n1,2\n"])
def test_what_is_no_file_of_the_service(data: bytes) -> None:
    with pytest.raises(DamagedFile):
        read_service_file(data)
