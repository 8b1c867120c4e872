"""Words of the command line arrive where the work is done, each as what it says."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk import api
from climate_risk.cli import main
from climate_risk.engine import compile_ahead


class _ReachedError(Exception):
    """The work would begin here."""


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the command asks of the entry points, which do nothing."""
    found: dict[str, Any] = {}

    class Sky:
        class coverage:
            warnings = ()
            filled_count = 0

        class record:
            last = date.today()

    def load(_yard: object, **words: Any) -> type[Sky]:
        found["load"] = words
        return Sky

    def work(_yard: object, _weather: object, **words: Any) -> None:
        found["work"] = words
        raise _ReachedError

    monkeypatch.setattr(compile_ahead, "start", lambda: None)
    monkeypatch.setattr(api, "load_weather", load)
    monkeypatch.setattr(api, "season", work)
    monkeypatch.setattr(api, "compare", work)
    return found


def test_years_run_from_the_first_to_the_last(asked: dict[str, Any], tmp_path: Path) -> None:
    yard = samples.write_yard(tmp_path)
    with pytest.raises(_ReachedError):
        main(["compare", str(yard), "--years", "1995:2024", "--draws", "3", "--quiet"])
    assert asked["work"]["years"] == (1995, 2024)
    assert asked["work"]["draws"] == 3


def test_the_day_asked_for_is_the_last_seen(asked: dict[str, Any], tmp_path: Path) -> None:
    yard = samples.write_yard(tmp_path)
    with pytest.raises(_ReachedError):
        main(["season", str(yard), "--as-of", "2010-07-12", "--weather", "a.csv", "--quiet"])
    assert asked["work"]["as_of"] == date(2010, 7, 12)
    assert asked["load"] == {"source": "a.csv", "last": date(2010, 7, 12)}
