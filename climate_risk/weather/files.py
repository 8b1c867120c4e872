"""A grower's or an office's weather file, brought to the canonical columns and units."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from climate_risk.errors import InputError, plural, quoted, shown
from climate_risk.site import Site
from climate_risk.weather.columns import ALL, DAILY, HOURLY, recognise_header
from climate_risk.weather.dates import read_dates
from climate_risk.weather.layouts import read_layout
from climate_risk.weather.record import FloatArray, RawWeather, first_flags
from climate_risk.weather.text_table import read_text, text_table
from climate_risk.weather.unit_check import Reading, settle_units

Step = Literal["daily", "hourly"]
Mapped = Mapping[str, object]
TIME_NAMES = ("date", "time")
LARGE_CHARACTERS = 1_000_000
_TIME_HEADERS = ("date", "time", "datetime", "timestamp", "day", "date time", "date/time")
_BLANKS = {"", "na", "n/a", "nan", "null", "none", "-", "--", "m", "missing", "."}
_CODES = np.array(
    [sign * code for code in (99, 99.9, 99.99, 999, 999.9, 9999, 9999.9, 99999, 9900, 999.99,
                              9999.99) for sign in (1, -1)]
)  # fmt: skip


@dataclass(frozen=True)
class _Source(Reading):
    """Where one canonical column, or the time, comes from."""

    date_format: str | None = None
    zone: str | None = None


def read_weather_file(
    path: Path, site: Site, columns: Mapped | None = None, *, needs_rain: bool = True
) -> RawWeather:
    """Read a daily or hourly weather file.

    Parameters
    ----------
    path : Path
        CSV text. A header of canonical names with ``date`` or ``time`` is taken as it is;
        other headers are recognised by name and the unit in them.
    site : Site
        For the clock of times that carry an offset, and for what is plausible there.
    columns : mapping, optional
        The yard's ``[weather.columns]``: canonical name (or ``date``, ``time``) to a header
        of the file, or to a table with ``column`` and ``unit`` (for dates ``format``, for a
        civil clock ``zone``).
    needs_rain : bool
        False for one of several sources, which may lack it.

    Returns
    -------
    RawWeather
        Canonical units; codes for missing are blank; everything done is in its warnings.

    Raises
    ------
    InputError
        The file cannot be used as it stands; the line names where, and what would do.
    """
    content = read_text(path)
    if not columns and (laid_out := read_layout(path, content, site)):
        if needs_rain and "precip_mm" not in laid_out.table:
            raise InputError(
                f"{path}: {'; '.join(laid_out.warnings)}; accepted is weather with rain: add a "
                "[[weather.source]] that has it"
            )
        return laid_out
    if not columns and len(content) > LARGE_CHARACTERS:
        # Nonsense by the hundred megabytes is told by its first lines.
        top = text_table(path, content[:LARGE_CHARACTERS].rpartition("\n")[0])
        _time_column(path, top, _recognised(path, top, []))
    text = text_table(path, content)
    notes: list[str] = []
    sources = _mapped(path, text, columns) if columns else _recognised(path, text, notes)
    times = _times(path, text, sources, site)
    step, sources = _step(path, text, sources, times)
    known = DAILY if step == "daily" else HOURLY
    mistakes: list[str] = []
    data = {
        name: _values(path, text, name, source, notes, mistakes)
        for name, source in sources.items()
        if name in known
    }
    if mistakes:
        raise InputError(*mistakes)
    table = pd.DataFrame(data, index=text.index)
    _refuse_shares(path, table, sources)
    table, taken = settle_units(path, table, sources, times, site)
    notes += taken
    if step == "daily":
        _refuse_crossed(path, table)
        times = times.normalize()
    _note_negative_rain(table, notes)
    table, lines = _ordered(path, table, times, notes)
    if step == "hourly":
        table = _on_the_hour(table, lines, path, notes)
    table = table.dropna(axis=1, how="all")
    if needs_rain and "precip_mm" not in sources:
        raise InputError(
            f"{path}: no rain (precip_mm) among its columns {_listed(text.columns)}; accepted is "
            "weather with rain, since a drought must not be made up: give the column that name, "
            "or name it in [weather.columns]"
        )
    return RawWeather(
        table=table,
        quality=first_flags(table),
        step=step,
        source=f"file {shown(path.name)}",
        attribution=f"the user's file {shown(path.name)}",
        warnings=tuple(notes),
    )


def _times(
    path: Path, text: pd.DataFrame, sources: dict[str, _Source], site: Site
) -> pd.DatetimeIndex:
    """Dates or times of the rows; their column is taken out of `sources`."""
    name = _time_column(path, text, sources)
    if text.empty:
        raise InputError(f"{path}: no row after the header; accepted is one row a day or hour")
    when = sources.pop(name)
    cells = text[when.header]
    clock = sources.pop("time", None)
    if clock is not None and text[clock.header].str.match(r"\d{1,2}:\d{2}").any():
        cells = (cells + " " + text[clock.header]).str.strip().rename(clock.header)
    where = f"{path}, column {quoted(when.header)}"
    return read_dates(cells, where, site.utc_offset_hours, when.date_format, when.zone)


def _time_column(path: Path, text: pd.DataFrame, sources: dict[str, _Source]) -> str:
    for name in TIME_NAMES:
        if name in sources:
            return name
    raise InputError(
        f"{path}: no date column among {_listed(text.columns)}; accepted is a column "
        '"date" (daily) or "time" (hourly), or date = "..." in [weather.columns]'
    )


def _note_negative_rain(table: pd.DataFrame, notes: list[str]) -> None:
    bad = table.index[table["precip_mm"] < 0.0] if "precip_mm" in table else ()
    if len(bad):
        lines = ", ".join(map(str, bad[:5])) + (" ..." if len(bad) > 5 else "")
        notes.append(f"precip_mm: {len(bad)} negative values, not rain (lines {lines})")


def _listed(names: pd.Index) -> str:
    return shown(", ".join(map(str, names[:12])) + (" ..." if len(names) > 12 else ""))


def _recognised(path: Path, text: pd.DataFrame, notes: list[str]) -> dict[str, _Source]:
    """Sources found by header alone."""
    if any(str(header).upper().endswith("_ATTRIBUTES") for header in text.columns):
        raise InputError(
            f"{path}: columns with *_ATTRIBUTES come in several units; accepted is a unit for "
            'each in [weather.columns], such as air_temp_max_c = {column = "TMAX", '
            'unit = "tenths C"}'
        )
    sources: dict[str, _Source] = {}
    unused = []
    for header in text.columns:
        lower = str(header).lower()
        if lower in ALL:
            sources[lower] = _Source(header, ALL[lower].unit, stated=True)
        elif lower in _TIME_HEADERS:
            name = "date" if lower in ("date", "day") else "time"
            sources.setdefault(name, _Source(header, "", stated=False))
        elif lower.startswith(("date time", "time, ", "date, ")):
            sources.setdefault("time", _Source(header, "", stated=False))
        elif (found := recognise_header(str(header))) and found[0] not in sources:
            name, unit = found
            if unit and ALL[name].conversion(unit) is None:
                raise InputError(
                    f"{path}, column {quoted(header)}: unit {quoted(unit)} is not known; "
                    "accepted for "
                    f"{name} are {', '.join(ALL[name].units)}"
                )
            sources[name] = _Source(header, unit or ALL[name].unit, stated=bool(unit))
        else:
            unused.append(str(header))
    if unused:
        notes.append(f"columns not used: {shown(', '.join(unused))}")
    return sources


def _mapped(path: Path, text: pd.DataFrame, columns: Mapped) -> dict[str, _Source]:
    """Sources as the yard's column mapping states them; nothing else is used."""
    sources: dict[str, _Source] = {}
    for name, entry in columns.items():
        where = f"[weather.columns] {name}"
        valid = [*TIME_NAMES, *ALL]
        if name not in valid:
            near = difflib.get_close_matches(name, valid, 1, 0.3)
            raise InputError(
                f"{where}: not a weather column; nearest is "
                f"{quoted(near[0] if near else valid[0])}, "
                f"accepted are {', '.join(valid)}"
            )
        parts = {"column": entry} if isinstance(entry, str) else entry
        allowed = {"column", "format", "zone"} if name in TIME_NAMES else {"column", "unit"}
        if (
            not isinstance(parts, Mapping)
            or not {"column"} <= set(parts) <= allowed
            or not all(isinstance(part, str) for part in parts.values())
        ):
            raise InputError(
                f"{where}: {quoted(entry)} cannot be read; accepted is a header in quotes or "
                f'{{column = "...", {min(allowed - {"column"})} = "..."}}'
            )
        if parts["column"] not in text.columns:
            raise InputError(
                f"{where}: {path} has no column {quoted(parts['column'])}; accepted are "
                f"{_listed(text.columns)}"
            )
        unit = parts.get("unit", "")
        if unit and ALL[name].conversion(unit) is None:
            raise InputError(
                f"{where}: unit {quoted(unit)} is not known; accepted are "
                f"{', '.join(ALL[name].units)}"
            )
        default = ALL[name].unit if name in ALL else ""
        clock = parts.get("format"), parts.get("zone")
        sources[name] = _Source(parts["column"], unit or default, bool(unit), *clock)
    return sources


def _step(
    path: Path, text: pd.DataFrame, sources: dict[str, _Source], times: pd.DatetimeIndex
) -> tuple[Step, dict[str, _Source]]:
    """Daily or hourly, by the columns and the clock; names that depend on it put right."""
    has_clock = bool((times != times.normalize()).any())
    if not has_clock and {"air_temp_min_c", "air_temp_max_c"} <= set(sources):
        return "daily", sources
    if has_clock and "air_temp_c" not in sources and "air_temp_mean_c" in sources:
        sources["air_temp_c"] = sources.pop("air_temp_mean_c")
    if has_clock and "air_temp_c" in sources:
        sun = sources.pop("shortwave_mj_m2", None)
        if sun is not None and "shortwave_w_m2" not in sources:
            unit = sun.unit if sun.stated else "w/m2"
            sources["shortwave_w_m2"] = _Source(sun.header, unit, sun.stated)
        return "hourly", sources
    raise InputError(
        f"{path}: no usable temperature among {_listed(text.columns)}; accepted are "
        "air_temp_min_c and air_temp_max_c with a date, or air_temp_c with an hourly time, "
        "by these names or through [weather.columns]"
    )


def _values(
    path: Path,
    text: pd.DataFrame,
    name: str,
    source: _Source,
    notes: list[str],
    mistakes: list[str],
) -> FloatArray:
    """Numbers of one column in canonical units, missing codes blanked and counted."""
    cells = text[source.header]
    blank = cells.str.lower().isin(_BLANKS)
    trace = (cells.str.upper() == "T") & (name == "precip_mm")
    numbers = pd.to_numeric(cells.mask(blank).mask(trace, "0"), errors="coerce")
    bad = numbers.isna() & ~blank | np.isinf(numbers)
    mistakes += [
        f"{path}, line {line}, column {quoted(source.header)}: {quoted(cells.loc[line])} is not a "
        f"number; accepted is a number in {source.unit}, or blank for missing"
        for line in cells.index[bad]
    ]
    numbers = numbers.mask(bad)
    column = ALL[name]
    scale, offset = column.conversion(source.unit) or (1.0, 0.0)
    raw = numbers.to_numpy(np.float64)
    values = raw * scale + offset
    with np.errstate(invalid="ignore"):
        outside = (values < column.low) | (values > column.high)
    coded = np.isin(raw, _CODES) & outside
    if name == "precip_mm" and (raw == 99.99).sum() > 1:
        coded |= raw == 99.99
    if coded.any():
        shown = ", ".join(f"{code:g}" for code in np.unique(raw[coded]))
        notes.append(f"{name}: {plural(coded.sum(), 'value')} coded {shown} read as missing")
    if trace.any():
        notes.append(f"{name}: {plural(trace.sum(), 'trace')} (T) read as 0 mm")
    values[coded] = np.nan
    return values


def _refuse_shares(path: Path, table: pd.DataFrame, sources: dict[str, _Source]) -> None:
    humidity = table.get("rel_humidity_pct")
    if humidity is not None and humidity.notna().sum() >= 10 and humidity.max() <= 1.0:
        header = shown(sources["rel_humidity_pct"].header)
        raise InputError(
            f"{path}, column {header!r}: every value is 1 or less; accepted is percent, or "
            f'rel_humidity_pct = {{column = "{header}", unit = "fraction"}} in [weather.columns]'
        )


def _refuse_crossed(path: Path, table: pd.DataFrame) -> None:
    crossed = table["air_temp_min_c"] > table["air_temp_max_c"]
    if crossed.any():
        raise InputError(
            *(
                f"{path}, line {line}: minimum {row.air_temp_min_c:g} C is above maximum "
                f"{row.air_temp_max_c:g} C; accepted are a minimum at or below the maximum, or "
                "blanks for missing"
                for line, row in table[crossed].iterrows()
            )
        )


def _ordered(
    path: Path, table: pd.DataFrame, times: pd.DatetimeIndex, notes: list[str]
) -> tuple[pd.DataFrame, pd.Series]:
    """Rows in order of time, one per time; also the line of each."""
    lines = pd.Series(table.index.to_numpy(), index=times)
    table = table.set_axis(times, axis=0)
    if not times.is_monotonic_increasing:
        notes.append("the rows were not in order of time; they were sorted")
        order = np.argsort(times.to_numpy(), kind="stable")
        table, lines = table.iloc[order], lines.iloc[order]
    again = table.index.duplicated()
    if again.any():
        alike = table.reset_index().duplicated(keep="first").to_numpy()
        conflict = again & ~alike
        if conflict.any():
            when = table.index[conflict][0]
            both = lines.loc[[when]]
            raise InputError(
                f"{path}, lines {both.iloc[0]} and {both.iloc[-1]}: two different rows for "
                f"{when:%Y-%m-%d %H:%M}; accepted is one row per time, in standard time "
                '(no summer clock), or the clock\'s own name: time = {column = "...", '
                'zone = "America/New_York"} in [weather.columns]'
            )
        notes.append(f"{plural(again.sum(), 'row')} given twice, the second copy dropped")
    return table[~again], lines[~again]


def _on_the_hour(
    table: pd.DataFrame, lines: pd.Series, path: Path, notes: list[str]
) -> pd.DataFrame:
    """Readings folded to hours labelled by their start; rain summed, the rest averaged."""
    index = pd.DatetimeIndex(table.index)
    spacing = pd.Series(index).diff().median()
    if len(index) > 1 and spacing > pd.Timedelta(hours=1):
        raise InputError(
            f"{path}, line {lines.iloc[1]}: the usual step of {spacing} is neither hourly nor "
            "daily; accepted are steps of an hour or less, or one row a day"
        )
    hours = index.floor("h")
    if not hours.duplicated().any():
        return table.set_axis(hours, axis=0)
    notes.append(f"{len(index)} readings folded to hours (rain summed, the rest averaged)")
    grouped = table.groupby(hours)
    folded = grouped.mean()
    if "precip_mm" in table:
        folded["precip_mm"] = grouped["precip_mm"].sum(min_count=1)
    return folded
