"""Charts draw in every case, nothing overlaps or runs off the sheet, colours stay apart."""

from __future__ import annotations

import itertools
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

sys.path.insert(0, str(Path(__file__).parent))

import report_samples as samples

from climate_risk.report import files, theme
from climate_risk.report.compare_chart import by_canopy, compare_figure
from climate_risk.report.season_chart import season_figure
from climate_risk.risk.results import SeasonResult

SEASONS: dict[str, Callable[[], SeasonResult]] = {
    "usual": samples.season,
    "three": lambda: samples.season(*samples.three_stacks()),
    "southern": samples.southern_season,
    "few years": samples.few_years_season,
    "ended": samples.ended_season,
    "long names": samples.long_names_season,
    "early": samples.early_season,
    "hopeless": samples.hopeless_season,
}


def shown_texts(figure: Figure) -> list[Text]:
    """Texts that are drawn; labels of ticks outside the view exist, but are not."""
    outside = set()
    for axis in (axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)):
        low, high = sorted(axis.get_view_interval())
        ticks = axis.get_major_ticks()
        outside |= {id(t.label1) for t in ticks if not low - 1e-9 <= t.get_loc() <= high + 1e-9}
    return [
        text
        for text in figure.findobj(Text)
        if isinstance(text, Text)
        and text.get_visible()
        and text.get_text().strip()
        and id(text) not in outside
    ]


def boxes(figure: Figure) -> list[tuple[str, float, float, float, float]]:
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    out = []
    for text in shown_texts(figure):
        box = text.get_window_extent(canvas.get_renderer())
        if box.width > 1 and box.height > 1:
            out.append((text.get_text(), box.x0, box.y0, box.x1, box.y1))
    return out


def check_layout(figure: Figure) -> None:
    width, height = figure.bbox.width, figure.bbox.height
    drawn = [b for b in boxes(figure) if b[3] > 0 and b[1] < width]
    for text, x0, y0, x1, y1 in drawn:
        assert x0 >= -1, text
        assert y0 >= -1, text
        assert x1 <= width + 1, text
        assert y1 <= height + 1, text
    for one, other in itertools.combinations(drawn, 2):
        across = min(one[3], other[3]) - max(one[1], other[1])
        up = min(one[4], other[4]) - max(one[2], other[2])
        assert across <= 1 or up <= 2, (one[0], other[0])


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", SEASONS)
def test_season_chart_has_no_text_over_text_or_off_the_sheet(name: str, narrow: bool) -> None:
    result = SEASONS[name]()
    for place in range(len(result.stacks)):
        check_layout(season_figure(result, place, narrow=narrow, others=True))


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("with_chance", [False, True])
def test_compare_chart_has_no_text_over_text_or_off_the_sheet(
    narrow: bool, with_chance: bool
) -> None:
    check_layout(compare_figure(samples.compare(with_chance=with_chance), narrow=narrow))


def test_title_of_the_season_chart_is_the_verdict() -> None:
    texts = [text.get_text() for text in shown_texts(season_figure(samples.season()))]
    assert (
        "North row: about 3 in 10 chance of loss by drought.\nHang 60 % shade cloth by 18 Jul."
        in texts
    )


def test_other_stacks_are_named_below_the_chart() -> None:
    result = samples.season(*samples.three_stacks())
    text = "\n".join(t.get_text() for t in shown_texts(season_figure(result, 1, others=True)))
    assert "Hemlock corner: no loss seen" in text
    assert "Pine edge: about 1 in 15" in text


@pytest.mark.parametrize(("units", "unit"), [("us", "°F"), ("metric", "°C")])
def test_axes_are_in_the_units_asked_for(units: str, unit: str) -> None:
    figure = season_figure(samples.season(units=units))
    assert any(unit in text.get_text() for text in shown_texts(figure))


def test_stop_line_is_drawn_at_the_fungus_limit_in_the_shown_unit() -> None:
    figure = season_figure(samples.season(units="us"))
    levels = {
        float(np.asarray(line.get_ydata(), dtype=float)[0])
        for axes in figure.axes
        for line in axes.lines
        if len(np.unique(np.asarray(line.get_ydata(), dtype=float))) == 1
    }
    assert any(abs(level - 95.0) < 1e-6 for level in levels)  # 35 degC
    assert any(abs(level - 29.0) < 1e-6 for level in levels)  # moisture, percent


def test_outlook_band_spans_the_percentiles() -> None:
    result = samples.season(units="metric")
    outlook = result.stacks[0].outlook
    assert outlook is not None
    low = outlook[("moisture_driest_face_pct", 10)].min()
    high = outlook[("moisture_driest_face_pct", 90)].max()
    spans = [
        (vertices[:, 1].min(), vertices[:, 1].max())
        for axes in season_figure(result).axes
        for band in axes.collections
        for vertices in [band.get_paths()[0].vertices]
    ]
    assert any(abs(a - low) < 1e-6 and abs(b - high) < 1e-6 for a, b in spans)


def test_rain_is_shown_where_it_is_known() -> None:
    one = samples.stack()
    wet = replace(one, daily=one.daily.assign(precip_mm=2.54))
    texts = [t.get_text() for t in shown_texts(season_figure(samples.season(wet)))]
    assert any(text.startswith("Rain, in a day") for text in texts)


def test_options_keep_their_rank_inside_canopy_groups() -> None:
    groups = by_canopy(samples.compare().stacks[0])
    assert [name for name, _ in groups] == ["conifer", "deciduous", "open"]
    ranks = [rank for _, members in groups for rank, _ in members]
    assert sorted(ranks) == list(range(1, 19))
    assert all([r for r, _ in members] == sorted(r for r, _ in members) for _, members in groups)


def test_saved_pictures_are_equal_twice_and_carry_no_date() -> None:
    first, second = (season_figure(samples.season()) for _ in range(2))
    assert files.svg_text(first) == files.svg_text(second)
    assert files.png_bytes(first) == files.png_bytes(second)
    assert "dc:date" not in files.svg_text(first)


def test_drawing_leaves_the_global_settings_alone() -> None:
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    season_figure(samples.season())
    assert dict(mpl.rcParams) == before


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1 definition."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_lines_and_text_stand_out_from_the_paper() -> None:
    for colour in (theme.AIR, theme.BARK, theme.MOISTURE, theme.RUN, theme.RAIN):
        assert contrast(colour, theme.WHITE) >= 3.0
    assert contrast(theme.GREY, theme.WHITE) >= 4.5
    assert contrast(theme.BLACK, theme.PALE) >= 4.5


def test_causes_differ_without_colour() -> None:
    assert theme.HATCH_HEAT != theme.HATCH_DROUGHT
    assert contrast(theme.HEAT, theme.DROUGHT) >= 1.5
