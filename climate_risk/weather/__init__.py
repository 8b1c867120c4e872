"""Weather: from a file or the nearest stations to a checked, gap-free record and its hours."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd

from climate_risk.errors import InputError, RunError, plural
from climate_risk.site import Site
from climate_risk.weather import record_cache
from climate_risk.weather.fill import coverage, fill_gaps
from climate_risk.weather.hourly import to_hourly
from climate_risk.weather.normals import Days
from climate_risk.weather.record import (
    HourlyWeather,
    WeatherCoverage,
    WeatherRecord,
    forecast_start,
)
from climate_risk.weather.sources import read_all
from climate_risk.weather_options import LONGEST_WAIT_S, STATIONS, WeatherOptions, WeatherSource
from climate_risk.whole_file import write_whole

__all__ = [
    "HourlyWeather",
    "WeatherCoverage",
    "WeatherRecord",
    "clean_table",
    "load_left_out",
    "load_sources",
    "load_weather",
    "to_hourly",
    "write_clean_table",
]


def load_weather(
    source: str | Path,
    site: Site,
    first: date | None = None,
    last: date | None = None,
    columns: Mapping[str, object] | None = None,
    longest_wait_s: float = LONGEST_WAIT_S,
) -> WeatherRecord:
    """Weather of a site from one source, checked and filled.

    Parameters
    ----------
    source : str or Path
        ``meteostat`` for the nearest stations, or the path of a file.
    site : Site
    first, last : date, optional
        Days wanted. A file is cut to them; without them all of it is taken. Stations give
        the last 30 years to yesterday where they are left out.
    columns : mapping, optional
        The yard's ``[weather.columns]``, for a file; see `files.read_weather_file`.
    longest_wait_s : float
        Bound on all waiting for the network.

    Returns
    -------
    WeatherRecord
        The wanted days that the source has: it is never prolonged, a shortfall is a warning.

    Raises
    ------
    InputError
        The file cannot be used, or covers none of the wanted days.
    RunError
        The stations can be had neither from the network nor from the cache.
    """
    file = None if str(source) == STATIONS else Path(source)
    one = WeatherSource(file=file, columns=dict(columns or {}))
    options = WeatherOptions(sources=(one,), longest_wait_s=longest_wait_s)
    return load_sources(options, site, first, last)


def load_sources(
    options: WeatherOptions, site: Site, first: date | None = None, last: date | None = None
) -> WeatherRecord:
    """Weather of a site from all sources in the open and the history, checked and filled.

    A record made before of the same sources is taken from the cache. Parameters and errors as
    `load_weather`.
    """
    held = record_cache.read(record_cache.entry(options, site, first, last), options)
    if held is not None:
        return held
    record = _made(options, site, first, last)
    # The place is asked for again: fetching has changed the station files it is named by.
    if not record.coverage.partial:
        record_cache.write(record_cache.entry(options, site, first, last), record)
    return record


def load_left_out(options: WeatherOptions, site: Site, left_out: Days) -> WeatherRecord:
    """Weather of a site as :func:`load_sources` gives it, but with some days teaching nothing.

    Normals, the line of humidity, the difference of a neighbour and the rain that stands in for
    a gap come from other days alone.  The quality checks see the whole record: what they take
    out is wrong in any year.

    Parameters
    ----------
    left_out : (date, date)
        First and last day.
    """
    return fill_gaps(read_all(options, site, None, None, left_out), site, left_out)


def _made(
    options: WeatherOptions, site: Site, first: date | None, last: date | None
) -> WeatherRecord:
    raw = read_all(options, site, first, last)
    _refuse_elsewhen(raw.source, pd.DatetimeIndex(raw.table.index), first, last)
    record = fill_gaps(raw, site)
    start = pd.Timestamp(first) if first else record.table.index[0]
    stop = pd.Timestamp(last) + pd.Timedelta(hours=23) if last else record.table.index[-1]
    ahead = forecast_start(record.quality)
    if ahead is not None and stop + pd.Timedelta(hours=1) >= ahead:
        stop = record.table.index[-1]  # a forecast stays with the day before it
    table = record.table.loc[start:stop]
    quality = record.quality.loc[start:stop]
    _refuse_elsewhen(raw.source, pd.DatetimeIndex(table.index), first, last)
    seen = table.index if ahead is None else table.index[table.index < ahead]
    notes = (*record.coverage.warnings, *_shortfall(seen, first, last))
    cut = replace(raw, warnings=())
    counted = coverage(table, quality, cut, site, record.coverage.estimated, notes)
    counted = replace(counted, partial=raw.partial)
    return replace(record, table=table, quality=quality, coverage=counted)


def _refuse_elsewhen(
    source: str, index: pd.DatetimeIndex, first: date | None, last: date | None
) -> None:
    begins, ends = index.min(), index.max()
    late = first is not None and (len(index) == 0 or ends.date() < first)
    early = last is not None and (len(index) == 0 or begins.date() > last)
    if late or early:
        span = f"{begins:%Y-%m-%d} to {ends:%Y-%m-%d}" if len(index) else "no day"
        raise InputError(
            f"{source} covers none of the season: it has {span}, wanted is "
            f"{first or 'any day'} to {last or 'any day'}; accepted is weather of those days"
        )


def _shortfall(index: pd.Index, first: date | None, last: date | None) -> list[str]:
    notes = []
    begins, ends = index[0].date(), index[-1].date()
    if first is not None and begins > first:
        notes.append(f"weather starts {plural((begins - first).days, 'day')} late, on {begins}")
    if last is not None and ends < last:
        notes.append(f"weather stops {plural((last - ends).days, 'day')} early, on {ends}")
    return notes


def clean_table(record: WeatherRecord) -> str:
    """A record as CSV with canonical names, a ``<column>_quality`` beside each column."""
    flags = record.quality.add_suffix("_quality")
    names = [name for column in record.table for name in (column, f"{column}_quality")]
    table = pd.concat([record.table.round(4), flags], axis=1)[names]
    label = "date" if record.step == "daily" else "time"
    form = "%Y-%m-%d" if record.step == "daily" else "%Y-%m-%d %H:%M"
    return table.to_csv(index_label=label, date_format=form)


def write_clean_table(record: WeatherRecord, path: Path) -> None:
    """Write a record as CSV with canonical names, a ``<column>_quality`` beside each column.

    Parameters
    ----------
    record : WeatherRecord
    path : Path
        Appears whole or not at all. It can be read back as a weather file.

    Raises
    ------
    RunError
        The disk refuses.
    """
    text = clean_table(record)
    try:
        write_whole(path, text.encode("utf-8"))
    except OSError as error:
        raise RunError(
            f"{path}: cannot be written ({error.strerror}); give another place with --out"
        ) from error
