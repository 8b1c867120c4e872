"""Bag against bare over sun, wind, rain, foot and material: what tests and notebook share.

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

from climate_risk.engine import hours
from climate_risk.engine.blocks import Block, Job, advance, new_blocks
from climate_risk.engine.draws import best_estimate
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.log.state import stored_water_kg
from climate_risk.microclimate.stand import StandWeather, below_canopy
from climate_risk.options import CoverSpan
from climate_risk.tables import canopies
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa
from climate_risk.weather.record import Doubt, HourlyWeather

FloatArray = npt.NDArray[np.float64]

DAYS = 30
FIRST = np.datetime64("2021-07-01", "D")
SUN = {"open": 1.0, "thinned": 0.25, "deep shade": 0.03}
"""Diffuse transmittance of what is overhead."""
WIND_MS = (0.3, 1.0, 3.0)
"""At the stack, not at 10 m."""
RAIN_MM = (0.0, 100.0)
"""In the thirty days, a tenth of it every third day."""
BARE = "bare"
BAGS = {
    f"{material}, foot {foot}": CoverSpan(kind="bag", material=material, foot=foot)
    for material in ("paper", "plastic")
    for foot in ("open", "closed")
}
COVERS: dict[str, CoverSpan | None] = {BARE: None, **BAGS}


@dataclass(frozen=True, kw_only=True)
class Case:
    """One weather over the stack."""

    sun: str
    wind_ms: float
    rain_mm: float


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
    made = samples.hours_of(table, samples.NORTH)
    room = saturation_vapour_pressure_kpa(made.air_temp_c)
    return replace(
        made,
        wind_10m_ms=np.full(made.air_temp_c.size, table["wind_ms"].iloc[0]),
        vapour_pressure_kpa=np.minimum(made.vapour_pressure_kpa, room),
        doubt=Doubt(),
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
    total = DAYS * 24 * len(cases)
    hours = {
        field.name: np.tile(getattr(one, field.name), len(cases))
        for field in fields(HourlyWeather)
        if isinstance(getattr(one, field.name), np.ndarray)
    }
    hours["time"] = one.time[0] + np.arange(total)
    record = Record(replace(one, **hours), samples.NORTH)
    record._stands["open", 0.0] = join([stand(case) for case in cases])
    stack = replace(
        samples.small_stack(inoculated=FIRST.item(), start_moisture=0.9),
        pieces=2,
        piece_length_m=0.25,
        diameter_m=0.25,
    )
    return stack_model(stack, record, 0.0)


def scheme_of(cover: CoverSpan | None) -> Scheme:
    """The open, with a cover or none."""
    return Scheme(canopy="open", covers=() if cover is None else (cover,))


def run(
    kind: StackModel, scheme: Scheme, cases: int, quantiles: dict[str, float] | None = None
) -> Block:
    """Every case in a case of its own, best estimates but for ``quantiles`` by unknown."""
    names = list(kind.parameter_set(scheme).unknowns())
    drawn = np.repeat(best_estimate(len(names)), at.CASES, axis=0)
    for name, quantile in (quantiles or {}).items():
        drawn[:, names.index(name)] = quantile
    block = new_blocks(kind, scheme, drawn)[0]
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
    cases: Sequence[Case] = CASES,
    covers: Sequence[str] = tuple(COVERS),
    quantiles: dict[str, float] | None = None,
) -> pd.DataFrame:
    """A row per case and cover: hottest bark, water lost, driest face and spawn, by day thirty.

    ``quantiles`` of bags' unknowns, such as ``bag.rain_share``, hold under every bag.
    """
    kind = stack_in(cases)
    rows = []
    for name in covers:
        cover = COVERS[name]
        block = run(kind, scheme_of(cover), len(cases), quantiles if cover else None)
        lost = block.water_first_kg - stored_water_kg(kind.grid, kind.curves, block.a)
        for place, case in enumerate(cases):
            day = block.daily[:, :, place]
            rows.append(
                {
                    "sun": case.sun,
                    "wind_ms": case.wind_ms,
                    "rain_mm": case.rain_mm,
                    "cover": name,
                    "bark_peak_c": day[:, hours.D_BARK_MAX].max(),
                    "core_peak_c": day[:, hours.D_CORE_MEAN].max(),
                    "water_lost_kg": lost[place],
                    "driest_face_pct": day[-1, hours.D_DRIEST_FACE],
                    "spawn_pct": day[-1, hours.D_SPAWN],
                    "condensed_kg": block.a[at.BUDGET, at.B_BAG_CONDENSED, place],
                }
            )
    return pd.DataFrame(rows)


def bag_minus_bare(table: pd.DataFrame) -> pd.DataFrame:
    """The same, as the difference that each bag makes."""
    keys = ["sun", "wind_ms", "rain_mm"]
    values = ["bark_peak_c", "core_peak_c", "water_lost_kg", "driest_face_pct", "spawn_pct"]
    bare = table[table["cover"] == BARE].set_index(keys)[values]
    bagged = table[table["cover"] != BARE].set_index([*keys, "cover"])[values]
    return bagged.sub(bare).reset_index()


def ends_at_mm(made: pd.DataFrame, value: str = "driest_face_pct") -> pd.DataFrame:
    """Monthly rain from which each bag no longer keeps a stack moister than none [mm].

    Straight between the cases; nan where it does so under all rain that was run.  A row per sun,
    wind and cover of a table by :func:`bag_minus_bare`.
    """
    found = []
    for (sun, wind, cover), rows in made.groupby(["sun", "wind_ms", "cover"], sort=False):
        rain, gain = rows.sort_values("rain_mm")[["rain_mm", value]].to_numpy().T
        ends = np.nan if gain[0] > 0.0 else 0.0
        for n in range(1, rain.size):
            if gain[n - 1] > 0.0 >= gain[n]:
                ends = float(np.interp(0.0, gain[[n, n - 1]], rain[[n, n - 1]]))
                break
        found.append({"sun": sun, "wind_ms": wind, "cover": cover, "ends_at_mm": ends})
    return pd.DataFrame(found)
