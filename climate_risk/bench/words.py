"""What each number of the benchmark is called, its unit, and what it means."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple


class Line(NamedTuple):
    """One number: where it stands, and how it is told."""

    key: str
    """Section and name, with a dot between."""
    words: str
    unit: str
    places: int
    meaning: str


LINES = (
    Line("machine.peak_gflop_s", "arithmetic at the peak", "Gflop/s", 1,
         "a compiled loop of independent multiply-adds on one thread; each counts two"),
    Line("machine.triad_gb_s", "memory at the peak", "GB/s", 1,
         "a = b + s c over arrays that no cache holds, one thread"),
    Line("start.help_s", "help, whole process", "s", 2, "Python, the command line, no more"),
    Line("start.cold_s", "demo, cold", "s", 1,
         "a process of its own with an empty cache: it compiles every kernel"),
    Line("start.warm_s", "demo, warm", "s", 1, "the same again"),
    Line("reading.yard_s", "weather of the invented farm", "s", 2,
         "read, checked, filled and split to hours, best of three"),
    Line("reading.stand_table_s", "the same inside the stand", "s", 2, "once for a canopy"),
    Line("reading.hours_from_file_s", "30 years of hours, file", "s", 2, "a made-up CSV"),
    Line("reading.hours_from_cache_s", "30 years of hours, station cache", "s", 2,
         "as a second run finds them"),
    Line("throughput.cell_hour_ns", "one cell, one hour, one thread", "ns", 2,
         "a full block of runs, with light, fungus and the day's sums"),
    Line("throughput.run_hour_ns", "one run, one hour, one thread", "ns", 0, "all of its cells"),
    Line("throughput.two_blocks_over_one", "two blocks on two threads, over one", "", 2,
         "1 would be a second core for nothing, 2 no second core at all"),
    Line("throughput.peak_memory_mib", "peak memory of this process", "MiB", 0,
         "with 10,000 scenarios"),
    Line("flops.flop_a_cell_hour", "operations counted, a cell and hour", "flop", 0,
         "additions, multiplications and divisions of the equations, counted by running the "
         "kernels' own Python on numbers that count; follows the code"),
    Line("flops.divisions_a_cell_hour", "of them divisions", "", 1,
         "each keeps the machine as long as many multiplications"),
    Line("flops.share_of_peak_pct", "share of the arithmetic's peak", "%", 1,
         "counted operations by the time they take, over the peak above"),
    Line("flops.numbers_moved_a_cell_hour", "numbers read and written, a cell and hour", "", 0,
         "by the equations as written; most stay in registers and the nearest cache"),
    Line("flops.if_from_memory_over_time", "time if all of these came from memory, over ours",
         "", 1, "above 1: only caches make this possible; memory is not the limit"),
    Line("solver.solver_over_scenario", "scipy's stiff solver over ours, a scenario", "times", 0,
         "the same laws, weather and cells for one scenario by BDF, over our time by scenario of "
         "a full block, which holds light and fungus as well"),
    Line("solver.solver_over_block", "the same over a whole block", "times", 0,
         "where no more than one scenario is asked for"),
    Line("solver.engine_apart.stack_moisture_rms_points", "ours from exact, stack's moisture",
         "points", 3, "root mean square over the hours; exact is Radau at a tolerance of 1e-5"),
    Line("solver.engine_apart.cell_moisture_rms_points", "ours from exact, a cell's moisture",
         "points", 2, "over cells and hours; most of it in millimetres under the bare top"),
    Line("solver.engine_apart.cell_temp_rms_k", "ours from exact, a cell's temperature", "K", 3,
         "likewise"),
    Line("solver.solver_apart.cell_moisture_rms_points", "BDF from exact, a cell's moisture",
         "points", 4, "at the tolerance that was timed, 1e-2"),
    Line("solver.solver_apart.cell_temp_rms_k", "BDF from exact, a cell's temperature", "K", 4,
         "likewise"),
    Line("index.site_day_ns", "daily moisture index of a library, a site and day", "ns", 0,
         "duff moisture code by xclim: one number a day"),
    Line("index.scenario_day_ns", "ours, a scenario and day", "ns", 0,
         "heat and water of every cell by the hour"),
    Line("index.ours_over_index", "ours over the index", "times", 0, "what that detail costs"),
    Line("growth.years.over_linear", "years: time over linear", "", 2,
         "growth of the time over growth of the number; below 1 is less than linear"),
    Line("growth.options.over_linear", "options: time over linear", "", 2,
         "likewise, each time with reading the weather they share"),
    Line("growth.cells.over_linear", "cells of a region: time over linear", "", 2,
         "likewise, whole processes with what they start with"),
    Line("growth.years.off_line_pct", "years: off a straight line", "%", 1,
         "the farthest time from a line through all of them, of the longest"),
    Line("growth.options.off_line_pct", "options: off a straight line", "%", 1, "likewise"),
    Line("growth.cells.off_line_pct", "cells of a region: off a straight line", "%", 1,
         "likewise"),
)  # fmt: skip


def value_of(numbers: Mapping[str, Any], key: str) -> float | None:
    """A number by its key; None where it was not measured."""
    found: Any = numbers
    for part in key.split("."):
        if not isinstance(found, Mapping) or part not in found:
            return None
        found = found[part]
    return float(found)


def told(numbers: Mapping[str, Any]) -> Iterator[tuple[Line, str]]:
    """Every number that was measured, with its value as it is shown."""
    for line in LINES:
        value = value_of(numbers, line.key)
        if value is not None:
            yield line, f"{value:,.{line.places}f} {line.unit}".rstrip()


def missing(numbers: Mapping[str, Any]) -> Iterator[str]:
    """What to install for the parts that were left out."""
    for section in (numbers.get("index", {}), numbers.get("growth", {}).get("cells", {})):
        if "install" in section:
            yield str(section["install"])


def scenario_rows(numbers: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Scenarios run together, and scenario-hours a second."""
    for row in numbers.get("throughput", {}).get("scenarios", ()):
        count = row["scenarios"]
        what = f"{count:,} scenarios together" if count > 1 else "1 scenario alone"
        yield what, f"{row['scenario_hours_per_s']:,.0f}"


def page(numbers: Mapping[str, Any]) -> str:
    """The numbers of one run as a page in Markdown."""
    machine = numbers["machine"]
    waiting = machine["waiting_before"]
    load = "not known" if waiting is None else f"{waiting:.1f} before it began"
    lines = [
        "# What a run costs",
        "",
        f"Made by `python -m climate_risk.bench`: {machine['processor']}, {machine['cores']} "
        f"cores, Python {machine['python']}, numba {machine['numba']}. Every number is of one "
        f"run; tasks that wanted a core: {load}. On a busy machine seconds are long and ratios "
        "rough; on another machine ratios hold, seconds do not.",
        "",
        "![Scenario-hours a second, and growth of time](bench.png)",
        "",
        "| | | what it is |",
        "| --- | ---: | --- |",
        *(f"| {line.words} | {value} | {line.meaning} |" for line, value in told(numbers)),
        "",
        "| | scenario-hours a second |",
        "| --- | ---: |",
        *(f"| {words} | {rate} |" for words, rate in scenario_rows(numbers)),
        "",
    ]
    return "\n".join(lines)
