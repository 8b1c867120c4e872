"""This year's stacks: to date from the weather seen, then an outlook from the past years."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.balance import residuals
from climate_risk.engine.blocks import advance
from climate_risk.engine.record import Record
from climate_risk.engine.reference import daily_table, refuse_without_start
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.errors import InputError
from climate_risk.fungus import rivals
from climate_risk.progress import Progress, part_of
from climate_risk.risk.actions import THOROUGH, Effort, carry_on_by_days, find_actions
from climate_risk.risk.advice import Advice
from climate_risk.risk.certainty import difference, level_of
from climate_risk.risk.chance import lost_of
from climate_risk.risk.cost import prices_used
from climate_risk.risk.ensemble import Outcomes, option_result
from climate_risk.risk.measured import learn, tell
from climate_risk.risk.next_reading import next_readings
from climate_risk.risk.offers import scheme_with
from climate_risk.risk.outlook import Outlook, look_at_all
from climate_risk.risk.parameters import parameters_used, sources_used
from climate_risk.risk.past import past_jobs, past_years
from climate_risk.risk.results import (
    OptionResult,
    SeasonResult,
    Spell,
    SpellLimits,
    StackSeason,
    shape_of,
)
from climate_risk.risk.sensitivity import uncertainty
from climate_risk.risk.skill_table import measured_skill
from climate_risk.risk.thresholds import thresholds_of
from climate_risk.risk.tracks import face_moistures, outlook_table, reference_table, track_of
from climate_risk.risk.turns import turns_ahead
from climate_risk.tables import fungi
from climate_risk.weather.own_readings import Measurements
from climate_risk.weather.record import HourlyWeather, WeatherCoverage
from climate_risk.weather.spells import runs
from climate_risk.yard import Stack, Yard

CANOPIES = ("open", "deciduous", "conifer")
SPELL_LIMITS = SpellLimits(days=3, air_temp_min_c=30.0, rain_max_mm=1.0)
"""Common practice, no source."""


def season(
    yard: Yard,
    record: Record,
    coverage: WeatherCoverage,
    inputs: dict[str, str],
    *,
    as_of: date,
    draws: int | None = None,
    readings: Measurements | None = None,
    effort: Effort = THOROUGH,
    progress: Progress | None = None,
) -> SeasonResult:
    """Every stack of the yard as written, from its start over ``as_of`` to its horizon.

    Parameters
    ----------
    readings : Measurements, optional
        Of the stack that ``yard.measured`` names.
    effort : Effort
        How many acts are tried.
    progress : callable, optional
        Told the share done, 0 to 1.

    Raises
    ------
    InputError
        The weather holds none of a stack's season.
    """
    as_of = min(as_of, record.last)
    stacks, water, energy = [], 0.0, 0.0
    for done, stack in enumerate(yard.stacks):
        part = part_of(progress, done, len(yard.stacks))
        result, residual = _stack_season(
            yard, stack, record, coverage, as_of, draws, readings, effort, part
        )
        stacks.append(result)
        water, energy = max(water, residual[0]), max(energy, residual[1])
    return SeasonResult(
        yard_name=yard.name,
        invented=yard.invented,
        as_of=as_of,
        tolerated_chance=yard.costs.tolerated_chance,
        prices=prices_used(yard.costs),
        units=yard.units,
        stacks=tuple(stacks),
        spell_limits=SPELL_LIMITS,
        sources=sources_used(p for stack in stacks for p in stack.parameters),
        coverage=coverage,
        inputs=inputs,
        skill=measured_skill(),
        water_residual=water,
        energy_residual=energy,
    )


def _stack_season(
    yard: Yard,
    stack: Stack,
    record: Record,
    coverage: WeatherCoverage,
    as_of: date,
    draws: int | None,
    readings: Measurements | None,
    effort: Effort,
    progress: Progress,
) -> tuple[StackSeason, tuple[float, float]]:
    kind = stack_model(stack, record, yard.openness, yard.canopy)
    _check_cover(kind, coverage, as_of)
    own = Scheme(canopy=yard.canopy, covers=stack.covers, waterings=stack.waterings)
    canopies = [name for name in CANOPIES if name != yard.canopy]
    schemes = [own, *(replace(own, canopy=name) for name in canopies)]
    learned = None
    if readings is not None and yard.measured and yard.measured.stack == stack.name:
        learned = learn(kind, own, yard.measured, readings, as_of)
    posterior = learned.posterior if learned else None
    outlook, *elsewhere = look_at_all(kind, schemes, as_of, draws, posterior)
    steps = len(schemes) + 2
    progress(1 / steps)
    as_planned = carry_on_by_days(outlook, effort)
    blocks, own_ends = as_planned.blocks, as_planned.ends

    def told(ends: Outcomes, scheme: Scheme) -> OptionResult:
        result = option_result(ends, scheme, yard.costs)
        if not outlook.has_past:
            return replace(result, years=())
        apart = None if ends is own_ends else difference(ends, own_ends)
        return replace(result, level=level_of(ends), difference=apart)

    result = told(own_ends, own)
    measured = None
    if learned is not None:
        (before,) = look_at_all(kind, [own], as_of, draws)
        measured = tell(
            learned,
            kind.parameter_set(own).unknowns(),
            option_result(before.carry_on(own)[1], own, yard.costs),
            result,
            next_readings(learned, outlook, own_ends, as_of),
        )
    others = [own_ends]
    by_canopy = {yard.canopy: result}
    tracks = [track_of(blocks, outlook)]
    for done, other in enumerate(elsewhere, start=2):
        progress(done / steps)
        canopy, scheme = other.scheme.canopy, other.scheme
        other_blocks, other_ends = other.carry_on(scheme)
        tracks.append(track_of(other_blocks, other))
        others.append(other_ends)
        by_canopy[canopy] = told(other_ends, scheme)
    fungus, past = fungi()[stack.fungus], past_jobs(kind, own)
    progress((steps - 1) / steps)
    turns = turns_ahead(kind, own.canopy, outlook.next_day)
    advice = find_actions(yard, outlook, result, as_planned, effort, turns)
    acts = [act for action in advice.actions for act in action.acts]
    tried = tuple(act.cover for act in acts if act.cover is not None)
    with_tried = replace(own, covers=(*own.covers, *tried))
    worst = (
        max(*(e.water_residual for e in others), *(residuals(kind, b)[0] for b in outlook.seen)),
        max(*(e.energy_residual for e in others), *(residuals(kind, b)[1] for b in outlook.seen)),
    )
    with ThreadPoolExecutor() as pool:  # one block each, which else leave cores idle
        ahead = pool.submit(reference_under, own, outlook)
        acted = pool.submit(acted_reference, outlook, advice)
        advance(past)
    season_of = StackSeason(
        name=stack.name,
        count=stack.count,
        fungus=stack.fungus,
        wood=stack.wood,
        canopy=yard.canopy,
        covers=tuple(
            replace(c, on=c.on or stack.inoculated, off=c.off or kind.horizon)
            for c in stack.covers
        ),
        waterings=stack.waterings,
        inoculated=stack.inoculated,
        horizon=kind.horizon,
        daily=daily_table(kind, outlook.seen[0].daily[:, :, 0]),
        outlook=outlook_table(blocks, outlook),
        reference_ahead=ahead.result(),
        reference_acted=acted.result(),
        tracks=tuple(tracks),
        shape=shape_of(stack),
        openness=yard.openness,
        face_moisture_pct=face_moistures(outlook),
        result=result,
        under_canopies=tuple(by_canopy[c] for c in dict.fromkeys((*CANOPIES, yard.canopy))),
        lost_of_count=None if result.chance is None else lost_of(stack.count, own_ends.outcomes),
        full_run=_full_run(stack, own_ends),
        uncertainty=None if outlook.over else uncertainty(outlook, own_ends),
        spells=hot_dry_spells(record.weather, stack.inoculated, as_of),
        actions=advice.actions,
        also_tried=advice.also_tried,
        signs=advice.signs,
        thresholds=thresholds_of(kind),
        parameters=parameters_used(kind, [*schemes, with_tried]),
        rival_hours_grade=rivals.CONFIDENCE,
        fungus_caution=fungus.caution,
        past=past_years(kind, past),
        measured=measured,
    )
    progress(1.0)
    return season_of, worst


def reference_under(scheme: Scheme, outlook: Outlook) -> pd.DataFrame | None:
    """The reference run carried on under a scheme."""
    return reference_table(outlook.carry_reference_on(scheme), outlook)


def acted_reference(outlook: Outlook, advice: Advice) -> pd.DataFrame | None:
    """The reference run carried on with the first action done at once."""
    if not advice.actions:
        return None
    first = advice.actions[0]
    scheme = scheme_with(outlook.scheme, first.acts, outlook.kind.stack.inoculated)
    return reference_under(scheme, outlook)


def _check_cover(kind: StackModel, coverage: WeatherCoverage, as_of: date) -> None:
    refuse_without_start(kind, coverage.source)
    if as_of < kind.start_day:
        raise InputError(
            f'--as-of {as_of} lies before "{kind.stack.name}" starts on {kind.start_day}; '
            "accepted is a day of the season, or later"
        )


def _full_run(stack: Stack, ends: Outcomes) -> tuple[date | None, date | None, date | None]:
    """Dates by which a tenth, half and nine tenths of the runs are complete."""
    hours = np.sort(np.where(ends.full_hour < 0.0, np.inf, ends.full_hour).ravel())

    def at(share: float) -> date | None:
        value = hours[min(int(share * hours.size), hours.size - 1)]
        return stack.inoculated + timedelta(hours=float(value)) if np.isfinite(value) else None

    return at(0.1), at(0.5), at(0.9)


def hot_dry_spells(weather: HourlyWeather, first: date, last: date) -> tuple[Spell, ...]:
    """Hot, dry spells of the open station between two days; see :data:`SPELL_LIMITS`."""
    days = weather.time[::HOURS_PER_DAY].astype("datetime64[D]")
    inside = (days >= np.datetime64(first)) & (days <= np.datetime64(last))
    warmest = weather.air_temp_c.reshape(-1, HOURS_PER_DAY).max(axis=1)[inside]
    rain = weather.precip_mm.reshape(-1, HOURS_PER_DAY).sum(axis=1)[inside]
    days = days[inside]
    is_hot = warmest >= SPELL_LIMITS.air_temp_min_c
    is_dry = rain < SPELL_LIMITS.rain_max_mm
    return tuple(
        Spell(
            first=days[begin].item(),
            last=days[end - 1].item(),
            air_temp_max_c=float(warmest[begin:end].max()),
            rain_mm=float(rain[begin:end].sum()),
        )
        for begin, end in runs(is_hot & is_dry, SPELL_LIMITS.days)
    )
