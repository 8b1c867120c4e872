"""Finished records on disk, so that the second run on the same weather starts at once.

An entry is found again only while everything it was made of is the same: the files' contents,
the station files in the cache, the place, the days and this package's own source. Where
stations are part of it, it is believed no longer than the current year's station file.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import sys
import time
import zipfile
import zlib
from dataclasses import asdict
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from climate_risk.errors import RunError
from climate_risk.site import Site
from climate_risk.weather.record import Given, WeatherCoverage, WeatherRecord
from climate_risk.weather.station_cache import CURRENT_TTL_S, cache_directory
from climate_risk.weather.text_table import MAX_BYTES
from climate_risk.weather_options import WeatherOptions, WeatherSource
from climate_risk.whole_file import write_whole

DAYS = ("first", "last", "forecast_to")
KEPT = 20
"""Entries on disk; the oldest go."""


def entry(
    options: WeatherOptions, site: Site, first: date | None, last: date | None
) -> Path | None:
    """Where the record of these options is kept; None where there is no place for it."""
    sources = (*options.sources, *([options.history] if options.history else []))
    parts: list[object] = [_source_of_the_package(), asdict(site), str(first), str(last)]
    parts.append(options.forecast)
    try:
        for source in sources:
            parts += [source.role, str(source.first), str(source.last), repr(source.columns)]
            parts.append(_fingerprint(source))
        folder = cache_directory() / "records"
        folder.mkdir(exist_ok=True)
    except (OSError, RunError):
        return None
    digest = hashlib.sha256(repr(parts).encode()).hexdigest()
    return folder / f"{digest[:32]}.npz"


def read(path: Path | None, options: WeatherOptions) -> WeatherRecord | None:
    """The record of an entry; None where there is none, or it is old or damaged."""
    if path is None:
        return None
    try:
        if _has_stations(options) and time.time() - path.stat().st_mtime > CURRENT_TTL_S:
            return None
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as held:
            about = json.loads(str(held["about"]))
            index = pd.DatetimeIndex(held["index"], freq=about["freq"])
            names = about["columns"]
            table = pd.DataFrame(dict(zip(names, held["values"], strict=True)), index=index)
            flags = {
                name: np.array(about["flags"][name], dtype=object)[codes]
                for name, codes in zip(names, held["codes"], strict=True)
            }
    except (OSError, ValueError, LookupError, TypeError, EOFError, zipfile.BadZipFile, zlib.error):
        return None
    coverage = about["coverage"]
    days = {key: date.fromisoformat(coverage[key]) for key in DAYS if coverage[key] is not None}
    given = [
        each | {key: date.fromisoformat(each[key]) for key in ("first", "last")}
        for each in coverage["given"]
    ]
    coverage |= days | {
        "warnings": tuple(coverage["warnings"]),
        "given": tuple(Given(**each) for each in given),
    }
    return WeatherRecord(
        table=table,
        quality=pd.DataFrame(flags, index=index, dtype=object),
        step=about["step"],
        coverage=WeatherCoverage(**coverage),
    )


def write(path: Path | None, record: WeatherRecord) -> None:
    """Keep a record; a disk that refuses is no reason to fail, the record is there."""
    if path is None:
        return
    names = list(map(str, record.table.columns))
    codes, flags = [], {}
    for name in names:
        numbers, kinds = pd.factorize(record.quality[name])
        codes.append(numbers.astype(np.uint16))
        flags[name] = list(map(str, kinds))
    index = pd.DatetimeIndex(record.table.index)
    about = {
        "columns": names,
        "flags": flags,
        "freq": index.freqstr,
        "step": record.step,
        "coverage": asdict(record.coverage),
    }
    target = io.BytesIO()
    np.savez(
        target,
        about=np.array(json.dumps(about, default=str)),
        index=index.to_numpy(),
        values=np.stack([record.table[name].to_numpy(np.float64) for name in names]),
        codes=np.stack(codes),
    )
    try:
        write_whole(path, target.getvalue())
        for old in sorted(path.parent.glob("*.npz"), key=lambda p: -p.stat().st_mtime)[KEPT:]:
            old.unlink(missing_ok=True)
    except OSError:
        return


def _fingerprint(source: WeatherSource) -> str:
    if source.file is not None:
        if not source.file.is_file() or source.file.stat().st_size > MAX_BYTES:
            raise OSError("not a file of weather")
        with source.file.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    stations = sorted((cache_directory() / "stations").rglob("*.csv.gz"))
    marks: list[object] = [(str(path), path.stat().st_mtime_ns) for path in stations]
    marks += sorted((name, text) for name, text in os.environ.items() if name.startswith("MS_"))
    if "meteostat" in sys.modules:  # else its settings are those of the environment
        settings = sys.modules["meteostat"].config
        marks += [settings.hourly_endpoint, settings.daily_endpoint]
        marks += settings.stations_db_endpoints
    return hashlib.sha256(repr(marks).encode()).hexdigest()


def _has_stations(options: WeatherOptions) -> bool:
    sources = (*options.sources, *([options.history] if options.history else []))
    return any(source.file is None for source in sources)


@cache
def _source_of_the_package() -> str:
    """Hash of the code that makes records, so that a new version makes them anew."""
    folder = Path(__file__).parent
    code = b"".join(path.read_bytes() for path in sorted(folder.glob("*.py")))
    return hashlib.sha256(code).hexdigest()
