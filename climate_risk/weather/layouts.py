"""Published layouts of weather services, known by their content and not by their name.

Sources, each from the service's own description: NCEI, GHCN-Daily readme (by station, and fixed
width); NCEI, ISD-Lite format of 2006-06-20; NCEI, Global Summary of the Day readme;
EnergyPlus Auxiliary Programs, EPW data dictionary; dev.meteostat.net, bulk data. What stands
there of hours of observation and flags is from memory where a remark says so.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from climate_risk.errors import InputError, plural, shown
from climate_risk.site import Site
from climate_risk.weather.record import RawWeather, first_flags
from climate_risk.weather.service_file import DamagedFile, attribution, read_service_file
from climate_risk.weather.stations import canonical_days, canonical_hours, folded

FIRST_LINES = 30
_BY_STATION = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9},\d{8},[A-Z0-9]{4},-?\d+,")
_BY_STATION_HEAD = re.compile(r"ID,DATE,ELEMENT,DATA_VALUE", re.IGNORECASE)
_FIXED = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9}\d{6}[A-Z0-9]{4}[ \d-]{5}")
_ISD_LITE = re.compile(r"\d{4} \d{2} \d{2} \d{2}(\s+-?\d+){8}\s*$")
MORNING = (400, 1000)
"""Observation times (hhmm) at which a day's rain and maximum belong to the day before."""
GHCN = {
    "TMIN": ("air_temp_min_c", 0.1),
    "TMAX": ("air_temp_max_c", 0.1),
    "TAVG": ("air_temp_mean_c", 0.1),
    "PRCP": ("precip_mm", 0.1),
    "AWND": ("wind_ms", 0.1),
    "SNWD": ("snow_depth_mm", 1.0),
    "ADPT": ("dew_point_c", 0.1),
    "RHAV": ("rel_humidity_pct", 1.0),
}
Made = tuple[str, pd.DataFrame, list[str]]
"""daily or hourly, canonical columns, what was done."""


def read_layout(path: Path, text: str, site: Site) -> RawWeather | None:
    """Weather of a file in a published layout; None where it is another table.

    Parameters
    ----------
    path : Path
        For messages.
    text : str
        The whole file.
    site : Site
        For the clock of times in UTC.

    Raises
    ------
    InputError
        It is of such a layout and cannot be used.
    """
    first = [line for line in text[:20_000].splitlines()[:FIRST_LINES] if line.strip()]
    if not first:
        return None
    read = _reader(first)
    if read is None:
        return None
    name, reader = read
    try:
        step, table, notes = reader(text, site)
    except (ValueError, KeyError, IndexError, OverflowError, DamagedFile) as error:
        raise InputError(
            f"{path}: begins as {name}, but cannot be read as such ({shown(error)}); accepted is "
            "a whole file as the service gives it"
        ) from error
    table = table[~table.index.duplicated()].sort_index().dropna(axis=1, how="all")
    if table.empty:
        raise InputError(f"{path}: read as {name}, it holds no value; accepted are rows with some")
    return RawWeather(
        table=table,
        quality=first_flags(table),
        step="daily" if step == "daily" else "hourly",
        source=f"file {shown(path.name)}",
        attribution=f"the user's file {shown(path.name)}",
        warnings=(f"read as {name}", *notes),
    )


def _reader(first: list[str]) -> tuple[str, Callable[[str, Site], Made]] | None:
    head = first[0].lstrip("\ufeff")
    if head.lower().startswith("year,month,day") and "_source" in head:
        return "Meteostat (bulk data)", _meteostat
    if _BY_STATION.match(head) or _BY_STATION_HEAD.match(head):
        return "GHCN-Daily (by station)", _ghcn_by_station
    if _FIXED.match(head) and len(head) > 200:
        return "GHCN-Daily (fixed width)", _ghcn_fixed
    if all(_ISD_LITE.match(line) for line in first):
        return "ISD-Lite", _isd_lite
    if {"TEMP", "DEWP", "WDSP", "PRCP"} <= set(head.replace('"', "").split(",")):
        return "GSOD (Global Summary of the Day)", _gsod
    if head.startswith("LOCATION,"):
        return "EPW (typical or actual year)", _epw
    return None


def _meteostat(text: str, site: Site) -> Made:
    seen, _, sources = read_service_file(text.encode())
    notes = [f"values of {attribution(sources)}; those that a model made are left out"]
    if "hour" in text.partition("\n")[0].split(","):
        hours = canonical_hours(seen, 0.0, site)
        return "hourly", hours, [*notes, "hours of UTC brought to the site's standard time"]
    return "daily", canonical_days(seen, 0.0, folded(pd.DataFrame())), notes


def _ghcn_by_station(text: str, _: Site) -> Made:
    lines = text.lstrip("\ufeff")
    if _BY_STATION_HEAD.match(lines):
        lines = lines.partition("\n")[2]
    names = ["id", "date", "element", "value", "m", "q", "s", "time"]
    rows = pd.read_csv(io.StringIO(lines), names=names, dtype=str, keep_default_na=False)
    rows["time"] = rows["time"].fillna("")
    return _from_ghcn(rows)


def _ghcn_fixed(text: str, _: Site) -> Made:
    """A line a month and element: 31 values of five digits, each with three flags."""
    rows = []
    for line in text.splitlines():
        if len(line) < 21:
            continue
        for day in range(31):
            cell = line[21 + 8 * day : 29 + 8 * day].ljust(8)
            if cell[:5].strip() not in ("", "-9999"):
                date = f"{line[11:17]}{day + 1:02d}"
                rows.append(
                    (line[:11], date, line[17:21], cell[:5], cell[5], cell[6], cell[7], "")
                )
    names = ["id", "date", "element", "value", "m", "q", "s", "time"]
    table = pd.DataFrame(rows, columns=names)
    for name in ("m", "q"):
        table[name] = table[name].str.strip()
    return _from_ghcn(table)


def _from_ghcn(rows: pd.DataFrame) -> Made:
    notes = []
    stations = rows["id"].unique()
    if len(stations) > 1:
        raise ValueError(f"{len(stations)} stations in one file; keep one")
    rows = rows[rows["element"].isin(list(GHCN))].copy()
    failed = rows["q"] != ""
    if failed.any():
        notes.append(f"{plural(failed.sum(), 'value')} failed the service's own checks: left out")
    rows = rows[~failed]
    rows["value"] = pd.to_numeric(rows["value"])
    rows = rows[rows["value"] != -9999]
    rows["date"] = pd.to_datetime(rows["date"], format="%Y%m%d")
    supposed = rows["m"] == "P"
    if supposed.any():
        notes.append(f"precip_mm: {supposed.sum()} zeros only supposed by the service left out")
        rows = rows[~supposed]
    shift = _morning_shift(rows)
    if shift.any():
        notes.append(
            f"{int(shift.sum())} maxima and rain sums read in the morning are given to the day "
            "before"
        )
        rows.loc[shift, "date"] -= pd.Timedelta(days=1)
    wide = rows.pivot_table(index="date", columns="element", values="value", aggfunc="first")
    table = pd.DataFrame({GHCN[e][0]: wide[e] * GHCN[e][1] for e in wide.columns})
    table = table.reindex(pd.date_range(table.index[0], table.index[-1], freq="D"))
    return "daily", table, notes


def _morning_shift(rows: pd.DataFrame) -> pd.Series:
    """Rain and maxima of rows with a morning hour of observation (from memory)."""
    time = pd.to_numeric(rows["time"], errors="coerce")
    return time.between(*MORNING) & rows["element"].isin(["PRCP", "TMAX"])


def _isd_lite(text: str, site: Site) -> Made:
    """Tenths throughout; rain of one hour, or of six spread over them where there is no other."""
    names = [
        "year",
        "month",
        "day",
        "hour",
        "temp",
        "dew",
        "slp",
        "dir",
        "wind",
        "sky",
        "r1",
        "r6",
    ]
    rows = pd.read_csv(io.StringIO(text), sep=r"\s+", names=names, header=None)
    time = pd.to_datetime(rows[["year", "month", "day", "hour"]])
    rows = rows.set_axis(pd.DatetimeIndex(time), axis=0).replace(-9999, np.nan)
    rows = rows[~rows.index.duplicated()].asfreq("h")
    notes = ["hours of UTC brought to the site's standard time"]
    rain = rows["r1"].replace(-1, 0) / 10.0
    if rain.notna().mean() < 0.1 and rows["r6"].notna().any():
        six = rows["r6"].replace(-1, 0) / 60.0
        rain = six.bfill(limit=5)
        notes.append("rain of six hours spread over them")
    rain = rain.shift(-1)  # it fell before the hour it stands at
    table = pd.DataFrame(
        {
            "air_temp_c": rows["temp"] / 10.0,
            "dew_point_c": rows["dew"] / 10.0,
            "precip_mm": rain,
            "wind_ms": rows["wind"] / 10.0,
            "pressure_hpa": rows["slp"] / 10.0,
        }
    )
    index = pd.DatetimeIndex(table.index) + pd.Timedelta(hours=site.utc_offset_hours)
    return "hourly", table.set_axis(index, axis=0), notes


def _gsod(text: str, _: Site) -> Made:
    """Degrees F, inches and knots; the day is that of UTC."""
    rows = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    rows.columns = [str(name).strip().upper() for name in rows.columns]
    if rows["STATION"].nunique() > 1:
        raise ValueError(f"{rows['STATION'].nunique()} stations in one file; keep one")

    def number(name: str, missing: float) -> pd.Series:
        values = pd.to_numeric(rows[name].str.strip().str.rstrip("*"), errors="coerce")
        return values.mask((values - missing).abs() < 1e-6)

    rain = number("PRCP", 99.99)
    notes = ["degrees F, inches and knots converted; days are those of UTC"]
    if "PRCP_ATTRIBUTES" in rows:
        silent = rows["PRCP_ATTRIBUTES"].str.strip() == "I"
        if silent.any():
            notes.append(
                f"precip_mm: {plural(silent.sum(), 'day')} without a report of rain: missing"
            )
            rain = rain.mask(silent)
    table = pd.DataFrame(
        {
            "air_temp_min_c": (number("MIN", 9999.9) - 32.0) / 1.8,
            "air_temp_max_c": (number("MAX", 9999.9) - 32.0) / 1.8,
            "air_temp_mean_c": (number("TEMP", 9999.9) - 32.0) / 1.8,
            "dew_point_c": (number("DEWP", 9999.9) - 32.0) / 1.8,
            "precip_mm": rain * 25.4,
            "wind_ms": number("WDSP", 999.9) * 1852.0 / 3600.0,
            "pressure_hpa": number("SLP", 9999.9),
        }
    )
    dates = pd.to_datetime(rows["DATE"].str.strip(), format="%Y-%m-%d")
    return "daily", table.set_axis(pd.DatetimeIndex(dates), axis=0), notes


def _epw(text: str, _: Site) -> Made:
    """Eight lines of header; hour 1 to 24 is the end of the hour, in local standard time."""
    body = text.splitlines()[8:]
    rows = pd.read_csv(io.StringIO("\n".join(body)), header=None)

    def number(column: int, missing: float) -> pd.Series:
        values = pd.to_numeric(rows[column], errors="coerce")
        return values.mask(values >= missing)

    years = rows[0].astype(int)
    year = int(years.mode()[0])
    notes = []
    if years.nunique() > 1:
        notes.append(
            f"a typical year joined from months of {years.min()} to {years.max()}, written under "
            f"{year}: no weather of a season that was"
        )
        years = pd.Series(year, index=rows.index)
    day = pd.DataFrame({"year": years, "month": rows[1], "day": rows[2]})
    time = pd.to_datetime(day) + pd.to_timedelta(rows[3] - 1, unit="h")
    rain = number(33, 999.0) if 33 in rows else pd.Series(np.nan, rows.index)
    if not rain.gt(0.0).any():
        notes.append("precip_mm: it holds no rain at all, which stands for not measured")
        rain = pd.Series(np.nan, rows.index)
    table = pd.DataFrame(
        {
            "air_temp_c": number(6, 99.9),
            "dew_point_c": number(7, 99.9),
            "rel_humidity_pct": number(8, 999.0),
            "precip_mm": rain,
            "wind_ms": number(21, 999.0),
            "shortwave_w_m2": number(13, 9999.0),
            "pressure_hpa": number(9, 999_999.0) / 100.0,
        }
    )
    return "hourly", table.set_axis(pd.DatetimeIndex(time), axis=0), notes
