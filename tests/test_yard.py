"""The yard file: what it means, and how each mistake in it is told."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from climate_risk.errors import InputError
from climate_risk.yard import CoverSpan, Watering, read_yard, write_starter

YARD = """\
[yard]
name = "Alder Hollow"
latitude = 39.55
longitude = -79.35
elevation = "2300 ft"
slope = 8
aspect = 110
canopy = "Deciduous"
openness = 0.1
units = "metric"

[weather]
file = "weather.csv"
[weather.columns]
air_temp_max_c = {column = "High", unit = "F"}

[[stack]]
name = "North row"
count = 16
fungus = "gray oyster"
wood = "aspen"
felled = 2025-03-20
inoculated = 2025-04-12
start_moisture = "85 %"
pieces = 3
piece_length = "10 in"
diameter = "10 in"
cap_thickness = "2 in"
ground_barrier = "paper"

[[stack.cover]]
kind = "bag"
material = "paper"
on = 2025-04-12
off = 2026-03-20

[[stack.cover]]
kind = "shade cloth"
percent = 60
on = 2025-10-20

[[stack.watering]]
gallons = 1
every_days = 7
from = 2025-06-15
to = 2025-09-01

[[stack]]
name = "South row"
fungus = "Lions mane"
wood = "sugar maple"
inoculated = "2025-04-19"
piece_length = "30 cm"
diameter = "20 cm"

[costs]
currency = "EUR"
spawn_bag = 19
spawn_bag_mass = "5 lb"
tolerated_chance = 0.2

[compare]
canopies = ["open", "hemlock"]
covers = ["none", "paper bag + shade cloth 60 %"]
waterings = ["none", "1 gal every 7 days"]
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "yard.toml"
    path.write_text(text, encoding="utf-8")
    return path


def mistake(folder: Path, old: str, new: str) -> str:
    assert YARD.count(old) == 1, old
    with pytest.raises(InputError) as error:
        read_yard(write(folder, YARD.replace(old, new)))
    assert error.value.exit_status == 2
    return str(error.value)


def test_every_key_arrives_in_metric_units(tmp_path: Path) -> None:
    path = write(tmp_path, YARD)
    yard = read_yard(path)
    assert (yard.name, yard.canopy, yard.openness) == ("Alder Hollow", "deciduous", 0.1)
    assert (yard.units, yard.invented) == ("metric", False)
    assert yard.site.elevation_m == pytest.approx(701.04)
    assert (yard.site.latitude, yard.site.longitude) == (39.55, -79.35)
    assert (yard.site.slope_deg, yard.site.aspect_deg) == (8.0, 110.0)
    assert yard.weather_file == tmp_path / "weather.csv"
    assert yard.weather_columns == {"air_temp_max_c": {"column": "High", "unit": "F"}}
    assert yard.path == path
    assert yard.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()

    stack = yard.stacks[0]
    assert (stack.name, stack.count, stack.fungus, stack.wood) == (
        "North row",
        16,
        "grey oyster",
        "aspen",
    )
    assert (stack.felled, stack.inoculated) == (date(2025, 3, 20), date(2025, 4, 12))
    assert stack.start_moisture == pytest.approx(0.85)
    assert (stack.pieces, stack.ground_barrier) == (3, "paper")
    assert stack.piece_length_m == pytest.approx(0.254)
    assert stack.diameter_m == pytest.approx(0.254)
    assert stack.cap_thickness_m == pytest.approx(0.0508)
    assert stack.covers == (
        CoverSpan(kind="bag", material="paper", on=date(2025, 4, 12), off=date(2026, 3, 20)),
        CoverSpan(kind="shade cloth", percent=60.0, on=date(2025, 10, 20)),
    )
    assert stack.waterings == (
        Watering(
            litres=pytest.approx(3.785411784),
            every_days=7,
            first=date(2025, 6, 15),
            last=date(2025, 9, 1),
        ),
    )
    assert stack.waterings[0].label == "3.79 L every 7 days"
    assert yard.costs.currency == "EUR"
    assert yard.costs.spawn_bag_mass_kg == pytest.approx(2.26796185)
    assert yard.costs.tolerated_chance == 0.2


def test_what_is_left_out_has_a_stated_default(tmp_path: Path) -> None:
    stack = read_yard(write(tmp_path, YARD)).stacks[1]
    assert (stack.fungus, stack.inoculated) == ("lion's mane", date(2025, 4, 19))
    assert (stack.count, stack.pieces, stack.cap_thickness_m) == (1, 2, 0.0)
    assert (stack.felled, stack.start_moisture, stack.ground_barrier) == (None, None, "none")
    assert (stack.covers, stack.waterings) == ((), ())

    plain = YARD[: YARD.index("[costs]")].replace('[weather]\nfile = "weather.csv"\n', "")
    plain = plain.replace('[weather.columns]\nair_temp_max_c = {column = "High", unit = "F"}', "")
    yard = read_yard(write(tmp_path, plain))
    assert yard.weather_file is None
    assert yard.weather_columns == {}
    assert (yard.costs.currency, yard.costs.spawn_depth_m) == ("USD", 0.006)
    assert yard.compare.canopies == ("open", "deciduous", "conifer")
    assert [option.label for option in yard.compare.covers] == [
        "none",
        "paper bag",
        "shade cloth 60",
        "paper bag + shade cloth 60",
    ]
    assert [option.litres for option in yard.compare.waterings] == [0.0]


def test_options_to_compare_become_objects(tmp_path: Path) -> None:
    compare = read_yard(write(tmp_path, YARD)).compare
    assert compare.canopies == ("open", "conifer")
    bare, both = compare.covers
    assert bare.spans == ()
    assert both.label == "paper bag + shade cloth 60"
    assert both.spans == (
        CoverSpan(kind="bag", material="paper"),
        CoverSpan(kind="shade cloth", percent=60.0),
    )
    none, weekly = compare.waterings
    assert none.litres == 0.0
    assert weekly.litres == pytest.approx(3.785411784)
    assert weekly.every_days == 7


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'diameter = "20 cm"',
            'diameter = "12 inchs"',
            '[[stack]] 2 "South row": diameter = "12 inchs": no unit "inchs"; '
            "use in, ft, cm, mm or m (nearest: in) (line 54)",
        ),
        (
            'diameter = "20 cm"',
            "diameter = 8",
            '[[stack]] 2 "South row": diameter = 8: no unit; '
            'use in, ft, cm, mm or m, as in "12 in" (line 54)',
        ),
        (
            'diameter = "20 cm"',
            'diameter = "-20 cm"',
            '[[stack]] 2 "South row": diameter = "-20 cm": must be 5 cm to 60 cm (line 54)',
        ),
        ('diameter = "20 cm"', "", '[[stack]] 2 "South row": diameter: missing (line 48)'),
        (
            "latitude = 39.55",
            "latitude = 395.5",
            "[yard]: latitude = 395.5: must be -90 to 90 (line 3)",
        ),
        (
            "latitude = 39.55",
            "latitude = nan",
            "[yard]: latitude = NaN: must be -90 to 90 (line 3)",
        ),
        (
            "latitude = 39.55",
            'latitude = "39 N"',
            '[yard]: latitude = "39 N": give it as a number without quotes (line 3)',
        ),
        (
            'elevation = "2300 ft"',
            'elevaton = "2300 ft"',
            '[yard]: elevaton = "2300 ft": unknown key; nearest: elevation; known: name, '
            "invented, latitude, longitude, elevation, slope, aspect, canopy, openness, units "
            "(line 5)",
        ),
        (
            'fungus = "gray oyster"',
            'fungus = "gray oister"',
            '[[stack]] 1 "North row": fungus = "gray oister": no fungus "gray oister"; '
            'nearest: "grey oyster"; known: grey oyster, phoenix oyster, golden oyster, '
            "lion's mane, shiitake (line 20)",
        ),
        (
            "felled = 2025-03-20",
            "felled = 2025-05-20",
            '[[stack]] 1 "North row": felled = 2025-05-20: must not be after inoculated, '
            "2025-04-12 (line 22)",
        ),
        (
            'inoculated = "2025-04-19"',
            'inoculated = "2025-02-30"',
            '[[stack]] 2 "South row": inoculated = "2025-02-30": no such date; '
            "write it as 2025-04-12 (line 52)",
        ),
        (
            'inoculated = "2025-04-19"',
            "inoculated = 0025-04-19",
            '[[stack]] 2 "South row": inoculated = 0025-04-19: the year must be 1900 to 2100 '
            "(line 52)",
        ),
        (
            'start_moisture = "85 %"',
            'start_moisture = "400 %"',
            '[[stack]] 1 "North row": start_moisture = "400 %": must be 5 % to 243 % (line 24)',
        ),
        (
            "count = 16",
            "count = 16.5",
            '[[stack]] 1 "North row": count = 16.5: give it as a whole number without quotes '
            "(line 19)",
        ),
        (
            "off = 2026-03-20",
            "off = 2025-04-12",
            '[[stack]] 1 "North row", [[stack.cover]] 1 "bag": off = 2025-04-12: '
            "must be after on, 2025-04-12 (line 35)",
        ),
        (
            "percent = 60",
            "percent = 600",
            '[[stack]] 1 "North row", [[stack.cover]] 2 "shade cloth": percent = 600: '
            "must be 5 to 95 (line 39)",
        ),
        (
            'kind = "shade cloth"\npercent = 60',
            'kind = "bag"\nmaterial = "plastic"',
            '[[stack]] 1 "North row", [[stack.cover]] 2 "bag": kind = "bag": '
            "another bag is on at the same time (line 38)",
        ),
        (
            'material = "paper"\n',
            'material = "paper"\npercent = 5\n',
            '[[stack]] 1 "North row", [[stack.cover]] 1 "bag": percent = 5: '
            "a bag has a material, not a percent (line 34)",
        ),
        (
            "gallons = 1",
            "gallons = 1\nlitres = 4",
            '[[stack]] 1 "North row", [[stack.watering]] 1: litres = 4: '
            "give either litres or gallons, per stack and time (line 44)",
        ),
        (
            "to = 2025-09-01",
            "to = 2025-06-01",
            '[[stack]] 1 "North row", [[stack.watering]] 1: to = 2025-06-01: '
            "must not be before from, 2025-06-15 (line 46)",
        ),
        (
            'name = "South row"',
            'name = "North row"',
            '[[stack]] 2 "North row": name = "North row": another stack has this name (line 49)',
        ),
        (
            "tolerated_chance = 0.2",
            "tolerated_chance = 20",
            "[costs]: tolerated_chance = 20: must be 0 to 1 (line 60)",
        ),
        (
            '"hemlock"]',
            '"hemlok"]',
            '[compare]: canopies: no canopy "hemlok"; nearest: "conifer"; '
            "known: open, deciduous, conifer, pine, mixed (line 63)",
        ),
        (
            '"hemlock"]',
            '"Open"]',
            "[compare]: canopies: an entry stands twice (line 63)",
        ),
        (
            '["open", "hemlock"]',
            "[]",
            "[compare]: canopies: the list is empty; leave the key out for the usual set "
            "(line 63)",
        ),
        (
            "paper bag + shade cloth 60 %",
            "paper bag + umbrella",
            '[compare]: covers: "umbrella" is no cover; use none, paper bag, plastic bag or '
            'shade cloth 60, joined by " + " (line 64)',
        ),
        (
            "1 gal every 7 days",
            "daily",
            '[compare]: waterings: "daily" is no watering; use none or, say, '
            "4 L every 7 days (line 65)",
        ),
        (
            "[compare]",
            "[comparison]",
            "comparison: unknown key; nearest: compare; known: yard, weather, stack, costs, "
            "compare (line 62)",
        ),
        (
            'name = "Alder Hollow"',
            'name = "Alder\\nHollow"',
            '[yard]: name = "Alder\\nHollow": give it on one line (line 2)',
        ),
        (
            "slope = 8",
            "slope = ",
            "not valid TOML: Invalid value (at line 6, column 9)",
        ),
        (
            "waterings = [",
            "waterings = [[",
            "not valid TOML: Unclosed array (at line 65, end of document)",
        ),
    ],
)
def test_each_mistake_is_one_line_that_names_its_place(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    assert mistake(tmp_path, old, new) == f"yard.toml: {message}"


WRONG_VALUES = (
    "1",
    "-1",
    "1e300",
    "inf",
    "nan",
    "1" + "0" * 400,
    "1" + "0" * 5000,
    "true",
    '""',
    '"x"',
    '"1e999 m"',
    '"a\\u2028b"',
    "[]",
    "[1]",
    '["a\\nb"]',
    "{}",
    "{a = 1}",
    "1979-05-27T07:32:00Z",
    "07:32:00",
    "2025-06-01",
    "[" * 3000 + "]" * 3000,
)


@pytest.mark.parametrize("value", WRONG_VALUES, ids=lambda value: value[:12])
def test_no_value_of_any_kind_gives_more_than_one_line(tmp_path: Path, value: str) -> None:
    lines = YARD.splitlines()
    for number, line in enumerate(lines):
        key, equals, _ = line.partition(" = ")
        if not equals:
            continue
        changed = [*lines[:number], f"{key} = {value}", *lines[number + 1 :]]
        try:
            read_yard(write(tmp_path, "\n".join(changed)))
        except InputError as error:
            told = str(error)
        else:
            continue
        assert told.startswith("yard.toml: ")
        assert len(told.splitlines()) == 1


@pytest.mark.parametrize("key", ['"a\\nb"', '"\\u2028"', '""', "\u00f6"])
def test_no_odd_key_gives_more_than_one_line(tmp_path: Path, key: str) -> None:
    told = mistake(tmp_path, "slope = 8", f"{key} = 8")
    assert len(told.splitlines()) == 1


def test_single_brackets_round_a_stack_are_explained(tmp_path: Path) -> None:
    one = YARD[: YARD.index("[[stack.cover]]")].replace("[[stack]]", "[stack]")
    with pytest.raises(InputError, match=r"stack: write each one under \[\[stack\]\], in double"):
        read_yard(write(tmp_path, one))


@pytest.mark.parametrize("header", ["[yard]", "[[stack]]"])
def test_a_file_without_place_or_stack_is_refused(tmp_path: Path, header: str) -> None:
    text = YARD[YARD.index("[weather]") :] if header == "[yard]" else YARD[: YARD.index("[[")]
    with pytest.raises(InputError) as error:
        read_yard(write(tmp_path, text))
    assert str(error.value).startswith(f"yard.toml: {header}: missing; ")


def test_a_file_that_is_not_text_or_not_there_is_refused(tmp_path: Path) -> None:
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'[yard]\nname = "H\xf6fli"\n')
    with pytest.raises(InputError, match=r"^latin.toml: line 2 is not UTF-8 text"):
        read_yard(latin)
    with pytest.raises(InputError, match=r"nowhere.toml: cannot be read: No such file"):
        read_yard(tmp_path / "nowhere.toml")
    with pytest.raises(InputError, match=r"cannot be read: Is a directory"):
        read_yard(tmp_path)


def test_a_byte_order_mark_and_windows_line_ends_do_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    path.write_bytes(b"\xef\xbb\xbf" + YARD.replace("\n", "\r\n").encode())
    assert read_yard(path).name == "Alder Hollow"


def test_the_same_bag_may_be_renewed(tmp_path: Path) -> None:
    again = '[[stack.cover]]\nkind = "bag"\nmaterial = "paper"\non = 2026-03-20\n\n'
    text = YARD.replace('[[stack.cover]]\nkind = "shade', again + '[[stack.cover]]\nkind = "shade')
    assert len(read_yard(write(tmp_path, text)).stacks[0].covers) == 3


@pytest.mark.parametrize(
    ("today", "inoculated", "bag_off"),
    [
        (date(2027, 8, 1), date(2027, 4, 12), date(2028, 3, 20)),
        (date(2027, 2, 1), date(2026, 4, 12), date(2027, 3, 20)),
    ],
)
def test_the_starter_is_a_valid_yard_in_the_season_that_runs(
    tmp_path: Path, today: date, inoculated: date, bag_off: date
) -> None:
    path = write_starter(tmp_path / "new" / "yard", today=today)
    assert [entry.name for entry in path.parent.iterdir()] == ["yard.toml"]
    yard = read_yard(path)
    assert yard.invented
    assert yard.weather_file is None
    assert yard.stacks[0].inoculated == inoculated
    assert yard.stacks[0].covers[0].off == bag_off


def test_the_starter_overwrites_nothing(tmp_path: Path) -> None:
    path = write(tmp_path, "mine")
    with pytest.raises(InputError, match=r"yard.toml: already there; it is left as it is"):
        write_starter(tmp_path)
    assert path.read_text(encoding="utf-8") == "mine"
    with pytest.raises(InputError, match=r"yard.toml: not a folder; name one, or a new one"):
        write_starter(path)


def test_reading_a_yard_loads_no_heavy_library() -> None:
    code = (
        "import sys, climate_risk.yard;"
        "print(*sorted({'numpy', 'pandas', 'numba', 'scipy', 'matplotlib'} & set(sys.modules)))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert run.stdout.strip() == ""
