"""The ten words that a page explains, and links to where they first stand in a text."""

from __future__ import annotations

import re
from dataclasses import dataclass

from climate_risk.report.condition import spell_words
from climate_risk.risk.results import SpellLimits, Thresholds
from climate_risk.units import Units


@dataclass(frozen=True)
class Term:
    """A word, how it shows in texts, and what it means here."""

    key: str
    name: str
    pattern: str
    meaning: str


def terms(limits: SpellLimits | None, at: Thresholds, show: Units) -> list[Term]:
    """The glossary; the spell only where results tell its limits."""
    spell = [] if limits is None else [
        Term("spell", "Hot, dry spell", r"hot, dry spells?", f"{spell_words(limits, show)}."),
    ]  # fmt: skip
    return [
        Term("face", "Spawn face", r"spawn faces?",
             "A cut face of the log with spawn on it: on the ground, between pieces, under the "
             "cap."),
        Term("driest", "Driest face", r"driest face",
             "The spawn face with the least water. A stack fails where it is driest."),
        Term("run", "Run", r"\b(?:has run|fully run|run)\b",
             "How far the fungus has grown from the spawn faces into the wood, as a share of the "
             "way until it meets itself. Fully run is "
             f"{100 * at.complete_share:.0f} % of the way."),
        Term("late", "Late", r"\blate\b",
             "Alive at the end of the year but not fully run. Such a stack may still fruit."),
        *spell,
        Term("moisture", "Moisture", r"\bmoisture\b",
             "Water as % of the wood's dry weight. At 30 %, water is 23 % of the log's weight."),
        Term("lost", "Lost", r"\b(?:lost|losing|loss)\b",
             f"Less than {100 * at.lost_alive_share:.0f} % of the fungus on its spawn faces is "
             "alive, after heat or drought (a judgement; trials take other shares too)."),
        Term("limit", "Your limit", r"your limit",
             "The chance of losing a stack that you said you would bear: tolerated_chance in the "
             "yard file."),
        Term("best", "Best estimate", r"best estimate",
             "The stack simulated once with the likeliest value of everything not known well."),
        Term("unsure", "Unsure values", r"unsure values",
             "What nobody has measured well, such as how tight the bark is. Each trial takes "
             "other values from their ranges."),
        Term("as", "As it stands", r"as it stands",
             "With the covers and the watering in your yard file, and nothing more."),
    ]  # fmt: skip


def linked(text: str, known: list[Term]) -> list[tuple[str, str]]:
    """The text in pieces: words and the key of the term they are, or empty.

    Each term is marked once a text.
    """
    either = "|".join(f"(?P<{term.key}>{term.pattern})" for term in known)
    pieces, at, seen = [], 0, set()
    for match in re.finditer(either, text, re.IGNORECASE):
        if match.lastgroup in seen or match.lastgroup is None:
            continue
        seen.add(match.lastgroup)
        pieces += [(text[at : match.start()], ""), (match[0], match.lastgroup)]
        at = match.end()
    return [piece for piece in (*pieces, (text[at:], "")) if piece[0]]
