"""What the map command writes: dataset, picture and page."""

from __future__ import annotations

import base64
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from climate_risk.region.results import (
    MISSING,
    RUN,
    SEA,
    SHORT,
    FloatArray,
    RegionMap,
    StackMap,
)
from climate_risk.report import basis, files, map_words
from climate_risk.report.display import percent, percent_range, plural
from climate_risk.report.frame import render_plain
from climate_risk.report.inline_svg import saved
from climate_risk.report.map_dataset import (
    NETCDF_CELLS,
    map_dataset,
    netcdf_bytes,
    write_zarr,
)
from climate_risk.report.map_figure import map_figure
from climate_risk.report.words import capital
from climate_risk.units import Units

if TYPE_CHECKING:
    import xarray as xr

FAMILY = ("map.nc",)
PHONE, DARK = "(max-width: 640px)", "(prefers-color-scheme: dark)"
OPTION_HEADS = ("option", "best in", "chance of loss: middling cell", "from cell to cell")


def write_map(out_dir: Path, result: RegionMap) -> list[Path]:
    """Write map.nc (map.zarr of a very large region), map.png and map.html.

    What the run kept to go on from is taken away once they stand.

    Raises
    ------
    RunError
        When a file cannot be written.
    """
    files.refuse_folders(out_dir, ("map.nc", "map.png", "map.html"))
    data = map_dataset(result)
    large = result.state.size > NETCDF_CELLS
    with files.as_a_set(out_dir, FAMILY) as folder:
        written = [
            files.write_whole(folder / "map.html", map_page(result)),
            files.write_whole(folder / "map.png", saved(map_figure(result), "png")),
        ]
        if not large:
            written.append(files.write_whole(folder / "map.nc", netcdf_bytes(data)))
    made = [out_dir / path.name for path in written]
    if large:
        made.append(_zarr(data, out_dir / "map.zarr"))
    if result.work is not None:
        shutil.rmtree(result.work, ignore_errors=True)
    return made


def _zarr(data: xr.Dataset, path: Path) -> Path:
    """A store beside the files; it takes its place when it is whole."""
    making = path.with_name(f".{path.name}")
    shutil.rmtree(making, ignore_errors=True)
    write_zarr(data, making)
    shutil.rmtree(path, ignore_errors=True)
    making.rename(path)
    return path


def map_page(result: RegionMap) -> str:
    """The page as one self-contained HTML text."""
    show = Units(result.units)
    place = result.place
    heights = place.elevation_m
    subject = (
        f"{result.grid_name}: {result.step} weather of {result.first} to {result.last}; "
        f"{plural(result.state.size, 'cell')}, latitude {place.latitude.min():.2f} to "
        f"{place.latitude.max():.2f}, longitude {place.longitude.min():.2f} to "
        f"{place.longitude.max():.2f}"
    )
    if place.has_elevation:
        subject += f", elevation {heights.min():.0f} to {heights.max():.0f} m"
    return render_plain(
        "map",
        f"Region of {result.yard_name}: options by place",
        {
            "result": result,
            "subject": f"{subject}.",
            "stacks": [_stack_view(result, n, show) for n in range(len(result.stacks))],
            "reading": [*map_words.READING, map_words.draws_sentence(result)],
            "counts": _counts(result),
            "notes": [
                map_words.uniform_sentence(result),
                *(capital(text) + "." for text in result.notes),
                map_words.observed_sentence(result),
                basis.closure_sentence(result.water_residual, result.energy_residual),
            ],
            "cautions": basis.CAUTIONS,
        },
    )


def _stack_view(result: RegionMap, place: int, show: Units) -> dict[str, Any]:
    stack = result.stacks[place]
    best = f"{capital(map_words.map_title(result, stack))}."

    def drawn(*, narrow: bool, dark: bool) -> str:
        figure = map_figure(result, place, narrow=narrow, dark=dark, heading=False)
        return _data(saved(figure, "png"))

    return {
        "name": stack.name,
        "best": best,
        "alt": f"Maps of chance of loss, best option and gain. {best} The table below holds the "
        "same by option.",
        "pictures": [
            {"media": f"screen and {PHONE} and {DARK}", "data": drawn(narrow=True, dark=True)},
            {"media": f"screen and {PHONE}", "data": drawn(narrow=True, dark=False)},
            {"media": f"screen and {DARK}", "data": drawn(narrow=False, dark=True)},
        ],
        "picture": drawn(narrow=False, dark=False),
        "caution": stack.fungus_caution,
        "heads": OPTION_HEADS,
        "rows": _rows(result, stack, show),
    }


def _data(png: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"


def _rows(result: RegionMap, stack: StackMap, show: Units) -> list[list[str]]:
    rows = []
    for place, name in enumerate(map_words.labels(result, show)):
        chance = stack.chance[place]
        cells = int((stack.best == place).sum())
        known = chance[~np.isnan(chance)]
        row = [name, plural(cells, "cell")]
        if known.size:
            row += [map_words.chance_said(float(np.median(known))), _span(known)]
        else:
            row += ["no chance given", ""]
        rows.append(row)
    return rows


def _span(known: FloatArray) -> str:
    low, high = float(known.min()), float(known.max())
    if percent(low) == percent(high):
        return map_words.chance_said(high)
    return percent_range(low, high)


def _counts(result: RegionMap) -> list[tuple[str, str, str]]:
    return [
        (name, str(result.count(state)), what)
        for name, state, what in (
            ("run", RUN, "every stack has weather of ten past years or more"),
            ("sea", SEA, "no value at any time, or less than half land"),
            ("missing", MISSING, "no temperature or no rain: neither is ever made up"),
            ("short", SHORT, "fewer past years than a chance needs; hatched"),
        )
    ]


def notes(result: RegionMap) -> list[str]:
    """What the terminal is told of reading and of an earlier run."""
    found = list(result.notes)
    if result.blocks_kept:
        found.append(f"{result.blocks_kept} of {result.blocks} blocks were done by an earlier run")
    return found


def summary_lines(result: RegionMap) -> list[str]:
    """A few plain lines for the terminal."""
    lines = [f"{map_words.map_title(result, stack)}." for stack in result.stacks]
    return [*lines, map_words.count_sentence(result)]
