"""The ``[weather]`` part of a yard file: where the weather comes from, and for which days."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any, Literal, cast

from climate_risk.toml_section import Section

STATIONS = "meteostat"
"""What a yard file writes for the nearest stations."""
LONGEST_WAIT_S = 300.0
Role = Literal["stand", "station"]


@dataclass(frozen=True, kw_only=True)
class WeatherSource:
    """One source and the days it is taken for."""

    file: Path | None
    """None: the nearest stations."""
    role: Role = "station"
    """``stand``: a logger below the canopy; ``station``: in the open."""
    first: date | None = None
    last: date | None = None
    columns: Mapping[str, Any] = field(default_factory=dict)
    """As written; the weather reader checks it against the file."""

    @property
    def name(self) -> str:
        """What a message calls it."""
        return self.file.name if self.file else STATIONS


@dataclass(frozen=True, kw_only=True)
class WeatherOptions:
    """Sources in the order of the file, the first that has a value wins."""

    sources: tuple[WeatherSource, ...] = (WeatherSource(file=None),)
    history: WeatherSource | None = None
    """Where past years come from if the sources have too few."""
    longest_wait_s: float = LONGEST_WAIT_S
    """Bound on all waiting for the network."""
    forecast: bool = True
    """Whether the coming days are taken from the stations' service, where it has them."""

    def named(self, source: str | Path | None) -> WeatherOptions:
        """With one source, by its file or as :data:`STATIONS`, in place of all; None: as it is."""
        if source is None:
            return self
        columns = next((s.columns for s in self.sources if s.file and s.columns), {})
        file = None if str(source) == STATIONS else Path(source)
        return replace(self, sources=(WeatherSource(file=file, columns=columns),))


def read_weather_options(section: Section) -> WeatherOptions:
    """Read ``[weather]``; whether a file is there is for the weather reader to say.

    Raises
    ------
    InputError
        At the first mistake.
    """
    section.only("file", "columns", "history", "source", "longest_wait_s", "forecast")
    columns = section.section("columns").raw
    wait = section.number("longest_wait_s", 1.0, 86_400.0, default=LONGEST_WAIT_S)
    sources = tuple(_source(each) for each in section.sections("source"))
    if section.has("file"):
        if sources:
            section.fail("file", "give either file or [[weather.source]], not both")
        sources = (WeatherSource(file=_path(section, "file"), columns=columns),)
    elif columns and sources:
        section.fail("columns", "give each [[weather.source]] its own columns = {...}")
    history = None
    if section.has("history"):
        history = WeatherSource(file=_path(section, "history"))
    if not sources:
        sources = (WeatherSource(file=None, columns=columns),)
    return WeatherOptions(
        sources=sources,
        history=history,
        longest_wait_s=wait,
        forecast=section.flag("forecast", default=True),
    )


def _source(section: Section) -> WeatherSource:
    section.only("file", "kind", "role", "from", "to", "columns")
    if section.has("file") == section.has("kind"):
        section.fail("file", f'give file = "..." or kind = "{STATIONS}", one of the two')
    file = _path(section, "file") if section.has("file") else None
    if section.has("kind"):
        section.choice("kind", (STATIONS,))
    first = section.day("from") if section.has("from") else None
    last = section.day("to") if section.has("to") else None
    if first and last and last < first:
        section.fail("to", f"must not be before from, {first}")
    role = section.choice("role", ("stand", "station"), default="station")
    if role == "stand" and file is None:
        section.fail("role", "stations stand in the open; a stand's logger is a file")
    return WeatherSource(
        file=file,
        role=cast(Role, role),
        first=first,
        last=last,
        columns=section.section("columns").raw,
    )


def _path(section: Section, key: str) -> Path | None:
    """Path relative to the yard file; None for the nearest stations."""
    words = section.words(key)
    return None if words == STATIONS else section.file.parent / words
