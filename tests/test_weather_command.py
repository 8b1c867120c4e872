"""``climate-risk weather``: the clean table, chart, page and summary of a yard's weather."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest
from matplotlib.figure import Figure

from climate_risk import api
from climate_risk.cli import main
from climate_risk.report.weather_figure import weather_figure
from climate_risk.report.weather_page import month_rows
from climate_risk.units import Units
from climate_risk.weather import load_weather
from climate_risk.weather.record import WeatherSummary
from climate_risk.weather.summary import summarise
from climate_risk.yard import read_yard

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Newark 2013 with a week lost, a month copied, and a header that would like to be HTML."""
    folder = tmp_path_factory.mktemp("farm")
    table = pd.read_csv(DATA / "nyc_ewr_2013.csv").set_index("date")
    table.loc["2013-03-03":"2013-03-09", ["tmin_c", "tmax_c"]] = float("nan")
    june = table.loc["2013-06-01":"2013-06-30"].to_numpy()
    table.loc["2013-07-01":"2013-07-30"] = june
    table["<script>alert(1)</script>"] = 1
    table.to_csv(folder / "weather.csv")
    text = (DATA / "full_yard.toml").read_text(encoding="utf-8")
    text = re.sub(r"\[weather\].*?(?=\[\[stack)", '[weather]\nfile = "weather.csv"\n\n', text,
                  count=1, flags=re.S)  # fmt: skip
    text = re.sub(r"latitude = .*", "latitude = 40.69", text)
    text = re.sub(r"longitude = .*", "longitude = -74.17", text)
    (folder / "yard.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def out(farm: Path) -> Path:
    assert main(["weather", str(farm), "--out", str(farm / "out"), "--quiet"]) == 0
    return farm / "out"


@pytest.fixture(scope="module")
def summary(farm: Path) -> WeatherSummary:
    yard = read_yard(farm / "yard.toml")
    weather = api.load_weather(yard)
    return summarise(
        weather.table, weather.quality, weather.coverage, yard.site,
        yard_name=yard.name, invented=yard.invented, tolerated_chance=0.1, currency="USD",
        units="metric", inputs=weather.inputs,
    )  # fmt: skip


def test_five_files_and_no_other(out: Path) -> None:
    names = sorted(path.name for path in out.iterdir())
    assert names == [
        "summary.json",
        *(f"weather.{kind}" for kind in ("csv", "html", "png", "svg")),
    ]


def test_the_clean_table_reads_back(farm: Path, out: Path) -> None:
    site = read_yard(farm / "yard.toml").site
    again = load_weather(out / "weather.csv", site)
    before = load_weather(farm / "weather.csv", site)
    names = ["air_temp_min_c", "air_temp_max_c", "precip_mm"]
    pd.testing.assert_frame_equal(again.table[names], before.table[names], atol=1e-3)
    flags = pd.read_csv(out / "weather.csv", index_col="date")["air_temp_max_c_quality"]
    assert flags["2013-03-05"].startswith("filled")


def test_flags_have_their_days(summary: WeatherSummary) -> None:
    highs = [spell for spell in summary.spells if spell.column == "air_temp_max_c"]
    lost = next(s for s in highs if s.first.month == 3)
    assert (str(lost.first), str(lost.last), lost.values) == ("2013-03-03", "2013-03-09", 7)
    copied = [s for s in highs if s.first.month == 7]
    assert sum(s.values for s in copied) == 30
    july = summary.shares["air_temp_max_c"].loc[pd.Period("2013-07", "M")]
    assert july["observed"] == pytest.approx(1 / 31)
    for shares in summary.shares.values():
        assert shares.sum(axis=1).to_numpy() == pytest.approx(1.0)


def test_months_add_up(summary: WeatherSummary) -> None:
    rows = month_rows(summary, Units("metric"))
    assert len(rows) == 12
    rain = [float(row[5].split()[0]) for row in rows]
    assert sum(rain) == pytest.approx(summary.days["precip_mm"].sum(), abs=0.7)


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.heads: list[dict[str, str | None]] = []
        self.images: list[dict[str, str | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag == "th":
            self.heads.append(dict(attrs))
        if tag == "img":
            self.images.append(dict(attrs))


def test_the_page_is_closed_to_scripts_and_to_the_network(out: Path) -> None:
    text = (out / "weather.html").read_text(encoding="utf-8")
    page = _Page()
    page.feed(text)
    assert "script" not in page.tags
    assert "&lt;script&gt;" in text
    assert "default-src 'none'" in text
    assert not re.findall(r"(?:src|href)=\"(?!data:|#)", text)
    assert all(head.get("scope") in ("col", "row") for head in page.heads)
    assert all(image["alt"] and str(image["src"]).startswith("data:") for image in page.images)
    assert "prefers-color-scheme: dark" in text
    assert page.tags.count("h1") == page.tags.count("main") == 1


def test_the_summary_counts_sources_and_flags(out: Path) -> None:
    told = json.loads((out / "summary.json").read_text(encoding="utf-8"))["weather"]
    assert told["values_by_source"]["file weather.csv"]["precip_mm"] > 300
    assert any("copied" in note for note in told["warnings"])
    assert "filled: interpolated" not in told["flags"].get("precip_mm", {})
    assert told["observed_by_month_fraction"]["precip_mm"]["2013-05"] == 1.0


def test_the_chart_names_its_units(summary: WeatherSummary) -> None:
    for units, degree, depth in (("metric", "°C", "mm"), ("us", "°F", "in")):
        figure = weather_figure(summary, units=units)
        assert isinstance(figure, Figure)
        labels = [axes.get_ylabel() for axes in figure.axes]
        assert labels[0] == f"air, {degree}"
        assert labels[2] == f"rain a month, {depth}"
        line = figure.axes[0].lines[0].get_ydata()
        scale = Units(units).temperature
        assert line[200] == pytest.approx(scale.of(summary.days["air_temp_max_c"].iloc[200]))


def test_season_after_weather_keeps_one_summary(farm: Path, out: Path, tmp_path: Path) -> None:
    for command in ("weather", "season"):
        words = [command, str(farm), "--out", str(tmp_path), "--quiet"]
        status = main([*words, "--draws", "1"] if command == "season" else words)
        assert status in (0, 2)
    names = {path.name for path in tmp_path.iterdir()}
    assert {"weather.html", "summary.json"} <= names
    assert not [name for name in names if name.startswith(".")]
