"""Contrast of the charts' colours, and the look of what is saved."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import matplotlib as mpl
import report_samples as samples

from climate_risk.plot import season_figure, years_figure
from climate_risk.report import theme
from climate_risk.report.inline_svg import saved


def test_what_is_saved_has_the_ticks_of_the_figure_and_leaves_them_to_it() -> None:
    """The same picture, dot by dot, as by the figure's own way."""
    for figure in (season_figure(samples.season()), years_figure(samples.season())):
        with theme.styled(theme.DESK):
            stream = io.BytesIO()
            figure.savefig(stream, format="png")
        own, ours = (mpl.image.imread(io.BytesIO(data)) for data in
                     (stream.getvalue(), saved(figure, "png")))  # fmt: skip
        assert np.array_equal(own, ours)
        assert all(axes.yaxis.get_visible() for axes in figure.axes)
        assert len(figure.axes[-1].get_xticklabels()) > 3


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1 definition."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("turn", [lambda colour: colour, lambda colour: theme.DARK[colour]])
def test_lines_and_text_stand_out_from_paper_and_bands(turn: Callable[[str], str]) -> None:
    """Of a line 3 to 1, of a text 4.5 to 1 (WCAG 2.1, 1.4.11 and 1.4.3), light and dark."""
    grounds = [turn(theme.WHITE), turn(theme.PALE)]
    for colour in (theme.AIR, theme.BARK, theme.MOISTURE, theme.RUN):
        assert contrast(turn(colour), grounds[0]) >= 3.0
    for ground in grounds:
        assert contrast(turn(theme.BLACK), ground) >= 4.5
    assert contrast(turn(theme.GREY), grounds[0]) >= 4.5


def test_causes_differ_without_colour() -> None:
    assert theme.HEAT_HATCH != theme.DROUGHT_HATCH
    assert contrast(theme.HEAT, theme.DROUGHT) >= 1.5
