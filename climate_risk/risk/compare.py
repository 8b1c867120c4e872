"""The plan as written and its options over the past years of the record."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import partial

import numpy as np

from climate_risk.engine.blocks import Job, advance, new_blocks
from climate_risk.engine.draws import SEED, draws_for, latin_hypercube
from climate_risk.engine.record import Record
from climate_risk.engine.stack import StackModel, stack_model
from climate_risk.errors import InputError
from climate_risk.progress import Progress, part_of
from climate_risk.risk.certainty import difference, level_of
from climate_risk.risk.cost import cost_of, prices_used
from climate_risk.risk.ensemble import (
    Outcomes,
    collect,
    in_years,
    jobs_for,
    option_result,
    start_rows,
    usable_years,
)
from climate_risk.risk.parameters import parameters_used, sources_used
from climate_risk.risk.past import past_jobs, past_years
from climate_risk.risk.results import Difference, OptionResult
from climate_risk.risk.results_compare import (
    ComparedOption,
    CompareResult,
    StackCompare,
    Tie,
)
from climate_risk.risk.thresholds import thresholds_of
from climate_risk.risk.variants import Variant, build_of, variants
from climate_risk.risk.worth import break_even, build_cost, rank
from climate_risk.tables import fungi
from climate_risk.weather.record import WeatherCoverage
from climate_risk.yard import Stack, Yard

AT_ONCE = 6
"""Options that run side by side: enough for every core, few enough for memory."""


def compare(
    yard: Yard,
    record: Record,
    coverage: WeatherCoverage,
    inputs: dict[str, str],
    *,
    years: tuple[int, int] | None = None,
    draws: int | None = None,
    progress: Progress | None = None,
    threads: int | None = None,
) -> CompareResult:
    """Run the plan and every option of the yard's ``[compare]`` table through the past years.

    An option's result depends on the plan and on itself, not on what else is listed: its draws
    are those of the plan's years, and it runs in those of them that hold its own season.

    Parameters
    ----------
    years : (int, int), optional
        First and last year of inoculation; all that the record covers by default.
    draws : int, optional
        Parameter draws a year, as many as a chance needs by default; the same for every option,
        so that options differ by nothing but themselves.
    progress : callable, optional
        Told the share done, 0 to 1.
    threads : int, optional
        Every core by default; results are the same.

    Raises
    ------
    InputError
        The record holds no whole season of a stack or of one of its options.
    """
    stacks = []
    water, energy = 0.0, 0.0
    used: set[int] = set()
    most = 0
    for done, stack in enumerate(yard.stacks):
        part = part_of(progress, done, len(yard.stacks))
        planned = _planned(yard, stack, record, coverage.source, years)
        own_draws = draws or draws_for(len(planned[0].years))
        most = max(most, own_draws)
        past = past_jobs(planned[0].kind, planned[0].variant.scheme)
        ends = _run(planned, past, own_draws, part, threads)
        used.update(planned[0].years)
        water = max(water, *(end.water_residual for end in ends))
        energy = max(energy, *(end.energy_residual for end in ends))
        stacks.append(_stack_compare(yard, planned, past, ends))
    return CompareResult(
        yard_name=yard.name,
        invented=yard.invented,
        first_year=min(used),
        last_year=max(used),
        years=len(used),
        draws=most,
        tolerated_chance=yard.costs.tolerated_chance,
        prices=prices_used(yard.costs),
        units=yard.units,
        stacks=tuple(stacks),
        sources=sources_used(p for stack in stacks for p in stack.parameters),
        coverage=coverage,
        inputs=inputs,
        water_residual=water,
        energy_residual=energy,
    )


@dataclass(frozen=True, kw_only=True)
class _Planned:
    """A variant ready to run in the years that it has of the plan's."""

    variant: Variant
    kind: StackModel
    years: tuple[int, ...]
    """Of the plan's inoculation."""
    years_apart: int
    """From the plan's year of inoculation to its own."""


def _planned(
    yard: Yard,
    stack: Stack,
    record: Record,
    source: str,
    years: tuple[int, int] | None,
) -> list[_Planned]:
    """The plan, then its options."""
    kinds: dict[Stack, StackModel] = {}
    planned: list[_Planned] = []
    for variant in variants(yard, stack):
        bare = replace(variant.stack, covers=(), waterings=())
        if bare not in kinds:
            kinds[bare] = stack_model(bare, record, yard.openness, yard.canopy)
        kind = kinds[bare]
        apart = kind.stack.inoculated.year - stack.inoculated.year
        usable = usable_years(kind, kind.start_day, kind.horizon)
        found = tuple(y - apart for y in usable)
        found = tuple(y for y in found if years is None or years[0] <= y <= years[1])
        if planned:
            found = tuple(y for y in found if y in planned[0].years)
        if not found:
            raise InputError(
                f'{source}: no whole season of "{stack.name}" '
                f"({kind.start_day} to {kind.horizon}) in "
                + (f"the years {years[0]} to {years[1]}" if years else "any past year")
                + f"; the weather runs from {record.first} to {record.last}"
            )
        planned.append(_Planned(variant=variant, kind=kind, years=found, years_apart=apart))
    return planned


def _run(
    planned: Sequence[_Planned],
    beside: Sequence[Job],
    draws: int,
    progress: Progress,
    threads: int | None,
) -> list[Outcomes]:
    """What comes of every variant, each year with the plan's draws of that year.

    Other jobs run with the last ones, which else leave cores idle.
    """
    plan = planned[0]
    unknowns = len(plan.kind.parameter_set(plan.variant.scheme).unknowns())
    sample = latin_hypercube(len(plan.years) * draws, unknowns, SEED)
    of_year = dict(zip(plan.years, np.split(sample, len(plan.years)), strict=True))
    found: list[Outcomes] = []
    for place in range(0, len(planned), AT_ONCE):
        batch = planned[place : place + AT_ONCE]
        jobs = []
        for one in batch:
            drawn = np.concatenate([of_year[year] for year in one.years])
            blocks = new_blocks(one.kind, one.variant.scheme, drawn)
            own_years = [year + one.years_apart for year in one.years]
            rows = start_rows(one.kind, own_years, draws, one.kind.start_day, 0)
            jobs.append(jobs_for(one.kind, one.variant.scheme, blocks, rows, 0, one.kind.hours))

        def tell(share: float, place: int = place, size: int = len(batch)) -> None:
            progress((place + share * size) / len(planned))

        is_last = place + AT_ONCE >= len(planned)
        several = [*(job for own in jobs for job in own), *(beside if is_last else ())]
        advance(several, tell, threads)
        for one, own in zip(batch, jobs, strict=True):
            ended = [job.block for job in own]
            found.append(collect(one.kind, one.variant.scheme, ended, one.years, draws))
    return found


def _stack_compare(
    yard: Yard, planned: Sequence[_Planned], past: Sequence[Job], ends: Sequence[Outcomes]
) -> StackCompare:
    """Every option against the plan and against the best, the plan first and then by rank."""
    plan, costs = planned[0], yard.costs
    results = []
    for one, end in zip(planned, ends, strict=True):
        result = option_result(end, one.variant.scheme, costs)
        price = build_cost(one.variant.stack, result.cost.option, plan.variant.stack, costs)
        results.append(replace(result, cost=cost_of(price, result.chance, costs)))
    is_by_money = all(result.cost.total is not None for result in results)
    key = partial(rank, worth=costs.value_of_stack if is_by_money else math.nan)
    order = sorted(range(len(results)), key=lambda place: key(results[place]))
    best = ends[order[0]]
    options = []
    for place in (0, *(place for place in order if place)):
        one, result, end = planned[place], results[place], ends[place]
        thresholds = thresholds_of(one.kind)
        to_plan = None if place == 0 else paired(end, ends[0])
        options.append(
            ComparedOption(
                **{field.name: getattr(result, field.name) for field in fields(OptionResult)}
                | {"level": level_of(end), "difference": to_plan},
                build=build_of(one.variant.stack),
                is_plan=place == 0,
                rank=order.index(place) + 1,
                places=one.variant.places,
                moisture_stop_pct=thresholds.moisture_stop_pct,
                to_best=None if end is best else paired(end, best),
                break_even=break_even(result.cost.option - results[0].cost.option, to_plan),
            )
        )
    own, row = plan.variant.stack, fungi()[plan.variant.stack.fungus]
    used = [p for one in planned for p in parameters_used(one.kind, [one.variant.scheme])]
    listed = dict.fromkeys(one.variant.stack.fungus for one in planned)
    return StackCompare(
        name=own.name,
        fungus=own.fungus,
        wood=own.wood,
        horizon_months=row.horizon_months,
        options=tuple(options),
        is_by_money=is_by_money,
        ties=ties_of(options),
        thresholds=thresholds_of(plan.kind),
        past=past_years(plan.kind, past),
        parameters=tuple({(p.group, p.row, p.name): p for p in used}.values()),
        cautions=tuple(fungi()[name].caution for name in listed if fungi()[name].caution),
    )


def paired(ends: Outcomes, other: Outcomes) -> Difference | None:
    """Chance of loss less another's over the years that both have, by year and draw."""
    years = tuple(year for year in ends.years if year in other.years)
    return difference(in_years(ends, years), in_years(other, years))


def ties_of(options: Sequence[ComparedOption]) -> tuple[Tie, ...]:
    """Options that a number nobody has measured may put before the best."""
    return tuple(
        Tie(ranks=(1, option.rank), unknown=option.to_best.turns_on)
        for option in sorted(options, key=lambda option: option.rank)
        if option.to_best is not None and option.to_best.turns_on is not None
    )
