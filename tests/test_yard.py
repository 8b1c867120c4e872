"""The yard file: what it means, what it takes for granted, and the starter file."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from climate_risk.errors import InputError
from climate_risk.yard import CoverSpan, Watering, read_yard, write_starter

YARD = (Path(__file__).parent / "data" / "full_yard.toml").read_text(encoding="utf-8")


def write(folder: Path, text: str) -> Path:
    path = folder / "yard.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_key_arrives_in_metric_units(tmp_path: Path) -> None:
    path = write(tmp_path, YARD)
    yard = read_yard(path)
    assert (yard.name, yard.canopy, yard.openness) == ("Alder Hollow", "deciduous", 0.1)
    assert (yard.units, yard.invented) == ("metric", False)
    assert yard.site.elevation_m == pytest.approx(701.04)
    assert (yard.site.latitude, yard.site.longitude) == (39.55, -79.35)
    assert (yard.site.slope_deg, yard.site.aspect_deg) == (8.0, 110.0)
    (source,) = yard.weather.sources
    assert source.file == tmp_path / "weather.csv"
    assert source.columns == {"air_temp_max_c": {"column": "High", "unit": "F"}}
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
    assert [(each.file, each.columns) for each in yard.weather.sources] == [(None, {})]
    assert (yard.costs.currency, yard.costs.spawn_depth_m) == ("USD", 0.006)
    assert yard.compare.canopies == ("open", "deciduous", "conifer")
    bag = CoverSpan(kind="bag", material="paper")
    cloth = CoverSpan(kind="shade cloth", percent=60.0)
    assert [option.spans for option in yard.compare.covers] == [(), (bag,), (cloth,), (bag, cloth)]
    assert [option.litres for option in yard.compare.waterings] == [0.0]


def test_options_to_compare_become_objects(tmp_path: Path) -> None:
    compare = read_yard(write(tmp_path, YARD)).compare
    assert compare.canopies == ("open", "conifer")
    bare, both = compare.covers
    assert bare.spans == ()
    assert both.spans == (
        CoverSpan(kind="bag", material="paper"),
        CoverSpan(kind="shade cloth", percent=60.0),
    )
    none, weekly = compare.waterings
    assert none.litres == 0.0
    assert weekly.litres == pytest.approx(3.785411784)
    assert weekly.every_days == 7


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
    assert yard.weather.sources[0].file is None
    assert yard.stacks[0].inoculated == inoculated
    assert yard.stacks[0].covers[0].off == bag_off


def test_an_interrupted_starter_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_starter(tmp_path)
    assert list(tmp_path.iterdir()) == []


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


def test_the_spawn_layer_is_as_deep_as_the_file_says_in_every_stack(tmp_path: Path) -> None:
    text = YARD.replace("spawn_bag = 19\n", 'spawn_bag = 19\nspawn_depth = "12 mm"\n')
    yard = read_yard(write(tmp_path, text))
    assert [stack.spawn_depth_m for stack in yard.stacks] == pytest.approx([0.012, 0.012])
