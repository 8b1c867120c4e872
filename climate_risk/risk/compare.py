"""Canopy x cover x watering over the past years of the record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from climate_risk.engine.blocks import advance, new_blocks
from climate_risk.engine.days import months_after
from climate_risk.engine.draws import DRAWS, SEED, latin_hypercube
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.errors import InputError
from climate_risk.interventions import Watering
from climate_risk.options import CoverOption, WateringOption
from climate_risk.progress import Progress, part_of
from climate_risk.risk.certainty import difference, level_of
from climate_risk.risk.ensemble import (
    Outcomes,
    collect,
    jobs_for,
    option_result,
    start_rows,
    usable_years,
)
from climate_risk.risk.parameters import parameters_used, sources_used
from climate_risk.risk.past import past_years
from climate_risk.risk.results import CompareResult, OptionResult, ParameterUsed, StackCompare, Tie
from climate_risk.risk.thresholds import thresholds_of
from climate_risk.tables import fungi
from climate_risk.weather.record import WeatherCoverage
from climate_risk.yard import Yard

BAG_MONTHS = 12
"""A paper sack is not kept on for longer (common practice, no source)."""
WATERING_MONTHS = (5, 9)
"""First and last month of watering in the north; half a year later in the south."""


def compare(
    yard: Yard,
    record: Record,
    coverage: WeatherCoverage,
    inputs: dict[str, str],
    *,
    years: tuple[int, int] | None = None,
    draws: int = DRAWS,
    progress: Progress | None = None,
    threads: int | None = None,
) -> CompareResult:
    """Run every option of the yard's ``[compare]`` table through every past year.

    Parameters
    ----------
    years : (int, int), optional
        First and last year of inoculation; all that the record covers by default.
    draws : int
        Parameter draws a year, the same for every option, so that options differ by nothing
        but themselves.
    progress : callable, optional
        Told the share done, 0 to 1.
    threads : int, optional
        Every core by default; results are the same.

    Raises
    ------
    InputError
        The record holds no whole season of a stack.
    """
    stacks = []
    water, energy = 0.0, 0.0
    used: set[int] = set()
    for done, stack in enumerate(yard.stacks):
        kind = stack_model(stack, record, yard.openness, yard.canopy)
        found = usable_years(kind, kind.start_day, kind.horizon)
        found = tuple(y for y in found if years is None or years[0] <= y <= years[1])
        if not found:
            raise InputError(
                f'{coverage.source}: no whole season of "{stack.name}" '
                f"({kind.start_day} to {kind.horizon}) in "
                + (f"the years {years[0]} to {years[1]}" if years else "any past year")
                + f"; the weather runs from {record.first} to {record.last}"
            )
        used.update(found)
        options, parameters, residual = _options(
            yard, kind, found, draws, part_of(progress, done, len(yard.stacks)), threads
        )
        water, energy = max(water, residual[0]), max(energy, residual[1])
        fungus = fungi()[stack.fungus]
        stacks.append(
            StackCompare(
                name=stack.name,
                fungus=stack.fungus,
                wood=stack.wood,
                horizon_months=fungus.horizon_months,
                options=options,
                ties=ties_of(options),
                thresholds=thresholds_of(kind),
                parameters=parameters,
                fungus_caution=fungus.caution,
                past=past_years(
                    kind,
                    Scheme(canopy=yard.canopy, covers=stack.covers, waterings=stack.waterings),
                ),
            )
        )
    return CompareResult(
        yard_name=yard.name,
        invented=yard.invented,
        first_year=min(used),
        last_year=max(used),
        years=len(used),
        draws=draws,
        tolerated_chance=yard.costs.tolerated_chance,
        currency=yard.costs.currency,
        units=yard.units,
        stacks=tuple(stacks),
        sources=sources_used(p for stack in stacks for p in stack.parameters),
        coverage=coverage,
        inputs=inputs,
        water_residual=water,
        energy_residual=energy,
    )


def _options(
    yard: Yard,
    kind: StackModel,
    years: tuple[int, ...],
    draws: int,
    progress: Progress,
    threads: int | None,
) -> tuple[tuple[OptionResult, ...], tuple[ParameterUsed, ...], tuple[float, float]]:
    """Every option of one kind of stack, best first, what they drew from, and the largest
    residuals."""
    found: list[tuple[OptionResult, Outcomes]] = []
    schemes = []
    water, energy = 0.0, 0.0
    rows = start_rows(kind, years, draws, kind.start_day, 0)
    canopies = yard.compare.canopies
    for place, canopy in enumerate(canopies):
        planned = []
        for cover in yard.compare.covers:
            for watering in yard.compare.waterings:
                scheme = _scheme(kind, yard, canopy, cover, watering)
                unknowns = len(kind.parameter_set(scheme).unknowns())
                sample = latin_hypercube(len(years) * draws, unknowns, SEED)
                blocks = new_blocks(kind, scheme, sample)
                jobs = jobs_for(kind, scheme, blocks, rows, 0, kind.hours)
                planned.append((scheme, jobs))
        advance(
            [job for _, jobs in planned for job in jobs],
            part_of(progress, place, len(canopies)),
            threads,
        )
        for scheme, jobs in planned:
            ends = collect(kind, scheme, [job.block for job in jobs], years, draws)
            water, energy = max(water, ends.water_residual), max(energy, ends.energy_residual)
            schemes.append(scheme)
            found.append((option_result(ends, scheme, yard.costs), ends))
    found.sort(key=lambda pair: rank(pair[0]))
    of_first = found[0][1]
    results = [
        replace(
            result,
            level=level_of(ends),
            difference=None if ends is of_first else difference(ends, of_first),
        )
        for result, ends in found
    ]
    return tuple(results), parameters_used(kind, schemes), (water, energy)


def ties_of(options: tuple[OptionResult, ...]) -> tuple[Tie, ...]:
    """Options that a number nobody has measured may put before the first."""
    return tuple(
        Tie(ranks=(0, place), unknown=option.difference.turns_on)
        for place, option in enumerate(options)
        if option.difference is not None and option.difference.turns_on is not None
    )


def rank(option: OptionResult) -> tuple[float, float, float]:
    """What options are ordered by, the best first.

    The chance of loss, to the nearest 1 %.  Many options lose no stack in any past year; of
    these the one with most in reserve comes first, by the middle run's moisture at its driest
    spawn face to the nearest 1 %; then the cheaper (our own choice).
    """
    driest = round(option.moisture_driest_face_pct[1])
    return round(option.shares.lost, 2), -driest, option.cost.option


def _scheme(
    kind: StackModel, yard: Yard, canopy: str, cover: CoverOption, watering: WateringOption
) -> Scheme:
    end = months_after(kind.stack.inoculated, BAG_MONTHS)
    covers = tuple(
        replace(span, off=end) if span.kind == "bag" and end < kind.horizon else span
        for span in cover.spans
    )
    return Scheme(
        canopy=canopy,
        covers=covers,
        waterings=warm_season_watering(kind, yard, watering),
    )


def warm_season_watering(
    kind: StackModel, yard: Yard, watering: WateringOption
) -> tuple[Watering, ...]:
    """An option's doses in every May to September of the run, November to March in the south."""
    if watering.litres == 0.0:
        return ()
    south = yard.site.latitude < 0.0
    first_month, last_month = (11, 3) if south else WATERING_MONTHS
    spans = []
    for year in range(kind.stack.inoculated.year - 1, kind.horizon.year + 1):
        first = date(year, first_month, 1)
        last = date(year + south, last_month, 30 if last_month == 9 else 31)
        first, last = max(first, kind.stack.inoculated), min(last, kind.horizon)
        if first < last:
            spans.append(
                Watering(
                    litres=watering.litres, every_days=watering.every_days, first=first, last=last
                )
            )
    return tuple(spans)
