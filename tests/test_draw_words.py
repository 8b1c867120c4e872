"""The error that the number of draws leaves: beside every chance that is shown, on every page."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest
from matplotlib.figure import Figure

sys.path.insert(0, str(Path(__file__).parent))

import region_samples
import report_samples as samples
from test_report_figures import check_layout, texts

from climate_risk.report import choice
from climate_risk.report.compare_figure import compare_figure
from climate_risk.report.map_dataset import map_dataset
from climate_risk.report.map_page import map_page
from climate_risk.report.page import compare_page, season_page
from climate_risk.report.season_figure import season_figure
from climate_risk.report.words import OTHER_DRAWS
from climate_risk.risk.results import OptionResult, SeasonResult
from climate_risk.risk.results_compare import ComparedOption, CompareResult
from climate_risk.units import Units

US = Units("us")
ERROR = 0.017
BESIDE = "± 2.2"
PERCENT_OF_A_CHANCE = re.compile(r"(?:about|under|more than) \d+ in \d+[^.;]*?\d %(?! ±)")
"""A chance in odds and percent without its error."""


Told = TypeVar("Told", OptionResult, ComparedOption)


def with_error(option: Told) -> Told:
    if option.chance is None:
        return option
    return replace(option, chance=replace(option.chance, draw_error=ERROR))


@pytest.fixture
def compared() -> CompareResult:
    result = samples.compare()
    stacks = [
        replace(stack, options=tuple(map(with_error, stack.options))) for stack in result.stacks
    ]
    return replace(result, stacks=tuple(stacks))


@pytest.fixture
def season() -> SeasonResult:
    one = samples.stack()
    actions = [
        replace(action, chance=replace(action.chance, draw_error=ERROR))
        for action in one.actions
        if action.chance is not None
    ]
    return samples.season(
        replace(one, result=with_error(one.result), actions=tuple(actions),
                under_canopies=tuple(map(with_error, one.under_canopies)))
    )  # fmt: skip


def said_in(figure: Figure) -> str:
    return " ".join(" ".join(texts(figure)).split())


def test_compare_tells_it_in_card_chart_and_table(compared: CompareResult) -> None:
    stack = compared.stacks[0]
    seen = [o for o in stack.options if o.chance is not None and o.chance.mean > 0.0]
    chart = said_in(compare_figure(compared))
    assert chart.count(BESIDE) >= len(seen)
    assert OTHER_DRAWS in chart
    assert not PERCENT_OF_A_CHANCE.findall(chart)
    limit = compared.tolerated_chance
    assert BESIDE in choice.plan_sentence(stack, limit, compared.currency)
    best = stack.best
    assert best.chance is not None
    sure = choice.how_sure(stack, limit)
    assert ("2.2 points either way (8 times in 10)" in sure) == (best.chance.mean > 0.0)
    page = compare_page(compared)
    assert page.count(BESIDE) > 2 * len(stack.options)


def test_without_an_error_none_is_explained() -> None:
    assert OTHER_DRAWS not in said_in(compare_figure(samples.compare()))
    assert "±" not in said_in(season_figure(samples.season()))


def test_the_season_tells_it_in_bars_and_cards(season: SeasonResult) -> None:
    chart = said_in(season_figure(season))
    assert chart.count(BESIDE) == 3
    assert OTHER_DRAWS in chart
    assert f"31 % {BESIDE}" in season_page(season)


@pytest.mark.parametrize("narrow", [False, True])
def test_there_is_room_for_it(compared: CompareResult, season: SeasonResult, narrow: bool) -> None:
    check_layout(compare_figure(compared, narrow=narrow))
    check_layout(season_figure(season, narrow=narrow))


def test_a_region_has_it_by_cell_and_tells_the_middling_and_the_worst(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Against the made-up region's own plane: 2 points and a twentieth of the chance.

    Eight times in ten a normal error is within 1.28155 of its standard error (any table).
    """
    monkeypatch.setattr("climate_risk.report.map_page.map_figure", lambda *_, **__: Figure())
    region = region_samples.made_up()
    plane = region.stacks[0].draw_error
    data = map_dataset(region)
    assert np.array_equal(data["chance_draw_error"].to_numpy(), plane, equal_nan=True)
    assert "chance_draw_error" in data["chance_of_loss"].attrs["ancillary_variables"].split()
    middling, worst = (128.155 * worth for worth in (np.nanmedian(plane), np.nanmax(plane)))
    said = f"by ± {middling:.1f} points in the middling case, by ± {worst:.1f} in the worst"
    assert said in " ".join(map_page(region).split())
    assert said in data.attrs["comment"]
