"""Dates, shares, money and lists in words; lines folded to a width."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from textwrap import shorten, wrap
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
HARD_SPACE = "\u00a0"


def day(value: date) -> str:
    """Day and month: ``18 Jul``."""
    return f"{value.day} {MONTHS[value.month - 1]}"


def full_day(value: date) -> str:
    """Day, month and year: ``18 Jul 2025``."""
    return f"{day(value)} {value.year}"


def percent(share: float) -> str:
    """A share of 0 to 1 in percent, never rounded to a certainty that it is not."""
    if 0.0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1.0:
        return "over 99 %"
    return f"{share * 100:.0f} %"


def percent_range(low: float, high: float) -> str:
    """``18 to 45 %``."""
    return f"{low * 100:.0f} to {high * 100:.0f} %"


def money(amount: float, currency: str) -> str:
    return f"{currency} {amount:.2f}"


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


def plural(count: int, noun: str) -> str:
    """``1 day``, ``2 days``."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def plain_name(key: str) -> str:
    """``heat_ref_temp_c`` as ``heat ref temp``: its unit has a column of its own."""
    return _UNIT_ENDING.sub("", key).replace("_", " ")


_UNIT_ENDING = re.compile(
    r"_(c|k|d|h|m|mm|pct|mpa|per_mpa|mm_day|gdays|kg_m3|s_m|kg_m2|kg_m2_s|m2_s)(?=_on$|_off$|$)"
)
