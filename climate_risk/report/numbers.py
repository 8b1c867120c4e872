"""Tables of a page: a stack month by month, and options in numbers."""

from __future__ import annotations

import math

import pandas as pd

from climate_risk.report import words
from climate_risk.report.display import MONTHS, percent, percent_range
from climate_risk.risk.results import OptionResult, StackSeason
from climate_risk.units import Units


def month_rows(stack: StackSeason, show: Units) -> tuple[str, tuple[str, ...], list[list[str]]]:
    """The chart in numbers: caption, heads, and a row for each month seen, then each ahead."""
    heads = (
        "month",
        f"hottest air at the stack, {show.temperature.unit}",
        f"hottest bark, {show.temperature.unit}",
        "driest face at month's end, %",
        "run at month's end, %",
    )
    caption = f"{stack.name}, month by month; ahead: middle (8 times in 10)"
    rows = []
    for part in _by_month(stack.daily):
        last = part.iloc[-1]
        rows.append(
            [
                f"{_month(part)}",
                f"{show.temperature.of(float(part['air_temp_max_c'].max())):.0f}",
                f"{show.temperature.of(float(part['bark_temp_max_c'].max())):.0f}",
                f"{last['moisture_driest_face_pct']:.0f}",
                f"{100 * last['colonized_fraction']:.0f}",
            ]
        )
    if stack.outlook is None or stack.outlook.empty:
        return caption, heads, rows
    for part in _by_month(stack.outlook):
        rows.append(
            [
                f"{_month(part)}, ahead",
                _hottest(part, "air_temp_max_c", show),
                _hottest(part, "bark_temp_max_c", show),
                _band(part.iloc[-1], "moisture_driest_face_pct", 1.0),
                _band(part.iloc[-1], "colonized_fraction", 100.0),
            ]
        )
    return caption, heads, rows


def _by_month(frame: pd.DataFrame) -> list[pd.DataFrame]:
    months = pd.DatetimeIndex(frame.index).strftime("%Y-%m")
    return [part for _, part in frame.groupby(months)]


def _month(part: pd.DataFrame) -> str:
    first = part.index[0]
    return f"{MONTHS[first.month - 1]} {first.year}"


def _band(row: pd.Series[float], quantity: str, factor: float) -> str:
    if (quantity, 50) not in row.index:
        return "not given"
    low, middle, high = (factor * float(row[(quantity, q)]) for q in (10, 50, 90))
    return f"{middle:z.0f} ({low:z.0f} to {high:z.0f})"


def _hottest(part: pd.DataFrame, quantity: str, show: Units) -> str:
    """The day of the month with the highest middle value."""
    if (quantity, 50) not in part:
        return "not given"
    row = part.iloc[int(part[(quantity, 50)].to_numpy().argmax())]
    low, middle, high = (show.temperature.of(float(row[(quantity, q)])) for q in (10, 50, 90))
    return f"{middle:z.0f} ({low:z.0f} to {high:z.0f})"


def option_heads(show: Units, currency: str) -> tuple[str, ...]:
    """Heads of the columns of :func:`option_cells`."""
    return (
        "chance of loss ± error of the draws (may be)",
        "killed by",
        "late",
        "run by the end (8 times in 10)",
        "driest face at its lowest, % (8 times in 10)",
        f"hottest bark, {show.temperature.unit} (8 times in 10)",
        f"cover and water, {currency} a stack",
        f"with the loss to be expected, {currency} a stack",
    )


def option_cells(option: OptionResult, limit: float, show: Units) -> list[str]:
    """One option as a row of numbers."""
    shares, cost, run = option.shares, option.cost, option.colonized_fraction
    chance = f"not given: {words.what_happened(option)}"
    if option.chance is not None:
        interval = percent_range(option.chance.low, option.chance.high)
        share = words.share_words(option.chance, limit)
        if option.chance.mean <= 0.0:
            share = f"none seen{words.error_words(option.chance)}"
        chance = f"{share} ({interval})"
    low, dry, high = option.moisture_driest_face_pct
    cool, warm, hot = (show.temperature.of(value) for value in option.bark_temp_max_c)
    return [
        chance,
        words.cause_split(shares) or "none",
        percent(shares.not_fully_run),
        percent(run[1]) + ("" if run[0] == run[2] else f" ({percent_range(run[0], run[2])})"),
        f"{dry:z.0f} ({low:z.0f} to {high:z.0f})",
        f"{warm:z.0f} ({cool:z.0f} to {hot:z.0f})",
        "not known" if math.isnan(cost.option) else f"{cost.option:.2f}",
        "not given" if cost.total is None else f"{cost.total:.2f}",
    ]
