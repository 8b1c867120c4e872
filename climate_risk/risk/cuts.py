"""Trees cut into pieces and caps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from climate_risk.risk.results_plan import Cut, CutKind, Tree

SLACK_M = 1e-9
"""Lengths add up in floating point."""


@dataclass
class _Stem:
    length_m: float
    kerf_m: float
    cuts: list[Cut] = field(default_factory=list)

    @property
    def at_m(self) -> float:
        """Where the next length starts."""
        return self.cuts[-1].end_m + self.kerf_m if self.cuts else 0.0

    def holds(self, lengths_m: Sequence[float]) -> bool:
        need_m = sum(lengths_m) + self.kerf_m * len(lengths_m)
        return self.at_m + need_m <= self.length_m + SLACK_M

    def take(self, kind: CutKind, stack: int, length_m: float) -> None:
        start_m = self.at_m
        self.cuts.append(Cut(kind=kind, stack=stack, start_m=start_m, end_m=start_m + length_m))


def cut_trees(
    count: int,
    *,
    pieces: int,
    piece_m: float,
    cap_m: float,
    tree_m: float,
    kerf_m: float,
    trim_m: float,
) -> tuple[Tree, ...]:
    """Trees for ``count`` stacks, each cut from the butt up.

    A stack's pieces and cap come one after another out of one tree where they fit, so that cut
    faces meet again as they grew; what does not fit goes, length by length, into the first tree
    with room.  Every length is followed by a cut, the last too: a tree's top is no clean face.

    Parameters
    ----------
    count : int
        Stacks alike.
    pieces : int
        Of each stack.
    piece_m, cap_m : float
        Lengths; a cap of 0 is none.
    tree_m, kerf_m, trim_m : float
        Usable stem, wood lost at each cut, and length taken off the butt.

    Returns
    -------
    tuple of Tree
        In each, trim, pieces, caps, dust and rest add up to its length.

    Raises
    ------
    ValueError
        A tree is too short for one piece.
    """
    stack: list[tuple[CutKind, float]] = [("piece", piece_m)] * pieces
    if cap_m > 0.0:
        stack.append(("cap", cap_m))
    stems: list[_Stem] = []

    def stem_for(lengths_m: Sequence[float]) -> _Stem | None:
        return next((stem for stem in stems if stem.holds(lengths_m)), None)

    def new_stem() -> _Stem:
        stem = _Stem(tree_m, kerf_m)
        if trim_m > 0.0:
            stem.take("trim", 0, trim_m)
        stems.append(stem)
        return stem

    if count > 0 and not _is_long_enough(tree_m, kerf_m, trim_m, max(piece_m, cap_m)):
        raise ValueError("a tree is too short for one piece")
    for number in range(1, count + 1):
        whole = stem_for([length for _, length in stack])
        for kind, length_m in stack:
            stem = whole or stem_for([length_m]) or new_stem()
            stem.take(kind, number, length_m)
    return tuple(Tree(length_m=tree_m, kerf_m=kerf_m, cuts=tuple(s.cuts)) for s in stems)


def _is_long_enough(tree_m: float, kerf_m: float, trim_m: float, longest_m: float) -> bool:
    trim = trim_m + kerf_m if trim_m > 0.0 else 0.0
    return trim + longest_m + kerf_m <= tree_m + SLACK_M
