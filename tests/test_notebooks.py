"""Every notebook runs from top to bottom, and is kept without its output."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

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


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_is_kept_without_output(path: Path) -> None:
    cells = [c for c in nbformat.read(path, as_version=4).cells if c.cell_type == "code"]
    assert not any(c.outputs or c.execution_count for c in cells)
