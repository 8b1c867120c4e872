"""Runs of one kind of stack: tables built once, blocks of runs on every core."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.fungus.kernel import make_run
from climate_risk.log.geometry import Grid, make_grid
from climate_risk.log.kernel import (
    LANES,
    Curves,
    convection_coefficient,
    keep_own,
    make_state,
    stored_heat_j,
    stored_water_kg,
)
from climate_risk.log.wood import WoodTables, dry_heat_capacity, wood_tables
from climate_risk.microclimate.canopy import diffuse_table
from climate_risk.microclimate.shade import (
    C_BAG,
    C_CLOTH,
    C_WATERING,
    COVER_COLUMNS,
    STAND_COLUMNS,
    W_AIR_TEMP,
    W_BEAM,
    W_CONVECTION,
    W_CONVECTION_CLOTH,
    W_DIFFUSE,
    W_GROUND_TEMP,
    W_INDEX,
    W_LONGWAVE,
    W_PATH,
    W_RAIN,
    W_SUN_COSINE,
    W_SUN_SINE,
    W_VAPOUR,
    girth_modes,
    sector_basis,
)
from climate_risk.microclimate.stand import StandWeather, below_canopy
from climate_risk.options import CoverSpan, Watering
from climate_risk.risk.days import months_after
from climate_risk.risk.draws import (
    Rows,
    log_lanes,
    mycelium_lanes,
    shade_lanes,
    values_at,
)
from climate_risk.risk.kernel import DAILY_COLUMNS, run_block
from climate_risk.site import Site
from climate_risk.tables import bags, barriers, canopies, cloths, fungi, model, woods
from climate_risk.weather.record import HourlyWeather
from climate_risk.yard import Stack

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

RINGS = 3
LEVELS_PER_PIECE = 7
CAP_LEVELS = 9
"""Fewest cells that keep the season's moisture within a few percent of its range; the error is
measured in ``tests/test_drying.py``.  Rain that enters the top wants the thin cells."""
HEAT_CAPACITY_TEMP_C = 15.0
"""Dry wood's heat capacity is held at this temperature; it varies 1.3 % per 4 degC."""
WATERING_HOUR = 8
"""Hour of the day at which a dose is given."""


@dataclass(frozen=True, kw_only=True)
class Scheme:
    """What is over a stack: a canopy, covers with their dates, waterings with theirs."""

    canopy: str
    covers: tuple[CoverSpan, ...] = ()
    waterings: tuple[Watering, ...] = ()


class Record:
    """An hourly record at a site, with each stand's table made once."""

    def __init__(self, weather: HourlyWeather, site: Site) -> None:
        self.weather = weather
        self.site = site
        self._stands: dict[tuple[str, float], StandWeather] = {}
        self._tables: dict[tuple[str, float, float], FloatArray] = {}

    @cached_property
    def first(self) -> date:
        """First day of the record."""
        return pd.Timestamp(self.weather.time[0]).date()

    @cached_property
    def last(self) -> date:
        """Last day of the record."""
        return pd.Timestamp(self.weather.time[-1]).date()

    def row(self, day: date) -> int:
        """Row of the first hour of a day; days before or after the record are the caller's."""
        return (day - self.first).days * HOURS_PER_DAY

    def table(self, canopy: str, openness: float, diameter_m: float) -> FloatArray:
        """(hours, STAND_COLUMNS) weather inside a stand, for stacks of one diameter."""
        stand, key = (canopy, openness), (canopy, openness, diameter_m)
        if key not in self._tables:
            if stand not in self._stands:
                row = canopies()[canopy]
                self._stands[stand] = below_canopy(self.weather, row, self.site, openness)
            self._tables[key] = _stand_table(self._stands[stand], diameter_m)
        return self._tables[key]


def _stand_table(stand: StandWeather, diameter_m: float) -> FloatArray:
    table = np.empty((stand.air_temp_c.size, STAND_COLUMNS))
    calm = stand.wind_ms * cloths()["shade cloth"].wind_factor.value
    columns = {
        W_AIR_TEMP: stand.air_temp_c,
        W_VAPOUR: stand.vapour_density_kg_m3,
        W_CONVECTION: convection_coefficient(diameter_m, stand.wind_ms, stand.air_temp_c),
        W_CONVECTION_CLOTH: convection_coefficient(diameter_m, calm, stand.air_temp_c),
        W_LONGWAVE: stand.longwave_w_m2,
        W_RAIN: stand.rain_mm,
        W_GROUND_TEMP: stand.ground_temp_c,
        W_BEAM: stand.beam_normal_w_m2,
        W_DIFFUSE: stand.diffuse_w_m2,
        W_SUN_SINE: stand.sun_sine,
        W_SUN_COSINE: stand.sun_cosine,
        W_INDEX: stand.canopy_index,
        W_PATH: stand.canopy_path,
    }
    for column, values in columns.items():
        table[:, column] = values
    return table


@dataclass(kw_only=True)
class Block:
    """LANES runs side by side, their state and what they left day by day."""

    a: FloatArray
    run: FloatArray
    booked: FloatArray
    quantiles: FloatArray
    """(LANES, unknowns)."""
    daily: FloatArray
    """(days, DAILY_COLUMNS, LANES)."""
    water_first_kg: FloatArray
    heat_first_j: FloatArray


@dataclass(frozen=True, kw_only=True)
class StackModel:
    """One kind of stack, ready to run under any scheme."""

    stack: Stack
    record: Record
    openness: float
    """Share of sky seen through gaps of the own stand."""
    own_canopy: str | None
    """The canopy that has these gaps, others are closed; None: every canopy has them."""
    grid: Grid
    curves: Curves
    tables: WoodTables
    start_day: date
    """Felled, or inoculated where that is not known: hour 0 of a run."""
    horizon: date

    @property
    def inoculation_hour(self) -> int:
        return (self.stack.inoculated - self.start_day).days * HOURS_PER_DAY

    @property
    def hours(self) -> int:
        """Hours from the start to the horizon."""
        return (self.horizon - self.start_day).days * HOURS_PER_DAY

    def openness_under(self, canopy: str) -> float:
        """Gaps of the yard's own stand, or of another stand, which is taken as closed."""
        return self.openness if self.own_canopy in (None, canopy) else 0.0

    def rows(self, scheme: Scheme) -> Rows:
        """Table rows that runs under a scheme draw from."""
        material = next((c.material for c in scheme.covers if c.kind == "bag"), None) or "paper"
        return Rows(
            wood=woods()[self.stack.wood],
            fungus=fungi()[self.stack.fungus],
            model=model(),
            canopy=canopies()[scheme.canopy],
            bag=bags()[material],
            cloth=cloths()["shade cloth"],
            barrier=barriers()[self.stack.ground_barrier],
        )


def horizon_of(stack: Stack) -> date:
    """The day by which a stack of this fungus should have run through."""
    return months_after(stack.inoculated, fungi()[stack.fungus].horizon_months)


def stack_model(
    stack: Stack, record: Record, openness: float, own_canopy: str | None = None
) -> StackModel:
    """Cut the stack into cells and tabulate its wood."""
    tables = wood_tables(woods()[stack.wood])
    grid = make_grid(
        diameter_m=stack.diameter_m,
        piece_length_m=stack.piece_length_m,
        pieces=stack.pieces,
        cap_thickness_m=stack.cap_thickness_m,
        rings=RINGS,
        levels_per_piece=LEVELS_PER_PIECE,
        cap_levels=CAP_LEVELS,
    )
    curves = Curves(
        density_kg_m3=tables.basic_density_kg_m3,
        dry_heat_capacity_j_kg_k=float(dry_heat_capacity(HEAT_CAPACITY_TEMP_C)),
        max_moisture=tables.max_moisture * woods()[stack.wood].capillary_share.value,
        activity=tables.activity,
        moisture_by_activity=tables.moisture_by_activity,
        bound_diffusivity_m2_s=tables.bound_diffusivity_m2_s,
    )
    start = stack.inoculated
    if stack.start_moisture is None and stack.felled is not None:
        start = stack.felled
    return StackModel(
        stack=stack,
        record=record,
        openness=openness,
        own_canopy=own_canopy,
        grid=grid,
        curves=curves,
        tables=tables,
        start_day=start,
        horizon=horizon_of(stack),
    )


def cover_table(kind: StackModel, scheme: Scheme) -> FloatArray:
    """(hours, COVER_COLUMNS) what is over the stack and poured on it, hour by hour of a run."""
    table = np.zeros((kind.hours, COVER_COLUMNS))
    inoculated = kind.stack.inoculated

    def hour(day: date) -> int:
        return min(max((day - kind.start_day).days * HOURS_PER_DAY, 0), kind.hours)

    for span in scheme.covers:
        first, last = hour(span.on or inoculated), hour(span.off or kind.horizon)
        if span.kind == "bag":
            table[first:last, C_BAG] = 1.0
        else:
            table[first:last, C_CLOTH] = (span.percent or 0.0) / 100.0
    for watering in scheme.waterings:
        day = watering.first
        while day <= watering.last:
            at = (day - kind.start_day).days * HOURS_PER_DAY + WATERING_HOUR
            if kind.inoculation_hour <= at < kind.hours:
                table[at, C_WATERING] += watering.litres
            day += timedelta(days=watering.every_days)
    return table


def runs_by_block(runs: int) -> list[IntArray]:
    """Which runs each block's lanes hold, in order; the last block is padded with the first."""
    return [np.arange(low, low + LANES) % runs for low in range(0, runs, LANES)]


def new_blocks(kind: StackModel, scheme: Scheme, quantiles: FloatArray) -> list[Block]:
    """Fresh stacks, one lane per row of ``quantiles`` (runs, unknowns), the last block padded."""
    rows = kind.rows(scheme)
    blocks = []
    for taken in runs_by_block(len(quantiles)):
        q = quantiles[taken]
        lanes = log_lanes(rows, values_at(rows, q), kind.stack.start_moisture)
        a = make_state(kind.grid, lanes, HEAT_CAPACITY_TEMP_C)
        blocks.append(
            Block(
                a=a,
                run=make_run(kind.grid),
                booked=np.zeros((2, LANES)),
                quantiles=q,
                daily=np.empty((0, DAILY_COLUMNS, LANES)),
                water_first_kg=stored_water_kg(kind.grid, kind.curves, a),
                heat_first_j=stored_heat_j(kind.grid, kind.curves, a),
            )
        )
    return blocks


def branch(blocks: Sequence[Block], lanes: IntArray, *, with_days: bool = False) -> list[Block]:
    """Copies of chosen lanes (numbered across blocks) as new blocks; the last one is padded.

    ``with_days`` copies the days that were run as well.
    """
    kept = [b.daily if with_days else b.daily[:0] for b in blocks]

    def pick(arrays: Sequence[FloatArray], chosen: IntArray, axis: int) -> FloatArray:
        joined = np.concatenate(arrays, axis=axis)
        return np.ascontiguousarray(np.take(joined, chosen, axis=axis))

    copies = []
    for taken in runs_by_block(len(lanes)):
        chosen = lanes[taken]
        copies.append(
            Block(
                a=pick([b.a for b in blocks], chosen, -1),
                run=pick([b.run for b in blocks], chosen, -1),
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
    """(LANES,) row of the record at hour 0 of each lane's run."""
    first_hour: int
    last_hour: int


def advance(jobs: Sequence[Job]) -> None:
    """Run every job, on every core; each fills its block's ``daily``."""
    pool = ThreadPoolExecutor(os.cpu_count())
    try:
        for _ in pool.map(_advance, jobs):
            pass
    finally:
        # On Ctrl-C the blocks that have not begun must not hold up the exit.
        pool.shutdown(cancel_futures=True)


def _advance(job: Job) -> None:
    kind, block = job.kind, job.block
    rows = kind.rows(job.scheme)
    values = values_at(rows, block.quantiles)
    canopy, openness = job.scheme.canopy, kind.openness_under(job.scheme.canopy)
    stand = kind.record.table(canopy, openness, kind.stack.diameter_m)
    sun = kind.record.weather.sun_azimuth_deg
    at = int(job.start_rows[0])
    azimuth = np.zeros(kind.hours)
    azimuth[job.first_hour : job.last_hour] = sun[at + job.first_hour : at + job.last_hour]
    days = (job.last_hour - job.first_hour) // HOURS_PER_DAY
    block.daily = np.empty((days, DAILY_COLUMNS, LANES))
    keep_own(block.a, log_lanes(rows, values, kind.stack.start_moisture))
    run_block(
        kind.grid,
        kind.curves,
        kind.tables.potential_mpa,
        np.stack(shade_lanes(values, openness)),
        np.stack(mycelium_lanes(values)),
        model().complete_share.value,
        diffuse_table(),
        sector_basis(),
        stand,
        job.start_rows,
        cover_table(kind, job.scheme),
        girth_modes(azimuth),
        job.first_hour,
        job.last_hour,
        kind.inoculation_hour,
        block.a,
        block.run,
        block.booked,
        block.daily,
    )
