"""The batch drawn to scale: the stack, the trees it is cut from, and the weeks for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from climate_risk.report import theme
from climate_risk.report.column import Panel, compose
from climate_risk.report.display import MONTHS
from climate_risk.report.plan_words import (
    make_sentence,
    ranged,
    stem,
    trees_of,
    window_words,
)
from climate_risk.report.stack_figure import draw_stack, place_of
from climate_risk.risk.results_plan import PlanResult, Spring, StackPlan, Tree, Weeks, Window
from climate_risk.units import Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

STACK_IN, TREE_IN, WEEKS_IN = 3.1, 0.34, 1.25
MOST_TREES = 4
"""Ways of cutting that are drawn; the list has them all."""
YEAR_D = 365
SHOWN_D = 300
"""Of the year, from the month in which leaves fall."""
FIRST_OF_MONTH = (1, 32, 60, 91, 121, 152, 182, 213, 244, 274, 305, 335)
TREE_LOOKS = {
    "trim": {"facecolor": theme.WHITE, "hatch": "...."},
    "piece": {"facecolor": theme.PALE},
    "cap": {"facecolor": theme.ACT, "hatch": "xxx"},
}


def plan_figure(
    result: PlanResult,
    stack: int = 0,
    *,
    units: str | None = None,
    narrow: bool = False,
    heading: bool = True,
) -> Figure:
    """One stack to scale, its trees with every cut, and the weeks to fell and to inoculate.

    Parameters
    ----------
    result : PlanResult
        What ``plan`` found.
    stack : int
        Place of the stack in ``result.stacks``.
    units : str, optional
        ``us`` or ``metric``, in place of what the yard says.
    narrow : bool
        For a phone: 3.7 in place of 9 inches wide.
    heading : bool
        With a title.

    Returns
    -------
    matplotlib.figure.Figure
    """
    layout, show = theme.PHONE if narrow else theme.DESK, Units(units or result.units)
    chosen = result.stacks[stack]
    title = [f"{chosen.name}: the batch", make_sentence(chosen, show)] if heading else []
    panels = [_stack_panel(chosen, show), _trees_panel(chosen, show)]
    if chosen.weeks is not None and result.spring is not None:
        panels.append(_weeks_panel(chosen.weeks, result.spring))
    with theme.styled(layout):
        figure, _ = compose(layout, title, panels)
    return figure


def _stack_panel(stack: StackPlan, show: Units) -> Panel:
    size = show.length.text
    words = [f"{place_of(face, stack.shape)}: spawn" for face in range(stack.faces)]
    return Panel(
        heading=f"The stack to scale: {size(stack.height_m)} high, {size(stack.shape.diameter_m)} "
        f"across, about {ranged(stack.stack_mass_kg, show.mass, 0)} fresh",
        height_in=STACK_IN,
        draw=lambda axes: draw_stack(axes, stack.shape, words, stack.covers, "no cover"),
        timed=False,
    )  # fmt: skip


def _trees_panel(stack: StackPlan, show: Units) -> Panel:
    ways = trees_of(stack)
    shown = ways[:MOST_TREES]
    more = f"; {len(ways) - MOST_TREES} more in the list" if len(ways) > MOST_TREES else ""
    return Panel(
        heading=f"Trees of {stem(stack.trees[0].length_m, show)}, how many to cut which way: "
        f"dotted = trimmed off the butt, grey = piece, crossed = cap, empty = left over{more}",
        height_in=TREE_IN * len(shown) + 0.1,
        below_in=0.28,
        draw=lambda axes: _draw_trees(axes, shown, show),
        timed=False,
    )


def _draw_trees(axes: Axes, ways: list[tuple[int, Tree]], show: Units) -> None:
    from matplotlib.patches import Rectangle

    unit_m = 0.3048 if show.system == "us" else 1.0
    length = ways[0][1].length_m / unit_m

    def block(at_m: float, wide_m: float, level: int, **look: object) -> None:
        corner = (at_m / unit_m, level + 0.18)
        axes.add_patch(Rectangle(corner, wide_m / unit_m, 0.64, **look))  # type: ignore[arg-type]

    for place, (number, tree) in enumerate(ways):
        level = len(ways) - 1 - place
        block(0.0, tree.length_m, level, facecolor=theme.WHITE, edgecolor=theme.GREY)
        for cut in tree.cuts:
            look = {"edgecolor": theme.BLACK, "linewidth": 0.6, **TREE_LOOKS[cut.kind]}
            block(cut.start_m, cut.length_m, level, **look)
        axes.annotate(f"{number} x", (0.0, level + 0.5), (-4, 0), textcoords="offset points",
                      ha="right", va="center")  # fmt: skip
    axes.set_xlim(-0.06 * length, 1.005 * length)
    axes.set_ylim(0.0, len(ways))
    axes.set_yticks([])
    for side in ("left", "right", "top"):
        axes.spines[side].set_visible(False)
    step = max(round(length / 6.0), 1)
    ticks = list(range(0, int(length) + 1, step))
    unit = "ft" if show.system == "us" else "m"
    axes.set_xticks(ticks, [f"{tick} {unit}" for tick in ticks])
    axes.tick_params(axis="x", length=3)


def _weeks_panel(weeks: Weeks, spring: Spring) -> Panel:
    felling = f"fell {window_words(weeks.felling)}" if weeks.felling else "no week to fell"
    inoculation = (
        f"inoculate {window_words(weeks.inoculation)}" if weeks.inoculation
        else "no week to inoculate"
    )  # fmt: skip
    return Panel(
        heading=f"Weeks, from {spring.years} past years: {felling}; {inoculation}",
        height_in=WEEKS_IN,
        below_in=0.28,
        draw=lambda axes: _draw_weeks(axes, weeks, spring),
        timed=False,
    )


def _draw_weeks(axes: Axes, weeks: Weeks, spring: Spring) -> None:
    """Bars for the two windows, and lines for what bounds them, over a year from leaf fall on."""
    start = max(first for first in FIRST_OF_MONTH if first <= spring.leaf_fall_day)

    def at(number: int) -> int:
        return (number - start) % YEAR_D

    def name(words: str, level: int, first: int, last: int) -> None:
        is_left = at(first) > SHOWN_D - at(last)
        axes.annotate(
            words,
            (at(first) if is_left else at(last), level),
            (-5 if is_left else 5, 0),
            textcoords="offset points",
            va="center",
            ha="right" if is_left else "left",
        )

    bars: list[tuple[str, Window | None, dict[str, object]]] = [
        ("fell", weeks.felling, {"facecolor": theme.PALE, "hatch": "////"}),
        ("inoculate", weeks.inoculation, {"facecolor": theme.ACT}),
    ]
    for level, (words, window, look) in enumerate(bars):
        if window is not None:
            width = at(window.last_day) - at(window.first_day) + 1
            axes.barh(level, width, left=at(window.first_day), height=0.66,
                      edgecolor=theme.BLACK, linewidth=0.8, **look)  # type: ignore[arg-type]  # fmt: skip
            name(words, level, window.first_day, window.last_day)
    marks = [("last frost by day", spring.last_frost_day), ("leaves out", spring.leaf_day)]
    if spring.heat_day is not None:
        marks.append(("first hot spell", spring.heat_day))
    for level, (words, (low, middle, high)) in enumerate(marks, len(bars)):
        axes.plot([at(low), at(high)], [level] * 2, color=theme.BLACK, linewidth=1.2)
        axes.plot([at(middle)] * 2, [level - 0.3, level + 0.3], color=theme.BLACK, linewidth=2.4)
        name(words, level, low, high)
    axes.set_yticks([])
    axes.set_ylim(len(bars) + len(marks) - 0.4, -0.6)
    axes.spines["left"].set_visible(False)
    ticks = sorted((at(first), MONTHS[month]) for month, first in enumerate(FIRST_OF_MONTH))
    axes.set_xlim(0, SHOWN_D)
    every = 1 if axes.get_figure().get_figwidth() > theme.PHONE.width_in else 2  # type: ignore[union-attr]
    shown = [(t, m) for t, m in ticks if t < SHOWN_D][::every]
    axes.set_xticks([t for t, _ in shown], [m for _, m in shown])
    axes.tick_params(axis="x", length=3)
