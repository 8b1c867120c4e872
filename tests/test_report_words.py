"""Sentences of the report: numbers never without unit, interval or basis."""

from __future__ import annotations

import math
import re
import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import report_samples as samples

from climate_risk.interventions import Act, CoverSpan, LeafFall, LeafOut, Watering
from climate_risk.options import parse_cover_option, parse_watering_option
from climate_risk.report import advice, basis, choice, words
from climate_risk.report.display import (
    folded,
    kept_together,
    listed,
    odds,
    percent,
    plain_name,
    plural,
)
from climate_risk.report.option_names import dated_cover_words, in_common, option_name
from climate_risk.report.prices import prices_sentences
from climate_risk.report.treatment import (
    WHY,
    act_words,
    cover_words,
    covers_key,
    volume,
    waterings_key,
)
from climate_risk.risk.results import OptionResult, OutcomeShares
from climate_risk.risk.results_compare import BreakEven, Tie
from climate_risk.risk.worth import rank
from climate_risk.units import Units

US = Units("us")


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "none seen"),
        (0.004, "under 1 in 100"),
        (0.02, "about 1 in 50"),
        (0.048, "about 1 in 20"),
        (0.07, "about 1 in 14"),
        (0.10, "about 1 in 10"),
        (0.14, "about 1 in 7"),
        (0.31, "about 3 in 10"),
        (0.94, "about 9 in 10"),
        (0.96, "more than 9 in 10"),
        (1.0, "more than 9 in 10"),
    ],
)
def test_odds_are_said_as_a_grower_says_them(share: float, said: str) -> None:
    assert odds(share) == said


def value_of(said: str) -> float:
    k, n = re.findall(r"\d+", said)
    return int(k) / int(n)


def test_odds_percent_and_limit_never_clash() -> None:
    """Odds lie on the limit's side that the chance is on, within a quarter of it; a percent that
    is not the limit does not read like it.
    """
    for limit in (0.02, 0.05, 0.10, 0.2, 0.25, 0.333, 0.5):
        for step in range(10, 951):
            share = step / 1000
            said = odds(share, limit)
            assert said.startswith("about ")
            if "in" in said:
                assert (value_of(said) > limit) == (share > limit)
                assert value_of(said) == pytest.approx(share, rel=0.25)
            assert (percent(share, limit) == percent(limit)) == (share == limit)


def test_odds_never_claim_certainty() -> None:
    for step in range(1001):
        said = odds(step / 1000)
        assert "10 in 10" not in said
        assert "0 in 10" not in said.replace("10 in 10", "")


def test_a_percent_never_rounds_to_a_certainty_it_is_not() -> None:
    assert percent(0.0) == "0 %"
    assert percent(0.001) == "under 1 %"
    assert percent(0.998) == "over 99 %"
    assert percent(1.0) == "100 %"


def test_no_loss_seen_still_names_the_upper_bound() -> None:
    safe = samples.three_stacks()[0]
    assert safe.result.chance is not None
    assert words.chance_words(safe.result.chance, 0.1) == "none seen (may be 0 to 10 %)"
    assert "no loss seen in 29 past years" in words.danger(safe, 0.1)


def test_chance_words_carry_interval_and_basis() -> None:
    chance = samples.stack().result.chance
    assert chance is not None
    assert words.chance_words(chance, 0.1) == "about 3 in 10 (31 %; may be 17 to 45 %)"
    basis_of = words.basis_sentence(chance)
    assert "29 past years, each with 8 draws of the unsure values" in basis_of
    assert "bootstrap over years" in basis_of


@pytest.mark.parametrize(
    ("heat", "drought", "said"),
    [(0.0, 0.3, "drought"), (0.3, 0.0, "heat"), (0.2, 0.2, "heat and drought"), (0.0, 0.0, "")],
)
def test_cause_is_named_alone_only_where_it_dominates(
    heat: float, drought: float, said: str
) -> None:
    shares = OutcomeShares(
        on_time=1 - heat - drought,
        not_fully_run=0.0,
        killed_by_heat=heat,
        killed_by_drought=drought,
        spawn_dried=0.0,
        likely_to_fruit=1 - heat - drought,
    )
    assert words.cause(shares) == said


@pytest.mark.parametrize(
    ("heat", "drought", "said"),
    [
        (0.02, 0.28, "to drought"),
        (0.03, 0.14, "mostly to drought (heat too)"),
        (0.14, 0.03, "mostly to heat (drought too)"),
        (0.30, 0.0, "to heat"),
        (0.10, 0.20, "to heat and drought"),
        (0.0, 0.0, ""),
    ],
)
def test_the_other_cause_is_left_out_only_under_a_tenth_of_the_losses(
    heat: float, drought: float, said: str
) -> None:
    assert words.lost_to(samples.shares(heat, drought)) == said


def test_verdict_says_danger_cause_action_and_day() -> None:
    said = words.verdict(samples.stack(heat=0.0), 0.10, US)
    assert said == (
        "North row: about 3 in 10 chance of losing each stack, to drought. "
        "Hang 60 % shade cloth. Best today; by 18 Jul at the latest (then 9 %)."
    )
    single = replace(samples.stack(heat=0.05), count=1)
    assert "chance of losing the stack, mostly to drought" in words.danger(single, 0.1)


def test_before_the_stack_is_made_nothing_is_due_now() -> None:
    said = words.card(samples.early_season().stacks[0], 0.10, US)
    assert said.act == "Hang 60 % shade cloth."
    assert said.date == "From 12 Apr; by 20 Apr at the latest (then 9 %)."


def test_a_run_done_before_the_face_dries_is_said() -> None:
    one = samples.stack()
    assert one.outlook is not None
    outlook = one.outlook.copy()
    first_dry = outlook.index[40].date()
    outlook[("moisture_driest_face_pct", 50)] = np.where(outlook.index < outlook.index[40], 40, 20)
    for days, is_said in ((-1, True), (0, True), (1, False)):
        across = (None, None, first_dry + timedelta(days=days))
        said = words.card(replace(one, outlook=outlook, full_run=across), 0.50, US).act
        assert ("the run is done before" in said) == is_said
    wet = replace(one, full_run=(None, None, first_dry))
    assert words.card(wet, 0.50, US).act == "Nothing extra to do: carry on as planned."


def test_litres_become_gallons_only_where_asked_for() -> None:
    metric = Units("metric")
    assert [volume(litres, US) for litres in (0.5, 4.0, 10.0)] == [
        "0.13 gal (0.5 L)",
        "1 gal (4 L)",
        "2.75 gal (10 L)",
    ]
    gallon = parse_watering_option("1 gal every 7 days")
    assert volume(gallon.litres, US) == "1 gal (3.79 L)"
    assert volume(gallon.litres, metric) == "3.79 L"


def test_acts_are_said_in_trade_words_with_their_dose_and_span() -> None:
    metric, start = Units("metric"), date(2025, 7, 11)
    last = start + timedelta(weeks=5)
    dose = Watering(litres=4.0, every_days=7, first=start, last=last)
    cloth, bag = parse_cover_option("shade cloth 60 + paper bag").spans
    acts = {
        "hang 60 % shade cloth": Act(kind="hang shade cloth", cover=cloth),
        "put a paper bag on": Act(kind="put bag on", cover=bag),
        "take the bag off and let the rain in": Act(kind="take bag off", cover=bag),
        "water 4 L a stack every 7 days for 5 weeks": Act(kind="water", watering=dose),
        "open the foot of the bag": Act(kind="open foot", cover=bag),
        "close the foot of the bag": Act(kind="close foot", cover=bag),
        "move it under conifer trees": Act(kind="move", canopy="conifer"),
    }
    for said, act in acts.items():
        assert act_words(act, metric) == said
    assert set(WHY) == {act.kind for act in acts.values()}


def test_keys_of_covers_and_waterings_are_read_back() -> None:
    for text in ("none", "paper bag", "shade cloth 60", "paper bag + shade cloth 60"):
        assert covers_key(parse_cover_option(text).spans) == text
    option = samples.option("open", "none", "4 L every 7 days", 0.0, 0.1, 1.0)
    assert waterings_key(option.waterings) == "4 L every 7 days"


def test_within_the_limit_nothing_is_urged() -> None:
    said = words.card(samples.stack(), 0.50, US)
    assert said.act == "Nothing extra to do: carry on as planned."
    assert said.date == "No date to keep; within your limit of 50 %."


def test_a_late_run_within_the_limit_is_said() -> None:
    one = samples.stack(heat=0.0, drought=0.02)
    late = replace(one, result=replace(one.result, shares=samples.shares(0.0, 0.02, 0.7)))
    assert words.card(late, 0.10, US).act.endswith("expect it to be late.")


def test_an_action_that_is_not_enough_is_not_sold_as_enough() -> None:
    stack = samples.hopeless_season().stacks[0]
    said = words.card(stack, 0.10, US)
    assert said.act.endswith(": it helps, but is not enough alone.")
    assert said.date == "Best today."
    sentence = advice.action_sentence(stack.actions[0], 0.10, "USD", US)
    assert "does not reach your limit of 10 %" in sentence


def test_the_first_action_that_suffices_is_preferred() -> None:
    one = samples.stack()
    weak = replace(one.actions[0], latest=None)
    two = replace(one, actions=(weak, one.actions[1]))
    assert "Water 1 gal (4 L)" in words.card(two, 0.10, US).act


def test_an_action_says_until_when_what_it_takes_and_saves() -> None:
    one = samples.stack()
    cloth, water = (advice.action_sentence(a, 0.10, "USD", US) for a in one.actions)
    assert (
        "by 18 Jul 2025 at the latest (then 9 %) to stay within your limit of 10 %; on 25 Jul 2025"
    ) in cloth
    assert "the next day tried, it is too late (then 14 %)" in cloth
    assert (
        "It costs USD 1.70 and 3 minutes of work a stack, by the program's own figures for work; "
        "it saves USD 5.60 of expected loss (may be 3.10 to 8.40)."
    ) in cloth
    assert "up to 29 Jul 2025 at least (then 8 %)" in water
    assert "Of 12.75 gal (48 L) poured on a stack 0.85 gal (3.2 L) stay in the log." in water
    assert "A tie with doing nothing" in water
    assert "figures for work" not in water


def test_a_tie_with_the_first_is_called_one() -> None:
    second = samples.stack().actions[1]
    sure = replace(second, difference=samples.stack().actions[0].difference)
    assert "A tie with the first in its effect" in advice.action_sentence(sure, 0.1, "USD", US)


def test_the_advice_says_nothing_to_do_not_tried_and_no_help() -> None:
    one = samples.stack()
    assert advice.lead(one, 0.50).startswith("Nothing to do")
    assert advice.lead(samples.few_years_season().stacks[0], 0.10).startswith(
        "Acts were not tried"
    )
    assert advice.lead(samples.ended_season().stacks[0], 0.10).startswith("Acts were not tried")
    assert "of no help" in advice.lead(replace(one, actions=()), 0.10)
    assert advice.lead(one, 0.10) == "Enough for your limit of 10 %, the cheapest first:"
    few = replace(samples.few_years_season().stacks[0], actions=())
    assert words.card(few, 0.10, US).act.startswith("No act was tried")
    assert advice.also_sentence(one, US) == (
        "Also tried, on one draw of each year, and left there: open the foot of the bag (helps) "
        "and move it under conifer trees (no help)."
    )


def test_what_would_change_the_advice_is_told_with_its_basis() -> None:
    result = samples.season()
    one = result.stacks[0]
    mass, bark, caution = advice.sign_sentences(one, result, US)
    assert mass == (
        "On 10 Jul a piece heavier than 20.1 lb: leave the stack as it stands. That is 76 % of "
        "its weight when stacked; of 80 simulations with a lighter piece 45 % end in loss as it "
        "stands, of 176 with a heavier one 6 %."
    )
    assert bark.startswith("How much bark has come off: as it stands the chance of loss is 5 %")
    assert "never lift one off a running stack" in caution


def test_no_action_at_all_is_said() -> None:
    said = words.card(replace(samples.stack(), actions=()), 0.10, US)
    assert (said.act, said.date) == ("No act tried brings it down.", "No date helps.")


def test_under_ten_years_tells_what_happened_and_no_chance() -> None:
    stack = samples.few_years_season().stacks[0]
    said = words.danger(stack, 0.1)
    assert said.startswith("no chance given, only 7 past years")
    assert "4 of 7 past years" in said
    assert "in 10 chance" not in said


def test_a_year_that_is_over_asks_for_nothing() -> None:
    assert "The year is over." in words.verdict(samples.ended_season().stacks[0], 0.10, US)


@pytest.mark.parametrize(
    ("limit", "part"),
    [
        (0.10, "All that it may be lies above"),
        (0.25, "above your limit of 25 %, though"),
        (0.40, "within your limit of 40 %, but"),
        (0.60, "All that it may be lies within"),
    ],
)
def test_limit_sentence_reads_the_interval(limit: float, part: str) -> None:
    assert part in words.limit_sentence(samples.stack().result, limit)


def test_run_sentence_covers_every_case_of_missing_dates() -> None:
    one = samples.stack()
    day = date(2025, 10, 6)
    for dates in ((day, day, day), (day, day, None), (day, None, None), (None, None, None)):
        said = words.run_sentence(replace(one, full_run=dates))
        assert "None" not in said
        assert ("late" in said) == (dates[2] is None)


def test_worst_stack_comes_first() -> None:
    assert words.by_risk(samples.three_stacks()) == [1, 2, 0]


def test_compare_names_best_safest_plan_and_ties() -> None:
    stack = samples.compare().stacks[0]
    assert choice.best_option_sentence(stack, 0.10, "USD", US) == (
        "North row: cheapest, loss counted, is under conifer trees, bare "
        "(no extra cost): about 1 in 16 lost to drought (6 %)."
    )
    assert choice.safest_sentence(stack, 0.10, "USD", US).startswith(
        "Least loss: under conifer trees, paper bag and 60 % shade cloth, 1 gal (4 L) every 7 days"
    )
    plan = choice.plan_sentence(stack, 0.10, "USD")
    assert plan.startswith("Yours as written: ")
    assert f"place {stack.plan.rank} of 18. The best pays at any worth." in plan
    assert choice.ties_sentence(stack) == ""


def test_where_nothing_is_lost_the_wettest_of_the_cheap_comes_first() -> None:
    stack = samples.no_loss_compare().stacks[0]
    best = choice.best_option_sentence(stack, 0.10, "USD", US)
    assert best == (
        "North row: cheapest, loss counted, is under conifer trees, bare (no extra cost): "
        "no loss seen."
    )
    assert choice.safest_sentence(stack, 0.10, "USD", US) == ""
    assert "No loss seen in 36 past years with any of the 6 options" in choice.ties_sentence(stack)


def test_rank_puts_cost_with_loss_first_then_loss_then_moisture_then_cost() -> None:
    """A stack is worth 50: loss of 2 % is 1.00, and sums are alike to the nearest 0.50."""
    base = samples.no_loss_compare().stacks[0].options[0]

    def with_(lost: float, low: float, middle: float, cost: float) -> OptionResult:
        return replace(
            base,
            shares=samples.shares(0.0, lost),
            moisture_driest_face_pct=(low, middle, 90.0),
            cost=replace(base.cost, option=cost, expected_loss=50.0 * lost),
        )

    by_money = [
        with_(0.0, 10.0, 60.0, 0.0),
        with_(0.0, 28.0, 50.0, 0.2),
        with_(0.0, 30.0, 50.0, 1.0),
        with_(0.02, 50.0, 60.0, 0.0),
        with_(0.0, 50.0, 60.0, 1.4),
    ]
    assert sorted(reversed(by_money), key=lambda option: rank(option, 50.0)) == by_money
    by_chance = [
        with_(0.0, 28.0, 60.0, 0.0),
        with_(0.004, 40.0, 60.0, 2.0),
        with_(0.0, 30.0, 50.0, 1.0),
        with_(0.0, 10.0, 20.0, 0.0),
        with_(0.02, 50.0, 60.0, 0.0),
    ]
    assert sorted(reversed(by_chance), key=lambda option: rank(option, math.nan)) == by_chance


def test_compare_says_when_something_or_nothing_stays_within_the_limit() -> None:
    stack = samples.compare().stacks[0]
    assert "Within your limit of 5 % the first is" in choice.safest_sentence(
        stack, 0.05, "USD", US
    )
    last = replace(stack, options=tuple(replace(o, rank=1) for o in stack.ranked[-1:]))
    assert "This passes your limit of 10 %" in choice.best_option_sentence(last, 0.10, "USD", US)
    said = choice.safest_sentence(last, 0.10, "USD", US)
    assert said == "Nothing compared stays within your limit."


def test_when_an_option_pays_is_said_with_its_reach() -> None:
    stack = samples.compare().stacks[0]
    option = replace(
        stack.options[1], break_even=BreakEven(worth=12.0, low=8.0, high=30.0, pays_above=True)
    )
    said = choice.pays_words(option, stack.plan, "USD")
    assert said == "pays where a stack is worth over USD 12.00 (8 times in 10: 8.00 to 30.00)"
    open_end = replace(option.break_even, high=math.inf, pays_above=False)
    said = choice.pays_words(replace(option, break_even=open_end), stack.plan, "USD")
    assert said == "pays where a stack is worth under USD 12.00 (8 times in 10: 8.00 or more)"


def test_an_option_is_called_by_what_tells_it_from_the_others() -> None:
    """Only the diameter differs: nothing else stands in the row, and the rest is said once."""
    stack = samples.no_loss_compare().stacks[0]
    thin = replace(stack.plan.build, diameter_m=0.1524)
    other = replace(stack.plan, is_plan=False, rank=2, build=thin)
    two = replace(stack, options=(stack.plan, other))
    assert option_name(other, two, US) == "6 in thick"
    assert option_name(other, two, Units("metric")) == "15.2 cm thick"
    assert option_name(stack.plan, two, US) == "your plan, 10 in thick"
    assert in_common(two, US) == ["in the open", "paper bag"]


def test_covers_are_called_by_their_leaves_or_days() -> None:
    cloth = CoverSpan(kind="shade cloth", percent=60.0)
    begun = date(2025, 4, 12)
    leafless = replace(cloth, on=LeafFall(2025, 10, 18), off=LeafOut(2026, 5, 7))
    assert dated_cover_words(cloth, begun) == "60 % shade cloth"
    assert dated_cover_words(leafless, begun) == "60 % shade cloth (leaf fall to leaf out)"
    dated = replace(cloth, on=begun, off=date(2026, 3, 20))
    assert dated_cover_words(dated, begun) == "60 % shade cloth (to 20 Mar)"


def test_prices_that_are_not_the_grower_s_are_named() -> None:
    prices = samples.PRICES
    (said,) = prices_sentences(prices, US)
    assert said == (
        "Our default, not yours: shade cloth USD 0.17 a square foot, labour USD 20.00 an hour and "
        "the limit of 10 % for losing a stack. Put your own under [costs]."
    )
    assert "USD 1.80 a m²" in prices_sentences(prices, Units("metric"))[0]
    own = replace(prices, ours={}, currency="EUR", unknown=("labour_per_hour",))
    (said,) = prices_sentences(own, US)
    assert said.startswith("No cost is given that needs the price of labour: [costs] has none in ")
    assert prices_sentences(replace(own, unknown=()), US) == []


def test_what_was_not_tried_is_called_so() -> None:
    """One past year: no act was tried, and the page does not say that none helps."""
    one = samples.stack(with_chance=False, years=1, drought=0.6)
    said = words.card(replace(one, actions=()), 0.10, US)
    assert said.act.startswith("No act was tried: under 10 past years")
    many = words.card(replace(samples.stack(drought=0.6), actions=()), 0.10, US)
    assert many.act == "No act tried brings it down."


def test_what_the_model_may_tell_later_is_said_where_it_is_told() -> None:
    """Likely to fruit, a bag's foot, and ties that hang on a number to be measured."""
    one = samples.stack()
    shares = replace(one.result.shares, likely_to_fruit=0.8)
    fruits = replace(one, result=replace(one.result, shares=shares))
    assert words.run_sentence(fruits).endswith("80 % are likely to fruit.")
    shut = CoverSpan(kind="bag", material="paper", foot="closed")
    assert cover_words(shut) == "paper bag"
    assert cover_words(replace(shut, foot="open")) == "paper bag open at the foot"
    tie = Tie(ranks=(1, 2), unknown="bag.rain_share")
    stack = replace(samples.compare().stacks[0], ties=(tie,))
    assert choice.ties_sentence(stack) == (
        "1 and 2 tie: which is better hangs on the share of the rain that soaks through the bag. "
        "To find out: stand a cup on the cap under the bag through a rain, and one beside the bag."
    )


def test_causes_are_split_with_the_larger_first() -> None:
    assert words.cause_split(samples.shares(0.03, 0.28)) == "drought 28 %, heat 3 %"
    assert words.cause_split(samples.shares(0.2, 0.0)) == "heat 20 %"
    assert words.cause_split(samples.shares(0.0, 0.0)) == ""


def test_doubt_is_split_and_its_leaders_named() -> None:
    said = words.uncertainty_sentence(samples.stack())
    assert "Of the doubt about a loss, 55 % comes from the weather of the year" in said
    assert (
        "wood bark resistance (higher: wetter) and fungus drought half kill (higher: drier)"
        in said
    )
    assert words.uncertainty_sentence(replace(samples.stack(), uncertainty=None)) == ""


def test_no_stack_lost_needs_no_count() -> None:
    one = replace(samples.stack(), lost_of_count=(0.0, 0.0, 0.0))
    assert words.lost_sentence(one) == ""


def test_coverage_counts_what_was_filled_and_names_what_was_estimated() -> None:
    said = basis.coverage_sentence(samples.coverage())
    assert "56 missing values filled" in said
    assert "shortwave_mj_m2" in said
    whole = replace(samples.coverage(), filled={}, estimated={})
    assert "No missing value had to be filled" in basis.coverage_sentence(whole)


def test_cautions_cover_what_growers_must_be_told() -> None:
    text = " ".join(f"{title} {body}" for title, body in basis.CAUTIONS)
    for need in (
        "chaps", "Never alone", "licensed", "lift with help", "identified", "allergic", "Cook",
        "quarantine", "Golden oyster", "25 states", "native oyster", "Ticks", "poison ivy",
    ):  # fmt: skip
        assert need in text


def test_unit_endings_leave_the_name_of_a_value() -> None:
    assert plain_name("heat_ref_temp_c") == "heat ref temp"
    assert plain_name("rain_store_mm_on") == "rain store on"
    assert plain_name("bark_uptake_kg_m2_s") == "bark uptake"
    assert plain_name("closure_on") == "closure on"
    assert plain_name("spawn_contact_resistance_m") == "spawn contact resistance"


def test_small_words() -> None:
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed([]) == ""
    assert plural(1, "day") == "1 day"
    assert plural(0, "day") == "0 days"
    assert kept_together("by 18 Jul, 10 %") == "by 18\u00a0Jul, 10\u00a0%"
    assert folded("hang it by 18 Jul", 14) == ["hang it by", "18 Jul"]
