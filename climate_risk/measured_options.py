"""The ``[measured]`` part of a yard file: what the grower weighed and hung up, and where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol, cast

from climate_risk.toml_section import Section

Ends = Literal["bare", "sealed"]
FILES = ("weighings", "bag_hygrometer", "bark_thermometer")


class Pieces(Protocol):
    """What of a stack a witness piece takes after."""

    @property
    def name(self) -> str: ...
    @property
    def piece_length_m(self) -> float: ...
    @property
    def diameter_m(self) -> float: ...


@dataclass(frozen=True, kw_only=True)
class Measured:
    """Readings of one kind of stack, and of a witness piece of the same tree beside it."""

    stack: str
    weighings: Path | None
    """Date and mass of the witness piece."""
    bag_hygrometer: Path | None
    bark_thermometer: Path | None
    witness_length_m: float
    witness_diameter_m: float
    witness_ends: Ends
    """``sealed``: with wax or paint, so that it dries through its bark alone."""
    scale_error_kg: float | None
    """Of one weighing; None: as usual."""
    disc_moisture: float | None
    """Kg of water per kg of oven-dry wood, of a disc cut beside the piece on the first day that
    it was weighed."""


def read_measured(section: Section, stacks: Sequence[Pieces]) -> Measured:
    """Read ``[measured]``; whether the files are there is for their reader to say.

    Raises
    ------
    InputError
        At the first mistake.
    """
    section.only(
        *FILES, "stack", "witness_length", "witness_diameter", "witness_ends", "scale_error",
        "disc_wet", "disc_dry",
    )  # fmt: skip
    files = {key: section.file.parent / section.words(key) for key in FILES if section.has(key)}
    if not files:
        section.fail("weighings", f"missing; give at least one of {', '.join(FILES)}")
    stack = _stack(section, stacks)

    def size(key: str, usual: float, most: str) -> float:
        return section.quantity(key, "length", ("5 cm", most), f"{usual} m")

    return Measured(
        stack=stack.name,
        **{key: files.get(key) for key in FILES},
        witness_length_m=size("witness_length", stack.piece_length_m, "150 cm"),
        witness_diameter_m=size("witness_diameter", stack.diameter_m, "60 cm"),
        witness_ends=cast(Ends, section.choice("witness_ends", ("bare", "sealed"), "bare")),
        scale_error_kg=section.quantity("scale_error", "mass", ("1 g", "5 kg"))
        if section.has("scale_error")
        else None,
        disc_moisture=_disc_moisture(section),
    )


def _stack(section: Section, stacks: Sequence[Pieces]) -> Pieces:
    """The stack that the readings are of: the only one, or the one named."""
    names = ", ".join(f'"{stack.name}"' for stack in stacks)
    if not section.has("stack"):
        if len(stacks) > 1:
            section.fail("stack", f"missing; which stack the readings are of: {names}")
        return stacks[0]
    named = section.words("stack")
    for stack in stacks:
        if stack.name.casefold() == named.casefold():
            return stack
    section.fail("stack", f"no such stack; known: {names}")


def _disc_moisture(section: Section) -> float | None:
    if not (section.has("disc_wet") or section.has("disc_dry")):
        return None
    bounds = ("5 g", "50 kg")
    wet, dry = (section.quantity(key, "mass", bounds) for key in ("disc_wet", "disc_dry"))
    if not dry < wet:
        section.fail("disc_dry", "must be less than disc_wet: the disc dried in an oven")
    return wet / dry - 1.0
