"""How far a run has come, told to whoever asked."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float], None]
"""Takes the share done, 0 to 1."""


def part_of(progress: Progress | None, place: int, parts: int) -> Progress:
    """The progress of one of several equal parts, as progress of the whole."""

    def tell(share: float) -> None:
        if progress is not None:
            progress((place + share) / parts)

    return tell
