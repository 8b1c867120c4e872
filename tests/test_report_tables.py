"""summary.json, daily.csv, outlook.csv and how files are written."""

from __future__ import annotations

import csv
import json
import math
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import itertools

import report_samples as samples

from climate_risk.errors import RunError
from climate_risk.report import files, tables, write_compare, write_season

DAILY_HEADER = (
    "date,stack,canopy,cover,watering,source,air_temp_max_c,air_temp_min_c,vpd_max_kpa,rh_min_pct,"
    "shortwave_mj_m2,bark_temp_max_c,core_temp_mean_c,moisture_mean_pct,moisture_driest_face_pct,"
    "colonized_fraction,heat_stress,drought_stress,log_water_kg,water_in_kg,water_out_kg"
)


def walk(value: Any) -> Iterator[Any]:
    yield value
    if isinstance(value, dict):
        for item in value.values():
            yield from walk(item)
    if isinstance(value, list):
        for item in value:
            yield from walk(item)


@pytest.mark.parametrize(
    "summary",
    [
        tables.season_summary(samples.season(*samples.three_stacks())),
        tables.season_summary(samples.few_years_season()),
        tables.season_summary(samples.ended_season()),
        tables.season_summary(samples.hopeless_season()),
        tables.compare_summary(samples.compare()),
        tables.compare_summary(samples.compare(with_chance=False)),
    ],
)
def test_summary_is_plain_json_without_stand_ins(summary: dict[str, Any]) -> None:
    assert json.loads(tables.json_text(summary)) == summary
    assert all(value is not None for value in walk(summary))


def test_summary_says_what_made_it_and_from_what() -> None:
    summary = tables.season_summary(samples.season())
    assert summary["schema"] == 1
    assert summary["program_version"]
    assert summary["inputs"][0] == {"name": "yard.toml", "sha256": "ab" * 32}
    assert summary["weather"]["filled_count"]["precip_mm"] == {
        "neighbour": 41,
        "day-of-year normal": 12,
    }
    stack = summary["stacks"][0]
    assert stack["as_written"]["driven_by"] == "drought"
    assert stack["actions"][0]["latest_date"] == "2025-07-18"
    assert stack["full_run_date"]["p50"] == "2025-10-06"


def test_summary_without_a_chance_has_no_key_for_it() -> None:
    option = tables.season_summary(samples.few_years_season())["stacks"][0]["as_written"]
    assert not {"chance_of_loss", "expected_loss_cost", "total_cost"} & option.keys()
    ended = tables.season_summary(samples.ended_season())["stacks"][0]
    assert "full_run_date" not in ended


def test_outcome_shares_in_the_summary_add_up_to_one() -> None:
    for stack in tables.compare_summary(samples.compare())["stacks"]:
        for option in stack["options"]:
            assert math.isclose(sum(option["outcome_fraction"].values()), 1.0, abs_tol=1e-12)


def test_json_refuses_numbers_it_does_not_have() -> None:
    with pytest.raises(ValueError, match="JSON"):
        tables.json_text({"value_c": math.nan})


def test_daily_csv_has_the_columns_of_the_contract_and_a_closing_balance(tmp_path: Path) -> None:
    result = samples.season(*samples.three_stacks())
    path = tables.write_daily_csv(result, tmp_path / "daily.csv")
    assert path.read_text(encoding="utf-8").splitlines()[0] == DAILY_HEADER
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == sum(len(stack.daily) for stack in result.stacks)
    assert {row["source"] for row in rows} == {"observed", "filled"}
    one = [row for row in rows if row["stack"] == "North row"]
    for before, after in itertools.pairwise(one):
        change = float(after["log_water_kg"]) - float(before["log_water_kg"])
        flux = float(after["water_in_kg"]) - float(after["water_out_kg"])
        assert math.isclose(change, flux, abs_tol=3e-6)


def test_outlook_csv_is_one_row_per_day_and_quantity(tmp_path: Path) -> None:
    result = samples.season()
    path = tables.write_outlook_csv(result, tmp_path / "outlook.csv")
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    outlook = result.stacks[0].outlook
    assert outlook is not None
    assert len(rows) == 4 * len(outlook)
    assert all(float(r["p10"]) <= float(r["p50"]) <= float(r["p90"]) for r in rows)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (1.5, 3, "1.5"),
        (-0.0001, 2, "0"),
        (0.0, 2, "0"),
        (100.0, 0, "100"),
        (12.345678, 3, "12.346"),
        (math.nan, 2, ""),
    ],
)
def test_numbers_are_short_and_never_minus_zero(value: float, digits: int, text: str) -> None:
    assert tables.number_text(value, digits) == text


def test_two_runs_write_equal_bytes(tmp_path: Path) -> None:
    first = [*write_season(samples.season(), tmp_path / "a")]
    second = [*write_season(samples.season(), tmp_path / "b")]
    first += write_compare(samples.compare(), tmp_path / "c")
    second += write_compare(samples.compare(), tmp_path / "d")
    for one, other in zip(first, second, strict=True):
        assert one.read_bytes() == other.read_bytes(), one.name


def test_written_files_are_those_named_and_nothing_else(tmp_path: Path) -> None:
    written = write_season(samples.season(), tmp_path)
    assert {path.name for path in written} == {path.name for path in tmp_path.iterdir()}
    assert {path.name for path in written} == {
        "season.html", "season.png", "season.svg", "daily.csv", "outlook.csv", "summary.json",
    }  # fmt: skip


def test_without_an_outlook_no_outlook_file_is_written(tmp_path: Path) -> None:
    write_season(samples.ended_season(), tmp_path)
    assert not (tmp_path / "outlook.csv").exists()


def test_a_failed_write_leaves_the_old_file_and_no_scrap(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = files.write_whole(tmp_path / "summary.json", "old")

    def fail(self: Path, other: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(RunError, match="No space left"):
        files.write_whole(target, "new")
    assert target.read_text(encoding="utf-8") == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["summary.json"]


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    blocker = tmp_path / "file"
    blocker.write_text("in the way", encoding="utf-8")
    with pytest.raises(RunError, match="choose another folder") as caught:
        files.write_whole(blocker / "out" / "summary.json", "{}")
    assert "\n" not in str(caught.value)
