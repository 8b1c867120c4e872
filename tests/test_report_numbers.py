"""Tables of a page: each number stands under its own head."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import report_samples as samples

from climate_risk.report.numbers import month_rows, option_cells, option_heads
from climate_risk.units import Units

US, METRIC = Units("us"), Units("metric")


@pytest.mark.parametrize(("show", "air", "bark"), [(METRIC, "20", "35"), (US, "68", "95")])
def test_a_month_s_numbers_stand_under_their_heads(show: Units, air: str, bark: str) -> None:
    """Air at 20 degC and bark at 35 all season, 68 and 95 degF; a face at 40 %, run by half."""
    stack = samples.three_stacks()[0]
    daily = stack.daily.assign(
        air_temp_max_c=20.0,
        bark_temp_max_c=35.0,
        moisture_driest_face_pct=40.0,
        colonized_fraction=0.5,
    )
    _, heads, rows = month_rows(replace(stack, daily=daily, outlook=None), show)
    assert rows
    for row in rows:
        cells = dict(zip(heads, row, strict=True))
        found = [
            next(cell for head, cell in cells.items() if head.startswith(name))
            for name in ("hottest air", "hottest bark", "driest face", "run")
        ]
        assert found == [air, bark, "40", "50"]


def test_an_option_s_numbers_stand_under_their_heads() -> None:
    """Five in a hundred killed by heat, three by drought, and two in ten late."""
    option = samples.option("open", "none", "none", 0.05, 0.03, 2.5)
    option = replace(option, shares=samples.shares(0.05, 0.03, 0.20))
    cells = dict(zip(option_heads(METRIC, "USD"), option_cells(option, 0.10, METRIC), strict=True))

    def under(word: str) -> str:
        return next(cell for head, cell in cells.items() if head.startswith(word))

    assert under("chance of loss").startswith("8 %")
    assert "heat 5 %" in under("killed by")
    assert under("late") == "20 %"
    assert under("cover and water") == "2.50"
    assert under("with the loss") == f"{2.5 + 35 * 0.08:.2f}"
