"""Which planted faults move the chance of loss by 5 points: a sample of them, run.

``python tests/chance_harm.py`` prints a table of ``tests/weather_faults.md``. The chance is the
share of draws that are lost in the faulty year (bare aspen with grey oyster, April to October);
a fault in one year of a record moves the chance over all years less.
"""

from __future__ import annotations

import numpy as np
from doubt_effect import chance, kind_of
from planted_faults import FAULTS, MAX, MIN, NO_AIR_C, Clean, read_clean

RECORDS = ("nyc_ewr_2013", "greensboro_nc_tmy3", "Iowa 2005", "Iowa 2012")
SAMPLE = (
    "rain in inches read as mm",
    "rain in mm read as inches",
    "no rain from June to August, as zeros",
    "no rain in July, as zeros",
    "wind in mph read as m/s",
    "humidity stuck at 100 from June on",
    "humidity stuck at 100 for a month",
    "July a copy of June",
    "a maximum 12 K too high",
    "a maximum 25 K too high",
    "the maximum stuck for 30 days",
    "Fahrenheit for three days",
    "Celsius converted as if Fahrenheit",
    "the other hemisphere's latitude",
)
HARM = 0.05
STARTS = (0.8, 0.35)
"""Moisture of the wood at inoculation: fresh, and half dried."""


def chance_of(clean: Clean, start: float) -> float:
    """Share of the draws that are lost in a record taken as it is; 1 in air of no climate."""
    table = clean.table.copy()
    table[MIN], table[MAX] = table[[MIN, MAX]].min(axis=1), table[[MIN, MAX]].max(axis=1)
    if table[[MIN, MAX]].abs().to_numpy().max() > NO_AIR_C:
        return 1.0
    return chance(kind_of(table, "daily", clean.site, start), "open")


def main() -> None:
    records = [clean for clean in read_clean() if clean.name in RECORDS]
    for start in STARTS:
        usual = {clean.name: chance_of(clean, start) for clean in records}
        names = " | ".join(f"{clean.name} ({usual[clean.name]:.0%})" for clean in records)
        print(f"| fault, wood at {start:.0%} | {names} | moved by 5 points |")
        print("| --- |", "--- | " * (len(records) + 1))
        for fault in SAMPLE:
            cells, moved = [], 0
            for number, clean in enumerate(records):
                bad = FAULTS[fault](clean, np.random.default_rng(100 * number))
                if bad.table.equals(clean.table) and bad.site == clean.site:
                    cells.append("not there")
                    continue
                found = chance_of(bad, start)
                moved += abs(found - usual[clean.name]) >= HARM
                cells.append(f"{found:.0%}")
            print(f"| {fault} | {' | '.join(cells)} | {moved} |", flush=True)


if __name__ == "__main__":
    main()
