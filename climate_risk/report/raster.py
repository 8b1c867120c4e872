"""A sheet as PNG, through matplotlib's renderer alone: no figure, no axes."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from climate_risk.report import theme
from climate_risk.report.sheet import Area, Line, Sheet, Words

PNG_DPI = 150
PNG_EFFORT = 4
"""Of 9; more makes the file a little smaller and takes several times as long."""


def png_bytes(sheet: Sheet) -> bytes:
    """The sheet as a PNG file, with no date and no software name."""
    from matplotlib.backends.backend_agg import RendererAgg
    from PIL import Image

    width, height = (round(side * PNG_DPI) for side in (sheet.width_in, sheet.height_in))
    renderer: Any = RendererAgg(width, height, PNG_DPI)  # type: ignore[no-untyped-call]
    corners = np.array([0.0, 1.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0, 1.0])
    paper = Area(
        corners[0] * sheet.width_in, corners[1] * sheet.height_in, theme.WHITE, opacity=1.0
    )
    for mark in (paper, *sheet.marks()):
        if isinstance(mark, Words):
            _write(renderer, mark)
        else:
            _draw(renderer, mark, sheet.height_in)
    image = Image.fromarray(np.asarray(renderer.buffer_rgba())).convert("RGB")
    buffer = io.BytesIO()
    image.save(buffer, "png", dpi=(PNG_DPI, PNG_DPI), compress_level=PNG_EFFORT)
    return buffer.getvalue()


def _draw(renderer: Any, mark: Line | Area, height_in: float) -> None:
    from matplotlib.path import Path
    from matplotlib.transforms import Affine2D

    gc = renderer.new_gc()
    gc.set_foreground(mark.colour)
    fill = None
    if isinstance(mark, Area):
        gc.set_linewidth(0.0)
        gc.set_alpha(mark.opacity)
        fill = _rgb(mark.colour)
    else:
        gc.set_linewidth(mark.width_pt)
        gc.set_joinstyle("round")
        if mark.dash:
            gc.set_dashes(0.0, list(mark.dash))
    to_pixels = Affine2D().scale(PNG_DPI, -PNG_DPI).translate(0.0, height_in * PNG_DPI)
    points = np.stack([mark.x, mark.y], axis=1)
    if isinstance(mark, Area):
        points = np.vstack([points, points[:1]])
    renderer.draw_path(gc, Path(points), to_pixels, fill)


def _write(renderer: Any, words: Words) -> None:
    font = font_of(words)
    width, height, descent = renderer.get_text_width_height_descent(words.text, font, False)
    x = words.x * PNG_DPI - {"start": 0.0, "middle": width / 2, "end": width}[words.anchor]
    y = words.y * PNG_DPI
    gc = renderer.new_gc()
    if words.behind:
        across = np.array([x, x + width, x + width, x]) / PNG_DPI
        down = np.array([y - height + descent, y + descent]).repeat(2) / PNG_DPI
        _draw(renderer, Area(across, down, words.behind, opacity=1.0), renderer.height / PNG_DPI)
    gc.set_foreground(words.colour)
    renderer.draw_text(gc, x, y, words.text, font, 0.0)


def font_of(words: Words) -> Any:
    """The font to write with, as matplotlib takes it."""
    from matplotlib.font_manager import FontProperties

    weight = "bold" if words.is_bold else "normal"
    return FontProperties(family=theme.FONT, size=words.size_pt, weight=weight)


def _rgb(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return red, green, blue
