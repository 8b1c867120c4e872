"""The ``[plan]`` part of a yard file: the trees that a batch is cut from."""

from __future__ import annotations

from dataclasses import dataclass

from climate_risk.tables import batch
from climate_risk.toml_section import Section


@dataclass(frozen=True, kw_only=True)
class PlanOptions:
    """How trees are cut up."""

    tree_length_m: float
    """Usable stem of each tree."""
    kerf_m: float
    """Wood that each cut turns to dust."""
    trim_m: float
    """Taken off the butt end."""
    ours: frozenset[str]
    """Keys that the yard file leaves to the program."""


def read_plan_options(section: Section) -> PlanOptions:
    """Read ``[plan]``; what it leaves out is taken from the table."""
    bounds = {
        "tree_length": ("20 cm", "40 m"),
        "kerf": ("0 mm", "30 mm"),
        "trim": ("0 cm", "100 cm"),
    }
    section.only(*bounds)
    usual = batch()
    values = {
        key: section.quantity(key, "length", span, f"{getattr(usual, f'{key}_m').value} m")
        for key, span in bounds.items()
    }
    return PlanOptions(
        **{f"{key}_m": value for key, value in values.items()},
        ours=frozenset(key for key in bounds if not section.has(key)),
    )


def refuse_short_trees(section: Section, options: PlanOptions, longest_piece_m: float) -> None:
    """Refuse trees that not even one piece can be cut from.

    Raises
    ------
    InputError
    """
    cuts = 2 if options.trim_m > 0.0 else 1
    least_m = options.trim_m + longest_piece_m + cuts * options.kerf_m
    if least_m > options.tree_length_m:
        key = "trim" if "tree_length" in options.ours else "tree_length"
        section.fail(
            key, f"too short for one piece: trim, piece and cuts take {100.0 * least_m:.1f} cm"
        )
