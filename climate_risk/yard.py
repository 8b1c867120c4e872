"""The yard file: a place, its stacks, covers, waterings and prices, checked and frozen."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import Literal

from climate_risk.compare_options import (
    DIAMETERS,
    PIECE_LENGTHS,
    PIECES_MAX,
    CompareOptions,
    read_compare,
    refuse_felling,
)
from climate_risk.constants import WOOD_CELL_WALL_SPECIFIC_GRAVITY
from climate_risk.errors import InputError, RunError
from climate_risk.labour import read_max_litres, shared_by
from climate_risk.measured_options import Measured, read_measured
from climate_risk.options import (
    CoverOption,
    CoverSpan,
    Watering,
    WateringOption,
    read_cover,
    read_watering,
)
from climate_risk.parameter import FOLDER
from climate_risk.plan_options import PlanOptions, read_plan_options, refuse_short_trees
from climate_risk.prices import Costs, read_costs
from climate_risk.site import Site
from climate_risk.tables import Wood, barriers, canopies, fungi, woods
from climate_risk.toml_section import Section, every_mistake, every_part, read_toml
from climate_risk.weather_options import WeatherOptions, read_weather_options
from climate_risk.whole_file import write_whole

__all__ = [
    "CompareOptions",
    "Costs",
    "CoverOption",
    "CoverSpan",
    "Measured",
    "PlanOptions",
    "Stack",
    "Watering",
    "WateringOption",
    "Yard",
    "read_yard",
    "write_starter",
]

YARD_FILE = "yard.toml"
DAYS_PER_MONTH = 30
"""A winter that begins in a run's last days wants no cloth."""


@dataclass(frozen=True, kw_only=True)
class Stack:
    """Stacks alike: pieces of one wood with spawn under, between and on top."""

    name: str
    count: int
    fungus: str
    """A name in :func:`climate_risk.tables.fungi`."""
    wood: str
    """A name in :func:`climate_risk.tables.woods`."""
    felled: date | None
    cut: date | None
    """Day on which the log was cut into pieces; None: on the day of inoculation."""
    inoculated: date
    start_moisture: float | None
    """Kg of water per kg of oven-dry wood at inoculation; None: from the table and ``felled``."""
    pieces: int
    piece_length_m: float
    diameter_m: float
    cap_thickness_m: float
    """Of the slice on top; 0 for none."""
    spawn_depth_m: float
    """Of the layer of spawn on each face."""
    ground_barrier: str
    covers: tuple[CoverSpan, ...]
    waterings: tuple[Watering, ...]


@dataclass(frozen=True, kw_only=True)
class Yard:
    """All that a yard file says."""

    name: str
    site: Site
    canopy: str
    """A name in :func:`climate_risk.tables.canopies`."""
    openness: float
    """Share of the sky seen through gaps, 0 to 1."""
    units: Literal["us", "metric"]
    """For what is shown."""
    invented: bool
    """True for an example that is no real place."""
    weather: WeatherOptions
    stacks: tuple[Stack, ...]
    costs: Costs
    max_litres_per_week: float | None
    """Water at hand for all stacks together; None: no bound."""
    compare: CompareOptions
    plan: PlanOptions
    measured: Measured | None = None
    """What the grower measured, and of which stack."""
    path: Path
    sha256: str


def read_yard(path: Path | str) -> Yard:
    """Read and check a yard file.

    Raises
    ------
    InputError
        A line for each mistake, with the file, the table, the key, its value, what would be
        accepted and, where it can be told, the line number.
    """
    file, content = read_toml(Path(path))
    if not file.has("yard"):
        file.fail("[yard]", "missing; a yard file starts with the place")
    yard = file.section("yard")
    weather = file.section("weather")

    parts = every_part(
        {
            "": lambda: file.only(
                "yard", "weather", "stack", "water", "costs", "compare", "plan", "measured"
            ),
            " ": lambda: yard.only(*_YARD_KEYS),
            "name": lambda: yard.words("name"),
            **_site_parts(yard),
            "canopy": lambda: yard.named("canopy", canopies(), "canopy").name,
            "openness": lambda: yard.number("openness", 0.0, 1.0, default=0.0),
            "units": lambda: yard.choice("units", ("us", "metric"), default="us"),
            "invented": lambda: yard.flag("invented", default=False),
            "weather": lambda: read_weather_options(weather),
            "stacks": lambda: _stacks(file, _leaf_site(yard)),
            "costs": lambda: read_costs(file.section("costs")),
            "max_litres_per_week": lambda: read_max_litres(file.section("water")),
            "compare": lambda: read_compare(file.section("compare")),
            "plan": lambda: read_plan_options(file.section("plan")),
        }
    )
    site = Site(**{key: parts.pop(key) for key in _site_parts(yard)})
    depth = parts["costs"].spawn_depth_m
    parts["stacks"] = tuple(replace(stack, spawn_depth_m=depth) for stack in parts["stacks"])
    longest_m = max(stack.piece_length_m for stack in parts["stacks"])
    refuse_short_trees(file.section("plan"), parts["plan"], longest_m)
    if file.has("measured"):
        parts["measured"] = read_measured(file.section("measured"), parts["stacks"])
    for stack in parts["stacks"]:
        if stack.start_moisture is not None:
            refuse_felling(
                file.section("compare"), parts["compare"].felled_weeks_before, stack.name
            )
    costs, every = parts["costs"], sum(stack.count for stack in parts["stacks"])
    parts["costs"] = replace(costs, minutes=shared_by(costs.minutes, every))
    digest = hashlib.sha256(content).hexdigest()
    return Yard(**parts, site=site, path=Path(path), sha256=digest)


_YARD_KEYS = (
    "name", "invented", "latitude", "longitude", "elevation", "slope", "aspect", "canopy",
    "openness", "units",
)  # fmt: skip


def _site_parts(yard: Section) -> dict[str, Callable[[], float]]:
    """How each number of the place is read."""
    bounds = ("-430 m", "5500 m")
    return {
        "latitude": lambda: yard.number("latitude", -90.0, 90.0),
        "longitude": lambda: yard.number("longitude", -180.0, 180.0),
        "elevation_m": lambda: yard.quantity("elevation", "elevation", bounds),
        "slope_deg": lambda: yard.number("slope", 0.0, 60.0, default=0.0),
        "aspect_deg": lambda: yard.number("aspect", 0.0, 360.0, default=180.0),
    }


def _leaf_site(yard: Section) -> Site:
    """Where leaves come and fall; anywhere if the place is wrong, which is told elsewhere."""
    try:
        return Site(**{key: read() for key, read in _site_parts(yard).items()})
    except InputError:
        return Site(latitude=0.0, longitude=0.0, elevation_m=0.0)


def _stacks(file: Section, site: Site) -> tuple[Stack, ...]:
    sections = list(file.sections("stack"))
    stacks = every_mistake(*(partial(_stack, section, site) for section in sections))
    for number, (section, stack) in enumerate(zip(sections, stacks, strict=True)):
        if stack.name in {other.name for other in stacks[:number]}:
            raise InputError(*section.mistake("name", "another stack has this name").lines)
    if not stacks:
        file.fail("[[stack]]", "missing; describe at least one stack")
    return tuple(stacks)


def _stack(section: Section, site: Site) -> Stack:
    section.only(
        "name",
        "count",
        "fungus",
        "wood",
        "felled",
        "cut",
        "inoculated",
        "start_moisture",
        "pieces",
        "piece_length",
        "diameter",
        "cap_thickness",
        "ground_barrier",
        "cover",
        "watering",
    )
    fungus = section.named("fungus", fungi(), "fungus")
    wood = section.named("wood", woods(), "wood")
    inoculated = section.day("inoculated")
    felled = section.day("felled") if section.has("felled") else None
    if felled is not None and felled > inoculated:
        section.fail("felled", f"must not be after inoculated, {inoculated}")
    cut = section.day("cut") if section.has("cut") else None
    if cut is not None and not (felled or cut) <= cut <= inoculated:
        section.fail("cut", f"must lie between felled and inoculated, {inoculated}")
    return Stack(
        name=section.words("name"),
        count=section.count("count", 1, 100_000, default=1),
        fungus=fungus.name,
        wood=wood.name,
        felled=felled,
        cut=cut,
        inoculated=inoculated,
        start_moisture=_start_moisture(section, wood),
        pieces=section.count("pieces", 1, PIECES_MAX, default=2),
        piece_length_m=section.quantity("piece_length", "length", PIECE_LENGTHS),
        diameter_m=section.quantity("diameter", "length", DIAMETERS),
        cap_thickness_m=section.quantity("cap_thickness", "length", ("0 cm", "30 cm"), "0 cm"),
        spawn_depth_m=math.nan,  # stands under [costs], which may be wrong in its own right
        ground_barrier=section.named("ground_barrier", barriers(), "barrier", "none").name,
        covers=_covers(section, inoculated, site, fungus.horizon_months),
        waterings=tuple(read_watering(each, inoculated) for each in section.sections("watering")),
    )


def _start_moisture(section: Section, wood: Wood) -> float | None:
    """Moisture as a fraction; no wood holds more than its pores (FPL-GTR-190, eq. 4-3)."""
    if not section.has("start_moisture"):
        return None
    lightest = wood.basic_density_kg_m3.low / 1000.0
    full_pct = int(100.0 * (1.0 / lightest - 1.0 / WOOD_CELL_WALL_SPECIFIC_GRAVITY))
    return section.quantity("start_moisture", "share", ("5 %", f"{full_pct} %"))


def _covers(section: Section, inoculated: date, site: Site, months: int) -> tuple[CoverSpan, ...]:
    last = inoculated + timedelta(days=DAYS_PER_MONTH * months)
    spans: list[CoverSpan] = []
    for each in section.sections("cover"):
        for span in read_cover(each, inoculated, site, last):
            _refuse_overlap(each, span, spans, inoculated)
            spans.append(span)
    return tuple(spans)


def _refuse_overlap(
    section: Section, span: CoverSpan, spans: Sequence[CoverSpan], inoculated: date
) -> None:
    for other in spans:
        apart = _ends_by(other, span, inoculated) or _ends_by(span, other, inoculated)
        if other.kind == span.kind and not apart:
            section.fail("kind", f"another {span.kind} is on at the same time")
        if other.kind == span.kind == "bag" and other.material != span.material:
            section.fail(
                "material", f"the bags of one stack are of one material, {other.material}"
            )


def _ends_by(earlier: CoverSpan, later: CoverSpan, inoculated: date) -> bool:
    return earlier.off is not None and earlier.off <= (later.on or inoculated)


def write_starter(folder: Path | str, today: date | None = None) -> Path:
    """Write a commented starter yard file, its season the last one that has begun.

    Parameters
    ----------
    folder : Path or str
        Made if it is not there.
    today : date, optional
        The computer's date if left out.

    Raises
    ------
    InputError
        The folder holds a yard file already, or is no folder.
    RunError
        The disk refuses.
    """
    target = Path(folder) / YARD_FILE
    if target.exists():
        raise InputError(f"{target}: already there; it is left as it is, name another folder")
    today = today or date.today()
    year = today.year if today >= date(today.year, 5, 1) else today.year - 1
    text = (FOLDER / "starter_yard.toml").read_text(encoding="utf-8")
    text = text.replace("2026-", f"{year + 1}-").replace("2025-", f"{year}-")
    for kind, rows in {"fungi": fungi(), "woods": woods(), "canopies": canopies()}.items():
        text = text.replace(f"{{{kind}}}", ", ".join(rows))
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        write_whole(target, text.encode("utf-8"))
    except (FileExistsError, NotADirectoryError) as error:
        raise InputError(f"{folder}: not a folder; name one, or a new one") from error
    except OSError as error:
        raise RunError(f"{target}: cannot be written: {error.strerror or error}") from error
    return target
