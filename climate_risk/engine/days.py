"""The same day in another month or another year."""

from __future__ import annotations

from calendar import monthrange
from datetime import date


def months_after(day: date, months: int) -> date:
    """The same day of the month, later; the month's last where it is shorter."""
    count = day.month - 1 + months
    return _near(day.year + count // 12, count % 12 + 1, day.day)


def shifted(day: date, years: int) -> date:
    """The same day of another year; 29 February becomes the 28th where there is none."""
    return _near(day.year + years, day.month, day.day)


def _near(year: int, month: int, day: int) -> date:
    return date(year, month, min(day, monthrange(year, month)[1]))
