"""The yard file: a place, its stacks, covers, waterings and prices, checked and frozen."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Literal, TypeVar

from climate_risk.constants import WOOD_CELL_WALL_SPECIFIC_GRAVITY
from climate_risk.errors import InputError, RunError
from climate_risk.measured_options import Measured, read_measured
from climate_risk.options import (
    CompareOptions,
    CoverOption,
    CoverSpan,
    Watering,
    WateringOption,
    parse_cover_option,
    parse_watering_option,
    read_cover,
    read_watering,
)
from climate_risk.parameter import FOLDER
from climate_risk.plan_options import PlanOptions, read_plan_options, refuse_short_trees
from climate_risk.site import Site
from climate_risk.tables import Wood, barriers, canopies, find, fungi, woods
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

DEFAULT_CANOPIES = ("open", "deciduous", "conifer")
DEFAULT_COVERS = ("none", "paper bag", "shade cloth 60", "paper bag + shade cloth 60")
DEFAULT_WATERINGS = ("none",)

Option = TypeVar("Option", CoverOption, WateringOption)


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
class Costs:
    """Prices, in one currency."""

    currency: str
    spawn_bag: float
    """Of one bag of spawn."""
    spawn_bag_mass_kg: float
    spawn_depth_m: float
    """Layer of spawn on each face."""
    bag: float
    """Of one bag to cover a stack."""
    shade_cloth_per_m2: float
    water_per_litre: float
    labour_per_hour: float
    value_of_stack: float
    """What a stack that fruits is worth."""
    tolerated_chance: float
    """Of losing a stack, 0 to 1."""


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
                "yard", "weather", "stack", "costs", "compare", "plan", "measured"
            ),
            " ": lambda: yard.only(*_YARD_KEYS),
            "name": lambda: yard.words("name"),
            **_site_parts(yard),
            "canopy": lambda: yard.named("canopy", canopies(), "canopy").name,
            "openness": lambda: yard.number("openness", 0.0, 1.0, default=0.0),
            "units": lambda: yard.choice("units", ("us", "metric"), default="us"),
            "invented": lambda: yard.flag("invented", default=False),
            "weather": lambda: read_weather_options(weather),
            "stacks": lambda: _stacks(file),
            "costs": lambda: _costs(file.section("costs")),
            "compare": lambda: _compare(file.section("compare")),
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


def _stacks(file: Section) -> tuple[Stack, ...]:
    sections = list(file.sections("stack"))
    stacks = every_mistake(*(partial(_stack, section) for section in sections))
    for number, (section, stack) in enumerate(zip(sections, stacks, strict=True)):
        if stack.name in {other.name for other in stacks[:number]}:
            raise InputError(*section.mistake("name", "another stack has this name").lines)
    if not stacks:
        file.fail("[[stack]]", "missing; describe at least one stack")
    return tuple(stacks)


def _stack(section: Section) -> Stack:
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
        fungus=section.named("fungus", fungi(), "fungus").name,
        wood=wood.name,
        felled=felled,
        cut=cut,
        inoculated=inoculated,
        start_moisture=_start_moisture(section, wood),
        pieces=section.count("pieces", 1, 10, default=2),
        piece_length_m=section.quantity("piece_length", "length", ("5 cm", "150 cm")),
        diameter_m=section.quantity("diameter", "length", ("5 cm", "60 cm")),
        cap_thickness_m=section.quantity("cap_thickness", "length", ("0 cm", "30 cm"), "0 cm"),
        spawn_depth_m=math.nan,  # stands under [costs], which may be wrong in its own right
        ground_barrier=section.named("ground_barrier", barriers(), "barrier", "none").name,
        covers=_covers(section, inoculated),
        waterings=tuple(read_watering(each, inoculated) for each in section.sections("watering")),
    )


def _start_moisture(section: Section, wood: Wood) -> float | None:
    """Moisture as a fraction; no wood holds more than its pores (FPL-GTR-190, eq. 4-3)."""
    if not section.has("start_moisture"):
        return None
    lightest = wood.basic_density_kg_m3.low / 1000.0
    full_pct = int(100.0 * (1.0 / lightest - 1.0 / WOOD_CELL_WALL_SPECIFIC_GRAVITY))
    return section.quantity("start_moisture", "share", ("5 %", f"{full_pct} %"))


def _covers(section: Section, inoculated: date) -> tuple[CoverSpan, ...]:
    spans: list[CoverSpan] = []
    for each in section.sections("cover"):
        span = read_cover(each, inoculated)
        for other in spans:
            apart = _ends_by(other, span, inoculated) or _ends_by(span, other, inoculated)
            if other.kind == span.kind and not apart:
                each.fail("kind", f"another {span.kind} is on at the same time")
            if other.kind == span.kind == "bag" and other.material != span.material:
                each.fail(
                    "material", f"the bags of one stack are of one material, {other.material}"
                )
        spans.append(span)
    return tuple(spans)


def _ends_by(earlier: CoverSpan, later: CoverSpan, inoculated: date) -> bool:
    return earlier.off is not None and earlier.off <= (later.on or inoculated)


def _costs(section: Section) -> Costs:
    section.only(
        "currency",
        "spawn_bag",
        "spawn_bag_mass",
        "spawn_depth",
        "bag",
        "shade_cloth_per_m2",
        "water_per_litre",
        "labour_per_hour",
        "value_of_stack",
        "tolerated_chance",
    )

    def price(key: str, default: float) -> float:
        return section.number(key, 0.0, 1e6, default)

    return Costs(
        currency=section.words("currency", "USD"),
        spawn_bag=price("spawn_bag", 19.0),
        spawn_bag_mass_kg=section.quantity("spawn_bag_mass", "mass", ("50 g", "50 kg"), "5 lb"),
        spawn_depth_m=section.quantity("spawn_depth", "length", ("1 mm", "50 mm"), "6 mm"),
        bag=price("bag", 0.6),
        shade_cloth_per_m2=price("shade_cloth_per_m2", 1.8),
        water_per_litre=price("water_per_litre", 0.01),
        labour_per_hour=price("labour_per_hour", 20.0),
        value_of_stack=price("value_of_stack", 35.0),
        tolerated_chance=section.number("tolerated_chance", 0.0, 1.0, 0.10),
    )


def _compare(section: Section) -> CompareOptions:
    section.only("canopies", "covers", "waterings")
    return CompareOptions(
        canopies=_canopies(section),
        covers=_options(section, "covers", DEFAULT_COVERS, parse_cover_option),
        waterings=_options(section, "waterings", DEFAULT_WATERINGS, parse_watering_option),
    )


def _canopies(section: Section) -> tuple[str, ...]:
    if not section.has("canopies"):
        return DEFAULT_CANOPIES
    names = []
    for word in section.list_of_words("canopies"):
        try:
            names.append(find(word, canopies(), "canopy").name)
        except InputError as error:
            section.fail("canopies", str(error))
    if len(names) != len(set(names)):
        section.fail("canopies", "an entry stands twice")
    return tuple(names)


def _options(
    section: Section, key: str, usual: tuple[str, ...], parse: Callable[[str], Option]
) -> tuple[Option, ...]:
    options = []
    for text in section.list_of_words(key) if section.has(key) else usual:
        try:
            options.append(parse(text))
        except (ValueError, InputError) as error:
            section.fail(key, str(error))
    if len(options) != len(set(options)):
        section.fail(key, "an entry stands twice")
    return tuple(options)


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
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        write_whole(target, text.encode("utf-8"))
    except (FileExistsError, NotADirectoryError) as error:
        raise InputError(f"{folder}: not a folder; name one, or a new one") from error
    except OSError as error:
        raise RunError(f"{target}: cannot be written: {error.strerror or error}") from error
    return target
