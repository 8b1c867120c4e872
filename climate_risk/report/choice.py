"""Which option to choose, in plain sentences."""

from __future__ import annotations

from climate_risk.region.results import MapOption
from climate_risk.report.certainty import overlap_sentence, tie_sentence
from climate_risk.report.display import money, odds, percent, plural
from climate_risk.report.treatment import covers_words, waterings_words
from climate_risk.report.words import capital, lost_to, place_words, what_happened
from climate_risk.risk.results import CompareResult, OptionResult, StackCompare
from climate_risk.units import Units


def option_words(option: OptionResult | MapOption, show: Units) -> str:
    """An option as the name of a row: ``under conifer trees, paper bag``."""
    parts = [place_words(option.canopy), covers_words(option.covers, "bare")]
    return ", ".join(filter(None, [*parts, waterings_words(option.waterings, show)]))


def option_phrase(option: OptionResult, show: Units) -> str:
    """An option inside a sentence: ``under conifer trees with no cover``."""
    doses = waterings_words(option.waterings, show)
    water = f", watered {doses}" if doses else ""
    return f"{place_words(option.canopy)} with {covers_words(option.covers, 'no cover')}{water}"


def cost_words(option: OptionResult, currency: str) -> str:
    """What cover and water cost for one stack."""
    cost = option.cost.option
    return "no extra cost" if cost < 0.005 else f"{money(cost, currency)} a stack"


def best_option_sentence(
    stack: StackCompare, tolerated_chance: float, currency: str, show: Units
) -> str:
    """The first option: where, with what, how likely a loss is, and what it costs."""
    best = stack.options[0]
    what, cost = option_phrase(best, show), cost_words(best, currency)
    if best.chance is None:
        return f"{stack.name}: least loss {what} ({cost}); {what_happened(best)}."
    if best.chance.mean <= 0.0:
        is_cheapest = best.cost.option <= min(option.cost.option for option in stack.options)
        if is_cheapest and best.cost.option <= 0.0:
            return f"{stack.name}: safest and cheapest is {what}."
        lead = "safest and cheapest" if is_cheapest else "safest"
        return f"{stack.name}: {lead} is {what} ({cost})."
    over = best.chance.mean > tolerated_chance
    tail = f" Even this passes your limit of {percent(tolerated_chance)}." if over else ""
    lost = odds(best.chance.mean, tolerated_chance)
    return f"{stack.name}: least loss {what} ({cost}): {lost} lost, {lost_to(best.shares)}.{tail}"


def cheapest_sentence(
    stack: StackCompare, tolerated_chance: float, currency: str, show: Units
) -> str:
    """The cheapest option within the limit; empty if none is, or if it is the first one."""
    within = [o for o in stack.options if o.chance and o.chance.mean <= tolerated_chance]
    if not within:
        return ""
    cheapest = min(within, key=lambda option: option.cost.option)
    if cheapest.cost.option >= stack.options[0].cost.option or cheapest.chance is None:
        return ""
    seen = (
        "no loss seen"
        if cheapest.chance.mean <= 0.0
        else f"{odds(cheapest.chance.mean, tolerated_chance)} lost"
    )
    dry = cheapest.moisture_driest_face_pct[1] < stack.thresholds.moisture_stop_pct
    tail = ", but in a middling year the driest face gets too dry to grow" if dry else ""
    return (
        f"Cheapest within your limit of {percent(tolerated_chance)}: "
        f"{option_phrase(cheapest, show)} ({cost_words(cheapest, currency)}): {seen}{tail}."
    )


RANKING = (
    "Best first: lowest chance of loss, to the nearest 1 %; among equals the one whose driest "
    "face stays wettest in a middling year; then the cheaper."
)


CANOPY_NOTE = (
    "The gaps of your own stand (openness) hold under its own canopy only; other canopies are "
    "taken as closed stands."
)


def ties_sentence(stack: StackCompare) -> str:
    """How many options these years cannot tell apart."""
    if stack.ties:
        return " ".join(tie_sentence(tie) for tie in stack.ties)
    best = stack.options[0].chance
    if best is None:
        return ""
    safe = sum(o.chance is not None and o.chance.mean <= 0.0 for o in stack.options)
    if safe > 1:
        every = "any" if safe == len(stack.options) else f"{safe}"
        return (
            f"No loss seen in {plural(best.years, 'past year')} with {every} of the "
            f"{plural(len(stack.options), 'option')}; "
            "these rank by how wet the driest face stays."
        )
    return overlap_sentence(stack)


def basis_line(result: CompareResult, stack: StackCompare) -> str:
    """What the bars rest on."""
    text = (
        f"{stack.fungus.capitalize()} on {stack.wood}, {stack.horizon_months} months, weather of "
        f"{result.first_year} to {result.last_year} ({plural(result.years, 'year')}, each with "
        f"{plural(result.draws, 'draw')} of the unsure values)."
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
        f"({percent(chance.mean, limit)}), {lost_to(option.shares)}."
    )
