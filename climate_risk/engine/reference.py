"""The reference run: one stack with every parameter at its best estimate, day by day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine import hours as k
from climate_risk.engine.balance import residuals
from climate_risk.engine.blocks import Block, Job, advance, new_blocks
from climate_risk.engine.draws import best_estimate
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.errors import InputError
from climate_risk.log.layout import CASES
from climate_risk.yard import Stack

FloatArray = npt.NDArray[np.float64]

DAILY_NAMES = {
    "air_temp_max_c": k.D_AIR_MAX,
    "air_temp_min_c": k.D_AIR_MIN,
    "vpd_max_kpa": k.D_VPD_MAX,
    "rh_min_pct": k.D_RH_MIN,
    "shortwave_mj_m2": k.D_SHORTWAVE,
    "bark_temp_max_c": k.D_BARK_MAX,
    "core_temp_mean_c": k.D_CORE_MEAN,
    "moisture_mean_pct": k.D_MOISTURE,
    "moisture_driest_face_pct": k.D_DRIEST_FACE,
    "colonized_fraction": k.D_COLONIZED,
    "heat_stress": k.D_HEAT_STRESS,
    "drought_stress": k.D_DROUGHT_STRESS,
    "spawn_drought_stress": k.D_SPAWN_STRESS,
    "log_water_kg": k.D_LOG_WATER,
    "water_in_kg": k.D_WATER_IN,
    "water_out_kg": k.D_WATER_OUT,
    "spawn_moisture_driest_pct": k.D_SPAWN,
    "precip_mm": k.D_RAIN,
    "rival_hours_h": k.D_RIVAL_HOURS,
}


def simulate(kind: StackModel, scheme: Scheme, until: date, source: str) -> pd.DataFrame:
    """Run one stack from its start over the day ``until``.

    Parameters
    ----------
    until : date
        Last day to run; the run ends earlier at the stack's horizon or the record's last day.
    source : str
        Of the weather, for messages.

    Returns
    -------
    DataFrame
        As :func:`daily_table`. Its ``attrs`` hold the largest relative residual of the run's
        balances, ``water_residual`` and ``energy_residual``.

    Raises
    ------
    InputError
        The weather does not hold the stack's start, or ``until`` lies before inoculation.
    """
    refuse_without_start(kind, source)
    last = min(until, kind.record.last, kind.horizon - timedelta(days=1))
    if last < kind.stack.inoculated:
        raise InputError(
            f'{source}: a run of "{kind.stack.name}" to {last} ends before its inoculation on '
            f"{kind.stack.inoculated}; accepted is that day or later, with weather to it"
        )
    block = reference_block(kind, scheme)
    advance_to(kind, scheme, [block], 0, (last - kind.start_day).days + 1)
    table = daily_table(kind, block.daily[:, :, 0])
    table.attrs["water_residual"], table.attrs["energy_residual"] = residuals(kind, block)
    return table


def reference_block(kind: StackModel, scheme: Scheme) -> Block:
    """A fresh stack with every unknown at its best estimate, in every case."""
    return new_blocks(kind, scheme, best_estimate(len(kind.parameter_set(scheme).unknowns())))[0]


def advance_to(
    kind: StackModel, scheme: Scheme, blocks: Sequence[Block], first_day: int, last_day: int
) -> None:
    """Run blocks through days of their run, counted from 0 at the start, the last not included."""
    start = np.full(CASES, kind.record.row(kind.start_day), dtype=np.int64)
    advance(
        [
            Job(
                kind=kind,
                scheme=scheme,
                block=block,
                start_rows=start,
                first_hour=first_day * HOURS_PER_DAY,
                last_hour=last_day * HOURS_PER_DAY,
            )
            for block in blocks
        ]
    )


def daily_table(kind: StackModel, daily: FloatArray) -> pd.DataFrame:
    """One run as a row a day since inoculation, ``source`` first, then :data:`DAILY_NAMES`.

    Parameters
    ----------
    daily : (days, DAILY_COLUMNS) array
        Of one case, from the stack's start on.
    """
    record = kind.record
    index = pd.date_range(kind.start_day, periods=len(daily), freq="D", name="date")
    table = pd.DataFrame({n: daily[:, c] for n, c in DAILY_NAMES.items()}, index=index)
    row = record.row(kind.start_day)
    seen = record.weather.observed[row : row + len(daily) * HOURS_PER_DAY]
    whole = seen.reshape(-1, HOURS_PER_DAY).all(axis=1)
    table.insert(0, "source", np.where(whole, "observed", "filled"))
    return table.iloc[kind.inoculation_hour // HOURS_PER_DAY :]


def refuse_without_start(kind: StackModel, source: str) -> None:
    """Raise InputError where the weather does not hold the day a stack starts on."""
    record = kind.record
    if not record.first <= kind.start_day <= record.last:
        raise InputError(
            f'{source}: "{kind.stack.name}" starts on {kind.start_day}, but the weather '
            f"runs from {record.first} to {record.last}; accepted is weather of that season"
        )


def late_starts(stacks: Iterable[Stack], begins: date) -> list[str]:
    """What to say of stacks that were felled before the weather begins."""
    return [
        f'"{stack.name}" was felled on {stack.felled}, before the weather begins: its wood is '
        f"taken as fresh on {begins}; give start_moisture, or weather from {stack.felled}"
        for stack in stacks
        if stack.start_moisture is None
        and stack.felled is not None
        and stack.felled < begins <= stack.inoculated
    ]
