"""Options side by side, best first: chance of loss, how dry the driest face gets, cost and run."""

from __future__ import annotations

import math

from climate_risk.report import theme
from climate_risk.report.choice import (
    best_option_sentence,
    cheapest_sentence,
    option_words,
    ties_sentence,
)
from climate_risk.report.display import cut, folded, percent, plural
from climate_risk.report.gauge import (
    BAR,
    CAUSES,
    LABEL_FOOT,
    LIMIT_FOOT,
    SURE,
    chance_end,
    draw_chance,
)
from climate_risk.report.plot import Plot, round_steps
from climate_risk.report.sheet import EDGE_IN, LINE_IN, Box, Sheet, Width
from climate_risk.report.words import years_lost
from climate_risk.risk.results import CompareResult, OptionResult, StackCompare
from climate_risk.units import Units

ROW_IN = 0.42
BELOW_IN = 0.35
CHANCE_IN, COST_IN, RUN_IN, GAP_IN = 0.75, 0.75, 0.55, 0.2
"""Widths of the columns of numbers, and of the gap before the moisture."""
CHANCE_SHARE = 0.53
"""Of the room left for the two plots."""


def draw_compare(result: CompareResult, stack_index: int = 0, *, narrow: bool = False) -> Sheet:
    """Draw all options of one kind of stack in the order of their rank.

    Parameters
    ----------
    result : CompareResult
        What ``compare`` found.
    stack_index : int
        Place of the stack in ``result.stacks``.
    narrow : bool
        Draw for a phone instead of a page.
    """
    stack, width = result.stacks[stack_index], Width(narrow=narrow)
    show = Units(result.units)
    advice = (result.tolerated_chance, result.currency, show)
    verdict = (best_option_sentence(stack, *advice), cheapest_sentence(stack, *advice))
    title = width.title(*verdict)
    text = folded(f"{ties_sentence(stack)} {basis_line(result, stack)}".strip(), width.chars)
    key = folded(key_line(stack, result.tolerated_chance), width.chars)
    at = EDGE_IN + width.title_in(title)
    head = at + (len(text) + len(key) + 3.6) * LINE_IN
    rows_in = ROW_IN * len(stack.options)
    sheet = Sheet(width.inches, head + rows_in + BELOW_IN, " ".join(verdict).strip())
    sheet.write(title, EDGE_IN, EDGE_IN, size_pt=width.title_pt, is_bold=True)
    sheet.write(text, EDGE_IN, at, colour=theme.GREY)
    sheet.write(key, EDGE_IN, at + (len(text) + 0.5) * LINE_IN)
    plots_in = width.inches - 3 * EDGE_IN - CHANCE_IN - COST_IN - RUN_IN - GAP_IN
    left, chance_in = 2 * EDGE_IN, CHANCE_SHARE * plots_in
    highest = max((o.chance.high for o in stack.options if o.chance is not None), default=1.0)
    chance = Plot(sheet, Box(left, head, chance_in, rows_in), (0.0, chance_end(highest)))
    left += chance_in + CHANCE_IN + GAP_IN
    moisture = Plot(
        sheet, Box(left, head, plots_in - chance_in, rows_in), (0.0, moisture_end(stack))
    )
    for plot in (chance, moisture):
        plot.scale(len(stack.options), 0.0)
    _draw_rows(chance, moisture, stack, result.tolerated_chance, width.chars, show)
    _write_heads(chance, moisture, stack, result.currency)
    few = 2 if narrow else 5
    moisture.bottom_axis(*_ticks(moisture.across[1], few))
    if any(option.chance is not None for option in stack.options):
        chance.bottom_axis(*_ticks(chance.across[1], few))
    return sheet


def basis_line(result: CompareResult, stack: StackCompare) -> str:
    """What the bars rest on."""
    runs = f"{plural(result.years, 'year')} x {plural(result.draws, 'draw')}"
    text = (
        f"{stack.fungus.capitalize()} on {stack.wood}, {stack.horizon_months} months, weather of "
        f"{result.first_year} to {result.last_year} ({runs})."
    )
    return f"{text} {result.yard_name} is an invented farm." if result.invented else text


def key_line(stack: StackCompare, tolerated_chance: float) -> str:
    """How to read the two plots."""
    right = (
        "Right: lowest moisture of the driest spawn face in the whole time, % of oven-dry mass; "
        "dot: middle run, line: 8 of 10 runs, grey up to the dashes: too dry to grow, below "
        f"{stack.thresholds.moisture_stop_pct:.0f} %."
    )
    limit = f"dashed: your limit, {percent(tolerated_chance)}."
    if all(option.chance is None for option in stack.options):
        return f"Left: what happened; under 10 past years no chance is given. {right}"
    if all(option.shares.lost <= 0.0 for option in stack.options):
        return f"Left: chance of loss, %; thin line: {SURE}; {limit} {right}"
    return f"Left: chance of loss, %, by {CAUSES}; thin line: {SURE}; {limit} {right}"


def moisture_end(stack: StackCompare) -> float:
    """Right end of the moisture's axis [%]."""
    wettest = max(option.moisture_driest_face_pct[2] for option in stack.options)
    return 10.0 * math.ceil(max(wettest, 1.5 * stack.thresholds.moisture_stop_pct) / 10.0)


def _ticks(end: float, most: int) -> tuple[list[float], list[str]]:
    ticks = round_steps(0.0, end, most)
    return ticks, [f"{tick:g}" for tick in ticks]


def _draw_rows(
    chance: Plot,
    moisture: Plot,
    stack: StackCompare,
    tolerated_chance: float,
    chars: int,
    show: Units,
) -> None:
    for rank, option in enumerate(stack.options, start=1):
        place = rank - 0.5
        middle = place + sum(BAR) / 2
        label = cut(f"{rank}. {option_words(option, show)}", chars)
        chance.write(label, 0.0, place + LABEL_FOOT, upright="foot", is_bold=rank == 1)
        if option.chance is None:
            lost = f"most lost in {years_lost(option)} of {len(option.years)} years"
            chance.write(lost, 0.0, middle, colour=theme.GREY)
        else:
            draw_chance(chance, place, option.chance, option.shares, tolerated_chance)
        low, dry, high = option.moisture_driest_face_pct
        stop = stack.thresholds.moisture_stop_pct
        moisture.block((0.0, stop), (place + BAR[0], place + BAR[1]), fill=theme.PALE)
        moisture.line(
            [stop] * 2, [place + BAR[0], place + LIMIT_FOOT], width_pt=1.4, dash=theme.SHORT_DASHED
        )
        moisture.line([low, high], [middle] * 2, colour=theme.MOISTURE, width_pt=1.8)
        moisture.dot(dry, middle, colour=theme.MOISTURE)
        for right, text in zip(_columns(chance, moisture), _cells(option), strict=True):
            y = float(chance.y(middle))
            chance.sheet.write([text], right, y, upright="middle", anchor="end")


def _write_heads(chance: Plot, moisture: Plot, stack: StackCompare, currency: str) -> None:
    with_loss = all(option.cost.total is not None for option in stack.options)
    cost = [currency, "with loss"] if with_loss else [currency, "a stack"]
    foot = chance.box.top - 0.08
    _, cost_right, run_right = _columns(chance, moisture)
    sheet = chance.sheet
    sheet.write(["chance", "of loss, %"], chance.box.left, foot, upright="foot")
    sheet.write(["driest", "face, %"], moisture.box.left, foot, upright="foot")
    sheet.write(cost, cost_right, foot, upright="foot", anchor="end")
    sheet.write(["run", "done"], run_right, foot, upright="foot", anchor="end")


def _columns(chance: Plot, moisture: Plot) -> tuple[float, float, float]:
    """Right ends of the columns of numbers, inches from the left."""
    first = chance.box.left + chance.box.width + CHANCE_IN
    second = moisture.box.left + moisture.box.width + COST_IN
    return first, second, second + RUN_IN


def _cells(option: OptionResult) -> tuple[str, str, str]:
    total = option.cost.option if option.cost.total is None else option.cost.total
    chance = ""
    if option.chance is not None:
        chance = percent(option.chance.mean) if option.chance.mean > 0.0 else "none seen"
    return chance, f"{total:.2f}", percent(option.colonized_fraction[1])
