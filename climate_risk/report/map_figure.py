"""A region as maps: chance of loss, best option, gain; hatched where the record is short."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from climate_risk.region.results import SHORT, RegionMap
from climate_risk.report import theme
from climate_risk.report.display import folded
from climate_risk.report.map_words import labels, map_title, masked_key, nothing_words
from climate_risk.units import Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patches import Patch

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
ROW_IN, LINE_IN = 2.9, 0.19
TITLE_SHARE = 0.75
LEAST_COSINE = 0.1
"""Nearer to the poles a plain grid is not stretched any further."""


def map_figure(
    result: RegionMap,
    stack: int = 0,
    *,
    units: str | None = None,
    narrow: bool = False,
    dark: bool = False,
    heading: bool = True,
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
    dark : bool
        For a dark page.
    heading : bool
        With the finding on top.

    Returns
    -------
    matplotlib.figure.Figure
    """
    layout = theme.PHONE if narrow else theme.DESK
    with theme.styled(layout, dark=dark):
        return _Map(result, stack, Units(units or result.units), layout, dark).figure(heading)


def _rounded(values: FloatArray, step: float) -> float:
    """End of a scale from 0 that holds the values; one step where there are none."""
    return float(max(step * np.ceil(np.nanmax(values, initial=0.0) / step - 1e-9), step))


def _between(middles: FloatArray) -> FloatArray:
    """Edges half way between the middles of cells."""
    if len(middles) == 1:
        return np.array([middles[0] - 0.5, middles[0] + 0.5])
    half = np.diff(middles) / 2.0
    return np.concatenate([[middles[0] - half[0]], middles[:-1] + half, [middles[-1] + half[-1]]])


class _Map:
    """One figure in the making."""

    def __init__(
        self, result: RegionMap, stack: int, show: Units, layout: theme.Layout, dark: bool
    ) -> None:
        self.result, self.stack, self.layout = result, result.stacks[stack], layout
        self.turned = theme.DARK if dark else {}
        self.names = labels(result, show)
        best = self.stack.best[~np.isnan(self.stack.best)].astype(np.int64)
        places, counts = np.unique(best, return_counts=True)
        order = np.argsort(-counts, kind="stable")
        self.kinds = [(int(places[n]), *look) for n, look in zip(order, KINDS, strict=False)]
        y, x = (axis.values for axis in result.place.axes)
        self.step = -(-max(len(y), len(x)) // MOST_DRAWN)
        self.x, self.y = _between(x[:: self.step]), _between(y[:: self.step])

    def figure(self, heading: bool) -> Figure:
        """Heading, panels and key, one below the other."""
        layout, result = self.layout, self.result
        gain = result.gain(self.stack)
        columns = 1 if layout.narrow else 2
        rows = -(-(2 if gain is None else 4) // columns)
        width = layout.chars(layout.width_in - 0.4, bold=True)
        lines = folded(map_title(result, self.stack), width) if heading else []
        handles = self._handles()
        heights = (
            LINE_IN * len(lines) + 0.1,
            rows * ROW_IN,
            LINE_IN * -(-len(handles) // columns) + 0.25,
        )
        figure = theme.new_figure(layout, sum(heights))
        figure.set_layout_engine("constrained")
        top, body, foot = figure.subfigures(3, 1, height_ratios=heights, squeeze=False)[:, 0]
        top.text(0.02, 0.5, "\n".join(lines), va="center", fontweight="bold")
        panels = iter(body.subplots(rows, columns, squeeze=False).flat)
        best = self.stack.best_chance()
        bare = best if result.nothing is None else self.stack.chance[result.nothing]
        end = _rounded(np.stack([best, bare]), CHANCE_STEP)
        if gain is not None:
            title = f"Chance of loss, {nothing_words(result)}"
            self._scale(next(panels), bare, title, CHANCE_COLOURS, end)
        self._scale(next(panels), best, "Chance of loss, best option", CHANCE_COLOURS, end)
        self._best(next(panels))
        if gain is not None:
            title = "Gain over doing nothing, points"
            self._scale(next(panels), gain, title, GAIN_COLOURS, _rounded(gain, GAIN_STEP))
        foot.legend(handles=handles, loc="center left", ncols=columns, frameon=False,
                    fontsize=layout.text_pt - 0.5, handlelength=1.8)  # fmt: skip
        return figure

    def _colour(self, colour: str) -> str:
        return self.turned.get(colour, colour)

    def _scale(self, axes: Axes, values: FloatArray, title: str, colours: str, end: float) -> None:
        drawn = 100.0 * values[:: self.step, :: self.step]
        ladder = f"{colours}_r" if self.turned else colours  # none is the colour of the page
        mesh = axes.pcolormesh(self.x, self.y, drawn, cmap=ladder, vmin=0.0, vmax=100.0 * end)
        bar = axes.figure.colorbar(mesh, cax=axes.inset_axes((1.04, 0.0, 0.05, 1.0)))
        bar.ax.yaxis.set_major_formatter("{x:g}" if "points" in title else "{x:g} %")
        bar.ax.locator_params(nbins=5)
        bar.outline.set_linewidth(0.5)
        self._finish(axes, title)

    def _best(self, axes: Axes) -> None:
        for place, colour, hatch in self.kinds:
            self._shade(axes, self.stack.best == place, colour, hatch)
        self._finish(axes, "Best option")

    def _finish(self, axes: Axes, title: str) -> None:
        """Masked cells, ticks and title, alike in every panel."""
        self._shade(axes, self.result.state == SHORT, theme.WHITE, SHORT_HATCH)
        axes.set_xlim(self.x.min(), self.x.max())
        axes.set_ylim(self.y.min(), self.y.max())
        axes.set_facecolor(self._colour(theme.PALE))
        room = self.layout.chars(TITLE_SHARE * self.layout.width_in, bold=True)
        axes.set_title("\n".join(folded(title, room if self.layout.narrow else room // 2)),
                       fontsize=self.layout.text_pt)  # fmt: skip
        axes.set_anchor("W")
        for spine in axes.spines.values():
            spine.set_visible(True)
        place = self.result.place
        if not place.regular:
            axes.set_aspect("equal")
            axes.set_xticks([])
            axes.set_yticks([])
            return
        axes.set_aspect(1.0 / max(np.cos(np.radians(place.latitude.mean())), LEAST_COSINE))
        axes.xaxis.set_major_formatter(lambda v, _: f"{abs(v):.4g}°{'W' if v < 0 else 'E'}")
        axes.yaxis.set_major_formatter(lambda v, _: f"{abs(v):.4g}°{'S' if v < 0 else 'N'}")
        axes.locator_params(nbins=4)

    def _shade(self, axes: Axes, where: npt.NDArray[np.bool_], colour: str, hatch: str) -> None:
        """Cells of one kind as one shape, so that its hatch runs through."""
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path

        corners = []
        for row, line in enumerate(where[:: self.step, :: self.step]):
            turns = np.flatnonzero(np.diff(line.astype(np.int8), prepend=0, append=0))
            for first, last in turns.reshape(-1, 2):
                left, right, low, high = self.x[first], self.x[last], self.y[row], self.y[row + 1]
                around = [(left, low), (right, low), (right, high), (left, high), (left, low)]
                corners.append(around)
        if corners:
            codes = [Path.MOVETO, *[Path.LINETO] * 3, Path.CLOSEPOLY] * len(corners)
            shape = Path(np.concatenate(corners), codes)
            axes.add_patch(PathPatch(shape, **self._look(colour, hatch), linewidth=0.0))

    def _look(self, colour: str, hatch: str) -> dict[str, Any]:
        edge = self._colour(theme.GREY)
        return {"facecolor": self._colour(colour), "edgecolor": edge, "hatch": hatch}

    def _handles(self) -> list[Patch]:
        """What colours and hatches mean."""
        from matplotlib.patches import Patch

        hatched, blank = masked_key(self.result)
        looks = [
            *(
                (f"best: {self.names[place]}", colour, hatch)
                for place, colour, hatch in self.kinds
            ),
            (hatched, theme.WHITE, SHORT_HATCH),
            (blank, theme.PALE, ""),
        ]
        return [Patch(**self._look(*look), linewidth=0.5, label=words) for words, *look in looks]
