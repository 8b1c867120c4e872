"""Scenario-hours a second: one block, two on two threads, and 1 to 10,000 scenarios."""

from __future__ import annotations

import resource
import sys
from collections.abc import Mapping
from typing import Any

import numpy as np

from climate_risk.bench.season import Season, best_of, seconds
from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.blocks import Job, advance, new_blocks, runs_by_block
from climate_risk.engine.draws import latin_hypercube
from climate_risk.log.layout import CASES
from climate_risk.risk.ensemble import jobs_for, start_rows

SCENARIOS: Mapping[int, int] = {1: 60, 12: 60, 360: 30, 10_000: 10}
"""Runs side by side, and the days that each is run for."""
BLOCK_DAYS = 365
SEED = 1


def jobs_of(season: Season, count: int, days: int) -> list[Job]:
    """So many scenarios over the first days of their runs, a year of weather after the other."""
    kind, scheme = season.kind, season.scheme
    starts = np.concatenate(start_rows(kind, season.years, 1, kind.start_day, 0))
    each = np.resize(starts[: len(season.years)], count)
    blocks = new_blocks(kind, scheme, latin_hypercube(count, season.unknowns, SEED))
    rows = [each[taken] for taken in runs_by_block(count)]
    return jobs_for(kind, scheme, blocks, rows, 0, days * HOURS_PER_DAY)


def scenarios(season: Season, count: int, days: int) -> dict[str, float]:
    """Seconds of so many scenarios over some days, on every core."""
    jobs = jobs_of(season, count, days)
    advance(jobs[:1])
    took = seconds(lambda: advance(jobs))
    rate = count * days * HOURS_PER_DAY / took
    return {"scenarios": count, "days": days, "seconds": took, "scenario_hours_per_s": rate}


def measure(
    season: Season, counts: Mapping[int, int] = SCENARIOS, days: int = BLOCK_DAYS
) -> dict[str, Any]:
    """A cell's hour on one thread, two threads, many scenarios, and the peak of memory."""
    jobs = jobs_of(season, 2 * CASES, days)
    advance(jobs[:1])
    one = best_of(lambda: advance(jobs[:1]))
    two = best_of(lambda: advance(jobs))
    run_hour = one / (CASES * days * HOURS_PER_DAY)
    found = [scenarios(season, count, span) for count, span in counts.items()]
    unit = 1.0 if sys.platform == "darwin" else 1024.0
    return {
        "cells": season.cells,
        "cases": CASES,
        "run_hour_ns": run_hour * 1e9,
        "cell_hour_ns": run_hour / season.cells * 1e9,
        "two_blocks_over_one": two / one,
        "scenarios": found,
        "state_kib": jobs[0].block.a.nbytes / 1024.0,
        "peak_memory_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 2.0**20,
    }
