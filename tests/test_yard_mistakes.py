"""How each mistake in a yard file is told: one line that names its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from climate_risk.errors import InputError
from climate_risk.yard import read_yard

YARD = (Path(__file__).parent / "data" / "full_yard.toml").read_text(encoding="utf-8")

TOML_ACCEPTS = (
    "; accepted are dates as 2026-04-12, numbers without units, all else in quotes, each key once"
)


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
            'waterings = ["none", "1 gal every 7 days"]',
            "pieces = [1, 2, 3, 4, 5, 6, 7, 8]\nstart_weeks = [0, 1, 2, 3, 4]",
            "[compare]: pieces: 2 canopies x 2 covers x 5 start weeks x 8 pieces make 160 "
            "options, accepted are up to 120; shorten a list (line 65)",
        ),
        (
            'waterings = ["none", "1 gal every 7 days"]',
            "felled_weeks_before = [1, 3]",
            '[compare]: felled_weeks_before: stack "North row" gives start_moisture, so that its '
            "felling does not matter; accepted is one of the two (line 65)",
        ),
        (
            'waterings = ["none", "1 gal every 7 days"]',
            "start_weeks = [0, 30]",
            "[compare]: start_weeks: each must be -26 to 26 (line 65)",
        ),
        (
            'waterings = ["none", "1 gal every 7 days"]',
            "start_weeks = 2",
            "[compare]: start_weeks = 2: give it as a list of numbers such as [2, 4] (line 65)",
        ),
        (
            'waterings = ["none", "1 gal every 7 days"]',
            "pieces = [1.5]",
            "[compare]: pieces: each must be a whole number (line 65)",
        ),
        (
            'waterings = ["none", "1 gal every 7 days"]',
            'diameters = ["6 ft"]',
            '[compare]: diameters: "6 ft": must be 5 cm to 60 cm (line 65)',
        ),
        (
            "paper bag + shade cloth 60 %",
            "shade cloth 60 from leaf drop",
            '[compare]: covers: "leaf drop" is no day of the year; use leaf fall, leaf out, or a '
            "day and month such as 20 Oct (line 64)",
        ),
        (
            "on = 2025-10-20",
            'on = "leaf-fall"',
            '[[stack]] 1 "North row", [[stack.cover]] 2 "shade cloth": on = "leaf-fall": no such '
            'date; write it as 2025-04-12, or as "leaf fall" or "leaf out" (line 40)',
        ),
        (
            "spawn_bag = 19",
            "spawn_bag = 19\nspawn_per_lb = 4",
            "[costs]: spawn_bag = 19: spawn is priced twice, by the bag and by weight; keep one "
            "(line 58)",
        ),
        (
            "spawn_bag = 19",
            "shade_cloth_per_m2 = 2\nshade_cloth_per_ft2 = 0.2",
            "[costs]: shade_cloth_per_m2 = 2: priced twice; keep this or shade_cloth_per_ft2 "
            "(line 58)",
        ),
        (
            "spawn_bag = 19",
            'shade_cloth = "cheap"',
            '[costs]: shade_cloth = "cheap": give it as a price for an amount, such as '
            '"0.2 per sq ft" (line 58)',
        ),
        (
            "spawn_bag = 19",
            'water = "2 per yd"',
            '[costs]: water = "2 per yd": no unit "yd"; use gal, L or mL (line 58)',
        ),
        (
            "[compare]",
            "[comparison]",
            "comparison: unknown key; nearest: compare; known: yard, weather, stack, water, "
            "costs, compare, plan, measured (line 62)",
        ),
        (
            'name = "Alder Hollow"',
            'name = "Alder\\nHollow"',
            '[yard]: name = "Alder\\nHollow": give it on one line (line 2)',
        ),
        (
            "slope = 8",
            "slope = ",
            f"not valid TOML: Invalid value (at line 6, column 9){TOML_ACCEPTS}",
        ),
        (
            "waterings = [",
            "waterings = [[",
            f"not valid TOML: Unclosed array (at line 65, end of document){TOML_ACCEPTS}",
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
