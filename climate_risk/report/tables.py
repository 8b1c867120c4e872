"""Results as tables for people and other programs: daily.csv, outlook.csv."""

from __future__ import annotations

import csv
import io
import math
from datetime import date

from climate_risk.report.treatment import covers_key, waterings_key
from climate_risk.risk.results import SeasonResult, StackSeason

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


def number_text(value: float, digits: int) -> str:
    """Fixed digits without trailing zeros; empty where there is no number."""
    if not math.isfinite(value):
        return ""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def daily_csv(result: SeasonResult) -> bytes:
    """The reference run of each stack, one row per day.

    Parameters
    ----------
    result : SeasonResult
        Its ``daily`` frames carry ``source`` and every column of ``DAILY_DIGITS``.
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
    return _csv_text(rows).encode()


def outlook_csv(result: SeasonResult) -> bytes:
    """Per stack, day and quantity the 10th, 50th and 90th percentile."""
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
    return _csv_text(rows).encode()


def _identity(when: date, stack: StackSeason) -> list[str]:
    return [
        when.isoformat(),
        stack.name,
        stack.canopy,
        covers_key(stack.covers),
        waterings_key(stack.waterings),
    ]


def _csv_text(rows: list[list[str]]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue()
