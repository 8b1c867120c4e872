"""A sheet as SVG: short, with no date, equal for equal sheets, its text kept as text."""

from __future__ import annotations

from html import escape

import numpy as np

from climate_risk.report import theme
from climate_risk.report.display import FloatArray
from climate_risk.report.sheet import Area, Line, Mark, Sheet, Words

UNITS_PER_IN = 300
"""Coordinates are whole numbers of these."""
SCREEN_PX_PER_IN = 96


def svg_text(sheet: Sheet) -> str:
    """The sheet as one SVG document that loads nothing."""
    width, height = (round(side * UNITS_PER_IN) for side in (sheet.width_in, sheet.height_in))
    px_width, px_height = (side * SCREEN_PX_PER_IN for side in (sheet.width_in, sheet.height_in))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{px_width:.0f}" '
        f'height="{px_height:.0f}" viewBox="0 0 {width} {height}" '
        f'font-family="{theme.FONT_STACK}" font-size="{_points(theme.TEXT_PT)}">\n'
        f"<title>{escape(sheet.title)}</title>\n"
        f'<path fill="{theme.WHITE}" d="M0 0h{width}v{height}h-{width}z"/>'
    )
    return "\n".join([head, *(_drawn(mark) for mark in sheet.marks()), "</svg>\n"])


def _drawn(mark: Mark) -> str:
    if isinstance(mark, Words):
        return _text(mark)
    if isinstance(mark, Area):
        opacity = "" if mark.opacity == 1.0 else f' fill-opacity="{mark.opacity:g}"'
        return f'<path fill="{mark.colour}"{opacity} d="{_path(mark.x, mark.y)}z"/>'
    return _stroke(mark)


def _stroke(line: Line) -> str:
    lengths = " ".join(_points(length) for length in line.dash)
    dash = f' stroke-dasharray="{lengths}"' if lengths else ""
    return (
        f'<path fill="none" stroke="{line.colour}" stroke-width="{_points(line.width_pt)}"'
        f' stroke-linejoin="round"{dash} d="{_path(line.x, line.y)}"/>'
    )


def _text(words: Words) -> str:
    style = "" if words.anchor == "start" else f' text-anchor="{words.anchor}"'
    if words.size_pt != theme.TEXT_PT:
        style += f' font-size="{_points(words.size_pt)}"'
    if words.is_bold:
        style += ' font-weight="bold"'
    if words.colour != theme.BLACK:
        style += f' fill="{words.colour}"'
    if words.behind:
        style += f' paint-order="stroke" stroke="{words.behind}" stroke-width="{_points(4)}"'
    x, y = round(words.x * UNITS_PER_IN), round(words.y * UNITS_PER_IN)
    return f'<text x="{x}" y="{y}"{style}>{escape(words.text)}</text>'


def _points(size_pt: float) -> str:
    return f"{size_pt * UNITS_PER_IN / 72:.1f}".removesuffix(".0")


def _path(x: FloatArray, y: FloatArray) -> str:
    """Points as moves from each to the next; a new start after what is no number."""
    at = np.stack([x, y], axis=1) * UNITS_PER_IN
    breaks = np.flatnonzero(np.isnan(at[:, 0]))
    out = []
    for run in np.split(at, breaks):
        whole = np.rint(run[~np.isnan(run[:, 0])]).astype(np.int64)
        if len(whole) == 0:
            continue
        moves = np.diff(whole, axis=0)
        moves = moves[moves.any(axis=1)]
        steps = " ".join(f"{dx} {dy}" for dx, dy in moves.tolist())
        out.append(f"M{whole[0, 0]} {whole[0, 1]}l{steps}")
    return "".join(out).replace(" -", "-")
