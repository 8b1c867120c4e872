"""What to do, until when, what it takes and brings, and what would change it, in sentences."""

from __future__ import annotations

from climate_risk.report.certainty import how_to_measure, unknown_words
from climate_risk.report.display import day, full_day, listed, money, percent, plural
from climate_risk.report.treatment import WHY, acts_words, turn_words, volume
from climate_risk.report.words import (
    capital,
    chance_words,
    error_words,
    is_enough,
    then_words,
)
from climate_risk.risk.advice import Action, Sign, Tried
from climate_risk.risk.results import SeasonResult, StackSeason
from climate_risk.units import Units

SPARE_PIECE = (
    "Weigh a spare piece of the same tree, size and cover; never lift one off a running stack, "
    "and lift with help."
)


def action_sentence(action: Action, limit: float, currency: str, show: Units) -> str:
    """What, until when, what it brings, takes and saves, and why."""
    what = capital(acts_words(action.acts, show))
    since = "" if turn_words(action.start) else f", from {full_day(action.start)}"
    if is_enough(action):
        parts = [f"{what}{since}, {_until(action, limit)}."]
    else:
        soon = f"{since}, the sooner the better" if since else ""
        parts = [f"{what}{soon}; alone it does not reach your limit of {percent(limit)}."]
    if action.chance is not None:
        parts.append(
            f"Begun on the first day, the chance of loss is {chance_words(action.chance, limit)}."
        )
    parts.append(_takes(action, currency))
    if action.water is not None:
        parts.append(
            f"Of {volume(action.water.litres, show)} poured on a stack "
            f"{volume(max(action.water.kept_litres, 0.0), show)} stay in the log."
        )
    why = "; ".join(WHY[act.kind] for act in action.acts)
    parts += [_tie(action), f"Why: {why}."]
    return " ".join(filter(None, parts))


def _until(action: Action, limit: float) -> str:
    said = f"your limit of {percent(limit)}"
    if not action.later:
        return f"to stay within {said}; no later day was tried"
    latest = action.latest or action.start
    late, on_latest = action.too_late, action.on_latest
    then = "" if on_latest is None else f" ({_then(on_latest, limit)})"
    if late is None:
        least = f"up to {full_day(latest)} at least{then}"
        return f"{least} to stay within {said}; no later day was tried"
    next_day = f"on {full_day(late.day)}, the next day tried, it is too late"
    return (
        f"by {full_day(latest)} at the latest{then} to stay within {said}; {next_day} "
        f"({_then(late, limit)})"
    )


def _then(tried: Tried, limit: float) -> str:
    error = error_words(tried) if tried.chance_mean > 0.0 else ""
    return f"{then_words(tried, limit)}{error}"


def _takes(action: Action, currency: str) -> str:
    """Money and minutes, against the loss that is avoided."""
    basis = "" if action.minutes_given else ", by the program's own figures for work"
    takes = (
        f"It costs {money(action.cost, currency)} and {_minutes(action.minutes)} of work "
        f"a stack{basis}"
    )
    if action.saved is None:
        return f"{takes}."
    low, mean, high = action.saved
    return (
        f"{takes}; it saves {money(mean, currency)} of expected loss "
        f"(may be {low:.2f} to {high:.2f})."
    )


def _minutes(minutes: float) -> str:
    return "under 1 minute" if 0.0 < minutes < 1.0 else plural(round(minutes), "minute")


def _tie(action: Action) -> str:
    """Where the runs cannot tell it from doing nothing, or from the first."""
    if action.difference is not None and action.difference.is_tie:
        return "A tie with doing nothing: these years and draws cannot tell them apart."
    if action.to_first is not None and action.to_first.is_tie:
        return "A tie with the first in its effect: these years and draws cannot tell them apart."
    return ""


def lead(stack: StackSeason, limit: float) -> str:
    """What the list of acts is, or why there is none."""
    chance = stack.result.chance
    if stack.outlook is None or stack.outlook.empty:
        return "Acts were not tried: there is no outlook to try them on."
    if chance is None:
        return "Acts were not tried: under 10 past years are too few to choose an act by."
    if chance.mean <= limit:
        return f"Nothing to do: the chance of loss is within your limit of {percent(limit)}."
    if not stack.actions:
        return "Every act that was tried was of no help."
    enough = sum(is_enough(action) for action in stack.actions)
    if not enough:
        return "Nothing that was tried is enough, alone or two together. What helps most, first:"
    if enough == 1:
        return f"The cheapest that keeps the chance within your limit of {percent(limit)}, first:"
    return f"Enough for your limit of {percent(limit)}, the cheapest first:"


def also_sentence(stack: StackSeason, show: Units) -> str:
    """What was tried on few draws and left; empty for none."""
    if not stack.also_tried:
        return ""
    tried = [
        f"{acts_words(one.acts, show)} ({'helps' if one.helps else 'no help'})"
        for one in stack.also_tried
    ]
    return f"Also tried, on one draw of each year, and left there: {listed(tried)}."


def basis_sentence(stack: StackSeason) -> str:
    """How acts were chosen, for who wants to know; empty where none was."""
    chance = stack.result.chance
    if chance is None or not stack.actions:
        return ""
    if chance.draws == 1:
        return "Acts were chosen and judged on the same runs: their chances may look too good."
    return (
        "Acts were picked on one draw of each year; enough means that the chance lies within "
        "your limit over all draws and over those that they were not picked by."
    )


def sign_sentences(stack: StackSeason, result: SeasonResult, show: Units) -> list[str]:
    """What to look for that would change the advice."""
    chance = stack.result.chance
    if not stack.signs and chance is not None and stack.outlook is not None:
        return [
            "Neither the weight of a piece today nor any one unsure value would, as far as "
            f"{plural(chance.years * chance.draws, 'simulation')} can tell."
        ]
    said = [_sign(sign, stack, result, show) for sign in stack.signs]
    weighed = any(sign.mass_kg is not None for sign in stack.signs)
    return [*said, SPARE_PIECE] if weighed else said


def _sign(sign: Sign, stack: StackSeason, result: SeasonResult, show: Units) -> str:
    low, high = percent(sign.where_low), percent(sign.where_high)
    done = f"with {acts_words(sign.acts, show)}" if sign.acts else "as it stands"
    if sign.mass_kg is None or sign.mass_of_fresh is None:
        what = unknown_words(sign.unknown or "")
        how = how_to_measure(sign.unknown or "")
        tail = f" To find out: {how}." if how else ""
        return (
            f"{capital(what)}: {done} the chance of loss is {low} in the lowest third of what it "
            f"may be and {high} in the highest.{tail}"
        )
    mass = show.mass.text(sign.mass_kg)
    share = percent(sign.mass_of_fresh)
    if sign.acts:
        then = f"a piece lighter than {mass}: {acts_words(sign.acts, show)} is not enough"
    elif result.tolerated_chance < (stack.result.chance.mean if stack.result.chance else 0.0):
        then = f"a piece heavier than {mass}: leave the stack as it stands"
    else:
        then = f"a piece lighter than {mass}: act, and look at this page again"
    lighter, heavier = sign.runs
    return (
        f"On {day(result.as_of)} {then}. That is {share} of its weight when stacked; of "
        f"{plural(lighter, 'simulation')} with a lighter piece {low} end in loss {done}, of "
        f"{heavier} with a heavier one {high}."
    )
