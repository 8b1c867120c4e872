"""Panels over a season's days: heat, moisture, spawn run, weather, and the calendar of acts.

Days are plotted as ordinals (``date.toordinal``).
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.report import theme
from climate_risk.report.column import side_notes
from climate_risk.report.display import cut, full_day
from climate_risk.report.theme import Layout
from climate_risk.report.ticks import put_ticks
from climate_risk.report.treatment import acts_words, cover_words, watering_words
from climate_risk.report.words import is_enough, serving_words
from climate_risk.risk.results import StackSeason
from climate_risk.units import Scale, Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FloatArray = npt.NDArray[np.float64]

SHOWN_ACTIONS = 3
HEAT_IN, MOISTURE_IN, RUN_IN, WEATHER_IN, PLAN_ROW_IN = 1.35, 1.45, 0.8, 0.62, 0.22
PERCENT = Scale("%", 1.0, 0)
SHARE = Scale("%", 100.0, 0)


def ordinals(index: pd.Index) -> FloatArray:
    """Days of a date index as plain numbers, shape (days,)."""
    since_1970 = index.to_numpy().astype("datetime64[D]").astype(np.float64)
    return since_1970 + date(1970, 1, 1).toordinal()


def draw_track(axes: Axes, stack: StackSeason, name: str, scale: Scale, colour: str) -> None:
    """One quantity: 8 of 10 simulations as a band, the best estimate as a line.

    The line is solid over the days seen and goes on, thinner, from the same state with the
    weather of past years; in dots, with the first act done.
    """
    quantiles = stack.tracks[0].quantiles
    days = ordinals(quantiles.index)
    low, high = (scale.of(quantiles[(name, q)].to_numpy(dtype=np.float64)) for q in (10, 90))
    axes.fill_between(days, low, high, color=colour, alpha=theme.BAND_OPACITY, linewidth=0)
    seen = scale.of(stack.daily[name].to_numpy(dtype=np.float64))
    axes.plot(ordinals(stack.daily.index), seen, color=colour, linewidth=1.8)
    for table, dashes in (
        (stack.reference_ahead, (6, 1.5)),
        (stack.reference_acted, theme.ACT_DOTS),
    ):
        if table is None:
            continue
        ahead = scale.of(table[name].to_numpy(dtype=np.float64))
        days = ordinals(table.index)
        if len(seen):
            days, ahead = np.append(days[0] - 1, days), np.append(seen[-1], ahead)
        axes.plot(days, ahead, color=colour, linewidth=1.1, linestyle=(0, dashes))


def spread(stack: StackSeason, name: str, scale: Scale) -> tuple[float, float]:
    """Least and greatest value that a panel must hold."""
    quantiles = stack.tracks[0].quantiles
    parts = [quantiles[(name, 10)], quantiles[(name, 90)], stack.daily[name]]
    if stack.reference_acted is not None:
        parts.append(stack.reference_acted[name])
    values = scale.of(np.concatenate([part.to_numpy(dtype=np.float64) for part in parts]))
    return float(values.min()), float(values.max())


def draw_heat(axes: Axes, stack: StackSeason, show: Units) -> None:
    """Daily highest air and bark temperature against the end of growth and the harm above it."""
    scale, at = show.temperature, stack.thresholds
    stop, kill = scale.of(at.growth_temp_max_c), scale.of(at.heat_kill_temp_c)
    step = 10.0 if show.system == "us" else 5.0
    low, high = spread(stack, "bark_temp_max_c", scale)
    bottom, top = min(low, stop - 4 * step) - step / 2, max(high + step / 2, kill + 1.5 * step)
    axes.set_ylim(bottom, top)
    axes.axhspan(stop, kill, facecolor=theme.PALE)
    _draw_dying(axes, kill, top)
    draw_track(axes, stack, "bark_temp_max_c", scale, theme.BARK)
    air = scale.of(stack.daily["air_temp_max_c"].to_numpy(dtype=np.float64))
    days = ordinals(stack.daily.index)
    axes.plot(days, air, color=theme.AIR, linewidth=0.9, linestyle=(0, (2.2, 1.4)))
    hours = at.heat_half_kill_h
    notes = [
        ((kill + top) / 2, f"dies, half in\n{hours:.0f} h at {kill:.0f} {scale.unit}"),
        ((stop + kill) / 2, f"no growth\nabove {stop:.0f} {scale.unit}"),
    ]
    side_notes(axes, notes, HEAT_IN)


def _draw_dying(axes: Axes, edge: float, end: float) -> None:
    """Where the mycelium dies: hatched, thin and behind all lines."""
    import matplotlib as mpl

    with mpl.rc_context({"hatch.color": theme.GREY, "hatch.linewidth": 0.35}):
        axes.axhspan(edge, end, facecolor="none", edgecolor=theme.GREY, hatch=theme.DYING_HATCH,
                     linewidth=0, zorder=0)  # fmt: skip
    axes.axhline(edge, color=theme.BLACK, linewidth=1.2, linestyle="--")


def draw_moisture(axes: Axes, stack: StackSeason) -> None:
    """Moisture of the driest spawn face with the bands in which the fungus slows, waits, dies."""
    at = stack.thresholds
    stop, slow, dying = at.moisture_stop_pct, at.moisture_slow_pct, at.drought_onset_pct
    _, high = spread(stack, "moisture_driest_face_pct", PERCENT)
    top = max(high * 1.05, slow * 1.5)
    axes.set_ylim(0.0, top)
    _draw_dying(axes, dying, 0.0)
    axes.axhspan(dying, stop, facecolor=theme.PALE)
    axes.axhline(slow, color=theme.GREY, linewidth=0.8, linestyle=":")
    draw_track(axes, stack, "moisture_driest_face_pct", PERCENT, theme.MOISTURE)
    days, dry = f"{at.drought_half_kill_d:.0f} d", f"{at.drought_kill_pct:.0f} %"
    notes = [
        ((slow + top) / 2, "safe"),
        ((stop + slow) / 2, f"slow < {slow:.0f} %"),
        ((stop + dying) / 2, f"no growth,\nalive < {stop:.0f} %"),
        (dying / 2, f"dies, half in\n{days} at {dry}"),
    ]
    side_notes(axes, notes, MOISTURE_IN)


def draw_run(axes: Axes, stack: StackSeason) -> None:
    """Share of the way between spawn faces that the fungus has run."""
    axes.set_ylim(0.0, 104.0)
    complete = 100.0 * stack.thresholds.complete_share
    axes.axhline(complete, color=theme.BLACK, linewidth=0.7)
    draw_track(axes, stack, "colonized_fraction", SHARE, theme.RUN)
    put_ticks(axes.yaxis, [0, 50, 100], ["0", "50", "100"])
    side_notes(axes, [(complete, f"fully run:\n{complete:.0f} %")], RUN_IN)


def draw_weather(axes: Axes, stack: StackSeason, show: Units) -> None:
    """Rain of each day over hot, dry spells, and below it the days that were filled."""
    days = ordinals(stack.daily.index)
    rain = show.rain.of(stack.daily["precip_mm"].to_numpy(dtype=np.float64))
    top = float(f"{max(float(rain.max(initial=0.0)), 1e-3):.1g}")
    axes.set_ylim(-0.3 * top, 1.6 * top)
    edges = np.append(days, days[-1] + 1) - 0.5
    axes.stairs(rain, edges, fill=True, color=theme.BLUE)
    for spell in stack.spells:
        span = (spell.first.toordinal() - 0.5, spell.days)
        axes.broken_barh([span], (0.0, 1.6 * top), facecolor=theme.SPELL,
                         edgecolor=theme.BLACK, linewidth=0.6)  # fmt: skip
    middles = [0.5 * (s.first.toordinal() + s.last.toordinal()) for s in stack.spells]
    axes.plot(middles, [1.6 * top] * len(middles), "v", color=theme.SPELL, markersize=8.0,
              markeredgecolor=theme.BLACK, markeredgewidth=0.6, clip_on=False,
              zorder=3)  # fmt: skip
    filled = days[(stack.daily["source"] != "observed").to_numpy()]
    axes.broken_barh([(at - 0.5, 1.0) for at in filled], (-0.28 * top, 0.22 * top),
                     facecolor=theme.BLACK)  # fmt: skip
    put_ticks(axes.yaxis, [0.0, top], ["0", f"{top:g}"])
    side_notes(axes, [(-0.17 * top, "filled days")] if len(filled) else [], WEATHER_IN)


def plan_spans(stack: StackSeason, show: Units) -> list[tuple[str, date, date]]:
    """Words, first and last day of what covers and waters the stack."""
    spans = [
        (cover_words(cover), cover.on or stack.inoculated, cover.off or stack.horizon)
        for cover in stack.covers
    ]
    spans += [(watering_words(dose, show), dose.first, dose.last) for dose in stack.waterings]
    return [
        (f"{text}, on until {full_day(min(off, stack.horizon))}", on, min(off, stack.horizon))
        for text, on, off in spans
    ]


def plan_height_in(stack: StackSeason, show: Units) -> float:
    """Height of the calendar's panel."""
    rows = max(len(plan_spans(stack, show)), 1) + len(stack.actions[:SHOWN_ACTIONS])
    return PLAN_ROW_IN * rows + 0.04


def draw_plan(axes: Axes, stack: StackSeason, layout: Layout, show: Units, limit: float) -> None:
    """What is on the stack, and each act from its first day to the last that still serves.

    What is not enough alone has no bar: there is no day until which it still serves.
    """
    spans, actions = plan_spans(stack, show), stack.actions[:SHOWN_ACTIONS]
    rows = max(len(spans), 1) + len(actions)
    axes.set_ylim(rows - 0.45, -0.55)
    put_ticks(axes.yaxis, [])
    axes.spines["left"].set_visible(False)
    first, last = stack.inoculated.toordinal(), stack.horizon.toordinal()
    for place, (text, on, off) in enumerate(spans):
        span = (on.toordinal(), (off - on).days)
        axes.broken_barh([span], (place - 0.36, 0.72), facecolor=theme.PALE,
                         edgecolor=theme.GREY, linewidth=0.6)  # fmt: skip
        _write(axes, layout, (first, last), on.toordinal(), place, text, ground=theme.PALE)
    if not spans:
        _write(axes, layout, (first, last), first, 0, "bare, not watered")
    for rank, action in enumerate(actions):
        place = max(len(spans), 1) + rank
        start = end = action.start.toordinal()
        lead = "helps, not enough alone"
        if is_enough(action) and action.latest is not None:
            lead = serving_words(action, limit) or "enough if done at once"
            end = max(start + 2, action.latest.toordinal())
            axes.broken_barh([(start, end - start)], (place - 0.36, 0.72), facecolor=theme.ACT,
                             edgecolor=theme.BLACK, linewidth=1.0)  # fmt: skip
        lead, is_first = f"{rank + 1}. {lead}", rank == 0
        said = f"{lead}: {acts_words(action.acts, show)}"
        _write(axes, layout, (first, last), end, place, said, lead, is_bold=is_first)


def _write(
    axes: Axes,
    layout: Layout,
    season: tuple[int, int],
    at: float,
    place: int,
    text: str,
    short: str = "",
    *,
    is_bold: bool = False,
    ground: str = "",
) -> None:
    """Words of a row, right of a day where there is room, else left of it; or short ones."""
    share = (at - season[0]) / (season[1] - season[0])
    is_late = share > 0.55
    plot_in = layout.width_in - layout.left_in - layout.right_in
    room_in = share * plot_in + layout.left_in
    if not is_late:
        room_in = (1.0 - share) * plot_in + layout.right_in
    room = layout.chars(room_in, bold=is_bold)
    axes.annotate(
        cut(short if short and len(text) > room else text, room),
        (at, place),
        (-4.0 if is_late else 4.0, 0.0),
        textcoords="offset points",
        ha="right" if is_late else "left",
        va="center",
        fontweight="bold" if is_bold else "normal",
        bbox={"facecolor": ground, "edgecolor": "none", "pad": 0.6} if ground else None,
        annotation_clip=False,
    )
