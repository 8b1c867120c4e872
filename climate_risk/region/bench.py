"""How time and memory of a region grow with its cells: ``python -m climate_risk.region.bench``.

A made-up grid of hourly weather is run at one, two and four times the cells, each in a process
of its own, so that its peak of memory is its own.  Only some cells are land: what is read grows
with all cells, what is run with those of land.  Another grid of sea alone says what a block costs
beside its cells.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from climate_risk.compare_options import CompareOptions
from climate_risk.demo_files import demo_folder
from climate_risk.options import CoverOption, WateringOption
from climate_risk.region.store import BLOCK

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLUMNS = 8
TIMES_LARGER = (1, 2, 4)
FIRST_YEAR, YEARS = 2000, 12
SEED = 11


def make_grid(path: Path, rows: int, years: int, land_every: int) -> None:
    """Write hourly weather of ``rows`` times :data:`COLUMNS` cells as zarr, long in time.

    Every so manieth cell is land (0: none); all have weather.
    """
    import xarray as xr

    times = pd.date_range(f"{FIRST_YEAR}", f"{FIRST_YEAR + years}", freq="h", inclusive="left")
    random = np.random.default_rng(SEED)
    day = 2.0 * np.pi * (times.hour.to_numpy() - 15.0) / 24.0
    year = 2.0 * np.pi * (times.day_of_year.to_numpy() - 200.0) / 365.25
    temp = 284.0 + 12.0 * np.cos(year) + 5.0 * np.cos(day) + random.normal(0.0, 1.0, len(times))
    rain = np.where(random.random(len(times)) < 0.05, random.gamma(1.0, 2.5, len(times)), 0.0)
    sun = np.maximum(-np.cos(day + 0.8), 0.0) * (500.0 + 250.0 * np.cos(year))
    series = {
        "tas": (temp, "K", "air_temperature"),
        "tdps": (temp - 6.0, "K", "dew_point_temperature"),
        "pr": (rain, "mm", "precipitation_amount"),
        "sfcWind": (random.uniform(1.0, 5.0, len(times)), "m s-1", "wind_speed"),
        "rsds": (sun, "W m-2", "surface_downwelling_shortwave_flux_in_air"),
        "ps": (np.full(len(times), 96_000.0), "Pa", "surface_air_pressure"),
    }
    shape = (len(times), rows, COLUMNS)
    land = np.zeros(rows * COLUMNS)
    if land_every:
        land[::land_every] = 1.0
    fields: dict[str, Any] = {
        name: (
            ("time", "lat", "lon"),
            np.broadcast_to(values.astype(np.float32)[:, None, None], shape),
            {"units": units, "standard_name": standard},
        )
        for name, (values, units, standard) in series.items()
    }
    fields["lsm"] = (("lat", "lon"), land.reshape(rows, COLUMNS), {"units": "1"})
    chunks = {name: {"chunks": (len(times), *BLOCK)} for name in series}
    xr.Dataset(
        fields,
        coords={
            "time": times,
            "lat": 42.0 - 0.1 * np.arange(rows),
            "lon": -75.0 + 0.1 * np.arange(COLUMNS),
        },
    ).to_zarr(path, encoding=chunks, zarr_format=2, consolidated=True)


def run_one(grid: Path) -> dict[str, float]:
    """Run a grid in this process and say how long it took and what memory it came to."""
    from climate_risk import api

    yard = api.read_yard(demo_folder() / "yard.toml")
    one = CompareOptions(
        canopies=("open",), covers=(CoverOption(),), waterings=(WateringOption(),)
    )
    stack = replace(yard.stacks[0], fungus="grey oyster", wood="aspen", pieces=1)
    yard = replace(yard, stacks=(stack,), compare=one)
    begun = time.perf_counter()
    found = api.map_region(yard, grid, draws=1)
    seconds = time.perf_counter() - begun
    unit = 1.0 if sys.platform == "darwin" else 1024.0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6
    return {
        "cells": found.state.size,
        "cells_of_land": found.state.size - found.count(1),
        "blocks": found.blocks,
        "seconds": seconds,
        "peak_mb": peak,
    }


def measured(rows: int, years: int, land_every: int) -> dict[str, float]:
    """:func:`run_one` in a process of its own, on a fresh grid."""
    with tempfile.TemporaryDirectory() as folder:
        grid = Path(folder) / "grid.zarr"
        make_grid(grid, rows, years, land_every)
        done = subprocess.run(
            [sys.executable, "-m", "climate_risk.region.bench", "--one", str(grid)],
            check=True,
            stdout=subprocess.PIPE,
            text=True,
        )
    hours = pd.date_range(f"{FIRST_YEAR}", periods=years + 1, freq="YS")
    length = (hours[-1] - hours[0]) / pd.Timedelta(hours=1)
    read_mb = rows * COLUMNS * length * 6 * 4 / 1e6
    return {**json.loads(done.stdout), "read_mb": read_mb}


def growth(rows: int, years: int, land_every: int) -> dict[str, Any]:
    """Runs of one, two and four times the cells, and what a block costs beside them."""
    measured(rows, years, land_every)  # compiles: a grid of sea alone would not
    runs = [measured(rows * times, years, land_every) for times in TIMES_LARGER]
    sea = measured(rows * TIMES_LARGER[-1], 1, 0)
    land = np.array([run["cells_of_land"] for run in runs])
    seconds = np.array([run["seconds"] for run in runs])
    slope, start = np.polyfit(land, seconds, 1)
    return {
        "years": years,
        "runs": runs,
        "seconds_per_cell": float(slope),
        "seconds_to_start": float(start),
        "seconds_per_block_of_sea": sea["seconds"] / sea["blocks"],
        "time_over_cells": float(
            (seconds[-1] - start) / (seconds[0] - start) / (land[-1] / land[0])
        ),
        "peak_over_first": runs[-1]["peak_mb"] / runs[0]["peak_mb"],
        "peak_growth_over_read": (runs[-1]["peak_mb"] - runs[0]["peak_mb"])
        / (runs[-1]["read_mb"] - runs[0]["read_mb"]),
    }


def growth_figure(found: dict[str, Any]) -> Figure:
    """Time and peak of memory over cells."""
    from climate_risk.report import theme

    runs = found["runs"]
    land = [run["cells_of_land"] for run in runs]
    with theme.styled(theme.DESK):
        figure = theme.new_figure(theme.DESK, 3.4)
        figure.set_layout_engine("constrained")
        left, right = figure.subplots(1, 2)
        left.plot(land, [run["seconds"] for run in runs], "o", color=theme.BLACK)
        ends = np.array([0.0, land[-1]])
        line = found["seconds_to_start"] + found["seconds_per_cell"] * ends
        left.plot(ends, line, color=theme.BLUE)
        left.set_title(f"Time: {found['seconds_per_cell']:.2f} s a cell of land")
        left.set_xlabel("cells of land")
        left.set_ylabel("seconds")
        left.set_ylim(bottom=0.0)
        right.plot(land, [run["peak_mb"] for run in runs], "o-", color=theme.BLACK,
                   label="peak of the process")  # fmt: skip
        right.plot(land, [run["read_mb"] for run in runs], "s--", color=theme.VERMILION,
                   label="weather read in all")  # fmt: skip
        right.set_title("Memory: a few blocks at a time")
        right.set_xlabel("cells of land")
        right.set_ylabel("MB")
        right.set_ylim(bottom=0.0)
        right.legend(frameon=False)
    return figure


def main(words: Sequence[str]) -> None:
    """Measure, print, and write JSON and chart where asked for."""
    parser = argparse.ArgumentParser(prog="python -m climate_risk.region.bench")
    parser.add_argument("--one", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--rows", type=int, default=4, help="of the smallest grid (default 4)")
    parser.add_argument("--years", type=int, default=YEARS)
    parser.add_argument("--land-every", type=int, default=8, help="a cell of land in so many")
    parser.add_argument("--json", type=Path, metavar="FILE")
    parser.add_argument("--chart", type=Path, metavar="FILE", help="a PNG")
    args = parser.parse_args(words)
    if args.one is not None:
        print(json.dumps(run_one(args.one)))
        return
    found = growth(args.rows, args.years, args.land_every)
    for run in found["runs"]:
        print(
            f"{run['cells']:5.0f} cells, {run['cells_of_land']:3.0f} of land: "
            f"{run['seconds']:6.1f} s, peak {run['peak_mb']:5.0f} MB, "
            f"weather read {run['read_mb']:5.0f} MB"
        )
    print(
        f"{found['seconds_per_cell']:.3f} s a cell of land; four times the cells take "
        f"{found['time_over_cells']:.2f} of four times the time; "
        f"peak {found['peak_over_first']:.2f} times; "
        f"a block of sea {1e3 * found['seconds_per_block_of_sea']:.0f} ms"
    )
    if args.json:
        args.json.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    if args.chart:
        from climate_risk.report.inline_svg import saved

        args.chart.write_bytes(saved(growth_figure(found), "png"))


if __name__ == "__main__":
    main(sys.argv[1:])
