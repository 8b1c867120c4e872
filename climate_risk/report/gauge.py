"""The chance of loss as bars: as things stand, and after each action; or the few past years."""

from __future__ import annotations

from typing import TYPE_CHECKING

from climate_risk.report import theme
from climate_risk.report.display import cut, day, percent
from climate_risk.risk.results import Action, Chance, OutcomeShares, StackSeason

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SHOWN_ACTIONS = 3


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
    split = [
        f"{name} {percent(part)}"
        for name, part in (("drought", shares.killed_by_drought), ("heat", shares.killed_by_heat))
        if part > 0.0
    ]
    return f"{percent(chance.mean)} as it stands ({', '.join(split)})"


def _action_label(action: Action, chance: Chance) -> str:
    start = "none seen" if chance.mean <= 0.0 else percent(chance.mean)
    if action.latest is None:
        return f"{start} if you {action.what} from {day(action.start)}"
    return f"{start} if you {action.what} by {day(action.latest)}"


def gauge_heading(stack: StackSeason, tolerated_chance: float) -> str:
    if stack.result.chance is None:
        return "Past years, one square each; dark: most runs end in loss"
    limit = percent(tolerated_chance)
    return f"Chance of losing a stack, %; thin line: 90 % interval; dashed: your limit, {limit}"


def draw_gauge(axes: Axes, stack: StackSeason, tolerated_chance: float, chars: int) -> None:
    """One bar a row, its words above it, so that no length of either collides."""
    rows = gauge_rows(stack)
    for place, (label, chance, shares) in enumerate(rows):
        draw_chance(axes, place, chance, shares)
        limit = [100 * tolerated_chance] * 2
        axes.plot(limit, [place - 0.1, place + 0.4], color=theme.LIMIT, lw=1.4, ls=(0, (2, 1)))
        axes.text(
            0.0,
            place - 0.12,
            cut(label, chars),
            va="bottom",
            fontweight="bold" if place == 0 else "normal",
        )
    axes.set_xlim(0.0, 100.0)
    axes.set_ylim(len(rows) - 0.4, -0.75)
    axes.set_xticks([0, 25, 50, 75, 100])
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)


def draw_chance(axes: Axes, place: float, chance: Chance, shares: OutcomeShares | None) -> None:
    """Bar of the mean, split by cause where known, with the interval and a dot."""
    parts = [(1.0, theme.PALE, "")]
    if shares is not None and shares.lost > 0.0:
        parts = [
            (shares.killed_by_drought / shares.lost, theme.DROUGHT, theme.HATCH_DROUGHT),
            (shares.killed_by_heat / shares.lost, theme.HEAT, theme.HATCH_HEAT),
        ]
    left, middle = 0.0, place + 0.15
    for part, colour, hatch in parts:
        width = 100 * chance.mean * part
        if width > 0.0:
            axes.barh(
                middle,
                width,
                left=left,
                height=0.36,
                facecolor=colour,
                edgecolor=theme.BLACK,
                hatch=hatch,
                linewidth=0.7,
            )
        left += width
    axes.plot([100 * chance.low, 100 * chance.high], [middle] * 2, color=theme.BLACK, lw=1.3)
    axes.plot([100 * chance.mean], [middle], "o", color=theme.BLACK, ms=4.5, clip_on=False)


def draw_years(axes: Axes, stack: StackSeason) -> None:
    """A square for every past year, dark where most runs end in loss."""
    years = stack.result.years
    for place, year in enumerate(years):
        lost = year.shares.lost >= 0.5
        axes.bar(
            place,
            0.8,
            width=0.8,
            facecolor=theme.BLACK if lost else theme.WHITE,
            edgecolor=theme.BLACK,
            linewidth=1.0,
        )
    axes.set_xticks(range(len(years)), [f"'{year.year % 100:02d}" for year in years])
    axes.set_xlim(-0.6, 9.6)
    axes.set_ylim(-0.1, 0.9)
    axes.set_yticks([])
    axes.tick_params(axis="x", length=0)
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)
