"""How far outlooks can be trusted, in plain sentences and as a table."""

from __future__ import annotations

from collections.abc import Sequence

from climate_risk.report.display import listed, percent, plural
from climate_risk.risk.hindsight import Hindcast, LeadSkill, Reliability

FEWEST_YEARS = 5
"""Fewer years in a class of chances say nothing (our own choice)."""
AGAINST = (
    "This sets the outlook against the same model run on with the weather that came, not against "
    "losses that somebody counted."
)


def stack_words(hindcast: Hindcast) -> str:
    """``bare stacks of grey oyster on aspen in the open``."""
    where = "in the open" if hindcast.canopy == "open" else f"under {hindcast.canopy} trees"
    return f"{hindcast.fungus} on {hindcast.wood} {where}"


def skill_sentence(hindcast: Hindcast) -> str:
    """From which month on an outlook says more than the usual chance, and how much."""
    sure = [lead.loss.is_sure for lead in hindcast.leads]
    first = next((n for n in range(len(sure)) if all(sure[n:])), len(sure))
    head = (
        f"Tried on {plural(hindcast.years, 'past season')} of {hindcast.source} "
        f"({stack_words(hindcast)}), each year left out of all that is learned: "
    )
    none = [str(lead.months_seen) for lead in hindcast.leads[:first]]
    some = hindcast.leads[first:]
    parts = []
    if none:
        parts.append(f"{_after(none)} the outlook tells no more of losses than the usual chance")
    if some:
        parts.append(f"{_after([str(some[0].months_seen)])} it is {_gain(some[0])} better")
    if len(some) > 1:
        parts.append(f"{_after([str(some[-1].months_seen)])} {_gain(some[-1])}")
    best = _points(hindcast.leads[0].loss.best)
    return (
        f"{head}{listed(parts)}. Knowing the weather to come exactly would bring {best} %: the "
        "rest of the doubt is the model's."
    )


def _after(months: Sequence[str]) -> str:
    unit = "month" if list(months) == ["1"] else "months"
    return f"{listed(months)} {unit} after inoculation"


def _gain(lead: LeadSkill) -> str:
    return (
        f"{_points(lead.loss.skill)} % (8 times in 10: {_span([lead.loss.low, lead.loss.high])})"
    )


def _points(share: float) -> str:
    return f"{100.0 * share:.1f}"


def _span(shares: Sequence[float]) -> str:
    """``3.9 to 7.9``, or one number where they are alike."""
    return " to ".join(dict.fromkeys(map(_points, (min(shares), max(shares)))))


def outlook_sentence(hindcasts: Sequence[Hindcast]) -> str:
    """What was measured on all records, for who reads one outlook; empty without any."""
    if not hindcasts:
        return ""
    by_date = list(zip(*(h.leads for h in hindcasts), strict=True))
    none = [
        str(leads[0].months_seen)
        for leads in by_date
        if not any(lead.loss.is_sure for lead in leads)
    ]
    seasons = {h.source: h.years for h in sorted(hindcasts, key=lambda h: h.years)}
    records = listed(f"{source} (up to {years} seasons)" for source, years in seasons.items())
    parts = []
    if none:
        parts.append(f"{_after(none)} they told no more of losses than the usual chance")
    if len(none) < len(by_date):
        last = by_date[-1]
        parts.append(
            f"{_after([str(last[0].months_seen)])} they were better by "
            f"{_span([lead.loss.skill for lead in last])} %, of "
            f"{_span([lead.loss.best for lead in last])} % that knowing the weather would bring"
        )
    return (
        f"Outlooks like this one were tried on real weather of {records}, each year left out of "
        f"all that is learned: {listed(parts)}. {AGAINST}"
    )


def reliability_sentence(hindcast: Hindcast) -> str:
    """Whether what was told came about as often as told, class by class."""
    classes = [c for c in hindcast.reliability if c.years >= FEWEST_YEARS]
    if not classes:
        return ""
    pairs = listed(f"{percent(c.told)} told, {percent(c.came)} came" for c in classes)
    off = [c for c in classes if not holds(c)]
    verdict = "as often as told" if not off else "not always as often as told"
    return f"Losses came {verdict}: {pairs}."


def holds(found: Reliability) -> bool:
    """Whether what was told lies within the interval of what came, or within 5 points of it."""
    return found.low - 0.05 <= found.told <= found.high + 0.05


def sentences(hindcasts: Sequence[Hindcast]) -> list[str]:
    """What was measured, record by record; empty without any."""
    if not hindcasts:
        return []
    said = [text for h in hindcasts for text in (skill_sentence(h), reliability_sentence(h))]
    return [*filter(None, said), AGAINST]


COLUMNS = (
    "source", "stack", "fungus", "wood", "canopy", "years", "draws", "months_seen", "lead_days",
    "measure", "score", "usual_score", "skill", "skill_p10", "skill_p90", "best_skill",
)  # fmt: skip


def skill_csv(hindcasts: Sequence[Hindcast]) -> str:
    """A row for each stack, date and measure."""
    lines = [",".join(COLUMNS)]
    for h in hindcasts:
        head = [h.source, h.name, h.fungus, h.wood, h.canopy, h.years, h.draws]
        for lead in h.leads:
            for name, of in (("brier_of_loss", lead.loss), ("crps_dryness_pct", lead.dryness_pct)):
                numbers = (of.score, of.usual, of.skill, of.low, of.high, of.best)
                row = [*head, lead.months_seen, lead.lead_days, name]
                row += [f"{number:.4g}" for number in numbers]
                lines.append(",".join(f'"{v}"' if "," in str(v) else str(v) for v in row))
    return "\n".join(lines) + "\n"
