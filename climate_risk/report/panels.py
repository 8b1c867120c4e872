"""The timed panels of the season chart; each draws on the axes it is given.

Days are plotted as ordinals (``date.toordinal``), so that no date converter is needed.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from climate_risk.report import theme
from climate_risk.report.display import MONTHS, FloatArray, cut, day, plural
from climate_risk.report.gauge import SHOWN_ACTIONS
from climate_risk.risk.results import Action, StackSeason
from climate_risk.tables import find, fungi
from climate_risk.units import Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes

RIGHT_CHARS = 12
"""Letters that find room in the right margin."""
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


def month_ticks(axes: Axes, first: date, last: date, *, every: int) -> None:
    """Ticks on the first of the month; the year stands under January and the first label."""
    ticks: list[int] = []
    labels: list[str] = []
    month = date(first.year, first.month, 1)
    while month <= last:
        if month >= first and (month.month - 1) % every == 0:
            ticks.append(month.toordinal())
            name = MONTHS[month.month - 1]
            labels.append(f"{name}\n{month.year}" if not labels or month.month == 1 else name)
        month = (month + timedelta(days=32)).replace(day=1)
    axes.set_xticks(ticks, labels)
    axes.tick_params(axis="x", length=3)


def side(axes: Axes, level: float, text: str) -> None:
    """A label in the right margin at a height of the data, where no line can run."""
    axes.annotate(
        text,
        (1.0, level),
        xycoords=("axes fraction", "data"),
        xytext=(5, 0),
        textcoords="offset points",
        va="center",
        annotation_clip=False,
    )


def weather_heading(stack: StackSeason, show: Units) -> str:
    if "precip_mm" in stack.daily:
        text = f"Rain, {show.rain.unit} a day"
    else:
        text = f"Water taken up, {show.mass.unit} a day"
    if not stack.spells:
        return f"{text}; no hot, dry spell"
    longest = max(stack.spells, key=lambda spell: spell.days)
    many = plural(len(stack.spells), "hot, dry spell")
    days = plural(longest.days, "day")
    return f"{text}; hatched: {many}, the longest {days}, to {day(longest.last)}"


def draw_weather(axes: Axes, stack: StackSeason, show: Units) -> None:
    """Rain of each day as bars; hot, dry spells as hatched blocks above them."""
    days = ordinals(stack.daily.index)
    if "precip_mm" in stack.daily:
        bars = show.rain.of(stack.daily["precip_mm"].to_numpy(dtype=np.float64))
    else:
        bars = show.mass.of(stack.daily["water_in_kg"].to_numpy(dtype=np.float64))
    top = float(f"{max(float(bars.max(initial=0.0)), 1e-3):.1g}")
    wet = bars > 0.0
    axes.bar(days[wet], bars[wet], width=1.0, color=theme.RAIN)
    axes.set_ylim(0.0, top * 1.8)
    axes.set_yticks([0.0, top], ["0", f"{top:g}"])
    for spell in stack.spells:
        axes.bar(
            spell.first.toordinal() - 0.5,
            top * 0.45,
            width=float(spell.days),
            bottom=top * 1.3,
            align="edge",
            facecolor=theme.SPELL,
            edgecolor=theme.BLACK,
            hatch=theme.HATCH_SPELL,
            linewidth=0.6,
        )


def heat_heading(show: Units) -> str:
    return f"Hottest hour of the day, {show.temperature.unit}: bark (thick), air (dashed)"


def heat_kill(stack: StackSeason) -> tuple[float, float]:
    """Temperature [degC] and hours after which half of this fungus is expected dead."""
    fungus = find(stack.fungus, fungi(), "fungus")
    return fungus.heat_ref_temp_c.value, fungus.heat_half_kill_h.value


def draw_heat(axes: Axes, stack: StackSeason, show: Units) -> None:
    """Daily highest air and bark temperature against the end of growth and the harm above it."""
    days = ordinals(stack.daily.index)
    air = show.temperature.of(stack.daily["air_temp_max_c"].to_numpy(dtype=np.float64))
    bark = show.temperature.of(stack.daily["bark_temp_max_c"].to_numpy(dtype=np.float64))
    axes.plot(days, bark, color=theme.BARK, linewidth=1.6)
    axes.plot(days, air, color=theme.AIR, linewidth=0.9, linestyle=(0, (2, 1.2)))
    both = np.concatenate([air, bark])
    lowest, peak = float(both.min(initial=np.inf)), float(both.max(initial=-np.inf))
    ahead = fan(stack, "bark_temp_max_c")
    if ahead is not None:
        low, middle, high = (show.temperature.of(part) for part in ahead[1:])
        axes.fill_between(ahead[0], low, high, color=theme.BARK, alpha=theme.FAN_ALPHA, lw=0)
        axes.plot(ahead[0], middle, color=theme.BARK, linewidth=1.2)
        lowest, peak = min(lowest, float(low.min())), max(peak, float(high.max()))
    stop = show.temperature.of(stack.growth_temp_max_c)
    kill = show.temperature.of(heat_kill(stack)[0])
    step = 10.0 if show.system == "us" else 5.0
    top = max(peak + step / 2, kill + 1.5 * step)
    axes.set_ylim(min(lowest, stop - 4 * step) - step / 2, top)
    axes.axhspan(stop, kill, facecolor=theme.PALE, lw=0, zorder=0)
    axes.axhspan(
        kill, top, facecolor="none", edgecolor=theme.GREY, hatch=theme.HATCH_HEAT, lw=0, zorder=0
    )
    axes.axhline(stop, color=theme.LIMIT, linewidth=0.8, linestyle=":")
    axes.axhline(kill, color=theme.LIMIT, linewidth=1.2, linestyle="--")
    unit, hours = show.temperature.unit, heat_kill(stack)[1]
    side(axes, kill + 0.5 * step, f"{kill:.0f} {unit}: {hours:.0f} h\nkill half")
    side(axes, stop - 0.3 * step, f"no growth\nabove {stop:.0f} {unit}")


def draw_moisture(axes: Axes, stack: StackSeason) -> None:
    """Moisture of the driest spawn face with the bands in which the fungus runs, slows, stops."""
    days = ordinals(stack.daily.index)
    wet = stack.daily["moisture_driest_face_pct"].to_numpy(dtype=np.float64)
    axes.plot(days, wet, color=theme.MOISTURE, linewidth=2.0)
    peak = float(wet.max(initial=0.0))
    ahead = fan(stack, "moisture_driest_face_pct")
    if ahead is not None:
        x, low, middle, high = ahead
        axes.fill_between(x, low, high, color=theme.MOISTURE, alpha=theme.FAN_ALPHA, lw=0)
        axes.plot(x, middle, color=theme.MOISTURE, linewidth=1.4)
        peak = max(peak, float(high.max()))
    stop, slow = stack.moisture_stop_pct, stack.moisture_slow_pct
    top = max(peak * 1.05, slow * 1.6)
    axes.set_ylim(0.0, top)
    axes.axhspan(
        0.0,
        stop,
        facecolor="none",
        edgecolor=theme.GREY,
        hatch=theme.HATCH_DROUGHT,
        lw=0,
        zorder=0,
    )
    axes.axhspan(stop, slow, facecolor=theme.PALE, lw=0, zorder=0)
    axes.axhline(slow, color=theme.LIMIT, linewidth=0.8, linestyle=":")
    axes.axhline(stop, color=theme.LIMIT, linewidth=1.2, linestyle="--")
    side(axes, (slow + top) / 2, f"safe:\nabove {slow:.0f} %")
    side(axes, (stop + slow) / 2, "slow")
    side(axes, stop / 2, f"below {stop:.0f} %\nno growth,\nin time dies")


def run_heading(stack: StackSeason) -> str:
    early, middle, late = stack.full_run
    text = "Run between spawn faces, % of the way done"
    if middle is None:
        return text
    if early is None or late is None:
        return f"{text}; across about {day(middle)}"
    return f"{text}; across about {day(middle)} ({day(early)} to {day(late)})"


def draw_run(axes: Axes, stack: StackSeason) -> None:
    """Share of the way between spawn faces that the fungus has crossed."""
    days = ordinals(stack.daily.index)
    share = 100.0 * stack.daily["colonized_fraction"].to_numpy(dtype=np.float64)
    axes.plot(days, share, color=theme.RUN, linewidth=2.0)
    ahead = fan(stack, "colonized_fraction")
    if ahead is not None:
        low, middle, high = (100.0 * part for part in ahead[1:])
        axes.fill_between(ahead[0], low, high, color=theme.RUN, alpha=theme.FAN_ALPHA, lw=0)
        axes.plot(ahead[0], middle, color=theme.RUN, linewidth=1.4)
    axes.set_ylim(0.0, 112.0)
    axes.set_yticks([0, 50, 100])
    axes.axhline(100.0, color=theme.LIMIT, linewidth=0.8, linestyle=":")
    side(axes, 100.0, "across")


def cover_spans(stack: StackSeason) -> list[tuple[str, str, date, date]]:
    """Row name, words, first and last day of what covers and waters the stack."""
    covers = [("cover", label, on, min(off, stack.horizon)) for label, on, off in stack.cover_spans]
    bare = [("cover", "none", stack.inoculated, stack.horizon)]
    water = [("water", stack.watering, stack.inoculated, stack.horizon)]
    return (covers or bare) + water


def draw_plan(axes: Axes, stack: StackSeason, chars: int) -> None:
    """Covers and watering as they are, and each action from its first to its latest day."""
    first, last = stack.inoculated.toordinal(), stack.horizon.toordinal()
    spans = cover_spans(stack)
    for place, (_, text, on, off) in enumerate(spans):
        start, width = on.toordinal(), off.toordinal() - on.toordinal()
        axes.barh(place, width, left=start, height=0.7, color=theme.PALE)
        axes.text(
            start + 2,
            place,
            cut(text, chars),
            va="center",
            zorder=4,
            bbox={"facecolor": theme.PALE, "edgecolor": "none", "pad": 1.0},
        )
    actions = stack.actions[:SHOWN_ACTIONS]
    for place, action in enumerate(actions, start=len(spans)):
        _draw_action(axes, action, place, (first, last), chars, is_first=place == len(spans))
    names = [name for name, *_ in spans] + ["do"] * len(actions)
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.45, -0.55)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)


def _draw_action(
    axes: Axes, action: Action, place: int, span: tuple[int, int], chars: int, *, is_first: bool
) -> None:
    start = action.start.toordinal()
    end = max(start + 2, start if action.latest is None else action.latest.toordinal())
    axes.barh(
        place,
        end - start,
        left=start,
        height=0.7,
        facecolor=theme.YELLOW,
        edgecolor=theme.BLACK,
        linewidth=0.9,
    )
    by = f"from {day(action.start)}" if action.latest is None else f"by {day(action.latest)}"
    done = ((start + end) / 2 - span[0]) / (span[1] - span[0])
    is_late = done > 0.5
    room = int(chars * (done if is_late else 1.0 - done)) + (0 if is_late else RIGHT_CHARS)
    axes.annotate(
        cut(f"{by}: {action.what}", room),
        (start if is_late else end, place),
        xytext=(-4 if is_late else 4, 0),
        textcoords="offset points",
        ha="right" if is_late else "left",
        va="center",
        fontweight="bold" if is_first else "normal",
    )
