"""summary.json, daily.csv, outlook.csv and how files are written."""

from __future__ import annotations

import csv
import itertools
import json
import math
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import report_samples as samples

import climate_risk as cr
from climate_risk.demo_files import demo_folder
from climate_risk.errors import RunError
from climate_risk.parameter import CONFIDENCE
from climate_risk.report import files, summary_lines, tables, write_results
from climate_risk.report import summary as summaries
from climate_risk.risk.chance import COVERAGE

SHARE_COLUMNS = (
    "on_time_fraction",
    "not_fully_run_fraction",
    "killed_by_heat_fraction",
    "killed_by_drought_fraction",
)
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
        summaries.summary(samples.season(*samples.three_stacks()), samples.compare()),
        summaries.summary(samples.few_years_season(), None),
        summaries.summary(samples.ended_season(), None),
        summaries.summary(samples.hopeless_season(), None),
        summaries.summary(None, samples.compare()),
        summaries.summary(None, samples.compare(with_chance=False)),
    ],
)
def test_summary_is_plain_json_without_stand_ins(summary: dict[str, Any]) -> None:
    text = summaries.json_text(summary)
    assert all(value is not None for value in walk(summary))
    for said, meant in zip(walk(json.loads(text)), walk(summary), strict=True):
        if isinstance(meant, float):
            assert said == pytest.approx(meant, rel=1e-5)
        elif not isinstance(meant, dict | list):
            assert said == meant


def test_years_of_an_option_are_rows_under_named_columns() -> None:
    option = summaries.summary(None, samples.compare())["compare"]["stacks"][0]["options"][0]
    years = option["years"]
    assert len(years["rows"]) == 29
    for row in years["rows"]:
        year = dict(zip(years["columns"], row, strict=True))
        assert 1996 <= year["year"] <= 2024
        ends = [value for name, value in year.items() if name in SHARE_COLUMNS]
        assert len(ends) == 4
        assert math.isclose(sum(ends), 1.0)


def test_summary_of_many_years_stays_small() -> None:
    """36 options of 29 years each, in a file that is read in one go: under 300 kB."""
    result = samples.compare()
    three = replace(result, stacks=result.stacks * 2)
    text = summaries.json_text(summaries.summary(samples.season(*samples.three_stacks()), three))
    assert len(text) < 300_000


def test_summary_says_what_made_it_and_from_what() -> None:
    summary = summaries.summary(samples.season(), None)
    assert summary["schema"] == summaries.SCHEMA
    assert summary["program_version"]
    assert summary["inputs"][0] == {"name": "yard.toml", "sha256": "ab" * 32}
    assert summary["weather"]["filled_count"]["precip_mm"] == {
        "neighbour": 41,
        "day-of-year normal": 12,
    }
    stack = summary["season"]["stacks"][0]
    assert stack["as_written"]["driven_by"] == "drought"
    assert stack["as_written"]["chance_of_loss"]["interval_pct"] == 100 * COVERAGE
    assert stack["actions"][0]["latest_date"] == "2025-07-18"
    assert stack["full_run_date"]["p50"] == "2025-10-06"


def test_summary_carries_every_parameter_and_the_source_it_names() -> None:
    said = summaries.summary(samples.season(*samples.three_stacks()), None)["season"]
    columns = said["parameters"]["columns"]
    rows = [dict(zip(columns, row, strict=True)) for row in said["parameters"]["rows"]]
    assert len(rows) == 3 * len(samples.PARAMETERS)
    assert {row["source"] for row in rows} == set(said["sources"])
    assert {(row["name"], row["low"], row["high"], row["unit"]) for row in rows} == {
        ("heat_ref_temp_c", 38.0, 42.0, "degC"),
        ("minutes_per_cover", 1.0, 5.0, "min"),
    }


def test_summary_without_a_chance_has_no_key_for_it() -> None:
    option = summaries.summary(samples.few_years_season(), None)["season"]["stacks"][0][
        "as_written"
    ]
    assert not {"chance_of_loss", "expected_loss_cost", "total_cost"} & option.keys()
    ended = summaries.summary(samples.ended_season(), None)["season"]["stacks"][0]
    assert "full_run_date" not in ended


def test_rival_hours_stand_beside_their_grade() -> None:
    """No survival of logs by their rivals was found in print: the grade is that of judgement."""
    stack = samples.season().stacks[0]
    counted = replace(stack, daily=stack.daily.assign(rival_hours_h=0.5))
    out = summaries.summary(samples.season(counted), None)["season"]["stacks"][0]
    assert out["rival_hours_to_date_h"] == pytest.approx(0.5 * len(stack.daily), abs=0.05)
    assert CONFIDENCE[out["rival_hours_confidence"]] == "judgement"
    without = summaries.summary(samples.season(stack), None)["season"]["stacks"][0]
    assert not {"rival_hours_to_date_h", "rival_hours_confidence"} & without.keys()


def test_outcome_shares_in_the_summary_add_up_to_one() -> None:
    for stack in summaries.summary(None, samples.compare())["compare"]["stacks"]:
        for option in stack["options"]:
            parts = option["outcome_fraction"]
            ends = [parts[name.removesuffix("_fraction")] for name in SHARE_COLUMNS]
            assert math.isclose(sum(ends), 1.0, abs_tol=1e-12)


def test_json_refuses_numbers_it_does_not_have() -> None:
    with pytest.raises(ValueError, match="JSON"):
        summaries.json_text({"value_c": math.nan})


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def check_balance(rows: list[dict[str, str]]) -> None:
    """Water of each day against the day before, to the last digit written (1e-6 kg each)."""
    assert len(rows) > 30
    for before, after in itertools.pairwise(rows):
        change = float(after["log_water_kg"]) - float(before["log_water_kg"])
        flux = float(after["water_in_kg"]) - float(after["water_out_kg"])
        assert math.isclose(change, flux, abs_tol=2.1e-6), after["date"]


def test_daily_csv_has_the_columns_of_the_contract_and_a_closing_balance(tmp_path: Path) -> None:
    result = samples.season(*samples.three_stacks())
    path = files.write_whole(tmp_path / "daily.csv", tables.daily_csv(result))
    assert path.read_text(encoding="utf-8").splitlines()[0] == DAILY_HEADER
    rows = rows_of(path)
    assert len(rows) == sum(len(stack.daily) for stack in result.stacks)
    assert {row["source"] for row in rows} == {"observed", "filled"}
    check_balance([row for row in rows if row["stack"] == "North row"])


def test_daily_csv_of_a_real_run_is_the_reference_run_of_the_days_seen(tmp_path: Path) -> None:
    """The bundled yard's first stack, run to 30 June with two draws on its last years."""
    yard = cr.read_yard(demo_folder() / "yard.toml")
    yard = replace(yard, stacks=yard.stacks[:1])
    weather = cr.load_weather(yard, first=date(2022, 1, 1))
    result = cr.season(yard, weather, as_of=date(2026, 6, 30), draws=2)
    path = files.write_whole(tmp_path / "daily.csv", tables.daily_csv(result))
    assert path.read_text(encoding="utf-8").splitlines()[0] == DAILY_HEADER
    rows = rows_of(path)
    days = [(yard.stacks[0].inoculated + timedelta(days=n)).isoformat() for n in range(80)]
    assert [row["date"] for row in rows] == days
    assert days[-1] == "2026-06-30"
    assert {row["source"] for row in rows} <= {"observed", "filled"}
    check_balance(rows)
    assert sum(float(row["water_out_kg"]) for row in rows) > 0.1
    run = [float(row["colonized_fraction"]) for row in rows]
    assert run == sorted(run)
    alone = cr.simulate(yard, weather, yard.stacks[0], until=date(2026, 6, 30))
    assert [float(row["log_water_kg"]) for row in rows] == pytest.approx(
        alone["log_water_kg"].tolist(), abs=1e-6
    )


def test_outlook_csv_is_one_row_per_day_and_quantity(tmp_path: Path) -> None:
    result = samples.season()
    path = files.write_whole(tmp_path / "outlook.csv", tables.outlook_csv(result))
    rows = rows_of(path)
    outlook = result.stacks[0].outlook
    assert outlook is not None
    assert list(rows[0]) == ["date", "stack", "quantity", "p10", "p50", "p90"]
    assert len(rows) == 6 * len(outlook)
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
    first, second = (
        write_results(tmp_path / name, season=samples.season(), compare=samples.compare())
        for name in "ab"
    )
    for one, other in zip(first, second, strict=True):
        assert one.read_bytes() == other.read_bytes(), one.name


@pytest.mark.parametrize(
    ("kinds", "names"),
    [
        (
            {"season"},
            {"season.html", "season.png", "season.svg", "season.ics", "daily.csv", "outlook.csv"},
        ),
        ({"compare"}, {"compare.html", "compare.png", "compare.svg"}),
    ],
)
def test_written_files_are_those_named_and_nothing_else(
    kinds: set[str], names: set[str], tmp_path: Path
) -> None:
    season = samples.season() if "season" in kinds else None
    compare = samples.compare() if "compare" in kinds else None
    written = write_results(tmp_path, season=season, compare=compare)
    assert {path.name for path in written} == {path.name for path in tmp_path.iterdir()}
    assert {path.name for path in written} == names | {"summary.json"}
    summary = json.loads((tmp_path / "summary.json").read_text(encoding="utf-8"))
    assert {"season", "compare"} & summary.keys() == kinds


def test_without_an_outlook_no_outlook_file_is_written(tmp_path: Path) -> None:
    write_results(tmp_path, season=samples.ended_season())
    assert not (tmp_path / "outlook.csv").exists()


def test_summary_lines_are_one_a_stack() -> None:
    season, compare = samples.season(*samples.three_stacks()), samples.compare()
    lines = summary_lines(season, compare)
    assert len(lines) == 6
    assert lines[-1].startswith("Our default, not yours: ")
    assert all("\n" not in line for line in lines)


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
