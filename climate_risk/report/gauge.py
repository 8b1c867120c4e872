"""The chance of loss as bars: as things stand, and after each action; or the few past years."""

from __future__ import annotations

from dataclasses import dataclass

from climate_risk.report import theme
from climate_risk.report.display import day, folded, percent
from climate_risk.report.plot import Plot, round_steps
from climate_risk.report.sheet import LINE_IN
from climate_risk.report.treatment import WHY, act_words
from climate_risk.report.words import cause_split, is_enough
from climate_risk.risk.results import Action, Chance, OutcomeShares, StackSeason
from climate_risk.units import Units

SHOWN_ACTIONS = 3
SHOWN_YEARS = 10
"""Squares side by side; from this many years on, chances are given instead."""
ROW_IN = 0.39
"""Height of a row of one line; more lines take their own."""
BAR = (-0.03, 0.33)
"""Upper and lower edge of a bar in heights of a row, from the row's line."""
SURE = "9 in 10 sure it lies here"
"""What the line of a 90 % interval says."""
CAUSES = "drought (blue, level lines) and heat (dark orange, slanted lines)"
"""What the parts of a bar say."""
LABEL_FOOT, LIMIT_FOOT = -0.12, 0.41
CHANCE_ENDS = (25.0, 50.0, 100.0)
"""Right ends that an axis of chances may have [%]."""


def chance_end(highest: float) -> float:
    """The least right end that holds a chance of 0 to 1."""
    return next(end for end in CHANCE_ENDS if 100.0 * highest <= end)


@dataclass(frozen=True)
class Row:
    """One bar with the words above it."""

    label: list[str]
    chance: Chance
    shares: OutcomeShares | None
    """How the runs end, where known."""
    place: float
    """Level of the bar, in rows of one line."""


def gauge_rows(stack: StackSeason, chars: int, show: Units) -> list[Row]:
    """The bars from top to bottom, labels folded; empty without a chance."""
    now = stack.result
    if now.chance is None:
        return []
    bars: list[tuple[str, Chance, OutcomeShares | None]] = [
        (_now_label(now.shares, now.chance), now.chance, now.shares)
    ]
    bars += [
        (_action_label(stack, action, action.chance, show), action.chance, None)
        for action in stack.actions[:SHOWN_ACTIONS]
        if action.chance is not None
    ]
    rows, place = [], -1.0
    for text, chance, shares in bars:
        label = folded(text, chars)
        place += 1.0 + (len(label) - 1) * LINE_IN / ROW_IN
        rows.append(Row(label, chance, shares, place))
    return rows


def gauge_ends(rows: list[Row]) -> tuple[float, float]:
    """Levels at the foot and at the top of the bars."""
    return rows[-1].place + 0.6, -0.75


def _now_label(shares: OutcomeShares, chance: Chance) -> str:
    if chance.mean <= 0.0:
        return f"as it stands: none seen, up to {percent(chance.high)} not ruled out"
    return f"{percent(chance.mean)} as it stands ({cause_split(shares)})"


def _action_label(stack: StackSeason, action: Action, chance: Chance, show: Units) -> str:
    """The chance is that of doing it at once, so no later day stands here."""
    share = "none seen" if chance.mean <= 0.0 else percent(chance.mean)
    weak = "" if is_enough(action) else ", not enough alone,"
    who = f"from {day(action.start)} you" if stack.daily.empty else "you now"
    what = act_words(action.act, show)
    return f"{share}{weak} if {who} {what} (why: {WHY[action.act.kind]})"


def gauge_heading(stack: StackSeason, tolerated_chance: float) -> str:
    if stack.result.chance is None:
        return "Past years, one square each; dark: most runs end in loss"
    lost = stack.result.shares.lost > 0.0
    by = f", by {CAUSES}" if lost else ""
    limit = percent(tolerated_chance)
    return f"Chance of losing a stack, %{by}; thin line: {SURE}; dashed: your limit, {limit}"


def draw_gauge(plot: Plot, rows: list[Row], tolerated_chance: float) -> None:
    """One bar a row, its words above it, so that no length of either collides."""
    plot.scale(*gauge_ends(rows))
    for row in rows:
        draw_chance(plot, row.place, row.chance, row.shares, tolerated_chance)
        foot = float(plot.y(row.place + LABEL_FOOT))
        is_now = row is rows[0]
        plot.sheet.write(row.label, plot.box.left, foot, upright="foot", is_bold=is_now)
    ticks = round_steps(*plot.across)
    plot.bottom_axis(ticks, [f"{tick:.0f}" for tick in ticks])


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
