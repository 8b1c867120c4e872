"""Options side by side, best first; and one option's past years, worst first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from climate_risk.report import theme
from climate_risk.report.choice import (
    basis_line,
    best_option_sentence,
    cost_words,
    loss_words,
    plan_sentence,
    safest_sentence,
    ties_sentence,
)
from climate_risk.report.column import EDGE_IN, LINE_EM, Panel, compose, strokes
from climate_risk.report.display import folded, money, odds, percent
from climate_risk.report.option_names import charted, option_name
from climate_risk.report.risk_bars import ROW_IN, cause_key, chance_end, draw_chances
from climate_risk.report.ticks import put_ticks
from climate_risk.report.words import capital, cause, share_words
from climate_risk.risk.results import SeasonResult, YearResult
from climate_risk.risk.results_compare import ComparedOption, CompareResult, StackCompare
from climate_risk.units import Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

CHANCE_SHARE = 0.55
"""Of the width of the two plots side by side."""
GAP_IN, TICKS_IN = 0.3, 0.26
YEAR_IN = 0.165
YEAR_LEFT_IN, YEAR_RIGHT_IN = 0.45, 1.35


def compare_figure(
    result: CompareResult,
    stack: int = 0,
    *,
    units: str | None = None,
    narrow: bool = False,
    heading: bool = True,
) -> Figure:
    """All options of one kind of stack in the order of their rank: chance and moisture.

    Parameters
    ----------
    result : CompareResult
        What ``compare`` found.
    stack : int
        Place of the stack in ``result.stacks``.
    units : str, optional
        ``us`` or ``metric``, in place of what the yard says.
    narrow : bool
        For a phone, 355 px wide, instead of for a desk or paper.
    heading : bool
        With the advice on top.

    Returns
    -------
    matplotlib.figure.Figure
    """
    layout = theme.PHONE if narrow else theme.DESK
    chosen, show = result.stacks[stack], Units(units or result.units)
    limit, room_in = result.tolerated_chance, layout.width_in - 2 * EDGE_IN
    advice = (limit, result.currency, show)
    title: list[str] = []
    if heading:
        title = [
            best_option_sentence(chosen, *advice),
            safest_sentence(chosen, *advice),
            plan_sentence(chosen, limit, result.currency),
            f"{basis_line(result, chosen, show)} {ties_sentence(chosen)}".strip(),
        ]
    line_in = LINE_EM * layout.text_pt / 72.0
    chars = layout.chars(room_in, bold=True)
    options = charted(chosen)
    rows = [folded(_row_words(option, chosen, result, show), chars) for option in options]
    height = sum(len(lines) * line_in + ROW_IN + 0.1 for lines in rows)

    def draw(axes: Axes) -> None:
        """The panel's axes, made narrower, hold words and chances; others at their right hold
        the moistures."""
        left, bottom, width, high = axes.get_position().bounds
        chance_width = (CHANCE_SHARE - GAP_IN / room_in) * width
        axes.set_position((left, bottom, chance_width, high))
        moisture = axes.figure.add_axes(
            (left + CHANCE_SHARE * width, bottom, (1.0 - CHANCE_SHARE) * width, high)
        )
        highest = max([limit, *(o.chance.high for o in options if o.chance is not None)])
        axes.set_xlim(0.0, chance_end(highest))
        moisture.set_xlim(0.0, moisture_end(chosen))
        for plot in (axes, moisture):
            plot.set_ylim(height, 0.0)
            put_ticks(plot.yaxis, [])
            plot.spines["left"].set_visible(False)
        at, middles = 0.0, []
        for option, lines in zip(options, rows, strict=True):
            axes.text(0.0, at, "\n".join(lines), va="top", linespacing=1.05,
                      fontweight="bold" if option.rank == 1 else "normal")  # fmt: skip
            at += len(lines) * line_in + ROW_IN / 2
            middles.append(at)
            at += ROW_IN / 2 + 0.1
            if option.is_plan:
                axes.plot([0.0, width / chance_width], [at - 0.06] * 2, color=theme.BLACK,
                          linewidth=0.6, transform=axes.get_yaxis_transform(),
                          clip_on=False)  # fmt: skip
        draw_chances(axes, limit, [
            (y, o.chance, o.shares)
            for y, o in zip(middles, options, strict=True)
            if o.chance is not None
        ])  # fmt: skip
        _draw_moistures(moisture, middles, options)
        ticks = [tick for tick in axes.get_xticks() if tick <= axes.get_xlim()[1]]
        put_ticks(axes.xaxis, ticks, [f"{tick:g}" for tick in ticks])

    panel = Panel(heading=key_line(chosen, limit), height_in=height, draw=draw,
                  below_in=TICKS_IN, timed=False)  # fmt: skip
    with theme.styled(layout):
        figure, _ = compose(layout, title, [panel])
    return figure


def _row_words(
    option: ComparedOption, stack: StackCompare, result: CompareResult, show: Units
) -> str:
    cost, total = cost_words(option, result.currency), option.cost.total
    chance, limit = option.chance, result.tolerated_chance
    if chance is None or chance.mean <= 0.0:
        said = f"{loss_words(option, limit)}, {cost}"
    else:
        said = f"{odds(chance.mean, limit)} lost ({share_words(chance, limit)}), {cost}"
        said += "" if total is None else f", {money(total, result.currency)} with loss"
    return f"{option.rank}. {capital(option_name(option, stack, show))}: {said}"


def _draw_moistures(
    axes: Axes, middles: Sequence[float], options: Sequence[ComparedOption]
) -> None:
    from matplotlib.patches import Rectangle

    at = np.array(middles)[:, None]
    low, dry, high = np.array([option.moisture_driest_face_pct for option in options]).T
    stops = [option.moisture_stop_pct for option in options]
    for middle, stop in zip(middles, stops, strict=True):
        axes.add_patch(Rectangle((0.0, middle - 0.09), stop, 0.18, facecolor=theme.PALE))
    strokes(axes, np.column_stack([stops, stops]), at + np.array([-0.1, 0.1]), color=theme.BLACK,
            linewidth=1.4, linestyle=theme.LIMIT_DASHES)  # fmt: skip
    strokes(axes, np.column_stack([low, high]), np.repeat(at, 2, axis=1), color=theme.MOISTURE,
            linewidth=2.0)  # fmt: skip
    axes.plot(dry, middles, "o", color=theme.MOISTURE, markersize=5.0)


def key_line(stack: StackCompare, tolerated_chance: float) -> str:
    """How to read the two plots."""
    right = (
        "Right: driest face at its lowest, % of dry wood: middle and 8 times in 10; grey: too dry "
        f"to grow, below {_stops(stack)} %."
    )
    limit = f"dashed: your limit, {percent(tolerated_chance)}."
    if all(option.chance is None for option in stack.options):
        return f"Left: nothing; under 10 past years no chance is given. {right}"
    keys = cause_key([option.shares for option in stack.options])
    causes = f" ({'; '.join(keys)})" if keys else ""
    return (
        f"Left: chance of losing a stack, %{causes}; thin line: what it may be, 8 times in 10; "
        f"{limit} {right}"
    )


def _stops(stack: StackCompare) -> str:
    """Moistures at which growth stops, over the fungi and woods compared."""
    stops = [option.moisture_stop_pct for option in stack.options]
    low, high = f"{min(stops):.0f}", f"{max(stops):.0f}"
    return low if low == high else f"{low} to {high}"


def moisture_end(stack: StackCompare) -> float:
    """Right end of the moisture's axis [%]."""
    wettest = max(option.moisture_driest_face_pct[2] for option in charted(stack))
    return 10.0 * math.ceil(max(wettest, 1.5 * stack.thresholds.moisture_stop_pct) / 10.0)


def years_figure(
    result: SeasonResult | CompareResult,
    stack: int = 0,
    option: int = 0,
    *,
    narrow: bool = False,
    heading: bool = True,
) -> Figure:
    """One dot a year with its interval, the worst year first: how dry the driest face got.

    Parameters
    ----------
    result : SeasonResult or CompareResult
        Of a season, the outlook's years for the stack as it stands.
    stack, option : int
        Places in ``result.stacks`` and in the stack's ``options`` (of a comparison).
    narrow : bool
        For a phone, 355 px wide, instead of for a desk or paper.
    heading : bool
        With what is shown on top.

    Returns
    -------
    matplotlib.figure.Figure
    """
    layout = theme.PHONE if narrow else theme.DESK
    chosen = result.stacks[stack]
    shown = chosen.options[option] if isinstance(chosen, StackCompare) else chosen.result
    years = worst_first(shown.years)
    stop = chosen.thresholds.moisture_stop_pct
    height = YEAR_IN * max(len(years), 1)

    def draw(axes: Axes) -> None:
        left, bottom, width, high = axes.get_position().bounds
        shift, room = YEAR_LEFT_IN / layout.width_in, YEAR_RIGHT_IN / layout.width_in
        axes.set_position((left + shift, bottom, width - shift - room, high))
        highest = max((y.moisture_driest_face_quantiles_pct[2] for y in years), default=stop)
        axes.set_xlim(0.0, 10.0 * math.ceil(max(highest, 1.3 * stop) / 10.0))
        axes.set_ylim(max(len(years), 1) - 0.5, -0.5)
        axes.axvspan(0.0, stop, facecolor=theme.PALE)
        axes.axvline(stop, color=theme.BLACK, linewidth=1.2, linestyle="--")
        if not years:
            return
        low, _, top = zip(*(y.moisture_driest_face_quantiles_pct for y in years), strict=True)
        axes.hlines(range(len(years)), low, top, color=theme.MOISTURE, linewidth=1.6)
        for lost, marker, colour in ((False, "o", theme.MOISTURE), (True, "s", theme.BLACK)):
            rows = [n for n, year in enumerate(years) if (year.shares.lost >= 0.5) == lost]
            middles = [years[n].moisture_driest_face_quantiles_pct[1] for n in rows]
            axes.plot(middles, rows, marker, color=colour, markersize=5.0)
        for place, words in enumerate(map(_year_words, years)):
            if words:
                axes.annotate(
                    words,
                    (1.0, place),
                    (5, 0),
                    xycoords=("axes fraction", "data"),
                    textcoords="offset points",
                    va="center",
                    annotation_clip=False,
                )
        put_ticks(axes.yaxis, range(len(years)), [str(year.year) for year in years])
        axes.tick_params(axis="y", length=0)

    said = (
        "Past years, worst first: driest face at its lowest, % of dry wood (dot; line: 8 times in "
        f"10); grey: too dry to grow, below {stop:.0f} %; square: most stacks lost"
    )
    panel = Panel(heading=said if heading else "", height_in=height, draw=draw, below_in=TICKS_IN,
                  timed=False)  # fmt: skip
    with theme.styled(layout):
        figure, _ = compose(layout, [], [panel])
    return figure


def worst_first(years: tuple[YearResult, ...]) -> list[YearResult]:
    """Most lost first, then driest."""
    return sorted(years, key=lambda y: (-y.shares.lost, y.moisture_driest_face_pct))


def _year_words(year: YearResult) -> str:
    if year.shares.lost <= 0.0:
        return ""
    by = cause(year.shares).replace("heat and drought", "both")
    return f"{percent(year.shares.lost)} lost, {by}"
