"""Look of the charts: colours by role, hatches, dashes, sizes. Draws nothing.

Colours are the Okabe-Ito set (Okabe and Ito 2008, "Color Universal Design", from memory). Every
role also has a line style, a hatch or a label of its own, so that grey print reads the same.
"""

from __future__ import annotations

from typing import Literal

BLACK = "#000000"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILION = "#D55E00"
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

Hatch = Literal["", "slanted", "level", "crossed"]
HATCH_HEAT: Hatch = "slanted"
HATCH_DROUGHT: Hatch = "level"
HATCH_SPELL: Hatch = "crossed"
HATCH_IN = 0.07
"""Between two lines of a hatch."""

Dash = tuple[float, ...]
"""Lengths of line and gap in points; empty for a solid line."""
SOLID: Dash = ()
DASHED: Dash = (4.0, 2.0)
SHORT_DASHED: Dash = (2.2, 1.4)
DOTTED: Dash = (1.0, 1.6)

FAN_OPACITY = 0.25
FONT = "DejaVu Sans"
FONT_STACK = "DejaVu Sans,Verdana,Segoe UI,Roboto,Helvetica,Arial,sans-serif"
"""The first two are the widest: what fits in them fits in what a phone has instead."""
TEXT_PT = 8.5
TITLE_PT = 13.0
LINE_EM = 1.4
"""Height of a line of text, in font sizes."""
WIDE_IN = 9.0
NARROW_IN = 4.3
"""A phone is some 360 px wide: text of 8.5 pt then shows at about 10 px."""
