"""Options side by side: chance of loss with its interval, cost and run, grouped by canopy."""

from __future__ import annotations

from typing import TYPE_CHECKING

from climate_risk.report import theme
from climate_risk.report.display import cut, folded, percent
from climate_risk.report.gauge import draw_chance
from climate_risk.report.sheet import EDGE_IN, LINE_IN, Sheet, Width
from climate_risk.report.words import (
    best_option_sentence,
    cheapest_sentence,
    ties_sentence,
)
from climate_risk.risk.results import CompareResult, OptionResult, StackCompare

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_IN = 0.42
GROUP_IN = 0.3
BELOW_IN = 0.35
COLUMNS_IN = (0.75, 0.7, 0.5)
"""Widths of the columns for chance, cost and run."""


def compare_figure(result: CompareResult, stack_index: int = 0, *, narrow: bool = False) -> Figure:
    """Draw all options of one kind of stack, ranked, under the canopy each belongs to.

    Parameters
    ----------
    result : CompareResult
        What ``compare`` found.
    stack_index : int
        Place of the stack in ``result.stacks``.
    narrow : bool
        Draw for a phone instead of a sheet.

    Returns
    -------
    Figure
        Not saved, not bound to any window.
    """
    stack, width = result.stacks[stack_index], Width(narrow=narrow)
    advice = (result.tolerated_chance, result.currency)
    title = width.title(best_option_sentence(stack, *advice), cheapest_sentence(stack, *advice))
    text = folded(f"{basis_line(result, stack)} {ties_sentence(stack)}", width.chars)
    has_bars = any(option.chance is not None for option in stack.options)
    key = folded(KEY if has_bars else KEY_FEW, width.chars)
    groups = by_canopy(stack)
    plot_in = GROUP_IN * len(groups) + ROW_IN * len(stack.options)
    plot_width = width.inches - 3 * EDGE_IN - sum(COLUMNS_IN)
    at = EDGE_IN + width.title_in(title)
    head = at + (len(text) + len(key) + 3.4) * LINE_IN
    with theme.style():
        sheet = Sheet(width.inches, head + plot_in + BELOW_IN)
        sheet.write(title, EDGE_IN, fontsize=width.title_pt, fontweight="bold")
        sheet.write(text, at, color=theme.GREY)
        sheet.write(key, at + (len(text) + 0.6) * LINE_IN)
        axes = sheet.axes(head + plot_in, plot_in, 2 * EDGE_IN, EDGE_IN + sum(COLUMNS_IN))
        _draw_groups(axes, groups, plot_in, result, width.chars)
        right = 2 * EDGE_IN + plot_width
        for name, column in zip(column_names(stack, result.currency), COLUMNS_IN, strict=True):
            right += column
            for line, words in enumerate(reversed(name)):
                above = head - 0.1 - line * LINE_IN
                sheet.write([words], above, right, ha="right", va="baseline")
        _write_columns(axes, groups, plot_in, plot_width)
    return sheet.figure


KEY = (
    "Bar: chance of loss, %, by drought (blue, level lines) and heat (red, slanted "
    "lines). Thin line: 90 % interval. Dashed: your limit."
)
KEY_FEW = "Under 10 past years: only what happened is told, no chance is given."


def basis_line(result: CompareResult, stack: StackCompare) -> str:
    """What the bars rest on."""
    text = (
        f"{stack.fungus.capitalize()} on {stack.wood}, {stack.horizon_months} months, weather of "
        f"{result.first_year} to {result.last_year} ({result.years} years x {result.draws} draws)."
    )
    return f"{text} {result.yard_name} is an invented place." if result.invented else text


def column_names(stack: StackCompare, currency: str) -> tuple[tuple[str, str], ...]:
    """Heads of the columns beside the bars, two lines each; the unit stands in the head."""
    with_loss = all(option.cost.total is not None for option in stack.options)
    cost = (f"{currency} incl.", "loss") if with_loss else (currency, "a stack")
    return ("chance", "of loss"), cost, ("run", "done")


def by_canopy(stack: StackCompare) -> list[tuple[str, list[tuple[int, OptionResult]]]]:
    """Options with their rank, grouped by canopy; the group with the best option first."""
    groups: dict[str, list[tuple[int, OptionResult]]] = {}
    for rank, option in enumerate(stack.options, start=1):
        groups.setdefault(option.canopy, []).append((rank, option))
    return list(groups.items())


def _draw_groups(
    axes: Axes,
    groups: list[tuple[str, list[tuple[int, OptionResult]]]],
    plot_in: float,
    result: CompareResult,
    chars: int,
) -> None:
    """Rows in units of one row height; canopy names head their group on a pale strip."""
    limit = 100 * result.tolerated_chance
    at = 0.0
    group = GROUP_IN / ROW_IN
    for canopy, members in groups:
        axes.axhspan(at, at + group * 0.8, facecolor=theme.PALE, lw=0, xmin=0, xmax=1)
        axes.text(0.5, at + group * 0.42, canopy, va="center", fontweight="bold")
        at += group
        for rank, option in members:
            middle = at + 0.5
            label = f"{rank}. {option_words(option)}"
            axes.text(0.0, middle - 0.12, cut(label, chars), va="bottom")
            if option.chance is None:
                axes.text(0.0, middle + 0.15, _past(option), va="center", color=theme.GREY)
            else:
                draw_chance(axes, middle, option.chance, option.shares)
                axes.plot(
                    [limit] * 2,
                    [middle - 0.1, middle + 0.4],
                    color=theme.LIMIT,
                    lw=1.4,
                    ls=(0, (2, 1)),
                )
            at += 1.0
    axes.set_xlim(0.0, 100.0)
    axes.set_ylim(plot_in / ROW_IN, 0.0)
    axes.set_yticks([])
    has_bars = any(option.chance is not None for _, members in groups for _, option in members)
    axes.set_xticks([0, 25, 50, 75, 100] if has_bars else [])
    axes.spines["left"].set_visible(False)
    axes.spines["bottom"].set_visible(has_bars)


def option_words(option: OptionResult) -> str:
    """Cover and watering of an option, the canopy being named above it."""
    water = "no water" if option.watering == "none" else option.watering
    cover = "no cover" if option.cover == "none" else option.cover
    return f"{cover}; {water}"


def _past(option: OptionResult) -> str:
    lost = sum(year.shares.lost >= 0.5 for year in option.years)
    return f"most runs lost in {lost} of {len(option.years)} years"


def _write_columns(
    axes: Axes,
    groups: list[tuple[str, list[tuple[int, OptionResult]]]],
    plot_in: float,
    plot_width: float,
) -> None:
    at = 0.0
    for _, members in groups:
        at += GROUP_IN / ROW_IN
        for _, option in members:
            height = 1.0 - (at + 0.67) * ROW_IN / plot_in
            right = 1.0
            for text, column in zip(_cells(option), COLUMNS_IN, strict=True):
                right += column / plot_width
                axes.text(right, height, text, transform=axes.transAxes, ha="right", va="center")
            at += 1.0


def _cells(option: OptionResult) -> tuple[str, str, str]:
    total = option.cost.option if option.cost.total is None else option.cost.total
    chance = "not given"
    if option.chance is not None:
        chance = percent(option.chance.mean) if option.chance.mean > 0.0 else "none seen"
    return chance, f"{total:.2f}", percent(option.colonized_fraction[1])
