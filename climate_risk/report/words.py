"""Plain sentences from numbers; no number without its unit, and its interval or its basis."""

from __future__ import annotations

from collections.abc import Sequence

from climate_risk.report.display import (
    amounts,
    day,
    full_day,
    listed,
    money,
    percent,
    percent_range,
    plain_name,
    plural,
)
from climate_risk.risk.results import (
    Action,
    Chance,
    OptionResult,
    OutcomeShares,
    StackSeason,
)
from climate_risk.tables import model
from climate_risk.units import Units

MAIN_CAUSE_SHARE = 0.75
"""From this share of the losses on, one cause is the main one (our own choice)."""
ONLY_CAUSE_SHARE = 0.9
"""Above this share of the losses, one cause is named alone (our own choice)."""


def odds(share: float) -> str:
    """A chance as a grower says it: ``about 3 in 10``."""
    if share <= 0.0:
        return "none seen"
    if share < 0.01:
        return "under 1 in 100"
    if share < 0.085:
        size = min((15, 20, 30, 50, 100), key=lambda n: abs(1.0 / n - share))
        return f"about 1 in {size}"
    if share >= 0.95:
        return "more than 9 in 10"
    return f"about {max(1, int(share * 10 + 0.5))} in 10"


def chance_basis(chance: Chance) -> str:
    """``29 past years x 8 parameter draws, bootstrap over years``."""
    draws = plural(chance.draws, "parameter draw")
    return f"{plural(chance.years, 'past year')} x {draws}; {chance.basis}"


def interval(chance: Chance) -> str:
    """``9 in 10 sure it lies in 9 to 27 %``."""
    return f"9 in 10 sure it lies in {percent_range(chance.low, chance.high)}"


def chance_words(chance: Chance) -> str:
    """Chance with its interval and what it rests on."""
    if chance.mean <= 0.0:
        return (
            f"none seen, but up to {percent(chance.high)} cannot be ruled out "
            f"({interval(chance)}; {chance_basis(chance)})"
        )
    return (
        f"{odds(chance.mean)} ({percent(chance.mean)}; {interval(chance)}; {chance_basis(chance)})"
    )


def brief_chance(chance: Chance) -> str:
    """Chance with its interval, where the basis stands beside it already."""
    mean = "none seen" if chance.mean <= 0.0 else f"{odds(chance.mean)} ({percent(chance.mean)})"
    return f"{mean}, {interval(chance)}"


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
        return f"{percent(result.shares.lost)} of the runs made end in loss"
    lost = years_lost(result)
    if lost == 0:
        return f"in none of {plural(years, 'past year')} would most runs end in loss"
    return f"in {lost} of {plural(years, 'past year')} most runs would end in loss"


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


def danger(stack: StackSeason) -> str:
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
    return f"{odds(chance.mean)} chance of losing {what}, {lost_to(shares)}"


def is_enough(action: Action) -> bool:
    """Whether the action, begun in time, brings the chance within the limit."""
    return action.latest is not None


def when_to(stack: StackSeason, action: Action) -> str:
    """From when on, and until when it still serves: ``now, 10 Aug at the latest``."""
    start = f"from {day(action.start)}" if stack.daily.empty else "now"
    return start if action.latest is None else f"{start}, {day(action.latest)} at the latest"


def is_done_before_dry(stack: StackSeason) -> bool:
    """Whether the driest face stops the fungus, but nine runs in ten are across before."""
    across = stack.full_run[2]
    if across is None or stack.outlook is None or stack.daily.empty:
        return False
    seen = stack.daily["moisture_driest_face_pct"] < stack.moisture_stop_pct
    ahead = stack.outlook[("moisture_driest_face_pct", 50)] < stack.moisture_stop_pct
    dry = [*seen.index[seen], *ahead.index[ahead]]
    return bool(dry) and across <= dry[0].date()


ADD_PAST = (
    'For an outlook add weather of past years: history = "meteostat", or a file of them, under '
    "[weather] in the yard file."
)


def to_do(stack: StackSeason, tolerated_chance: float, show: Units) -> str:
    """The one thing to do and its date, as a sentence; what to do when nothing helps."""
    if stack.lacks_past:
        return ADD_PAST
    if stack.outlook is None or stack.outlook.empty:
        return "The year is over."
    if not is_over_tolerance(stack.result, tolerated_chance):
        if is_done_before_dry(stack):
            return "Carry on as planned: it gets too dry to grow, but the run is done before."
        late = stack.result.shares.delayed > 0.5
        return "Carry on as planned; expect a late run." if late else "Carry on as planned."
    action = best_action(stack)
    if action is None:
        return "No action tried brings it down."
    tail = "" if is_enough(action) else ": it helps, but is not enough alone"
    return f"{_capital(amounts(action.what, show))} {when_to(stack, action)}{tail}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def verdict(stack: StackSeason, tolerated_chance: float, show: Units) -> str:
    """Danger, cause, and what to do by when: the line a grower reads first."""
    return f"{stack.name}: {danger(stack)}. {to_do(stack, tolerated_chance, show)}"


def limit_sentence(result: OptionResult, tolerated_chance: float) -> str:
    """Where the chance lies against the grower's own limit, interval included."""
    limit = percent(tolerated_chance)
    chance = result.chance
    if chance is None:
        return "Under 10 past years: only what happened is told, no chance is given."
    if chance.low > tolerated_chance:
        return f"The whole interval lies above your limit of {limit}."
    if chance.mean > tolerated_chance:
        return f"This is above your limit of {limit}, though the interval reaches below it."
    if chance.high > tolerated_chance:
        return f"This is within your limit of {limit}, but the interval reaches above it."
    return f"The whole interval lies within your limit of {limit}."


def chance_sentence(result: OptionResult) -> str:
    """Chance of loss with interval, basis and the split by cause."""
    if result.chance is None:
        return f"What happened: {what_happened(result)}."
    split = f" Killed by {cause_split(result.shares)}." if result.shares.lost > 0.0 else ""
    return f"Chance of losing one stack: {chance_words(result.chance)}.{split}"


def lost_sentence(stack: StackSeason) -> str:
    """Stacks lost out of the number alike, with spread; empty where not known or none is."""
    if stack.lost_of_count is None or stack.lost_of_count[2] <= 0.0:
        return ""
    low, middle, high = stack.lost_of_count
    return (
        f"Of {plural(stack.count, 'stack')} alike, {middle:.0f} lost in the middle run; "
        f"8 of 10 runs lose {low:.0f} to {high:.0f}. Stacks alike share their fate in part."
    )


def run_sentence(stack: StackSeason) -> str:
    """Share of the run at the horizon and when the fungus has crossed."""
    low, middle, high = stack.result.colonized_fraction
    spread = "" if low == high else f" (8 of 10 runs: {percent_range(low, high)})"
    last = stack.daily.index[-1].date() if stack.lacks_past else stack.horizon
    share = (
        f"By {full_day(last)} the fungus has covered {percent(middle)} of the way "
        f"between spawn faces{spread}."
    )
    early, mid, late = stack.full_run
    across = f"across ({percent(model().complete_share.value)} of the way)"
    parts = [
        f"{part} of the runs by {full_day(value)}"
        for part, value in (("a tenth", early), ("half", mid), ("nine tenths", late))
        if value is not None
    ]
    if parts:
        share = f"{share} {_capital(across)} are {listed(parts)}."
    if mid is None:
        return f"{share} Half of the runs or more are not {across} by then."
    return share if late else f"{share} More than a tenth of the runs are not across by then."


def state_sentence(stack: StackSeason, show: Units) -> str:
    """Where the reference run stands on its last day; empty before the first day."""
    if stack.daily.empty:
        return ""
    last = stack.daily.iloc[-1]
    hottest = show.temperature.text(float(stack.daily["bark_temp_max_c"].max()))
    return (
        f"On {full_day(stack.daily.index[-1].date())} the reference run has "
        f"{last['moisture_driest_face_pct']:.0f} % moisture at its driest spawn face (growth "
        f"slows below {stack.moisture_slow_pct:.0f} % and stops below "
        f"{stack.moisture_stop_pct:.0f} %, of oven-dry mass) and is "
        f"{percent(float(last['colonized_fraction']))} across. Hottest bark so far {hottest} "
        f"(growth stops above {show.temperature.text(stack.growth_temp_max_c)}). Dose so far, "
        f"where 1 means half the fungus dead: heat {_dose(float(last['heat_stress']))}, "
        f"drought {_dose(float(last['drought_stress']))}.{_rivals(stack)}"
    )


def _rivals(stack: StackSeason) -> str:
    """Hours that favoured moulds so far; beside the chance, never in it."""
    if "rival_hours_h" not in stack.daily:
        return ""
    hours = float(stack.daily["rival_hours_h"].sum())
    return (
        f" Moulds had {hours:.0f} hours of warm, wet bark over wood not yet run (judgement, and "
        "no part of the chance)."
    )


def _dose(dose: float) -> str:
    return "under 0.01" if 0.0 < dose < 0.01 else f"{dose:.2f}".removesuffix(".00")


def doubt_sentence(stack: StackSeason) -> str:
    """Where the doubt comes from and which unknowns lead it; empty where there is none."""
    doubt = stack.uncertainty
    if doubt is None or doubt.weather_share + doubt.model_share <= 0.0:
        return ""
    about = "a loss" if doubt.of_loss else "how dry the driest spawn face gets"
    said = (
        f"Of the doubt about {about}, {percent(doubt.weather_share)} comes from the weather of "
        f"the year and {percent(doubt.model_share)} from values that are not known well."
    )
    leaders = [
        f"{plain_name(leader.unknown.replace('.', ' '))} "
        f"(higher: {'wetter' if leader.correlation > 0.0 else 'drier'})"
        for leader in doubt.leaders
    ]
    return f"{said} Of those values these weigh most: {listed(leaders)}." if leaders else said


def spells_sentence(stack: StackSeason, show: Units) -> str:
    """The hot, dry spells so far."""
    if not stack.spells:
        return "No hot, dry spell so far."
    longest = max(stack.spells, key=lambda spell: spell.days)
    many = plural(len(stack.spells), "hot, dry spell")
    hottest = show.temperature.text(longest.air_temp_max_c)
    rain = f"{show.rain.text(longest.rain_mm)} of rain" if longest.rain_mm > 0.0 else "no rain"
    return (
        f"{many} so far; the longest {plural(longest.days, 'day')}, {day(longest.first)} to "
        f"{day(longest.last)}, up to {hottest} in the air with {rain}."
    )


def action_sentence(action: Action, tolerated_chance: float, currency: str, show: Units) -> str:
    """What, when, what it brings, what it costs, and why."""
    what = _capital(amounts(action.what, show))
    limit = percent(tolerated_chance)
    if action.latest is None:
        when = (
            f"from {full_day(action.start)}, the sooner the better; not enough alone: it does "
            f"not reach your limit of {limit}"
        )
    else:
        when = (
            f"from {full_day(action.start)}, at the latest by {full_day(action.latest)} "
            f"to stay within your limit of {limit}"
        )
    then = (
        f" Chance of loss if begun at once: {brief_chance(action.chance)}."
        if action.chance
        else ""
    )
    return (
        f"{what} {when}.{then} Costs {money(action.cost, currency)} for each stack. "
        f"Why: {action.why.rstrip('.')}."
    )


def outlook_note(stack: StackSeason) -> str:
    """What the lines on either side of today are; empty without an outlook."""
    if stack.outlook is None or stack.outlook.empty:
        return ""
    ahead = (
        "middle (line) and 8 of 10 (band) of many runs of the stack as it stands, with the unsure "
        "values drawn from their ranges and the weather of past years: not a forecast"
    )
    if stack.daily.empty:
        return f"Shown: {ahead}."
    return (
        "Left of today: one run with the best estimates and the weather seen. Right of it: "
        f"{ahead}, and the line need not join the one run."
    )


def place_words(canopy: str) -> str:
    """Where a stack stands: ``under conifer trees``, ``in the open``."""
    return "in the open" if canopy == "open" else f"under {canopy} trees"
