"""One cell through the same chain as `compare`, and a block of cells one after the other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.engine.record import Record
from climate_risk.errors import InputError, RunError
from climate_risk.interventions import Watering
from climate_risk.options import CompareOptions, CoverOption, WateringOption
from climate_risk.region.results import MISSING, RUN, SEA, SHORT, MapOption
from climate_risk.region.series import raw_weather
from climate_risk.region.store import source_of_the_package
from climate_risk.region.variables import Conversion, Step
from climate_risk.risk.chance import FEWEST_YEARS
from climate_risk.risk.compare import compare
from climate_risk.risk.results import CompareResult, OptionResult
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
"""Numbers of a cell; then for each stack years and best, and chance, low, high an option."""
OF_STACK, OF_OPTION = 2, 3


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
        per_stack = OF_STACK + OF_OPTION * len(options_of(self.yard.compare))
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


def options_of(options: CompareOptions) -> list[tuple[str, CoverOption, WateringOption]]:
    """Every option of a yard, in the order in which its file names them."""
    return [
        (canopy, cover, watering)
        for canopy in options.canopies
        for cover in options.covers
        for watering in options.waterings
    ]


def map_options(yard: Yard) -> tuple[MapOption, ...]:
    """The options as they are labelled; dates, which differ between hemispheres, are not shown."""
    day = yard.stacks[0].inoculated
    return tuple(
        MapOption(
            canopy=canopy,
            covers=cover.spans,
            waterings=(
                Watering(
                    litres=watering.litres, every_days=watering.every_days, first=day, last=day
                ),
            )
            if watering.litres
            else (),
        )
        for canopy, cover, watering in options_of(yard.compare)
    )


def run_block(block: Block, chain: Chain) -> FloatArray:
    """(rows, columns, numbers) of a block, read and run in this thread alone."""
    if source_of_the_package() != chain.program:
        raise RunError(
            "a worker has another version of climate-risk than this machine; accepted is the same "
            "on all, since numbers must not depend on who made them"
        )
    data = block.data.load(scheduler="synchronous")
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
    yard = replace(chain.yard, site=site)
    try:
        found = compare(
            yard, record, filled.coverage, {}, years=chain.years, draws=chain.draws, threads=1
        )
    except InputError:  # no whole season of some stack
        return record, None
    return record, found


def _of_stacks(found: CompareResult, yard: Yard) -> tuple[FloatArray, int]:
    """Numbers of every stack in the order of the yard's options, and the fewest years of one."""
    places = {option: n for n, option in enumerate(options_of(yard.compare))}
    numbers, years = [], []
    for stack in found.stacks:
        by_place = {places[_key(option)]: option for option in stack.options}
        years.append(len(stack.options[0].years))
        numbers += [float(years[-1]), np.nan]
        if stack.options[0].chance is not None:
            numbers[-1] = float(places[_key(stack.options[0])])
        for place in range(len(places)):
            chance = by_place[place].chance
            numbers += [np.nan] * 3 if chance is None else [chance.mean, chance.low, chance.high]
    return np.array(numbers), min(years)


def _key(option: OptionResult) -> tuple[str, CoverOption, WateringOption]:
    """The yard's option that was run: without the dates that `compare` gave it."""
    spans = tuple(replace(span, on=None, off=None) for span in option.covers)
    dose = option.waterings[0] if option.waterings else None
    watering = WateringOption(litres=dose.litres, every_days=dose.every_days) if dose else None
    return option.canopy, CoverOption(spans=spans), watering or WateringOption()
