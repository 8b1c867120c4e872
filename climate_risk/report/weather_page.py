"""What the weather command writes: the clean table, a chart, a page, and the summary."""

from __future__ import annotations

import base64
from pathlib import Path

import pandas as pd

from climate_risk.report import files
from climate_risk.report import summary as summary_file
from climate_risk.report.act_keys import Json
from climate_risk.report.inline_svg import saved
from climate_risk.report.weather_figure import weather_figure
from climate_risk.units import Units
from climate_risk.weather.record import WeatherSummary

SHOWN_SPELLS = 200


def write_weather(out_dir: Path, summary: WeatherSummary, clean_table: str) -> list[Path]:
    """Write weather.csv, .html, .png, .svg and the weather of summary.json, all of them or none.

    Raises
    ------
    RunError
        When a file cannot be written.
    """
    files.refuse_folders(out_dir, ("weather", "summary"))
    figure = weather_figure(summary)
    png = saved(figure, "png")
    made = summary_file.kept_beside(_summary(summary), out_dir / "summary.json")
    with files.as_a_set(out_dir, ()) as folder:
        written = [
            files.write_whole(folder / "weather.csv", clean_table),
            files.write_whole(folder / "weather.html", weather_page(summary, png)),
            *files.write_figure(figure, folder, "weather"),
            files.write_whole(folder / "summary.json", summary_file.json_text(made).encode()),
        ]
    return [out_dir / path.name for path in written]


def weather_page(summary: WeatherSummary, png: bytes) -> str:
    """The page: self-contained, with every text escaped by the template."""
    from jinja2 import Environment, PackageLoader, select_autoescape

    environment = Environment(
        loader=PackageLoader("climate_risk.report"),
        autoescape=select_autoescape(),
        trim_blocks=True,
    )
    show = Units(summary.units)
    cover = summary.coverage
    return environment.get_template("weather.html").render(
        s=summary,
        png=base64.b64encode(png).decode("ascii"),
        alt=f"Air temperature beside its normals, humidity, rain and where values come from, "
        f"{cover.first} to {cover.last}; the tables below hold the same by month",
        temp=show.temperature.unit,
        rain=show.rain.unit,
        months=month_rows(summary, show),
        spells=summary.spells[:SHOWN_SPELLS],
        left=max(len(summary.spells) - SHOWN_SPELLS, 0),
    )


def month_rows(summary: WeatherSummary, show: Units) -> list[list[str]]:
    """A row a month: means beside the usual, rain, and the share of values seen."""
    period = pd.DatetimeIndex(summary.days.index).to_period("M")
    means, usual = summary.days.groupby(period).mean(), summary.usual.groupby(period).mean()
    rain = summary.days["precip_mm"].groupby(period).sum()
    by_month = pd.PeriodIndex(rain.index).month
    usual_rain = rain.groupby(by_month).transform("mean")
    seen = summary.seen_by_month()

    def degrees(value: float) -> str:
        return f"{show.temperature.of(value):.0f}"

    rows = []
    for month in means.index:
        low, high = (
            f"{degrees(means.loc[month, name])} ({degrees(usual.loc[month, name])})"
            for name in ("air_temp_min_c", "air_temp_max_c")
        )
        rows.append(
            [
                str(month),
                low,
                high,
                degrees(usual.loc[month, "place_c"]),
                f"{means.loc[month, 'rel_humidity_pct']:.0f}",
                f"{show.rain.of(rain[month]):.1f} ({show.rain.of(usual_rain[month]):.1f})",
                f"{100.0 * seen[month]:.0f}",
            ]
        )
    return rows


def _summary(summary: WeatherSummary) -> Json:
    head = summary_file.head(summary)
    head["weather"] |= {
        "step": summary.step,
        "flags": summary.flag_counts(),
        "observed_by_month_fraction": {
            name: {str(month): float(share) for month, share in shares["observed"].items()}
            for name, shares in summary.shares.items()
        },
    }
    return head


def summary_lines(summary: WeatherSummary) -> list[str]:
    """A few plain lines for the terminal."""
    cover = summary.coverage
    seen = float(summary.seen_by_month().mean())
    doubts = sum(s.values for s in summary.spells if s.flag.startswith("suspect"))
    return [
        f"{cover.source}: {cover.days} days, {cover.first} to {cover.last}, {summary.step} values",
        f"{seen:.0%} of the values that matter were seen; {cover.filled_count} filled, {doubts} "
        "kept in doubt",
    ]
