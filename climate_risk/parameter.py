"""A number with its range, unit and source, and the reading of tables made of them."""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, Field, dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any, Literal, TypeAlias, TypeVar

from climate_risk.errors import InputError

FOLDER = Path(__file__).parent / "tables"
CONFIDENCE = {
    "A": "measured on the species, near to our use",
    "B": "measured on another material or strain, or two independent sources agree",
    "C": "extension or handbook figure, or derived from dated field observations",
    "D": "judgement",
}
READ = ("text", "abstract", "memory", "practice", "judgement")


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """A best estimate, its range and where it comes from."""

    value: float
    low: float
    high: float
    unit: str
    source: str
    """Key in sources.toml."""
    confidence: Literal["A", "B", "C", "D"]
    note: str = ""
    scale: Literal["linear", "log"] = "linear"
    """How a draw spreads over the range: uniform in the value or in its logarithm."""

    def __post_init__(self) -> None:
        if not all(math.isfinite(number) for number in (self.low, self.value, self.high)):
            raise ValueError("value, low and high must be finite numbers")
        if not self.low <= self.value <= self.high:
            raise ValueError(f"{self.value} is not within {self.low} to {self.high}")
        if self.confidence not in CONFIDENCE:
            raise ValueError(f"confidence {self.confidence!r} is none of {', '.join(CONFIDENCE)}")
        if self.scale not in ("linear", "log"):
            raise ValueError(f"scale {self.scale!r} is neither linear nor log")
        if self.scale == "log" and self.low <= 0.0:
            raise ValueError("a log scale needs a low above 0")
        if self.source not in sources():
            raise ValueError(f"source {self.source!r} is not in sources.toml")


Drawn: TypeAlias = Parameter
"""A parameter that every case draws from its range; see :mod:`climate_risk.schema`."""


@dataclass(frozen=True, kw_only=True)
class Source:
    """A citation, and how much of it was read."""

    citation: str
    read: Literal["text", "abstract", "memory", "practice", "judgement"]

    def __post_init__(self) -> None:
        if self.read not in READ:
            raise ValueError(f"read {self.read!r} is none of {', '.join(READ)}")


@dataclass(frozen=True, kw_only=True)
class Row:
    """What every row of a table has."""

    name: str
    aliases: tuple[str, ...] = ()


AnyRow = TypeVar("AnyRow", bound=Row)


@cache
def sources() -> Mapping[str, Source]:
    """Every source that a table cites, by key."""
    return {key: Source(**entry) for key, entry in read_table("sources").items()}


def find(name: str, mapping: Mapping[str, AnyRow], what: str) -> AnyRow:
    """Row by name or alias, whatever the case, the hyphens and the apostrophe.

    Parameters
    ----------
    name : str
        As a user wrote it.
    mapping : mapping of str to row
        Such as :func:`woods`.
    what : str
        What is looked for, for the message: ``"wood"``.

    Raises
    ------
    InputError
        No row has this name; the message tells the nearest and lists all.
    """
    rows = {_plain(known): row for row in mapping.values() for known in (row.name, *row.aliases)}
    row = rows.get(_plain(name))
    if row is not None:
        return row
    near = difflib.get_close_matches(_plain(name), rows, n=1, cutoff=0.5)
    hint = f'; nearest: "{rows[near[0]].name}"' if near else ""
    raise InputError(f'no {what} "{_one_line(name)}"{hint}; known: {", ".join(mapping)}')


def _plain(name: str) -> str:
    letters = name.casefold().replace("-", " ").replace("'", "").replace("\u2019", "")
    return " ".join(letters.split())


def _one_line(text: str) -> str:
    return text.encode("unicode_escape").decode("ascii") if not text.isprintable() else text


def read_table(stem: str) -> dict[str, Any]:
    return tomllib.loads((FOLDER / f"{stem}.toml").read_text(encoding="utf-8"))


def read_rows(kind: type[AnyRow], raw: Mapping[str, Any]) -> Mapping[str, AnyRow]:
    shared = raw.get("all", {})
    rows = {name: read_row(kind, name, shared | raw[name]) for name in raw if name != "all"}
    known = [_plain(word) for row in rows.values() for word in (row.name, *row.aliases)]
    if len(known) != len(set(known)):
        raise ValueError(f"{kind.__name__}: a name or alias stands twice")
    return rows


def read_row(kind: type[AnyRow], name: str, raw: Mapping[str, Any]) -> AnyRow:
    """Build one row; every field must be there and no other key.

    Raises
    ------
    ValueError
        Naming the row and the key, so that a bad table is caught by the tests.
    """
    known = {field.name: field for field in fields(kind)}
    unknown = raw.keys() - known.keys()
    if unknown:
        raise ValueError(f"{kind.__name__} {name}: unknown key {', '.join(sorted(unknown))}")
    values: dict[str, Any] = {"name": name}
    for key, field in known.items():
        if key in raw:
            values[key] = _value(raw[key], field, f"{kind.__name__} {name}: {key}")
        elif key not in values and field.default is MISSING:
            raise ValueError(f"{kind.__name__} {name}: {key} is missing")
    try:
        return kind(**values)
    except ValueError as error:
        raise ValueError(f"{kind.__name__} {name}: {error}") from error


def _value(raw: Any, field: Field[Any], where: str) -> Any:
    """Turn a TOML value into what the field's annotation says."""
    if field.type in ("Parameter", "Drawn"):
        return _parameter(raw, where)
    if field.type == "Mapping[str, Parameter]":
        return {key: _parameter(entry, f"{where}.{key}") for key, entry in raw.items()}
    if field.type == "tuple[str, ...]":
        return tuple(raw)
    return raw


def _parameter(raw: Any, where: str) -> Parameter:
    try:
        return Parameter(**raw)
    except (TypeError, ValueError) as error:
        raise ValueError(f"{where}: {error}") from error
