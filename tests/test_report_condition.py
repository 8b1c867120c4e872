"""What state a stack is in, in sentences that agree with what the chart draws."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import report_samples as samples

from climate_risk.report import condition
from climate_risk.risk.results import StackSeason
from climate_risk.units import Units

US = Units("us")


def hot_day(stack: StackSeason) -> pd.DataFrame:
    """Bark 12 K above the air on one day."""
    daily = stack.daily.copy()
    daily.loc[daily.index[-3], "bark_temp_max_c"] = daily["air_temp_max_c"].iloc[-3] + 12.0
    return daily


def test_bark_far_above_the_air_is_explained_by_the_gaps_or_the_open() -> None:
    stack = samples.stack()
    cool = stack.daily.assign(bark_temp_max_c=stack.daily["air_temp_max_c"] + 1.0)
    assert condition.bark_sentence(replace(stack, daily=cool), US) == ""
    hot = replace(stack, daily=hot_day(stack))
    assert "sun comes through the gaps of the stand (30 % of the sky)" in condition.bark_sentence(
        hot, US
    )
    assert "open sun" in condition.bark_sentence(replace(hot, canopy="open"), US)


@pytest.mark.parametrize(
    ("faces", "said"),
    [
        ((20.0, 30.0, 40.0), "the face on the ground"),
        ((30.0, 20.0, 40.0), "a face between the pieces"),
        ((40.0, 30.0, 20.0), "the face under the cap"),
    ],
)
def test_driest_face_is_named(faces: tuple[float, ...], said: str) -> None:
    stack = replace(samples.stack(), face_moisture_pct=faces)
    assert condition.driest_face(stack) == said
    bare = replace(stack, shape=replace(stack.shape, cap_thickness_m=0.0))
    assert condition.driest_face(bare) == said.replace("the face under the cap", "the bare top")


def test_a_stress_of_one_is_half_of_the_mycelium() -> None:
    """Stress is -log2 of the living share."""
    assert [condition.dead_share(x) for x in (0.0, 1.0, 2.0)] == ["none", "50 %", "75 %"]
    said = condition.harm_sentence(samples.stack())
    assert "So far heat has killed 2 % of the mycelium and drought 3 %" in said
    assert "threatens" not in said


def test_where_another_cause_threatens_than_has_killed_the_sentence_says_so() -> None:
    stack = samples.stack()
    hot = replace(stack, daily=stack.daily.assign(heat_stress=0.3))
    assert condition.harm_sentence(hot).endswith("What threatens is drought.")
    assert condition.harm_words(hot, "heat").startswith("so far 19 % dead; by the end, 1 time in")


def test_what_the_first_act_spares_is_told_by_the_lines_drawn() -> None:
    """Stress 1 carried on and 0 with the act: half of the mycelium against none."""
    stack = samples.stack()
    dry, spared = (
        frame.assign(drought_stress=stress, heat_stress=0.0)
        for frame, stress in ((stack.reference_ahead, 1.0), (stack.reference_acted, 0.0))
    )
    said = condition.acted_sentence(replace(stack, reference_ahead=dry, reference_acted=spared))
    assert said.endswith("drought then kills none of the mycelium by the end, not 50 %.")
    same = condition.acted_sentence(replace(stack, reference_ahead=dry, reference_acted=dry))
    assert same == "Dots: the same stack with the first act done."
    assert condition.acted_sentence(replace(stack, reference_acted=None)) == ""


@pytest.mark.parametrize(("units", "unit"), [("us", "°F"), ("metric", "°C")])
def test_state_and_spells_follow_the_units(units: str, unit: str) -> None:
    stack, show = samples.stack(), Units(units)
    assert unit in condition.bark_sentence(replace(stack, daily=hot_day(stack)), show)
    assert unit in condition.spells_sentence(stack, show)
