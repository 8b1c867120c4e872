"""The stack drawn to scale: pieces, spawn faces with their moisture, cap, barrier and covers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from climate_risk.interventions import CoverSpan
from climate_risk.report import theme
from climate_risk.report.column import Panel, compose
from climate_risk.report.treatment import cover_words
from climate_risk.risk.results import SeasonResult, StackSeason, StackShape
from climate_risk.units import Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HEIGHT_IN = 3.1
SPAWN_M = 0.012
"""A layer of spawn is drawn twice as thick as it is, so that it can be seen."""


def stack_figure(
    result: SeasonResult, stack: int = 0, *, units: str | None = None, heading: bool = True
) -> Figure:
    """One stack from the side, to scale, with the moisture of each spawn face on the last day.

    Parameters
    ----------
    result : SeasonResult
        What ``season`` found.
    stack : int
        Place of the stack in ``result.stacks``.
    units : str, optional
        ``us`` or ``metric``, in place of what the yard says.
    heading : bool
        With what is shown on top.

    Returns
    -------
    matplotlib.figure.Figure
        3.7 inches wide: the same for phone and desk.
    """
    layout, show = theme.PHONE, Units(units or result.units)
    chosen = result.stacks[stack]
    shape, size = chosen.shape, show.length.text
    said = (
        f"The stack to scale: {shape.pieces} x {size(shape.piece_length_m)} long, "
        f"{size(shape.diameter_m)} across"
    )
    if shape.cap_thickness_m > 0.0:
        said += f", cap {size(shape.cap_thickness_m)}"
    if not chosen.daily.empty:
        said += "; % is the moisture of each spawn face today"
    panel = Panel(heading=said if heading else "", height_in=HEIGHT_IN,
                  draw=lambda axes: _draw(axes, chosen), timed=False)  # fmt: skip
    with theme.styled(layout):
        figure, _ = compose(layout, [], [panel])
    return figure


def _draw(axes: Axes, stack: StackSeason) -> None:
    moistures = stack.face_moisture_pct
    is_dated = not stack.daily.empty
    words = [
        f"{place_of(face, stack.shape)}: "
        + (f"{moistures[face]:.0f} %" if is_dated else "spawn")
        + (", driest" if is_dated and moistures[face] == min(moistures) else "")
        for face in range(stack.shape.pieces + 1)
    ]
    today = stack.daily.index[-1].date() if is_dated else stack.inoculated
    on = [c for c in stack.covers
          if (c.on or today) <= today < (c.off or stack.horizon)]  # fmt: skip
    draw_stack(axes, stack.shape, words, on, "no cover on today")


def place_of(face: int, shape: StackShape) -> str:
    """``ground``, ``middle``, ``cap``: a spawn face counted from the ground up."""
    return "ground" if face == 0 else "cap" if face == shape.pieces else "middle"


def draw_stack(
    axes: Axes,
    shape: StackShape,
    face_words: Sequence[str],
    covers: Sequence[CoverSpan],
    bare: str,
) -> None:
    """A stack from the side, to scale, with words at each spawn face.

    Parameters
    ----------
    face_words : sequence of str
        From the ground up; those that hold "driest" stand in bold.
    covers : sequence of CoverSpan
        That are on.
    bare : str
        What is said above a stack without a cover.
    """
    from matplotlib.patches import Rectangle

    radius = shape.diameter_m / 2.0
    height = shape.pieces * shape.piece_length_m + shape.cap_thickness_m
    axes.set_axis_off()
    axes.set_aspect("equal", anchor="N")

    def block(bottom: float, top: float, width: float, **look: object) -> None:
        axes.add_patch(Rectangle((-width, bottom), 2 * width, top - bottom, **look))  # type: ignore[arg-type]

    wood = {"facecolor": theme.PALE, "edgecolor": theme.BLACK, "linewidth": 1.4}
    for piece in range(shape.pieces):
        block(piece * shape.piece_length_m, (piece + 1) * shape.piece_length_m, radius, **wood)
    if shape.cap_thickness_m > 0.0:
        block(height - shape.cap_thickness_m, height, radius, **wood)
    for face, words in enumerate(face_words):
        level = face * shape.piece_length_m
        block(level - SPAWN_M / 2, level + SPAWN_M / 2, radius, facecolor=theme.ACT,
              edgecolor=theme.BLACK, linewidth=0.6, hatch="xxx")  # fmt: skip
        axes.annotate(
            words,
            (radius, level),
            (14, 0 if face else 6),
            textcoords="offset points",
            va="center",
            fontweight="bold" if "driest" in words else "normal",
            arrowprops={"arrowstyle": "-", "linewidth": 0.8},
        )
    axes.plot([-2.2 * radius, 2.2 * radius], [-SPAWN_M] * 2, color=theme.BLACK, linewidth=2.0)
    ground = "ground"
    if shape.ground_barrier != "none":
        ground = f"{shape.ground_barrier} on the ground"
    axes.annotate(ground, (-2.2 * radius, -SPAWN_M), (0, -4), textcoords="offset points", va="top")
    above = 0.03
    for cover in covers:
        above = max(above, 0.04 if cover.kind == "bag" else 0.14)
        if cover.kind == "bag":
            block(-SPAWN_M, height + 0.03, radius + 0.03, fill=False, edgecolor=theme.BLUE,
                  linewidth=1.6, linestyle="--")  # fmt: skip
        else:
            roof = height + 0.12
            axes.plot([-1.8 * radius, 1.8 * radius], [roof] * 2, color=theme.BLUE, linewidth=2.4,
                      linestyle=(0, (2, 1)))  # fmt: skip
    names = " and ".join(cover_words(cover) for cover in covers) or bare
    axes.annotate(names, (0.0, height + above), (0, 3),
                  textcoords="offset points", ha="center", va="bottom")  # fmt: skip
    axes.set_xlim(-2.3 * radius, max(5.2 * radius, 2.3 * radius))
    axes.set_ylim(-0.08, height + 0.24)
