"""The benchmark's chart: scenario-hours a second, and how time grows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

GROWING = (
    ("years", "years", "o-", "BLACK"),
    ("options", "options, same weather", "s--", "BLUE"),
    ("cells", "cells of a region", "^-.", "VERMILION"),
)


def bench_figure(numbers: Mapping[str, Any]) -> Figure:
    """Throughput by scenarios, and growth of time by what there is more of if it was measured."""
    from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

    from climate_risk.report import theme

    with theme.styled(theme.DESK):
        figure = theme.new_figure(theme.DESK, 3.8)
        figure.set_layout_engine("constrained")
        growth = numbers.get("growth", {})
        left, *right = figure.subplots(1, 1 + bool(growth), squeeze=False)[0]
        rows = numbers["throughput"]["scenarios"]
        counts = [row["scenarios"] for row in rows]
        rates = [row["scenario_hours_per_s"] for row in rows]
        left.loglog(counts, rates, "o-", color=theme.BLACK)
        left.set_xticks(counts, [f"{count:,}" for count in counts], minor=False)
        left.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        left.yaxis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))
        left.yaxis.set_minor_formatter(NullFormatter())
        left.set_xlabel("scenarios run together")
        left.set_ylabel("scenario-hours a second")
        left.set_title(f"Cases are computed {numbers['throughput']['cases']} at a time")
        for panel in right:
            _growth(panel, growth)
    return figure


def _growth(axes: Axes, growth: Mapping[str, Any]) -> None:
    from climate_risk.report import theme

    most = 1.0
    for name, words, style, colour in GROWING:
        found = growth.get(name, {})
        if "seconds" not in found:
            continue
        more = [count / found["counts"][0] for count in found["counts"]]
        longer = [time / found["seconds"][0] for time in found["seconds"]]
        most = max(most, *more)
        axes.plot(more, longer, style, color=getattr(theme, colour), label=words)
    axes.plot([1.0, most], [1.0, most], ":", color=theme.BLACK, label="as many times as long")
    axes.set_xlabel("times as many")
    axes.set_ylabel("times as long")
    axes.set_title("Growth of time")
    axes.legend(frameon=False)
