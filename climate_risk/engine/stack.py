"""One kind of stack, cut into cells, and what stands over it hour by hour."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.days import months_after
from climate_risk.engine.draws import ParameterSet
from climate_risk.engine.record import Record
from climate_risk.interventions import LeafDay
from climate_risk.log.formulas import dry_heat_capacity
from climate_risk.log.geometry import Grid, make_grid
from climate_risk.log.state import Curves
from climate_risk.log.wood import WoodTables, wood_tables
from climate_risk.microclimate.radiation import (
    C_BAG,
    C_BARRIER_AGE,
    C_CLOTH,
    C_FOOT,
    C_HOLES,
    C_PLIES,
    C_SPAWN,
    C_UNCUT,
    C_WATERING,
    COVER_COLUMNS,
)
from climate_risk.options import CoverSpan, Watering
from climate_risk.tables import bags, barriers, canopies, cloths, fungi, model, woods
from climate_risk.yard import Stack

FloatArray = npt.NDArray[np.float64]


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
    """Hour 0 of a run: felled, or the weather's first day if that is later; inoculated where the
    day of felling does not matter."""
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

    def parameter_set(self, scheme: Scheme) -> ParameterSet:
        """Table rows that runs under a scheme draw from."""
        # A yard's bags are of one material; one that is put on later is the one that counts.
        materials = [c.material for c in scheme.covers if c.kind == "bag"]
        material = materials[-1] if materials and materials[-1] else "paper"
        return ParameterSet(
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
        spawn_depth_m=stack.spawn_depth_m,
    )
    curves = Curves(
        density_kg_m3=tables.basic_density_kg_m3,
        dry_heat_capacity_j_kg_k=float(dry_heat_capacity(HEAT_CAPACITY_TEMP_C)),
        max_moisture=tables.max_moisture * woods()[stack.wood].capillary_share.value,
        activity=tables.activity,
        moisture_by_activity=tables.moisture_by_activity,
        bound_diffusivity_m2_s=tables.bound_diffusivity_m2_s,
        spawn_as_wood=tables.spawn_as_wood,
        spawn_activity=tables.spawn_activity,
        spawn_by_activity=tables.spawn_by_activity,
    )
    start = stack.inoculated
    if stack.start_moisture is None and stack.felled is not None:
        # Of wood felled before the weather begins, the drying till then is not known.
        start = max(stack.felled, min(record.first, stack.inoculated))
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


def covers_in(
    kind: StackModel, covers: tuple[CoverSpan, ...], years: int
) -> tuple[CoverSpan, ...]:
    """Covers on the run's own calendar, their leaf days as they are so many years later."""

    def moved(day: date | None) -> date | None:
        if not isinstance(day, LeafDay):
            return day
        return date.fromordinal(day.toordinal() + kind.record.leaf_shift_days(day, years))

    return tuple(replace(span, on=moved(span.on), off=moved(span.off)) for span in covers)


def cover_table(kind: StackModel, scheme: Scheme) -> FloatArray:
    """(hours, COVER_COLUMNS) what is over the stack and poured on it, hour by hour of a run."""
    table = np.zeros((kind.hours, COVER_COLUMNS))
    inoculated = kind.stack.inoculated

    def hour(day: date) -> int:
        return min(max((day - kind.start_day).days * HOURS_PER_DAY, 0), kind.hours)

    table[: hour(kind.stack.cut or inoculated), C_UNCUT] = 1.0
    table[kind.inoculation_hour :, C_SPAWN] = 1.0
    since = np.arange(kind.hours) - kind.inoculation_hour
    table[:, C_BARRIER_AGE] = np.maximum(since, 0)
    for span in scheme.covers:
        first, last = hour(span.on or inoculated), hour(span.off or kind.horizon)
        if span.kind == "bag":
            table[first:last, C_BAG] = 1.0
            table[first:last, C_FOOT] = 1.0 if span.foot == "open" else 0.0
            table[first:last, C_HOLES] = span.holes_m2
            table[first:last, C_PLIES] = span.plies or bags()[span.material or "paper"].plies
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
