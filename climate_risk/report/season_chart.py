"""The season of one kind of stack on one sheet, read in ten seconds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from climate_risk.report import gauge, panels, theme
from climate_risk.report.display import folded, full_day, percent, percent_range, plural
from climate_risk.report.sheet import EDGE_IN, LINE_IN, Sheet, Width
from climate_risk.report.words import danger, to_do
from climate_risk.risk.results import SeasonResult, StackSeason
from climate_risk.units import Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT_IN, RIGHT_IN = 0.55, 1.0
PAD_IN = 0.16
"""Above the heading of a panel."""
TICKS_IN = 0.2
MONTHS_IN = 0.45


@dataclass(frozen=True)
class Panel:
    """One panel: what stands above it, how high it is, and who draws it."""

    heading: list[str]
    height_in: float
    draw: Callable[[Axes], None]
    below_in: float = 0.0
    """Room for tick labels below."""
    is_timed: bool = True

    @property
    def total_in(self) -> float:
        return PAD_IN + len(self.heading) * LINE_IN + 0.05 + self.height_in + self.below_in


def season_figure(
    result: SeasonResult, stack_index: int = 0, *, narrow: bool = False, others: bool = False
) -> Figure:
    """Draw one stack's season: weather, heat, moisture, run and plan over one time axis.

    Parameters
    ----------
    result : SeasonResult
        What ``season`` found.
    stack_index : int
        Place of the stack in ``result.stacks``.
    narrow : bool
        Draw for a phone instead of a sheet.
    others : bool
        Name the other stacks' danger below the chart.

    Returns
    -------
    Figure
        Not saved, not bound to any window.
    """
    stack, width = result.stacks[stack_index], Width(narrow=narrow)
    todo = to_do(stack, result.tolerated_chance)
    title = width.title(f"{stack.name}: {danger(stack)}.", todo)
    below = folded(subtitle(stack), width.chars)
    notes = foot_lines(result, stack_index, width.chars, others=others)
    plot_chars = int(width.chars * (1 - (LEFT_IN + RIGHT_IN) / width.inches))
    stacked = season_panels(result, stack, width.chars, plot_chars)
    at = EDGE_IN + width.title_in(title)
    head = at + (len(below) + 0.3) * LINE_IN
    foot = (len(notes) + 0.6) * LINE_IN + EDGE_IN
    with theme.style():
        sheet = Sheet(width.inches, head + sum(panel.total_in for panel in stacked) + foot)
        sheet.write(title, EDGE_IN, fontsize=width.title_pt, fontweight="bold")
        sheet.write(below, at, color=theme.GREY)
        timed, at = [], head
        for panel in stacked:
            sheet.write(panel.heading, at + PAD_IN, fontweight="bold")
            at += panel.total_in
            sides = (LEFT_IN, RIGHT_IN) if panel.is_timed else (2 * EDGE_IN, 3 * EDGE_IN)
            axes = sheet.axes(at - panel.below_in, panel.height_in, *sides)
            panel.draw(axes)
            timed += [axes] if panel.is_timed else []
        _share_time(timed, result, stack, narrow=narrow)
        sheet.write(notes, at + 0.6 * LINE_IN)
    return sheet.figure


def season_panels(
    result: SeasonResult, stack: StackSeason, chars: int, panel_chars: int
) -> list[Panel]:
    """The panels from top to bottom, danger first."""
    show, limit = Units(result.units), result.tolerated_chance
    plan_rows = len(panels.cover_spans(stack)) + min(len(stack.actions), gauge.SHOWN_ACTIONS)
    return [
        *_danger_panel(stack, limit, chars),
        *_weather_panel(stack, show, chars),
        Panel(
            folded(panels.heat_heading(show), chars),
            1.5,
            partial(panels.draw_heat, stack=stack, show=show),
        ),
        Panel(
            folded("Moisture at the driest spawn face, % of oven-dry mass", chars),
            1.6,
            partial(panels.draw_moisture, stack=stack),
        ),
        Panel(
            folded(panels.run_heading(stack), chars), 0.8, partial(panels.draw_run, stack=stack)
        ),
        Panel(
            ["Covers, and what to do by when"],
            0.24 * plan_rows,
            partial(panels.draw_plan, stack=stack, chars=panel_chars),
            MONTHS_IN,
        ),
    ]


def _weather_panel(stack: StackSeason, show: Units, chars: int) -> list[Panel]:
    """Nothing before the first observed day."""
    if stack.daily.empty:
        return []
    return [
        Panel(
            folded(panels.weather_heading(stack, show), chars),
            0.5,
            partial(panels.draw_weather, stack=stack, show=show),
        )
    ]


def _danger_panel(stack: StackSeason, limit: float, chars: int) -> list[Panel]:
    rows = len(gauge.gauge_rows(stack))
    heading = folded(gauge.gauge_heading(stack, limit), chars)
    if rows:
        bars = partial(gauge.draw_gauge, stack=stack, tolerated_chance=limit, chars=chars)
        return [Panel(heading, 0.1 + 0.4 * rows, bars, TICKS_IN, is_timed=False)]
    if stack.result.years:
        squares = partial(gauge.draw_years, stack=stack)
        return [Panel(heading, 0.4, squares, TICKS_IN, is_timed=False)]
    return []


def subtitle(stack: StackSeason) -> str:
    """What stands where, and how sure the chance is."""
    what = f"{plural(stack.count, 'stack')}, {stack.fungus} on {stack.wood}, {stack.canopy}"
    chance = stack.result.chance
    if chance is None:
        return f"{what}. Under 10 past years: what happened, no chance."
    mean = percent(chance.mean) if chance.mean > 0.0 else "none seen"
    return (
        f"{what}. Chance of loss {mean}, 90 % interval "
        f"{percent_range(chance.low, chance.high)}, from {chance.years} past years."
    )


def foot_lines(result: SeasonResult, stack_index: int, chars: int, *, others: bool) -> list[str]:
    """How to read the bands, what is invented, and the other stacks."""
    stack = result.stacks[stack_index]
    notes = []
    if stack.outlook is not None and not stack.outlook.empty:
        notes += folded(
            "Right of today: line = middle, band = 8 runs in 10, from past years' weather; "
            "not a forecast.",
            chars,
        )
    if result.invented:
        notes += folded(f"{result.yard_name} is an invented place.", chars)
    if others:
        for place, other in enumerate(result.stacks):
            if place != stack_index:
                notes += folded(f"Also: {other.name}: {danger(other)}.", chars)
    return notes


def _share_time(
    axes: list[Axes], result: SeasonResult, stack: StackSeason, *, narrow: bool
) -> None:
    """One time axis for all panels, with today's line and its name on top."""
    first, last = stack.inoculated, stack.horizon
    today = result.as_of.toordinal()
    for panel in axes:
        panel.set_xlim(first.toordinal() - 1, last.toordinal() + 1)
        if first <= result.as_of < last:
            panel.axvline(today, color=theme.BLACK, linewidth=1.0)
        panels.month_ticks(panel, first, last, every=3 if narrow else 1)
        if panel is not axes[-1]:
            panel.set_xticklabels([])
    if first <= result.as_of < last:
        early = today < (first.toordinal() + last.toordinal()) / 2
        axes[0].annotate(
            f"today, {full_day(result.as_of)}; outlook follows" if early else "today",
            (today, 0.5),
            xycoords=("data", "axes fraction"),
            xytext=(4 if early else -4, 0),
            textcoords="offset points",
            ha="left" if early else "right",
            va="center",
        )
