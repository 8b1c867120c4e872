"""Station data on disk: one small CSV for each station, year and step.

A file is kept for good once its year is well past; the current year is asked for again after
half a day, and that a station has no file of a year is believed for a day at most. Without a
network an old file is better than none, and the caller is told.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import os
import time
import zlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from climate_risk.errors import RunError
from climate_risk.whole_file import is_abandoned, write_whole

CURRENT_TTL_S = 12 * 3600
LIST_TTL_S = 30 * 86400
ABSENT_TTL_S = 86400
SETTLED_AFTER_S = 45 * 86400
"""A year's file written this long after the year's end does not change any more."""


@dataclass(frozen=True)
class CachedTable:
    """A table read back, and whether it should be asked for again."""

    table: pd.DataFrame
    attribution: str
    fresh: bool


def cache_directory() -> Path:
    """``CLIMATE_RISK_CACHE``, or ``~/.cache/climate-risk``; made where it is absent."""
    path = Path(os.environ.get("CLIMATE_RISK_CACHE") or Path.home() / ".cache" / "climate-risk")
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RunError(
            f"{path}: the weather cache cannot be made ({error.strerror}); set "
            "CLIMATE_RISK_CACHE to a folder that can be written"
        ) from error
    return path


def cache_path(endpoint: str, *parts: str) -> Path:
    """Path of an entry; entries of different endpoints never meet."""
    server = hashlib.sha256(endpoint.encode()).hexdigest()[:12]
    return cache_directory().joinpath("stations", server, *parts)


def write_table(path: Path, table: pd.DataFrame, attribution: str) -> None:
    """Write whole or not at all."""
    text = f"# {attribution}\n" + table.to_csv()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for left in path.parent.glob(f".{path.name}.*"):  # of a process that was killed
            if is_abandoned(left):
                left.unlink(missing_ok=True)
        write_whole(path, gzip.compress(text.encode(), compresslevel=5))
    except OSError as error:
        raise RunError(
            f"{path}: the weather cache cannot be written ({error.strerror}); free some room "
            "or set CLIMATE_RISK_CACHE to another folder"
        ) from error


def read_table(path: Path, year: int | None = None) -> CachedTable | None:
    """Read an entry back; None where there is none or it is damaged.

    Parameters
    ----------
    path : Path
    year : int or None
        The year its data are of, which decides how long it holds; None for a station list.
    """
    try:
        text = gzip.decompress(path.read_bytes()).decode()
        written = path.stat().st_mtime
        first, _, rest = text.partition("\n")
        table = pd.read_csv(io.StringIO(rest), index_col=0, dtype={0: str})
        if year is not None:
            table.index = pd.to_datetime(table.index)
            table = table.astype("float64")
    except (OSError, EOFError, ValueError, zlib.error):
        return None
    age = time.time() - written
    if table.empty:
        fresh = age < (CURRENT_TTL_S if year == datetime.now(UTC).year else ABSENT_TTL_S)
    elif year is None:
        fresh = age < LIST_TTL_S
    else:
        settled = datetime(year + 1, 1, 1, tzinfo=UTC).timestamp() + SETTLED_AFTER_S
        fresh = written > settled or age < CURRENT_TTL_S
    return CachedTable(table, first.removeprefix("# "), fresh)
