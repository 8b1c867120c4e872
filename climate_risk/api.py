"""The few entry points that the commands, notebooks and other programs call."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

from climate_risk import yard as yard_file
from climate_risk.errors import InputError
from climate_risk.options import parse_cover_option
from climate_risk.tables import canopies, find
from climate_risk.yard import Stack, Yard

if TYPE_CHECKING:
    import pandas as pd

    from climate_risk.engine.record import Record
    from climate_risk.progress import Progress
    from climate_risk.region.results import RegionMap
    from climate_risk.risk.actions import Effort
    from climate_risk.risk.hindsight import Hindcast
    from climate_risk.risk.results import SeasonResult
    from climate_risk.risk.results_compare import CompareResult
    from climate_risk.risk.results_plan import PlanResult
    from climate_risk.weather.record import WeatherCoverage


@dataclass(frozen=True)
class Weather:
    """Checked weather at a yard, ready for any number of runs."""

    record: Record
    coverage: WeatherCoverage
    table: pd.DataFrame
    """Canonical columns, daily or hourly."""
    quality: pd.DataFrame
    """A flag beside every value of ``table``."""
    inputs: dict[str, str]
    """File name -> SHA-256."""


def read_yard(path: Path | str, *, units: str | None = None) -> Yard:
    """Read and check a yard file; see :func:`climate_risk.yard.read_yard`.

    Parameters
    ----------
    units : str, optional
        ``us`` or ``metric``, in place of what the file says.
    """
    yard = yard_file.read_yard(path)
    return replace(yard, units=cast(Literal["us", "metric"], units)) if units else yard


def load_weather(
    yard: Yard,
    *,
    source: str | Path | None = None,
    first: date | None = None,
    last: date | None = None,
) -> Weather:
    """Read or fetch a yard's weather, check it, fill its gaps and split it to hours.

    Parameters
    ----------
    source : str or Path, optional
        ``meteostat`` or a file; by default the yard's own file, or else ``meteostat``.
    first, last : date, optional
        Days wanted; all that the source has by default.

    Raises
    ------
    InputError, RunError
        As :func:`climate_risk.weather.load_weather`.
    """
    from climate_risk.engine.record import Record
    from climate_risk.engine.reference import late_starts
    from climate_risk.microclimate.stand_log import read_log
    from climate_risk.weather import load_sources, to_hourly

    options = yard.weather.named(source)
    checked = load_sources(options, yard.site, first, last)
    hourly = to_hourly(checked, yard.site)
    log, notes = read_log(yard, options, hourly, first, last)
    inputs = {yard.path.name: yard.sha256}
    used = (*options.sources, *([options.history] if options.history else []))
    for path in (each.file for each in used if each.file):
        inputs[path.name] = hashlib.sha256(path.read_bytes()).hexdigest()
    record = Record(hourly, yard.site, log)
    notes = (*checked.coverage.warnings, *notes, *late_starts(yard.stacks, record.first))
    told = (*checked.coverage.given, *(log[0].given() if log else ()))
    coverage = replace(checked.coverage, warnings=notes, given=told)
    return Weather(
        record=record,
        coverage=coverage,
        table=checked.table,
        quality=checked.quality,
        inputs=inputs,
    )


def simulate(
    yard: Yard,
    weather: Weather,
    stack: Stack,
    *,
    canopy: str | None = None,
    cover: str | None = None,
    until: date | None = None,
) -> pd.DataFrame:
    """One reference run of one stack through the weather; see
    :func:`climate_risk.engine.reference.simulate`.

    Parameters
    ----------
    stack : Stack
        One of ``yard.stacks``, or a variation of it; its waterings apply as written.
    canopy : str, optional
        In place of the yard's.
    cover : str, optional
        Over the whole run, in place of the stack's own covers: ``none`` or covers such as
        ``paper bag + shade cloth 60``.
    until : date, optional
        Last day to run; without it, to the stack's horizon or the end of the weather.

    Raises
    ------
    InputError
        No such canopy or cover, or the weather does not hold the stack's start.
    """
    from climate_risk.engine.reference import simulate as run
    from climate_risk.engine.stack import Scheme, horizon_of, stack_model

    try:
        covers = stack.covers
        if cover is not None:
            covers = parse_cover_option(cover).dated(
                yard.site, stack.inoculated, horizon_of(stack)
            )
    except ValueError as error:
        raise InputError(f"cover {error}") from error
    scheme = Scheme(
        canopy=find(canopy, canopies(), "canopy").name if canopy else yard.canopy,
        covers=covers,
        waterings=stack.waterings,
    )
    kind = stack_model(stack, weather.record, yard.openness, yard.canopy)
    return run(kind, scheme, until or weather.record.last, weather.coverage.source)


def season(
    yard: Yard,
    weather: Weather,
    *,
    as_of: date | None = None,
    draws: int | None = None,
    effort: Effort | None = None,
    progress: Progress | None = None,
) -> SeasonResult:
    """This year's stacks to date and their outlook; see :func:`climate_risk.risk.season.season`.

    Parameters
    ----------
    as_of : date, optional
        Last day to take as seen; the last day of the weather by default.
    draws : int, optional
        Parameter draws a year; as many as keep a chance's error from them under 2 points by
        default.
    effort : Effort, optional
        How many acts are tried; :data:`climate_risk.risk.actions.THOROUGH` by default.
    progress : callable, optional
        Told the share done, 0 to 1.
    """
    from climate_risk.risk.actions import THOROUGH
    from climate_risk.risk.season import season as run
    from climate_risk.weather.own_readings import read_measurements

    inputs, readings = weather.inputs, None
    if yard.measured is not None:
        readings = read_measurements(yard.measured, yard.site.utc_offset_hours)
        inputs = {**inputs, **readings.inputs}
    return run(
        yard,
        weather.record,
        weather.coverage,
        inputs,
        as_of=as_of or weather.record.last,
        draws=draws,
        readings=readings,
        effort=effort or THOROUGH,
        progress=progress,
    )


def compare(
    yard: Yard,
    weather: Weather,
    *,
    years: tuple[int, int] | None = None,
    draws: int | None = None,
    progress: Progress | None = None,
) -> CompareResult:
    """Every option over the past years; see :func:`climate_risk.risk.compare.compare`."""
    from climate_risk.risk.compare import compare as run

    return run(
        yard,
        weather.record,
        weather.coverage,
        weather.inputs,
        years=years,
        draws=draws,
        progress=progress,
    )


def map_region(
    yard: Yard,
    grid: str | Path,
    *,
    work: str | Path | None = None,
    scheduler: str | None = None,
    years: tuple[int, int] | None = None,
    draws: int | None = None,
    progress: Progress | None = None,
) -> RegionMap:
    """The yard's options in every cell of gridded weather; see
    :func:`climate_risk.region.run.run_region`.

    Parameters
    ----------
    grid : str or Path
        A netCDF file, a folder of them, or a zarr store.
    work : str or Path, optional
        Folder where finished blocks are kept, so that a run that was killed goes on; they stay
        there. Without it nothing is kept.
    scheduler : str, optional
        Address of a dask scheduler; this machine by default.
    """
    import tempfile

    from climate_risk.engine.draws import DRAWS
    from climate_risk.region.run import run_region

    with tempfile.TemporaryDirectory() as folder:
        return run_region(
            yard,
            Path(grid),
            work=Path(work or folder),
            scheduler=scheduler,
            years=years,
            draws=draws or DRAWS,
            progress=progress,
        )


def hindcast(
    yard: Yard,
    *,
    source: str | Path | None = None,
    draws: int = 4,
    progress: Progress | None = None,
) -> tuple[Hindcast, ...]:
    """Outlooks of the past years at a yard against what came, one entry a stack.

    A logger in the stand is left aside: it has seen the years that are to be foretold.

    Parameters
    ----------
    source : str or Path, optional
        As :func:`load_weather`.
    draws : int
        Of the unknowns, for each year carried on.

    Raises
    ------
    InputError, RunError
        As :func:`climate_risk.risk.hindcast.hindcast` and :func:`load_weather`.
    """
    from climate_risk.progress import part_of
    from climate_risk.risk.hindcast import hindcast as run
    from climate_risk.risk.hindcast import records_without
    from climate_risk.weather import load_left_out, load_sources

    options = replace(yard.weather.named(source), forecast=False)
    coverage = load_sources(options, yard.site).coverage
    without = records_without(lambda days: load_left_out(options, yard.site, days), yard.site)
    return tuple(
        run(
            yard,
            stack,
            without,
            source=coverage.source,
            draws=draws,
            progress=part_of(progress, place, len(yard.stacks)),
        )
        for place, stack in enumerate(yard.stacks)
    )


def plan(yard: Yard, weather: Weather | None = None) -> PlanResult:
    """The batch: cuts, spawn, weights, costs and weeks; see :func:`climate_risk.risk.plan.plan`.

    Parameters
    ----------
    weather : Weather, optional
        The site's past weather; without it the weeks are left out.
    """
    from climate_risk.risk.plan import plan as run

    if weather is None:
        return run(yard)
    return run(yard, weather.record, weather.coverage, weather.inputs)
