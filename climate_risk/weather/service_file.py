"""A year's file of the station service, as it is downloaded: one value and its source a column.

The layout is published at dev.meteostat.net (bulk data): the time in three or four columns
(year, month, day, and in hourly files the hour of UTC), then each value followed by
``<value>_source``. Values that a model made are not weather that was seen.
"""

from __future__ import annotations

import gzip
import io
import zlib

import pandas as pd

DAYS, HOURS = ("year", "month", "day"), ("year", "month", "day", "hour")


class DamagedFile(Exception):
    """What came is not such a file; its text says in a few words what it is."""


def read_service_file(data: bytes) -> tuple[pd.DataFrame, pd.DataFrame, frozenset[str]]:
    """Read one downloaded file.

    Parameters
    ----------
    data : bytes
        Gzip or plain.

    Returns
    -------
    seen : DataFrame
        float64 values in the service's own columns and units, on naive days or UTC hours.
    forecast : DataFrame
        The same of rows and values that a model made.
    sources : frozenset of str
        Ids of the providers of what was seen, and of what is foretold for after that.

    Raises
    ------
    DamagedFile
        Cut off, no table of this layout, or two different rows for one time.
    """
    table = _table(data)
    parts = HOURS if "hour" in table else DAYS
    if table.empty:
        empty = pd.DataFrame(index=pd.DatetimeIndex([], name="time"))
        return empty, empty, frozenset()
    table = table.drop_duplicates()
    try:
        numbers = table[list(parts)].astype("int64")
        time = pd.to_datetime(numbers)
    except (ValueError, TypeError) as error:
        raise DamagedFile("a row without a proper date") from error
    if time.duplicated().any():
        raise DamagedFile(f"two different rows for {time[time.duplicated()].iloc[0]}")
    table = table.set_axis(pd.DatetimeIndex(time, name="time"), axis=0).sort_index()
    names = [n for n in table if n not in parts and not str(n).endswith("_source")]
    values, made = {}, {}
    used: set[str] = set()
    for name in names:
        value = pd.to_numeric(table[name], errors="coerce").astype("float64")
        source = table.get(f"{name}_source")
        model = pd.Series(False, index=table.index)
        if source is not None:
            model = source.isin([s for s in source.unique() if _is_model(str(s))])
            used |= {word for s in source[~model & value.notna()].unique() for word in s.split()}
        values[name], made[name] = value.mask(model), value.where(model)
    seen = pd.DataFrame(values, index=table.index).dropna(how="all")
    forecast = pd.DataFrame(made, index=table.index).dropna(how="all")
    ahead = forecast if seen.empty else forecast[forecast.index > seen.index[-1]]
    for name in names:
        if f"{name}_source" in table:
            used |= {
                w for s in table.loc[ahead.index, f"{name}_source"].unique() for w in s.split()
            }
    return seen, forecast, frozenset(used)


def attribution(sources: frozenset[str]) -> str:
    """Whom to thank, by the service's own list of providers."""
    owners = {
        spec.license.attribution
        for spec in _providers()
        if str(spec.id) in sources and spec.license and spec.license.attribution
    }
    return ", ".join(["Meteostat", *sorted(owners)])


def _providers() -> list:  # type: ignore[type-arg]
    import meteostat  # noqa: F401  (fills the list of providers)
    from meteostat.core.providers import provider_service

    return list(provider_service.providers)


def _is_model(source: str) -> bool:
    """True where none but forecasts stand behind a value."""
    from meteostat.enumerations import Grade

    if not source.split():
        return False
    grades = {str(spec.id): spec.grade for spec in _providers()}
    weak = (Grade.FORECAST, Grade.ANALYSIS)
    return all(grades.get(word) in weak for word in source.split())


def _table(data: bytes) -> pd.DataFrame:
    try:
        text = (gzip.decompress(data) if data[:2] == b"\x1f\x8b" else data).decode("utf-8")
    except (OSError, EOFError, zlib.error, UnicodeDecodeError) as error:
        raise DamagedFile("the file is cut off or damaged") from error
    if not text.strip():
        raise DamagedFile("the file is empty")
    if text.lstrip().startswith("<"):
        raise DamagedFile("a web page came in place of the file")
    try:
        table = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    except (ValueError, pd.errors.ParserError) as error:
        raise DamagedFile("no table of weather") from error
    if list(table.columns[:3]) != list(DAYS):
        raise DamagedFile("no table of weather")
    return table
