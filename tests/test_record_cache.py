"""A record kept is the record made; anything it rests on makes it anew."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from climate_risk.site import Site
from climate_risk.weather import load_weather, record_cache
from climate_risk.weather.files import read_weather_file
from climate_risk.weather_options import WeatherOptions, WeatherSource

SITE = Site(latitude=40.69, longitude=-74.17, elevation_m=5.0)
REAL = Path(__file__).parent / "data" / "nyc_ewr_2013.csv"


@pytest.fixture
def reads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Files that were read and not taken from the cache."""
    monkeypatch.setenv("CLIMATE_RISK_CACHE", str(tmp_path / "cache"))
    seen: list[Path] = []

    def counted(path: Path, *rest: object, **named: object) -> object:
        seen.append(path)
        return read_weather_file(path, *rest, **named)  # type: ignore[arg-type]

    monkeypatch.setattr("climate_risk.weather.sources.read_weather_file", counted)
    return seen


def test_the_second_time_is_the_same_and_reads_nothing(reads: list[Path]) -> None:
    first, second = (load_weather(REAL, SITE) for _ in range(2))
    assert len(reads) == 1
    pd.testing.assert_frame_equal(first.table, second.table)
    pd.testing.assert_frame_equal(first.quality, second.quality, check_dtype=False)
    assert (first.step, first.coverage) == (second.step, second.coverage)


def test_another_file_place_or_span_is_read(reads: list[Path], tmp_path: Path) -> None:
    path = tmp_path / "weather.csv"
    path.write_bytes(REAL.read_bytes())
    load_weather(path, SITE)
    load_weather(path, replace(SITE, elevation_m=50.0))
    load_weather(path, SITE, last=pd.Timestamp("2013-07-01").date())
    path.write_text(path.read_text().replace("2013-06-01,", "2013-06-01, "))
    load_weather(path, SITE)
    assert len(reads) == 4


def test_a_damaged_entry_is_made_anew(reads: list[Path], tmp_path: Path) -> None:
    before = load_weather(REAL, SITE)
    (entry,) = (tmp_path / "cache" / "records").iterdir()
    for data in (b"", b"PK\x03\x04", entry.read_bytes()[:-2000]):
        entry.write_bytes(data)
        pd.testing.assert_frame_equal(load_weather(REAL, SITE).table, before.table)
    assert len(reads) == 4


def test_few_are_kept(reads: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(record_cache, "KEPT", 2)
    for height in (1.0, 2.0, 3.0):
        load_weather(REAL, replace(SITE, elevation_m=height))
    assert len(list((tmp_path / "cache" / "records").iterdir())) == 2


def test_no_place_for_it_is_no_failure(reads: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CLIMATE_RISK_CACHE", "/proc/nowhere")
    options = WeatherOptions(sources=(WeatherSource(file=REAL),))
    assert record_cache.entry(options, SITE, None, None) is None
    assert load_weather(REAL, SITE).coverage.days == 364
