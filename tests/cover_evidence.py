"""Bag against bare over sun, wind, rain and permeance: what tests and notebook share.

The weather is invented and plain: thirty warm, clear days at 42.5 N in July, the same every day.
It is no place's weather; it shows what a bag does, all else held.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.log import layout as at

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.engine import hours as kernel
from climate_risk.engine.blocks import Block, Job, advance, new_blocks
from climate_risk.engine.draws import best_estimate
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.log.state import stored_water_kg
from climate_risk.microclimate.stand import StandWeather, below_canopy
from climate_risk.options import CoverSpan, Watering
from climate_risk.tables import canopies
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa
from climate_risk.weather.record import HourlyWeather

FloatArray = npt.NDArray[np.float64]

DAYS = 30
FIRST = np.datetime64("2021-07-01", "D")
SUN = {"open": 1.0, "thinned": 0.25, "deep shade": 0.03}
"""Diffuse transmittance of what is overhead."""
WIND_MS = (0.3, 1.0, 3.0)
"""At the stack, not at 10 m."""
RAIN_MM = (0.0, 100.0)
"""In the thirty days, a tenth of it every third day."""
BAGS = {"bare": None, "plastic": 0.5, "paper, tight": 0.0, "paper": 0.5, "paper, loose": 1.0}
"""Quantile of the bag's vapour conductance in its table range."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One weather over the stack."""

    sun: str
    wind_ms: float
    rain_mm: float
    closed_share: float = 0.0
    """Share of the air's vapour deficit taken away, as moist ground inside a bag would."""


CASES = tuple(
    Case(sun=sun, wind_ms=wind, rain_mm=rain)
    for sun, wind, rain in itertools.product(SUN, WIND_MS, RAIN_MM)
)


def weather(case: Case) -> HourlyWeather:
    """Hours of the same clear day over and over: 16 to 29 degC, vapour of a dew point of 13."""
    table = samples.daily_table("2021-07-01", "2021-07-30")
    table = table.assign(
        air_temp_min_c=16.0,
        air_temp_mean_c=22.5,
        air_temp_max_c=29.0,
        dew_point_c=13.0,
        wind_ms=case.wind_ms / canopies()["open"].wind_ratio_on.value,
        shortwave_mj_m2=26.0,
        precip_mm=np.where(np.arange(DAYS) % 3 == 0, 0.1 * case.rain_mm, 0.0),
    )
    hours = samples.hours_of(table, samples.NORTH)
    room = saturation_vapour_pressure_kpa(hours.air_temp_c)
    vapour = np.minimum(hours.vapour_pressure_kpa, room)
    return replace(
        hours,
        wind_10m_ms=np.full(hours.air_temp_c.size, table["wind_ms"].iloc[0]),
        vapour_pressure_kpa=vapour + case.closed_share * (room - vapour),
    )


def stand(case: Case) -> StandWeather:
    """Under a canopy that takes sun and nothing else, so that sun alone differs."""
    shaded = samples.with_transmittance(canopies()["open"], SUN[case.sun])
    return below_canopy(weather(case), shaded, samples.NORTH)


def join(parts: Sequence[StandWeather]) -> StandWeather:
    """One stand after the other, as if one record held them all."""
    names = [field.name for field in fields(StandWeather)]
    return StandWeather(**{n: np.concatenate([getattr(p, n) for p in parts]) for n in names})


def stack_in(cases: Sequence[Case]) -> StackModel:
    """Two pieces of aspen a foot wide with a cap, moist, in a record that holds every case."""
    one = weather(cases[0])
    hours = DAYS * 24 * len(cases)
    long = {
        field.name: np.tile(getattr(one, field.name), len(cases))
        for field in fields(HourlyWeather)
    }
    long["time"] = one.time[0] + np.arange(hours)
    record = Record(HourlyWeather(**long), samples.NORTH)
    record._stands["open", 0.0] = join([stand(case) for case in cases])
    stack = replace(
        samples.small_stack(inoculated=FIRST.item(), start_moisture=0.9),
        pieces=2,
        piece_length_m=0.25,
        diameter_m=0.25,
    )
    return stack_model(stack, record, 0.0)


def scheme_of(bag: str, litres: float = 0.0) -> Scheme:
    """The open, with a bag or none, and water that falls on the top on the days of rain."""
    material = bag.split(",")[0]
    covers = () if bag == "bare" else (CoverSpan(kind="bag", material=material),)
    first, last = FIRST.item(), (FIRST + DAYS - 1).item()
    dose = Watering(litres=litres, every_days=3, first=first, last=last)
    return Scheme(canopy="open", covers=covers, waterings=(dose,) if litres > 0.0 else ())


def run(kind: StackModel, scheme: Scheme, bag: str, cases: int) -> Block:
    """Every case in a case of its own."""
    names = list(kind.parameter_set(scheme).unknowns())
    quantiles = np.repeat(best_estimate(len(names)), at.CASES, axis=0)
    if BAGS[bag] is not None:
        quantiles[:, names.index("bag.vapour_conductance_m_s")] = BAGS[bag]
    block = new_blocks(kind, scheme, quantiles)[0]
    starts = (np.arange(at.CASES) % cases) * DAYS * 24
    job = Job(
        kind=kind,
        scheme=scheme,
        block=block,
        start_rows=starts.astype(np.int64),
        first_hour=0,
        last_hour=DAYS * 24,
    )
    advance([job])
    return block


def factorial(
    cases: Sequence[Case] = CASES, bags: Sequence[str] = tuple(BAGS), litres: float = 0.0
) -> pd.DataFrame:
    """A row per case and cover: hottest bark, water lost, driest face after thirty days.

    ``litres`` falls on the top every third day whatever the cover: rain that soaks through.
    """
    kind = stack_in(cases)
    rows = []
    for bag in bags:
        block = run(kind, scheme_of(bag, litres), bag, len(cases))
        lost = block.water_first_kg - stored_water_kg(kind.grid, kind.curves, block.a)
        for place, case in enumerate(cases):
            rows.append(
                {
                    "sun": case.sun,
                    "closed_share": case.closed_share,
                    "wind_ms": case.wind_ms,
                    "rain_mm": case.rain_mm,
                    "cover": bag,
                    "bark_peak_c": block.daily[:, kernel.D_BARK_MAX, place].max(),
                    "core_peak_c": block.daily[:, kernel.D_CORE_MEAN, place].max(),
                    "water_lost_kg": lost[place],
                    "driest_face_pct": block.daily[-1, kernel.D_DRIEST_FACE, place],
                }
            )
    return pd.DataFrame(rows)


def bag_minus_bare(table: pd.DataFrame) -> pd.DataFrame:
    """The same, as the difference that each bag makes."""
    keys = ["sun", "wind_ms", "rain_mm"]
    values = ["bark_peak_c", "core_peak_c", "water_lost_kg", "driest_face_pct"]
    bare = table[table["cover"] == "bare"].set_index(keys)[values]
    bagged = table[table["cover"] != "bare"].set_index([*keys, "cover"])[values]
    return bagged.sub(bare).reset_index()


SACK_DIAMETER_M = 0.40
SACK_HEIGHT_M = 0.60
STACK_DIAMETER_M = 0.25
OUTER_FILM_M_S = 4.3e-3
"""Churchill and Bernstein 1977 at 0.3 m/s by the Lewis analogy."""


def ground_share(
    paper_m_s: float, leak_m_s: float, ground_m_s: float, ground_deficit_ratio: float
) -> float:
    """Share of a bag's vapour deficit that moist ground inside its foot closes, by hand.

    Vapour comes up from the ring of ground between stack and sack and leaves through the paper
    and the leaks; the log itself is left out.

    Parameters
    ----------
    paper_m_s, leak_m_s : float
        As in the table of bags; the leak counts per area of log, the paper per area of sack.
    ground_m_s : float
        Conductance of litter and still air.
    ground_deficit_ratio : float
        Saturated vapour at the ground's temperature less that of the air, over the air's own
        deficit: below 1 since the ground is cooler than the air by day.
    """
    ring = np.pi / 4.0 * (SACK_DIAMETER_M**2 - STACK_DIAMETER_M**2)
    sack = np.pi * SACK_DIAMETER_M * (SACK_HEIGHT_M + SACK_DIAMETER_M / 4.0)
    log = np.pi * STACK_DIAMETER_M * (SACK_HEIGHT_M + STACK_DIAMETER_M / 4.0)
    out = sack / (1.0 / paper_m_s + 1.0 / OUTER_FILM_M_S) + log * leak_m_s
    up = ring * ground_m_s
    return float(ground_deficit_ratio * up / (up + out))
