"""Checked reading of a user's TOML: every mistake becomes one line that names its place."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, NoReturn, TypeVar, cast

from climate_risk.errors import InputError, shown
from climate_risk.parameter import AnyRow, find
from climate_risk.units import Dimension, parse_quantity

FIRST_YEAR, LAST_YEAR = 1900, 2100

_HEADER = re.compile(r"\s*(\[\[?)\s*([\w.\s-]+?)\s*\]\]?")
_KEY = re.compile(r"\s*[\"']?([\w-]+)[\"']?\s*[.=]")

Result = TypeVar("Result")
Place = tuple[tuple[str, int], ...]
"""Header of a section, as (name, number among its like) from the outermost in."""


class Mistake(InputError):
    """One mistake in a TOML file; knows the key, so that the rest can be read without it."""

    def __init__(self, line: str, raw: Mapping[str, Any], key: str) -> None:
        super().__init__(line)
        self.raw = cast(dict[str, Any], raw)
        self.key = key


def every_mistake(*reads: Callable[[], Result]) -> list[Result]:
    """Results of several readings, or all mistakes of all of them in one error.

    A reading with a mistake goes on without the key, as long as it can do without.

    Raises
    ------
    InputError
        With a line for each mistake, in the order of the readings.
    """
    lines: list[str] = []
    results = []
    dropped: set[int] = set()
    for read in reads:
        while True:
            try:
                results.append(read())
            except Mistake as error:
                # What is missing after a key was dropped may be missing for that.
                if error.key in error.raw or id(error.raw) not in dropped:
                    lines += error.lines
                if error.key not in error.raw:
                    break
                dropped.add(id(error.raw))
                del error.raw[error.key]
                continue
            except InputError as error:
                lines += error.lines
            break
    if lines:
        raise InputError(*dict.fromkeys(lines))
    return results


def every_part(reads: Mapping[str, Callable[[], Any]]) -> dict[str, Any]:
    """Results by name, of readings that each have one; names of blanks are for checks alone."""
    results = every_mistake(*reads.values())
    return {name: value for name, value in zip(reads, results, strict=True) if name.strip()}


@dataclass(frozen=True)
class Section:
    """One table of a TOML file, with what it takes to name a mistake in it."""

    file: Path
    text: str
    raw: Mapping[str, Any]
    place: Place = ()
    label: str = ""
    """How a message calls the table, such as ``[[stack]] 2 "North row"``."""

    def fail(self, key: str, problem: str) -> NoReturn:
        """Raise the InputError for ``key``."""
        raise self.mistake(key, problem)

    def mistake(self, key: str, problem: str) -> Mistake:
        """The InputError for ``key``, quoting its value and line where it has them."""
        where = [self.file.name, self.label, self._quoted(key)]
        line = _line_of(self.text, self.place, key)
        at = f" (line {line})" if line else ""
        line_of_text = ": ".join(part for part in where if part) + f": {problem}{at}"
        return Mistake(line_of_text, self.raw, key)

    def only(self, *keys: str) -> None:
        """Refuse every key but these, naming the nearest."""
        for key in self.raw:
            if key not in keys:
                near = difflib.get_close_matches(key, keys, n=1, cutoff=0.5)
                hint = f"; nearest: {near[0]}" if near else ""
                self.fail(key, f"unknown key{hint}; known: {', '.join(keys)}")

    def has(self, key: str) -> bool:
        """Whether the key is there."""
        return key in self.raw

    def words(self, key: str, default: str | None = None) -> str:
        """Text that is not empty."""
        value = self._get(key, default)
        if not isinstance(value, str) or not value.strip():
            self.fail(key, "give it as text in quotes")
        if not value.isprintable():
            self.fail(key, "give it on one line")
        return value.strip()

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A plain number within bounds."""
        value = self._get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.fail(key, "give it as a number without quotes")
        if not low <= value <= high:
            self.fail(key, f"must be {_span(low, high)}")
        return float(value)

    def count(self, key: str, low: int, high: int, default: int | None = None) -> int:
        """A whole number within bounds."""
        value = self._get(key, default)
        if isinstance(value, bool) or not isinstance(value, int):
            self.fail(key, "give it as a whole number without quotes")
        if not low <= value <= high:
            self.fail(key, f"must be {_span(low, high)}")
        return value

    def quantity(
        self,
        key: str,
        dimension: Dimension,
        bounds: tuple[str, str],
        default: str | None = None,
    ) -> float:
        """A number with its unit, within bounds written alike; see :func:`parse_quantity`."""
        value = self._get(key, default)
        try:
            size = parse_quantity(value, dimension)
        except ValueError as error:
            self.fail(key, str(error))
        low, high = (parse_quantity(bound, dimension) for bound in bounds)
        if not low <= size <= high:
            self.fail(key, f"must be {bounds[0]} to {bounds[1]}")
        return size

    def day(self, key: str, also: str = "") -> date:
        """A date, with or without quotes; ``also`` names what else the caller takes."""
        value = self._get(key, None)
        if isinstance(value, str):
            try:
                value = date.fromisoformat(value)
            except ValueError:
                self.fail(key, f"no such date; write it as 2025-04-12{also}")
        if isinstance(value, datetime) or not isinstance(value, date):
            self.fail(key, "give it as a date such as 2025-04-12")
        if not FIRST_YEAR <= value.year <= LAST_YEAR:
            self.fail(key, f"the year must be {FIRST_YEAR} to {LAST_YEAR}")
        return value

    def flag(self, key: str, default: bool) -> bool:
        """True or false."""
        value = self._get(key, default)
        if not isinstance(value, bool):
            self.fail(key, "must be true or false, without quotes")
        return value

    def named(
        self, key: str, rows: Mapping[str, AnyRow], what: str, default: str | None = None
    ) -> AnyRow:
        """A row of a table, by name or alias."""
        name = self.words(key, default)
        try:
            return find(name, rows, what)
        except InputError as error:
            self.fail(key, str(error))

    def choice(self, key: str, options: tuple[str, ...], default: str | None = None) -> str:
        """One of a few words, whatever the case."""
        word = self.words(key, default).casefold()
        if word not in options:
            self.fail(key, f"must be {' or '.join(options)}")
        return word

    def list_of_words(self, key: str) -> tuple[str, ...]:
        """A list of texts, none twice, at least one."""
        value = self._get(key, None)
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            self.fail(key, 'give it as a list such as ["one", "another"]')
        if not all(item.isprintable() for item in value):
            self.fail(key, "give each entry on one line")
        return self._list(key)

    def list_of_numbers(self, key: str, low: float, high: float) -> tuple[float, ...]:
        """A list of plain numbers within bounds, none twice, at least one."""
        value = self._get(key, None)
        if not isinstance(value, list) or any(
            isinstance(item, bool) or not isinstance(item, int | float) for item in value
        ):
            self.fail(key, "give it as a list of numbers such as [2, 4]")
        if not all(low <= item <= high for item in value):
            self.fail(key, f"each must be {_span(low, high)}")
        return tuple(float(item) for item in self._list(key))

    def _list(self, key: str) -> tuple[Any, ...]:
        value = self.raw[key]
        if not value:
            self.fail(key, "the list is empty; leave the key out for the usual set")
        if len(value) != len(set(value)):
            self.fail(key, "an entry stands twice")
        return tuple(value)

    def section(self, key: str) -> Section:
        """The table ``[key]``, empty where the file has none."""
        value = self.raw.get(key, {})
        if not isinstance(value, dict):
            self.fail(key, f"must be a table: [{self._path(key)}]")
        return Section(
            self.file, self.text, value, (*self.place, (key, 1)), f"[{self._path(key)}]"
        )

    def sections(self, key: str) -> Iterator[Section]:
        """The tables ``[[key]]``, in order, each called by its number and its own name."""
        value = self.raw.get(key, [])
        path = self._path(key)
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.fail(key, f"write each one under [[{path}]], in double brackets")
        outer = f"{self.label}, " if self.place else ""
        for number, item in enumerate(value, start=1):
            name = item.get("name", item.get("kind"))
            called = f" {_shown(name)}" if isinstance(name, str) else ""
            yield Section(
                self.file,
                self.text,
                item,
                (*self.place, (key, number)),
                f"{outer}[[{path}]] {number}{called}",
            )

    def _path(self, key: str) -> str:
        return ".".join([name for name, _ in self.place] + [key])

    def _get(self, key: str, default: Any) -> Any:
        if key in self.raw:
            return self.raw[key]
        if default is None:
            self.fail(key, "missing")
        return default

    def _quoted(self, key: str) -> str:
        value = self.raw.get(key)
        name = shown(key) if key.isprintable() else _shown(key)
        if isinstance(value, date):
            return f"{name} = {value.isoformat()}"
        if isinstance(value, str | int | float):
            return f"{name} = {_shown(value)}"
        return name


def read_toml(path: Path) -> tuple[Section, bytes]:
    """Read a whole file.

    Returns
    -------
    (Section, bytes)
        The outermost table, and the file as it is on disk, to be hashed.

    Raises
    ------
    InputError
        No such file, not text, or not TOML; the last two name the line.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror or error}") from error
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise InputError(f"{path.name}: line {line} is not UTF-8 text; save it as such") from error
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # beyond TOMLDecodeError: absurd size or depth
        last = f"line {len(text.splitlines())}, end of document"
        problem = shown(str(error).replace("end of document", last))
        raise InputError(
            f"{path.name}: not valid TOML: {problem}; accepted are dates as 2026-04-12, numbers "
            "without units, all else in quotes, each key once"
        ) from error
    return Section(path, text, raw), content


def _shown(value: str | float) -> str:
    """Value as TOML writes it, on one line."""
    unprintable = isinstance(value, str) and not value.isprintable()
    return shown(json.dumps(value, ensure_ascii=unprintable))


def _span(low: float, high: float) -> str:
    return f"{low:,.10g} to {high:,.10g}"


def _line_of(text: str, place: Place, key: str) -> int | None:
    """Line of a key, or of its section's header; None where neither is found.

    A plain search, not a parser: inside a multi-line string it may be wrong, which costs a
    reader no more than a glance.
    """
    seen: dict[str, int] = {}
    here: Place = ()
    header_line = None
    for number, line in enumerate(text.splitlines(), start=1):
        header = _HEADER.match(line)
        if header:
            names = [name.strip() for name in header[2].split(".")]
            path = ".".join(names)
            seen[path] = seen.get(path, 0) + 1 if header[1] == "[[" else 1
            for other in [known for known in seen if known.startswith(f"{path}.")]:
                del seen[other]
            depths = range(1, len(names) + 1)
            here = tuple((names[d - 1], seen.get(".".join(names[:d]), 1)) for d in depths)
            if here == place:
                header_line = number
            elif here == (*place, (key, 1)):
                return number
        else:
            found = _KEY.match(line)
            if here == place and found and found[1] == key:
                return number
    return header_line
