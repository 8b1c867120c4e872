"""Look of the charts: colours by role, hatches, widths, and the style they are drawn in.

Colours are the Okabe-Ito set (Okabe and Ito 2008, "Color Universal Design", from memory), the
dark ones of text darkened or lightened until they reach a contrast of 4.5.  Every role also has
a line style, a hatch or a label of its own, so that grey print reads the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib import RcParams
    from matplotlib.figure import Figure

STYLE = Path(__file__).with_name("chart.mplstyle")

BLACK = "#000000"
WHITE = "#ffffff"
GREY = "#595959"
PALE = "#e8e8e8"
BLUE = "#0072b2"
SKY_BLUE = "#56b4e9"
VERMILION = "#d55e00"
ORANGE = "#e69f00"
YELLOW = "#f0e442"
GREEN = "#00694d"
PURPLE = "#8c4a77"

AIR = BLACK
BARK = VERMILION
MOISTURE = BLUE
RUN = GREEN
HEAT, HEAT_HATCH = VERMILION, "////"
DROUGHT, DROUGHT_HATCH = SKY_BLUE, "----"
DYING_HATCH = "//"
LIMIT_DASHES = (0, (2.5, 1.5))
SPELL = ORANGE
ACT = YELLOW
ACT_DOTS = (1, 1.6)
CANOPY_LINES = (
    (BLACK, "solid"),
    (BLUE, (0, (6, 2))),
    (VERMILION, (0, (2, 1.5))),
    (GREEN, (0, (6, 2, 1, 2))),
    (PURPLE, (0, (1, 1))),
)
"""Colour and dashes of canopies on shared axes, the stack's own first."""
BAND_OPACITY = 0.22
TEXT_EM, BOLD_EM = 0.585, 0.645
"""Width of a letter in font sizes, mean over a line of words, with some to spare."""

DARK = {
    BLACK: "#f4f4f4",
    WHITE: "#16191d",
    GREY: "#b9bec6",
    PALE: "#343a42",
    BLUE: "#6cb8f0",
    SKY_BLUE: "#2f7fb5",
    VERMILION: "#ff8f4a",
    ORANGE: "#b97f00",
    YELLOW: "#8f8410",
    GREEN: "#52cfa4",
    PURPLE: "#d99ac4",
}
"""What each colour of a chart turns into on a dark page."""


@dataclass(frozen=True)
class Layout:
    """Where a chart is read: its width, and the size of its letters."""

    width_in: float
    text_pt: float
    title_pt: float
    left_in: float
    right_in: float
    """Margins of panels over time."""

    @property
    def narrow(self) -> bool:
        return self.width_in < DESK.width_in

    def chars(self, width_in: float, size_pt: float | None = None, *, bold: bool = False) -> int:
        """Letters that are sure to fit; DejaVu Sans is the widest that a reader may have."""
        em = BOLD_EM if bold else TEXT_EM
        return int(width_in * 72.0 / (em * (size_pt or self.text_pt)))


DESK = Layout(width_in=9.0, text_pt=9.5, title_pt=14.0, left_in=0.6, right_in=1.25)
PHONE = Layout(width_in=3.7, text_pt=9.1, title_pt=11.5, left_in=0.42, right_in=0.98)
"""355 px wide: what a page leaves of a phone's 390, letters of 9.1 pt being 12.1 px high."""


_INK = (
    "text.color", "axes.edgecolor", "xtick.color", "ytick.color", "xtick.labelcolor",
    "ytick.labelcolor", "hatch.color",
)  # fmt: skip


@contextmanager
def styled(layout: Layout, *, dark: bool = False) -> Iterator[None]:
    """Draw and save inside this, so that no setting of the caller's leaks in or out.

    ``dark`` is for pictures of pixels; a drawing of lines is turned by the page itself.
    """
    import matplotlib as mpl

    with mpl.rc_context(_style()):
        mpl.rcParams["font.size"] = layout.text_pt
        if dark:
            turned: Any = {"figure.facecolor": DARK[WHITE], **dict.fromkeys(_INK, DARK[BLACK])}
            mpl.rcParams.update(turned)
        yield


@cache
def _style() -> RcParams:
    """The style sheet, read once."""
    from matplotlib import rc_params_from_file

    return rc_params_from_file(STYLE, use_default_template=False)


def new_figure(layout: Layout, height_in: float) -> Figure:
    """An empty figure of the object interface, on no screen and in no registry."""
    from matplotlib.figure import Figure

    return Figure(figsize=(layout.width_in, height_in))
