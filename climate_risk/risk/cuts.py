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

    Each tree gives as many whole stacks as it holds, pieces and cap one after another, so that
    cut faces meet again as they grew; then single pieces, and caps, for stacks that come out of
    several trees.  So most trees are cut alike.  Every length is followed by a cut, the last
    too: a tree's top is no clean face.

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
    if not _is_long_enough(tree_m, kerf_m, trim_m, max(piece_m, cap_m)):
        raise ValueError("a tree is too short for one piece")
    whole_m = [piece_m] * pieces + [cap_m] * (cap_m > 0.0)
    stems: list[_Stem] = []
    begun = 0
    pieces_owed = 0
    caps_owed: list[int] = []
    while begun < count or pieces_owed or caps_owed:
        stem = _Stem(tree_m, kerf_m)
        stems.append(stem)
        if trim_m > 0.0:
            stem.take("trim", 0, trim_m)
        while begun < count and stem.holds(whole_m):
            begun += 1
            for place, length_m in enumerate(whole_m):
                stem.take("piece" if place < pieces else "cap", begun, length_m)
        while (pieces_owed or begun < count) and stem.holds([piece_m]):
            if not pieces_owed:
                begun += 1
                mixed, pieces_owed = begun, pieces
                caps_owed += [mixed] * (cap_m > 0.0)
            stem.take("piece", mixed, piece_m)
            pieces_owed -= 1
        while caps_owed and stem.holds([cap_m]):
            stem.take("cap", caps_owed.pop(0), cap_m)
    return tuple(Tree(length_m=tree_m, kerf_m=kerf_m, cuts=tuple(s.cuts)) for s in stems)


def _is_long_enough(tree_m: float, kerf_m: float, trim_m: float, longest_m: float) -> bool:
    trim = trim_m + kerf_m if trim_m > 0.0 else 0.0
    return trim + longest_m + kerf_m <= tree_m + SLACK_M
