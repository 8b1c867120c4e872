"""Which option to choose, in plain sentences."""

from __future__ import annotations

import math

from climate_risk.region.results import MapOption
from climate_risk.report.certainty import overlap_sentence, tie_sentence
from climate_risk.report.display import money, odds, percent, plural
from climate_risk.report.option_names import charted, in_common, option_name
from climate_risk.report.treatment import covers_words, waterings_words
from climate_risk.report.words import (
    OTHER_DRAWS,
    capital,
    draws_sentence,
    error_words,
    limit_sentence,
    lost_to,
    place_words,
    share_words,
    what_happened,
)
from climate_risk.risk.results import OptionResult
from climate_risk.risk.results_compare import ComparedOption, CompareResult, StackCompare
from climate_risk.units import Units


def option_words(option: OptionResult | MapOption, show: Units) -> str:
    """An option as the name of a row: ``under conifer trees, paper bag``."""
    parts = [place_words(option.canopy), covers_words(option.covers, "bare")]
    return ", ".join(filter(None, [*parts, waterings_words(option.waterings, show)]))


def cost_words(option: OptionResult, currency: str) -> str:
    """What an option costs for one stack."""
    cost = option.cost.option
    if math.isnan(cost):
        return "cost not known"
    if abs(cost) < 0.005:
        return "no extra cost"
    return (
        f"saves {money(-cost, currency)} a stack"
        if cost < 0.0
        else (f"{money(cost, currency)} a stack")
    )


def loss_words(option: OptionResult, limit: float) -> str:
    """``about 1 in 7 lost to drought (14 % ± 1.6)``, ``no loss seen``."""
    if option.chance is None:
        return what_happened(option)
    if option.chance.mean <= 0.0:
        return "no loss seen"
    said = f"{odds(option.chance.mean, limit)} lost {lost_to(option.shares)}"
    return f"{said} ({share_words(option.chance, limit)})"


def _said(
    option: ComparedOption, stack: StackCompare, limit: float, currency: str, show: Units
) -> str:
    name = option_name(option, stack, show)
    return f"{name} ({cost_words(option, currency)}): {loss_words(option, limit)}"


def best_option_sentence(
    stack: StackCompare, tolerated_chance: float, currency: str, show: Units
) -> str:
    """The best option: where, with what, what it costs, and how likely a loss is."""
    best = stack.best
    lead = "cheapest, loss counted, is" if stack.is_by_money else "least loss,"
    over = best.chance is not None and best.chance.mean > tolerated_chance
    tail = f" This passes your limit of {percent(tolerated_chance)}." if over else ""
    return f"{stack.name}: {lead} {_said(best, stack, tolerated_chance, currency, show)}.{tail}"


def safest_sentence(
    stack: StackCompare, tolerated_chance: float, currency: str, show: Units
) -> str:
    """Where the best option is not the one with the least loss: that one, or the cheapest that
    stays within the limit; empty otherwise."""
    best = stack.best
    if best.chance is None:
        return ""
    known = [option for option in stack.ranked if option.chance is not None]
    over = best.chance.mean > tolerated_chance
    within = [o for o in known if o.chance and o.chance.mean <= tolerated_chance]
    if over and within:
        said = _said(within[0], stack, tolerated_chance, currency, show)
        return f"Within your limit of {percent(tolerated_chance)} the first is {said}."
    least = min(known, key=lambda option: (round(option.shares.lost, 2), option.rank))
    if round(least.shares.lost, 2) >= round(best.shares.lost, 2):
        return "Nothing compared stays within your limit." if over else ""
    return f"Least loss: {_said(least, stack, tolerated_chance, currency, show)}."


def plan_sentence(stack: StackCompare, tolerated_chance: float, currency: str) -> str:
    """How the plan as written fares, and when the best would pay against it."""
    plan, best = stack.plan, stack.best
    fares = f"{loss_words(plan, tolerated_chance)}, {cost_words(plan, currency)}"
    place = f"place {plan.rank} of {len(stack.options)}"
    if best.is_plan:
        return f"Yours as written: {fares}; nothing compared is better."
    pays = pays_words(best, plan, currency)
    return f"Yours as written: {fares}; {place}." + (f" The best {pays}." if pays else "")


def pays_words(option: ComparedOption, plan: ComparedOption, currency: str) -> str:
    """When an option pays against the plan: ``pays where a stack is worth over USD 12 ...``."""
    extra, found = option.cost.option - plan.cost.option, option.break_even
    if found is not None:
        side = "over" if found.pays_above else "under"
        reach = (
            f"{found.low:.2f} or more"
            if math.isinf(found.high)
            else f"{found.low:.2f} to {found.high:.2f}"
        )
        return (
            f"pays where a stack is worth {side} {money(found.worth, currency)} "
            f"(8 times in 10: {reach})"
        )
    if option.is_plan or option.difference is None or math.isnan(extra):
        return ""
    lost = option.difference.mean
    if abs(extra) < 0.005 and lost == 0.0:
        return "costs and loses the same as your plan"
    return "pays at any worth" if extra <= 0.0 and lost <= 0.0 else "does not pay at any worth"


def difference_words(option: ComparedOption) -> str:
    """Chance of loss less the plan's, in points: ``-12 (-19 to -6)``."""
    found = option.difference
    if found is None:
        return "the plan" if option.is_plan else "not given"
    return f"{100 * found.mean:+z.0f} ({100 * found.low:+z.0f} to {100 * found.high:+z.0f})"


BY_MONEY = (
    "Your plan first, then best first: lowest cost with the loss to be expected, to the nearest "
    "1 % of what a stack is worth; among equals the lower chance of loss, then the one whose "
    "driest face stays wettest in a middling year, then the cheaper."
)
BY_CHANCE = (
    "Your plan first, then best first: lowest chance of loss, to the nearest 1 %, as costs are "
    "not known for all; among equals the one whose driest face stays wettest in a middling year."
)
BUILT_NOTE = (
    "Stacks of another size are told for as much wood as yours holds: their covers, water and "
    "extra spawn are shared out, and twice the wood is taken to be worth twice as much."
)


def ranking(stack: StackCompare) -> str:
    """How the options are ordered."""
    said = BY_MONEY if stack.is_by_money else BY_CHANCE
    builds = {(o.build.pieces, o.build.piece_length_m, o.build.diameter_m) for o in stack.options}
    return f"{said} {BUILT_NOTE}" if len(builds) > 1 else said


CANOPY_NOTE = (
    "The gaps of your own stand (openness) hold under its own canopy only; other canopies are "
    "taken as closed stands."
)


def ties_sentence(stack: StackCompare) -> str:
    """How many options these years cannot tell apart."""
    if stack.ties:
        return " ".join(tie_sentence(tie) for tie in stack.ties)
    best = stack.best.chance
    if best is None:
        return ""
    safe = sum(o.chance is not None and o.chance.mean <= 0.0 for o in stack.options)
    if safe > 1 and best.mean <= 0.0:
        every = "any" if safe == len(stack.options) else f"{safe}"
        return (
            f"No loss seen in {plural(best.years, 'past year')} with {every} of the "
            f"{plural(len(stack.options), 'option')}."
        )
    return overlap_sentence(stack)


def how_sure(stack: StackCompare, limit: float) -> str:
    """Whether the years and the draws can tell the best from the others and from the limit."""
    said = ties_sentence(stack) or limit_sentence(stack.best, limit)
    chance = stack.best.chance
    return said if chance is None or chance.mean <= 0.0 else f"{said}{draws_sentence(chance)}"


def basis_line(result: CompareResult, stack: StackCompare, show: Units) -> str:
    """What the bars rest on."""
    shared = "".join(f", {said}" for said in in_common(stack, show))
    text = (
        f"{stack.fungus.capitalize()} on {stack.wood}{shared}, {stack.horizon_months} months, "
        f"weather of {result.first_year} to {result.last_year} ({plural(result.years, 'year')}, "
        f"each with {plural(result.draws, 'draw')} of the unsure values)."
    )
    if any(option.chance and error_words(option.chance) for option in stack.options):
        text += f" {OTHER_DRAWS}."
    left_out = len(stack.options) - len(charted(stack))
    if left_out:
        text += (
            f" The chart has your plan and the best {len(charted(stack)) - 1} others; "
            f"{plural(left_out, 'more option')} in the table of the page."
        )
    return f"{text} {result.yard_name} is an invented farm." if result.invented else text


def option_danger(option: OptionResult, where: str, limit: float) -> str:
    """How likely a stack is lost with one option, as a sentence."""
    chance = option.chance
    if chance is None:
        return f"{capital(where)}: {what_happened(option)}."
    if chance.mean <= 0.0:
        return (
            f"{capital(where)}: no loss seen in {plural(chance.years, 'past year')}, up to "
            f"{percent(chance.high)} not ruled out."
        )
    return (
        f"{capital(where)}: {odds(chance.mean, limit)} stacks lost "
        f"({share_words(chance, limit)}), {lost_to(option.shares)}."
    )
