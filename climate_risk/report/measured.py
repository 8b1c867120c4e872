"""What the grower's own readings changed, in words and tables."""

from __future__ import annotations

from typing import Any

from climate_risk.report.certainty import how_to_measure, unknown_words
from climate_risk.report.display import day, listed, odds, percent, plural
from climate_risk.report.words import capital
from climate_risk.risk.measured_results import (
    Band,
    MovedParameter,
    NextReading,
    Reading,
    StackMeasured,
    WeighedDay,
)
from climate_risk.risk.results import StackSeason
from climate_risk.units import Units

READINGS: dict[Reading, str] = {
    "weighing": "weighing the witness piece today",
    "bark thermometer": "two weeks of a thermometer on the sunny bark",
    "bag hygrometer": "two weeks of a hygrometer inside the bag",
}
ENDS = {
    "bare": "its upper end bare, its lower end on what lies under the stack",
    "sealed": "both ends sealed, so that it dries through its bark alone",
}
MORE_IS = {
    "wood.bark_resistance_s_m": "tighter",
    "bag.foot_gap_closed_mm": "looser",
    "wood.bark_bare_share": "less bark",
    "wood.green_moisture_pct": "wetter",
}
"""What a larger value means, where its name does not tell."""
LEFT_WITHOUT_DISC = {"bare": "about half", "sealed": "about two thirds"}
LEFT_WITH_DISC = "about a fifth"
"""Of the error of a piece's moisture, after ten weighings: ``tests/weighing_evidence.md``."""
PLAIN_UNITS = ("1", "%", "mm", "weeks", "K", "kg/m2", "kg/m3")
"""Of numbers that a grower can picture; the others stand in the table alone."""
LITTLE = 0.05
"""A share of the doubt under which a reading settles next to nothing."""
Context = dict[str, Any]


def view(stack: StackSeason, limit: float, show: Units) -> Context | None:
    """The page's part on the grower's readings; None without any."""
    found = stack.measured
    if found is None:
        return None
    return {
        "lead": [
            chance_sentence(stack, found, limit),
            aside_sentence(found),
            *left_out_sentences(found, show),
        ],
        "piece": [moisture_sentence(found)],
        "advice": [disc_sentence(found)],
        "moved": [moved_sentence(p) for p in found.parameters] if found.used else [],
        "moved_table": _moved_table(stack, found) if found.used else None,
        "next": [_next_sentence(reading) for reading in found.next_readings],
        "elsewhere": elsewhere_sentence(stack, found),
        "checks": [held_out_sentence(found, show), size_sentence(found)],
        "weighed": _weighed_table(stack, found, show) if found.weighings else None,
        "granted": granted_sentence(found, show) if found.weighings else "",
    }


def chance_sentence(stack: StackSeason, found: StackMeasured, limit: float) -> str:
    """The chance before and after the readings."""
    basis = listed(_used(found))
    if not found.used:
        return "Your readings changed nothing on this page."
    what = "the stack" if stack.count == 1 else "each stack"
    if found.chance_before is None or found.chance_after is None:
        before, after = percent(found.lost_before), percent(found.lost_after)
        return f"Runs that end in loss: {before} without your readings, {after} with {basis}."
    before, after = (
        f"{odds(c.mean, limit)} ({percent(c.mean, limit)})" if c.mean > 0.0 else "none seen"
        for c in (found.chance_before, found.chance_after)
    )
    return (
        f"Chance of losing {what}: {before} before your readings, {after} with them. All that "
        f"this page says of the stack rests on them: {basis}."
    )


def aside_sentence(found: StackMeasured) -> str:
    """That weighings were set aside, and why."""
    if found.weighings_used or not found.weighings:
        return ""
    return (
        "The weighings were set aside: kept back in turn, they were foretold clearly worse from "
        "the rest than with the usual numbers. Was it one piece, on one scale, dry outside?"
    )


def moisture_sentence(found: StackMeasured) -> str:
    """How wet the piece is on the last day, without the readings and with them."""
    if found.track is None or not found.used:
        return ""
    before, after = (
        table[:, -1] for table in (found.track.moisture_before_pct, found.track.moisture_after_pct)
    )
    return (
        f"The witness piece now holds about {after[1]:.0f} % water, of its dry wood (8 times in "
        f"10: {after[0]:.0f} to {after[2]:.0f} %); without your readings that would be "
        f"{before[0]:.0f} to {before[2]:.0f} %."
    )


def disc_sentence(found: StackMeasured) -> str:
    """What weights leave open without a dried disc, where none was given."""
    if found.has_disc or not found.weighings:
        return ""
    return (
        "Dry a disc when you cut the next piece. Ten weights without one leave "
        f"{LEFT_WITHOUT_DISC[found.witness_ends]} of the doubt how wet a piece is; with one they "
        f"leave {LEFT_WITH_DISC} (found on invented pieces). Cut it from the same log, right "
        "beside the piece, weigh it fresh and again after a day or two in an oven at 103 °C "
        "(217 °F), and write both weights into the yard file as disc_wet and disc_dry."
    )


def _used(found: StackMeasured) -> list[str]:
    counted = [
        (found.weighings_used * (len(found.weighings) - len(found.left_out)), "weighing", ""),
        (int(found.has_disc and bool(found.weighings)), "dried disc", ""),
        (found.bag_days, "day", " of the hygrometer in the bag"),
        (found.bark_days, "day", " of the thermometer on the bark"),
    ]
    return [f"{plural(count, noun)}{of_what}" for count, noun, of_what in counted if count]


def left_out_sentences(found: StackMeasured, show: Units) -> list[str]:
    """Each weighing that was not used, and why."""
    return [
        f"Not used: {show.mass.text(w.mass_kg)} on {day(w.day)}. By all the other weighings it "
        f"should be near {show.mass.text(w.after_kg[1])}; was it lifted wet, misread, or another "
        "piece?"
        for w in found.left_out
    ]


def held_out_sentence(found: StackMeasured, show: Units) -> str:
    """How well weighings are foretold that were kept out."""
    held = found.held_out
    if held is None:
        return ""
    before, after = (show.mass.text(v, 2) for v in (held.before_kg, held.after_kg))
    verdict = "so they were set aside"
    if found.weighings_used:
        is_better = held.after_kg < held.before_kg
        verdict = "so they help" if is_better else "no clear difference, so they are kept"
    return (
        f"The test: each of {held.count} weighings was kept back in turn and foretold from the "
        f"rest. With the usual numbers it was off by {before}, with those that the rest favour by "
        f"{after}: {verdict}."
    )


def size_sentence(found: StackMeasured) -> str:
    """How many draws still count, and whether the readings were trusted less for it."""
    if not found.used:
        return ""
    count = (
        f"Of {found.draws:,} trial sets of numbers about {found.effective_draws:.0f} still count"
    )
    if found.power >= 1.0:
        return f"{count}."
    return (
        f"{count}; with the readings at full weight too few would, so they were given "
        f"{percent(found.power)} of it. More of the doubt is left than the readings alone would "
        "leave."
    )


def moved_sentence(moved: MovedParameter) -> str:
    """One unknown against what is usual, in a grower's words, and its values."""
    name, turn = unknown_words(moved.unknown), MORE_IS.get(moved.unknown)
    before, after = moved.prior, moved.posterior
    kept = (after[2] - after[0]) / (before[2] - before[0])
    sure = f"; {percent(kept)} of the doubt is left" if kept < 0.9 else ""
    sense = f", more is {turn}" if turn else ""
    against = _against_usual(after[1] / before[1]) if before[0] > 0.0 else "it moved"
    values = ""
    if moved.unit in PLAIN_UNITS:
        now, was = (_with_unit(_short(band[1]), moved.unit) for band in (after, before))
        values = f" ({now} in the middle, {was} before{sense})"
    elif sense:
        values = f" ({sense[2:]})"
    return f"{capital(name)}: {against}{values}{sure}."


def _against_usual(ratio: float) -> str:
    if ratio >= 1.1:
        return f"about {ratio:.1f} times the usual"
    return "about as usual" if ratio > 0.9 else f"about {percent(ratio)} of the usual"


def _with_unit(text: str, unit: str) -> str:
    return text if unit == "1" else f"{text} {unit}"


def _moved_table(
    stack: StackSeason, found: StackMeasured
) -> tuple[str, tuple[str, ...], list[list[str]]]:
    heads = ("number", "before: middle (8 times in 10)", "with your readings", "unit")
    rows = [
        [unknown_words(p.unknown), _band(p.prior), _band(p.posterior), _unit(p)]
        for p in found.parameters
    ]
    return f"{stack.name}: numbers that the readings moved", heads, rows


def _unit(moved: MovedParameter) -> str:
    return "share" if moved.unit == "1" and moved.prior[2] <= 1.0 else moved.unit


def _band(band: Band) -> str:
    low, middle, high = (_short(value) for value in band)
    return f"{middle} ({low} to {high})"


def _short(value: float) -> str:
    """Two figures, without an exponent where that is readable."""
    if abs(value) >= 100.0:
        digits = len(f"{abs(value):.0f}") - 2
        return f"{round(value, -digits):,.0f}"
    return f"{value:.2g}"


def _weighed_table(
    stack: StackSeason, found: StackMeasured, show: Units
) -> tuple[str, tuple[str, ...], list[list[str]]]:
    unit = show.mass.unit
    heads = ("day", f"weighed, {unit}", f"before, {unit}", f"with your readings, {unit}", "used")
    rows = [
        [
            day(w.day),
            f"{show.mass.of(w.mass_kg):.1f}",
            _masses(w, w.before_kg, show),
            _masses(w, w.after_kg, show),
            "no" if w.left_out else "yes",
        ]
        for w in found.weighings
    ]
    return f"{stack.name}: the witness piece, weighed and simulated (8 times in 10)", heads, rows


def _masses(weighed: WeighedDay, band: Band, show: Units) -> str:
    low, middle, high = (show.mass.of(value) for value in band)
    return f"{middle:.1f} ({low:.1f} to {high:.1f})"


def elsewhere_sentence(stack: StackSeason, found: StackMeasured) -> str:
    """Where the doubt of a loss lies if none of the readings would settle it."""
    level = stack.result.level
    if level is None or any(reading.of_loss >= LITTLE for reading in found.next_readings):
        return ""
    how = how_to_measure(level.unknown)
    to_know = f"; {how}" if how else ""
    return f"Whether a stack is lost hangs more on {unknown_words(level.unknown)}{to_know}."


def _next_sentence(reading: NextReading) -> str:
    name = capital(READINGS[reading.kind])
    if max(reading.of_loss, reading.of_moisture) < LITTLE:
        return f"{name}: next to nothing."
    loss, moisture = (
        "next to nothing" if share < LITTLE else f"about {percent(round(share, 2))}"
        for share in (reading.of_loss, reading.of_moisture)
    )
    return (
        f"{name}: {loss} of whether a stack is lost, {moisture} of how dry its driest face gets."
    )


def granted_sentence(found: StackMeasured, show: Units) -> str:
    """What is taken for granted of the witness piece."""
    length, wide = (
        show.length.text(v) for v in (found.witness_length_m, found.witness_diameter_m)
    )
    disc = (
        "Its oven-dry mass is that of the disc you dried"
        if found.has_disc
        else "Its oven-dry mass is taken from its size and the wood's usual density, and may be "
        "off by an eighth"
    )
    return (
        f"Taken for granted: the piece, {length} long and {wide} across, is of the stack's tree "
        "and was cut with it; it stands upright beside the stack, on the same barrier and under a "
        f"cover of its own of the same kind, {ENDS[found.witness_ends]}; nobody waters it, and it "
        f"is weighed about midday, never taken from a running stack. {disc}."
    )


def summary_values(found: StackMeasured) -> dict[str, Any]:
    """What summary.json holds of it."""
    names = ("p10", "p50", "p90")

    def band(values: Band) -> dict[str, float]:
        return dict(zip(names, values, strict=True))

    out: dict[str, Any] = {
        "used": found.used,
        "lost_before_fraction": found.lost_before,
        "lost_after_fraction": found.lost_after,
        "parameters": [
            {
                "name": p.unknown,
                "unit": p.unit,
                "prior": band(p.prior),
                "posterior": band(p.posterior),
            }
            for p in found.parameters
        ],
        "weighings": [
            {
                "date": w.day.isoformat(),
                "mass_kg": w.mass_kg,
                "before_kg": band(w.before_kg),
                "after_kg": band(w.after_kg),
            }
            | ({"left_out": w.left_out} if w.left_out else {})
            for w in found.weighings
        ],
        "weighings_used": found.weighings_used,
        "bag_hygrometer_days": found.bag_days,
        "bark_thermometer_days": found.bark_days,
        "draws_count": found.draws,
        "effective_draws": found.effective_draws,
        "likelihood_power": found.power,
        "next_readings": [
            {
                "kind": r.kind,
                "of_loss_fraction": r.of_loss,
                "of_moisture_fraction": r.of_moisture,
            }
            for r in found.next_readings
        ],
    }
    if found.chance_before is not None and found.chance_after is not None:
        out["chance_of_loss_before"] = found.chance_before.mean
        out["chance_of_loss_after"] = found.chance_after.mean
    if found.track is not None:
        out["witness_moisture_pct"] = {
            "before": band(tuple(found.track.moisture_before_pct[:, -1].tolist())),
            "after": band(tuple(found.track.moisture_after_pct[:, -1].tolist())),
        }
    if found.dry_mass_kg is not None:
        out["witness_dry_mass_kg"] = band(found.dry_mass_kg)
    if found.held_out is not None:
        out["held_out"] = {
            "weighings_count": found.held_out.count,
            "error_before_kg": found.held_out.before_kg,
            "error_after_kg": found.held_out.after_kg,
        }
    return out
