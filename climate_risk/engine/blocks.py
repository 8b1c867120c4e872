"""Runs side by side in blocks, and the blocks on every core."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.draws import ParameterSet, values_at
from climate_risk.engine.hours import DAILY_COLUMNS, run_block
from climate_risk.engine.stack import (
    HEAT_CAPACITY_TEMP_C,
    Scheme,
    StackModel,
    cover_table,
    covers_in,
)
from climate_risk.fungus.kernel import make_mycelium, mycelium_parameters
from climate_risk.log import layout as at
from climate_risk.log.parameters import log_parameters
from climate_risk.log.state import make_state, set_parameters, stored_heat_j, stored_water_kg
from climate_risk.microclimate.canopy import diffuse_table
from climate_risk.microclimate.radiation import (
    LIGHTS,
    STAND_COLUMNS,
    girth_modes,
    radiation_parameters,
    sector_basis,
)
from climate_risk.progress import Progress, part_of
from climate_risk.tables import model

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@dataclass(kw_only=True)
class Block:
    """at.CASES runs side by side, their state and what they left day by day."""

    a: FloatArray
    mycelium: FloatArray
    booked: FloatArray
    quantiles: FloatArray
    """(at.CASES, unknowns)."""
    daily: FloatArray
    """(days, DAILY_COLUMNS, at.CASES)."""
    water_first_kg: FloatArray
    heat_first_j: FloatArray


def runs_by_block(runs: int) -> list[IntArray]:
    """Which runs each block's cases hold, in order; the last block is padded with the first."""
    return [np.arange(low, low + at.CASES) % runs for low in range(0, runs, at.CASES)]


def new_blocks(kind: StackModel, scheme: Scheme, quantiles: FloatArray) -> list[Block]:
    """Fresh stacks, one case per row of ``quantiles`` (runs, unknowns), the last block padded."""
    rows = kind.parameter_set(scheme)
    blocks = []
    for taken in runs_by_block(len(quantiles)):
        q = quantiles[taken]
        a = make_state(
            kind.grid, _log_parameters(kind, rows, values_at(rows, q)), HEAT_CAPACITY_TEMP_C
        )
        blocks.append(
            Block(
                a=a,
                mycelium=make_mycelium(kind.grid),
                booked=at.aligned(2, at.CASES),
                quantiles=q,
                daily=np.empty((0, DAILY_COLUMNS, at.CASES)),
                water_first_kg=stored_water_kg(kind.grid, kind.curves, a),
                heat_first_j=stored_heat_j(kind.grid, kind.curves, a),
            )
        )
    return blocks


def branch(blocks: Sequence[Block], cases: IntArray, *, with_days: bool = False) -> list[Block]:
    """Copies of chosen cases (numbered across blocks) as new blocks; the last one is padded.

    ``with_days`` copies the days that were run as well.
    """
    kept = [b.daily if with_days else b.daily[:0] for b in blocks]

    def pick(arrays: Sequence[FloatArray], chosen: IntArray, axis: int) -> FloatArray:
        joined = np.concatenate(arrays, axis=axis)
        return at.aligned_copy(np.take(joined, chosen, axis=axis))

    copies = []
    for taken in runs_by_block(len(cases)):
        chosen = cases[taken]
        copies.append(
            Block(
                a=pick([b.a for b in blocks], chosen, -1),
                mycelium=pick([b.mycelium for b in blocks], chosen, -1),
                booked=pick([b.booked for b in blocks], chosen, -1),
                quantiles=pick([b.quantiles for b in blocks], chosen, 0),
                daily=pick(kept, chosen, -1),
                water_first_kg=pick([b.water_first_kg for b in blocks], chosen, -1),
                heat_first_j=pick([b.heat_first_j for b in blocks], chosen, -1),
            )
        )
    return copies


@dataclass(frozen=True, kw_only=True)
class Job:
    """One block to advance under one scheme between two hours of its runs."""

    kind: StackModel
    scheme: Scheme
    block: Block
    start_rows: IntArray
    """(at.CASES,) row of the record at hour 0 of each case's run."""
    first_hour: int
    last_hour: int
    sun_row: int | None = None
    """Row at hour 0 of the run whose sun is taken for all; None: of the first case's."""


def advance(
    jobs: Sequence[Job], progress: Progress | None = None, threads: int | None = None
) -> None:
    """Run every job, each fills its block's ``daily``; on every core, or in so many threads."""
    tell = part_of(progress, 0, 1)
    for job in jobs:  # here, since two threads would make the same table
        _stand_of(job)
    if threads == 1:  # in the caller's own: a region's cells have their threads already
        for done, job in enumerate(jobs, start=1):
            _advance(job)
            tell(done / len(jobs))
        return
    pool = ThreadPoolExecutor(threads or os.cpu_count())
    try:
        for done, _ in enumerate(pool.map(_advance, jobs), start=1):
            tell(done / len(jobs))
    finally:
        # On Ctrl-C the blocks that have not begun must not hold up the exit.
        pool.shutdown(cancel_futures=True)


def _log_parameters(
    kind: StackModel, rows: ParameterSet, values: dict[str, FloatArray]
) -> FloatArray:
    return log_parameters(rows.wood, values, kind.stack.start_moisture, kind.stack.diameter_m)


def _stand_of(job: Job) -> FloatArray:
    """The record inside the stand that a job's stacks lie in, made once."""
    kind, canopy = job.kind, job.scheme.canopy
    return kind.record.table(canopy, kind.openness_under(canopy), kind.stack.diameter_m)


def _advance(job: Job) -> None:
    kind, block, first, last = job.kind, job.block, job.first_hour, job.last_hour
    rows = kind.parameter_set(job.scheme)
    values = values_at(rows, block.quantiles)
    openness, stand = kind.openness_under(job.scheme.canopy), _stand_of(job)
    row = int(job.start_rows[0]) if job.sun_row is None else job.sun_row
    elevation, azimuth = kind.record.sun(row + first, row + last)
    modes = np.zeros((kind.hours, at.MODES))
    modes[first:last] = (elevation > 0.0)[:, None] * girth_modes(azimuth)
    block.daily = at.aligned((last - first) // HOURS_PER_DAY, DAILY_COLUMNS, at.CASES)
    set_parameters(block.a, _log_parameters(kind, rows, values))
    radiation, fungus = radiation_parameters(values, openness), mycelium_parameters(values)

    def run(cover: FloatArray, begin: int, end: int, state: State) -> None:
        run_block(
            kind.grid,
            kind.curves,
            kind.tables.potential_mpa,
            kind.tables.spawn_potential_mpa,
            radiation,
            fungus,
            model().complete_share.value,
            diffuse_table(),
            sector_basis(),
            stand,
            job.start_rows,
            cover,
            modes,
            begin,
            end,
            kind.inoculation_hour,
            *state,
            at.aligned(STAND_COLUMNS, at.CASES),
            at.aligned(LIGHTS, at.CASES),
            at.aligned(at.FORCINGS, at.CASES),
            at.aligned(kind.grid.level_m.size, at.CASES),
            at.aligned(3, at.CASES),
        )

    covers, of_case = _covers(job)
    differ = np.flatnonzero(np.any([(table != covers[0]).any(axis=1) for table in covers], axis=0))
    differ = differ[(differ >= first) & (differ < last)]
    low, high = (int(differ[0]), int(differ[-1]) + 1) if differ.size else (last, last)
    low, high = low // HOURS_PER_DAY * HOURS_PER_DAY, -(-high // HOURS_PER_DAY) * HOURS_PER_DAY
    for begin, end in ((first, low), (low, high), (high, last)):
        days = slice((begin - first) // HOURS_PER_DAY, (end - first) // HOURS_PER_DAY)
        state = (block.a, block.mycelium, block.booked, block.daily[days])
        if begin == low and end > begin:
            _run_apart(partial(run, begin=begin, end=end), covers, of_case, state)
        elif end > begin:
            run(covers[0], begin, end, state)


State = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
"""Log, mycelium, what is booked, and the days' columns; the case is the last axis of each."""


def _covers(job: Job) -> tuple[list[FloatArray], IntArray]:
    """Tables of what is over the stack, one where all years agree, and which is each case's."""
    kind, scheme = job.kind, job.scheme
    today = kind.start_day + timedelta(hours=job.first_hour)
    years = kind.record.years_apart(job.start_rows + job.first_hour, today)
    spans = [covers_in(kind, scheme.covers, int(apart)) for apart in years]
    kinds = list(dict.fromkeys(spans))
    tables = [cover_table(kind, replace(scheme, covers=covers)) for covers in kinds]
    return tables, np.array([kinds.index(covers) for covers in spans])


def _run_apart(
    run: Callable[..., None], covers: list[FloatArray], of_case: IntArray, state: State
) -> None:
    """Hours in which years differ in their covers: all cases under each, and each its own."""
    before = [at.aligned_copy(array) for array in state]
    for number, cover in enumerate(covers):
        tried = [at.aligned_copy(array) for array in before]
        run(cover, state=tried)
        for array, outcome in zip(state, tried, strict=True):
            array[..., of_case == number] = outcome[..., of_case == number]
