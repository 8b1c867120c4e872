"""Data on a sheet: days or shares across, levels up."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from climate_risk.report import theme
from climate_risk.report.display import FloatArray
from climate_risk.report.sheet import LINE_IN, Anchor, Box, Sheet, Upright

TICK_IN = 0.04
SIDE_IN = 0.07
"""From the right end of a plot to the words beside it."""


class Plot:
    """A box of the sheet with a scale of its own in each direction.

    Parameters
    ----------
    sheet : Sheet
        Drawn on.
    box : Box
        Where.
    across : (float, float)
        Values at the left and the right end.
    """

    def __init__(self, sheet: Sheet, box: Box, across: tuple[float, float]) -> None:
        self.sheet, self.box, self.across = sheet, box, across
        self.levels = (0.0, 1.0)

    def scale(self, bottom: float, top: float) -> None:
        """Set the values at the lower and the upper end; call before drawing."""
        self.levels = (bottom, top)

    def x(self, values: npt.ArrayLike) -> FloatArray:
        """Values across as inches from the left of the sheet, ends not passed."""
        low, high = self.across
        share = (np.asarray(values, dtype=np.float64) - low) / (high - low)
        return np.asarray(self.box.left + self.box.width * np.clip(share, 0.0, 1.0))

    def y(self, values: npt.ArrayLike) -> FloatArray:
        """Levels as inches from the top of the sheet, ends not passed."""
        low, high = self.levels
        share = (np.asarray(values, dtype=np.float64) - low) / (high - low)
        return np.asarray(self.box.top + self.box.height * (1.0 - np.clip(share, 0.0, 1.0)))

    def line(
        self,
        x: npt.ArrayLike,
        y: npt.ArrayLike,
        *,
        colour: str = theme.BLACK,
        width_pt: float = 0.8,
        dash: theme.Dash = theme.SOLID,
    ) -> None:
        self.sheet.line(self.x(x), self.y(y), colour=colour, width_pt=width_pt, dash=dash)

    def level(self, y: float, *, width_pt: float = 0.8, dash: theme.Dash = theme.SOLID) -> None:
        """A line from end to end at one level."""
        self.line(self.across, [y, y], width_pt=width_pt, dash=dash)

    def fan(self, x: FloatArray, low: FloatArray, high: FloatArray, colour: str) -> None:
        """The band between two lines."""
        around = np.concatenate([x, x[::-1]]), np.concatenate([low, high[::-1]])
        self.sheet.area(self.x(around[0]), self.y(around[1]), colour, opacity=theme.FAN_OPACITY)

    def block(
        self,
        x: tuple[float, float],
        y: tuple[float, float],
        *,
        fill: str = "",
        edge: str = "",
        hatch: theme.Hatch = "",
        hatch_colour: str = theme.BLACK,
    ) -> None:
        """A rectangle between two values across and two levels."""
        left, right = sorted(self.x(x).tolist())
        top, bottom = sorted(self.y(y).tolist())
        box = Box(left, top, right - left, bottom - top)
        self.sheet.rectangle(box, fill=fill, edge=edge, hatch=hatch, hatch_colour=hatch_colour)

    def dot(self, x: float, y: float, *, colour: str = theme.BLACK) -> None:
        self.sheet.dot(float(self.x(x)), float(self.y(y)), colour=colour)

    def write(
        self,
        text: str,
        x: float,
        y: float,
        *,
        shift_in: float = 0.0,
        upright: Upright = "middle",
        anchor: Anchor = "start",
        is_bold: bool = False,
        colour: str = theme.BLACK,
        behind: str = "",
    ) -> None:
        """One line of text at a value and a level, shifted to the right."""
        self.sheet.write(
            [text],
            float(self.x(x)) + shift_in,
            float(self.y(y)),
            upright=upright,
            anchor=anchor,
            is_bold=is_bold,
            colour=colour,
            behind=behind,
        )

    def left_axis(self, ticks: Sequence[float], labels: Sequence[str] | None = None) -> None:
        """The axis at the left with its ticks and their labels."""
        left, top = self.box.left, self.box.top
        self.sheet.line([left, left], [top, top + self.box.height], colour=theme.GREY)
        texts = [f"{tick:g}" for tick in ticks] if labels is None else labels
        for tick, text in zip(ticks, texts, strict=True):
            at = float(self.y(tick))
            self.sheet.line([left - TICK_IN, left], [at, at], colour=theme.GREY)
            self.sheet.write([text], left - 2 * TICK_IN, at, upright="middle", anchor="end")

    def bottom_axis(self, ticks: Sequence[float], labels: Sequence[str] = ()) -> None:
        """The axis at the foot with its ticks and, if given, labels of one or more lines."""
        left, foot = self.box.left, self.box.top + self.box.height
        self.sheet.line([left, left + self.box.width], [foot, foot], colour=theme.GREY)
        across = self.x(np.asarray(ticks, dtype=np.float64))
        marks = np.stack([across, across, np.full_like(across, np.nan)], axis=1).ravel()
        ends = np.tile([foot, foot + TICK_IN, np.nan], len(across))
        self.sheet.line(marks, ends, colour=theme.GREY)
        for at, text in zip(across.tolist(), labels, strict=False):
            self.sheet.write(text.split("\n"), at, foot + 2 * TICK_IN, anchor="middle")

    def sides(self, notes: Sequence[tuple[float, str]]) -> None:
        """Words in the right margin at their levels, moved apart where they would meet."""
        lines = [text.split("\n") for _, text in notes]
        heights = [len(text) * LINE_IN for text in lines]
        wanted = [float(self.y(level)) for level, _ in notes]
        middles = spread(wanted, heights, self.box.top)
        for text, middle in zip(lines, middles, strict=True):
            left = self.box.left + self.box.width + SIDE_IN
            self.sheet.write(text, left, middle, upright="middle")


def spread(middles: Sequence[float], heights: Sequence[float], top: float) -> list[float]:
    """Middles from the top down, moved down so that no two heights overlap or pass the top."""
    out: list[float] = []
    for middle, height in zip(middles, heights, strict=True):
        out.append(max(middle, top + height / 2))
        top = out[-1] + height / 2
    return out


def round_steps(low: float, high: float, most: int = 6) -> list[float]:
    """At most ``most`` round numbers between two, evenly apart."""
    rough = (high - low) / most
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(n * size for n in (1, 2, 5, 10) if n * size >= rough)
    return [step * n for n in range(math.ceil(low / step), math.floor(high / step) + 1)]
