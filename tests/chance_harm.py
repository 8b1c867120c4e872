"""Which planted faults move the chance of loss by 5 points, and which of those are found.

``python tests/chance_harm.py`` prints a table of ``tests/weather_faults.md``. The chance is the
share of draws that are lost in the faulty year (bare aspen with grey oyster, April to October);
a fault in one year of a record moves the chance over all years less.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from doubt_effect import chance, kind_of
from weather_faults import FAULTS, MAX, MIN, NO_AIR_C, Clean, read_clean, warned

RECORDS = ("nyc_ewr_2013", "greensboro_nc_tmy3", "Iowa 2005", "Iowa 2012")
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
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        before = {clean.name: warned(clean, folder) for clean in records}
        for start in STARTS:
            usual = {clean.name: chance_of(clean, start) for clean in records}
            names = " | ".join(f"{clean.name} ({usual[clean.name]:.0%})" for clean in records)
            print(f"| fault, wood at {start:.0%} | {names} | moved, found |")
            print("| --- |", "--- | " * (len(records) + 1))
            total = np.zeros(2, dtype=int)
            for fault, plant in FAULTS.items():
                cells, moved = [], np.zeros(2, dtype=int)
                for number, clean in enumerate(records):
                    bad = plant(clean, np.random.default_rng(100 * number))
                    if bad.table.equals(clean.table) and bad.site == clean.site:
                        cells.append("not there")
                        continue
                    lost = chance_of(bad, start)
                    if abs(lost - usual[clean.name]) >= HARM:
                        moved += (1, bool(warned(bad, folder) - before[clean.name]))
                    cells.append(f"{lost:.0%}")
                total += moved
                print(f"| {fault} | {' | '.join(cells)} | {moved[0]}, {moved[1]} |", flush=True)
            print(f"moved: {total[0]}, found {total[1]}")


if __name__ == "__main__":
    main()
