"""The plan's tables: cuts, what to have at hand, costs, springs, and fungi by wood."""

from __future__ import annotations

from itertools import groupby

from climate_risk.report.display import listed, plural
from climate_risk.report.plan_words import (
    day_of_year,
    grade_words,
    money_ranged,
    ranged,
    tape,
    trees_of,
)
from climate_risk.report.treatment import covers_words
from climate_risk.risk.results_plan import CostKind, Pair, PlanResult, StackPlan, Tree
from climate_risk.units import Units

COST_WORDS: dict[CostKind, str] = {
    "spawn": "spawn, by weight",
    "covers": "covers and putting them on",
    "watering": "watering, as written",
    "building": "cutting and stacking",
}


Table = tuple[str, tuple[str, ...], list[list[str]]]


def cutting_tables(stack: StackPlan, show: Units) -> list[Table]:
    """For each way of cutting a tree: caption, heads, and a row of marks for each stack in it."""
    return [_cutting_table(number, tree, stack, show) for number, tree in trees_of(stack)]


def _cutting_table(number: int, tree: Tree, stack: StackPlan, show: Units) -> Table:
    counts = [
        plural(of_kind, kind)
        for kind in ("piece", "cap")
        if (of_kind := sum(cut.kind == kind for cut in tree.cuts))
    ]
    each = f"{plural(number, 'tree')}{', each' if number > 1 else ''}"
    trim = [f"; trim at {tape(cut.end_m, show)}" for cut in tree.cuts if cut.kind == "trim"]
    caption = f"{each}: {listed(counts)}{''.join(trim)}; {tape(tree.rest_m, show)} left"
    columns = ["piece"] * stack.shape.pieces + ["cap"] * (stack.shape.cap_thickness_m > 0.0)
    rows = []
    lengths = [cut for cut in tree.cuts if cut.kind != "trim"]
    for place, (_, group) in enumerate(groupby(lengths, key=lambda cut: cut.stack), 1):
        cuts = list(group)
        name = str(place) if len(cuts) == len(columns) else "mixed"
        cells = []
        for column in columns:
            fits = bool(cuts) and cuts[0].kind == column
            cells.append(tape(cuts.pop(0).end_m, show) if fits else "")
        rows.append([name, *cells])
    return caption, ("stack", *columns), rows


def needs_rows(stack: StackPlan, show: Units) -> list[list[str]]:
    """What to have at hand, besides wood and spawn."""
    rows = []
    if stack.sheets:
        side = show.length.text(stack.sheet_m, 0)
        rows.append([f"sheets of {stack.shape.ground_barrier}", str(stack.sheets),
                     f"{side} square, under each stack"])  # fmt: skip
    if stack.bags:
        width, height = (show.length.text(m, 0) for m in (stack.bag_width_m, stack.height_m))
        bag = next(cover for cover in stack.covers if cover.kind == "bag")
        rows.append([covers_words([bag], ""), str(stack.bags),
                     f"at least {width} wide laid flat, longer than {height}"])  # fmt: skip
    if stack.cloth_m2.high > 0.0:
        cloth = next(cover for cover in stack.covers if cover.kind == "shade cloth")
        rows.append([covers_words([cloth], ""), ranged(stack.cloth_m2, show.area, 0),
                     "a roof over a row"])  # fmt: skip
    return rows


def cost_rows(stack: StackPlan, currency: str) -> list[list[str]]:
    """Each kind of cost, of one stack and of all; their sum last."""
    rows = [
        [COST_WORDS[line.kind], money_ranged(line.one, currency), money_ranged(line.all, currency)]
        for line in stack.costs
    ]
    one, every = (stack.cost(of_all=of_all) for of_all in (False, True))
    return [*rows, ["sum", money_ranged(one, currency), money_ranged(every, currency)]]


def spring_rows(result: PlanResult) -> list[list[str]]:
    """When frost ends, leaves come and heat begins, by the middle and the spread of the years."""
    spring = result.spring
    if spring is None:
        return []
    rows = [
        ["last day that did not thaw", *_spread(spring.last_frost_day)],
        ["a tenth of hardwood leaves out (modelled)", *_spread(spring.leaf_day)],
    ]
    if spring.heat_day is not None:
        rows.append(["first hot spell", *_spread(spring.heat_day)])
    return [*rows, ["half of the leaves down (modelled)", day_of_year(spring.leaf_fall_day), ""]]


def _spread(days: tuple[int, int, int]) -> tuple[str, str]:
    low, middle, high = (day_of_year(number) for number in days)
    return middle, f"{low} to {high}"


def pair_rows(result: PlanResult) -> list[list[str]]:
    """Woods down, fungi across."""
    rows = []
    for wood in dict.fromkeys(pair.wood for pair in result.pairs):
        row = [pair for pair in result.pairs if pair.wood == wood]
        rows.append([wood, *(pair_words(pair, result.complete_share) for pair in row)])
    return rows


def pair_words(pair: Pair, complete_share: float) -> str:
    """Good, fair or poor, and whether the run is done in the fungus's time."""
    grade = grade_words(pair)
    share = pair.run_share
    if share is None:
        return grade
    if share.low >= complete_share:
        return f"{grade}, in time"
    if share.value >= complete_share:
        return f"{grade}, likely in time"
    return f"{grade}, {100.0 * share.low:.0f} to {100.0 * share.high:.0f} % run"


def site_rows(result: PlanResult) -> list[list[str]]:
    """How each fungus's temperatures suit the site."""
    return [
        [
            f"{site.fungus} ({site.latin_name})",
            f"{site.growing_days:.0f}" if site.growing_days is not None else "",
            f"{site.hot_hours:.0f}" if site.hot_hours is not None else "",
        ]
        for site in result.fungi
        if site.growing_days is not None
    ]
