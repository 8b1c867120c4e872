"""The season of one kind of stack on one sheet, read in ten seconds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from climate_risk.report import gauge, panels, theme
from climate_risk.report.display import folded, full_day, percent, plural
from climate_risk.report.plot import Plot
from climate_risk.report.sheet import EDGE_IN, LINE_IN, Box, Sheet, Width
from climate_risk.report.words import (
    danger,
    interval,
    outlook_note,
    place_words,
    to_do,
    verdict,
)
from climate_risk.risk.results import SeasonResult, StackSeason
from climate_risk.units import Units

LEFT_IN, RIGHT_IN = 0.55, 1.0
PAD_IN = 0.16
"""Above the heading of a panel."""
TICKS_IN = 0.2
MONTHS_IN = 0.45
MOISTURE_NOTE = "Moisture is water as % of dry wood: at 30 %, water is 23 % of the log's weight."


@dataclass(frozen=True)
class Panel:
    """One panel: what stands above it, how high it is, and who draws it."""

    heading: list[str]
    height_in: float
    draw: Callable[[Plot], None]
    across: tuple[float, float]
    below_in: float = 0.0
    """Room for tick labels below."""
    is_timed: bool = True

    @property
    def total_in(self) -> float:
        return PAD_IN + len(self.heading) * LINE_IN + 0.05 + self.height_in + self.below_in


def draw_season(
    result: SeasonResult, stack_index: int = 0, *, narrow: bool = False, others: bool = False
) -> Sheet:
    """Draw one stack's season: weather, heat, moisture, run and plan over one time axis.

    Parameters
    ----------
    result : SeasonResult
        What ``season`` found.
    stack_index : int
        Place of the stack in ``result.stacks``.
    narrow : bool
        Draw for a phone instead of a page.
    others : bool
        Name the other stacks' danger below the chart.
    """
    stack, width = result.stacks[stack_index], Width(narrow=narrow)
    advice = to_do(stack, result.tolerated_chance, Units(result.units))
    sentences = f"{stack.name}: {danger(stack)}.", advice
    title = width.title(*sentences)
    below = folded(subtitle(result, stack), width.chars)
    notes = foot_lines(result, stack_index, width.chars, others=others)
    plot_chars = int(width.chars * (1 - (LEFT_IN + RIGHT_IN) / width.inches))
    stacked = season_panels(result, stack, width.chars, plot_chars)
    at = EDGE_IN + width.title_in(title)
    head = at + (len(below) + 0.3) * LINE_IN
    foot = (len(notes) + 0.6) * LINE_IN + EDGE_IN
    height_in = head + sum(panel.total_in for panel in stacked) + foot
    sheet = Sheet(width.inches, height_in, " ".join(sentences))
    sheet.write(title, EDGE_IN, EDGE_IN, size_pt=width.title_pt, is_bold=True)
    sheet.write(below, EDGE_IN, at, colour=theme.GREY)
    timed, at = [], head
    for panel in stacked:
        sheet.write(panel.heading, EDGE_IN, at + PAD_IN, is_bold=True)
        at += panel.total_in
        left, right = (LEFT_IN, RIGHT_IN) if panel.is_timed else (2 * EDGE_IN, 3 * EDGE_IN)
        top = at - panel.below_in - panel.height_in
        box = Box(left, top, width.inches - left - right, panel.height_in)
        plot = Plot(sheet, box, panel.across)
        panel.draw(plot)
        timed += [plot] if panel.is_timed else []
    _share_time(timed, result, stack, narrow=narrow)
    sheet.write(notes, EDGE_IN, at + 0.6 * LINE_IN)
    return sheet


def season_panels(
    result: SeasonResult, stack: StackSeason, chars: int, plot_chars: int
) -> list[Panel]:
    """The panels from top to bottom, danger first."""
    show = Units(result.units)
    season = (stack.inoculated.toordinal() - 1.0, stack.horizon.toordinal() + 1.0)

    def timed(heading: str, height_in: float, draw: Callable[[Plot], None]) -> Panel:
        return Panel(folded(heading, chars), height_in, draw, season)

    weather = partial(panels.draw_weather, stack=stack, show=show)
    plan = partial(panels.draw_plan, stack=stack, chars=plot_chars, show=show)
    return [
        *_danger_panel(stack, result.tolerated_chance, chars, show),
        *([] if stack.daily.empty else [timed(panels.weather_heading(stack, show), 0.5, weather)]),
        timed(
            panels.heat_heading(stack, show),
            1.5,
            partial(panels.draw_heat, stack=stack, show=show),
        ),
        timed(
            panels.moisture_heading(stack),
            1.6,
            partial(panels.draw_moisture, stack=stack),
        ),
        timed(panels.run_heading(stack), 0.8, partial(panels.draw_run, stack=stack)),
        Panel(
            folded(panels.plan_heading(stack), chars),
            0.24 * panels.plan_rows(stack),
            plan,
            season,
            MONTHS_IN,
        ),
    ]


def _danger_panel(stack: StackSeason, limit: float, chars: int, show: Units) -> list[Panel]:
    rows = gauge.gauge_rows(stack, chars, show)
    heading = folded(gauge.gauge_heading(stack, limit), chars)
    if rows:
        bars = partial(gauge.draw_gauge, rows=rows, tolerated_chance=limit)
        foot, top = gauge.gauge_ends(rows)
        height_in = gauge.ROW_IN * (foot - top)
        end = gauge.chance_end(max(limit, *(row.chance.high for row in rows)))
        return [Panel(heading, height_in, bars, (0.0, end), TICKS_IN, is_timed=False)]
    if stack.result.years:
        squares = partial(gauge.draw_years, stack=stack)
        across = (0.0, float(gauge.SHOWN_YEARS))
        return [Panel(heading, 0.4, squares, across, TICKS_IN, is_timed=False)]
    return []


def subtitle(result: SeasonResult, stack: StackSeason) -> str:
    """Whose stacks these are, what stands where, and how sure the chance is."""
    farm = f"{result.yard_name}, an invented farm" if result.invented else result.yard_name
    stacks = f"{plural(stack.count, 'stack')}, {stack.fungus} on {stack.wood}"
    what = f"{farm}: {stacks}, {place_words(stack.canopy)}"
    chance = stack.result.chance
    if chance is None:
        return f"{what}. Under 10 past years: what happened, no chance."
    mean = percent(chance.mean) if chance.mean > 0.0 else "none seen"
    return (
        f"{what}. Chance of losing a stack {mean}, {interval(chance)}, "
        f"from {plural(chance.years, 'past year')}."
    )


def foot_lines(result: SeasonResult, stack_index: int, chars: int, *, others: bool) -> list[str]:
    """How to read both sides of today and the moisture, and the other stacks."""
    stack = result.stacks[stack_index]
    notes = folded(outlook_note(stack), chars) + folded(MOISTURE_NOTE, chars)
    if others:
        for place, other in enumerate(result.stacks):
            if place != stack_index:
                also = verdict(other, result.tolerated_chance, Units(result.units))
                notes += folded(f"Also {also}", chars)
    return notes


def _share_time(
    timed: list[Plot], result: SeasonResult, stack: StackSeason, *, narrow: bool
) -> None:
    """One time axis for all panels, with today's line and its name on top."""
    first, last, today = stack.inoculated, stack.horizon, result.as_of.toordinal()
    is_running = first <= result.as_of < last
    ticks, labels = panels.month_ticks(first, last, every=3 if narrow else 1)
    for plot in timed:
        if is_running:
            plot.line([today, today], plot.levels, width_pt=1.0)
        plot.bottom_axis(ticks, labels if plot is timed[-1] else ())
    if is_running:
        early = today < (first.toordinal() + last.toordinal()) / 2
        timed[0].write(
            f"today, {full_day(result.as_of)}; outlook follows" if early else "today",
            today,
            sum(timed[0].levels) / 2,
            shift_in=panels.LABEL_IN if early else -panels.LABEL_IN,
            anchor="start" if early else "end",
            behind=theme.WHITE,
        )
