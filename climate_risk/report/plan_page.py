"""What the plan command writes: page, chart, cutting list, and the plan of the summary."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from climate_risk.report import basis, files, plan_rows, plan_words
from climate_risk.report import summary as summary_file
from climate_risk.report.act_keys import Json
from climate_risk.report.frame import Context, chart, render
from climate_risk.report.plan_figure import plan_figure
from climate_risk.report.prices import prices_sentences
from climate_risk.risk.results_plan import PlanResult, Ranged, StackPlan, Window
from climate_risk.units import METRES_PER_INCH, Units

LIST_HEADS = (
    "stack", "tree", "what", "of_stack_number", "from_cm", "to_cm", "from_in", "to_in"
)  # fmt: skip


def write_plan(out_dir: Path, result: PlanResult) -> list[Path]:
    """Write plan.html, .png, .svg, .csv and the plan of summary.json, all of them or none.

    The picture shows the first kind of stack.

    Raises
    ------
    RunError
        When a file cannot be written.
    """
    files.refuse_folders(out_dir, ("plan", "summary"))
    made = summary_file.kept_beside(plan_summary(result), out_dir / "summary.json")
    saved = {
        "plan.csv": cutting_csv(result),
        "summary.json": summary_file.json_text(made).encode(),
    }
    with files.as_a_set(out_dir, ()) as folder:
        written = [
            files.write_whole(folder / "plan.html", plan_page(result, saved)),
            *files.write_figure(plan_figure(result), folder, "plan"),
            *(files.write_whole(folder / name, data) for name, data in saved.items()),
        ]
    return [out_dir / path.name for path in written]


def plan_page(result: PlanResult, saved: Mapping[str, bytes] | None = None) -> str:
    """The whole page as one self-contained HTML text.

    Parameters
    ----------
    result : PlanResult
        What ``plan`` found.
    saved : mapping of name to bytes, optional
        Files to be saved from the page.
    """
    coverage = result.coverage
    context: Context = {
        "view": cache(lambda stack, units: _view(result, stack, units)),
        "cautions": plan_words.CAUTIONS,
        "weather": basis.coverage_sentence(coverage) if coverage else plan_words.NO_WEEKS,
        "attribution": coverage.attribution if coverage else "",
    }
    order = list(range(len(result.stacks)))
    title = f"Plan of a batch: {result.yard_name}"
    return render("plan", title, result, order, saved, {}, context, known=plan_words.terms())


def _view(result: PlanResult, place: int, units: str) -> Context:
    stack, show = result.stacks[place], Units(units)
    desk, phone = (
        plan_figure(result, place, units=units, narrow=n, heading=False) for n in (False, True)
    )
    said = "The stack, its trees with every cut, and the weeks; the same stands in the text below."
    weeks, *more = plan_words.weeks_sentences(result, stack)
    return {
        "stack": stack,
        "made": plan_words.make_sentence(stack, show),
        "card": (
            ("Begin", weeks),
            ("Cut", plan_words.trees_sentence(stack, result.tree_ours, show)),
            ("Lift", plan_words.lift_sentence(stack, result.lift_alone_kg, show)),
            ("Cost", plan_words.cost_line(stack, result.currency)),
        ),
        "more": [*more, plan_words.pair_sentence(result, stack)],
        "chart": chart(f"p{place}{units[0]}", said, desk, phone),
        "caution": stack.fungus_caution,
        "cutting": plan_rows.cutting_tables(stack, show),
        "cutting_note": plan_words.cutting_note(stack, result.tree_ours, show),
        "spawn": [
            plan_words.spawn_sentence(stack, show),
            *(
                plan_words.bags_sentence(spawn, result.spawn_bag_kg, result.currency, show)
                for spawn in result.spawn
                if spawn.fungus == stack.fungus
            ),
        ],
        "needs": plan_rows.needs_rows(stack, show),
        "costs": (
            "Cost",
            ("of", "a stack", "in all"),
            plan_rows.cost_rows(stack, result.currency),
        ),
        "cost_notes": [*prices_sentences(result.prices, show), plan_words.COST_NOTE],
        "spring": plan_rows.spring_rows(result),
        "pairs": (
            "Fungus and wood at your place",
            ("wood", *(site.fungus for site in result.fungi)),
            plan_rows.pair_rows(result),
        ),
        "pairs_note": plan_words.pairs_note(result, show),
        "site": plan_rows.site_rows(result),
        "fungus_cautions": [site.caution for site in result.fungi if site.caution],
    }


def cutting_csv(result: PlanResult) -> bytes:
    """A row for every length of every tree, in both units, from the butt end."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(LIST_HEADS)
    for stack in result.stacks:
        for number, tree in enumerate(stack.trees, 1):
            for cut in tree.cuts:
                ends = (cut.start_m, cut.end_m)
                writer.writerow(
                    [stack.name, number, cut.kind, cut.stack or "",
                     *(f"{100.0 * m:.1f}" for m in ends),
                     *(f"{m / METRES_PER_INCH:.2f}" for m in ends)]
                )  # fmt: skip
    return stream.getvalue().encode()


def plan_summary(result: PlanResult) -> Json:
    """What was planned, as plain values for other programs."""
    out = summary_file.head(result)
    common = _common([s.weeks.inoculation for s in result.stacks if s.weeks])
    out["plan"] = {
        **({"inoculation_window": _window(common)} if common else {}),
        "spawn": [
            {
                "fungus": spawn.fungus,
                "mass_kg": _ranged(spawn.mass_kg),
                "bags_count": dict(zip(("low", "value", "high"), spawn.bags, strict=True)),
            }
            | _known({"price": spawn.price})
            for spawn in result.spawn
        ],
        "stacks": [_stack(stack) for stack in result.stacks],
        "pairs": [
            {"fungus": p.fungus, "wood": p.wood, "rate_fraction": _ranged(p.factor)}
            | ({"run_fraction": _ranged(p.run_share)} if p.run_share else {})
            for p in result.pairs
        ],
    }
    if result.spring is not None:
        out["plan"]["years_count"] = result.spring.years
    return out


def _stack(stack: StackPlan) -> Json:
    out: dict[str, Any] = {
        "name": stack.name,
        "stacks_count": stack.count,
        "fungus": stack.fungus,
        "wood": stack.wood,
        "trees_count": len(stack.trees),
        "tree_length_m": stack.trees[0].length_m,
        "pieces_count": stack.count * stack.shape.pieces,
        "caps_count": stack.count if stack.shape.cap_thickness_m > 0.0 else 0,
        "spawn_kg": _ranged(stack.spawn_kg),
        "stacks_per_spawn_bag": _ranged(stack.stacks_per_bag),
        "piece_mass_kg": _ranged(stack.piece_mass_kg),
        "stack_mass_kg": _ranged(stack.stack_mass_kg),
        "cover_bags_count": stack.bags,
        "shade_cloth_m2": _ranged(stack.cloth_m2),
        "barrier_sheets_count": stack.sheets,
    }
    costs = {"cost": stack.cost(of_all=False), "cost_of_all": stack.cost(of_all=True)}
    out |= {name: _ranged(cost) for name, cost in costs.items() if not math.isnan(cost.value)}
    if stack.weeks is not None:
        windows = {"felling": stack.weeks.felling, "inoculation": stack.weeks.inoculation}
        out |= {f"{name}_window": _window(w) for name, w in windows.items() if w is not None}
    return out


def _known(values: dict[str, float]) -> dict[str, float]:
    return {name: value for name, value in values.items() if not math.isnan(value)}


def _ranged(amount: Ranged) -> dict[str, float]:
    return {"value": amount.value, "low": amount.low, "high": amount.high}


def _window(window: Window) -> dict[str, int]:
    return {"first_day_of_year": window.first_day, "last_day_of_year": window.last_day}


def _common(windows: list[Window | None]) -> Window | None:
    """Days in every window; none where one has none, or where they do not meet in one stretch."""
    known = [window for window in windows if window is not None]
    if not known or len(known) < len(windows):
        return None
    found = Window(
        first_day=max(w.first_day for w in known), last_day=min(w.last_day for w in known)
    )
    crosses = any(w.first_day > w.last_day for w in known)
    if crosses:
        return known[0] if len(set(known)) == 1 else None
    return found if found.first_day <= found.last_day else None


def summary_lines(result: PlanResult) -> list[str]:
    """A few plain lines for the terminal."""
    show = Units(result.units)
    return [
        *plan_words.summary_sentences(result, result.stacks, show),
        *prices_sentences(result.prices, show),
    ]
