"""The chance of loss as bars: as things stand, and after each action; or the few past years."""

from __future__ import annotations

from climate_risk.report import theme
from climate_risk.report.display import cut, day, percent
from climate_risk.report.plot import Plot
from climate_risk.report.words import cause_split
from climate_risk.risk.results import Action, Chance, OutcomeShares, StackSeason

SHOWN_ACTIONS = 3
SHOWN_YEARS = 10
"""Squares side by side; from this many years on, chances are given instead."""
BAR = (-0.03, 0.33)
"""Upper and lower edge of a bar in heights of a row, from the row's line."""
LABEL_FOOT, LIMIT_FOOT = -0.12, 0.41


def gauge_rows(stack: StackSeason) -> list[tuple[str, Chance, OutcomeShares | None]]:
    """Label, chance and, where known, outcome shares of each bar; empty without a chance."""
    if stack.result.chance is None:
        return []
    now = stack.result
    rows: list[tuple[str, Chance, OutcomeShares | None]] = [
        (_now_label(now.shares, stack.result.chance), stack.result.chance, now.shares)
    ]
    rows += [
        (_action_label(action, action.chance), action.chance, None)
        for action in stack.actions[:SHOWN_ACTIONS]
        if action.chance is not None
    ]
    return rows


def _now_label(shares: OutcomeShares, chance: Chance) -> str:
    if chance.mean <= 0.0:
        return f"as it stands: none seen, up to {percent(chance.high)} not ruled out"
    return f"{percent(chance.mean)} as it stands ({cause_split(shares)})"


def _action_label(action: Action, chance: Chance) -> str:
    start = "none seen" if chance.mean <= 0.0 else percent(chance.mean)
    if action.latest is None:
        return f"{start} if from {day(action.start)} you {action.what}"
    return f"{start} if by {day(action.latest)} you {action.what}"


def gauge_heading(stack: StackSeason, tolerated_chance: float) -> str:
    if stack.result.chance is None:
        return "Past years, one square each; dark: most runs end in loss"
    limit = percent(tolerated_chance)
    return f"Chance of losing a stack, %; thin line: 90 % interval; dashed: your limit, {limit}"


def draw_gauge(plot: Plot, stack: StackSeason, tolerated_chance: float, chars: int) -> None:
    """One bar a row, its words above it, so that no length of either collides."""
    rows = gauge_rows(stack)
    plot.scale(len(rows) - 0.4, -0.75)
    for place, (label, chance, shares) in enumerate(rows):
        draw_chance(plot, place, chance, shares, tolerated_chance)
        foot = place + LABEL_FOOT
        plot.write(cut(label, chars), 0.0, foot, upright="foot", is_bold=place == 0)
    plot.bottom_axis([0, 25, 50, 75, 100], ["0", "25", "50", "75", "100"])


def draw_chance(
    plot: Plot,
    place: float,
    chance: Chance,
    shares: OutcomeShares | None,
    tolerated_chance: float,
) -> None:
    """Bar of the mean, split by cause where known, with the interval, a dot and the limit."""
    parts: list[tuple[float, str, theme.Hatch]] = [(1.0, theme.PALE, "")]
    if shares is not None and shares.lost > 0.0:
        parts = [
            (shares.killed_by_drought / shares.lost, theme.DROUGHT, theme.HATCH_DROUGHT),
            (shares.killed_by_heat / shares.lost, theme.HEAT, theme.HATCH_HEAT),
        ]
    left, (top, bottom) = 0.0, BAR
    for part, colour, hatch in parts:
        right = left + 100 * chance.mean * part
        if right > left:
            plot.block(
                (left, right),
                (place + top, place + bottom),
                fill=colour,
                edge=theme.BLACK,
                hatch=hatch,
            )
        left = right
    middle = place + (top + bottom) / 2
    plot.line([100 * chance.low, 100 * chance.high], [middle] * 2, width_pt=1.3)
    plot.dot(100 * chance.mean, middle)
    limit = [100 * tolerated_chance] * 2
    plot.line(limit, [place + top, place + LIMIT_FOOT], width_pt=1.4, dash=theme.SHORT_DASHED)


def draw_years(plot: Plot, stack: StackSeason) -> None:
    """A square for every past year, dark where most runs end in loss."""
    plot.scale(0.0, 1.0)
    years = stack.result.years
    for place, year in enumerate(years):
        lost = year.shares.lost >= 0.5
        sides = (place + 0.1, place + 0.9)
        fill = theme.BLACK if lost else theme.WHITE
        plot.block(sides, (0.05, 0.95), fill=fill, edge=theme.BLACK)
        foot = plot.box.top + plot.box.height + 0.03
        name = f"'{year.year % 100:02d}"
        plot.sheet.write([name], float(plot.x(place + 0.5)), foot, anchor="middle")
