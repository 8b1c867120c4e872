"""What a run costs: ``python -m climate_risk.bench [--out DIR]``.

Absolute figures drift with the machine; the ratios, taken in one process, are what to compare.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numba import njit

from climate_risk import api
from climate_risk.constants import HOURS_PER_DAY
from climate_risk.demo_files import demo_folder
from climate_risk.engine.blocks import advance, new_blocks, runs_by_block
from climate_risk.engine.draws import best_estimate, latin_hypercube
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.log.layout import CASES
from climate_risk.risk.ensemble import jobs_for, start_rows, usable_years
from climate_risk.site import Site
from climate_risk.weather import load_weather, to_hourly
from climate_risk.weather.station_cache import cache_path, write_table
from climate_risk.weather.stations import RADIUS_M

REPEATS = 3
SCENARIOS = {1: 60, 12: 60, 360: 30, 10_000: 2}
"""Runs side by side, and the days that each is run for."""
TRIAD_NUMBERS = 8_000_000
FMA_CHAINS = 16
FMA_STEPS = 4_000_000


@njit(cache=True, fastmath=True)
def _multiply_add(seed: float, steps: int) -> float:  # pragma: no cover - compiled
    """Independent chains of multiply-add, for the machine's peak on one thread."""
    a = np.full(4 * FMA_CHAINS, seed)
    for _ in range(steps):
        for n in range(4 * FMA_CHAINS):
            a[n] = a[n] * 0.999999 + 1e-9
    return float(a.sum())


def best_of(work: Callable[[], object]) -> float:
    """Shortest of a few timings [s]."""
    times = []
    for _ in range(REPEATS):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


def main() -> None:
    """Print the table; with ``--out`` write what the scenarios cost as JSON and as a chart."""
    parser = argparse.ArgumentParser(prog="python -m climate_risk.bench", description=__doc__)
    parser.add_argument("--out", metavar="DIR", type=Path, help="folder for bench.json, bench.png")
    out: Path | None = parser.parse_args().out
    print(f"help, whole process        {best_of(_help) * 1e3:9.0f} ms")
    yard = api.read_yard(demo_folder() / "yard.toml")
    begin = time.perf_counter()
    weather = api.load_weather(yard)
    print(f"weather, {len(weather.table)} days      {(time.perf_counter() - begin) * 1e3:9.0f} ms")
    from_file, from_cache = weather_times()
    print(f"30 years of hours, file    {from_file * 1e3:9.0f} ms")
    print(f"the same, warm cache       {from_cache * 1e3:9.0f} ms")
    stack = yard.stacks[0]
    kind = stack_model(stack, weather.record, yard.openness, yard.canopy)
    scheme = Scheme(canopy=yard.canopy, covers=stack.covers)
    begin = time.perf_counter()
    weather.record.table(scheme.canopy, kind.openness_under(scheme.canopy), stack.diameter_m)
    print(f"stand table of the record  {(time.perf_counter() - begin) * 1e3:9.0f} ms")
    years = usable_years(kind, kind.start_day, kind.horizon)
    unknowns = len(kind.parameter_set(scheme).unknowns())
    cells = kind.grid.level_m.size * kind.grid.ring_area_m2.size

    def block(count: int) -> None:
        sample = np.concatenate([best_estimate(unknowns), latin_hypercube(3, unknowns, 1)])
        blocks = new_blocks(kind, scheme, np.tile(sample, (len(years), 1)))
        rows = start_rows(kind, years, len(sample), kind.start_day, 0)
        advance(jobs_for(kind, scheme, blocks, rows, 0, kind.hours)[:count])

    begin = time.perf_counter()
    block(1)
    print(f"first block, with compiling{(time.perf_counter() - begin) * 1e3:9.0f} ms")
    one = best_of(lambda: block(1))
    two = best_of(lambda: block(2))
    per_run_hour = one / (CASES * kind.hours)
    _multiply_add(1.0, 10)
    peak = best_of(lambda: _multiply_add(1.0, FMA_STEPS)) / (4 * FMA_CHAINS * FMA_STEPS)
    print(f"one run-hour, one thread   {per_run_hour * 1e9:9.0f} ns  ({cells} cells)")
    print(f"  per cell                 {per_run_hour / cells * 1e9:9.2f} ns")
    print(f"  in multiply-adds at peak {per_run_hour / cells / peak:9.1f} a cell")
    print(f"two blocks on two threads  {two / one:9.2f} x one block")
    blocks = -(-len(years) * 4 // CASES)
    seconds = blocks / 2 * two
    print(f"{len(years)} years x 4 draws, an option {seconds:7.2f} s  (calculated)")
    rows = [cost_of(kind, scheme, count, days) for count, days in SCENARIOS.items()]
    for row in rows:
        rate = row["scenario_hours_per_s"]
        print(f"{row['scenarios']:6.0f} scenarios           {rate:12,.0f} scenario-hours a second")
    numbers = {
        "cells": cells,
        "cell_hour_ns": per_run_hour / cells * 1e9,
        "multiply_adds_at_peak_a_cell_hour": per_run_hour / cells / peak,
        "two_blocks_over_one": two / one,
        "triad_gb_s": triad_gb_s(),
        "peak_memory_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
        "scenarios": rows,
    }
    print(f"memory triad               {numbers['triad_gb_s']:9.1f} GB/s, one thread")
    print(f"peak memory                {numbers['peak_memory_mib']:9.0f} MiB")
    if out is not None:
        write(out, numbers)


def cost_of(kind: StackModel, scheme: Scheme, count: int, days: int) -> dict[str, float]:
    """Seconds of so many scenarios over some days, on every core."""
    hours = days * HOURS_PER_DAY
    unknowns = len(kind.parameter_set(scheme).unknowns())
    years = usable_years(kind, kind.start_day, kind.horizon)
    starts = np.concatenate(start_rows(kind, years, 1, kind.start_day, 0))[: len(years)]
    each = np.resize(starts, count)
    rows = [each[taken] for taken in runs_by_block(count)]
    blocks = new_blocks(kind, scheme, latin_hypercube(count, unknowns, 1))
    jobs = jobs_for(kind, scheme, blocks, rows, 0, hours)
    advance(jobs[:1])
    begin = time.perf_counter()
    advance(jobs)
    seconds = time.perf_counter() - begin
    rate = count * hours / seconds
    return {"scenarios": count, "days": days, "seconds": seconds, "scenario_hours_per_s": rate}


def triad_gb_s() -> float:
    """Memory bandwidth of ``a = b + s c`` on arrays no cache holds, two passes, one thread."""
    a, b, c = (np.ones(TRIAD_NUMBERS) for _ in range(3))

    def triad() -> None:
        np.multiply(c, 3.0, out=a)
        np.add(a, b, out=a)

    return 5 * a.nbytes / best_of(triad) / 1e9


def write(folder: Path, numbers: dict[str, Any]) -> None:
    """``bench.json`` and ``bench.png``."""
    from matplotlib.figure import Figure

    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps(numbers, indent=1) + "\n"
    (folder / "bench.json").write_text(text, encoding="utf-8")
    figure = Figure(figsize=(6.0, 3.6), layout="constrained")
    axes = figure.add_subplot()
    counts = [row["scenarios"] for row in numbers["scenarios"]]
    axes.loglog(counts, [r["scenario_hours_per_s"] for r in numbers["scenarios"]], "o-k")
    axes.set_xlabel("scenarios run together")
    axes.set_ylabel("scenario-hours a second")
    axes.set_title(f"Cases are computed {CASES} at a time", fontsize=10)
    figure.savefig(folder / "bench.png", dpi=150)


def weather_times() -> tuple[float, float]:
    """Seconds for 30 years of hours: from a CSV file, and of stations from a warm cache.

    The hours are made here, of the size and with the gaps of a real record.
    """
    time_of = pd.date_range("1994-01-01", "2023-12-31 23:00", freq="h")
    rng = np.random.default_rng(1)
    day = 2.0 * np.pi * (time_of.day_of_year.to_numpy() - 200) / 365.25
    clock = 2.0 * np.pi * (time_of.hour.to_numpy() - 15) / 24.0
    temp = 11.0 + 12.0 * np.cos(day) + 5.0 * np.cos(clock) + rng.normal(0.0, 0.8, len(day))
    wet = rng.random(len(day)) < 0.05
    hours = pd.DataFrame(
        {
            "temp": temp.round(1),
            "rhum": np.clip(90.0 - 1.5 * temp + rng.normal(0.0, 8.0, len(day)), 15.0, 99.0),
            "prcp": np.where(wet, rng.exponential(1.5, len(day)), 0.0).round(1),
            "wspd": np.abs(rng.normal(11.0, 4.0, len(day))).round(1),
            "pres": 1013.0,
        },
        index=pd.DatetimeIndex(time_of, name="time"),
    ).round(1)
    hours[rng.random(len(day)) < 0.01] = np.nan
    site = Site(latitude=41.0, longitude=-80.0, elevation_m=300.0)
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "hours.csv"
        table = hours[["temp", "rhum", "prcp"]].assign(wind=hours["wspd"] / 3.6)
        table.columns = ["air_temp_c", "rel_humidity_pct", "precip_mm", "wind_ms"]
        table.to_csv(file, index_label="time", date_format="%Y-%m-%d %H:%M")
        os.environ["CLIMATE_RISK_CACHE"] = name
        begin = time.perf_counter()
        to_hourly(load_weather(file, site), site)
        from_file = time.perf_counter() - begin
        _fill_cache(hours, site)
        span = date(1994, 1, 2), date(2023, 12, 30)
        to_hourly(load_weather("meteostat", site, *span), site)
        from_cache = best_of(lambda: to_hourly(load_weather("meteostat", site, *span), site))
    return from_file, from_cache


def _fill_cache(hours: pd.DataFrame, site: Site) -> None:
    """A cache as a run leaves it: a station list, and a file a year, hourly and daily."""
    from meteostat import config

    one = {
        "name": "Made", "country": "US", "latitude": site.latitude, "longitude": site.longitude,
        "elevation": site.elevation_m, "timezone": "UTC", "distance": 1000.0,
        "first_year": 1990.0, "last_year": 2023.0,
    }  # fmt: skip
    place = f"near_{site.latitude:.3f}_{site.longitude:.3f}_{RADIUS_M:.0f}.csv.gz"
    listed = cache_path(";".join(config.stations_db_endpoints), place)
    write_table(listed, pd.DataFrame(one, index=pd.Index(["00001"], name="id")), "made")
    grouped = hours.groupby(pd.DatetimeIndex(hours.index).date)
    days = pd.DataFrame(
        {
            "temp": grouped["temp"].mean(),
            "tmin": grouped["temp"].min(),
            "tmax": grouped["temp"].max(),
            "prcp": grouped["prcp"].sum(),
        }
    )
    days.index = pd.DatetimeIndex(days.index, name="time")
    for step, endpoint, table in (
        ("hourly", config.hourly_endpoint, hours),
        ("daily", config.daily_endpoint, days),
    ):
        for year, part in table.groupby(pd.DatetimeIndex(table.index).year):
            write_table(cache_path(endpoint, step, str(year), "00001.csv.gz"), part, "made")


def _help() -> None:
    subprocess.run(
        [sys.executable, "-m", "climate_risk", "--help"], check=True, capture_output=True
    )


if __name__ == "__main__":
    main()
