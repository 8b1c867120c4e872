"""The yard file: what it means, what it takes for granted, and the starter file."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from climate_risk.errors import InputError
from climate_risk.interventions import LeafFall, LeafOut
from climate_risk.leaves import next_leaf_day, usual_leaf_days
from climate_risk.site import Site
from climate_risk.tables import canopies, fungi, model, woods
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


HARDWOOD_CLOTH = """
[[stack.cover]]
kind = "shade cloth"
percent = 60
on = "leaf fall"
off = "Leaf out"
"""


def with_cloth(folder: Path, cloth: str) -> tuple[CoverSpan, ...]:
    own = '[[stack.cover]]\nkind = "shade cloth"\npercent = 60\non = 2025-10-20\n'
    assert own in YARD
    text = YARD.replace(own, "").replace("[[stack.watering]]", f"{cloth}\n[[stack.watering]]", 1)
    return read_yard(write(folder, text)).stacks[0].covers[1:]


def test_leaf_days_are_the_site_s_own(tmp_path: Path) -> None:
    """At the table's own place, Hubbard Brook, half the leaves are out on 8 May and down on 17
    October or so; a degree of latitude south is four days earlier in spring, two later in
    autumn (tables/model.toml)."""
    (cloth,) = with_cloth(tmp_path, HARDWOOD_CLOTH)
    rows = model()
    assert isinstance(cloth.on, LeafFall)
    assert isinstance(cloth.off, LeafOut)
    assert cloth.on == date(2025, 10, 18)
    assert cloth.off == date(2026, 5, 7)
    at_table = Site(
        latitude=rows.ref_latitude.value, longitude=0.0, elevation_m=rows.ref_elevation_m.value
    )
    assert usual_leaf_days(at_table) == (
        rows.leaf_on_day_at_ref.value,
        rows.leaf_off_day_at_ref.value,
    )
    south = replace(at_table, latitude=-at_table.latitude)
    begun = date(2025, 10, 1)
    apart = next_leaf_day(LeafOut, south, begun) - next_leaf_day(LeafOut, at_table, begun)
    assert abs(apart.days) == pytest.approx(182, abs=1)


def test_a_leafless_cloth_hangs_every_winter_of_the_run(tmp_path: Path) -> None:
    """Shiitake runs for two years, and so two winters; a date on one side makes it one span."""
    plain = YARD.replace('fungus = "gray oyster"', 'fungus = "shiitake"')
    text = plain.replace("on = 2025-10-20\n", 'on = "leaf fall"\noff = "leaf out"\n')
    covers = read_yard(write(tmp_path, text)).stacks[0].covers[1:]
    assert [(c.on.year, c.off.year) for c in covers if c.on and c.off] == [
        (2025, 2026),
        (2026, 2027),
    ]
    one = plain.replace("on = 2025-10-20\n", 'on = 2025-11-01\noff = "leaf out"\n')
    (cloth,) = read_yard(write(tmp_path, one)).stacks[0].covers[1:]
    assert (cloth.on, cloth.off) == (date(2025, 11, 1), date(2026, 5, 7))


@pytest.mark.parametrize(
    ("lines", "field", "price"),
    [
        ("shade_cloth_per_ft2 = 0.17", "shade_cloth_per_m2", 0.17 / 0.09290304),
        ('shade_cloth = "0.17 per sq ft"', "shade_cloth_per_m2", 0.17 / 0.09290304),
        ('shade_cloth = "$17 per 100 sq ft"', "shade_cloth_per_m2", 0.17 / 0.09290304),
        ("shade_cloth_per_m2 = 1.8", "shade_cloth_per_m2", 1.8),
        ("water_per_gallon = 0.04", "water_per_litre", 0.04 / 3.785411784),
        ('water = "4 / 1000 L"', "water_per_litre", 0.004),
        ("spawn_per_lb = 4", "spawn_bag", 20.0),
        ('spawn = "0.25 USD per oz"', "spawn_bag", 20.0),
    ],
)
def test_prices_in_a_grower_s_units(tmp_path: Path, lines: str, field: str, price: float) -> None:
    """Square foot, gallon and pound by NIST SP 811 (2008), appendix B.8; a bag holds 5 lb."""
    head = YARD[: YARD.index("[costs]")]
    costs = read_yard(write(tmp_path, f"{head}[costs]\n{lines}\n")).costs
    assert getattr(costs, field) == pytest.approx(price, rel=1e-12)
    assert field not in costs.ours
    assert "labour_per_hour" in costs.ours
    assert "tolerated_chance" in costs.ours
    assert costs.unknown == ()


def test_prices_are_not_made_up_in_another_currency(tmp_path: Path) -> None:
    """The file is in euro and gives a bag of spawn and a limit: nothing else is known."""
    costs = read_yard(write(tmp_path, YARD)).costs
    assert costs.ours == ()
    assert set(costs.unknown) == {
        "bag", "shade_cloth_per_m2", "water_per_litre", "labour_per_hour", "value_of_stack"
    }  # fmt: skip
    assert (costs.spawn_bag, costs.tolerated_chance) == (19.0, 0.2)


def test_every_list_to_compare_is_read_and_a_missing_one_is_the_stack_s_own(
    tmp_path: Path,
) -> None:
    lists = """[compare]
covers = ["as written", "paper bag open at the foot", "shade cloth 60 from 20 Oct to leaf out"]
start_weeks = [-2, 0, 1.5]
piece_lengths = ["10 1/2 in"]
diameters = ["6 in", "20 cm"]
pieces = [2, 3]
fungi = ["gray oyster"]
woods = ["aspen", "red maple"]
"""
    head = YARD[: YARD.index("[compare]")]
    found = read_yard(write(tmp_path, head + lists)).compare
    assert (found.canopies, found.waterings) == ((None,), (None,))
    own, bag, cloth = found.covers
    assert own is None
    assert bag is not None
    assert bag.spans[0].foot == "open"
    assert cloth is not None
    assert cloth.days == (((10, 20), LeafOut),)
    assert found.start_weeks == (-2.0, 0.0, 1.5)
    assert found.felled_weeks_before == (None,)
    assert found.piece_lengths_m == pytest.approx((0.2667,))
    assert found.diameters_m == pytest.approx((0.1524, 0.2))
    assert found.pieces == (2, 3)
    assert found.fungi == ("grey oyster",)
    assert found.woods == ("aspen", "red maple")


def test_the_starter_names_every_row_that_works(tmp_path: Path) -> None:
    text = write_starter(tmp_path / "all").read_text(encoding="utf-8")
    for name in (*fungi(), *woods(), *canopies()):
        assert name in text
    assert "{" not in "".join(line for line in text.splitlines() if line.startswith("# Fungi"))
