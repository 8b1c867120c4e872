"""Figures draw in every case, nothing overlaps or runs off, and marks stand where data say."""

from __future__ import annotations

import io
import itertools
import re
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import matplotlib as mpl
import report_samples as samples
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.testing.compare import compare_images

from climate_risk.plot import (
    canopies_figure,
    compare_figure,
    season_figure,
    stack_figure,
    years_figure,
)
from climate_risk.report import over_time, theme
from climate_risk.report.column import apart
from climate_risk.report.inline_svg import inline_svg, saved, svg_bytes
from climate_risk.report.option_names import charted
from climate_risk.report.plan_figure import plan_figure
from climate_risk.risk.results import SeasonResult
from climate_risk.units import Units

BASELINES = Path(__file__).parent / "baseline"
TOLERANCE_RMS = 6.0
"""Of 255: fonts are the library's own, so that only their rasters differ between versions."""
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


def texts(figure: Figure) -> list[str]:
    """Every text that shows."""
    return [t.get_text() for t in drawn_texts(figure)]


def drawn_texts(figure: Figure) -> list[Any]:
    FigureCanvasAgg(figure).draw()
    found = figure.findobj(mpl.text.Text)
    return [t for t in found if t.get_visible() and t.get_text().strip()]


def check_layout(figure: Figure) -> None:
    """No text over text, none off the figure; tick labels outside their axis' view do not show."""
    shown = drawn_texts(figure)
    ticks = {
        label
        for axes in figure.axes
        for axis in (axes.xaxis, axes.yaxis)
        for tick in axis.get_major_ticks()
        for label in (tick.label1, tick.label2)
    }
    in_view = {
        label
        for axes in figure.axes
        if axes.axison
        for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim()))
        for at, label in zip(axis.get_ticklocs(), axis.get_ticklabels(), strict=False)
        if min(low, high) <= at <= max(low, high)
    }
    boxes = [
        (t.get_text(), t.get_window_extent()) for t in shown if t not in ticks or t in in_view
    ]
    assert boxes
    width, height = figure.bbox.width, figure.bbox.height
    for text, box in boxes:
        assert box.x0 >= -0.5, text
        assert box.x1 <= width + 0.5, text
        assert box.y0 >= -0.5, text
        assert box.y1 <= height + 0.5, text
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        up = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across <= 0.5 or up <= 2.0, (one, other)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", SEASONS)
def test_season_figure_has_no_text_over_text_or_off_the_edge(name: str, narrow: bool) -> None:
    result = SEASONS[name]()
    for place in range(len(result.stacks)):
        check_layout(season_figure(result, place, narrow=narrow))


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", COMPARES)
def test_compare_figure_has_no_text_over_text_or_off_the_edge(name: str, narrow: bool) -> None:
    check_layout(compare_figure(COMPARES[name](), narrow=narrow))


@pytest.mark.parametrize("narrow", [False, True])
def test_other_figures_have_no_text_over_text_or_off_the_edge(narrow: bool) -> None:
    result = samples.season()
    check_layout(canopies_figure(result, narrow=narrow))
    check_layout(years_figure(result, narrow=narrow))
    check_layout(years_figure(samples.compare(), option=5, narrow=narrow))
    check_layout(stack_figure(result))


def test_letters_of_a_phone_s_chart_are_eleven_pixels_high() -> None:
    """At 96 pixels an inch, as a browser counts, with the chart as wide as it is made."""
    result = samples.season()
    for figure in (season_figure(result, narrow=True), canopies_figure(result, narrow=True),
                   compare_figure(samples.compare(), narrow=True), stack_figure(result),
                   years_figure(result, narrow=True)):  # fmt: skip
        smallest = min(text.get_fontsize() for text in drawn_texts(figure))
        assert smallest / 72.0 * 96.0 >= 11.0


def test_title_of_the_season_figure_is_danger_act_and_date() -> None:
    said = texts(season_figure(samples.season(samples.stack(heat=0.0))))
    assert "North row: about 3 in 10 chance of losing each stack, to drought." in said
    assert "Hang 60 % shade cloth. Best today; by 18 Jul at the latest (then 9 %)." in said
    without = texts(season_figure(samples.season(), heading=False))
    assert not any("chance of losing each stack" in text for text in without)


def test_only_what_is_enough_has_a_bar_in_the_calendar_and_the_rest_says_so() -> None:
    def acts(result: SeasonResult) -> int:
        bars = season_figure(result).findobj(mpl.collections.PolyCollection)
        yellow = mpl.colors.to_rgba(theme.ACT)
        return sum(
            tuple(bar.get_facecolor()[0]) == yellow for bar in bars if len(bar.get_facecolor())
        )

    assert acts(samples.season()) == 2
    assert acts(samples.hopeless_season()) == 0
    assert any(
        "not enough alone" in text for text in texts(season_figure(samples.hopeless_season()))
    )


def test_the_act_s_bar_runs_from_its_first_day_to_its_last() -> None:
    stack = samples.stack()
    axes = Figure().add_subplot()
    over_time.draw_plan(axes, stack, theme.DESK, Units("us"), 0.1)
    yellow = mpl.colors.to_rgba(theme.ACT)
    spans = [c.get_paths()[0].get_extents() for c in axes.collections
             if tuple(c.get_facecolor()[0]) == yellow]  # fmt: skip
    assert [(date.fromordinal(int(s.x0)), date.fromordinal(int(s.x1))) for s in spans] == [
        (action.start, action.latest) for action in stack.actions
    ]


def lines_of(draw: Callable[[Any], None]) -> tuple[Any, list[Any]]:
    axes = Figure().add_subplot()
    draw(axes)
    return axes, axes.get_lines()


@pytest.mark.parametrize("system", ["us", "metric"])
def test_the_line_ahead_joins_the_line_to_date(system: str) -> None:
    """At today's value for heat, moisture and run, with the act and without; in either units."""
    stack, show = samples.stack(), Units(system)
    kinds = (
        ("bark_temp_max_c", show.temperature, theme.BARK),
        ("moisture_driest_face_pct", over_time.PERCENT, theme.MOISTURE),
        ("colonized_fraction", over_time.SHARE, theme.RUN),
    )
    for name, scale, colour in kinds:
        axes = Figure().add_subplot()
        over_time.draw_track(axes, stack, name, scale, colour)
        seen, ahead, with_act = axes.get_lines()
        for line in (ahead, with_act):
            assert seen.get_xydata()[-1] == pytest.approx(line.get_xydata()[0])
        assert seen.get_ydata()[-1] == pytest.approx(scale.of(float(stack.daily[name].iloc[-1])))


def test_band_spans_the_percentiles_over_the_whole_season() -> None:
    stack = samples.stack()
    axes, _ = lines_of(lambda a: over_time.draw_moisture(a, stack))
    (band,) = [c for c in axes.collections if len(c.get_paths()) == 1]
    extent = band.get_paths()[0].get_extents()
    quantiles = stack.tracks[0].quantiles["moisture_driest_face_pct"]
    assert extent.x0 == stack.inoculated.toordinal()
    assert extent.x1 == quantiles.index[-1].toordinal()
    assert (extent.y0, extent.y1) == pytest.approx((quantiles[10].min(), quantiles[90].max()))


def test_notes_beside_a_panel_move_apart_and_stay_within_it() -> None:
    assert apart([0.1, 0.2, 0.6], [0.2, 0.1, 0.1]) == pytest.approx([0.2, 0.5, 0.7])
    assert apart([0.5, 0.9, 0.95], [0.1, 0.1, 0.1]) == pytest.approx([0.5, 0.7, 0.9])
    assert apart([0.5], [0.1]) == [0.5]


def test_stop_and_kill_lines_lie_at_their_thresholds() -> None:
    stack = samples.stack()
    axes, lines = lines_of(lambda axes: over_time.draw_moisture(axes, stack))
    levels = [line.get_ydata()[0] for line in lines if len(set(line.get_ydata())) == 1]
    assert levels == [22.0, 50.0]
    grey = next(p for p in axes.patches if p.get_facecolor() == mpl.colors.to_rgba(theme.PALE))
    assert (grey.get_y(), grey.get_height()) == pytest.approx((22.0, 7.0))
    _, lines = lines_of(lambda axes: over_time.draw_heat(axes, stack, Units("us")))
    assert lines[0].get_ydata()[0] == pytest.approx(104.0)
    _, lines = lines_of(lambda axes: over_time.draw_run(axes, stack))
    assert lines[0].get_ydata()[0] == pytest.approx(90.0)


def test_filled_days_and_spells_are_marked_on_their_days() -> None:
    stack = samples.stack()
    axes, _ = lines_of(lambda a: over_time.draw_weather(a, stack, Units("us")))
    *spells, filled = axes.collections
    days = {round(path.get_extents().x0 + 0.5) for path in filled.get_paths()}
    marked = stack.daily.index[stack.daily["source"] == "filled"]
    assert days == {stamp.toordinal() for stamp in marked}
    first = [round(spell.get_paths()[0].get_extents().x0 + 0.5) for spell in spells]
    assert first == [spell.first.toordinal() for spell in stack.spells]
    (marks,) = axes.get_lines()
    assert all(s.first.toordinal() <= x <= s.last.toordinal() for s, x in
               zip(stack.spells, marks.get_xdata(), strict=True))  # fmt: skip


def test_what_makes_a_spell_and_which_face_is_driest_stand_on_the_chart() -> None:
    said = " ".join(texts(season_figure(samples.season()))).replace("\n", " ")
    assert "3 days or more in a row of 86 °F and up in the open" in said
    assert "today the face on the ground" in said


def test_faces_of_the_stack_are_named_with_their_moisture() -> None:
    said = texts(stack_figure(samples.season(), units="metric"))
    assert "ground: 44 %, driest" in said
    assert "middle: 52 %" in said
    assert any("25.4 cm across" in text.replace("\n", " ") for text in said)


def test_years_stand_worst_first_with_their_names() -> None:
    result = samples.season()
    figure = years_figure(result)
    (axes,) = figure.axes
    names = [int(label.get_text()) for label in axes.get_yticklabels()]
    shown = {year.year: year for year in result.stacks[0].result.years}
    keys = [(-shown[n].shares.lost, shown[n].moisture_driest_face_pct) for n in names]
    assert keys == sorted(keys)
    assert set(names) == set(shown)


def test_options_stand_in_order_of_rank_with_their_moisture() -> None:
    result = samples.no_loss_compare()
    figure = compare_figure(result)
    labels = [text for text in texts(figure) if re.match(r"\d\. ", text)]
    assert [label.split(":")[0] for label in labels] == [
        "6. Your plan, in the open, paper bag",
        "1. Under conifer trees, bare",
        "2. Under deciduous trees, bare",
        "3. In the open, bare",
        "4. Under conifer trees, paper bag",
        "5. Under deciduous trees, paper bag",
    ]
    moisture = figure.axes[-1]
    (dots,) = (line for line in moisture.get_lines() if line.get_marker() == "o")
    options = result.stacks[0].options
    assert list(dots.get_xdata()) == [option.moisture_driest_face_pct[1] for option in options]


def test_bars_are_as_long_as_their_chance() -> None:
    result = samples.compare()
    chance = compare_figure(result).axes[0]
    ends: dict[float, float] = {}
    for patch in chance.patches:
        middle = round(patch.get_y() + patch.get_height() / 2, 6)
        ends[middle] = max(ends.get(middle, 0.0), patch.get_x() + patch.get_width())
    means = [o.chance.mean * 100 for o in charted(result.stacks[0]) if o.chance and o.chance.mean]
    assert sorted(ends.values()) == pytest.approx(sorted(means))


@pytest.mark.parametrize(("units", "unit"), [("us", "°F"), ("metric", "°C")])
def test_axes_are_in_the_units_asked_for(units: str, unit: str) -> None:
    other = {"°F", "°C"} - {unit}
    for said in (
        texts(season_figure(samples.season(), units=units)),
        texts(season_figure(samples.season(units=units))),
        texts(canopies_figure(samples.season(), units=units)),
    ):
        assert any(unit in text for text in said)
        assert not any(mark in text for text in said for mark in other)


def test_figures_leave_the_caller_s_settings_alone_and_open_no_window() -> None:
    before = dict(mpl.rcParams)
    season_figure(samples.season())
    svg_bytes(compare_figure(samples.compare()))
    assert dict(mpl.rcParams) == before
    if "matplotlib.pyplot" in sys.modules:
        assert sys.modules["matplotlib.pyplot"].get_fignums() == []


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_files_are_equal_twice(kind: str) -> None:
    first, second = (saved(season_figure(samples.season()), kind) for _ in range(2))
    assert first == second


def test_svg_keeps_text_as_text_and_loads_nothing() -> None:
    text = svg_bytes(season_figure(samples.season())).decode()
    assert ">safe<" in text
    links = re.findall(r'href="([^"]*)"', text)
    assert all(link.startswith("#") for link in links)


def test_inline_svg_has_no_style_and_ids_of_its_own() -> None:
    one, other = (
        inline_svg(svg_bytes(season_figure(samples.season())), key, 'a "name"') for key in "ab"
    )
    for text in (one, other):
        assert "style" not in text
        assert 'role="img"' in text
        assert "a &quot;name&quot;" in text
        ids = set(re.findall(r' id="([^"]+)"', text))
        used = set(re.findall(r"#([ab]-[\w-]+)", text))
        assert used <= ids
    assert not set(re.findall(r' id="([^"]+)"', one)) & set(re.findall(r' id="([^"]+)"', other))
    assert len(one) < 100_000


def test_inline_svg_draws_the_same_points() -> None:
    """A line's points, read back from the page's path, in pixels of the figure."""
    axes_figure = Figure(figsize=(4, 3))
    axes = axes_figure.add_axes((0.1, 0.1, 0.8, 0.8))
    x, y = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 3.0, 1.0, 2.0])
    (line,) = axes.plot(x, y, color="#123456")
    FigureCanvasAgg(axes_figure).draw()
    expected = line.get_transform().transform(np.column_stack([x, y])) * 72.0 / axes_figure.dpi
    text = inline_svg(svg_bytes(axes_figure), "k", "line")
    (path,) = (d for d in re.findall(r'<path[^>]*?d="([^"]*)"[^>]*stroke="#123456"', text))
    found = np.array([float(n) for n in re.findall(r"-?[\d.]+", path)]).reshape(-1, 2)
    assert found[:, 0] == pytest.approx(expected[:, 0], abs=0.06)
    assert found[:, 1] == pytest.approx(3 * 72.0 - expected[:, 1], abs=0.06)


IMAGES: dict[str, Callable[[], Figure]] = {
    "season": lambda: season_figure(samples.season(*samples.three_stacks()), 1),
    "season_phone": lambda: season_figure(samples.season(), narrow=True),
    "canopies": lambda: canopies_figure(samples.season()),
    "compare": lambda: compare_figure(samples.no_loss_compare()),
    "years": lambda: years_figure(samples.season(), narrow=True),
    "stack": lambda: stack_figure(samples.season()),
    "plan": lambda: plan_figure(samples.plan()),
}


@pytest.mark.parametrize("name", IMAGES)
def test_figures_look_as_they_did(name: str, tmp_path: Path) -> None:
    """Against a picture that somebody looked at; ``baseline/README.md`` says how to renew it."""
    made = tmp_path / f"{name}.png"
    made.write_bytes(small_png(IMAGES[name]()))
    assert compare_images(str(BASELINES / f"{name}.png"), str(made), TOLERANCE_RMS) is None


def small_png(figure: Figure) -> bytes:
    stream = io.BytesIO()
    with theme.styled(theme.DESK):
        figure.savefig(stream, format="png", dpi=40)
    return stream.getvalue()


def test_a_changed_picture_would_be_seen(tmp_path: Path) -> None:
    """The tolerance lets no missing band pass."""
    whole, without = samples.season(), season_figure(samples.season(), narrow=True)
    for collection in without.findobj(mpl.collections.PolyCollection):
        collection.set_visible(False)
    for name, figure in (("a", season_figure(whole, narrow=True)), ("b", without)):
        (tmp_path / f"{name}.png").write_bytes(small_png(figure))
    assert compare_images(str(tmp_path / "a.png"), str(tmp_path / "b.png"), TOLERANCE_RMS)
