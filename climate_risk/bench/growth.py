"""How time grows with years, with options on the same weather, and with a region's cells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from climate_risk import api
from climate_risk.bench.season import Season, seconds
from climate_risk.compare_options import CompareOptions
from climate_risk.options import WateringOption

YEARS = (4, 8, 16, 31)
YEARS_DRAWS = 8
OPTIONS = (1, 2, 4, 8)
OPTIONS_YEARS, OPTIONS_DRAWS = 8, 4


def over_linear(counts: Sequence[float], times: Sequence[float]) -> float:
    """How much longer the largest took than the smallest, over how much larger it is."""
    return times[-1] / times[0] / (counts[-1] / counts[0])


def off_line_pct(counts: Sequence[float], times: Sequence[float]) -> float:
    """How far times are at most from a straight line through them, of the longest [%]."""
    line = np.polynomial.Polynomial.fit(counts, times, 1)
    off = np.asarray(times) - line(np.asarray(counts))
    return float(100.0 * np.abs(off).max() / max(times))


def rows(counts: Sequence[int], times: Sequence[float]) -> dict[str, Any]:
    """What is kept of one growth: counts, seconds, and both measures of them."""
    return {
        "counts": list(counts),
        "seconds": list(times),
        "over_linear": over_linear(counts, times),
        "off_line_pct": off_line_pct(counts, times),
    }


def by_years(season: Season, counts: Sequence[int] = YEARS) -> dict[str, Any]:
    """One option through more and more past years."""
    yard = replace(season.yard, stacks=season.yard.stacks[:1], compare=CompareOptions())
    last = season.years[-1]

    def compare(count: int) -> None:
        years = (last - count + 1, last)
        api.compare(yard, season.weather, years=years, draws=YEARS_DRAWS)

    held = [n for n in counts if n <= len(season.years)]
    return rows(held, [seconds(partial(compare, n)) for n in held])


def by_options(season: Season, counts: Sequence[int] = OPTIONS) -> dict[str, Any]:
    """More and more waterings beside the plan, each time with reading the weather."""
    last = season.years[-1]
    span = (last - min(OPTIONS_YEARS, len(season.years)) + 1, last)

    def compare(count: int) -> None:
        doses = tuple(WateringOption(litres=0.5 * n, every_days=7) for n in range(count))
        yard = replace(
            season.yard,
            stacks=season.yard.stacks[:1],
            compare=CompareOptions(waterings=doses),
        )
        api.compare(yard, api.load_weather(yard), years=span, draws=OPTIONS_DRAWS)

    return rows(counts, [seconds(partial(compare, n)) for n in counts])


def by_cells(first_rows: int = 2, years: int = 4, land_every: int = 4) -> dict[str, Any]:
    """A region's cells of land; see :mod:`climate_risk.region.bench`."""
    from climate_risk.errors import RunError
    from climate_risk.region.bench import growth
    from climate_risk.region.extra import require_libraries

    try:
        require_libraries()
    except RunError as missing:
        return {"install": str(missing)}
    runs = growth(first_rows, years, land_every)["runs"]
    return rows([int(run["cells_of_land"]) for run in runs], [run["seconds"] for run in runs])
