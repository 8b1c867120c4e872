"""Panels of a chart one below another, each under its heading, sized in inches."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from climate_risk.report.display import MONTHS, folded
from climate_risk.report.theme import Layout, new_figure
from climate_risk.report.ticks import put_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = npt.NDArray[np.float64]
EDGE_IN = 0.08
ABOVE_IN = 0.14
"""Between a panel and the heading of the next."""
TICKS_IN, MONTHS_IN = 0.24, 0.42
LINE_EM = 1.28
UNTIMED_IN = (0.14, 0.24)
"""Left and right of a panel that has no days."""
SIDE_GAP_IN = 0.06


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One panel: what stands above it, how high it is, and who draws it."""

    heading: str
    height_in: float
    draw: Callable[[Axes], None]
    below_in: float = 0.0
    """Room for tick labels below."""
    timed: bool = True


def compose(
    layout: Layout, title: Sequence[str], panels: Sequence[Panel], notes: Sequence[str] = ()
) -> tuple[Figure, list[Axes]]:
    """Draw panels below a title and above notes; the first line of the title is the largest.

    Returns
    -------
    Figure, list of Axes
        The axes in the order of the panels.
    """
    line_in = LINE_EM * layout.text_pt / 72.0
    room_in = layout.width_in - 2 * EDGE_IN
    chars = layout.chars(room_in)
    blocks = [
        (folded(text, layout.chars(room_in, size, bold=place < 2)), size, place < 2)
        for place, (text, size) in enumerate(
            zip(title, _title_sizes(layout, len(title)), strict=True)
        )
        if text
    ]
    headings = [folded(p.heading, layout.chars(room_in, bold=True)) for p in panels]
    below = [line for note in notes if note for line in folded(note, chars)]
    head_in = sum(len(lines) * LINE_EM * size / 72.0 + 0.05 for lines, size, _ in blocks)
    body_in = sum(
        ABOVE_IN + len(lines) * line_in + 0.05 + panel.height_in + panel.below_in
        for lines, panel in zip(headings, panels, strict=True)
    )
    height_in = head_in + body_in + len(below) * line_in + 3 * EDGE_IN
    figure = new_figure(layout, height_in)

    def write(lines: Sequence[str], top_in: float, size: float, **kwargs: Any) -> None:
        figure.text(
            EDGE_IN / layout.width_in,
            1.0 - top_in / height_in,
            "\n".join(lines),
            va="top",
            fontsize=size,
            linespacing=1.05,
            **kwargs,
        )

    at = EDGE_IN
    for lines, size, is_bold in blocks:
        write(lines, at, size, fontweight="bold" if is_bold else "normal")
        at += len(lines) * LINE_EM * size / 72.0 + 0.05
    drawn = []
    for lines, panel in zip(headings, panels, strict=True):
        at += ABOVE_IN
        write(lines, at, layout.text_pt, fontweight="bold")
        at += len(lines) * line_in + 0.05
        left, right = (layout.left_in, layout.right_in) if panel.timed else UNTIMED_IN
        axes = figure.add_axes(
            (
                left / layout.width_in,
                1.0 - (at + panel.height_in) / height_in,
                (layout.width_in - left - right) / layout.width_in,
                panel.height_in / height_in,
            )
        )
        panel.draw(axes)
        drawn.append(axes)
        at += panel.height_in + panel.below_in
    if below:
        write(below, at + EDGE_IN, layout.text_pt)
    return figure, drawn


def _title_sizes(layout: Layout, lines: int) -> list[float]:
    return [layout.title_pt, layout.title_pt - 2.0, *[layout.text_pt] * lines][:lines]


def side_notes(axes: Axes, notes: Sequence[tuple[float, str]], height_in: float) -> None:
    """Write notes right of a panel at their levels, moved apart where they would meet."""
    import matplotlib as mpl

    low, high = axes.get_ylim()
    line = LINE_EM * mpl.rcParams["font.size"] / 72.0 / height_in
    shares = [(level - low) / (high - low) for level, _ in sorted(notes)]
    halves = [0.5 * line * (text.count("\n") + 1) for _, text in sorted(notes)]
    for (_, text), middle in zip(sorted(notes), apart(shares, halves), strict=True):
        axes.annotate(
            text,
            (1.0, middle),
            (SIDE_GAP_IN * 72.0, 0.0),
            xycoords="axes fraction",
            textcoords="offset points",
            va="center",
            linespacing=1.05,
            annotation_clip=False,
        )


def apart(middles: Sequence[float], halves: Sequence[float]) -> list[float]:
    """Middles in rising order moved so that no two notes meet and none passes 0 or 1.

    Parameters
    ----------
    middles, halves : sequences of float
        Where each note would stand and half its height, as shares of the panel's height.
    """
    found, floor = [], 0.0
    for middle, half in zip(middles, halves, strict=True):
        found.append(max(middle, floor + half))
        floor = found[-1] + half
    ceiling = 1.0
    for place in reversed(range(len(found))):
        found[place] = min(found[place], ceiling - halves[place])
        ceiling = found[place] - halves[place]
    return found


def month_axis(axes: Axes, first: date, last: date, *, every: int, labelled: bool) -> None:
    """Firsts of the month below a panel; the year stands under January and the first label."""
    ticks: list[int] = []
    labels: list[str] = []
    month = date(first.year, first.month, 1)
    while month <= last:
        if month >= first and (month.month - 1) % every == 0:
            is_named = not labels or month.month == 1
            ticks.append(month.toordinal())
            name = MONTHS[month.month - 1]
            labels.append(f"{name}\n{month.year}" if is_named else name)
        month = (month + timedelta(days=32)).replace(day=1)
    axes.set_xlim(first.toordinal(), last.toordinal())
    put_ticks(axes.xaxis, ticks, labels if labelled else None)
    axes.tick_params(axis="x", length=3)


def strokes(axes: Axes, across: FloatArray, up: FloatArray, **look: Any) -> None:
    """Separate strokes, shape (strokes, 2) each way, as one line."""
    gap = np.full((len(across), 1), np.nan)
    axes.plot(np.hstack([across, gap]).ravel(), np.hstack([up, gap]).ravel(), **look)
