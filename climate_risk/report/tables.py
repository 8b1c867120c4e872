"""Results as tables for people and other programs: summary.json, daily.csv, outlook.csv."""

from __future__ import annotations

import csv
import io
import json
import math
from datetime import date
from pathlib import Path
from typing import Any

from climate_risk.fungus import competitors
from climate_risk.report.files import write_whole
from climate_risk.report.words import cause
from climate_risk.risk.results import (
    Action,
    Chance,
    CompareResult,
    OptionResult,
    SeasonResult,
    StackCompare,
    StackSeason,
    Uncertainty,
    YearResult,
)
from climate_risk.version import program_version
from climate_risk.weather.summary import WeatherSummary

SCHEMA = 1
"""Raised when a key changes its meaning or goes; new keys do not raise it."""
QUANTILES = ("p10", "p50", "p90")
IDENTITY = ("date", "stack", "canopy", "cover", "watering")
DAILY_DIGITS = {
    "air_temp_max_c": 2,
    "air_temp_min_c": 2,
    "vpd_max_kpa": 3,
    "rh_min_pct": 1,
    "shortwave_mj_m2": 2,
    "bark_temp_max_c": 2,
    "core_temp_mean_c": 2,
    "moisture_mean_pct": 3,
    "moisture_driest_face_pct": 3,
    "colonized_fraction": 5,
    "heat_stress": 6,
    "drought_stress": 6,
    "log_water_kg": 6,
    "water_in_kg": 6,
    "water_out_kg": 6,
}
"""Digits after the point; water to the milligram, so that its balance can be added up."""

OUTLOOK_DIGITS = {name: 1 for name in ("air_temp_max_c", "bark_temp_max_c")} | {
    name: 2 for name in ("moisture_mean_pct", "moisture_driest_face_pct")
}
OTHER_DIGITS = 3
"""Of the outlook's other quantities, which are fractions and doses."""
JSON_DIGITS = 6
"""Significant digits: more than any of these numbers has."""
YEAR_COLUMNS = (
    "year",
    "on_time_fraction",
    "delayed_fraction",
    "killed_by_heat_fraction",
    "killed_by_drought_fraction",
    "moisture_driest_face_pct",
    "bark_temp_max_c",
    "colonized_fraction",
)
"""One past year under one option; shares and medians are over parameter draws."""
Json = dict[str, Any]


def summary(season: SeasonResult | None, compare: CompareResult | None) -> Json:
    """What was run, as plain values under one head; what is not known has no key."""
    first = season if season is not None else compare
    if first is None:
        raise ValueError("nothing was run")
    out = head(first)
    if season is not None:
        out["season"] = {
            "as_of_date": season.as_of.isoformat(),
            "balance": _balance(season),
            "stacks": [_season_stack(stack) for stack in season.stacks],
        }
    if compare is not None:
        out["compare"] = {
            "first_year": compare.first_year,
            "last_year": compare.last_year,
            "years_count": compare.years,
            "draws_count": compare.draws,
            "balance": _balance(compare),
            "stacks": [_compare_stack(stack) for stack in compare.stacks],
        }
    return out


def kept_beside(made: Json, path: Path) -> Json:
    """A summary with what the one before it says of the other command, of the same inputs."""
    try:
        before = json.loads(path.read_text(encoding="utf-8"))
        same = before["inputs"] == made["inputs"] and before["schema"] == made["schema"]
    except (OSError, ValueError, KeyError, TypeError):
        return made
    if not same:
        return made
    return made | {n: before[n] for n in ("season", "compare") if n in before and n not in made}


def json_text(summary: Json) -> str:
    """JSON without spare spaces, numbers to six digits; refuses numbers JSON does not have."""
    short = _shortened(summary)
    return json.dumps(short, separators=(",", ":"), ensure_ascii=False, allow_nan=False) + "\n"


def _shortened(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _shortened(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_shortened(item) for item in value]
    return float(f"{value:.{JSON_DIGITS}g}") if isinstance(value, float) else value


def _balance(result: SeasonResult | CompareResult) -> Json:
    return {
        "water_residual_fraction": result.water_residual,
        "energy_residual_fraction": result.energy_residual,
    }


def head(result: SeasonResult | CompareResult | WeatherSummary) -> Json:
    """What every run says of itself: program, yard, inputs, weather."""
    coverage = result.coverage
    return {
        "schema": SCHEMA,
        "program": "climate-risk",
        "program_version": program_version(),
        "yard": result.yard_name,
        "invented": result.invented,
        "tolerated_chance_fraction": result.tolerated_chance,
        "currency": result.currency,
        "inputs": [{"name": name, "sha256": digest} for name, digest in result.inputs.items()],
        "weather": {
            "source": coverage.source,
            "first_date": coverage.first.isoformat(),
            "last_date": coverage.last.isoformat(),
            "days_count": coverage.days,
            "filled_count": coverage.filled,
            "estimated": coverage.estimated,
            "warnings": list(coverage.warnings),
            "attribution": coverage.attribution,
        },
    }


def _season_stack(stack: StackSeason) -> Json:
    full_run = {
        name: value.isoformat()
        for name, value in zip(QUANTILES, stack.full_run, strict=True)
        if value is not None
    }
    out: Json = {
        "name": stack.name,
        "stacks_count": stack.count,
        "fungus": stack.fungus,
        "wood": stack.wood,
        "inoculated_date": stack.inoculated.isoformat(),
        "horizon_date": stack.horizon.isoformat(),
        "as_written": _option(stack.result),
        "under_canopies": [_option(option) for option in stack.under_canopies],
        "spells": [
            {
                "first_date": spell.first.isoformat(),
                "last_date": spell.last.isoformat(),
                "air_temp_max_c": spell.air_temp_max_c,
                "rain_mm": spell.rain_mm,
            }
            for spell in stack.spells
        ],
        "actions": [_action(action) for action in stack.actions],
        "moisture_stop_pct": stack.moisture_stop_pct,
        "moisture_slow_pct": stack.moisture_slow_pct,
        "growth_temp_max_c": stack.growth_temp_max_c,
    }
    if "rival_hours_h" in stack.daily:
        out["rival_hours_to_date_h"] = round(float(stack.daily["rival_hours_h"].sum()), 1)
        out["rival_hours_confidence"] = competitors.CONFIDENCE
    if full_run:
        out["full_run_date"] = full_run
    if stack.lost_of_count is not None:
        out["stacks_lost_count"] = _quantiles(stack.lost_of_count)
    if stack.uncertainty is not None:
        out["uncertainty"] = _uncertainty(stack.uncertainty)
    if stack.fungus_caution:
        out["caution"] = stack.fungus_caution
    return out


def _uncertainty(doubt: Uncertainty) -> Json:
    return {
        "of": "loss" if doubt.of_loss else "moisture_driest_face_pct",
        "weather_fraction": doubt.weather_share,
        "model_fraction": doubt.model_share,
        "leading_unknowns": [
            {"name": leader.unknown, "rank_correlation": leader.correlation}
            for leader in doubt.leaders
        ],
        "runs_count": doubt.runs,
    }


def _compare_stack(stack: StackCompare) -> Json:
    out: Json = {
        "name": stack.name,
        "fungus": stack.fungus,
        "wood": stack.wood,
        "horizon_months": stack.horizon_months,
        "moisture_stop_pct": stack.moisture_stop_pct,
        "options": [
            {"rank": rank, **_option(option)} for rank, option in enumerate(stack.options, start=1)
        ],
    }
    if stack.fungus_caution:
        out["caution"] = stack.fungus_caution
    return out


def _option(option: OptionResult) -> Json:
    out: Json = {
        "label": option.label,
        "canopy": option.canopy,
        "cover": option.cover,
        "watering": option.watering,
        "outcome_fraction": _shares(option),
        "colonized_fraction": _quantiles(option.colonized_fraction),
        "moisture_driest_face_pct": _quantiles(option.moisture_driest_face_pct),
        "bark_temp_max_c": _quantiles(option.bark_temp_max_c),
        "option_cost": option.cost.option,
    }
    if option.chance is not None:
        out["chance_of_loss"] = _chance(option.chance)
    if driver := cause(option.shares):
        out["driven_by"] = driver
    if option.cost.expected_loss is not None and option.cost.total is not None:
        out["expected_loss_cost"] = option.cost.expected_loss
        out["total_cost"] = option.cost.total
    if option.years:
        out["years"] = {
            "columns": list(YEAR_COLUMNS),
            "rows": [_year(year) for year in option.years],
        }
    return out


def _shares(item: OptionResult | YearResult) -> Json:
    return {
        "on_time": item.shares.on_time,
        "delayed": item.shares.delayed,
        "killed_by_heat": item.shares.killed_by_heat,
        "killed_by_drought": item.shares.killed_by_drought,
    }


def _year(year: YearResult) -> list[float]:
    """Values in the order of ``YEAR_COLUMNS``."""
    return [
        year.year,
        *_shares(year).values(),
        year.moisture_driest_face_pct,
        year.bark_temp_max_c,
        year.colonized_fraction,
    ]


def _chance(chance: Chance) -> Json:
    return {
        "mean_fraction": chance.mean,
        "low_fraction": chance.low,
        "high_fraction": chance.high,
        "interval_pct": 90,
        "years_count": chance.years,
        "draws_count": chance.draws,
        "basis": chance.basis,
    }


def _action(action: Action) -> Json:
    out: Json = {
        "what": action.what,
        "start_date": action.start.isoformat(),
        "why": action.why,
        "cost": action.cost,
    }
    if action.latest is not None:
        out["latest_date"] = action.latest.isoformat()
    if action.chance is not None:
        out["chance_of_loss"] = _chance(action.chance)
    return out


def _quantiles(values: tuple[float, float, float]) -> dict[str, float]:
    return dict(zip(QUANTILES, values, strict=True))


def number_text(value: float, digits: int) -> str:
    """Fixed digits without trailing zeros; empty where there is no number."""
    if not math.isfinite(value):
        return ""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def write_daily_csv(result: SeasonResult, path: Path) -> Path:
    """Write the reference run of each stack, one row per day.

    Parameters
    ----------
    result : SeasonResult
        Its ``daily`` frames carry ``source`` and every column of ``DAILY_DIGITS``.
    path : Path
        Written whole or not at all.

    Raises
    ------
    RunError
        When the file cannot be written.
    """
    rows = [[*IDENTITY, "source", *DAILY_DIGITS]]
    for stack in result.stacks:
        columns = [stack.daily[name].tolist() for name in DAILY_DIGITS]
        for place, (stamp, source) in enumerate(
            zip(stack.daily.index, stack.daily["source"], strict=True)
        ):
            numbers = [
                number_text(float(column[place]), digits)
                for column, digits in zip(columns, DAILY_DIGITS.values(), strict=True)
            ]
            rows.append([*_identity(stamp.date(), stack), str(source), *numbers])
    return write_whole(path, _csv_text(rows))


def write_outlook_csv(result: SeasonResult, path: Path) -> Path:
    """Write per stack, day and quantity the 10th, 50th and 90th percentile.

    Raises
    ------
    RunError
        When the file cannot be written.
    """
    rows = [["date", "stack", "quantity", *QUANTILES]]
    for stack in result.stacks:
        if stack.outlook is None:
            continue
        days = [stamp.date().isoformat() for stamp in stack.outlook.index]
        for quantity in dict.fromkeys(stack.outlook.columns.get_level_values(0)):
            digits = OUTLOOK_DIGITS.get(quantity, OTHER_DIGITS)
            bands = [
                [number_text(value, digits) for value in stack.outlook[(quantity, q)].tolist()]
                for q in (10, 50, 90)
            ]
            rows += [
                [day, stack.name, quantity, *numbers]
                for day, *numbers in zip(days, *bands, strict=True)
            ]
    return write_whole(path, _csv_text(rows))


def _identity(when: date, stack: StackSeason) -> list[str]:
    return [when.isoformat(), stack.name, stack.canopy, stack.cover, stack.watering]


def _csv_text(rows: list[list[str]]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue()
