"""Small places, weathers and stacks that the tests of stand, fungus and risk share."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.engine.blocks import Block, new_blocks
from climate_risk.engine.draws import best_estimate, latin_hypercube
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.options import CoverSpan, Watering
from climate_risk.site import Site
from climate_risk.tables import Canopy, Parameter
from climate_risk.weather.hourly import to_hourly
from climate_risk.weather.record import HourlyWeather, WeatherCoverage, WeatherRecord
from climate_risk.yard import Stack, Yard, read_yard

FloatArray = npt.NDArray[np.float64]

NORTH = Site(latitude=42.5, longitude=-72.2, elevation_m=300.0)
SOUTH = Site(latitude=-42.5, longitude=147.0, elevation_m=300.0)

YARD = """
[yard]
name = "Test yard"
invented = true
latitude = {latitude}
longitude = -72.2
elevation = "300 m"
canopy = "deciduous"
units = "metric"

[weather]
file = "weather.csv"

[[stack]]
name = "Row"
count = 12
fungus = "grey oyster"
wood = "aspen"
felled = {year}-03-20
inoculated = {year}-04-12
pieces = 1
piece_length = "20 cm"
diameter = "15 cm"
cap_thickness = "5 cm"

[compare]
canopies = ["open", "conifer"]
covers = ["none", "paper bag"]
waterings = ["none", "4 L every 14 days"]
"""


def daily_table(first: str, last: str, *, south: bool = False, seed: int = 1) -> pd.DataFrame:
    """Invented daily weather of 2000 to 2024, a day the same whatever the span; our columns."""
    days = pd.date_range("2000-01-01", "2024-12-31", name="date")
    rng = np.random.default_rng(seed)
    turn = 2.0 * np.pi * (days.day_of_year.to_numpy() - 200.0) / 365.25
    season = np.cos(turn) * (-1.0 if south else 1.0)
    mean = 9.0 + 12.0 * season + rng.normal(0.0, 3.0, len(days))
    span = rng.uniform(6.0, 15.0, len(days))
    wet = rng.random(len(days)) < 0.3
    table = pd.DataFrame(
        {
            "air_temp_min_c": mean - span / 2.0,
            "air_temp_mean_c": mean,
            "air_temp_max_c": mean + span / 2.0,
            "dew_point_c": mean - span / 2.0 - 1.0,
            "precip_mm": np.where(wet, rng.gamma(1.0, 8.0, len(days)), 0.0),
            "wind_ms": rng.uniform(1.0, 5.0, len(days)),
            "shortwave_mj_m2": (13.0 + 8.0 * season) * np.where(wet, 0.5, 1.0),
        },
        index=days,
    )
    return table.round(3).loc[first:last]


def coverage(table: pd.DataFrame) -> WeatherCoverage:
    """A record without a gap."""
    return WeatherCoverage(
        source="weather.csv",
        first=table.index[0].date(),
        last=table.index[-1].date(),
        days=len(table),
        filled={},
        estimated={},
        warnings=(),
        attribution="",
    )


def hours_of(table: pd.DataFrame, site: Site) -> HourlyWeather:
    """Hours of a whole daily table, all of it observed."""
    table = table.assign(pressure_hpa=980.0)
    quality = pd.DataFrame("observed", index=table.index, columns=table.columns)
    record = WeatherRecord(table=table, quality=quality, step="daily", coverage=coverage(table))
    return to_hourly(record, site)


def make_record(first: str, last: str, site: Site = NORTH) -> Record:
    """Invented weather of a site, ready to run."""
    table = daily_table(first, last, south=site.latitude < 0.0)
    return Record(hours_of(table, site), site)


def steady_weather(
    air_temp_c: float, vapour_pressure_kpa: float, *, days: int = 1, shortwave_mj_m2: float = 0.0
) -> HourlyWeather:
    """The same hour over and over from 1 July 2021 on, at 3 m/s and without rain."""
    hours = days * 24
    flat = np.ones(hours)
    return HourlyWeather(
        time=np.datetime64("2021-07-01T00", "h") + np.arange(hours),
        air_temp_c=air_temp_c * flat,
        vapour_pressure_kpa=vapour_pressure_kpa * flat,
        wind_10m_ms=3.0 * flat,
        precip_mm=0.0 * flat,
        pressure_hpa=1013.25 * flat,
        shortwave_w_m2=shortwave_mj_m2 / (24 * 3.6e-3) * flat,
        beam_normal_w_m2=0.0 * flat,
        diffuse_w_m2=0.0 * flat,
        sun_elevation_deg=-10.0 * flat,
        sun_azimuth_deg=0.0 * flat,
        observed=flat > 0.0,
    )


def exactly(value: float) -> Parameter:
    """A number without doubt."""
    return Parameter(
        value=value, low=value, high=value, unit="1", source="judgement", confidence="D"
    )


def with_transmittance(canopy: Canopy, transmittance: float) -> Canopy:
    """The same canopy, lighter or darker, with and without leaves."""
    share = exactly(transmittance)
    return replace(canopy, diffuse_transmittance_on=share, diffuse_transmittance_off=share)


def write_yard(folder: Path, *, year: int = 2010, latitude: float = 42.5) -> Path:
    """A yard file of one small stack; its weather.csv is for the test to write."""
    path = folder / "yard.toml"
    path.write_text(YARD.format(year=year, latitude=latitude), encoding="utf-8")
    return path


def small_yard(folder: Path, **changes: int | float) -> Yard:
    """The same, read."""
    return read_yard(write_yard(folder, **changes))  # type: ignore[arg-type]


def small_stack(
    *,
    inoculated: date = date(2010, 4, 12),
    felled: date | None = None,
    fungus: str = "grey oyster",
    wood: str = "aspen",
    piece_length_m: float = 0.2,
    start_moisture: float | None = None,
    covers: tuple[CoverSpan, ...] = (),
    waterings: tuple[Watering, ...] = (),
) -> Stack:
    """One piece and a cap."""
    return Stack(
        name="Row",
        count=12,
        fungus=fungus,
        wood=wood,
        felled=felled,
        cut=None,
        inoculated=inoculated,
        start_moisture=start_moisture,
        pieces=1,
        piece_length_m=piece_length_m,
        diameter_m=0.15,
        cap_thickness_m=0.05,
        spawn_depth_m=0.006,
        ground_barrier="paper",
        covers=covers,
        waterings=waterings,
    )


def fresh(kind: StackModel, scheme: Scheme, draws: int = 0) -> Block:
    """One block of new stacks: the best estimate in every case, or so many draws in turn."""
    unknowns = len(kind.parameter_set(scheme).unknowns())
    sample = latin_hypercube(draws, unknowns, 1) if draws else best_estimate(unknowns)
    return new_blocks(kind, scheme, sample)[0]


def model_of(record: Record, stack: Stack | None = None) -> StackModel:
    """A stack cut into cells, with no gap in the canopy."""
    return stack_model(stack or small_stack(), record, 0.0)
