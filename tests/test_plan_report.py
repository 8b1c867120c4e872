"""What the plan says and writes: words, tables, page, summary, command."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import replace
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import climate_risk as cr
from climate_risk.cli import main
from climate_risk.report import plan_page, plan_rows, plan_words
from climate_risk.risk.results_plan import PlanResult, Ranged
from climate_risk.units import METRES_PER_INCH, Units

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_data"
US, METRIC = Units("us"), Units("metric")


@pytest.fixture(scope="module")
def result() -> PlanResult:
    yard = cr.read_yard(SAMPLE / "yard.toml")
    return cr.plan(yard, cr.load_weather(yard))


@pytest.fixture(scope="module")
def dry() -> PlanResult:
    """Without weather."""
    return cr.plan(cr.read_yard(SAMPLE / "yard.toml"))


@pytest.fixture(scope="module")
def dry_page(dry: PlanResult) -> str:
    return plan_page.plan_page(dry)


def inches(text: str) -> Fraction:
    """``1 ft 2 3/8 in`` as inches, read apart from what wrote it."""
    feet, _, rest = text.rpartition(" ft ")
    parts = [Fraction(part) for part in rest.removesuffix(" in").split()]
    return 12 * Fraction(feet or 0) + sum(parts)


@given(st.floats(0.004, 12.0))
def test_a_tape_shows_the_nearest_eighth(length_m: float) -> None:
    shown = inches(plan_words.tape(length_m, US))
    assert (shown * 8).denominator == 1
    assert float(shown) * METRES_PER_INCH == pytest.approx(
        length_m, abs=METRES_PER_INCH / 16 + 1e-9
    )


@pytest.mark.parametrize(
    ("length_in", "shown"),
    [(2.375, "2 3/8 in"), (0.5, "1/2 in"), (12.0, "1 ft 0 in"), (30.75, "2 ft 6 3/4 in")],
)
def test_a_tape_reads_as_one_says_it(length_in: float, shown: str) -> None:
    assert plan_words.tape(length_in * METRES_PER_INCH, US) == shown


def test_the_cutting_list_has_every_cut_once(result: PlanResult) -> None:
    (stack,) = result.stacks
    ways = plan_words.trees_of(stack)
    assert sum(number for number, _ in ways) == len(stack.trees)
    for (_, _, rows), (_, tree) in zip(plan_rows.cutting_tables(stack, METRIC), ways, strict=True):
        marks = [cell for row in rows for cell in row[1:] if cell]
        ends = [cut.end_m for cut in tree.cuts if cut.kind != "trim"]
        assert marks == [f"{100 * end:.1f} cm" for end in ends]


def test_the_saved_list_holds_the_trees(result: PlanResult) -> None:
    rows = list(csv.DictReader(plan_page.cutting_csv(result).decode().splitlines()))
    cuts = [cut for tree in result.stacks[0].trees for cut in tree.cuts]
    assert len(rows) == len(cuts)
    for row, cut in zip(rows, cuts, strict=True):
        assert row["what"] == cut.kind
        assert float(row["to_cm"]) == pytest.approx(100 * cut.end_m, abs=0.051)
        assert float(row["to_in"]) * 2.54 == pytest.approx(100 * cut.end_m, abs=0.02)


def heavy(result: PlanResult, low: float, value: float, high: float) -> str:
    mass = Ranged(value=value, low=low, high=high)
    return plan_words.lift_sentence(
        replace(result.stacks[0], piece_mass_kg=mass), result.lift_alone_kg, US
    )


def test_who_may_lift_follows_from_the_weight(result: PlanResult) -> None:
    assert "two people or a cart" in heavy(result, 25.0, 30.0, 36.0)
    assert "may pass 51 lb" in heavy(result, 18.0, 22.0, 27.0)
    assert "under 51 lb" in heavy(result, 5.0, 6.0, 7.0)


def test_weeks_stand_first_and_own_dates_are_judged(result: PlanResult) -> None:
    (stack,) = result.stacks
    said = plan_words.weeks_sentences(result, stack)
    assert said[0].startswith("Inoculate from ")
    assert "80 % of 32 past years" in said[0]
    assert not any("Your yard file" in text for text in said)
    late = replace(stack, felled=date(2026, 7, 1), inoculated=date(2026, 7, 4))
    (own,) = [t for t in plan_words.weeks_sentences(result, late) if "Your yard file" in t]
    assert "inoculated on 4 Jul 2026, outside these weeks" in own
    assert "3 days from felling to inoculation, not 14 to 42" in own


def test_one_year_is_called_a_hint(result: PlanResult) -> None:
    assert result.spring is not None
    few = replace(result, spring=replace(result.spring, years=1))
    assert "a hint, no more" in plan_words.weeks_sentences(few, few.stacks[0])[0]


def test_without_weather_it_says_so(dry: PlanResult, dry_page: str) -> None:
    assert plan_words.weeks_sentences(dry, dry.stacks[0])[0] == plan_words.NO_WEEKS
    assert plan_words.NO_WEEKS in dry_page
    assert "Inoculate from" not in dry_page
    cells = {cell for row in plan_rows.pair_rows(dry) for cell in row[1:]}
    assert cells == {"good", "fair", "poor"}


def test_the_page_shows_every_caution_and_defers_to_local_codes(dry_page: str) -> None:
    for name, _ in plan_words.CAUTIONS:
        assert f"<dt>{name}</dt>" in dry_page
    for words in ("local codes", "quarantine", "competent person", "chaps", "not native"):
        assert words in dry_page


def test_the_summary_has_the_keys_that_others_rely_on(result: PlanResult, dry: PlanResult) -> None:
    made = plan_page.plan_summary(result)["plan"]
    (stack,) = made["stacks"]
    assert stack["spawn_kg"]["low"] < stack["spawn_kg"]["value"] < stack["spawn_kg"]["high"]
    assert {"piece_mass_kg", "cost"} <= stack.keys()
    window = made["inoculation_window"]
    assert 1 <= window["first_day_of_year"] < window["last_day_of_year"] <= 365
    without = plan_page.plan_summary(dry)
    assert "inoculation_window" not in without["plan"]
    assert "weather" not in without


def test_units_never_mix(result: PlanResult) -> None:
    page = plan_page.plan_page(replace(result, units="metric", stacks=result.stacks * 4))
    shown = page[: page.index("What the numbers rest on")]
    assert " kg" in shown
    for unit in (" lb", " ft ", " in."):
        assert unit not in shown


def test_the_command_writes_its_files(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["plan", str(SAMPLE), "--out", str(tmp_path)]) == 0
    assert {path.name for path in tmp_path.iterdir()} == {
        "plan.html", "plan.png", "plan.svg", "plan.csv", "summary.json"
    }  # fmt: skip
    out = capsys.readouterr().out
    assert "a fresh piece weighs" in out
    assert "Inoculate from" in out
    assert "plan" in json.loads((tmp_path / "summary.json").read_text())


def test_the_plan_goes_on_without_the_network(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from climate_risk import api
    from climate_risk.errors import RunError

    def refuse(*_: object, **__: object) -> None:
        raise RunError("no station answers")

    monkeypatch.setattr(api, "load_weather", refuse)
    assert main(["plan", str(SAMPLE), "--out", str(tmp_path)]) == 0
    told = capsys.readouterr()
    assert "no station answers" in told.err
    assert "goes on without weather" in told.err
    assert plan_words.NO_WEEKS in told.out


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ('tree_length = "8 in"', 'tree_length = "8 in": too short for one piece'),
        ("tree_length = 24", "tree_length = 24: no unit; use in, ft, cm, mm or m"),
        ('tree_length = "24 yards"', 'no unit "yards"'),
        ('kerf = "2 in"', 'kerf = "2 in": must be 0 mm to 30 mm'),
        ('tree_lenght = "24 ft"', "unknown key; nearest: tree_length"),
        ('trim = "-1 in"', "must be 0 cm to 100 cm"),
    ],
)
def test_mistakes_in_the_plan_are_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, lines: str, told: str
) -> None:
    text = (SAMPLE / "yard.toml").read_text()
    start, end = text.index("[plan]"), text.index("[costs]")
    (tmp_path / "yard.toml").write_text(f"{text[:start]}[plan]\n{lines}\n\n{text[end:]}")
    out = tmp_path / "out"
    assert main(["plan", str(tmp_path), "--out", str(out)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert told in line
    assert "yard.toml: [plan]" in line
    assert "(line " in line
    assert not out.exists()


def test_a_slow_pair_is_told_of_faster_fungi(result: PlanResult) -> None:
    (stack,) = result.stacks
    assert "within 24 months" in plan_words.pair_sentence(result, stack)
    slow = next(p for p in result.pairs if (p.fungus, p.wood) == ("grey oyster", "red oak"))
    oak = replace(stack, fungus="grey oyster", wood="red oak", pair=slow)
    said = plan_words.pair_sentence(result, oak)
    assert said.startswith("Red oak is poor wood for grey oyster")
    assert "shiitake" in said
    assert "golden oyster" not in said


def test_a_price_that_is_not_known_is_said_and_left_out() -> None:
    """In a currency that our defaults are not in: what needs the price has no number."""
    yard = cr.read_yard(SAMPLE / "yard.toml")
    found = cr.plan(replace(yard, costs=replace(yard.costs, spawn_bag=math.nan)))
    (stack,) = found.stacks
    rows = dict(row[:2] for row in plan_rows.cost_rows(stack, "NOK"))
    assert rows["spawn, by weight"] == rows["sum"] == plan_words.NO_PRICE
    assert rows["cutting and stacking"].startswith("NOK 8.33")
    assert any("the price of a bag of spawn" in line for line in plan_page.summary_lines(found))
    made = plan_page.plan_summary(found)
    assert "cost" not in made["plan"]["stacks"][0]
    assert "price" not in made["plan"]["spawn"][0]
    json.dumps(made, allow_nan=False)
    assert "nan" not in plan_page.plan_page(found).split("<main")[1].split("Values and")[0]


def test_our_own_prices_are_marked_on_the_page(dry_page: str) -> None:
    yard = cr.read_yard(SAMPLE / "yard.toml")
    ours = cr.plan(replace(yard, costs=replace(yard.costs, ours=("labour_per_hour",))))
    said = "Our default, not yours: labour USD 20.00 an hour."
    assert said in plan_page.plan_page(ours)
    assert said not in dry_page


def test_weather_without_a_spring_gives_no_weeks() -> None:
    yard = cr.read_yard(SAMPLE / "yard.toml")
    weather = cr.load_weather(yard, first=date(2025, 6, 1), last=date(2025, 12, 31))
    found = cr.plan(yard, weather)
    assert plan_words.weeks_sentences(found, found.stacks[0])[0] == plan_words.NO_SPRING
    assert all(pair.run_share is None for pair in found.pairs)
    assert plan_words.NO_SPRING in plan_page.plan_page(found)
