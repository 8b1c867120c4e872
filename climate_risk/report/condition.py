"""What state a stack is in and how it came there, in plain sentences."""

from __future__ import annotations

from typing import Literal

from climate_risk.report.display import day, full_day, percent, plural
from climate_risk.report.words import cause
from climate_risk.risk.results import SpellLimits, StackSeason
from climate_risk.units import Units

Killer = Literal["heat", "drought"]
KILLERS: tuple[Killer, Killer] = ("heat", "drought")
BARK_FAR_ABOVE_K = 5.0
"""From this much on, the bark's heat above the air's is explained (our own choice)."""


def driest_face(stack: StackSeason) -> str:
    """Which spawn face is driest on the last day seen: ``the face under the cap``."""
    faces = stack.face_moisture_pct
    place = min(range(len(faces)), key=lambda n: faces[n])
    if place == 0:
        return "the face on the ground"
    if place == len(faces) - 1:
        return "the face under the cap" if stack.shape.cap_thickness_m > 0.0 else "the bare top"
    return "a face between the pieces"


def state_sentence(stack: StackSeason) -> str:
    """Where the best estimate stands on its last day; empty before the first day."""
    if stack.daily.empty:
        return ""
    last, at = stack.daily.iloc[-1], stack.thresholds
    return (
        f"On {full_day(stack.daily.index[-1].date())} the driest face is {driest_face(stack)}, at "
        f"{last['moisture_driest_face_pct']:.0f} % moisture of dry wood: growth slows below "
        f"{at.moisture_slow_pct:.0f} % and stops below {at.moisture_stop_pct:.0f} %. The fungus "
        f"has run {percent(float(last['colonized_fraction']))} of the way."
    )


def harm_words(stack: StackSeason, killer: Killer) -> str:
    """What heat or drought has killed and may yet; empty before the first day."""
    if stack.daily.empty:
        return ""
    name = f"{killer}_stress"
    said = f"so far {dead_share(float(stack.daily[name].iloc[-1]))} dead"
    if stack.outlook is None or stack.outlook.empty:
        return said
    worst = dead_share(float(stack.outlook[(name, 90)].iloc[-1]))
    return f"{said}; by the end, 1 time in 10, {worst} or more"


def acted_sentence(stack: StackSeason) -> str:
    """What the dots of a chart are, and what the first act spares by the best estimate."""
    if stack.reference_acted is None or stack.reference_ahead is None:
        return ""
    said = "Dots: the same stack with the first act done"
    ahead, acted = stack.reference_ahead.iloc[-1], stack.reference_acted.iloc[-1]
    killer = max(KILLERS, key=lambda name: float(ahead[f"{name}_stress"]))
    bare, spared = (dead_share(float(end[f"{killer}_stress"])) for end in (ahead, acted))
    if bare == spared:
        return f"{said}."
    return f"{said}: {killer} then kills {spared} of the mycelium by the end, not {bare}."


def harm_sentence(stack: StackSeason) -> str:
    """What heat and drought have killed so far, best estimate; empty before the first day."""
    if stack.daily.empty:
        return ""
    last = stack.daily.iloc[-1]
    heat, drought = (dead_share(float(last[n])) for n in ("heat_stress", "drought_stress"))
    most = max(KILLERS, key=lambda name: float(last[f"{name}_stress"]))
    threat = cause(stack.result.shares)
    said = f"So far heat has killed {heat} of the mycelium and drought {drought} (best estimate)"
    if stack.outlook is None or stack.outlook.empty:
        return f"{said}."
    end = stack.outlook.iloc[-1]
    heat, drought = (dead_share(float(end[(n, 90)])) for n in ("heat_stress", "drought_stress"))
    turn = "" if threat in ("", "heat and drought", most) else f" What threatens is {threat}."
    return (
        f"{said}; by the end, in the worst 1 case in 10, heat {heat} or more, drought {drought}."
        f"{turn}"
    )


def dead_share(stress: float) -> str:
    """A stress of 1 is half of the mycelium dead, of 2 three quarters."""
    dead = 1.0 - 2.0**-stress
    return "none" if dead <= 0.0 else percent(dead)


def bark_sentence(stack: StackSeason, show: Units) -> str:
    """Why the bark is far hotter than the air; empty where it is not."""
    if stack.daily.empty:
        return ""
    place = int(stack.daily["bark_temp_max_c"].to_numpy().argmax())
    hottest = stack.daily.iloc[place]
    bark, air = float(hottest["bark_temp_max_c"]), float(hottest["air_temp_max_c"])
    if bark - air < BARK_FAR_ABOVE_K:
        return ""
    sun = "it stands in the open sun"
    if stack.canopy != "open":
        sun = f"sun comes through the gaps of the stand ({percent(stack.openness)} of the sky)"
    return (
        f"On {day(stack.daily.index[place].date())} the bark reached "
        f"{show.temperature.text(bark)} in air of {show.temperature.text(air)} at the stack: "
        f"{sun}."
    )


def rivals_sentence(stack: StackSeason) -> str:
    """Hours that favoured moulds so far; beside the chance, never in it."""
    if stack.daily.empty or "rival_hours_h" not in stack.daily:
        return ""
    hours = float(stack.daily["rival_hours_h"].sum())
    return (
        f"Moulds had {hours:.0f} hours of warm, wet bark over wood not yet run (judgement, and "
        "no part of the chance)."
    )


def spell_words(limits: SpellLimits, show: Units) -> str:
    """What makes a hot, dry spell."""
    return (
        f"{plural(limits.days, 'day')} or more in a row of "
        f"{show.temperature.text(limits.air_temp_min_c)} and up in the open, each with less than "
        f"{show.rain.text(limits.rain_max_mm)} of rain"
    )


def spells_sentence(stack: StackSeason, show: Units) -> str:
    """The hot, dry spells so far, with the air at the stack."""
    if stack.daily.empty:
        return ""
    if not stack.spells:
        return "No hot, dry spell so far."
    longest = max(stack.spells, key=lambda spell: spell.days)
    days = stack.daily.loc[str(longest.first) : str(longest.last), "air_temp_max_c"]
    many = "1 hot, dry spell so far:"
    if len(stack.spells) > 1:
        many = f"{len(stack.spells)} hot, dry spells so far; the longest"
    rain = f"{show.rain.text(longest.rain_mm)} of rain" if longest.rain_mm > 0.0 else "no rain"
    return (
        f"{many} {plural(longest.days, 'day')}, {day(longest.first)} to "
        f"{day(longest.last)}, with up to {show.temperature.text(float(days.max()))} in the air "
        f"at the stack and {rain}."
    )
