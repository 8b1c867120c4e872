"""A sheet of paper measured in inches from its top left corner: marks go where told.

A sheet holds lines, areas and words and nothing else, so that it is written as SVG in plain text
and as PNG by one renderer, in milliseconds, and both show the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from climate_risk.report import theme
from climate_risk.report.display import FloatArray, folded

EDGE_IN = 0.12
LINE_IN = theme.TEXT_PT * theme.LINE_EM / 72
"""Height of one line of text."""
CHARS_PER_IN = 14.5
"""At ``theme.TEXT_PT``, bold, mean of English text; measured on this font."""
ASCENT_EM, MIDDLE_EM = 0.8, 0.3
"""From the top of a line, and from its middle, down to the foot of its letters."""


@dataclass(frozen=True)
class Line:
    """A line through points; it breaks where they are not numbers."""

    x: FloatArray
    y: FloatArray
    colour: str
    width_pt: float
    dash: theme.Dash


@dataclass(frozen=True)
class Area:
    """What lies inside points joined in order."""

    x: FloatArray
    y: FloatArray
    colour: str
    opacity: float


Anchor = Literal["start", "middle", "end"]
Upright = Literal["top", "middle", "foot"]


@dataclass(frozen=True)
class Words:
    """One line of text, its foot at ``y``."""

    x: float
    y: float
    text: str
    size_pt: float
    is_bold: bool
    colour: str
    anchor: Anchor
    behind: str
    """Colour laid behind the letters; empty for none."""


Mark = Line | Area | Words


@dataclass(frozen=True)
class Box:
    """A rectangle on the sheet, inches from the left and from the top."""

    left: float
    top: float
    width: float
    height: float


class Width:
    """What fits across a sheet: a page, or a phone where narrow."""

    def __init__(self, *, narrow: bool) -> None:
        self.inches = theme.NARROW_IN if narrow else theme.WIDE_IN
        self.chars = int((self.inches - 2 * EDGE_IN) * CHARS_PER_IN)
        self.title_pt = theme.TITLE_PT - 2.0 if narrow else theme.TITLE_PT

    def title(self, *sentences: str) -> list[str]:
        """Lines of the title; each sentence begins a new one, and none ends on a lone word."""
        chars = int(self.chars * 0.95 * theme.TEXT_PT / self.title_pt)
        return [line for sentence in sentences for line in _evenly_folded(sentence, chars)]

    def title_in(self, lines: list[str]) -> float:
        return len(lines) * self.title_pt * theme.LINE_EM / 72 + 0.05


def _evenly_folded(text: str, chars: int) -> list[str]:
    """As few lines as ``chars`` allows, about equally long."""
    lines = folded(text, chars)
    even = (folded(text, width) for width in range(len(text) // max(len(lines), 1), chars))
    return next((less for less in even if len(less) == len(lines)), lines)


class Sheet:
    """Marks on white paper of a given size."""

    def __init__(self, width_in: float, height_in: float, title: str) -> None:
        self.width_in, self.height_in, self.title = width_in, height_in, title
        self._marks: list[Mark] = []

    def marks(self) -> list[Mark]:
        """What to paint, in order; words lie over everything else."""
        return sorted(self._marks, key=lambda mark: isinstance(mark, Words))

    def line(
        self,
        x: npt.ArrayLike,
        y: npt.ArrayLike,
        *,
        colour: str = theme.BLACK,
        width_pt: float = 0.8,
        dash: theme.Dash = theme.SOLID,
    ) -> None:
        points = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        self._marks.append(Line(*points, colour, width_pt, dash))

    def area(
        self, x: npt.ArrayLike, y: npt.ArrayLike, colour: str, *, opacity: float = 1.0
    ) -> None:
        points = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        self._marks.append(Area(*points, colour, opacity))

    def rectangle(
        self,
        box: Box,
        *,
        fill: str = "",
        edge: str = "",
        hatch: theme.Hatch = "",
        hatch_colour: str = theme.BLACK,
    ) -> None:
        """A rectangle with what it is given of fill, hatch and edge."""
        x0, x1, y0, y1 = box.left, box.left + box.width, box.top, box.top + box.height
        if fill:
            self.area([x0, x1, x1, x0], [y0, y0, y1, y1], fill)
        if hatch:
            self.line(*hatch_lines(hatch, x0, x1, y0, y1), colour=hatch_colour, width_pt=0.6)
        if edge:
            self.line([x0, x1, x1, x0, x0], [y0, y0, y1, y1, y0], colour=edge)

    def dot(self, x: float, y: float, *, colour: str = theme.BLACK, size_pt: float = 4.5) -> None:
        turn = np.linspace(0.0, 2.0 * np.pi, 20, endpoint=False)
        radius = size_pt / 144
        self.area(x + radius * np.cos(turn), y + radius * np.sin(turn), colour)

    def write(
        self,
        lines: list[str],
        x: float,
        y: float,
        *,
        upright: Upright = "top",
        anchor: Anchor = "start",
        size_pt: float = theme.TEXT_PT,
        is_bold: bool = False,
        colour: str = theme.BLACK,
        behind: str = "",
    ) -> None:
        """Lines of text; ``y`` is their top, their middle or the foot of the last."""
        em = size_pt / 72
        line_in = em * theme.LINE_EM
        first = {
            "top": y + ASCENT_EM * em,
            "middle": y + MIDDLE_EM * em - (len(lines) - 1) * line_in / 2,
            "foot": y - (len(lines) - 1) * line_in,
        }[upright]
        self._marks += [
            Words(x, first + place * line_in, text, size_pt, is_bold, colour, anchor, behind)
            for place, text in enumerate(lines)
        ]


def hatch_lines(
    kind: theme.Hatch, x0: float, x1: float, y0: float, y1: float
) -> tuple[FloatArray, FloatArray]:
    """Lines that fill a rectangle; their grid is the sheet's, so that neighbours join."""
    parts = []
    if kind == "level":
        y = _steps(y0, y1)
        parts.append((np.full_like(y, x0), np.full_like(y, x1), y, y))
    if kind in ("slanted", "crossed"):
        total = _steps(x0 + y0, x1 + y1)
        left, right = np.maximum(x0, total - y1), np.minimum(x1, total - y0)
        parts.append((left, right, total - left, total - right))
    if kind == "crossed":
        lead = _steps(x0 - y1, x1 - y0)
        left, right = np.maximum(x0, lead + y0), np.minimum(x1, lead + y1)
        parts.append((left, right, left - lead, right - lead))
    across = [np.stack([left, right, np.full_like(left, np.nan)], 1) for left, right, *_ in parts]
    down = [np.stack([first, last, np.full_like(first, np.nan)], 1) for *_, first, last in parts]
    return np.concatenate(across).ravel(), np.concatenate(down).ravel()


def _steps(low: float, high: float) -> FloatArray:
    """Multiples of the hatch's distance strictly between two numbers."""
    step = theme.HATCH_IN
    return step * np.arange(np.floor(low / step) + 1, np.ceil(high / step))
