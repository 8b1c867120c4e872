"""Broken inputs by the thousand: ``python tests/fuzz.py --count 20000 --seed 1``.

Weather files and yard files are damaged at random, in their cells and in their bytes. Each must
give a record or yard, or an error of our own with short printable lines; anything else is
printed with the number that makes it again, and the exit status is 1.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path

from climate_risk.errors import ClimateRiskError
from climate_risk.site import Site
from climate_risk.weather import load_weather
from climate_risk.yard import read_yard

SITE = Site(latitude=39.5, longitude=-79.3, elevation_m=700.0)
DATA = Path(__file__).parent / "data"
LONGEST_LINE = 2000
"""Characters; a line quotes a few texts of 200 at most."""
WORDS = (
    "", "0", "-1", "1e308", "-9999", "99.99", "nan", "inf", "T", "x", "\x1b[31m", "\x00", "'", '"',
    ",", ";", "\t", "é", "9" * 400, "0001-01-01", "1800-01-01", "2099-06-01", "2024-02-30",
    "13/13/2024", "date", "time", "2024-06-01 25:00", "=1+1", "\u202e", "\n", "#", "100", "1,5",
)  # fmt: skip


def daily_rows(rng: random.Random) -> list[list[str]]:
    rows = [["date", "air_temp_min_c", "air_temp_max_c", "precip_mm", "wind_ms"]]
    if rng.random() < 0.3:
        rows = [["Date", "Min (F)", "Max (F)", "Rain (in)", "RH"]]
    for day in range(rng.choice((1, 3, 40))):
        cells = [f"{10 + rng.random() * 5:.1f}", f"{20 + rng.random() * 5:.1f}", "2", "3"]
        rows.append([f"2024-{6 + day // 28:02d}-{1 + day % 28:02d}", *cells])
    return rows


def hourly_rows(rng: random.Random) -> list[list[str]]:
    rows = [["time", "air_temp_c", "dew_point_c", "precip_mm", "rel_humidity_pct"]]
    for hour in range(rng.choice((2, 24, 72))):
        time = f"2024-06-{1 + hour // 24:02d} {hour % 24:02d}:00"
        rows.append([time, f"{15 + rng.random() * 5:.1f}", "9", "0", "60"])
    return rows


def damaged_table(rng: random.Random) -> bytes:
    """A weather file with a few cells, rows, columns and bytes gone wrong."""
    rows = rng.choice((daily_rows, hourly_rows))(rng)
    for _ in range(rng.choice((0, 1, 1, 2, 5))):
        row = rng.randrange(len(rows))
        act = rng.randrange(7)
        if act == 0:
            rows[row][rng.randrange(len(rows[row]))] = rng.choice(WORDS)
        elif act == 1:
            column = rng.randrange(5)
            for line in rows[1:]:
                line[column % len(line)] = rng.choice(("", rng.choice(WORDS)))
        elif act == 2:
            rows.insert(row, list(rows[rng.randrange(len(rows))]))
        elif act == 3 and len(rows) > 1:
            del rows[row]
        elif act == 4:
            rows[row] = rows[row][: rng.randrange(len(rows[row]) + 1)] or [""]
        elif act == 5:
            rows[0][rng.randrange(len(rows[0]))] = rng.choice(WORDS)
        else:
            rng.shuffle(rows)
    text = "\n".join(rng.choice((",", ",", ";", "\t")).join(row) for row in rows)
    return damaged_bytes(rng, text.encode("utf-8", "replace"))


def damaged_bytes(rng: random.Random, data: bytes) -> bytes:
    changed = bytearray(data)
    for _ in range(rng.choice((0, 0, 0, 1, 3, 20))):
        place = rng.randrange(len(changed) + 1)
        act = rng.randrange(3)
        if act == 0 and place < len(changed):
            changed[place] = rng.randrange(256)
        elif act == 1:
            changed[place:place] = rng.choice(WORDS).encode("utf-8", "replace")
        else:
            del changed[place : place + rng.choice((1, 5, 500))]
    return bytes(changed)


def damaged_yard(rng: random.Random) -> bytes:
    lines = (DATA / "full_yard.toml").read_text(encoding="utf-8").splitlines()
    for _ in range(rng.choice((1, 1, 2, 5))):
        place = rng.randrange(len(lines))
        act = rng.randrange(4)
        if act == 0 and "=" in lines[place]:
            value = rng.choice((*WORDS, "true", "[]", "{}", "-1", "1e400", "2025-01-01", '"x"'))
            lines[place] = lines[place].split("=")[0] + "= " + value
        elif act == 1:
            del lines[place]
        elif act == 2:
            lines.insert(place, lines[rng.randrange(len(lines))])
        else:
            lines[place] = lines[place].replace("e", rng.choice(WORDS), 1)
    return damaged_bytes(rng, "\n".join(lines).encode("utf-8", "replace"))


def run_one(number: int, folder: Path) -> str:
    """Read one damaged input; returns what is wrong with how it was taken, or nothing."""
    rng = random.Random(number)
    work: Callable[[], object]
    if number % 3:
        path = folder / "weather.csv"
        path.write_bytes(damaged_table(rng))

        def work() -> object:
            record = load_weather(path, SITE)
            assert not record.table.isna().any(axis=None)
            return record
    else:
        path = folder / "yard.toml"
        path.write_bytes(damaged_yard(rng))

        def work() -> object:
            return read_yard(path)

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            made = work()
    except ClimateRiskError as error:
        texts = error.lines
    except Exception:
        return traceback.format_exc()
    else:
        texts = getattr(getattr(made, "coverage", None), "warnings", ())
    wrong = [t for t in texts if not t.isprintable() or len(t) > LONGEST_LINE]
    return f"a text that is too long or not printable: {wrong[0][:300]!r}" if wrong else ""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1, help="number of the first input")
    args = parser.parse_args()
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CLIMATE_RISK_CACHE"] = folder
        for number in range(args.seed, args.seed + args.count):
            wrong = run_one(number, Path(folder))
            if wrong:
                failed += 1
                print(f"input {number}: {wrong}", flush=True)
    print(f"{args.count} inputs, {failed} taken wrongly")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
