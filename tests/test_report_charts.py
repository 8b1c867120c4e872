"""Charts draw in every case, nothing overlaps or runs off the sheet, colours stay apart."""

from __future__ import annotations

import itertools
import re
import sys
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import report_samples as samples

from climate_risk.report import theme
from climate_risk.report.compare_chart import draw_compare
from climate_risk.report.plot import Plot, round_steps, spread
from climate_risk.report.raster import PNG_DPI, font_of, png_bytes
from climate_risk.report.season_chart import draw_season
from climate_risk.report.sheet import Area, Box, Line, Sheet, Words, hatch_lines
from climate_risk.report.svg import UNITS_PER_IN, svg_text
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


COMPARES = {
    "usual": samples.compare,
    "few years": lambda: samples.compare(with_chance=False),
    "no loss": samples.no_loss_compare,
}


def texts(sheet: Sheet) -> list[str]:
    return [mark.text for mark in sheet.marks() if isinstance(mark, Words)]


def boxes(sheet: Sheet) -> list[tuple[str, float, float, float, float]]:
    """Text, left, top, right and bottom of every line of text in inches, as the PNG has it."""
    from matplotlib.backends.backend_agg import RendererAgg

    renderer = RendererAgg(10, 10, PNG_DPI)
    out = []
    for mark in sheet.marks():
        if isinstance(mark, Words) and mark.text.strip():
            size = renderer.get_text_width_height_descent(mark.text, font_of(mark), False)
            width, height, descent = (side / PNG_DPI for side in size)
            left = mark.x - {"start": 0.0, "middle": width / 2, "end": width}[mark.anchor]
            out.append(
                (mark.text, left, mark.y - height + descent, left + width, mark.y + descent)
            )
    return out


def check_layout(sheet: Sheet) -> None:
    drawn = boxes(sheet)
    assert drawn
    for text, left, top, right, bottom in drawn:
        assert left >= 0.0, text
        assert top >= 0.0, text
        assert right <= sheet.width_in, text
        assert bottom <= sheet.height_in, text
    for one, other in itertools.combinations(drawn, 2):
        across = min(one[3], other[3]) - max(one[1], other[1])
        up = min(one[4], other[4]) - max(one[2], other[2])
        assert across <= 0.005 or up <= 0.02, (one, other)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", SEASONS)
def test_season_chart_has_no_text_over_text_or_off_the_sheet(name: str, narrow: bool) -> None:
    result = SEASONS[name]()
    for place in range(len(result.stacks)):
        check_layout(draw_season(result, place, narrow=narrow, others=True))


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", COMPARES)
def test_compare_chart_has_no_text_over_text_or_off_the_sheet(name: str, narrow: bool) -> None:
    check_layout(draw_compare(COMPARES[name](), narrow=narrow))


@pytest.mark.parametrize("narrow", [False, True])
def test_every_mark_lies_on_the_sheet(narrow: bool) -> None:
    for sheet in (
        draw_season(samples.season(), narrow=narrow),
        draw_compare(samples.compare(), narrow=narrow),
    ):
        for mark in sheet.marks():
            assert np.nanmin(mark.x) >= 0.0
            assert np.nanmin(mark.y) >= 0.0
            assert np.nanmax(mark.x) <= sheet.width_in
            assert np.nanmax(mark.y) <= sheet.height_in


def test_title_of_the_season_chart_is_the_verdict() -> None:
    first, second, *_ = texts(draw_season(samples.season(samples.stack(heat=0.0))))
    assert first == "North row: about 3 in 10 chance of losing each stack, to drought."
    assert second == "Hang 60 % shade cloth now, 18 Jul at the latest."


def test_dates_stay_where_long_advice_is_cut() -> None:
    said = [text for text in texts(draw_season(samples.long_names_season(), narrow=True))]
    assert any("by 18 Jul: hang" in text for text in said)


def test_only_what_is_enough_has_a_bar_and_the_rest_says_so() -> None:
    def bars(result: SeasonResult) -> int:
        marks = draw_season(result).marks()
        return sum(isinstance(mark, Area) and mark.colour == theme.YELLOW for mark in marks)

    assert bars(samples.season()) == 2
    hopeless = samples.hopeless_season()
    assert bars(hopeless) == 0
    said = " ".join(texts(draw_season(hopeless, narrow=True)))
    assert said.count("not enough alone") >= 2
    assert "framed bar" not in said


def test_reasons_and_the_farm_stand_on_the_chart() -> None:
    said = " ".join(texts(draw_season(samples.season())))
    assert "(why: less sun and wind: cooler bark, slower drying)" in said
    assert "Alder Hollow, an invented farm:" in said


def test_line_of_a_full_run_is_where_the_heading_says() -> None:
    from climate_risk.report.panels import draw_run, run_heading

    stack = samples.stack()
    assert run_heading(stack).endswith("half of the runs are across (90 %) by 6 Oct 2025")
    sheet = Sheet(5.0, 5.0, "t")
    plot = Plot(sheet, Box(1.0, 1.0, 3.0, 3.0), (0.0, 1e6))
    draw_run(plot, stack)
    dots = [m.y[0] for m in sheet.marks() if isinstance(m, Line) and m.dash == theme.DOTTED]
    assert dots == [pytest.approx(float(plot.y(90.0)))]


def test_other_stacks_are_named_below_the_chart() -> None:
    result = samples.season(*samples.three_stacks())
    text = "\n".join(texts(draw_season(result, 1, others=True)))
    assert "Hemlock corner: no loss seen" in text
    assert "Pine edge: about 1 in 15" in text


def test_the_two_sides_of_today_are_told_apart() -> None:
    text = " ".join(texts(draw_season(samples.season())))
    assert "Left of today: one run with the best estimates" in text
    assert "not a forecast" in text
    assert "Left of today" not in " ".join(texts(draw_season(samples.ended_season())))


@pytest.mark.parametrize(("units", "unit"), [("us", "°F"), ("metric", "°C")])
def test_axes_are_in_the_units_asked_for(units: str, unit: str) -> None:
    said = texts(draw_season(samples.season(units=units)))
    other = {"°F", "°C"} - {unit}
    assert any(unit in text for text in said)
    assert not any(mark in text for text in said for mark in other)


def level_of(sheet: Sheet, label: str, other: str) -> tuple[float, float]:
    """Heights in inches of two tick labels of one axis; the middle of their digits."""
    found = {m.text: m.y for m in sheet.marks() if isinstance(m, Words) and m.anchor == "end"}
    return found[label], found[other]


def test_stop_level_is_drawn_where_the_axis_says() -> None:
    """Metric: the moisture axis has 20 and 40 %; the stop line at 29 % lies between in scale."""
    plot_only = Sheet(5.0, 5.0, "t")
    from climate_risk.report.panels import draw_moisture

    stack = samples.stack()
    plot = Plot(plot_only, Box(1.0, 1.0, 3.0, 3.0), (0.0, 1e6))
    draw_moisture(plot, stack)
    twenty, forty = level_of(plot_only, "20", "40")
    dashes = [
        mark.y[0]
        for mark in plot_only.marks()
        if isinstance(mark, Line) and mark.dash == theme.DASHED
    ]
    expected = twenty + (29.0 - 20.0) / 20.0 * (forty - twenty) - 0.3 * theme.TEXT_PT / 72
    assert dashes == [pytest.approx(expected, abs=1e-9)]


def test_outlook_band_spans_the_percentiles() -> None:
    from climate_risk.report.panels import draw_moisture

    stack = samples.stack()
    assert stack.outlook is not None
    sheet = Sheet(5.0, 5.0, "t")
    plot = Plot(sheet, Box(1.0, 1.0, 3.0, 3.0), (0.0, 1e6))
    draw_moisture(plot, stack)
    (band,) = [m for m in sheet.marks() if isinstance(m, Area) and m.opacity < 1.0]
    low = stack.outlook[("moisture_driest_face_pct", 10)].min()
    high = stack.outlook[("moisture_driest_face_pct", 90)].max()
    assert band.y.max() == pytest.approx(float(plot.y(low)))
    assert band.y.min() == pytest.approx(float(plot.y(high)))


def test_options_stand_in_order_of_rank_with_their_moisture() -> None:
    result = samples.no_loss_compare()
    sheet = draw_compare(result)
    labels = [text for text in texts(sheet) if re.match(r"\d+\. ", text)]
    assert labels == [
        "1. under conifer trees, bare",
        "2. under deciduous trees, bare",
        "3. under conifer trees, paper bag",
        "4. under deciduous trees, paper bag",
        "5. in the open, bare",
        "6. in the open, paper bag",
    ]
    medians = [option.moisture_driest_face_pct[1] for option in result.stacks[0].options]
    dots = [
        (mark.y.mean(), mark.x.mean())
        for mark in sheet.marks()
        if isinstance(mark, Area) and mark.colour == theme.MOISTURE
    ]
    across = [x for _, x in sorted(dots)]
    assert np.corrcoef(across, medians)[0, 1] == pytest.approx(1.0)


def test_pictures_are_equal_twice() -> None:
    first, second = (draw_season(samples.season()) for _ in range(2))
    assert svg_text(first) == svg_text(second)
    assert png_bytes(first) == png_bytes(second)


def test_svg_is_well_formed_short_and_loads_nothing() -> None:
    text = svg_text(draw_season(samples.season(), others=True))
    root = ElementTree.fromstring(text)
    assert root.find("{http://www.w3.org/2000/svg}title") is not None
    assert "href" not in text
    assert "url(" not in text
    assert len(text) < 60_000


def test_svg_keeps_points_and_breaks() -> None:
    sheet = Sheet(2.0, 1.0, "<title>")
    x = np.array([0.1, 0.5, np.nan, 1.0, 1.9])
    sheet.line(x, np.array([0.9, 0.2, np.nan, 0.5, 0.5]))
    text = svg_text(sheet)
    assert "&lt;title&gt;" in text
    (path,) = re.findall(r'fill="none"[^>]* d="([^"]+)"', text)
    points = []
    for start, steps in re.findall(r"M(\d+ \d+)l([^M]*)", path):
        at = np.array([int(n) for n in start.split()])
        moves = [int(n) for n in re.findall(r"-?\d+", steps)]
        moved = np.cumsum(np.reshape(moves, (-1, 2)), axis=0)
        points += [at, *(at + moved)]
    expected = np.array([[0.1, 0.9], [0.5, 0.2], [1.0, 0.5], [1.9, 0.5]]) * UNITS_PER_IN
    assert np.abs(np.array(points) - expected).max() <= 0.5


def test_png_has_the_size_and_the_colours_of_the_sheet() -> None:
    import io

    from PIL import Image

    sheet = Sheet(2.0, 1.0, "t")
    sheet.area([0.5, 1.0, 1.0, 0.5], [0.25, 0.25, 0.75, 0.75], theme.ORANGE)
    image = Image.open(io.BytesIO(png_bytes(sheet)))
    assert image.size == (2 * PNG_DPI, PNG_DPI)
    inside = image.getpixel((int(0.75 * PNG_DPI), int(0.5 * PNG_DPI)))
    assert "#{:02X}{:02X}{:02X}".format(*inside) == theme.ORANGE
    assert image.getpixel((int(1.5 * PNG_DPI), int(0.5 * PNG_DPI))) == (255, 255, 255)


@pytest.mark.parametrize("kind", [theme.HATCH_HEAT, theme.HATCH_DROUGHT, theme.HATCH_SPELL])
def test_hatch_stays_inside_its_rectangle_and_reaches_its_edges(kind: theme.Hatch) -> None:
    x, y = hatch_lines(kind, 1.0, 2.0, 0.5, 0.8)
    for values, low, high in ((x, 1.0, 2.0), (y, 0.5, 0.8)):
        assert low - 1e-9 <= np.nanmin(values) <= low + theme.HATCH_IN
        assert high - theme.HATCH_IN <= np.nanmax(values) <= high + 1e-9


def test_notes_beside_a_plot_move_apart_and_stay_below_its_top() -> None:
    middles = spread([0.1, 0.2, 2.0], [0.4, 0.2, 0.2], top=0.0)
    assert middles == pytest.approx([0.2, 0.5, 2.0])


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [(12.0, 122.0, [20, 40, 60, 80, 100, 120]), (-9.0, 51.0, [0, 10, 20, 30, 40, 50])],
)
def test_ticks_are_round_and_few(low: float, high: float, ticks: list[int]) -> None:
    assert round_steps(low, high) == ticks


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
