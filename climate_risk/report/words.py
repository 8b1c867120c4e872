"""Plain sentences from numbers; no number without its unit, and its interval or its basis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

from climate_risk.report.display import (
    day,
    full_day,
    listed,
    odds,
    percent,
    percent_range,
    plain_name,
    plural,
)
from climate_risk.report.treatment import acts_words
from climate_risk.risk.advice import Action, Tried
from climate_risk.risk.results import (
    Chance,
    IntervalKind,
    OptionResult,
    OutcomeShares,
    StackSeason,
)
from climate_risk.units import Units

MAIN_CAUSE_SHARE = 0.75
"""From this share of the losses on, one cause is the main one (our own choice)."""
ONLY_CAUSE_SHARE = 0.9
"""Above this share of the losses, one cause is named alone (our own choice)."""
INTERVALS: Mapping[IntervalKind, str] = {
    "bootstrap": "80 % interval by bootstrap over years",
    "exact binomial": "all years alike: exact binomial bound at 80 %",
}


@dataclass(frozen=True)
class Card:
    """What a grower reads first: the danger, what to do, and by when."""

    danger: str
    act: str
    date: str


def interval(chance: Chance) -> str:
    """``8 in 10 sure it lies in 9 to 27 %``."""
    return f"8 in 10 sure it lies in {percent_range(chance.low, chance.high)}"


def chance_words(chance: Chance, limit: float) -> str:
    """Chance in odds and percent, with its interval and the error that few draws leave.

    ``about 1 in 7 (14 % ± 1.6 from the draws; may be 6 to 23 %)``.
    """
    may_be = f"may be {percent_range(chance.low, chance.high)}"
    draws = " from the draws" if error_words(chance) else ""
    if chance.mean <= 0.0:
        return f"none seen ({may_be})"
    return f"{odds(chance.mean, limit)} ({share_words(chance, limit)}{draws}; {may_be})"


def share_words(chance: Chance, limit: float) -> str:
    """``14 % ± 1.6``: a chance in percent, with the points that other draws would move it."""
    return f"{percent(chance.mean, limit)}{error_words(chance)}"


OTHER_DRAWS = (
    "± is how many points a chance would move, 8 times in 10, were the unsure values drawn anew; "
    "a bar's line counts the luck of the years too"
)


def error_words(chance: Chance | Tried) -> str:
    """`` ± 1.6``: points of error that the number of draws leaves; empty where not known."""
    return "" if chance.draw_error is None else f" ± {error_points(chance.draw_error):.1f}"


def error_points(draw_error: float) -> float:
    """Points that other draws stay within 8 times in 10, as every interval shown."""
    return 100.0 * draw_error * NormalDist().inv_cdf(0.9)


def basis_sentence(chance: Chance) -> str:
    """What a chance rests on, for who wants to know."""
    draws = plural(chance.draws, "draw")
    return (
        f"From {plural(chance.years, 'past year')}, each with {draws} of the unsure values; "
        f"{INTERVALS[chance.interval]}.{draws_sentence(chance)}"
    )


FINE_POINTS = 2.0
"""Points of standard error from the draws under which a chance counts as finely drawn."""


def draws_sentence(chance: Chance) -> str:
    """The error that few draws leave, and what to do where it is large; starts with a space."""
    if chance.draw_error is None:
        return ""
    points = error_points(chance.draw_error)
    said = f" The draws alone leave it open by {points:.1f} points either way (8 times in 10)"
    return (
        f"{said}."
        if 100.0 * chance.draw_error < FINE_POINTS
        else f"{said}: a quick look; --draws 16 is finer."
    )


def cause(shares: OutcomeShares) -> str:
    """What drives most losses: ``drought``, ``heat``, ``heat and drought``; empty if none."""
    if shares.lost <= 0.0:
        return ""
    heat_part = shares.killed_by_heat / shares.lost
    if heat_part >= MAIN_CAUSE_SHARE:
        return "heat"
    if heat_part <= 1.0 - MAIN_CAUSE_SHARE:
        return "drought"
    return "heat and drought"


def lost_to(shares: OutcomeShares) -> str:
    """What takes the stacks: ``to drought``, ``mostly to drought (heat too)``; empty if none."""
    main = cause(shares)
    if main not in ("drought", "heat"):
        return f"to {main}" if main else ""
    other, part = ("heat", shares.killed_by_drought)
    if main == "heat":
        other, part = ("drought", shares.killed_by_heat)
    is_only = part > ONLY_CAUSE_SHARE * shares.lost
    return f"to {main}" if is_only else f"mostly to {main} ({other} too)"


def years_lost(result: OptionResult) -> int:
    """Past years in which most runs end in loss."""
    return sum(year.shares.lost >= 0.5 for year in result.years)


def cause_split(shares: OutcomeShares) -> str:
    """Share of the runs killed by each cause, the larger first: ``drought 28 %, heat 3 %``.

    Whole percents are kept to their sum's.
    """
    parts = [(shares.killed_by_drought, "drought"), (shares.killed_by_heat, "heat")]
    (more, first), (less, second) = sorted(parts, reverse=True)
    if more <= 0.0:
        return ""
    if less <= 0.0:
        return f"{first} {percent(more)}"
    rest = round(more + less, 2) - round(more, 2) if less >= 0.01 else less
    return f"{first} {percent(more)}, {second} {percent(max(rest, min(less, 0.01)))}"


def what_happened(result: OptionResult) -> str:
    """What the few past years showed, where no chance can be given."""
    years = len(result.years)
    if years == 0:
        return f"{percent(result.shares.lost)} of the trials made end in loss"
    lost = years_lost(result)
    if lost == 0:
        return f"in none of {plural(years, 'past year')} would most stacks be lost"
    return f"in {lost} of {plural(years, 'past year')} most stacks would be lost"


def is_over_tolerance(result: OptionResult, tolerated_chance: float) -> bool:
    """Whether the chance of loss (or, without one, the share of lost runs) passes the limit."""
    mean = result.shares.lost if result.chance is None else result.chance.mean
    return mean > tolerated_chance


def by_risk(stacks: Sequence[StackSeason]) -> list[int]:
    """Places of the stacks, the highest chance of loss first; equals keep their order."""
    risks = [
        stack.result.shares.lost if stack.result.chance is None else stack.result.chance.mean
        for stack in stacks
    ]
    return sorted(range(len(stacks)), key=lambda place: -risks[place])


def best_action(stack: StackSeason) -> Action | None:
    """First listed action that still brings the chance under the limit, else the first."""
    for action in stack.actions:
        if action.latest is not None:
            return action
    return stack.actions[0] if stack.actions else None


def danger(stack: StackSeason, limit: float) -> str:
    """How likely the stack is lost and by what, in one short clause."""
    chance, shares = stack.result.chance, stack.result.shares
    if stack.lacks_past:
        lost = percent(shares.lost) if shares.lost > 0.0 else "none"
        return f"to date {lost} of the runs made end in loss; no chance without past years"
    if chance is None:
        years = len(stack.result.years)
        few = plural(years, "past year")
        if stack.outlook is not None:
            few += f" with weather of all the days to {full_day(stack.horizon)}"
        return f"no chance given, only {few}; {what_happened(stack.result)}"
    if chance.mean <= 0.0:
        return f"no loss seen in {plural(chance.years, 'past year')}"
    what = "the stack" if stack.count == 1 else "each stack"
    return f"{odds(chance.mean, limit)} chance of losing {what}, {lost_to(shares)}"


def is_enough(action: Action) -> bool:
    """Whether the action, begun in time, brings the chance within the limit."""
    return action.latest is not None


def latest_words(action: Action, limit: float) -> str:
    """``by 10 Aug at the latest (then 8 %)``: the last day that serves and the chance left then.

    Empty where there is none, or no later day was tried.
    """
    last, late = action.on_latest, action.too_late
    if last is None or not action.later:
        return ""
    if late is None:
        return f"{day(last.day)} still serves ({then_words(last, limit)})"
    if last.day <= action.start:
        return f"the next day tried, {day(late.day)}, is too late ({then_words(late, limit)})"
    return f"by {day(last.day)} at the latest ({then_words(last, limit)})"


def serving_words(action: Action, limit: float) -> str:
    """The same in short, for a row of the calendar: ``by 10 Aug (then 8 %)``."""
    last = action.on_latest
    if last is None or not action.later:
        return ""
    known = "by" if action.too_late else "to"
    return f"{known} {day(last.day)} ({then_words(last, limit)})"


def then_words(tried: Tried, limit: float) -> str:
    """``then 8 %``, on its own side of the limit."""
    share = tried.chance_mean
    return f"then {percent(share, limit)}" if share > 0.0 else "then none seen"


TODAY = "from today"


def begin_words(stack: StackSeason, action: Action) -> str:
    """From when an act is due: ``from today``, ``from 20 Oct``."""
    seen = None if stack.daily.empty else stack.daily.index[-1].date()
    is_now = seen is not None and (action.start - seen).days <= 1
    return TODAY if is_now else f"from {day(action.start)}"


def when_to(stack: StackSeason, action: Action, limit: float) -> str:
    """``best today; by 10 Aug at the latest (then 8 %)``."""
    start = begin_words(stack, action)
    if start == TODAY and action.is_best_at_once:
        start = "best today"
    return "; ".join(filter(None, (start, latest_words(action, limit))))


def is_done_before_dry(stack: StackSeason) -> bool:
    """Whether the driest face stops the fungus, but nine runs in ten are across before."""
    across = stack.full_run[2]
    if across is None or stack.outlook is None or stack.daily.empty:
        return False
    stop = stack.thresholds.moisture_stop_pct
    seen = stack.daily["moisture_driest_face_pct"] < stop
    ahead = stack.outlook[("moisture_driest_face_pct", 50)] < stop
    dry = [*seen.index[seen], *ahead.index[ahead]]
    return bool(dry) and across <= dry[0].date()


ADD_PAST = (
    'For an outlook add weather of past years: history = "meteostat", or a file of them, under '
    "[weather] in the yard file."
)


NOT_TRIED = (
    "No act was tried: under 10 past years give no chance to measure acts by. Look at the stack, "
    "and add past years to the weather."
)


def card(stack: StackSeason, limit: float, show: Units) -> Card:
    """The three lines that stand above all else."""
    said = f"{capital(danger(stack, limit))}."
    if stack.lacks_past:
        return Card(said, ADD_PAST, "No date without past years.")
    if stack.outlook is None or stack.outlook.empty:
        return Card(said, "The year is over.", f"It ended on {full_day(stack.horizon)}.")
    if not is_over_tolerance(stack.result, limit):
        act = "Nothing extra to do: carry on as planned."
        if is_done_before_dry(stack):
            act = "Carry on as planned: it gets too dry to grow, but the run is done before."
        elif stack.result.shares.not_fully_run > 0.5:
            act = "Carry on as planned; expect it to be late."
        return Card(said, act, f"No date to keep; within your limit of {percent(limit)}.")
    action = best_action(stack)
    if action is None and stack.result.chance is None:
        return Card(said, NOT_TRIED, "No date: nothing was tried.")
    if action is None:
        return Card(said, "No act tried brings it down.", "No date helps.")
    tail = "" if is_enough(action) else ": it helps, but is not enough alone"
    what = f"{capital(acts_words(action.acts, show))}{tail}."
    return Card(said, what, f"{capital(when_to(stack, action, limit))}.")


def capital(text: str) -> str:
    """The text with a capital letter first."""
    return text[:1].upper() + text[1:]


def verdict(stack: StackSeason, limit: float, show: Units) -> str:
    """Danger, act and date in one line."""
    said = card(stack, limit, show)
    return f"{stack.name}: {said.danger[:1].lower()}{said.danger[1:]} {said.act} {said.date}"


def limit_sentence(result: OptionResult, limit: float) -> str:
    """Where the chance lies against the grower's own limit, interval included."""
    said = f"your limit of {percent(limit)}"
    chance = result.chance
    if chance is None:
        return "Under 10 past years: only what happened is told, no chance is given."
    if chance.low > limit:
        return f"All that it may be lies above {said}."
    if chance.mean > limit:
        return f"This is above {said}, though it may turn out below."
    if chance.high > limit:
        return f"This is within {said}, but may turn out above."
    return f"All that it may be lies within {said}."


def lost_sentence(stack: StackSeason) -> str:
    """Stacks lost out of the number alike, with spread; empty where not known or none is."""
    if stack.lost_of_count is None or stack.lost_of_count[2] <= 0.0:
        return ""
    low, middle, high = stack.lost_of_count
    return (
        f"Of {plural(stack.count, 'stack')} alike, {middle:.0f} lost in a middling year; in 8 "
        f"years of 10 it is {low:.0f} to {high:.0f}. Stacks alike share their fate in part."
    )


def run_sentence(stack: StackSeason) -> str:
    """Share of the way that is run at the horizon, and when it is all the way."""
    low, middle, high = stack.result.colonized_fraction
    spread = "" if low == high else f" (8 times in 10: {percent_range(low, high)})"
    last = stack.daily.index[-1].date() if stack.lacks_past else stack.horizon
    share = (
        f"By {full_day(last)} the fungus has run {percent(middle)} of the way between "
        f"spawn faces{spread}."
    )
    early, mid, late = stack.full_run
    whole = percent(stack.thresholds.complete_share)
    parts = [
        f"{part} by {full_day(value)}"
        for part, value in (("1 in 10", early), ("half", mid), ("9 in 10", late))
        if value is not None
    ]
    if parts:
        share = f"{share} Fully run ({whole} of the way) are {listed(parts)}."
    if mid is None:
        share = f"{share} Half of the stacks or more are late."
    elif late is None:
        share = f"{share} More than 1 in 10 are late."
    fruits = stack.result.shares.likely_to_fruit
    return f"{share} {percent(fruits)} are likely to fruit."


def uncertainty_sentence(stack: StackSeason) -> str:
    """Where the uncertainty comes from and which unknowns lead it; empty where there is none."""
    found = stack.uncertainty
    if found is None or found.weather_share + found.model_share <= 0.0:
        return ""
    about = "a loss" if found.of_loss else "how dry the driest face gets"
    said = (
        f"Of the doubt about {about}, {percent(found.weather_share)} comes from the weather of "
        f"the year and {percent(found.model_share)} from values that are not known well."
    )
    leaders = [
        f"{plain_name(leader.unknown.replace('.', ' '))} "
        f"(higher: {'wetter' if leader.correlation > 0.0 else 'drier'})"
        for leader in found.leaders
    ]
    return f"{said} Of those values these weigh most: {listed(leaders)}." if leaders else said


def place_words(canopy: str) -> str:
    """Where a stack stands: ``under conifer trees``, ``in the open``."""
    return "in the open" if canopy == "open" else f"under {canopy} trees"
