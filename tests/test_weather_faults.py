"""The short form of ``weather_faults.py``: faults planted on real records are found.

The long form, with what each fault would do to a stack, is in ``tests/weather_faults.md``.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest
import weather_faults as planted

from climate_risk.site import Site
from climate_risk.weather import load_weather

DATA = Path(__file__).with_name("data")
SHORT = ("nyc_ewr_2013", "nyc_lga_2013", "Iowa 2012")
UNSURE = ("a maximum 12 K too high", "a maximum 12 K too low")
"""Spikes within what days differ by there; those that matter to the bark are found."""


@pytest.fixture(scope="module")
def records() -> list[planted.Clean]:
    return [clean for clean in planted.read_clean() if clean.name in SHORT]


@pytest.fixture(scope="module")
def usual(
    records: list[planted.Clean], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, set[str]]:
    folder = tmp_path_factory.mktemp("clean")
    return {clean.name: planted.warned(clean, folder) for clean in records}


def test_clean_records_draw_no_false_warning(usual: dict[str, set[str]]) -> None:
    assert {name: planted.false_warnings(notes) for name, notes in usual.items()} == {
        name: set() for name in SHORT
    }


@pytest.mark.parametrize("fault", [name for name in planted.FAULTS if name not in UNSURE])
def test_a_planted_fault_is_found(
    records: list[planted.Clean], usual: dict[str, set[str]], tmp_path: Path, fault: str
) -> None:
    tried = 0
    for number, clean in enumerate(records):
        bad = planted.FAULTS[fault](clean, np.random.default_rng(number))
        if bad.table.equals(clean.table) and bad.site == clean.site:
            continue
        tried += 1
        found = planted.warned(bad, tmp_path) - usual[clean.name]
        assert found, clean.name
    assert tried


def test_a_spike_that_would_rule_the_bark_is_found(
    records: list[planted.Clean], usual: dict[str, set[str]], tmp_path: Path
) -> None:
    """12 K on the season's hottest day, which is the one that matters."""
    for clean in records:
        table = clean.table.copy()
        table.loc[table[planted.MAX].idxmax(), planted.MAX] += 12.0
        bad = planted.Clean(clean.name, table, clean.site, clean.year)
        assert planted.warned(bad, tmp_path) - usual[clean.name], clean.name


def test_a_true_drought_and_a_true_heat_are_not_taken_for_other_units(tmp_path: Path) -> None:
    """Champion, Nebraska: March 2012 and the dry June and July of that year are real."""
    path = tmp_path / "weather.csv"
    path.write_bytes(gzip.decompress((DATA / "champion_1986_2018.csv.gz").read_bytes()))
    site = Site(latitude=40.40, longitude=-101.72, elevation_m=1029.0)
    notes = load_weather(path, site).coverage.warnings
    assert [note for note in notes if "another unit?" in note and "kept in mm" in note]
