"""A region as maps: chance of loss, best option, gain; hatched where the record is short."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from climate_risk.region.results import SHORT, RegionMap, StackMap
from climate_risk.report import theme
from climate_risk.report.display import folded
from climate_risk.report.map_words import labels, map_title, masked_key, nothing_words
from climate_risk.report.words import capital
from climate_risk.units import Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = npt.NDArray[np.float64]

CHANCE_COLOURS, GAIN_COLOURS = "YlOrBr", "Blues"
"""Light to dark, so that grey print and every kind of eye read the order (ColorBrewer)."""
CHANCE_STEP, GAIN_STEP = 0.05, 0.02
"""The ends of the scales are rounded up to these."""
KINDS = (
    (theme.SKY_BLUE, ""), (theme.YELLOW, ".."), (theme.PURPLE, "\\\\"), (theme.GREEN, "++"),
    (theme.ORANGE, "oo"), (theme.BLUE, "--"), (theme.PALE, "xx"), (theme.VERMILION, "||"),
)  # fmt: skip
"""Colour and hatch of the best options, the most frequent first."""
SHORT_HATCH = "////"
MOST_DRAWN = 600
"""Rows or columns; of a larger grid every so manieth cell is drawn."""
ROW_IN, KEY_LINE_IN = 2.9, 0.19


def map_figure(
    result: RegionMap, stack: int = 0, *, units: str | None = None, narrow: bool = False
) -> Figure:
    """Chance of loss when nothing is done and under the best option, that option, and the gain.

    Parameters
    ----------
    result : RegionMap
        What a region's run found.
    stack : int
        Place of the stack in ``result.stacks``.
    units : str, optional
        ``us`` or ``metric``, in place of what the yard says.
    narrow : bool
        For a phone, 355 px wide, instead of for a desk or paper.

    Returns
    -------
    matplotlib.figure.Figure
    """
    layout = theme.PHONE if narrow else theme.DESK
    show, chosen = Units(units or result.units), result.stacks[stack]
    names = labels(result, show)
    best_chance, gain = chosen.best_chance(), result.gain(chosen)
    with theme.styled(layout):
        panels = 4 if gain is not None else 2
        columns = 1 if narrow else 2
        kinds = _kinds(chosen)
        lines = folded(map_title(result, chosen), layout.chars(layout.width_in - 0.3, bold=True))
        rows = -(-panels // columns)
        head_in = 0.25 * len(lines) + 0.1
        key_in = KEY_LINE_IN * (1 + len(kinds) if narrow else 1 + -(-len(kinds) // 2)) + 0.25
        figure = theme.new_figure(layout, rows * ROW_IN + head_in + key_in)
        figure.set_layout_engine("constrained")
        top, body, foot = figure.subfigures(
            3, 1, height_ratios=(head_in, rows * ROW_IN, key_in), squeeze=False
        )[:, 0]
        top.text(0.02, 0.5, "\n".join(lines), va="center", fontweight="bold",
                 fontsize=layout.text_pt + 1.0)  # fmt: skip
        axes = list(body.subplots(rows, columns, squeeze=False).flat)
        highest = _rounded(np.nanmax([best_chance, chosen.chance.max(axis=0)], initial=0.0),
                           CHANCE_STEP)  # fmt: skip
        if gain is not None and result.nothing is not None:
            bare = chosen.chance[result.nothing]
            _draw(axes[0], result, bare, f"Chance of loss, {nothing_words(result)}",
                  CHANCE_COLOURS, highest)  # fmt: skip
            most = _rounded(np.nanmax(gain, initial=0.0), GAIN_STEP)
            _draw(axes[3], result, gain, "Gain over doing nothing, points", GAIN_COLOURS, most)
        at = 1 if gain is not None else 0
        _draw(axes[at], result, best_chance, "Chance of loss, best option", CHANCE_COLOURS,
              highest)  # fmt: skip
        _draw_best(axes[at + 1], result, chosen, kinds)
        _draw_key(foot, names, kinds, result, 1 if narrow else 2, layout)
    return figure


def _rounded(value: float, step: float) -> float:
    return float(max(step * np.ceil(value / step - 1e-9), step))


def _kinds(stack: StackMap) -> list[int]:
    """Options that are best somewhere, the most frequent first."""
    best = stack.best[~np.isnan(stack.best)].astype(np.int64)
    places, counts = np.unique(best, return_counts=True)
    return [int(places[n]) for n in np.argsort(-counts, kind="stable")][: len(KINDS)]


def _draw(
    axes: Axes, result: RegionMap, values: FloatArray, title: str, colours: str, end: float
) -> None:
    x, y, step = _edges(result)
    mesh = axes.pcolormesh(x, y, 100.0 * values[::step, ::step], cmap=colours, vmin=0.0,
                           vmax=100.0 * end, rasterized=True)  # fmt: skip
    bar = axes.figure.colorbar(mesh, ax=axes, shrink=0.85, pad=0.02)
    bar.ax.yaxis.set_major_formatter("{x:g} %")
    bar.outline.set_linewidth(0.5)
    _finish(axes, result, title)


def _draw_best(axes: Axes, result: RegionMap, stack: StackMap, kinds: list[int]) -> None:
    for place, (colour, hatch) in zip(kinds, KINDS, strict=False):
        _shade(axes, result, stack.best == place, colour, hatch)
    _finish(axes, result, "Best option")


def _finish(axes: Axes, result: RegionMap, title: str) -> None:
    """Masked cells, ticks and title, alike in every panel."""
    _shade(axes, result, result.state == SHORT, theme.WHITE, SHORT_HATCH)
    x, y, _ = _edges(result)
    axes.set_xlim(x.min(), x.max())
    axes.set_ylim(y.min(), y.max())
    axes.set_facecolor(theme.PALE)
    axes.set_title(title, loc="left")
    for spine in axes.spines.values():
        spine.set_visible(True)
    if result.place.regular:
        middle = float(np.radians(result.place.latitude.mean()))
        axes.set_aspect(1.0 / max(np.cos(middle), 0.1))
        axes.xaxis.set_major_formatter(lambda v, _: f"{abs(v):g}°{'W' if v < 0 else 'E'}")
        axes.yaxis.set_major_formatter(lambda v, _: f"{abs(v):g}°{'S' if v < 0 else 'N'}")
        axes.locator_params(nbins=4)
    else:
        axes.set_aspect("equal")
        axes.set_xticks([])
        axes.set_yticks([])


def _edges(result: RegionMap) -> tuple[FloatArray, FloatArray, int]:
    """Edges of the cells that are drawn along x and y, and every how manieth is."""
    y, x = (axis.values for axis in result.place.axes)
    step = -(-max(len(y), len(x)) // MOST_DRAWN)
    return _between(x[::step]), _between(y[::step]), step


def _between(middles: FloatArray) -> FloatArray:
    """Edges half way between the middles of cells."""
    if len(middles) == 1:
        return np.array([middles[0] - 0.5, middles[0] + 0.5])
    half = np.diff(middles) / 2.0
    return np.concatenate([[middles[0] - half[0]], middles[:-1] + half, [middles[-1] + half[-1]]])


def _shade(
    axes: Axes, result: RegionMap, where: npt.NDArray[np.bool_], colour: str, hatch: str
) -> None:
    """Cells of one kind as one shape, so that its hatch runs through."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    x, y, step = _edges(result)
    corners = []
    for row, line in enumerate(where[::step, ::step]):
        turns = np.flatnonzero(np.diff(np.concatenate([[False], line, [False]]).astype(int)))
        for first, last in turns.reshape(-1, 2):
            left, right, low, high = x[first], x[last], y[row], y[row + 1]
            corners.append([(left, low), (right, low), (right, high), (left, high), (left, low)])
    if not corners:
        return
    codes = [Path.MOVETO, *[Path.LINETO] * 3, Path.CLOSEPOLY] * len(corners)
    shape = Path(np.concatenate(corners), codes)
    axes.add_patch(PathPatch(shape, facecolor=colour, edgecolor=theme.GREY, hatch=hatch,
                             linewidth=0.0))  # fmt: skip


def _draw_key(
    foot: Figure,
    names: list[str],
    kinds: list[int],
    result: RegionMap,
    columns: int,
    layout: theme.Layout,
) -> None:
    """What colours and hatches mean."""
    from matplotlib.patches import Patch

    handles = [
        Patch(facecolor=colour, hatch=hatch, edgecolor=theme.GREY, linewidth=0.5,
              label=f"best: {names[place]}")
        for place, (colour, hatch) in zip(kinds, KINDS, strict=False)
    ]  # fmt: skip
    handles += [
        Patch(facecolor=theme.WHITE, hatch=SHORT_HATCH, edgecolor=theme.GREY, linewidth=0.5,
              label=capital(masked_key(result)[0])),
        Patch(facecolor=theme.PALE, edgecolor=theme.GREY, linewidth=0.5,
              label=capital(masked_key(result)[1])),
    ]  # fmt: skip
    foot.legend(handles=handles, loc="center left", ncols=columns, frameon=False,
                fontsize=layout.text_pt - 0.5, handlelength=1.8)  # fmt: skip
