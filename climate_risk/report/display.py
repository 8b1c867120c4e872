"""Dates, shares, money and lists in words; lines folded to a width."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from datetime import date
from textwrap import shorten, wrap
from typing import Any

import numpy as np
import numpy.typing as npt

from climate_risk.errors import plural as plural

FloatArray = npt.NDArray[np.float64]

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
HARD_SPACE = "\u00a0"


def day(value: date) -> str:
    """Day and month: ``18 Jul``."""
    return f"{value.day} {MONTHS[value.month - 1]}"


def full_day(value: date) -> str:
    """Day, month and year: ``18 Jul 2025``."""
    return f"{day(value)} {value.year}"


def percent(share: float, limit: float | None = None) -> str:
    """A share of 0 to 1 in percent, never rounded to a certainty or a limit that it is not."""
    if 0.0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1.0:
        return "over 99 %"
    for digits in (0, 1, 2):
        shown = f"{100.0 * share:.{digits}f}"
        if limit is None or share == limit or shown != f"{100.0 * limit:.{digits}f}":
            break
    return f"{shown} %"


ODDS = sorted(
    {(1, n) for n in (*range(2, 21), 25, 30, 35, 40, 45, 50, 60, 75, 100)}
    | {(k, 10) for k in (3, 4, 6, 7, 8, 9)},
    key=lambda odds: odds[0] / odds[1],
)
"""Chances that a grower says: so many in so many."""


def odds(share: float, limit: float | None = None) -> str:
    """A chance as a grower says it: ``about 1 in 7``.

    Of the odds on the share's own side of the limit the nearest, so that words and limit agree.
    """
    if share <= 0.0:
        return "none seen"
    if share < 0.009:
        return "under 1 in 100"
    if share > 0.95:
        return "more than 9 in 10"
    known = [(k, n) for k, n in ODDS if limit is None or (k / n > limit) == (share > limit)]
    if not known:
        return f"about {percent(share, limit)}"
    k, n = min(known, key=lambda pair: abs(pair[0] / pair[1] - share))
    return f"about {k} in {n}"


def percent_range(low: float, high: float) -> str:
    """``18 to 45 %``."""
    return f"{low * 100:.0f} to {high * 100:.0f} %"


def money(amount: float, currency: str) -> str:
    """``USD 2.40``; words where the amount is not a number."""
    return "an unknown sum" if math.isnan(amount) else f"{currency} {amount:.2f}"


def kept_together(text: str) -> str:
    """The text with a hard space between a number and its unit or month."""
    return _NUMBER_AND_UNIT.sub(lambda match: match.group(0).replace(" ", HARD_SPACE), text)


_NUMBER_AND_UNIT = re.compile(rf"\d (?:%|(?:°F|°C|in|mm|gal|L|{'|'.join(MONTHS)})\b)")


def folded(text: str, chars: int) -> list[str]:
    """Lines of at most ``chars`` characters; a number stays with its unit or month."""
    lines = wrap(kept_together(text), max(chars, 12))
    return [line.replace(HARD_SPACE, " ") for line in lines]


def cut(text: str, chars: int) -> str:
    """The text, or its first words and dots where it is longer than ``chars``."""
    return shorten(text, max(chars, 12), placeholder=" ...")


def listed(items: Iterable[Any]) -> str:
    """``a, b and c``."""
    words = [str(item) for item in items]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def plain_name(key: str) -> str:
    """``heat_ref_temp_c`` as ``heat ref temp``: its unit has a column of its own."""
    return _UNIT_ENDING.sub("", key).replace("_", " ")


_UNIT_ENDING = re.compile(
    r"_(c|k|d|h|m|mm|pct|mpa|per_mpa|mm_day|gdays|kg_m3|s_m|kg_m2|kg_m2_s|m2_s)(?=_on$|_off$|$)"
)
