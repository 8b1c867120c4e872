"""Faults planted in a copy are caught: a few here, every one by ``plant_faults.py --all``."""

from __future__ import annotations

import shutil
import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import plant_faults

SAMPLE = ("gallon-imperial", "magnus-constant", "outcome-causes-swapped")
"""Of three rooms, none of them a kernel, which would be compiled anew."""
ROOMS = {
    "base", "tables", "weather", "microclimate", "log", "fungus", "engine", "risk", "region",
    "report", "bench",
}  # fmt: skip


def test_every_entry_fits_the_code() -> None:
    """What an entry looks for stands there once, and its tests are there."""
    faults = plant_faults.read_faults()
    assert [why for fault in faults if (why := plant_faults.stale(fault))] == []
    assert {fault.room for fault in faults} == ROOMS
    assert len(faults) >= 60
    assert all(fault.find != fault.put and fault.tests for fault in faults)


def test_an_entry_that_no_longer_fits_is_named() -> None:
    fault = plant_faults.read_faults()[0]
    assert "is 0 times in" in plant_faults.stale(replace(fault, find="no such text"))
    assert "no file" in plant_faults.stale(replace(fault, file="gone.py"))
    assert "no tests/test_gone.py" in plant_faults.stale(replace(fault, tests=("test_gone.py",)))


def test_a_sample_of_faults_is_caught(capsys: pytest.CaptureFixture[str]) -> None:
    assert plant_faults.main(SAMPLE) == 0
    said = capsys.readouterr().out
    assert "3 of 3 faults caught" in said
    assert "test_units.py" in said


def test_a_fault_that_no_test_sees_is_not_passed_over(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A comment is no fault; and a test that fails without one has caught nothing."""
    harmless = plant_faults.Fault(
        name="harmless",
        file="units.py",
        find="METRES_PER_INCH = 0.0254",
        put="METRES_PER_INCH = 0.0254  # an inch",
        wrong="nothing",
        tests=("test_small.py",),
    )
    root = tmp_path / "root"
    (root / "tests").mkdir(parents=True)
    (root / "sample_data").mkdir()
    shutil.copytree(plant_faults.ROOT / "climate_risk", root / "climate_risk")
    shutil.copy2(plant_faults.ROOT / "pyproject.toml", root)
    small = (
        "from climate_risk.units import METRES_PER_INCH\n\n\n"
        "def test_inch():\n    assert METRES_PER_INCH == 0.0254\n\n\n"
        "def test_wrong_anyway():\n    assert METRES_PER_INCH == 0.0\n"
    )
    (root / "tests" / "test_small.py").write_text(small, encoding="utf-8")
    copy_package = plant_faults.copy_package
    monkeypatch.setattr(plant_faults, "copy_package", lambda to: copy_package(to, root))
    monkeypatch.setattr(plant_faults, "stale", lambda fault: "")
    faults = (harmless, replace(harmless, name="wrong", put="METRES_PER_INCH = 0.0255"))
    monkeypatch.setattr(plant_faults, "read_faults", lambda: faults)
    assert plant_faults.main(["--all"]) == plant_faults.NOT_CAUGHT
    said = capsys.readouterr().out
    assert "left out: tests/test_small.py::test_wrong_anyway" in said
    assert "harmless                         NOT CAUGHT" in said
    assert "wrong                            test_small.py::test_inch" in said
    assert "1 of 2 faults caught" in said
