"""Options side by side: chance of loss with its interval, cost and run, grouped by canopy."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from climate_risk.report import theme
from climate_risk.report.display import cut, folded, percent
from climate_risk.report.gauge import draw_chance
from climate_risk.report.words import (
    best_option_sentence,
    cheapest_sentence,
    ties_sentence,
)
from climate_risk.risk.results import CompareResult, OptionResult, StackCompare

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

EDGE_IN = 0.12
LINE_IN = 0.165
ROW_IN = 0.42
GROUP_IN = 0.3
BELOW_IN = 0.35
CHARS_PER_IN = 14.5
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
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    stack = result.stacks[stack_index]
    width = theme.NARROW_IN if narrow else theme.WIDE_IN
    chars = int((width - 2 * EDGE_IN) * CHARS_PER_IN)
    title_pt = theme.TITLE_PT - 2.0 if narrow else theme.TITLE_PT
    title_chars = int(chars * 0.95 * theme.TEXT_PT / title_pt)
    advice = (result.tolerated_chance, result.currency)
    title_lines = folded(best_option_sentence(stack, *advice), title_chars)
    title_lines += folded(cheapest_sentence(stack, *advice), title_chars)
    text = folded(f"{basis_line(result, stack)} {ties_sentence(stack)}", chars)
    has_bars = any(option.chance is not None for option in stack.options)
    key = folded(KEY if has_bars else KEY_FEW, chars)
    groups = by_canopy(stack)
    plot_in = GROUP_IN * len(groups) + ROW_IN * len(stack.options)
    title_in = len(title_lines) * title_pt * 1.3 / 72 + 0.05
    head = EDGE_IN + title_in + (len(text) + len(key) + 1.0) * LINE_IN + 2.4 * LINE_IN
    total = head + plot_in + BELOW_IN

    with theme.style():
        figure = Figure(figsize=(width, total), facecolor=theme.WHITE)
        FigureCanvasAgg(figure)

        def write(lines: list[str], x_in: float, from_top_in: float, **style: Any) -> None:
            style = {"va": "top", "linespacing": 1.3, **style}
            figure.text(x_in / width, 1 - from_top_in / total, "\n".join(lines), **style)

        write(title_lines, EDGE_IN, EDGE_IN, fontsize=title_pt, fontweight="bold")
        write(text, EDGE_IN, EDGE_IN + title_in, color=theme.GREY)
        at = EDGE_IN + title_in + (len(text) + 0.6) * LINE_IN
        write(key, EDGE_IN, at)
        plot_width = width - 3 * EDGE_IN - sum(COLUMNS_IN)
        box = (2 * EDGE_IN / width, BELOW_IN / total, plot_width / width, plot_in / total)
        axes = figure.add_axes(box)
        _draw_groups(axes, groups, plot_in, result, chars)
        right = 2 * EDGE_IN + plot_width
        for name, column in zip(column_names(stack, result.currency), COLUMNS_IN, strict=True):
            right += column
            for line, text_line in enumerate(reversed(name)):
                above = head - 0.1 - line * LINE_IN
                write([text_line], right, above, ha="right", va="baseline")
        _write_columns(axes, groups, plot_in, plot_width)
    return figure


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
