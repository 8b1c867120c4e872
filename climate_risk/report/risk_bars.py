"""The chance of loss as bars with their intervals, split by cause, against the grower's limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from climate_risk.report import theme
from climate_risk.report.column import strokes
from climate_risk.report.display import folded
from climate_risk.report.ticks import put_ticks
from climate_risk.risk.results import Chance, OutcomeShares

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROW_IN, LINE_IN = 0.2, 0.165
"""Heights of a bar and of a line of words above it."""
BAR = 0.15
CHANCE_ENDS = (10.0, 25.0, 50.0, 100.0)
"""Right ends that an axis of chances may have [%]."""


@dataclass(frozen=True, kw_only=True)
class RiskBar:
    """One bar with the words above it."""

    words: str
    chance: Chance
    shares: OutcomeShares | None
    """How the simulations end, where known: the bar is split by cause."""


def chance_end(highest: float) -> float:
    """The least right end that holds a chance of 0 to 1 [%]."""
    return next(end for end in CHANCE_ENDS if 100.0 * highest <= end)


def cause_key(shares: Sequence[OutcomeShares]) -> list[str]:
    """What colours and lines mean in bars split by cause; of the causes that occur alone."""
    keys = []
    if any(share.killed_by_drought > 0.0 for share in shares):
        keys.append("blue, level lines: drought")
    if any(share.killed_by_heat > 0.0 for share in shares):
        keys.append("orange, slanted: heat")
    return keys


def bars_height_in(bars: Sequence[RiskBar], chars: int) -> float:
    """Height of the panel that holds these bars."""
    return sum(len(folded(bar.words, chars)) * LINE_IN + ROW_IN + 0.06 for bar in bars)


def draw_bars(axes: Axes, bars: Sequence[RiskBar], chars: int, limit: float) -> None:
    """One bar below the other, each under its words, so that no length of either collides."""
    height = bars_height_in(bars, chars)
    highest = max(limit, *(bar.chance.high for bar in bars))
    axes.set_xlim(0.0, chance_end(highest))
    axes.set_ylim(height, 0.0)
    at, drawn = 0.0, []
    for place, bar in enumerate(bars):
        lines = folded(bar.words, chars)
        weight = "bold" if place == 0 else "normal"
        axes.text(0.0, at, "\n".join(lines), va="top", fontweight=weight, linespacing=1.05)
        at += len(lines) * LINE_IN + ROW_IN / 2
        drawn.append((at, bar.chance, bar.shares))
        at += ROW_IN / 2 + 0.06
    draw_chances(axes, limit, drawn)
    put_ticks(axes.yaxis, [])
    axes.spines["left"].set_visible(False)
    ticks = [tick for tick in axes.get_xticks() if 0.0 <= tick <= axes.get_xlim()[1]]
    put_ticks(axes.xaxis, ticks, [f"{tick:.0f}" for tick in ticks])


def draw_chances(
    axes: Axes, limit: float, bars: Sequence[tuple[float, Chance, OutcomeShares | None]]
) -> None:
    """At its level each mean as a bar, split by cause where known, with a dot, its interval and
    the limit."""
    from matplotlib.patches import Rectangle

    for middle, chance, shares in bars:
        parts = [(1.0, theme.PALE, "")]
        if shares is not None and shares.lost > 0.0:
            parts = [
                (shares.killed_by_drought / shares.lost, theme.DROUGHT, theme.DROUGHT_HATCH),
                (shares.killed_by_heat / shares.lost, theme.HEAT, theme.HEAT_HATCH),
            ]
        left = 0.0
        for part, colour, hatch in parts:
            width = 100.0 * chance.mean * part
            if width > 0.0:
                axes.add_patch(Rectangle((left, middle - BAR / 2), width, BAR, facecolor=colour,
                                         edgecolor=theme.BLACK, linewidth=0.8,
                                         hatch=hatch))  # fmt: skip
            left += width
    at = np.array([middle for middle, _, _ in bars])
    lows, means, highs = (
        100.0 * np.array([getattr(chance, name) for _, chance, _ in bars])
        for name in ("low", "mean", "high")
    )
    strokes(axes, np.column_stack([lows, highs]), np.column_stack([at, at]), color=theme.BLACK,
            linewidth=1.3)  # fmt: skip
    axes.plot(means, at, "o", color=theme.BLACK, markersize=4.5, clip_on=False)
    strokes(axes, np.full((len(bars), 2), 100.0 * limit),
            at[:, None] + 0.5 * ROW_IN * np.array([-1.0, 1.0]), color=theme.BLACK, linewidth=1.4,
            linestyle=theme.LIMIT_DASHES)  # fmt: skip
