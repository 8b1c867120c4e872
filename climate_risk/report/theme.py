"""Look of the charts: colours by role, hatches, sizes. Draws nothing.

Colours are the Okabe-Ito set (Okabe and Ito 2008, "Color Universal Design", from memory). Every
role also has a line style, a hatch or a label of its own, so that grey print reads the same.
"""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Any, cast

BLACK = "#000000"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILION = "#D55E00"
PURPLE = "#CC79A7"
GREY = "#595959"
PALE = "#E8E8E8"
WHITE = "#FFFFFF"

AIR = BLACK
BARK = VERMILION
MOISTURE = BLUE
RUN = "#00694D"
"""Okabe-Ito green, darkened until text in it reaches a contrast of 4.5 on white."""
RAIN = BLUE
SPELL = ORANGE
HEAT = VERMILION
DROUGHT = SKY_BLUE
LIMIT = BLACK

HATCH_HEAT = "///"
HATCH_DROUGHT = "---"
HATCH_SPELL = "xxx"

FAN_ALPHA = 0.25
TEXT_PT = 8.5
TITLE_PT = 13.0
WIDE_IN = 9.0
NARROW_IN = 4.3
"""A phone is some 360 px wide: text of 8.5 pt then shows at about 10 px."""

RC: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": TEXT_PT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.8,
    "axes.edgecolor": GREY,
    "axes.labelsize": TEXT_PT,
    "xtick.labelsize": TEXT_PT,
    "ytick.labelsize": TEXT_PT,
    "hatch.linewidth": 0.6,
    "svg.fonttype": "path",
    "svg.hashsalt": "climate-risk",
    "figure.dpi": 100.0,
    "text.parse_math": False,
}


def style() -> AbstractContextManager[None]:
    """The settings above, for as long as a figure is drawn or saved."""
    import matplotlib

    return matplotlib.rc_context(cast("Any", RC))
