"""The timed panels of the season chart; each draws on the plot it is given.

Days are plotted as ordinals (``date.toordinal``).
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from climate_risk.report import theme
from climate_risk.report.display import (
    MONTHS,
    FloatArray,
    cut,
    day,
    full_day,
    percent,
    plural,
)
from climate_risk.report.gauge import SHOWN_ACTIONS
from climate_risk.report.plot import Plot, round_steps
from climate_risk.report.treatment import act_words, cover_words, watering_words
from climate_risk.report.words import is_enough
from climate_risk.risk.results import Action, StackSeason
from climate_risk.units import Units

RIGHT_CHARS = 12
"""Letters that find room in the right margin."""
LABEL_IN = 0.06
Fan = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
"""Days and the 10th, 50th and 90th percentile, each of shape (days,)."""


def ordinals(index: pd.Index) -> FloatArray:
    """Days of a date index as plain numbers, shape (days,)."""
    return np.array([stamp.toordinal() for stamp in index], dtype=np.float64)


def fan(stack: StackSeason, quantity: str) -> Fan | None:
    """The outlook of one quantity; None where there is none."""
    if stack.outlook is None or stack.outlook.empty or (quantity, 50) not in stack.outlook:
        return None
    low, middle, high = (
        stack.outlook[(quantity, q)].to_numpy(dtype=np.float64) for q in (10, 50, 90)
    )
    return ordinals(stack.outlook.index), low, middle, high


def month_ticks(first: date, last: date, *, every: int) -> tuple[list[int], list[str]]:
    """Firsts of the month; the year stands under January and the first label."""
    ticks: list[int] = []
    labels: list[str] = []
    month = date(first.year, first.month, 1)
    while month <= last:
        if month >= first and (month.month - 1) % every == 0:
            ticks.append(month.toordinal())
            name = MONTHS[month.month - 1]
            labels.append(f"{name}\n{month.year}" if not labels or month.month == 1 else name)
        month = (month + timedelta(days=32)).replace(day=1)
    return ticks, labels


def weather_heading(stack: StackSeason, show: Units) -> str:
    text = f"Rain of each day, {'inches' if show.rain.unit == 'in' else show.rain.unit}"
    if not stack.spells:
        return f"{text}; no hot, dry spell"
    longest = max(stack.spells, key=lambda spell: spell.days)
    many = plural(len(stack.spells), "hot, dry spell")
    days = plural(longest.days, "day")
    return f"{text}; hatched: {many}, the longest {days}, to {day(longest.last)}"


def draw_weather(plot: Plot, stack: StackSeason, show: Units) -> None:
    """Rain of each day as bars; hot, dry spells as hatched blocks above them."""
    days = ordinals(stack.daily.index)
    rain = show.rain.of(stack.daily["precip_mm"].to_numpy(dtype=np.float64))
    top = float(f"{max(float(rain.max(initial=0.0)), 1e-3):.1g}")
    plot.scale(0.0, top * 1.8)
    for at, depth in zip(days.tolist(), rain.tolist(), strict=True):
        if depth > 0.0:
            plot.block((at - 0.5, at + 0.5), (0.0, depth), fill=theme.RAIN)
    for spell in stack.spells:
        first = spell.first.toordinal() - 0.5
        plot.block(
            (first, first + spell.days),
            (top * 1.3, top * 1.75),
            fill=theme.SPELL,
            edge=theme.BLACK,
            hatch=theme.HATCH_SPELL,
        )
    plot.left_axis([0.0, top])


def _ahead(stack: StackSeason) -> str:
    """Tells whose outlook a panel shows; empty where it shows none."""
    is_shown = stack.outlook is not None and not stack.outlook.empty
    return "; outlook as it stands" if is_shown else ""


def heat_heading(stack: StackSeason, show: Units) -> str:
    unit = show.temperature.unit
    return f"Hottest hour of the day, {unit}: bark (thick), air (dashed){_ahead(stack)}"


def moisture_heading(stack: StackSeason) -> str:
    return f"Moisture at the driest spawn face, % of oven-dry mass{_ahead(stack)}"


def draw_heat(plot: Plot, stack: StackSeason, show: Units) -> None:
    """Daily highest air and bark temperature against the end of growth and the harm above it."""
    of, unit = show.temperature.of, show.temperature.unit
    air = of(stack.daily["air_temp_max_c"].to_numpy(dtype=np.float64))
    bark = of(stack.daily["bark_temp_max_c"].to_numpy(dtype=np.float64))
    ahead = fan(stack, "bark_temp_max_c")
    bands = () if ahead is None else tuple(of(part) for part in ahead[1:])
    seen = np.concatenate([air, bark, *bands])
    lowest, peak = float(seen.min(initial=np.inf)), float(seen.max(initial=-np.inf))
    stop, hours = of(stack.thresholds.growth_temp_max_c), stack.thresholds.heat_half_kill_h
    kill = of(stack.thresholds.heat_kill_temp_c)
    step = 10.0 if show.system == "us" else 5.0
    bottom = min(lowest, stop - 4 * step) - step / 2
    top = max(peak + step / 2, kill + 1.5 * step)
    plot.scale(bottom, top)
    plot.block(plot.across, (stop, kill), fill=theme.PALE)
    plot.block(plot.across, (kill, top), hatch=theme.HATCH_HEAT, hatch_colour=theme.GREY)
    plot.level(stop, dash=theme.DOTTED)
    plot.level(kill, width_pt=1.2, dash=theme.DASHED)
    _draw_fan(plot, ahead, bands, theme.BARK)
    days = ordinals(stack.daily.index)
    plot.line(days, bark, colour=theme.BARK, width_pt=1.6)
    plot.line(days, air, colour=theme.AIR, width_pt=0.9, dash=theme.SHORT_DASHED)
    plot.left_axis(round_steps(bottom, top))
    plot.sides(
        [
            ((kill + top) / 2, f"{kill:.0f} {unit}: {hours:.0f} h\nhere kill half\nthe mycelium"),
            ((stop + kill) / 2, f"no growth\nabove {stop:.0f} {unit}"),
        ]
    )


def draw_moisture(plot: Plot, stack: StackSeason) -> None:
    """Moisture of the driest spawn face with the bands in which the fungus runs, slows, stops."""
    wet = stack.daily["moisture_driest_face_pct"].to_numpy(dtype=np.float64)
    ahead = fan(stack, "moisture_driest_face_pct")
    bands = () if ahead is None else ahead[1:]
    peak = float(np.concatenate([wet, *bands]).max(initial=0.0))
    stop, slow = stack.thresholds.moisture_stop_pct, stack.thresholds.moisture_slow_pct
    top = max(peak * 1.05, slow * 1.6)
    plot.scale(0.0, top)
    plot.block(plot.across, (0.0, stop), hatch=theme.HATCH_DROUGHT, hatch_colour=theme.GREY)
    plot.block(plot.across, (stop, slow), fill=theme.PALE)
    plot.level(slow, dash=theme.DOTTED)
    plot.level(stop, width_pt=1.2, dash=theme.DASHED)
    dry, days = stack.thresholds.drought_kill_pct, stack.thresholds.drought_half_kill_d
    plot.level(dry, dash=theme.DOTTED)
    _draw_fan(plot, ahead, bands, theme.MOISTURE)
    plot.line(ordinals(stack.daily.index), wet, colour=theme.MOISTURE, width_pt=2.0)
    plot.left_axis(round_steps(0.0, top))
    plot.sides(
        [
            ((slow + top) / 2, f"safe:\nabove {slow:.0f} %"),
            ((stop + slow) / 2, "slow"),
            ((stop + dry) / 2, f"below {stop:.0f} %\nno growth"),
            (dry / 2, f"{dry:.0f} %: {days:.0f} d\nkill half"),
        ]
    )


def run_heading(stack: StackSeason) -> str:
    """The median date is that on which the median line passes the share that counts as across."""
    middle = stack.full_run[1]
    text = f"Run between spawn faces, % of the way done{_ahead(stack)}"
    if not _ahead(stack):
        return text
    across = f"across ({percent(stack.thresholds.complete_share)})"
    if middle is None:
        return f"{text}: half of the runs are not {across} by {full_day(stack.horizon)}"
    return f"{text}: half of the runs are {across} by {full_day(middle)}"


def draw_run(plot: Plot, stack: StackSeason) -> None:
    """Share of the way between spawn faces that the fungus has crossed."""
    share = 100.0 * stack.daily["colonized_fraction"].to_numpy(dtype=np.float64)
    plot.scale(0.0, 112.0)
    complete = 100.0 * stack.thresholds.complete_share
    plot.level(complete, dash=theme.DOTTED)
    ahead = fan(stack, "colonized_fraction")
    bands = () if ahead is None else tuple(100.0 * part for part in ahead[1:])
    _draw_fan(plot, ahead, bands, theme.RUN)
    plot.line(ordinals(stack.daily.index), share, colour=theme.RUN, width_pt=2.0)
    plot.left_axis([0, 50, 100])
    plot.sides([(complete, f"across:\n{complete:.0f} %")])


def _draw_fan(plot: Plot, ahead: Fan | None, bands: tuple[FloatArray, ...], colour: str) -> None:
    """The outlook's band and middle line, its values in the unit shown."""
    if ahead is not None:
        low, middle, high = bands
        plot.fan(ahead[0], low, high, colour)
        plot.line(ahead[0], middle, colour=colour, width_pt=1.3)


def plan_heading(stack: StackSeason) -> str:
    if any(is_enough(action) for action in stack.actions):
        return "Covers, and what to do: start any day in the framed bar, the sooner the better"
    return "Covers, and what helps" if stack.actions else "Covers and water"


def cover_spans(stack: StackSeason, show: Units) -> list[tuple[str, str, date, date]]:
    """Row name, words, first and last day of what covers and waters the stack."""
    covers = [
        (
            "cover",
            cover_words(cover),
            cover.on or stack.inoculated,
            min(cover.off or stack.horizon, stack.horizon),
        )
        for cover in stack.covers
    ]
    water = [
        ("water", watering_words(dose, show), dose.first, min(dose.last, stack.horizon))
        for dose in stack.waterings
    ]
    bare = [("cover", "none", stack.inoculated, stack.horizon)]
    dry = [("water", "none", stack.inoculated, stack.horizon)]
    return (covers or bare) + (water or dry)


def plan_rows(stack: StackSeason) -> int:
    """How many rows the plan has."""
    spans = max(len(stack.covers), 1) + max(len(stack.waterings), 1)
    return spans + min(len(stack.actions), SHOWN_ACTIONS)


def draw_plan(plot: Plot, stack: StackSeason, chars: int, show: Units) -> None:
    """Covers and watering as they are, and each action from its first to its latest day.

    What is not enough alone has no bar: there is no day until which it still serves.
    """
    spans, actions = cover_spans(stack, show), stack.actions[:SHOWN_ACTIONS]
    plot.scale(plan_rows(stack) - 0.45, -0.55)
    for place, (_, text, on, off) in enumerate(spans):
        start, end = on.toordinal(), off.toordinal()
        plot.block((start, end), (place - 0.35, place + 0.35), fill=theme.PALE)
        room = int(chars * (1.0 - _done(plot, start))) + RIGHT_CHARS
        plot.write(cut(text, room), start, place, shift_in=LABEL_IN, behind=theme.PALE)
    for place, action in enumerate(actions, start=len(spans)):
        _draw_action(plot, action, place, chars, show, is_first=place == len(spans))
    names = [name for name, *_ in spans]
    names += [
        "helps" if not is_enough(action) else "or" if rank else "do"
        for rank, action in enumerate(actions)
    ]
    for place, name in enumerate(names):
        plot.write(name, plot.across[0], place, shift_in=-LABEL_IN, anchor="end")


def _draw_action(
    plot: Plot, action: Action, place: int, chars: int, show: Units, *, is_first: bool
) -> None:
    start = end = action.start.toordinal()
    lead = "not enough alone"
    if action.latest is not None:
        lead, end = f"by {day(action.latest)}", max(start + 2, action.latest.toordinal())
        sides = (place - 0.35, place + 0.35)
        plot.block((start, end), sides, fill=theme.YELLOW, edge=theme.BLACK)
    done = _done(plot, (start + end) / 2)
    is_late = done > 0.5
    room = int(chars * (done if is_late else 1.0 - done)) + (0 if is_late else RIGHT_CHARS)
    plot.write(
        cut(f"{lead}: {act_words(action.act, show)}", room),
        start if is_late else end,
        place,
        shift_in=-LABEL_IN if is_late else LABEL_IN,
        anchor="end" if is_late else "start",
        is_bold=is_first,
    )


def _done(plot: Plot, at: float) -> float:
    """How far along the time axis a day lies, 0 to 1."""
    first, last = plot.across
    return (at - first) / (last - first)
