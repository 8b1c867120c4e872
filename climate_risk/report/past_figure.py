"""Past years as columns: the wood's own dry and hot days, a published measure below each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from climate_risk.report import theme
from climate_risk.report.column import Panel, compose, side_notes
from climate_risk.report.past import COUNTS, eight_in_ten, season_words
from climate_risk.report.ticks import put_ticks
from climate_risk.risk.hindsight import Measure, PastYear, PastYears, Trend
from climate_risk.risk.results import SeasonResult
from climate_risk.risk.results_compare import CompareResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

IntArray = npt.NDArray[np.int64]
ROW_IN, BELOW_IN = 0.72, 0.24
BAR = 0.72
LONGEST: dict[Measure, Callable[[PastYear], int]] = {
    "wood_dry_d": lambda year: year.wood_dry.longest_d,
    "rainless_longest_d": lambda year: year.rainless.longest_d,
    "bark_hot_d": lambda year: year.bark_hot.longest_d,
    "heatwave_d": lambda year: year.heatwaves.longest_d,
}
"""Longest stretch of a year, the full part of its column."""
COLOURS: dict[Measure, str] = {
    "wood_dry_d": theme.MOISTURE,
    "rainless_longest_d": theme.GREY,
    "bark_hot_d": theme.BARK,
    "heatwave_d": theme.GREY,
}


def past_years_figure(
    result: SeasonResult | CompareResult,
    stack: int = 0,
    *,
    narrow: bool = False,
    heading: bool = True,
) -> Figure:
    """Days too dry and too hot for the fungus in every past year, and the worst years marked.

    Parameters
    ----------
    result : SeasonResult or CompareResult
    stack : int
        Place in ``result.stacks``.
    narrow : bool
        For a phone, 355 px wide, instead of for a desk or paper.
    heading : bool
        With what is shown on top.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    ValueError
        The record holds no whole past season.
    """
    chosen = result.stacks[stack]
    if chosen.past is None:
        raise ValueError(f"no past years of {chosen.name}")
    title = [f"Past years of {chosen.name}"] if heading else []
    return figure_of(chosen.past, theme.PHONE if narrow else theme.DESK, title)


def figure_of(past: PastYears, layout: theme.Layout, title: Sequence[str] = ()) -> Figure:
    """The past years alone, for whichever result holds them."""
    trends = {trend.measure: trend for trend in past.trends}
    months = season_words(past.warm_months)
    heads: dict[Measure, str] = {
        "wood_dry_d": "Wood too dry to grow, days (filled: longest stretch)",
        "rainless_longest_d": f"Longest stretch without rain, {months}, days",
        "bark_hot_d": "Bark too hot to grow, days (filled: longest stretch)",
        "heatwave_d": f"In heatwaves, {months}, days (filled: longest)",
    }
    panels = [
        Panel(
            heading=head,
            height_in=ROW_IN,
            draw=_drawer(past, measure, trends.get(measure), labelled=place == len(heads) - 1),
            below_in=BELOW_IN if place == len(heads) - 1 else 0.0,
        )
        for place, (measure, head) in enumerate(heads.items())
    ]
    named = "; ".join(f"{bad.year} {bad.cause}" for bad in past.bad)
    notes = [f"Grey bands: the worst years ({named})."] if named else []
    notes.append("First twelve months after inoculation. Line: trend, where one can be told.")
    with theme.styled(layout):
        figure, _ = compose(layout, title, panels, notes)
    return figure


def _drawer(
    past: PastYears, measure: Measure, trend: Trend | None, *, labelled: bool
) -> Callable[[Axes], None]:
    years = np.array([year.year for year in past.years])
    counts = np.array(COUNTS[measure](past))
    longest = np.array([LONGEST[measure](year) for year in past.years])

    def draw(axes: Axes) -> None:
        top = max(float(counts.max()), 1.0) * 1.08
        axes.set_ylim(0.0, top)
        axes.set_xlim(years[0] - 0.7, years[-1] + 0.7)
        for bad in past.bad:
            axes.axvspan(bad.year - 0.5, bad.year + 0.5, facecolor=theme.PALE)
        colour = COLOURS[measure]
        _draw_columns(axes, years, counts, facecolor="none", edgecolor=colour, linewidth=0.9)
        _draw_columns(axes, years, longest, facecolor=colour, linewidth=0)
        if trend is not None and trend.is_told:
            run = (years - years.mean()) * trend.per_decade / 10.0
            axes.plot(years, np.median(counts) + run, color=theme.BLACK, linewidth=1.4)
        low, middle, high = eight_in_ten(counts.tolist())
        said = f"middling {middle:.0f}\n{low:.0f} to {high:.0f}"
        side_notes(axes, [(min(middle, top), said)], ROW_IN)
        ticks = [int(year) for year in years if year % 5 == 0]
        put_ticks(axes.xaxis, ticks, [str(year) for year in ticks] if labelled else None)
        axes.locator_params(axis="y", nbins=3, integer=True)

    return draw


def _draw_columns(axes: Axes, at: IntArray, heights: IntArray, **look: Any) -> None:
    """Columns from zero up as one shape, which is drawn in a tenth of the time of many."""
    from matplotlib.collections import PathCollection
    from matplotlib.path import Path

    across = at[:, None] + 0.5 * BAR * np.array([-1.0, -1.0, 1.0, 1.0])
    up = heights[:, None] * np.array([0.0, 1.0, 1.0, 0.0])
    corners = np.stack([across, up], axis=2)
    shape = Path.make_compound_path_from_polys(corners)
    axes.add_collection(PathCollection([shape], **look), autolim=False)
