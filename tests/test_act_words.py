"""An act's last day in words: with the chance that is left then, and never against the limit."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from icalendar import Calendar

sys.path.insert(0, str(Path(__file__).parent))

import report_samples as samples

from climate_risk.interventions import Act, CoverSpan, LeafFall
from climate_risk.report import advice, words
from climate_risk.report.season_calendar import season_calendar
from climate_risk.risk.advice import Action, Tried
from climate_risk.units import Units

US = Units("us")
LIMIT = 0.10


def begun_later(*chances: float) -> Action:
    """The sample's first act, tried a week apart; the latest day is as the search has it."""
    action = samples.stack().actions[0]
    later = tuple(
        Tried(day=action.start + timedelta(weeks=n), chance_mean=chance, draw_error=0.012)
        for n, chance in enumerate(chances, start=1)
    )
    served = [tried.day for tried in later if tried.chance_mean <= LIMIT]
    return replace(action, later=later, latest=max([action.start, *served]))


@pytest.mark.parametrize(
    ("chances", "said"),
    [
        ((0.08, 0.14), "Best today; by 18 Jul at the latest (then 8 %)."),
        ((0.08, 0.07), "Best today; 25 Jul still serves (then 7 %)."),
        ((0.2,), "Best today; the next day tried, 18 Jul, is too late (then 20 %)."),
        ((0.02, 0.2), "From today; by 18 Jul at the latest (then 2 %)."),
        ((0.0, 0.2), "From today; by 18 Jul at the latest (then none seen)."),
        ((0.0996, 0.1004), "Best today; by 18 Jul at the latest (then 9.96 %)."),
        ((), "Best today."),
    ],
)
def test_the_last_day_is_told_with_the_chance_left_then(
    chances: tuple[float, ...], said: str
) -> None:
    """Best today only where no later day leaves less; a chance never reads like the limit."""
    stack = replace(samples.stack(), actions=(begun_later(*chances),))
    assert words.card(stack, LIMIT, US).date == said


def test_card_calendar_and_sentence_tell_the_same_chance_then() -> None:
    action = begun_later(0.08, 0.14)
    stack = replace(samples.stack(), actions=(action,))
    sentence = advice.action_sentence(action, LIMIT, "USD", US)
    assert words.serving_words(action, LIMIT) == "by 18 Jul (then 8 %)"
    assert "by 18 Jul 2025 at the latest (then 8 % ± 1.5) to stay" in sentence
    assert "it is too late (then 14 % ± 1.5)" in sentence
    calendar = season_calendar(replace(samples.season(), stacks=(stack,)))
    text = calendar.decode("utf-8").replace("\r\n ", "")
    assert "Not done yet? Begun today the chance of loss is 8 %." in text


def test_an_act_that_does_not_suffice_has_no_last_day() -> None:
    weak = replace(begun_later(0.08), latest=None)
    assert weak.on_latest is None
    assert words.latest_words(weak, LIMIT) == words.serving_words(weak, LIMIT) == ""


def test_an_act_that_waits_for_leaf_fall_says_its_day_once() -> None:
    """Not the sooner the better, nor best today; the day stands with the cloth."""
    action, fall = begun_later(), LeafFall(2025, 10, 20)
    cloth = CoverSpan(kind="shade cloth", percent=80.0, on=fall)
    waits = replace(action, acts=(Act(kind="hang shade cloth", cover=cloth),), start=fall)
    enough = replace(waits, latest=fall)
    said = advice.action_sentence(enough, LIMIT, "USD", US)
    assert said.startswith("Hang 80 % shade cloth from leaf fall (20 Oct 2025), to stay within")
    weak = advice.action_sentence(replace(waits, latest=None), LIMIT, "USD", US)
    assert weak.startswith("Hang 80 % shade cloth from leaf fall (20 Oct 2025); alone it does not")
    stack = replace(samples.stack(), actions=(enough,))
    assert words.card(stack, LIMIT, US).date == "From 20 Oct."


def test_the_calendar_has_the_day_on_which_an_advised_cover_comes_off() -> None:
    one = samples.stack()
    fall = LeafFall(2025, 10, 20)
    for off, found in ((fall, True), (None, False), (one.horizon + timedelta(days=9), False)):
        bag = CoverSpan(kind="bag", material="paper", on=one.actions[0].start, off=off)
        action = replace(begun_later(0.08), acts=(Act(kind="put bag on", cover=bag),))
        result = replace(samples.season(), stacks=(replace(one, covers=(), actions=(action,)),))
        events = Calendar.from_ical(season_calendar(result)).events
        days = [e.start for e in events if str(e["summary"]).endswith(": paper bag off")]
        assert days == ([fall] if found else [])
