"""The stack as an axisymmetric cylinder of pieces, cut into rings and levels."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

RING_RATIO = 2.0
"""Each ring is this much thicker than its outer neighbour: cells crowd toward the bark."""
LEVEL_RATIO = 1.7
"""Each level is this much thicker than its neighbour nearer to a cut face."""
BARE_RATIO = 1.6
"""The same in a top piece without a cap, whose cut end takes the cap's cells."""


class Grid(NamedTuple):
    """A stack cut into ``nr`` rings by ``nz`` levels; a NamedTuple so that numba takes it.

    Levels count from the ground up, rings from the pith out.
    """

    ring_area_m2: FloatArray
    """(nr,) cross-section of each ring."""
    ring_out_m: FloatArray
    """(nr,) from a ring's node to its outer edge."""
    ring_in_m: FloatArray
    """(nr,) from a ring's inner edge to its node."""
    edge_girth_m: FloatArray
    """(nr,) girth of each ring's outer edge."""
    node_radius_m: FloatArray
    """(nr,)."""
    level_m: FloatArray
    """(nz,) height of each level."""
    contact: IntArray
    """(nz,) 1 where a spawn layer lies under the level, else 0."""
    piece: IntArray
    """(nz,) index of the piece each level is in; the cap slice counts as the last."""
    interface_level: IntArray
    """(pieces + 1,) the level just above each spawn interface; nz if there is none."""
    level_top_m: FloatArray
    """(nz,) height of each level's upper edge above the ground."""
    piece_length_m: float
    pieces: int
    radius_m: float
    height_m: float
    spawn_depth_m: float
    """Of each layer; 0 for a log without spawn, whose cut faces touch."""


def graded(total: float, cells: int, ratio: float, *, both_ends: bool) -> FloatArray:
    """Cell sizes that sum to ``total`` and grow by ``ratio`` away from the fine end or ends.

    The fine end is the last cell; with ``both_ends`` both the first and the last are fine.
    """
    if both_ends:
        steps = np.minimum(np.arange(cells), np.arange(cells)[::-1])
    else:
        steps = np.arange(cells)[::-1]
    sizes = ratio**steps
    return np.asarray(sizes * (total / sizes.sum()))


def make_grid(
    *,
    diameter_m: float,
    piece_length_m: float,
    pieces: int,
    cap_thickness_m: float,
    rings: int,
    levels_per_piece: int,
    cap_levels: int,
    spawn_depth_m: float = 0.0,
) -> Grid:
    """Cut a stack into rings and levels.

    Parameters
    ----------
    diameter_m, piece_length_m, cap_thickness_m : float
        Sizes [m]; a cap of zero leaves the top bare.
    pieces : int
        Pieces below the cap.
    rings, levels_per_piece, cap_levels : int
        Cells across, along each piece, and along the cap.
    spawn_depth_m : float
        Of each spawn layer [m]; it adds nothing to the height.
    """
    widths = graded(diameter_m / 2.0, rings, RING_RATIO, both_ends=False)
    edges = np.concatenate([[0.0], np.cumsum(widths)])
    nodes = 0.5 * (edges[:-1] + edges[1:])
    piece = graded(piece_length_m, levels_per_piece, LEVEL_RATIO, both_ends=True)
    heights = [piece] * pieces
    if cap_thickness_m > 0.0:
        heights.append(graded(cap_thickness_m, cap_levels, LEVEL_RATIO, both_ends=False))
    else:
        bare = levels_per_piece + max(cap_levels - 1, 0)
        heights[-1] = graded(piece_length_m, bare, BARE_RATIO, both_ends=False)
    owner = [np.full(h.size, p) for p, h in enumerate(heights)]
    interfaces = [0, *np.cumsum([h.size for h in heights[:pieces]]).tolist()]
    contact = np.zeros(sum(h.size for h in heights), dtype=np.int64)
    level = np.concatenate(heights)
    for interface in interfaces[1:]:
        if interface < level.size:
            contact[interface] = 1
    return Grid(
        ring_area_m2=np.pi * (edges[1:] ** 2 - edges[:-1] ** 2),
        ring_out_m=edges[1:] - nodes,
        ring_in_m=nodes - edges[:-1],
        edge_girth_m=2.0 * np.pi * edges[1:],
        node_radius_m=nodes,
        level_m=level,
        contact=contact,
        piece=np.concatenate(owner).astype(np.int64),
        interface_level=np.array(interfaces, dtype=np.int64),
        level_top_m=np.cumsum(level),
        piece_length_m=piece_length_m,
        pieces=pieces,
        radius_m=diameter_m / 2.0,
        height_m=float(level.sum()),
        spawn_depth_m=spawn_depth_m,
    )
