"""A sheet of paper measured in inches from its top left corner: text and axes go where told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from climate_risk.report import theme
from climate_risk.report.display import folded

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

EDGE_IN = 0.12
LINE_IN = 0.165
"""Height of one line of text."""
CHARS_PER_IN = 14.5
"""At ``theme.TEXT_PT``, bold, mean of English text; measured on this font."""


class Width:
    """What fits across a sheet: a page, or a phone where narrow."""

    def __init__(self, *, narrow: bool) -> None:
        self.inches = theme.NARROW_IN if narrow else theme.WIDE_IN
        self.chars = int((self.inches - 2 * EDGE_IN) * CHARS_PER_IN)
        self.title_pt = theme.TITLE_PT - 2.0 if narrow else theme.TITLE_PT

    def title(self, *sentences: str) -> list[str]:
        """Lines of the title; each sentence begins a new one."""
        chars = int(self.chars * 0.95 * theme.TEXT_PT / self.title_pt)
        return [line for sentence in sentences for line in folded(sentence, chars)]

    def title_in(self, lines: list[str]) -> float:
        return len(lines) * self.title_pt * 1.3 / 72 + 0.05


class Sheet:
    """A figure of a given size; lengths are inches from the left and from the top."""

    def __init__(self, width_in: float, height_in: float) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.width_in, self.height_in = width_in, height_in
        self.figure: Figure = Figure(figsize=(width_in, height_in), facecolor=theme.WHITE)
        FigureCanvasAgg(self.figure)

    def write(
        self, lines: list[str], top_in: float, left_in: float = EDGE_IN, **style: Any
    ) -> None:
        """Lines of text; ``top_in`` is their upper edge unless ``va`` says otherwise."""
        self.figure.text(
            left_in / self.width_in,
            1 - top_in / self.height_in,
            "\n".join(lines),
            **{"va": "top", "linespacing": 1.3, **style},
        )

    def axes(self, bottom_in: float, height_in: float, left_in: float, right_in: float) -> Axes:
        """Axes between two margins, standing on ``bottom_in`` from the top."""
        width = 1 - (left_in + right_in) / self.width_in
        bottom = 1 - bottom_in / self.height_in
        box = (left_in / self.width_in, bottom, width, height_in / self.height_in)
        return self.figure.add_axes(box)
