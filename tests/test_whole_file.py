"""Results as a set: all new or all old, whatever stops the writing."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from climate_risk import whole_file
from climate_risk.errors import RunError
from climate_risk.report import files
from climate_risk.weather.station_cache import read_table, write_table
from climate_risk.whole_file import as_a_set, finish

NAMES = [f"{n}.txt" for n in range(8)]
WRITER = """
import sys
from pathlib import Path
from climate_risk.whole_file import as_a_set
folder = Path(sys.argv[1])
for version in range(10**6):
    with as_a_set(folder) as making:
        for n in range(8):
            (making / f"{n}.txt").write_text(f"{version} " * 2000)
"""

CACHE_WRITER = """
import sys
import pandas as pd
from pathlib import Path
from climate_risk.weather.station_cache import write_table
days = pd.date_range("2013-01-01", periods=365, freq="D", name="time")
for version in range(10**6):
    write_table(Path(sys.argv[1]), pd.DataFrame({"temp": float(version)}, index=days), "x")
"""


def versions(folder: Path) -> set[str]:
    return {(folder / name).read_text().split()[0] for name in NAMES}


def write(folder: Path, version: str) -> None:
    with as_a_set(folder) as making:
        for name in NAMES:
            (making / name).write_text(version)


def test_a_set_lands_and_leaves_other_files_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("kept")
    write(tmp_path, "1")
    write(tmp_path, "2")
    assert versions(tmp_path) == {"2"}
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([*NAMES, "mine.txt"])


def test_what_an_older_run_alone_made_goes(tmp_path: Path) -> None:
    (tmp_path / "outlook.csv").write_text("old")
    with as_a_set(tmp_path, family=("outlook.csv",)) as making:
        (making / "page.html").write_text("new")
    assert [p.name for p in tmp_path.iterdir()] == ["page.html"]


@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), KeyboardInterrupt()])
@pytest.mark.parametrize("place", range(0, 8, 3))
def test_a_failure_while_moving_in_puts_the_old_set_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failure: BaseException, place: int
) -> None:
    write(tmp_path, "old")
    plain, count = Path.replace, iter(range(100))

    def fail(self: Path, target: Path) -> Path:
        if next(count) == place:
            raise failure
        return plain(self, target)

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(type(failure)):
        write(tmp_path, "new")
    assert versions(tmp_path) == {"old"}
    assert sorted(p.name for p in tmp_path.iterdir()) == NAMES


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_kill_in_a_loop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed at any moment; the next run, or `finish` alone, leaves one whole set."""
    monkeypatch.setattr(whole_file, "ABANDONED_S", 0.0)
    chance = random.Random(1)
    for _ in range(25):
        run = subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path)])
        while not (tmp_path / NAMES[-1]).exists():
            time.sleep(0.01)
        time.sleep(0.1 + 0.1 * chance.random())
        run.send_signal(signal.SIGKILL)
        run.wait()
        finish(tmp_path)
        assert len(versions(tmp_path)) == 1
        assert sorted(p.name for p in tmp_path.iterdir()) == NAMES


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_kill_while_the_cache_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The entry is one of those written, whole; what the killed left goes with the next write."""
    monkeypatch.setattr(whole_file, "ABANDONED_S", 0.0)
    path = tmp_path / "2013.csv.gz"
    chance = random.Random(2)
    for _ in range(12):
        run = subprocess.Popen([sys.executable, "-c", CACHE_WRITER, str(path)])
        while not path.exists():
            time.sleep(0.01)
        time.sleep(0.05 * chance.random())
        run.send_signal(signal.SIGKILL)
        run.wait()
        held = read_table(path, 2013)
        assert held is not None
        assert len(set(held.table["temp"])) == 1
        write_table(path, held.table, "again")
        assert [p.name for p in tmp_path.iterdir()] == [path.name]
        path.unlink()


def test_a_set_under_way_is_left_to_the_one_who_makes_it(tmp_path: Path) -> None:
    with as_a_set(tmp_path) as making:
        write(tmp_path, "other")
        (making / "0.txt").write_text("mine")
    assert (tmp_path / "0.txt").read_text() == "mine"
    assert (tmp_path / "1.txt").read_text() == "other"


def test_a_full_disk_leaves_the_old_results_and_names_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "season.html").write_text("old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    def run() -> None:
        with files.as_a_set(tmp_path, ()) as folder:
            files.write_whole(folder / "season.html", "new")
            monkeypatch.setattr("climate_risk.whole_file.os.fdopen", full)
            files.write_whole(folder / "daily.csv", "new")

    with pytest.raises(RunError, match=r"daily\.csv: cannot be written \(No space"):
        run()
    assert [p.name for p in tmp_path.iterdir()] == ["season.html"]
    assert (tmp_path / "season.html").read_text() == "old"
