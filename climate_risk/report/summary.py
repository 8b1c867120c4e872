"""summary.json: what was run, as plain values for other programs."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import Any

from climate_risk.report import measured
from climate_risk.report.act_keys import (
    METRIC,
    Json,
    act_keys,
    action_keys,
    chance_keys,
    cover_keys,
    difference_keys,
    sign_keys,
    watering_keys,
)
from climate_risk.report.choice import option_words
from climate_risk.report.hindsight import past_part, skill_part
from climate_risk.report.option_names import option_name
from climate_risk.report.treatment import covers_key, waterings_key
from climate_risk.report.words import cause
from climate_risk.risk.results import (
    OptionResult,
    ParameterUsed,
    Prices,
    SeasonResult,
    StackSeason,
    Uncertainty,
    YearResult,
)
from climate_risk.risk.results_compare import ComparedOption, CompareResult, StackCompare
from climate_risk.risk.results_plan import PlanResult
from climate_risk.version import program_version
from climate_risk.weather.record import WeatherCoverage, WeatherSummary

SCHEMA = 3
"""Raised when a key changes its meaning or goes; new keys do not raise it."""
QUANTILES = ("p10", "p50", "p90")
JSON_DIGITS = 6
"""Significant digits: more than any of these numbers has."""
YEAR_COLUMNS = (
    "year",
    "on_time_fraction",
    "not_fully_run_fraction",
    "killed_by_heat_fraction",
    "killed_by_drought_fraction",
    "moisture_driest_face_pct",
    "bark_temp_max_c",
    "colonized_fraction",
)
"""One past year under one option; shares and medians are over parameter draws."""
PARAMETER_COLUMNS = (
    "stack", "group", "row", "name", "value", "low", "high", "unit", "source", "grade", "drawn"
)  # fmt: skip
OF_COMMANDS = ("season", "compare", "plan")
"""Keys that one command writes and the others leave as they are."""


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
            **_used(season),
            "prices": _prices(season.prices),
            "stacks": [_season_stack(stack) for stack in season.stacks],
        }
        out["season"] |= skill_part(season.skill)
    if compare is not None:
        out["compare"] = {
            "first_year": compare.first_year,
            "last_year": compare.last_year,
            "years_count": compare.years,
            "draws_count": compare.draws,
            "balance": _balance(compare),
            **_used(compare),
            "prices": _prices(compare.prices),
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
    return made | {n: before[n] for n in OF_COMMANDS if n in before and n not in made}


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


def _used(result: SeasonResult | CompareResult) -> Json:
    """Every number of the tables that the runs took, and where it comes from."""
    used = [(stack.name, parameter) for stack in result.stacks for parameter in stack.parameters]
    return {
        "parameters": {
            "columns": list(PARAMETER_COLUMNS),
            "rows": [_parameter(stack, parameter) for stack, parameter in used],
        },
        "sources": {s.key: {"citation": s.citation, "read": s.read} for s in result.sources},
    }


def _parameter(stack: str, p: ParameterUsed) -> list[Any]:
    """Values in the order of ``PARAMETER_COLUMNS``."""
    return [
        stack, p.group, p.row, p.name, p.value, p.low, p.high, p.unit, p.source, p.grade, p.drawn
    ]  # fmt: skip


def head(result: SeasonResult | CompareResult | WeatherSummary | PlanResult) -> Json:
    """What every run says of itself: program, yard, inputs, weather."""
    return {
        "schema": SCHEMA,
        "program": "climate-risk",
        "program_version": program_version(),
        "yard": result.yard_name,
        "invented": result.invented,
        "tolerated_chance_fraction": result.tolerated_chance,
        "currency": result.currency,
        "inputs": [{"name": name, "sha256": digest} for name, digest in result.inputs.items()],
        **({"weather": _weather(result.coverage)} if result.coverage is not None else {}),
    }


def _weather(coverage: WeatherCoverage) -> Json:
    ahead = coverage.forecast_to
    by_source: dict[str, dict[str, int]] = {}
    for one in coverage.given:
        by_source.setdefault(one.source, {})[one.column] = one.values
    return {
        "source": coverage.source,
        "first_date": coverage.first.isoformat(),
        "last_date": coverage.last.isoformat(),
        "days_count": coverage.days,
        "values_by_source": by_source,
        "filled_count": coverage.filled,
        "estimated": coverage.estimated,
        "warnings": list(coverage.warnings),
        "attribution": coverage.attribution,
    } | ({"forecast_to_date": ahead.isoformat()} if ahead else {})


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
        "actions": [action_keys(action) for action in stack.actions],
        "also_tried": [
            {"acts": [act_keys(act) for act in one.acts], "helps": one.helps}
            for one in stack.also_tried
        ],
        "signs": [sign_keys(sign) for sign in stack.signs],
        **asdict(stack.thresholds),
    }
    if "rival_hours_h" in stack.daily:
        out["rival_hours_to_date_h"] = round(float(stack.daily["rival_hours_h"].sum()), 1)
        out["rival_hours_confidence"] = stack.rival_hours_grade
    out |= past_part(stack.past)
    if full_run:
        out["full_run_date"] = full_run
    if stack.lost_of_count is not None:
        out["stacks_lost_count"] = _quantiles(stack.lost_of_count)
    if stack.uncertainty is not None:
        out["uncertainty"] = _uncertainty(stack.uncertainty)
    if stack.measured is not None:
        out["measured"] = measured.summary_values(stack.measured)
    if stack.fungus_caution:
        out["caution"] = stack.fungus_caution
    return out


def _uncertainty(found: Uncertainty) -> Json:
    return {
        "of": "loss" if found.of_loss else "moisture_driest_face_pct",
        "weather_fraction": found.weather_share,
        "model_fraction": found.model_share,
        "leading_unknowns": [
            {"name": leader.unknown, "rank_correlation": leader.correlation}
            for leader in found.leaders
        ],
        "runs_count": found.runs,
    }


def _compare_stack(stack: StackCompare) -> Json:
    out: Json = {
        "name": stack.name,
        "fungus": stack.fungus,
        "wood": stack.wood,
        "horizon_months": stack.horizon_months,
        "ranked_by": "cost with loss" if stack.is_by_money else "chance of loss",
        **asdict(stack.thresholds),
        "options": [_compared(option, stack) for option in stack.options],
    }
    out |= past_part(stack.past)
    if stack.ties:
        out["ties"] = [asdict(tie) for tie in stack.ties]
    if stack.cautions:
        out["caution"] = " ".join(stack.cautions)
    return out


def _compared(option: ComparedOption, stack: StackCompare) -> Json:
    """An option against the plan, which is the first of the list."""
    build = option.build
    out = {
        "rank": option.rank,
        "as_written": option.is_plan,
        **_option(option),
        "label": option_name(option, stack, METRIC),
        "fungus": build.fungus,
        "wood": build.wood,
        "pieces": build.pieces,
        "piece_length_m": build.piece_length_m,
        "diameter_m": build.diameter_m,
        "inoculated_date": build.inoculated.isoformat(),
        "moisture_stop_pct": option.moisture_stop_pct,
    }
    if build.felled_weeks_before is not None:
        out["felled_weeks_before"] = build.felled_weeks_before
    if option.to_best is not None:
        out["difference_to_best"] = difference_keys(option.to_best)
    if option.break_even is not None:
        found = option.break_even
        out["break_even"] = {
            "pays": "above" if found.pays_above else "below",
            "value_of_stack": found.worth,
            "low": found.low,
            "interval_pct": 80,
        } | ({} if math.isinf(found.high) else {"high": found.high})
    return out


def _prices(prices: Prices) -> Json:
    """By the metric keys of a yard file."""
    return {
        "given": prices.given,
        "our_defaults": prices.ours,
        "not_known": list(prices.unknown),
    }


def _option(option: OptionResult) -> Json:
    out: Json = {
        "label": option_words(option, METRIC),
        "canopy": option.canopy,
        "cover": covers_key(option.covers),
        "watering": waterings_key(option.waterings),
        "covers": [cover_keys(cover) for cover in option.covers],
        "waterings": [watering_keys(watering) for watering in option.waterings],
        "outcome_fraction": _shares(option),
        "colonized_fraction": _quantiles(option.colonized_fraction),
        "moisture_driest_face_pct": _quantiles(option.moisture_driest_face_pct),
        "bark_temp_max_c": _quantiles(option.bark_temp_max_c),
    }
    if not math.isnan(option.cost.option):
        out["option_cost"] = option.cost.option
    if option.chance is not None:
        out["chance_of_loss"] = chance_keys(option.chance)
    if option.level is not None:
        out["level"] = asdict(option.level)
    if option.difference is not None:
        out["difference_to_first"] = difference_keys(option.difference)
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
    return asdict(item.shares)


def _year(year: YearResult) -> list[float]:
    """Values in the order of ``YEAR_COLUMNS``."""
    return [
        year.year,
        *(_shares(year)[name.removesuffix("_fraction")] for name in YEAR_COLUMNS[1:5]),
        year.moisture_driest_face_pct,
        year.bark_temp_max_c,
        year.colonized_fraction,
    ]


def _quantiles(values: tuple[float, float, float]) -> dict[str, float]:
    return dict(zip(QUANTILES, values, strict=True))
