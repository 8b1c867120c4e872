"""This year's stacks: to date from the weather seen, then an outlook from the past years."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.balance import residuals
from climate_risk.engine.blocks import Block
from climate_risk.engine.draws import DRAWS
from climate_risk.engine.record import Record
from climate_risk.engine.reference import DAILY_NAMES, daily_table, refuse_without_start
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.errors import InputError
from climate_risk.risk.actions import find_actions
from climate_risk.risk.chance import lost_of
from climate_risk.risk.ensemble import (
    Outcomes,
    cover_label,
    option_result,
    place_label,
    watering_label,
)
from climate_risk.risk.outlook import Outlook, look_at_all
from climate_risk.risk.results import OptionResult, SeasonResult, Spell, StackSeason
from climate_risk.risk.sensitivity import uncertainty
from climate_risk.risk.thresholds import moisture_thresholds
from climate_risk.tables import fungi
from climate_risk.weather.record import HourlyWeather, WeatherCoverage
from climate_risk.yard import Stack, Yard

FloatArray = npt.NDArray[np.float64]

CANOPIES = ("open", "deciduous", "conifer")
HOT_TEMP_MAX_C = 30.0
DRY_RAIN_MM = 1.0
SPELL_DAYS = 3
"""A hot, dry spell: this many days in a row at least this hot with less rain than this
(common practice, no source)."""

OUTLOOK_NAMES = (
    "air_temp_max_c",
    "bark_temp_max_c",
    "moisture_mean_pct",
    "moisture_driest_face_pct",
    "colonized_fraction",
    "heat_stress",
    "drought_stress",
)
PERCENTILES = (10, 50, 90)


def season(
    yard: Yard,
    record: Record,
    coverage: WeatherCoverage,
    inputs: dict[str, str],
    *,
    as_of: date,
    draws: int = DRAWS,
) -> SeasonResult:
    """Every stack of the yard as written, from its start over ``as_of`` to its horizon.

    Raises
    ------
    InputError
        The weather holds none of a stack's season.
    """
    as_of = min(as_of, record.last)
    stacks, water, energy = [], 0.0, 0.0
    for stack in yard.stacks:
        result, residual = _stack_season(yard, stack, record, coverage, as_of, draws)
        stacks.append(result)
        water, energy = max(water, residual[0]), max(energy, residual[1])
    return SeasonResult(
        yard_name=yard.name,
        invented=yard.invented,
        as_of=as_of,
        tolerated_chance=yard.costs.tolerated_chance,
        currency=yard.costs.currency,
        units=yard.units,
        stacks=tuple(stacks),
        coverage=coverage,
        inputs=inputs,
        water_residual=water,
        energy_residual=energy,
    )


def _stack_season(
    yard: Yard,
    stack: Stack,
    record: Record,
    coverage: WeatherCoverage,
    as_of: date,
    draws: int,
) -> tuple[StackSeason, tuple[float, float]]:
    kind = stack_model(stack, record, yard.openness, yard.canopy)
    _check_cover(kind, coverage, as_of)
    own = Scheme(canopy=yard.canopy, covers=stack.covers, waterings=stack.waterings)
    canopies = [name for name in CANOPIES if name != yard.canopy]
    schemes = [own, *(replace(own, canopy=name) for name in canopies)]
    outlook, *elsewhere = look_at_all(kind, schemes, as_of, draws)
    blocks, ends = outlook.carry_on(own)
    cover, watering = cover_label(own), watering_label(own)

    def told(ends: Outcomes, scheme: Scheme, label: str) -> OptionResult:
        result = option_result(ends, scheme, label, cover, watering, yard.costs)
        return result if outlook.has_past else replace(result, years=())

    result = told(ends, own, "as it stands")
    others = [ends]
    by_canopy = {yard.canopy: replace(result, label=f"under {yard.canopy} (as it stands)")}
    for other in elsewhere:
        canopy, scheme = other.scheme.canopy, other.scheme
        _, other_ends = other.carry_on(scheme)
        others.append(other_ends)
        label = place_label(canopy)
        by_canopy[canopy] = told(other_ends, scheme, label)
    fungus = fungi()[stack.fungus]
    stop, slow = moisture_thresholds(kind)
    worst = (
        max(*(e.water_residual for e in others), *(residuals(kind, b)[0] for b in outlook.seen)),
        max(*(e.energy_residual for e in others), *(residuals(kind, b)[1] for b in outlook.seen)),
    )
    season_of = StackSeason(
        name=stack.name,
        count=stack.count,
        fungus=stack.fungus,
        wood=stack.wood,
        canopy=yard.canopy,
        cover=cover,
        watering=watering,
        cover_spans=tuple(
            (c.label, c.on or stack.inoculated, c.off or kind.horizon) for c in stack.covers
        ),
        watering_spans=tuple((w.label, w.first, w.last) for w in stack.waterings),
        inoculated=stack.inoculated,
        horizon=kind.horizon,
        daily=daily_table(kind, outlook.seen[0].daily[:, :, 0]),
        outlook=_fan(blocks, outlook),
        result=result,
        under_canopies=tuple(by_canopy[c] for c in dict.fromkeys((*CANOPIES, yard.canopy))),
        lost_of_count=None if result.chance is None else lost_of(stack.count, ends.outcomes),
        full_run=_full_run(stack, ends),
        uncertainty=None if outlook.over else uncertainty(outlook, ends),
        spells=hot_dry_spells(record.weather, stack.inoculated, as_of),
        actions=find_actions(yard, outlook, result),
        moisture_stop_pct=stop,
        moisture_slow_pct=slow,
        growth_temp_max_c=fungus.temp_max_c.value,
        fungus_caution=fungus.caution,
    )
    return season_of, worst


def _check_cover(kind: StackModel, coverage: WeatherCoverage, as_of: date) -> None:
    refuse_without_start(kind, coverage.source)
    if as_of < kind.start_day:
        raise InputError(
            f'--as-of {as_of} lies before "{kind.stack.name}" starts on {kind.start_day}; '
            "accepted is a day of the season, or later"
        )


def _fan(blocks: Sequence[Block], outlook: Outlook) -> pd.DataFrame | None:
    """Percentiles over years and draws of what matters, a row a day from tomorrow on."""
    runs = len(outlook.years) * outlook.draws
    days = len(blocks[0].daily)
    if outlook.over:
        return None
    index = pd.date_range(outlook.next_day, periods=days, freq="D", name="date")
    columns = {}
    for name in OUTLOOK_NAMES:
        values = np.concatenate([b.daily[:, DAILY_NAMES[name]] for b in blocks], axis=1)
        for percent, line in zip(
            PERCENTILES, np.percentile(values[:, :runs], PERCENTILES, axis=1), strict=True
        ):
            columns[(name, percent)] = line
    return pd.DataFrame(columns, index=index)


def _full_run(stack: Stack, ends: Outcomes) -> tuple[date | None, date | None, date | None]:
    """Dates by which a tenth, half and nine tenths of the runs are complete."""
    hours = np.sort(np.where(ends.full_hour < 0.0, np.inf, ends.full_hour).ravel())

    def at(share: float) -> date | None:
        value = hours[min(int(share * hours.size), hours.size - 1)]
        return stack.inoculated + timedelta(hours=float(value)) if np.isfinite(value) else None

    return at(0.1), at(0.5), at(0.9)


def hot_dry_spells(weather: HourlyWeather, first: date, last: date) -> tuple[Spell, ...]:
    """Hot, dry spells of the open station between two days; see :data:`SPELL_DAYS`."""
    days = weather.time[::HOURS_PER_DAY].astype("datetime64[D]")
    inside = (days >= np.datetime64(first)) & (days <= np.datetime64(last))
    warmest = weather.air_temp_c.reshape(-1, HOURS_PER_DAY).max(axis=1)[inside]
    rain = weather.precip_mm.reshape(-1, HOURS_PER_DAY).sum(axis=1)[inside]
    days = days[inside]
    hot = np.concatenate([[False], (warmest >= HOT_TEMP_MAX_C) & (rain < DRY_RAIN_MM), [False]])
    turns = np.flatnonzero(np.diff(hot.astype(np.int8)))
    spells = []
    for begin, end in zip(turns[::2], turns[1::2], strict=True):
        if end - begin >= SPELL_DAYS:
            spells.append(
                Spell(
                    first=days[begin].item(),
                    last=days[end - 1].item(),
                    air_temp_max_c=float(warmest[begin:end].max()),
                    rain_mm=float(rain[begin:end].sum()),
                )
            )
    return tuple(spells)
