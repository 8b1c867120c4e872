"""What the outlook is worth: hindcasts on real records.

``python tests/outlook_skill.py`` takes some forty minutes on two cores, and writes the tables of
``tests/outlook_skill.md`` and ``climate_risk/tables/skill.toml``, which the season page shows.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path

import pandas as pd

from climate_risk.parameter import FOLDER
from climate_risk.report.skill import stack_words
from climate_risk.risk.hindcast import hindcast, records_without
from climate_risk.risk.hindsight import Hindcast
from climate_risk.site import Site
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.quality import check
from climate_risk.weather.record import RawWeather, first_flags
from climate_risk.yard import Stack, Yard, read_yard

DATA = Path(__file__).parent / "data"
NAMES = {
    "tmin_c": "air_temp_min_c",
    "tmax_c": "air_temp_max_c",
    "dewpoint_c": "dew_point_c",
    "precip_mm": "precip_mm",
    "solar_mj": "shortwave_mj_m2",
}
RECORDS = {
    "central Iowa, 1990 to 2020": (
        "iowa_1990_2020.csv.gz",
        Site(latitude=42.035, longitude=-93.0, elevation_m=300.0),
    ),
    "Champion, Nebraska, 1986 to 2018": (
        "champion_1986_2018.csv.gz",
        Site(latitude=40.40, longitude=-101.72, elevation_m=1029.0),
    ),
}


def raw_of(file: str) -> RawWeather:
    """A record as its columns have it."""
    table = pd.read_csv(DATA / file, parse_dates=["date"], index_col="date")
    table = table[[name for name in NAMES if name in table]].rename(columns=NAMES)
    return RawWeather(table=table, quality=first_flags(table), step="daily", source=file)


def stack(
    name: str, fungus: str, wood: str, diameter_m: float, piece_length_m: float, cap_m: float
) -> Stack:
    """A bare stack of April."""
    base = read_yard(DATA / "full_yard.toml").stacks[0]
    return replace(base, name=name, fungus=fungus, wood=wood, felled=date(2015, 3, 20), cut=None,
                   inoculated=date(2015, 4, 12), start_moisture=None, pieces=2, covers=(),
                   waterings=(), diameter_m=diameter_m, piece_length_m=piece_length_m,
                   cap_thickness_m=cap_m)  # fmt: skip


THIN_OYSTER = stack("thin", "grey oyster", "aspen", 0.12, 0.2, 0.0)
THICK_MANE = stack("capped", "lion's mane", "sugar maple", 0.254, 0.254, 0.05)
IOWA, CHAMPION = RECORDS
SIZES = {
    "thin": "two bare pieces of 12 by 20 cm",
    "capped": "two bare pieces of 25 by 25 cm and a cap",
}
CASES = {
    "iowa-thin-oyster": (IOWA, THIN_OYSTER),
    "champion-thin-oyster": (CHAMPION, THIN_OYSTER),
    "iowa-thick-mane": (IOWA, THICK_MANE),
}


def run(case: str) -> Hindcast:
    """One case in the open."""
    record, kind = CASES[case]
    file, site = RECORDS[record]
    raw = check(raw_of(file), site)
    yard: Yard = replace(read_yard(DATA / "full_yard.toml"), site=site, canopy="open",
                         openness=0.0, stacks=(kind,))  # fmt: skip
    without = records_without(lambda days: fill_gaps(raw, site, days), site)

    def tell(share: float) -> None:
        print(f"{case} {share:.0%}", file=sys.stderr, flush=True)

    return hindcast(yard, kind, without, source=record, progress=tell)


def toml_lines(found: Hindcast) -> Iterator[str]:
    """One record of ``skill.toml``."""

    def value(of: object) -> str:
        if isinstance(of, dict):
            return "{ " + ", ".join(f"{key} = {value(v)}" for key, v in of.items()) + " }"
        if isinstance(of, float):
            return f"{of:.4g}" if "." in f"{of:.4g}" or "e" in f"{of:.4g}" else f"{of:.1f}"
        return f'"{of}"' if isinstance(of, str) else str(of)

    yield "[[record]]"
    for name, of in asdict(found).items():
        if isinstance(of, tuple | list):
            yield f"{name} = ["
            yield from (f"    {value(each)}," for each in of)
            yield "]"
        else:
            yield f"{name} = {value(of)}"


HEAD = """\
# What outlooks were worth on real records.  Written by tests/outlook_skill.py, never by hand;
# records and their traps: tests/data/README.md.  What came is the model run on with the year's
# own weather, so this is the outlook against the model, not against counted losses.
# Of each skill: score, score of the usual chance, skill, that with the weather known, and the
# 10th and 90th percentile over years; Brier score of the loss, CRPS of the lowest moisture [%].
"""


def markdown(found: list[Hindcast]) -> Iterator[str]:
    """The tables of ``outlook_skill.md``."""
    yield "# What outlooks are worth"
    yield ""
    yield (
        "Made by `python tests/outlook_skill.py`. Outlooks of past years at several dates, each "
        "year left out of all that is learned (normals, fills, humidity, the years carried on), "
        "against the usual chance of the other years. What came is the same model run on with the "
        "weather that came, once for every draw of the unsure values; so this verifies the "
        "outlook against the model, not the model against losses that somebody counted. Skill is "
        "1 - score / score of the usual chance, in percent, with its 80 % interval by resampling "
        'years; "best" is the skill of one who knew the weather and none of the unsure values.'
    )
    for each in found:
        yield ""
        yield f"## {each.source}: {stack_words(each)}, {SIZES[each.name]}"
        yield ""
        yield (
            f"{each.years} seasons, {each.draws} draws a year carried on; mean chance of loss "
            f"{100 * each.chance:.0f} %."
        )
        yield ""
        yield (
            "| months seen | days ahead | Brier of loss | usual | skill | best "
            "| CRPS of lowest moisture | usual | skill | best |"
        )
        yield "| --- " * 10 + "|"
        for lead in each.leads:
            cells = [str(lead.months_seen), str(lead.lead_days)]
            for of, digits in ((lead.loss, 4), (lead.dryness_pct, 2)):
                low, high = 100 * of.low, 100 * of.high
                cells += [f"{of.score:.{digits}f}", f"{of.usual:.{digits}f}"]
                cells += [
                    f"{100 * of.skill:.1f} ({low:.1f} to {high:.1f})",
                    f"{100 * of.best:.1f}",
                ]
            yield f"| {' | '.join(cells)} |"
        yield ""
        yield "| chance told | came | 80 % interval | outlooks | years |"
        yield "| --- " * 5 + "|"
        for at in each.reliability:
            span = f"{100 * at.low:.0f} to {100 * at.high:.0f}"
            row = (f"{100 * at.told:.0f} %", f"{100 * at.came:.0f} %", span, at.outlooks, at.years)
            yield f"| {' | '.join(map(str, row))} |"


def write(found: list[Hindcast]) -> None:
    """Both files."""
    lines = [line for each in found for line in (*toml_lines(each), "")]
    (FOLDER / "skill.toml").write_text(HEAD + "\n" + "\n".join(lines), encoding="utf-8")
    text = "\n".join(markdown(found)) + "\n"
    Path(__file__).with_suffix(".md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write([run(case) for case in CASES])
