"""Plant the faults of ``faults.toml`` one by one in a copy of the package: which tests see them?

``python tests/plant_faults.py --all``, or names of faults, or ``--sample 4 --seed 1``; ``--list``
shows them. Each copy holds one fault and runs only the tests that its entry names. A test that
fails without a fault too sees nothing: it is found by a run of an unplanted copy beforehand, said
and left out. Exit status 1 if a fault is not caught, 2 if an entry no longer fits the code.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
LIST = Path(__file__).with_name("faults.toml")
COPIED = ("climate_risk", "tests", "sample_data", "pyproject.toml")
KEYS = {"name", "file", "find", "put", "wrong", "tests"}
NOT_CAUGHT, STALE = 1, 2
PASSED, FAILED = 0, 1
"""Exit statuses of pytest: all passed; some failed."""
LONGEST_S = 1800.0
_RESULT = re.compile(r"^(?:FAILED|ERROR) (tests/.+?)(?: - .*)?$", re.MULTILINE)


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One wrong thing in one file."""

    name: str
    file: str
    """Under ``climate_risk``."""
    find: str
    """Stands there exactly once."""
    put: str
    wrong: str
    """What is wrong with it, for a reader."""
    tests: tuple[str, ...]
    """Files under ``tests``, or ``file.py::test``, the first to catch it first."""

    @property
    def room(self) -> str:
        """Folder of the package, or ``base`` for the files beside them."""
        folder, slash, _ = self.file.partition("/")
        return folder if slash else "base"


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What the tests said of one fault."""

    caught_by: str | None
    trouble: str = ""
    """Why nothing could be said, such as a copy that does not import."""


def read_faults(path: Path = LIST) -> tuple[Fault, ...]:
    """Every fault of a list, in its order.

    Raises
    ------
    ValueError
        An entry lacks a key, has an unknown one, or two share a name.
    """
    faults = []
    for entry in tomllib.loads(path.read_text(encoding="utf-8"))["fault"]:
        if set(entry) != KEYS:
            raise ValueError(f"{path.name}: {entry.get('name')}: needs the keys {sorted(KEYS)}")
        faults.append(Fault(**entry | {"tests": tuple(entry["tests"])}))
    names = [fault.name for fault in faults]
    if twice := {name for name in names if names.count(name) > 1}:
        raise ValueError(f"{path.name}: stands twice: {', '.join(sorted(twice))}")
    return tuple(faults)


def stale(fault: Fault, root: Path = ROOT) -> str:
    """Why an entry no longer fits the code; empty if it does."""
    target = root / "climate_risk" / fault.file
    if not target.is_file():
        return f"{fault.name}: no file {fault.file}"
    times = target.read_text(encoding="utf-8").count(fault.find)
    if times != 1:
        holders = [
            path.relative_to(root / "climate_risk").as_posix()
            for path in sorted((root / "climate_risk").rglob("*.py"))
            if fault.find in path.read_text(encoding="utf-8")
        ]
        where = f"; it stands in {', '.join(holders)}" if holders else ""
        return f"{fault.name}: {fault.find!r} is {times} times in {fault.file}, not once{where}"
    gone = [t for t in fault.tests if not (root / "tests" / t.partition("::")[0]).is_file()]
    return f"{fault.name}: no tests/{gone[0]}" if gone else ""


def plant(fault: Fault, copy: Path) -> None:
    """Put the fault into a copy of the package."""
    target = copy / "climate_risk" / fault.file
    text = target.read_text(encoding="utf-8")
    target.write_text(text.replace(fault.find, fault.put), encoding="utf-8")
    for old in target.parent.glob(f"__pycache__/{target.stem}.*.pyc"):
        old.unlink()


def copy_package(to: Path, root: Path = ROOT) -> None:
    """Package, tests and sample data, with what is compiled of them, which is kept by content."""
    for name in COPIED:
        if (root / name).is_dir():
            shutil.copytree(root / name, to / name)
        else:
            to.mkdir(parents=True, exist_ok=True)
            shutil.copy2(root / name, to / name)
    # Where the package is installed its sample data is a folder of it.
    shutil.copytree(to / "sample_data", to / "climate_risk" / "sample_data", dirs_exist_ok=True)


def run_tests(copy: Path, tests: Sequence[str], *options: str) -> tuple[int, str]:
    """Exit status and words of pytest in a copy, which is what is imported there."""
    environment = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    environment |= {"PYTHONPATH": str(copy), "COLUMNS": "400", "MPLBACKEND": "agg"}
    words = [sys.executable, "-m", "pytest", "-q", "-rfE", "--tb=no", "-p", "no:cacheprovider"]
    targets = [f"tests/{test}" for test in tests]
    done = subprocess.run(
        [*words, *options, *targets],
        cwd=copy,
        env=environment,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
    )
    return done.returncode, done.stdout + done.stderr


def failing_without(pristine: Path, faults: Sequence[Fault]) -> list[str]:
    """Tests, of those that the faults name, that fail in an unplanted copy."""
    probe = subprocess.run(
        [sys.executable, "-c", "import climate_risk; print(climate_risk.__file__)"],
        cwd=pristine,
        env=os.environ | {"PYTHONPATH": str(pristine)},
        capture_output=True,
        text=True,
        check=True,
    )
    if not Path(probe.stdout.strip()).is_relative_to(pristine):
        raise RuntimeError(f"not the copy is imported, but {probe.stdout.strip()}")
    named = list(dict.fromkeys(test for fault in faults for test in fault.tests))
    status, said = run_tests(pristine, named)
    if status not in (PASSED, FAILED):
        raise RuntimeError(f"the tests do not run without a fault:\n{said[-2000:]}")
    return _RESULT.findall(said)


def try_fault(fault: Fault, pristine: Path, work: Path, left_out: Sequence[str]) -> Verdict:
    """Plant one fault in a copy of its own and run its tests there."""
    copy = work / fault.name
    shutil.copytree(pristine, copy)
    try:
        plant(fault, copy)
        skipped = [f"--deselect={test}" for test in left_out]
        status, said = run_tests(copy, fault.tests, "-x", *skipped)
    finally:
        shutil.rmtree(copy)
    if status == PASSED:
        return Verdict(caught_by=None)
    found = _RESULT.findall(said)
    if status != FAILED or not found or "::" not in found[0]:
        return Verdict(caught_by=None, trouble=f"pytest ended with {status}: {said[-300:]}")
    return Verdict(caught_by=found[0].removeprefix("tests/"))


def choose(faults: Sequence[Fault], args: argparse.Namespace) -> list[Fault]:
    """The faults asked for."""
    if args.names:
        known = {fault.name: fault for fault in faults}
        return [known[name] for name in args.names]
    if args.room:
        return [fault for fault in faults if fault.room in args.room]
    if args.sample:
        return random.Random(args.seed).sample(list(faults), min(args.sample, len(faults)))
    return list(faults)


def main(words: Sequence[str]) -> int:
    """Run the command; returns its exit status."""
    parser = argparse.ArgumentParser(description="Which tests see a fault planted in the package?")
    parser.add_argument("names", nargs="*", help="faults by name")
    parser.add_argument("--all", action="store_true", help="every fault")
    parser.add_argument("--room", action="append", help="every fault of a room; may be repeated")
    parser.add_argument("--sample", type=int, metavar="N", help="so many, chosen by --seed")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--list", action="store_true", help="show the faults and run nothing")
    args = parser.parse_args(words)
    faults = read_faults()
    unknown = set(args.names) - {fault.name for fault in faults}
    if unknown or not (args.names or args.all or args.room or args.sample or args.list):
        parser.error(f"no fault {', '.join(sorted(unknown))}" if unknown else "say which faults")
    chosen = choose(faults, args)
    if args.list:
        for fault in chosen:
            print(f"{fault.room:12} {fault.name:32} {fault.wrong}")
        return 0
    if old := [why for fault in chosen if (why := stale(fault))]:
        print("\n".join(["entries of faults.toml that no longer fit:", *old]))
        return STALE
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        return _try_all(chosen, Path(folder))


def _try_all(faults: Sequence[Fault], work: Path) -> int:
    started, missed = time.monotonic(), 0
    pristine = work / "unplanted"
    copy_package(pristine)
    left_out = failing_without(pristine, faults)
    for test in left_out:
        print(f"fails without a fault, left out: {test}")
    print(f"{time.monotonic() - started:6.0f} s  without a fault", flush=True)
    for fault in faults:
        began = time.monotonic()
        verdict = try_fault(fault, pristine, work, left_out)
        missed += verdict.caught_by is None
        said = verdict.caught_by or f"NOT CAUGHT: {fault.wrong} {verdict.trouble}".rstrip()
        took = time.monotonic() - began
        print(f"{took:6.0f} s  {fault.room:12} {fault.name:32} {said}", flush=True)
    whole = time.monotonic() - started
    print(f"{len(faults) - missed} of {len(faults)} faults caught in {whole:.0f} s")
    return NOT_CAUGHT if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
