"""The stack as written through every past year: hot and dry spells, trends, and the bad years.

Every unknown is at its best estimate, so that years differ by their weather alone.  Spells are
counted over the first twelve months, so that no day counts for two years; harm to the horizon.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine import hours as k
from climate_risk.engine.blocks import Job, new_blocks
from climate_risk.engine.days import shifted
from climate_risk.engine.draws import best_estimate
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.risk.ensemble import jobs_for, start_rows, usable_years
from climate_risk.risk.hindsight import (
    BadYear,
    Departure,
    Measure,
    PastYear,
    PastYears,
    Spells,
    Weather,
)
from climate_risk.risk.thresholds import thresholds_of
from climate_risk.risk.trend import trend_of
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa
from climate_risk.weather.spells import DRY_DAY_MM, HEATWAVE_DAYS, hot_from_c, runs

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

FIRST_YEAR_DAYS = 365
LEAST_DAYS = HEATWAVE_DAYS
NAMED = 3
"""Bad years that are named."""
LEAST_HARM = 0.02
"""Share of the mycelium killed below which a year was not bad (our own choice)."""
HARM_ENDS = (0.1, 0.9)
"""Shares of a year's harm between which its days are named."""
LEAD_DAYS = {"drought": 28, "heat": 0}
"""Wood dries for weeks before it harms; bark is hot at once (our own choice)."""


def past_jobs(kind: StackModel, scheme: Scheme) -> list[Job]:
    """The best estimate under a scheme in every whole past season, to be run; [] without one."""
    years = usable_years(kind, kind.start_day, kind.horizon)
    if not years:
        return []
    sample = np.repeat(
        best_estimate(len(kind.parameter_set(scheme).unknowns())), len(years), axis=0
    )
    blocks = new_blocks(kind, scheme, sample)
    rows = start_rows(kind, years, 1, kind.start_day, 0)
    return jobs_for(kind, scheme, blocks, rows, 0, kind.hours)


def past_years(kind: StackModel, jobs: Sequence[Job]) -> PastYears | None:
    """What :func:`past_jobs` that were run tell of every past season; None where there is none."""
    if not jobs:
        return None
    years = usable_years(kind, kind.start_day, kind.horizon)
    skip = kind.inoculation_hour // HOURS_PER_DAY
    daily = np.concatenate([job.block.daily for job in jobs], axis=-1)[skip:, :, : len(years)]
    weather = _Days(kind.record)
    own, at = kind.stack.inoculated.year, thresholds_of(kind)
    begins = [shifted(kind.stack.inoculated, year - own) for year in years]
    found = []
    for place, (year, begin) in enumerate(zip(years, begins, strict=True)):
        days = daily[:, :, place]
        stress = days[-1, k.D_HEAT_STRESS] + days[-1, k.D_DROUGHT_STRESS]
        days = days[:FIRST_YEAR_DAYS]
        inside = weather.rows(begin, len(days))
        found.append(
            PastYear(
                year=year,
                wood_dry=spells(days[:, k.D_DRIEST_FACE] < at.moisture_stop_pct, LEAST_DAYS),
                bark_hot=spells(days[:, k.D_BARK_MAX] > at.growth_temp_max_c, LEAST_DAYS),
                rainless=spells(weather.is_dry[inside], 1),
                heatwaves=spells(weather.is_hot[inside], HEATWAVE_DAYS),
                killed_share=1.0 - float(2.0**-stress),
            )
        )
    harmed = [n for n, year in enumerate(found) if year.killed_share >= LEAST_HARM]
    worst = sorted(harmed, key=lambda n: -found[n].killed_share)[:NAMED]
    at_years = np.array(years, dtype=np.int64)
    counts: dict[Measure, list[int]] = {
        "wood_dry_d": [y.wood_dry.days for y in found],
        "rainless_longest_d": [y.rainless.longest_d for y in found],
        "bark_hot_d": [y.bark_hot.days for y in found],
        "heatwave_d": [y.heatwaves.days for y in found],
    }
    trends = (trend_of(name, at_years, np.array(of, float)) for name, of in counts.items())
    return PastYears(
        least_days=LEAST_DAYS,
        warm_months=kind.record.site.warm_months,
        years=tuple(found),
        trends=tuple(trend for trend in trends if trend is not None),
        bad=tuple(_why(found[n], daily[:, :, n], begins[n], weather, begins) for n in worst),
    )


def spells(is_on: BoolArray, least: int) -> Spells:
    """Number, days and longest of the runs of ``least`` days or more."""
    lengths = [end - begin for begin, end in runs(is_on, least)]
    return Spells(count=len(lengths), days=sum(lengths), longest_d=max(lengths, default=0))


def _why(
    year: PastYear, days: FloatArray, begin: date, weather: _Days, begins: list[date]
) -> BadYear:
    """Which cause, in which days, in what weather."""
    heat, drought = days[:, k.D_HEAT_STRESS], days[:, k.D_DROUGHT_STRESS]
    is_heat = heat[-1] > drought[-1]
    harm = heat if is_heat else drought
    # Stress wears off; what counts is what came on.
    came = np.cumsum(np.maximum(np.diff(harm, prepend=0.0), 0.0))
    first, last = (int(np.searchsorted(came, share * came[-1])) for share in HARM_ENDS)
    lead = LEAD_DAYS["heat" if is_heat else "drought"]
    since = max(first - lead, 0)
    return BadYear(
        year=year.year,
        cause="heat" if is_heat else "drought",
        killed_share=year.killed_share,
        first=begin + timedelta(days=first),
        last=begin + timedelta(days=last),
        weather_from=begin + timedelta(days=since),
        departures=weather.departures(begin, begins, since, last),
    )


class _Days:
    """Daily weather in the open over a record."""

    def __init__(self, record: Record) -> None:
        weather = record.weather
        self.first = record.first

        def by_day(values: FloatArray) -> FloatArray:
            return values.reshape(-1, HOURS_PER_DAY)

        humidity = weather.vapour_pressure_kpa / saturation_vapour_pressure_kpa(weather.air_temp_c)
        self.values: dict[Weather, FloatArray] = {
            "air_temp_max_c": by_day(weather.air_temp_c).max(axis=1),
            "precip_mm": by_day(weather.precip_mm).sum(axis=1),
            "rel_humidity_pct": by_day(100.0 * humidity).mean(axis=1),
            "shortwave_mj_m2": by_day(weather.shortwave_w_m2).sum(axis=1) * 3.6e-3,
        }
        index = pd.DatetimeIndex(weather.time[::HOURS_PER_DAY])
        warmest = self.values["air_temp_max_c"]
        is_warm = np.asarray(index.month.isin(record.site.warm_months))
        self.is_hot: BoolArray = is_warm & (warmest > hot_from_c(warmest, index))
        self.is_dry: BoolArray = is_warm & (self.values["precip_mm"] < DRY_DAY_MM)

    def rows(self, begin: date, days: int) -> slice:
        row = (begin - self.first).days
        return slice(row, row + days)

    def departures(
        self, begin: date, begins: list[date], since: int, last: int
    ) -> tuple[Departure, ...]:
        """What was off its usual by more than the other years' standard deviation."""
        found = []
        length = last - since + 1
        rows = [self.rows(b + timedelta(days=since), length) for b in begins]
        for name, values in self.values.items():
            of_year = np.array([values[taken].mean() for taken in rows])
            if name == "precip_mm":
                of_year = of_year * length
            others = np.delete(of_year, begins.index(begin))
            own = float(of_year[begins.index(begin)])
            if others.size > 1 and abs(own - others.mean()) > others.std(ddof=1):
                found.append(Departure(weather=name, value=own, usual=float(others.mean())))
        return tuple(found)
