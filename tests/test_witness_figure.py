"""The figure of a grower's weighings: its marks stand where the readings and bands say."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import measured_samples
import report_samples
import test_report_figures as figures
from matplotlib.testing.compare import compare_images

from climate_risk.plot import witness_figure
from climate_risk.report import measured as words
from climate_risk.report import theme
from climate_risk.report.page import season_page
from climate_risk.units import Units

PICTURE = "witness"


@pytest.mark.parametrize("narrow", [False, True])
def test_no_text_over_text_or_off_the_edge_and_letters_can_be_read(narrow: bool) -> None:
    figure = witness_figure(measured_samples.season(), narrow=narrow)
    figures.check_layout(figure)
    smallest = min(text.get_fontsize() for text in figures.drawn_texts(figure))
    assert smallest / 72.0 * 96.0 >= 11.0


@pytest.mark.parametrize("units", ["us", "metric"])
def test_weighings_stand_on_their_days_and_the_bad_one_is_crossed(units: str) -> None:
    result = measured_samples.season()
    found = result.stacks[0].measured
    assert found is not None
    axes = witness_figure(result, units=units).axes[0]
    drawn = {line.get_marker(): line for line in axes.get_lines() if line.get_marker() != "None"}
    scale = Units(units).mass
    for marker, is_used in (("o", True), ("x", False)):
        meant = [w for w in found.weighings if (w.left_out is None) == is_used]
        assert list(drawn[marker].get_xdata()) == [w.day.toordinal() for w in meant]
        assert drawn[marker].get_ydata() == pytest.approx([scale.of(w.mass_kg) for w in meant])
    assert len(drawn["x"].get_xdata()) == 1


def test_bands_are_those_without_readings_and_with_them() -> None:
    result = measured_samples.season()
    found = result.stacks[0].measured
    assert found is not None
    track = found.track
    assert track is not None
    axes = witness_figure(result, units="metric").axes[1]
    bands = [band.get_paths()[0].get_extents() for band in axes.collections]
    for band, table in zip(
        bands, (track.moisture_before_pct, track.moisture_after_pct), strict=True
    ):
        assert (band.y0, band.y1) == pytest.approx((table[0].min(), table[2].max()))
        assert band.x0 == track.first.toordinal()
        assert band.x1 == result.as_of.toordinal()
    solid = [line for line in axes.get_lines() if line.get_color() == theme.MOISTURE]
    assert solid[0].get_ydata() == pytest.approx(track.moisture_after_pct[1])


def test_the_page_folds_the_picture_in_and_says_what_it_shows() -> None:
    page = season_page(measured_samples.season())
    assert "The weighings, and how the readings were used" in page
    assert "The witness piece now holds about" in page
    assert "Dry a disc when you cut" in page
    assert "Not used: " in page
    plain = season_page(report_samples.season())
    assert "the readings were used" not in plain


def test_weighings_set_aside_are_said_to_be_and_what_else_counts_is_named() -> None:
    stack = measured_samples.season().stacks[0]
    assert stack.measured is not None
    aside = replace(stack.measured, weighings_used=False, has_disc=True)
    lead = " ".join(words.view(replace(stack, measured=aside), 0.1, Units("us"))["lead"])  # type: ignore[index]
    assert "The weighings were set aside" in lead
    assert "with 1 dried disc." in lead
    nothing = replace(aside, has_disc=False, used=False)
    view = words.view(replace(stack, measured=nothing), 0.1, Units("us"))
    assert view is not None
    assert view["lead"][0] == "Your readings changed nothing on this page."
    assert view["moved"] == []


def test_a_stack_that_nobody_weighed_has_no_such_figure() -> None:
    with pytest.raises(ValueError, match="no weighings beside North row"):
        witness_figure(report_samples.season())


def test_it_looks_as_it_did(tmp_path: Path) -> None:
    """Against a picture that somebody looked at; ``baseline/README.md`` says how to renew it."""
    made = tmp_path / "made.png"
    made.write_bytes(figures.small_png(witness_figure(measured_samples.season())))
    baseline = figures.BASELINES / f"{PICTURE}.png"
    assert compare_images(str(baseline), str(made), figures.TOLERANCE_RMS) is None
    unread = witness_figure(measured_samples.season())
    for line in unread.axes[0].get_lines():
        if line.get_marker() == "x":
            line.set_ydata(np.full(1, np.nan))
    for band in unread.axes[1].collections:
        band.set_visible(False)
    (tmp_path / "without.png").write_bytes(figures.small_png(unread))
    assert compare_images(str(baseline), str(tmp_path / "without.png"), figures.TOLERANCE_RMS)
