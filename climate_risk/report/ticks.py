"""Ticks of a chart: cheap to set, and cheap to draw when the chart is saved.

A tick of matplotlib's is five artists; made and drawn one by one they take a third of a chart's
time.  A figure keeps them, so that its axes can be changed; what is saved shows the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

EDGE = 1e-9
"""Share of an axis by which a tick may lie beyond its end and still show."""


def put_ticks(axis: Axis, at: Sequence[float], labels: Sequence[str] | None = None) -> None:
    """Ticks at these places and no others, with these labels or none; none are made yet."""
    from matplotlib.ticker import FixedFormatter, FixedLocator

    axis.set_major_locator(FixedLocator(at))
    axis.set_major_formatter(FixedFormatter(labels or [""] * len(at)))


@contextmanager
def light_ticks(figure: Figure) -> Iterator[None]:
    """Within, each axis without a name shows its ticks as one line and plain texts."""
    axes_of = [(axes, axis) for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)]
    turned = [
        (axes, axis)
        for axes, axis in axes_of
        if axes.axison and axis.get_visible() and not axis.get_label_text()
    ]
    added = [artist for axes, axis in turned for artist in _drawn(axes, axis)]
    for _, axis in turned:
        axis.set_visible(False)
    try:
        yield
    finally:
        for artist in added:
            artist.remove()
        for _, axis in turned:
            axis.set_visible(True)


def _drawn(axes: Axes, axis: Axis) -> list[Artist]:
    """Marks and labels, looking as the one tick does that each axis has from the start."""
    low, high = sorted(axis.get_view_interval())
    slack = EDGE * (high - low)
    places = axis.get_majorticklocs()
    labels = axis.get_major_formatter().format_ticks(list(places))
    shown = [
        (float(at), text)
        for at, text in zip(places, labels, strict=True)
        if low - slack <= at <= high + slack
    ]
    if not shown:
        return []
    tick = axis.get_major_ticks(1)[0]
    mark, letters, is_across = tick.tick1line, tick.label1, axis is axes.xaxis
    at, zeros = [place for place, _ in shown], [0.0] * len(shown)
    (line,) = axes.plot(
        *((at, zeros) if is_across else (zeros, at)),
        scalex=False, scaley=False, linestyle="none", marker=mark.get_marker(),
        markersize=mark.get_markersize(), markeredgewidth=mark.get_markeredgewidth(),
        color=mark.get_color(), transform=mark.get_transform(), clip_on=False,
    )  # fmt: skip
    look: dict[str, Any] = {
        "ha": letters.get_horizontalalignment(),
        "va": letters.get_verticalalignment(),
        "color": letters.get_color(),
        "fontsize": letters.get_fontsize(),
        "transform": letters.get_transform(),
    }
    texts = [
        axes.text(*((place, 0.0) if is_across else (0.0, place)), text, **look)
        for place, text in shown
        if text
    ]
    return [line, *texts]
