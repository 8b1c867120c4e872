"""What splitting days into hours costs the model: the same season from real hours and from days.

``python tests/split_effect.py`` prints the last table of ``tests/weather_errors.md``: driest face,
hottest bark and doses of the reference run, April to October 2013, bare aspen.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
from test_humidity import NEW_YORK, airport_hours, in_days

from climate_risk import api
from climate_risk.engine.record import Record
from climate_risk.weather import to_hourly
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.record import RawWeather, first_flags
from climate_risk.yard import read_yard

COLUMNS = ("moisture_driest_face_pct", "bark_temp_max_c", "heat_stress", "drought_stress")


def season(table: pd.DataFrame, step: str, canopy: str, fungus: str) -> list[float]:
    """Lowest face, hottest bark, and both doses at the end."""
    kind = "daily" if step == "daily" else "hourly"
    raw = RawWeather(table=table, quality=first_flags(table), step=kind, source="real")
    record = fill_gaps(raw, NEW_YORK)
    yard = read_yard(Path(__file__).parent / "data" / "full_yard.toml")
    stack = replace(
        yard.stacks[0], inoculated=date(2013, 4, 12), felled=None, start_moisture=0.8, covers=(),
        waterings=(), fungus=fungus,
    )  # fmt: skip
    weather = api.Weather(
        record=Record(to_hourly(record, NEW_YORK), NEW_YORK), coverage=record.coverage,
        table=record.table, quality=record.quality, inputs={},
    )  # fmt: skip
    days = api.simulate(
        replace(yard, site=NEW_YORK), weather, stack, canopy=canopy, cover="none",
        until=date(2013, 10, 31),
    )  # fmt: skip
    low, hot, *doses = (days[name] for name in COLUMNS)
    return [float(low.min()), float(hot.max()), *(float(dose.iloc[-1]) for dose in doses)]


def main() -> None:
    print("| station, canopy | driest face, % | hottest bark, C | heat dose | drought dose |")
    print("| --- | --- | --- | --- | --- |")
    for origin in ("EWR", "LGA", "JFK"):
        hours = airport_hours(origin).asfreq("h")
        days = in_days(hours.dropna(subset=["air_temp_c"]))
        for canopy in ("open", "deciduous"):
            real = season(hours, "hourly", canopy, "grey oyster")
            made = season(days, "daily", canopy, "grey oyster")
            cells = " | ".join(f"{a:.2f} / {b:.2f}" for a, b in zip(real, made, strict=True))
            print(f"| {origin}, {canopy} | {cells} |")


if __name__ == "__main__":
    main()
