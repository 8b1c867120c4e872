"""A region's result in plain sentences."""

from __future__ import annotations

import numpy as np

from climate_risk.region.results import MISSING, RUN, SEA, SHORT, RegionMap, StackMap
from climate_risk.report.choice import option_words
from climate_risk.report.display import percent, plural
from climate_risk.report.words import error_points, place_words
from climate_risk.units import Units


def labels(result: RegionMap, show: Units) -> list[str]:
    """The options' labels, as `compare` has them."""
    return [option_words(option, show) for option in result.options]


def nothing_words(result: RegionMap) -> str:
    """What doing nothing is: ``bare under deciduous trees``."""
    if result.nothing is None:
        return ""
    return f"bare {place_words(result.options[result.nothing].canopy)}"


def map_title(result: RegionMap, stack: StackMap) -> str:
    """Where, what is best, and what it brings, over the cells that were run."""
    where = f"{result.yard_name}, an invented place" if result.invented else result.yard_name
    run = result.count(RUN)
    head = f"{stack.name} of {where}, over {plural(run, 'cell')}"
    if not run:
        return f"{head}: no cell has weather of {result.fewest_years} years or more"
    return f"{head}: {best_sentence(result, stack)}"


def best_sentence(result: RegionMap, stack: StackMap) -> str:
    """The option that is best most often, and the middle cell's chance with and without."""
    best = stack.best[~np.isnan(stack.best)].astype(np.int64)
    counts = np.bincount(best, minlength=len(result.options))
    first = int(counts.argmax())
    name = labels(result, Units(result.units))[first]
    share = percent(counts[first] / len(best))
    middle = float(np.nanmedian(stack.best_chance()))
    said = (
        f"best in {share} of them is {name}; in the middling cell the best option's chance of "
        f"loss is {chance_said(middle)}"
    )
    if result.nothing is None:
        return said
    bare = float(np.nanmedian(stack.chance[result.nothing]))
    return f"{said}, {nothing_words(result)} it is {chance_said(bare)}"


def chance_said(chance: float) -> str:
    """A chance of 0 to 1 in percent; one that no simulation met is not called nought."""
    return percent(chance) if chance > 0.0 else "none seen"


def masked_key(result: RegionMap) -> tuple[str, str]:
    """What hatched and blank cells are, with their numbers."""
    short = plural(result.count(SHORT), "cell")
    return (
        f"record of under {result.fewest_years} years: no chance ({short})",
        f"sea ({result.count(SEA)}) or without weather ({result.count(MISSING)})",
    )


def count_sentence(result: RegionMap) -> str:
    """How many cells were run, and why others were not."""
    return (
        f"Of {plural(result.state.size, 'cell')} {result.count(RUN)} were run; left out: "
        f"{result.count(SEA)} sea, {result.count(MISSING)} without temperature or rain, "
        f"{result.count(SHORT)} with under {result.fewest_years} years of weather, too few for a "
        "chance."
    )


def uniform_sentence(result: RegionMap) -> str:
    """What is taken to be the same in every cell."""
    lie = "lies level"
    if result.slope_deg > 0.0:
        lie = f"slopes {result.slope_deg:g} degrees, {result.aspect_deg:.0f} degrees from north"
    gaps = f"gaps over {percent(result.openness)} of the sky" if result.openness else "no gaps"
    return (
        f"Every cell has the yard's stacks and options and {lie}; the yard's own stand "
        f"({result.canopy}) has {gaps} everywhere."
    )


READING = (
    "Every cell is its own place: its weather, latitude, longitude and elevation, run as the "
    "compare command runs one yard.",
    "Chance of loss is the mean over the past years of how often a stack is killed in its first "
    "year. A cell's own interval stands in map.nc (chance_low, chance_high).",
    "The best option has the least loss to the nearest 1 %; among equals the one whose driest "
    "face stays wettest, then the cheapest. Neighbours that differ may differ by little: look at "
    "the gain.",
    "A cell is a mean over kilometres: frost hollows, gorges and a thin or dense stand differ "
    "from it more than cells do from each other.",
)


def draws_sentence(result: RegionMap) -> str:
    """How far the draws leave the chances of cells open: the middling one and the worst."""
    errors = np.concatenate([stack.draw_error.ravel() for stack in result.stacks])
    known = errors[~np.isnan(errors)]
    draws = plural(result.draws, "draw")
    if not known.size:
        return f"Each year is run with {draws} of the unsure values; no cell has a chance."
    return (
        f"Each year is run with {draws} of the unsure values. Other draws would move a cell's "
        f"chance by ± {error_points(np.median(known)):.1f} points in the middling case, by ± "
        f"{error_points(known.max()):.1f} in the worst (8 times in 10); each cell's own standard "
        "error stands in map.nc (chance_draw_error). More draws narrow it: --draws."
    )


def observed_sentence(result: RegionMap) -> str:
    """How much of the weather is the grid's own."""
    known = result.observed[~np.isnan(result.observed)]
    if not known.size:
        return "No cell has weather."
    return (
        f"Of all hours {percent(float(known.mean()))} have temperature, humidity and rain as in "
        "the grid; the rest was filled. Grids are models themselves: their humidity, wind and "
        "sun are estimates."
    )
