"""``python -m climate_risk.bench [--out DIR] [--only PART ...]``: see DEVELOPERS.md.

Absolute figures drift with the machine; ratios, taken in one process, are what to compare.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any

from climate_risk.bench import (
    flops,
    growth,
    index,
    machine,
    reading,
    starts,
    stiff,
    throughput,
    words,
)
from climate_risk.bench.season import Season, demo_season
from climate_risk.constants import HOURS_PER_DAY

SOLVER_AFTER_DAYS, SOLVER_DAYS = 90, 14
"""Days from the run's start at which the solver's span begins, and how long it is."""
COUNTED_DAYS = (60, 120, 200, 300)
"""Days of a run whose every operation is counted: all seasons."""
GB = 1e9


@cache
def season() -> Season:
    """The season that is timed."""
    return demo_season()


def solver() -> dict[str, Any]:
    """The stiff solver's part."""
    first = season().kind.start_day + timedelta(days=SOLVER_AFTER_DAYS)
    return stiff.measure(season(), first, SOLVER_DAYS)


def grown() -> dict[str, Any]:
    """Growth with years, options and cells."""
    return {
        "years": growth.by_years(season()),
        "options": growth.by_options(season()),
        "cells": growth.by_cells(),
    }


PARTS: dict[str, Callable[[], dict[str, Any]]] = {
    "machine": machine.measure,
    "throughput": lambda: throughput.measure(season()),
    "flops": lambda: flops.measure(season(), COUNTED_DAYS),
    "solver": solver,
    "index": lambda: index.measure(season()),
    "reading": lambda: reading.measure(season()),
    "growth": grown,
    "start": starts.measure,
}
"""In the order in which they are measured; what the others rest on comes first."""
NEEDED = ("machine", "throughput")


def related(numbers: dict[str, Any]) -> dict[str, Any]:
    """Numbers that compare one part with another."""
    if "flops" in numbers:
        cell_s = numbers["throughput"]["cell_hour_ns"] * 1e-9
        part = numbers["flops"]
        peak = numbers["machine"]["peak_gflop_s"] * 1e9
        part["share_of_peak_pct"] = 100.0 * part["flop_a_cell_hour"] / cell_s / peak
        moved_gb = 8.0 * part["numbers_moved_a_cell_hour"] / GB
        from_memory = moved_gb / numbers["machine"]["triad_gb_s"]
        part["if_from_memory_over_time"] = from_memory / cell_s
    if "site_day_ns" in numbers.get("index", {}):
        part = numbers["index"]
        part["scenario_day_ns"] = numbers["throughput"]["run_hour_ns"] * HOURS_PER_DAY
        part["ours_over_index"] = part["scenario_day_ns"] / part["site_day_ns"]
    return numbers


def show(numbers: dict[str, Any], part: str) -> None:
    """Print one part as soon as it is measured."""
    for line, value in words.told(numbers):
        if line.key.startswith(f"{part}."):
            print(f"{line.words:56} {value:>18}", flush=True)
    if part == "throughput":
        for what, rate in words.scenario_rows(numbers):
            print(f"{what:56} {rate:>18} scenario-hours a second")


def main(given: Sequence[str]) -> None:
    """Measure, print, and with ``--out`` write bench.json, bench.md and bench.png."""
    parser = argparse.ArgumentParser(prog="python -m climate_risk.bench")
    parser.add_argument("--out", metavar="DIR", type=Path, help="folder for what is written")
    parser.add_argument("--only", metavar="PART", nargs="+", choices=PARTS, default=list(PARTS),
                        help=f"of {', '.join(PARTS)}; {' and '.join(NEEDED)} always")  # fmt: skip
    args = parser.parse_args(given)
    numbers: dict[str, Any] = {}
    for name in PARTS:
        if name in NEEDED or name in args.only:
            numbers[name] = PARTS[name]()
            show(related(numbers), name)
    for install in words.missing(numbers):
        print(f"left out: {install}")
    if args.out is not None:
        write(args.out, numbers)


def write(folder: Path, numbers: dict[str, Any]) -> None:
    """The numbers, the page that explains them, and the chart."""
    from climate_risk.bench.figure import bench_figure
    from climate_risk.report.files import write_whole
    from climate_risk.report.inline_svg import saved

    write_whole(folder / "bench.json", json.dumps(numbers, indent=1) + "\n")
    write_whole(folder / "bench.md", words.page(numbers))
    write_whole(folder / "bench.png", saved(bench_figure(numbers), "png"))


if __name__ == "__main__":
    main(sys.argv[1:])
