"""Compiled kernels are kept by the content of the files that they are made of."""

from __future__ import annotations

import inspect
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import climate_risk
from climate_risk import compiled
from climate_risk.engine import compile_ahead

SMALL = """
import json
import numpy as np
from numba import typeof
from climate_risk.compiled import is_kept
from climate_risk.log import layout as at
from climate_risk.log.surface_balance import dry_surface as kernel

before = is_kept(kernel)
a = 1.0 + np.arange(at.TERMS * 20.0 * at.CASES).reshape(at.TERMS, 20, at.CASES)
kernel.compile((typeof(a), typeof(0)))
stats = kernel.stats
kernel(a, at.BARK)
found = [before, is_kept(kernel), sum(stats.cache_misses.values()), stats.cache_path, a.sum()]
print(json.dumps(found))
"""
"""Looks for a kernel that calls another, compiles it where it is not kept, and calls it."""


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


NESTED = """
from numba import njit, typeof
from climate_risk.engine.compile_ahead import work_list
from climate_risk.log.kernel import move_heat as kernel

(given,) = [arguments for each, arguments in work_list() if each is kernel]
kernel.compile(tuple(typeof(each) for each in given))
misses = sum(kernel.stats.cache_misses.values())
njit(lambda x: x)(1.0)  # what is missing is missed when the next function is called
print(misses)
"""
"""The same of one that calls others from a kernel that is set into it."""


def told_in_a_copy(package: Path, script: str, **environment: str) -> str:
    """What a script says that runs with a copied package."""
    clean = {
        k: v
        for k, v in os.environ.items()
        if k not in ("NUMBA_CACHE_DIR", "XDG_CACHE_HOME", "PYTHONPATH")
    }
    return subprocess.run(
        [sys.executable, "-c", script],
        cwd=package.parent,
        env={**clean, **environment},
        check=True,
        capture_output=True,
        text=True,
    ).stdout


def in_a_copy(package: Path, **environment: str) -> tuple[bool, bool, int, str, float]:
    """Whether a copied package's cache held a kernel, holds it now; misses, folder, result."""
    before, after, misses, folder, result = json.loads(
        told_in_a_copy(package, SMALL, **environment)
    )
    return before, after, misses, folder, result


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The package without what was compiled of it."""
    copy = tmp_path_factory.mktemp("copy") / "climate_risk"
    source = Path(climate_risk.__file__).parent
    shutil.copytree(source, copy, ignore=shutil.ignore_patterns("__pycache__"))
    return copy


def test_what_is_kept_is_found_and_a_change_elsewhere_renews_it(package: Path) -> None:
    """The file that changes is not the kernel's own: it is one whose numbers the kernel holds."""
    first, again = in_a_copy(package), in_a_copy(package)
    assert first[:3] == (False, True, 1)
    assert again[:3] == (True, True, 0)
    assert again[4] == first[4]
    constants = package / "constants.py"
    constants.write_text(constants.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert in_a_copy(package)[:3] == (False, True, 1)


def test_with_a_kernel_is_kept_what_it_calls_from_another_set_into_it(package: Path) -> None:
    """The compiler ends a process that reads code from which some is missing."""
    assert told_in_a_copy(package, NESTED) == "1\n"
    assert told_in_a_copy(package, NESTED) == "0\n"


def test_code_for_another_processor_is_not_taken(package: Path) -> None:
    """As when a home folder is shared: numba's index has the processor's name in it."""
    in_a_copy(package)
    other = in_a_copy(package, NUMBA_CPU_NAME="x86-64", NUMBA_CPU_FEATURES="")
    assert other[:3] == (False, True, 1)
    assert in_a_copy(package)[:3] == (True, True, 0)


def test_an_install_that_cannot_be_written_keeps_kernels_with_the_user(
    package: Path, tmp_path: Path
) -> None:
    """A file stands where the cache's folder would: nobody, not even root, can write there."""
    beside = package / "log" / "__pycache__"
    shutil.rmtree(beside, ignore_errors=True)
    beside.write_text("", encoding="utf-8")
    try:
        first = in_a_copy(package, XDG_CACHE_HOME=str(tmp_path))
        assert first[:3] == (False, True, 1)
        assert Path(first[3]).is_relative_to(tmp_path)
        assert in_a_copy(package, XDG_CACHE_HOME=str(tmp_path))[:3] == (True, True, 0)
        blocked = tmp_path / "blocked"
        blocked.write_text("", encoding="utf-8")
        nowhere = in_a_copy(package, XDG_CACHE_HOME=str(blocked))
        assert nowhere[1] is True
    finally:
        beside.unlink()


def test_the_second_process_knows_how_each_kernel_is_called() -> None:
    for kernel, arguments in compile_ahead.work_list():
        inspect.signature(kernel.py_func).bind(*arguments)


def test_the_second_process_takes_this_package_and_not_one_that_lies_where_it_runs(
    tmp_path: Path,
) -> None:
    """As in the folder of the sources, which an installed program is often started from."""
    decoy = tmp_path / "climate_risk"
    decoy.mkdir()
    (decoy / "__init__.py").write_text("raise SystemExit('the decoy')\n", encoding="utf-8")
    found = subprocess.run(
        [*compile_ahead.this_python(), "-c", "import climate_risk; print(climate_risk.__file__)"],
        cwd=tmp_path,
        env=compile_ahead.this_package(),
        check=True,
        capture_output=True,
        text=True,
    ).stdout.strip()
    assert Path(found) == Path(climate_risk.__file__)
