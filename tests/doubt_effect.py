"""What the doubt about weather that nobody measured does to the draws.

``python tests/doubt_effect.py`` prints a table of ``tests/weather_errors.md``: real hours, the
same with humidity taken out, and the same folded to days; the driest face of the reference
run with the doubt about humidity at its low end, middle and high end, and the share of draws in
which the stack is lost, with the doubt in the draws and without. Bare aspen with grey oyster,
April to October.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
from test_humidity import DATA, GREENSBORO, NEW_YORK, airport_hours, in_days

from climate_risk.engine.blocks import advance, new_blocks
from climate_risk.engine.draws import SEED, best_estimate, latin_hypercube
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.risk.chance import KILLED_BY_HEAT
from climate_risk.risk.ensemble import Outcomes, collect, jobs_for, start_rows
from climate_risk.site import Site
from climate_risk.weather import load_weather, to_hourly
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.record import Doubt, FloatArray, RawWeather, first_flags
from climate_risk.yard import read_yard

UNKNOWNS = ("model.estimated_humidity_error_pct", "model.estimated_sun_error",
            "model.estimated_wind_factor", "model.estimated_temp_error_k",
            "model.estimated_rain_factor")  # fmt: skip
DRAWS = 96


def kind_of(table: pd.DataFrame, step: str, site: Site, start: float) -> StackModel:
    """The stack in a record, April to October."""
    at_step = "daily" if step == "daily" else "hourly"
    raw = RawWeather(table=table, quality=first_flags(table), step=at_step, source="real")
    record = Record(to_hourly(fill_gaps(raw, site), site), site)
    year = record.first.year
    stack = read_yard(DATA / "full_yard.toml").stacks[0]
    stack = replace(stack, inoculated=date(year, 4, 12), felled=None, start_moisture=start,
                    fungus="grey oyster", covers=(), waterings=())  # fmt: skip
    return replace(stack_model(stack, record, 0.0), horizon=date(year, 10, 31))


def without_doubt(kind: StackModel) -> StackModel:
    """The same where the estimates are believed."""
    weather = replace(kind.record.weather, doubt=Doubt())
    return replace(kind, record=Record(weather, kind.record.site))


def outcomes(kind: StackModel, quantiles: FloatArray, canopy: str) -> Outcomes:
    """How runs at some quantiles of the unknowns end."""
    scheme = Scheme(canopy=canopy)
    blocks = new_blocks(kind, scheme, quantiles)
    year = (kind.stack.inoculated.year,)
    rows = start_rows(kind, year, len(quantiles), kind.start_day, 0)
    advance(jobs_for(kind, scheme, blocks, rows, 0, kind.hours))
    return collect(kind, scheme, blocks, year, len(quantiles))


def at_ends(kind: StackModel, unknown: str, canopy: str) -> Outcomes:
    """The reference run with one unknown at its low end, middle and high end."""
    names = list(kind.parameter_set(Scheme(canopy=canopy)).unknowns())
    ends = np.repeat(best_estimate(len(names)), 3, axis=0)
    ends[:, names.index(unknown)] = (0.0, 0.5, 1.0)
    return outcomes(kind, ends, canopy)


def chance(kind: StackModel, canopy: str) -> float:
    """Share of the draws that are lost."""
    unknowns = len(kind.parameter_set(Scheme(canopy=canopy)).unknowns())
    ends = outcomes(kind, latin_hypercube(DRAWS, unknowns, SEED), canopy)
    return float((ends.outcomes >= KILLED_BY_HEAT).mean())


def effect(kind: StackModel, canopy: str) -> list[float]:
    """Face at the doubt's low end, middle and high end; chance without and with the doubt."""
    faces = at_ends(kind, UNKNOWNS[0], canopy).moisture_driest_face_pct[0]
    return [*map(float, faces), chance(without_doubt(kind), canopy), chance(kind, canopy)]


def cases() -> Iterator[tuple[str, Site, str, pd.DataFrame, str]]:
    """Place, site, what is known of its weather, the table and its step."""
    hours = airport_hours("EWR").asfreq("h")
    yield "Newark", NEW_YORK, "hours", hours, "hourly"
    yield "Newark", NEW_YORK, "hours, no humidity", hours.drop(columns="dew_point_c"), "hourly"
    days = in_days(hours.dropna(subset=["air_temp_c"]))
    yield "Newark", NEW_YORK, "days", days, "daily"
    names = ["air_temp_min_c", "air_temp_max_c", "precip_mm", "dew_point_c", "wind_ms",
             "shortwave_mj_m2"]  # fmt: skip
    days = load_weather(DATA / "greensboro_nc_tmy3.csv", GREENSBORO).table[names]
    yield "Greensboro", GREENSBORO, "days", days, "daily"
    yield "Greensboro", GREENSBORO, "days, no humidity", days.drop(columns="dew_point_c"), "daily"


def main() -> None:
    print("| record | canopy | driest face at low / middle / high | chance without, with |")
    print("| --- | --- | --- | --- |")
    for name, site, how, table, step in cases():
        for canopy in ("open", "deciduous"):
            low, middle, high, believed, drawn = effect(kind_of(table, step, site, 0.8), canopy)
            print(f"| {name}, {how} | {canopy} | {low:.1f} / {middle:.1f} / {high:.1f} | "
                  f"{believed:.0%}, {drawn:.0%} |")  # fmt: skip


if __name__ == "__main__":
    main()
