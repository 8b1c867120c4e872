"""One cell through the same chain as `compare`, and a block of cells one after the other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.compare_options import CompareOptions
from climate_risk.engine.record import Record
from climate_risk.errors import InputError, RunError
from climate_risk.interventions import Watering
from climate_risk.options import WateringOption
from climate_risk.region.results import MISSING, RUN, SEA, SHORT, MapOption
from climate_risk.region.series import raw_weather
from climate_risk.region.store import source_of_the_package
from climate_risk.region.variables import Conversion, Step
from climate_risk.risk.chance import FEWEST_YEARS
from climate_risk.risk.compare import compare
from climate_risk.risk.results import Chance
from climate_risk.risk.results_compare import CompareResult
from climate_risk.site import Site
from climate_risk.weather import to_hourly
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.quality import check
from climate_risk.weather.record import RawWeather
from climate_risk.yard import Yard

if TYPE_CHECKING:
    import xarray as xr

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

HEAD = ("state", "observed", "water_residual", "energy_residual")
"""Numbers of a cell; then for each stack years and best, and for each option a chance: its mean,
ends and error of the draws."""
OF_STACK, OF_OPTION = 2, 4


@dataclass(frozen=True, kw_only=True)
class Chain:
    """What is the same for every cell of a region."""

    program: str
    """Digest of the source: a worker of another version is refused."""
    yard: Yard
    years: tuple[int, int] | None
    draws: int
    source: str
    step: Step
    times: pd.DatetimeIndex
    conversions: dict[str, Conversion]
    running: frozenset[str]
    lag_h: int
    is_morning_day: bool

    @property
    def numbers(self) -> int:
        """Of one cell."""
        per_stack = OF_STACK + OF_OPTION * len(map_options(self.yard))
        return len(HEAD) + len(self.yard.stacks) * per_stack


@dataclass(frozen=True, kw_only=True)
class Block:
    """A rectangle of cells, its weather still to be read."""

    rows: slice
    columns: slice
    data: xr.Dataset
    latitude: FloatArray
    longitude: FloatArray
    elevation_m: FloatArray
    land: BoolArray | None


def stand_lists(options: CompareOptions) -> CompareOptions:
    """The lists of canopies, covers and waterings alone: every stack of a map is built alike."""
    return CompareOptions(
        canopies=options.canopies, covers=options.covers, waterings=options.waterings
    )


def map_options(yard: Yard) -> tuple[MapOption, ...]:
    """The options as they are labelled; dates, which differ between hemispheres, are not shown."""
    first = yard.stacks[0]
    return tuple(
        MapOption(
            canopy=canopy or yard.canopy,
            covers=first.covers if cover is None else cover.spans,
            waterings=first.waterings if watering is None else _doses(watering, first.inoculated),
        )
        for canopy in yard.compare.canopies
        for cover in yard.compare.covers
        for watering in yard.compare.waterings
    )


def _doses(watering: WateringOption, day: date) -> tuple[Watering, ...]:
    if not watering.litres:
        return ()
    return (Watering(litres=watering.litres, every_days=watering.every_days, first=day, last=day),)


def run_block(block: Block, chain: Chain) -> FloatArray:
    """(rows, columns, numbers) of a block, read and run in this thread alone."""
    if source_of_the_package() != chain.program:
        raise RunError(
            "a worker has another version of climate-risk than this machine; accepted is the same "
            "on all, since numbers must not depend on who made them"
        )
    data = block.data.compute(scheduler="synchronous")  # a copy: the block itself stays unread
    values = {str(key): data[key].to_numpy() for key in data}
    rows, columns = block.latitude.shape
    numbers = np.full((rows, columns, chain.numbers), np.nan)
    for row in range(rows):
        for column in range(columns):
            site = replace(
                chain.yard.site,
                latitude=float(block.latitude[row, column]),
                longitude=float(block.longitude[row, column]),
                elevation_m=float(block.elevation_m[row, column]),
            )
            is_land = block.land is None or bool(block.land[row, column])
            series = {key: each[:, row, column] for key, each in values.items()}
            numbers[row, column] = run_cell(series, site, chain, is_land=is_land)
    return numbers


def run_cell(
    series: dict[str, FloatArray], site: Site, chain: Chain, *, is_land: bool = True
) -> FloatArray:
    """(numbers,) of one cell."""
    numbers = np.full(chain.numbers, np.nan)
    if not is_land or all(np.isnan(each).all() for each in series.values()):
        numbers[0] = SEA
        return numbers
    try:
        raw = raw_weather(
            series,
            chain.conversions,
            chain.times,
            site,
            source=chain.source,
            step=chain.step,
            running=chain.running,
            lag_h=chain.lag_h,
            is_morning_day=chain.is_morning_day,
        )
        record, found = compare_cell(raw, site, chain)
    except _NoWeather:
        numbers[0] = MISSING
        return numbers
    numbers[1] = record.weather.observed.mean()
    numbers[0] = SHORT
    if found is not None:
        numbers[2], numbers[3] = found.water_residual, found.energy_residual
        numbers[len(HEAD) :], fewest = _of_stacks(found, chain.yard)
        if fewest >= FEWEST_YEARS:
            numbers[0] = RUN
    return numbers


class _NoWeather(Exception):
    """The cell has no temperature, or no rain."""


def compare_cell(raw: RawWeather, site: Site, chain: Chain) -> tuple[Record, CompareResult | None]:
    """A cell's record, checked and filled, and its options compared; None without past years."""
    try:
        filled = fill_gaps(check(raw, site), site)
    except InputError as error:
        raise _NoWeather from error
    record = Record(to_hourly(filled, site), site)
    yard = replace(chain.yard, site=site, compare=stand_lists(chain.yard.compare))
    try:
        found = compare(
            yard, record, filled.coverage, {}, years=chain.years, draws=chain.draws, threads=1
        )
    except InputError:  # no whole season of some stack
        return record, None
    return record, found


def _told(chance: Chance) -> list[float]:
    error = np.nan if chance.draw_error is None else chance.draw_error
    return [chance.mean, chance.low, chance.high, error]


def _of_stacks(found: CompareResult, yard: Yard) -> tuple[FloatArray, int]:
    """Numbers of every stack in the order of the yard's options, and the fewest years of one."""
    numbers, years = [], []
    for stack in found.stacks:
        by_place = {place: option for option in stack.ranked for place in option.places}
        best = next(iter(by_place))
        years.append(len(by_place[best].years))
        numbers += [float(years[-1]), np.nan if by_place[best].chance is None else float(best)]
        for place in range(len(map_options(yard))):
            chance = by_place[place].chance
            numbers += [np.nan] * OF_OPTION if chance is None else _told(chance)
    return np.array(numbers), min(years)
