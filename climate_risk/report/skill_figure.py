"""What outlooks were worth by time of the year, and whether what was told came as often."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from climate_risk.report import theme
from climate_risk.report.column import Panel, compose
from climate_risk.report.skill import FEWEST_YEARS, stack_words
from climate_risk.risk.hindsight import Hindcast

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SKILL_IN, SQUARE_IN, BELOW_IN = 1.6, 2.4, 0.5
LEFT_IN = 0.5
MARKERS = ("o", "s", "^", "D", "v")
SHIFT = 0.06
"""Months by which records stand apart at the same date."""


def skill_figure(
    hindcasts: Sequence[Hindcast], *, narrow: bool = False, heading: bool = True
) -> Figure:
    """Skill of the chance of loss by months seen; below it, chance told against what came.

    Parameters
    ----------
    hindcasts : sequence of Hindcast
        At least one.
    narrow : bool
        For a phone, 355 px wide, instead of for a desk or paper.
    heading : bool
        With what is shown on top.

    Returns
    -------
    matplotlib.figure.Figure
    """
    layout = theme.PHONE if narrow else theme.DESK
    shown = list(zip(hindcasts, theme.CANOPY_LINES, MARKERS, strict=False))

    def room(axes: Axes, square: bool) -> None:
        left, bottom, width, high = axes.get_position().bounds
        shift = LEFT_IN / layout.width_in
        width = min(width - shift, 1.3 * SQUARE_IN / layout.width_in) if square else width - shift
        axes.set_position((left + shift, bottom, width, high))

    def draw_skill(axes: Axes) -> None:
        room(axes, square=False)
        axes.axhline(0.0, color=theme.BLACK, linewidth=1.0)
        for place, (hindcast, (colour, dashes), marker) in enumerate(shown):
            months = [lead.months_seen + SHIFT * place for lead in hindcast.leads]
            skills = [lead.loss for lead in hindcast.leads]
            axes.vlines(months, [100 * s.low for s in skills], [100 * s.high for s in skills],
                        color=colour, linewidth=1.3)  # fmt: skip
            axes.plot(months, [100 * s.skill for s in skills], marker=marker, color=colour,
                      linestyle=dashes, linewidth=1.2, markersize=5.0)  # fmt: skip
            best = 100 * skills[0].best
            axes.plot(months[-1] + 0.35, best, marker=marker, markersize=6.0,
                      markerfacecolor="none", color=colour)  # fmt: skip
        axes.set_xlabel("months after inoculation")
        axes.set_xticks([lead.months_seen for lead in hindcasts[0].leads])

    def draw_reliability(axes: Axes) -> None:
        room(axes, square=True)
        axes.plot([0, 100], [0, 100], color=theme.GREY, linewidth=1.0, linestyle="--")
        for hindcast, (colour, _), marker in shown:
            for found in hindcast.reliability:
                face = colour if found.years >= FEWEST_YEARS else "none"
                axes.plot([100 * found.told] * 2, [100 * found.low, 100 * found.high],
                          color=colour, linewidth=1.3)  # fmt: skip
                axes.plot(100 * found.told, 100 * found.came, marker=marker, color=colour,
                          markersize=5.5, markerfacecolor=face)  # fmt: skip
        axes.set_xlim(0.0, 100.0)
        axes.set_ylim(0.0, 100.0)
        axes.set_xticks([0, 25, 50, 75, 100])
        axes.set_yticks([0, 25, 50, 75, 100])
        axes.set_xlabel("chance told, %")

    panels = [
        Panel(
            heading="Better than the usual chance by, % (line: 8 times in 10; hollow, right: with "
            "the weather known)",
            height_in=SKILL_IN,
            draw=draw_skill,
            below_in=BELOW_IN,
            timed=False,
        ),
        Panel(
            heading="How often a loss came, %, where so much was told (on the dashed line: as "
            f"often; hollow: under {FEWEST_YEARS} years)",
            height_in=SQUARE_IN,
            draw=draw_reliability,
            below_in=BELOW_IN,
            timed=False,
        ),
    ]
    names = {"o": "dot", "s": "square", "^": "triangle", "D": "diamond", "v": "wedge"}
    notes = [f"{names[m].capitalize()}: {h.source}, {stack_words(h)}." for h, _, m in shown]
    title = ["What outlooks were worth"] if heading else []
    with theme.styled(layout):
        figure, _ = compose(layout, title, panels, notes)
    return figure
