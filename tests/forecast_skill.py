"""What a forecast gains: the first fortnight of an outlook with and without one.

``python tests/forecast_skill.py`` prints a table of ``tests/weather_errors.md``. There is no
archive of forecasts here, so the days that came stand for the forecast: as they were (the best
that any forecast can do); with errors of air temperature as large as a service's own (mean
absolute error 2 F on day 1 rising to 5 F on day 7: National Weather Service
Milwaukee/Sullivan, verification of November 2011 highs, published 16 November 2012), one error
from day to day; and, besides that, with the rain of another year, which is worse than any service.
Real weather of central Iowa (tests/data), bare aspen with grey oyster.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from climate_risk.engine.blocks import Block, advance, branch
from climate_risk.engine.hours import D_BARK_MAX, D_DRIEST_FACE
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.risk.ensemble import jobs_for
from climate_risk.risk.outlook import look_at_all
from climate_risk.site import Site
from climate_risk.weather import load_weather, to_hourly
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa
from climate_risk.weather.record import Doubt, FloatArray, HourlyWeather
from climate_risk.yard import read_yard

DATA = Path(__file__).parent / "data"
SITE = Site(latitude=42.03, longitude=-93.65, elevation_m=300.0)
AHEAD, SHOWN = 7, 14
CASES = ("none", "as it came", "its errors in temperature", "and the rain of another year")
MEASURES = ("face day 3", "face day 7", "face day 14", "bark days 1-3", "bark days 1-7")


def cut(weather: HourlyWeather, hours: int, forecast_days: int = 0) -> HourlyWeather:
    """The first hours of a record."""

    def first(of: HourlyWeather | Doubt) -> dict[str, FloatArray]:
        values = {f.name: getattr(of, f.name) for f in fields(of)}
        return {n: v[:hours] for n, v in values.items() if isinstance(v, np.ndarray)}

    doubt = Doubt(**first(weather.doubt))
    return replace(weather, **first(weather), doubt=doubt, forecast_days=forecast_days)


def with_errors(
    weather: HourlyWeather, rng: np.random.Generator, rain: FloatArray | None
) -> HourlyWeather:
    """The last week of a record, forecast as badly as a service does."""
    day = np.arange(AHEAD)
    # Of normal errors the standard deviation is sqrt(pi / 2) of the mean absolute one.
    size = (2.0 + 3.0 * day / 6.0) / 1.8 * np.sqrt(np.pi / 2.0)
    error = np.zeros_like(weather.air_temp_c)
    error[-AHEAD * 24 :] = np.repeat(size * rng.standard_normal(), 24)
    air = weather.air_temp_c + error
    vapour = np.minimum(weather.vapour_pressure_kpa, saturation_vapour_pressure_kpa(air))
    fallen = weather.precip_mm.copy()
    if rain is not None:
        fallen[-AHEAD * 24 :] = rain
    return replace(weather, air_temp_c=air, vapour_pressure_kpa=vapour, precip_mm=fallen)


def of_days(days: FloatArray) -> FloatArray:
    """What is measured, (measures, cases), of (days, columns, cases)."""
    face, bark = days[:, D_DRIEST_FACE], days[:, D_BARK_MAX]
    hot = [bark[:3].max(axis=0), bark[:7].max(axis=0)]
    return np.stack([face[2], face[6], face[13], *hot])


def on_from(kind: StackModel, as_of: date) -> tuple[FloatArray, FloatArray]:
    """Median of the outlook, and the truth where the record goes on to it."""
    scheme = Scheme(canopy="open")
    outlook = look_at_all(kind, [scheme], as_of, 1)[0]
    blocks = outlook.carry_reference_on(outlook.scheme)
    days = np.concatenate([b.daily for b in blocks], axis=-1)[:, :, : len(outlook.years)]
    told = np.median(of_days(days), axis=-1)
    real: list[Block] = branch(outlook.seen, np.zeros(1, dtype=np.int64))
    hours = outlook.seen_hours
    if kind.record.last < kind.horizon:
        return told, told
    start = [np.full(real[0].booked.shape[1], kind.record.row(kind.start_day), dtype=np.int64)]
    advance(jobs_for(kind, scheme, real, start, hours, hours + SHOWN * 24))
    return told, of_days(real[0].daily)[:, 0]


def model(record: Record, as_of: date) -> StackModel:
    """A bare stack of April, to a fortnight after a day."""
    stack = replace(read_yard(DATA / "full_yard.toml").stacks[0], start_moisture=0.8, felled=None,
                    inoculated=date(as_of.year, 4, 12), fungus="grey oyster", covers=(),
                    waterings=())  # fmt: skip
    return replace(stack_model(stack, record, 0.0), horizon=as_of + timedelta(days=SHOWN + 1))


def errors(years: range) -> Iterator[FloatArray]:
    """Absolute errors, (cases, measures), of one outlook after the other."""
    whole = to_hourly(load_weather(DATA / "iowa_1990_2020.csv.gz", SITE), SITE)
    full = Record(whole, SITE)
    rng = np.random.default_rng(8)
    for year in years:
        for month in (5, 6, 7, 8):
            as_of = date(year, month, 15)
            none, truth = on_from(model(full, as_of), as_of)
            cut_at = full.row(as_of) + 24 + AHEAD * 24
            ahead = cut(whole, cut_at, AHEAD)
            donor = full.row(date(int(rng.integers(1991, year)), month, 16))
            rain = whole.precip_mm[donor : donor + AHEAD * 24]
            state = rng.bit_generator.state
            warm = with_errors(ahead, rng, None)
            rng.bit_generator.state = state  # the same errors, with other rain
            other_rain = with_errors(ahead, rng, rain)
            told = [none]
            for weather in (ahead, warm, other_rain):
                told.append(on_from(model(Record(weather, SITE), as_of), as_of)[0])
            yield np.abs(np.stack(told) - truth)


def mean_errors(years: range) -> FloatArray:
    """(cases, measures) mean absolute errors."""
    return np.mean(list(errors(years)), axis=0)


def main() -> None:
    print("| forecast |", " | ".join(MEASURES), "|")
    print("| --- |", " | ".join("---" for _ in MEASURES), "|")
    for name, row in zip(CASES, mean_errors(range(2010, 2020)), strict=True):
        print(f"| {name} |", " | ".join(f"{value:.2f}" for value in row), "|")


if __name__ == "__main__":
    main()
