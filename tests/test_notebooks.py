"""Every notebook runs from top to bottom, and is kept without its output."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

import climate_risk

nbformat = pytest.importorskip("nbformat")
nbclient = pytest.importorskip("nbclient")

ROOT = Path(__file__).parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
CELL_SECONDS = 90


@pytest.fixture
def found_by_the_kernel(monkeypatch):
    """The kernel is a process of its own: it takes the package from here, installed or not."""
    path = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(path))
    monkeypatch.setenv("MPLBACKEND", "module://matplotlib_inline.backend_inline")


def test_there_are_notebooks() -> None:
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path: Path, found_by_the_kernel: None) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbclient.NotebookClient(
        notebook,
        timeout=CELL_SECONDS,
        kernel_name="python3",
        resources={"metadata": {"path": str(path.parent)}},
    ).execute()
    if path.stem.startswith("lesson"):
        shown = [o for c in notebook.cells for o in c.get("outputs", []) if "data" in o]
        assert sum("image/png" in o.data for o in shown) >= 3


@pytest.mark.parametrize("path", [p for p in NOTEBOOKS if p.stem.startswith("lesson")])
def test_a_lesson_asks_lets_try_answers_and_uses_public_calls_only(path: Path) -> None:
    cells = nbformat.read(path, as_version=4).cells
    prose = "\n".join(c.source for c in cells if c.cell_type == "markdown")
    places = [prose.index(f"## {head}") for head in ("Questions", "Try it yourself", "Answers")]
    assert places == sorted(places)
    code = "\n".join(c.source for c in cells if c.cell_type == "code")
    assert "climate_risk." not in code
    assert set(re.findall(r"\bcr\.(\w+)", code)) <= set(climate_risk.__all__)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_is_kept_without_output(path: Path) -> None:
    cells = [c for c in nbformat.read(path, as_version=4).cells if c.cell_type == "code"]
    assert not any(c.outputs or c.execution_count for c in cells)
