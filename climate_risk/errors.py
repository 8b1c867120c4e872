"""What can go wrong, as a user sees it.

ClimateRiskError
├── InputError   the input is wrong: a line for each mistake, exit status 2
└── RunError     the run failed for a reason outside the input, exit status 1
"""

from __future__ import annotations

SHOWN_CHARACTERS = 200
"""Of a text from a file, so that a message stays one that can be read."""
SHOWN_LINES = 20


class ClimateRiskError(Exception):
    """Base of every error that is reported to a user, a line for each mistake.

    Characters that would steer a terminal are escaped, whoever wrote them.
    """

    exit_status = 1

    def __init__(self, *lines: str) -> None:
        kept = [printable(line) for line in lines[:SHOWN_LINES]]
        if len(lines) > SHOWN_LINES:
            kept.append(f"and {len(lines) - SHOWN_LINES} mistakes more")
        self.lines = tuple(kept)
        super().__init__("\n".join(kept))


class InputError(ClimateRiskError):
    """The yard file, the weather or a command word is wrong."""

    exit_status = 2


class RunError(ClimateRiskError):
    """The run failed for a reason outside the input, such as the network or the disk."""


def printable(text: str) -> str:
    """Text with every character that is no plain print escaped."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def shown(value: object) -> str:
    """A text out of a file as a message quotes it: escaped, and cut where it is long."""
    text = printable(str(value))
    return text if len(text) <= SHOWN_CHARACTERS else text[: SHOWN_CHARACTERS - 4] + " ..."


def quoted(value: object) -> str:
    """As `shown`, in quotes."""
    return f"'{shown(value)}'"


def plural(count: int, noun: str) -> str:
    """``1 day``, ``2 days``."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
