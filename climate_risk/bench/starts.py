"""What a command takes from its first line to its last, on an empty cache and a full one."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from climate_risk.bench.season import best_of, seconds

DEMO = ("demo", "--quiet")


def command(words: Sequence[str], folder: Path, cache: Path | None = None) -> None:
    """Run the program in a process and a folder of its own, with a cache of its own."""
    own = {} if cache is None else {"NUMBA_CACHE_DIR": str(cache), "XDG_CACHE_HOME": str(cache)}
    package = str(Path(__file__).parents[2])
    path = os.pathsep.join([package, *filter(None, [os.environ.get("PYTHONPATH")])])
    subprocess.run(
        [sys.executable, "-m", "climate_risk", *words],
        check=True,
        stdout=subprocess.DEVNULL,
        cwd=folder,
        env={**os.environ, **own, "PYTHONPATH": path},
    )


def measure(words: Sequence[str] = DEMO) -> dict[str, float]:
    """Seconds of the program's help, and of a command cold and then warm."""
    with tempfile.TemporaryDirectory() as name:
        folder, cache = Path(name), Path(name) / "cache"
        cold = seconds(lambda: command(words, folder, cache))
        warm = seconds(lambda: command(words, folder, cache))
        return {
            "help_s": best_of(lambda: command(["--help"], folder)),
            "cold_s": cold,
            "warm_s": warm,
        }
