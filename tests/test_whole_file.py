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

from climate_risk.errors import RunError
from climate_risk.report import files
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
def test_kill_in_a_loop(tmp_path: Path) -> None:
    """Killed at any moment; the next run, or `finish` alone, leaves one whole set."""
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
