"""The season of one kind of stack in one figure, read in ten seconds; and under each canopy."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from climate_risk.report import over_time as panels
from climate_risk.report import theme
from climate_risk.report.column import (
    MONTHS_IN,
    TICKS_IN,
    Panel,
    compose,
    month_axis,
    side_notes,
)
from climate_risk.report.condition import (
    Killer,
    acted_sentence,
    driest_face,
    harm_words,
    spell_words,
)
from climate_risk.report.display import day, full_day, odds, percent, plural
from climate_risk.report.risk_bars import RiskBar, bars_height_in, cause_key, draw_bars
from climate_risk.report.ticks import put_ticks
from climate_risk.report.treatment import acts_words
from climate_risk.report.words import (
    OTHER_DRAWS,
    begin_words,
    capital,
    card,
    cause,
    cause_split,
    error_words,
    is_enough,
    place_words,
    share_words,
    verdict,
)
from climate_risk.risk.results import Chance, OutcomeShares, SeasonResult, StackSeason
from climate_risk.units import Scale, Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DAYS_PER_MONTH = 30.44
RUN_HEADING = "Spawn run: how far the mycelium has grown between layers of spawn"
YEARS_IN, CANOPY_IN = 0.42, 1.3
MOISTURE_NOTE = (
    "Moisture is water as % of dry wood: at 30 %, water is 23 % of the log's weight. Only the "
    "driest face is drawn: wetter ones may grow on."
)
BAND_NOTE = (
    "Thick line: best estimate with the weather seen. Thin dashes: the same stack, nothing done, "
    "carried on through the weather of past years (middle of them), not a forecast. Band: 8 "
    "times in 10."
)


def season_figure(
    result: SeasonResult,
    stack: int = 0,
    *,
    units: str | None = None,
    narrow: bool = False,
    heading: bool = True,
) -> Figure:
    """One stack's season: chance, heat, moisture, spawn run, weather and calendar.

    Parameters
    ----------
    result : SeasonResult
        What ``season`` found.
    stack : int
        Place of the stack in ``result.stacks``.
    units : str, optional
        ``us`` or ``metric``, in place of what the yard says.
    narrow : bool
        For a phone, 355 px wide, instead of for a desk or paper.
    heading : bool
        With danger, act and date on top, and notes below.

    Returns
    -------
    matplotlib.figure.Figure
        Of the object interface; change it as you like, and save it as PNG, SVG or PDF.
    """
    layout = theme.PHONE if narrow else theme.DESK
    chosen, show = result.stacks[stack], Units(units or result.units)
    limit = result.tolerated_chance
    title, notes = [], []
    if heading:
        said = card(chosen, limit, show)
        title = [f"{chosen.name}: {said.danger[:1].lower()}{said.danger[1:]}",
                 f"{said.act} {said.date}", subject(result, chosen)]  # fmt: skip
        notes = [*_notes(result, chosen), *_others(result, stack, show)]
    with theme.styled(layout):
        made = _panels(result, chosen, layout, show)
        figure, axes = compose(layout, title, made, notes)
        timed = [one for one, panel in zip(axes, made, strict=True) if panel.timed]
        _share_time(timed, result, chosen, layout)
    return figure


def canopies_figure(
    result: SeasonResult, stack: int = 0, *, units: str | None = None, narrow: bool = False
) -> Figure:
    """The same stack and covers under each canopy on shared axes: middle of all simulations."""
    layout = theme.PHONE if narrow else theme.DESK
    chosen, show = result.stacks[stack], Units(units or result.units)
    at, scale = chosen.thresholds, show.temperature
    kinds = (
        (f"Hottest bark of the day, {scale.unit}", "bark_temp_max_c", scale,
         (scale.of(at.heat_kill_temp_c), "kills in\nhours")),
        ("Moisture at the driest face, % of dry wood", "moisture_driest_face_pct",
         panels.PERCENT, (at.moisture_stop_pct, "no growth\nbelow")),
        (f"{RUN_HEADING}, % of the way", "colonized_fraction", panels.SHARE,
         (100.0 * at.complete_share, "fully run")),
    )  # fmt: skip

    made = [
        Panel(
            heading=text,
            height_in=CANOPY_IN,
            below_in=MONTHS_IN if place == len(kinds) - 1 else 0.08,
            draw=partial(_draw_canopies, stack=chosen, name=name, scale=unit, mark=mark),
        )
        for place, (text, name, unit, mark) in enumerate(kinds)
    ]
    with theme.styled(layout):
        names = "; ".join(
            f"{place_words(t.canopy)}{' (as it stands)' if t.canopy == chosen.canopy else ''}"
            for t in chosen.tracks
        )
        figure, axes = compose(layout, ["", "", f"Middle of all simulations {names}."], made)
        axes[-1].legend(frameon=False, loc="lower right", borderpad=0.1, handlelength=3.0)
        _share_time(axes, result, chosen, layout)
    return figure


def _draw_canopies(
    axes: Axes, stack: StackSeason, name: str, scale: Scale, mark: tuple[float, str]
) -> None:
    for track, (colour, dashes) in zip(stack.tracks, theme.CANOPY_LINES, strict=False):
        values = scale.of(track.quantiles[(name, 50)].to_numpy(dtype=float))
        days = panels.ordinals(track.quantiles.index)
        axes.plot(days, values, color=colour, linestyle=dashes, linewidth=1.5,
                  label=place_words(track.canopy))  # fmt: skip
    axes.axhline(mark[0], color=theme.GREY, linewidth=1.0, linestyle=":")
    axes.margins(y=0.12)
    if name == "colonized_fraction":
        axes.set_ylim(0.0, 104.0)
    side_notes(axes, [mark], CANOPY_IN)


def _panels(
    result: SeasonResult, stack: StackSeason, layout: theme.Layout, show: Units
) -> list[Panel]:
    """The panels from top to bottom, danger first."""
    unit = show.temperature.unit
    made = _danger_panel(result, stack, layout, show)
    made += [
        Panel(
            heading=f"Hottest hour of the day, {unit}: bark (orange), air (dashed black)"
            f"{_dying_words(stack, 'heat')}",
            height_in=panels.HEAT_IN,
            draw=partial(panels.draw_heat, stack=stack, show=show),
        ),
        Panel(
            heading=f"Moisture at the driest face{_face_words(stack)}, % of dry wood"
            f"{_dying_words(stack, 'drought')}",
            height_in=panels.MOISTURE_IN,
            draw=partial(panels.draw_moisture, stack=stack),
        ),
        Panel(
            heading=f"{RUN_HEADING}, % of the way{_run_words(stack)}",
            height_in=panels.RUN_IN,
            draw=partial(panels.draw_run, stack=stack),
        ),
    ]
    if not stack.daily.empty:
        rain = "inches" if show.rain.unit == "in" else show.rain.unit
        made.append(
            Panel(
                heading=f"Rain of the day (blue), {rain}{_spell_heading(result, stack, show)}",
                height_in=panels.WEATHER_IN,
                draw=partial(panels.draw_weather, stack=stack, show=show),
            )
        )
    made.append(
        Panel(
            heading=plan_heading(stack),
            height_in=panels.plan_height_in(stack, show),
            draw=partial(
                panels.draw_plan,
                stack=stack,
                layout=layout,
                show=show,
                limit=result.tolerated_chance,
            ),
            below_in=MONTHS_IN,
        )
    )
    return made


def _face_words(stack: StackSeason) -> str:
    return "" if stack.daily.empty else f" (today {driest_face(stack)})"


def _dying_words(stack: StackSeason, killer: Killer) -> str:
    """How much of the mycelium the cause has killed, and may yet; and how its zone is drawn."""
    told = harm_words(stack, killer)
    return f"; hatched: the mycelium dies{f' ({told})' if told else ''}"


def _run_words(stack: StackSeason) -> str:
    middle = stack.full_run[1]
    if stack.outlook is None:
        return ""
    if middle is None:
        return f"; at least half are not fully run by {full_day(stack.horizon)}"
    return f"; half are fully run by {full_day(middle)}"


def _spell_heading(result: SeasonResult, stack: StackSeason, show: Units) -> str:
    if not stack.spells:
        return "; no hot, dry spell"
    longest = max(stack.spells, key=lambda spell: spell.days)
    many = "" if len(stack.spells) == 1 else f"{len(stack.spells)} spells, the longest "
    days = f"{many}{plural(longest.days, 'day')} to {day(longest.last)}"
    return f"; hot, dry spell (orange): {days} ({spell_words(result.spell_limits, show)})"


def plan_heading(stack: StackSeason) -> str:
    """What the calendar shows."""
    enough = [action for action in stack.actions if is_enough(action)]
    if enough:
        best = ", the first best" if all(action.is_best_at_once for action in enough) else ""
        return (
            "Calendar: what is on (grey), and what to do: any day in the yellow bar serves" + best
        )
    return "Calendar: what is on, and what helps" if stack.actions else "Calendar: what is on"


def _danger_panel(
    result: SeasonResult, stack: StackSeason, layout: theme.Layout, show: Units
) -> list[Panel]:
    limit = result.tolerated_chance
    if stack.result.chance is not None:
        bars = risk_bars(stack, limit, show)
        chars = layout.chars(layout.width_in - 0.4)
        alive = percent(stack.thresholds.lost_alive_share)
        heading = (
            f"Chance of losing a stack (under {alive} of its mycelium alive), %; line: 8 times in "
            f"10; dashed: your limit, {percent(limit)}"
        )
        keys = cause_key([stack.result.shares])
        heading = "; ".join([heading, *keys] if len(keys) > 1 else [heading])
        height = bars_height_in(bars, chars)
        draw = partial(draw_bars, bars=bars, chars=chars, limit=limit)
        return [
            Panel(heading=heading, height_in=height, draw=draw, below_in=TICKS_IN, timed=False)
        ]
    if stack.result.years:
        heading = "Past years, one square each; filled: most stacks would be lost"
        draw = partial(draw_years, stack=stack)
        return [Panel(heading=heading, height_in=YEARS_IN, draw=draw, below_in=TICKS_IN,
                      timed=False)]  # fmt: skip
    return []


def risk_bars(stack: StackSeason, limit: float, show: Units) -> list[RiskBar]:
    """The stack as it stands, then each act begun at once."""
    now = stack.result.chance
    if now is None:
        return []
    words = f"As it stands: {_chance(now, limit)}{_split(stack.result.shares)}"
    bars = [RiskBar(words=words, chance=now, shares=stack.result.shares)]
    for rank, action in enumerate(stack.actions[: panels.SHOWN_ACTIONS], start=1):
        if action.chance is None:
            continue
        weak = "" if is_enough(action) else ", not enough alone"
        what = capital(acts_words(action.acts, show))
        share = _chance(action.chance, limit)
        said = f"{rank}. {what}, {begin_words(stack, action)}: {share}{weak}"
        bars.append(RiskBar(words=said, chance=action.chance, shares=None))
    return bars


def _split(shares: OutcomeShares) -> str:
    """Causes, with their shares where there are two."""
    both = shares.killed_by_heat > 0.0 and shares.killed_by_drought > 0.0
    lone = f", by {cause(shares)}" if shares.lost > 0.0 else ""
    return f" ({cause_split(shares)})" if both else lone


def _chance(chance: Chance, limit: float) -> str:
    if chance.mean <= 0.0:
        return f"none seen, up to {percent(chance.high)} not ruled out"
    return f"{odds(chance.mean, limit)}, {share_words(chance, limit)}"


def draw_years(axes: Axes, stack: StackSeason) -> None:
    """A square for every past year, dark where most stacks would be lost."""
    years = stack.result.years
    for place, year in enumerate(years):
        fill = theme.BLACK if year.shares.lost >= 0.5 else theme.WHITE
        axes.broken_barh([(place + 0.1, 0.8)], (0.05, 0.9), facecolor=fill, edgecolor=theme.BLACK)
    axes.set_xlim(0.0, max(len(years), 10))
    axes.set_ylim(0.0, 1.0)
    put_ticks(axes.yaxis, [])
    names = [f"'{year.year % 100:02d}" for year in years]
    put_ticks(axes.xaxis, [place + 0.5 for place in range(len(years))], names)
    for side in axes.spines.values():
        side.set_visible(False)


def subject(result: SeasonResult, stack: StackSeason) -> str:
    """Whose stacks these are and where they stand."""
    farm = f"{result.yard_name}, an invented farm" if result.invented else result.yard_name
    stacks = f"{plural(stack.count, 'stack')}, {stack.fungus} on {stack.wood}"
    return f"{farm}: {stacks}, {place_words(stack.canopy)}; seen up to {full_day(result.as_of)}."


def _notes(result: SeasonResult, stack: StackSeason) -> list[str]:
    chance = stack.result.chance
    basis = ""
    if chance is not None:
        other = f"; {OTHER_DRAWS}" if error_words(chance) else ""
        basis = f"Chances are from {plural(chance.years, 'past year')}{other}."
    return [
        BAND_NOTE if stack.outlook is not None else "",
        acted_sentence(stack),
        basis,
        MOISTURE_NOTE,
    ]


def _others(result: SeasonResult, stack: int, show: Units) -> list[str]:
    return [
        f"Also {verdict(other, result.tolerated_chance, show)}"
        for place, other in enumerate(result.stacks)
        if place != stack
    ]


def _share_time(
    timed: list[Axes], result: SeasonResult, stack: StackSeason, layout: theme.Layout
) -> None:
    """One time axis for all panels, with today's line and its name on top."""
    first, last = stack.inoculated, stack.horizon
    months = (last - first).days / DAYS_PER_MONTH
    every = next(n for n in (1, 2, 3, 4, 6, 12) if months / n <= (5 if layout.narrow else 14))
    for axes in timed:
        month_axis(axes, first, last, every=every, labelled=axes is timed[-1])
    if not first <= result.as_of < last:
        return
    today = result.as_of.toordinal()
    for axes in timed:
        axes.axvline(today, color=theme.BLACK, linewidth=1.0)
    early = today < (first.toordinal() + last.toordinal()) / 2
    timed[0].annotate(
        f"today, {day(result.as_of)}",
        (today, 1.0),
        (4 if early else -4, -2),
        xycoords=("data", "axes fraction"),
        textcoords="offset points",
        ha="left" if early else "right",
        va="top",
        bbox={"facecolor": theme.WHITE, "edgecolor": "none", "pad": 1.0},
    )
