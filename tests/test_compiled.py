"""Compiled kernels are kept by the content of the files that they are made of."""

from __future__ import annotations

from pathlib import Path

import pytest

from climate_risk import compiled


def test_one_changed_letter_of_one_file_makes_compiled_kernels_stale(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    files = [tmp_path / "one.py", tmp_path / "two.py"]
    for path in files:
        path.write_text("X = 1\n", encoding="utf-8")
    monkeypatch.setattr(compiled, "kernel_files", lambda: files)
    stamp = compiled.kernel_stamp.__wrapped__
    before = stamp()
    assert stamp() == before
    files[1].write_text("X = 2\n", encoding="utf-8")
    assert stamp() != before
    files[1].write_text("X = 1\n", encoding="utf-8")
    assert stamp() == before
