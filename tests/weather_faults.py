"""Faults planted on real records, what they would do, and whether they are found.

``python tests/weather_faults.py`` prints the table of ``tests/weather_faults.md``. A fault is
*found* if the file is refused or a warning is given that the clean record does not draw. It is
*harmful* if, taken silently, it moves the season's driest face by 3 points or the hottest bark
by 3 K in the reference run (measured by running it with every check passed by).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from climate_risk import api
from climate_risk.engine.record import Record
from climate_risk.errors import InputError
from climate_risk.site import Site
from climate_risk.weather import load_weather, to_hourly
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.record import RawWeather, first_flags
from climate_risk.yard import read_yard

DATA = Path(__file__).parent / "data"
MIN, MAX, RAIN, WIND, HUMID = (
    "air_temp_min_c",
    "air_temp_max_c",
    "precip_mm",
    "wind_ms",
    "rel_humidity_pct",
)
HARM_POINTS, HARM_K = 3.0, 3.0
NO_AIR_C = 120.0
"""Air that the model was never meant for; such a fault counts as harmful without a run."""
IOWA = Site(latitude=42.04, longitude=-93.0, elevation_m=300.0)
IOWA_YEARS = (1993, 1998, 2003, 2005, 2012, 2019)


@dataclass(frozen=True)
class Clean:
    """A real record of at least a year."""

    name: str
    table: pd.DataFrame
    site: Site
    year: int


def read_clean() -> list[Clean]:
    """Station years of tests/data that have temperature, humidity and rain."""
    names = {"tmin_c": MIN, "tmax_c": MAX, "rh_mean": HUMID}
    records = []
    for file, site in (
        ("nyc_ewr_2013.csv", Site(latitude=40.69, longitude=-74.17, elevation_m=5.0)),
        ("nyc_lga_2013.csv", Site(latitude=40.78, longitude=-73.87, elevation_m=6.0)),
        ("greensboro_nc_tmy3.csv", Site(latitude=36.1, longitude=-79.95, elevation_m=270.0)),
        ("iowa_1990_2020.csv.gz", IOWA),
    ):
        table = pd.read_csv(DATA / file, parse_dates=["date"]).set_index("date")
        table = table.rename(columns=names)
        table = table[[n for n in (MIN, MAX, HUMID, RAIN, WIND) if n in table]]
        table = table.dropna(axis=1, how="all").dropna()
        if file.startswith("iowa"):
            records += [Clean(f"Iowa {y}", table.loc[str(y)], IOWA, y) for y in IOWA_YEARS]
            records.append(Clean("Iowa 2003-08", table.loc["2003":"2008"], IOWA, 2005))
        else:
            records.append(Clean(file.split(".")[0], table, site, table.index[0].year))
    return records


Plant = Callable[[Clean, np.random.Generator], Clean]


def scaled(column: str, factor: float, first: str = "01", last: str = "12") -> Plant:
    """A column times a factor, over some months of the year."""

    def plant(clean: Clean, _: np.random.Generator) -> Clean:
        table = clean.table.copy()
        if column in table:
            span = slice(f"{clean.year}-{first}", f"{clean.year}-{last}")
            whole = (first, last) == ("01", "12")
            rows = table.index if whole else table.loc[span].index
            table.loc[rows, column] = (table.loc[rows, column] * factor).round(2)
        return replace(clean, table=table)

    return plant


def temperature(change: Callable[[pd.DataFrame], pd.DataFrame], days: int | str) -> Plant:
    """Both extremes changed: over the year, from June to August, or over some days of July."""

    def plant(clean: Clean, rng: np.random.Generator) -> Clean:
        table = clean.table.copy()
        rows = table.index
        if days == "summer":
            rows = table.loc[f"{clean.year}-06" : f"{clean.year}-08"].index
        elif isinstance(days, int):
            begin = pd.Timestamp(clean.year, 7, 1) + pd.Timedelta(days=int(rng.integers(0, 20)))
            rows = table.loc[begin : begin + pd.Timedelta(days=days - 1)].index
        table.loc[rows, [MIN, MAX]] = change(table.loc[rows, [MIN, MAX]]).round(1)
        return replace(clean, table=table)

    return plant


def constant(column: str, value: float | None, first: str, days: int) -> Plant:
    """Days in a row with one value: a given one, or that of the first of them."""

    def plant(clean: Clean, rng: np.random.Generator) -> Clean:
        table = clean.table.copy()
        begin = pd.Timestamp(f"{clean.year}-{first}")
        if days <= 10:
            begin += pd.Timedelta(days=int(rng.integers(0, 60)))
        rows = table.loc[begin : begin + pd.Timedelta(days=days - 1)].index
        columns = [MIN, MAX] if column == "both" else [column]
        for name in columns:
            if name in table:
                table.loc[rows, name] = table.loc[rows[0], name] if value is None else value
        return replace(clean, table=table)

    return plant


def spike(size_k: float) -> Plant:
    """The maximum of one summer day."""

    def plant(clean: Clean, rng: np.random.Generator) -> Clean:
        table = clean.table.copy()
        day = pd.Timestamp(clean.year, 6, 10) + pd.Timedelta(days=int(rng.integers(0, 90)))
        table.loc[day, MAX] += size_k
        return replace(clean, table=table)

    return plant


def copied_month(clean: Clean, _: np.random.Generator) -> Clean:
    table = clean.table.copy()
    source = table.loc[f"{clean.year}-06"]
    rows = table.loc[f"{clean.year}-07"].index[: len(source)]
    table.loc[rows] = source.to_numpy()[: len(rows)]
    return replace(clean, table=table)


def moved(**place: float) -> Plant:
    return lambda clean, _: replace(clean, site=replace(clean.site, **place))


def mirrored(clean: Clean, _: np.random.Generator) -> Clean:
    return replace(clean, site=replace(clean.site, latitude=-clean.site.latitude))


def swapped_place(clean: Clean, _: np.random.Generator) -> Clean:
    site = replace(clean.site, latitude=clean.site.longitude, longitude=clean.site.latitude)
    return replace(clean, site=replace(site, latitude=max(site.latitude, -90.0)))


def swapped_columns(clean: Clean, _: np.random.Generator) -> Clean:
    return replace(clean, table=clean.table.rename(columns={MIN: MAX, MAX: MIN}))


def fahrenheit(c: pd.DataFrame) -> pd.DataFrame:
    return c * 1.8 + 32.0


def as_if_fahrenheit(c: pd.DataFrame) -> pd.DataFrame:
    return (c - 32.0) / 1.8


FAULTS: dict[str, Plant] = {
    "rain in inches read as mm": scaled(RAIN, 1 / 25.4),
    "rain in mm read as inches": scaled(RAIN, 25.4),
    "rain ten times too large": scaled(RAIN, 10.0),
    "rain in tenths read as cm": scaled(RAIN, 100.0),
    "rain of June to August in inches": scaled(RAIN, 1 / 25.4, "06", "08"),
    "rain of April to September in inches": scaled(RAIN, 1 / 25.4, "04", "09"),
    "rain of June to August 25 times too large": scaled(RAIN, 25.4, "06", "08"),
    "no rain from June to August, as zeros": scaled(RAIN, 0.0, "06", "08"),
    "no rain in July, as zeros": scaled(RAIN, 0.0, "07", "07"),
    "wind in mph read as m/s": scaled(WIND, 2.237),
    "wind in km/h read as m/s": scaled(WIND, 3.6),
    "wind in knots read as m/s": scaled(WIND, 1.944),
    "humidity stuck at 100 for a month": constant(HUMID, 100.0, "06-15", 30),
    "humidity stuck at 100 from June on": constant(HUMID, 100.0, "06-01", 210),
    "humidity as a fraction": scaled(HUMID, 0.01),
    "July a copy of June": copied_month,
    "a maximum 12 K too high": spike(12.0),
    "a maximum 25 K too high": spike(25.0),
    "a maximum 12 K too low": spike(-12.0),
    "both extremes stuck for 7 days": constant("both", None, "06-15", 7),
    "the maximum stuck for 7 days": constant(MAX, None, "06-15", 7),
    "the maximum stuck for 30 days": constant(MAX, None, "06-15", 30),
    "both extremes zero for 7 days": constant("both", 0.0, "06-15", 7),
    "Fahrenheit read as Celsius": temperature(fahrenheit, "year"),
    "Fahrenheit from June to August": temperature(fahrenheit, "summer"),
    "Fahrenheit for a week": temperature(fahrenheit, 7),
    "Fahrenheit for three days": temperature(fahrenheit, 3),
    "kelvin read as Celsius": temperature(lambda c: c + 273.15, "year"),
    "kelvin for a week": temperature(lambda c: c + 273.15, 7),
    "Celsius converted as if Fahrenheit": temperature(as_if_fahrenheit, "year"),
    "the same from June to August": temperature(as_if_fahrenheit, "summer"),
    "ten times too large (tenths)": temperature(lambda c: c * 10.0, "year"),
    "the other hemisphere's latitude": mirrored,
    "latitude and longitude changed places": swapped_place,
    "minimum and maximum changed places": swapped_columns,
}


def warned(clean: Clean, folder: Path) -> set[str]:
    """Warnings of a record read from a file; a refusal counts as one."""
    path = folder / "weather.csv"
    clean.table.to_csv(path, index_label="date")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return set(load_weather(path, clean.site).coverage.warnings)
    except InputError as error:
        return {f"refused: {error}"}


def false_warnings(notes: set[str]) -> set[str]:
    """Warnings that a clean record should not draw: of a fault, not of what it lacks."""
    words = ("blanked", "kept, flagged", "refused", "missing there", "another unit")
    return {note for note in notes if any(word in note for word in words)}


def outcome(clean: Clean) -> tuple[float, float]:
    """Driest face [%] and hottest bark [C] of the season in the reference run, unchecked."""
    table = clean.table.copy()
    table[MIN], table[MAX] = table[[MIN, MAX]].min(axis=1), table[[MIN, MAX]].max(axis=1)
    if table[[MIN, MAX]].abs().to_numpy().max() > NO_AIR_C:
        return -99.0, 99.0
    raw = RawWeather(table=table, quality=first_flags(table), step="daily", source="planted")
    site = clean.site
    record = fill_gaps(raw, site)
    yard = read_yard(DATA / "full_yard.toml")
    start = date(clean.year, 4, 12)
    stack = replace(
        yard.stacks[0], inoculated=start, felled=None, start_moisture=0.8, covers=(), waterings=()
    )
    weather = api.Weather(
        record=Record(to_hourly(record, site), site),
        coverage=record.coverage,
        table=record.table,
        quality=record.quality,
        inputs={},
    )
    days = api.simulate(
        replace(yard, site=site), weather, stack, cover="none", until=date(clean.year, 10, 31)
    )
    return float(days["moisture_driest_face_pct"].min()), float(days["bark_temp_max_c"].max())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=3, help="places of a fault in a record")
    parser.add_argument("--no-harm", action="store_true", help="only whether they are found")
    args = parser.parse_args()
    records = read_clean()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        base = {clean.name: warned(clean, folder) for clean in records}
        years = sum(clean.table.index.year.nunique() for clean in records)
        false = {key: false_warnings(notes) for key, notes in base.items()}
        print(f"clean: {sum(map(len, false.values()))} false warnings in {years} station-years")
        for key, notes in false.items():
            for note in notes:
                print(f"  {key}: {note}")
        usual = {} if args.no_harm else {clean.name: outcome(clean) for clean in records}
        total = [0, 0]
        print("| fault | found | harmful | harmful and found |\n| --- | --- | --- | --- |")
        for fault, plant in FAULTS.items():
            found, harmful, both, tried = 0, 0, 0, 0
            for number, clean in enumerate(records):
                for draw in range(args.draws if "days" in fault or " K " in fault else 1):
                    bad = plant(clean, np.random.default_rng(100 * number + draw))
                    if bad.table.equals(clean.table) and bad.site == clean.site:
                        continue
                    tried += 1
                    hit = bool(warned(bad, folder) - base[clean.name])
                    harm = False
                    if usual:
                        try:
                            change = np.subtract(outcome(bad), usual[clean.name])
                        except Exception:  # physics never meant for such air: harm enough
                            change = np.array([99.0, 99.0])
                        harm = bool(abs(change[0]) >= HARM_POINTS or abs(change[1]) >= HARM_K)
                    found, harmful, both = found + hit, harmful + harm, both + (hit and harm)
            total[0], total[1] = total[0] + harmful, total[1] + both
            print(f"| {fault} | {found} of {tried} | {harmful} | {both} |", flush=True)
        if usual:
            print(f"harmful: {total[0]}, found {total[1]} ({total[1] / total[0]:.1%})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
