"""The weather of a yard as a chart: what it was, what is usual, and how much of it was seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from climate_risk.report import theme
from climate_risk.units import Units
from climate_risk.weather.record import FloatArray, WeatherSummary

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SIZE_IN = (9.0, 9.0)
LONG_DAYS = 800
"""Longer records are drawn by month."""
LOOK = {
    "observed": (theme.PALE, ""),
    "suspect": (theme.VERMILION, "xx"),
    "filled": (theme.SKY_BLUE, "//"),
    "estimated": (theme.ORANGE, ".."),
    "forecast": (theme.BLUE, "--"),
}
"""Colour and hatch of each kind of value."""
NAMES = {
    "air_temp_min_c": "coolest air",
    "air_temp_max_c": "warmest air",
    "air_temp_c": "air",
    "rel_humidity_pct": "humidity",
    "precip_mm": "rain",
    "wind_ms": "wind",
    "shortwave_mj_m2": "sun",
    "shortwave_w_m2": "sun",
}


def weather_figure(summary: WeatherSummary, *, units: str | None = None) -> Figure:
    """Temperature beside its normals, humidity, rain by month, and where values come from.

    Parameters
    ----------
    summary : WeatherSummary
    units : str, optional
        ``us`` or ``metric``, in place of the yard's.
    """
    from matplotlib.figure import Figure

    show = Units(units or summary.units)
    figure = Figure(figsize=SIZE_IN, layout="constrained")
    temp, humid, rain, seen = figure.subplots(
        4, 1, height_ratios=(3.0, 1.6, 1.6, 1.8), sharex=True
    )
    days = summary.days
    if len(days) > LONG_DAYS:
        sums = days["precip_mm"].resample("MS").sum()
        days = days.resample("MS").mean().assign(precip_mm=sums)
    _draw_temperature(temp, summary, days, show)
    humid.plot(days.index, days["rel_humidity_pct"], color=theme.BLUE, linewidth=0.9)
    humid.set_ylim(0, 100)
    humid.set_ylabel("humidity, %")
    monthly = summary.days["precip_mm"].resample("MS").sum()
    rain.bar(monthly.index, show.rain.of(monthly.to_numpy()), width=25.0, align="edge",
             color=theme.BLUE, edgecolor=theme.BLACK, linewidth=0.4)  # fmt: skip
    rain.set_ylabel(f"rain a month, {show.rain.unit}")
    _draw_shares(seen, summary)
    name = f"{summary.yard_name}, an invented place" if summary.invented else summary.yard_name
    cover = summary.coverage
    figure.suptitle(
        f"Weather of {name}: {cover.first} to {cover.last}", fontsize=theme.DESK.title_pt
    )
    return figure


def _draw_temperature(
    axes: Axes, summary: WeatherSummary, days: pd.DataFrame, show: Units
) -> None:
    usual = summary.usual.reindex(days.index, method="nearest")
    scale = show.temperature

    def shown(values: pd.Series) -> FloatArray:
        return np.asarray(scale.of(values.to_numpy(np.float64)))

    axes.fill_between(
        days.index, shown(usual["air_temp_min_c"]), shown(usual["air_temp_max_c"]),
        color=theme.PALE, hatch="||", edgecolor="#C8C8C8", linewidth=0.0,
        label="usual here, from this record",
    )  # fmt: skip
    axes.plot(days.index, shown(days["air_temp_max_c"]), color=theme.VERMILION, linewidth=0.9,
              label="warmest")  # fmt: skip
    axes.plot(days.index, shown(days["air_temp_min_c"]), color=theme.BLUE, linewidth=0.9,
              linestyle="--", label="coolest")  # fmt: skip
    axes.plot(days.index, shown(usual["place_c"]), color=theme.BLACK, linewidth=1.0,
              linestyle=":", label="rough mean of this latitude and height")  # fmt: skip
    axes.set_ylabel(f"air, {scale.unit}")
    axes.legend(ncols=2, fontsize=theme.DESK.text_pt, loc="best", framealpha=0.9)


def _draw_shares(axes: Axes, summary: WeatherSummary) -> None:
    """A row for each column, a bar for each month, split by how its values came."""
    names = list(summary.shares)
    for row, name in enumerate(names):
        shares = summary.shares[name]
        months = pd.PeriodIndex(shares.index)
        starts = months.to_timestamp()
        widths = months.days_in_month.to_numpy(np.float64)
        bottom = np.full(len(shares), len(names) - 1.0 - row)
        for kind, (colour, hatch) in LOOK.items():
            height = 0.85 * shares[kind].to_numpy(np.float64)
            axes.bar(starts, height, widths, bottom, align="edge", color=colour, hatch=hatch,
                     edgecolor=theme.BLACK, linewidth=0.2,
                     label=kind if row == 0 else None)  # fmt: skip
            bottom = bottom + height
    axes.set_yticks(np.arange(len(names)) + 0.4, [NAMES[name] for name in reversed(names)])
    axes.set_ylabel("share of the month")
    axes.set_ylim(0, len(names))
    axes.legend(
        ncols=5, fontsize=theme.DESK.text_pt, loc="upper center", bbox_to_anchor=(0.5, -0.18)
    )
