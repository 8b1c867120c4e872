"""Observed weather of the stations around a yard, joined into one raw table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.errors import RunError
from climate_risk.site import Site
from climate_risk.weather import psychro
from climate_risk.weather.bias import SPACE_K, apart_in_space, without_bias
from climate_risk.weather.download import Patience
from climate_risk.weather.hourly import RAIN_HOURS
from climate_risk.weather.record import FORECAST, RawWeather
from climate_risk.weather.station_service import ADVICE, MADE, Station, StationService, Step
from climate_risk.weather_options import LONGEST_WAIT_S

RADIUS_M = 100_000.0
MAX_HEIGHT_DIFFERENCE_M = 600.0
KM_PER_METRE = 0.1
"""A station 100 m higher or lower ranks like one 10 km farther; common practice, no source."""
MAX_USED, MAX_TRIED = 3, 10
LAPSE_K_PER_M = 0.0065
"""Standard atmosphere, ISO 2533."""
HOURLY_SHARE = 0.95
"""Hours with temperature and dew point that make the record an hourly one."""
HOURS_OF_DAY = 20
"""Hours that a day's extremes and means need; WMO asks for none missing, practice for 20."""
FAR_KM, HIGH_M = 50.0, 200.0
FORECAST_DAYS = 7
"""Days ahead for which a forecast is asked; later ones are no better than the usual weather."""


def fetch_stations(
    site: Site,
    first: date,
    last: date,
    longest_wait_s: float = LONGEST_WAIT_S,
    *,
    forecast: bool = False,
) -> RawWeather:
    """Weather from the nearest stations, through the network or the cache.

    The best station comes first (by distance, with height counted in); its holes are taken
    from the next and flagged. Temperature is brought to the site's height by 6.5 K/km; the
    dew point is carried as it is. The record is hourly where the hours are nearly complete,
    else daily, with dew point from hourly readings wherever there are any.

    Parameters
    ----------
    site : Site
    first, last : date
        Days wanted, in local standard time.
    longest_wait_s : float
        Bound on all waiting for the network; what came by then is used, the rest is named.
    forecast : bool
        Whether what the service foretells for the days after ``last`` follows them, flagged.

    Returns
    -------
    RawWeather

    Raises
    ------
    RunError
        No network and nothing in the cache, or no station with data.
    """
    last = min(last, datetime.now(UTC).date())
    notes: list[str] = []
    service = StationService(Patience(longest_wait_s))
    ranked = _ranked(service.nearby(site, RADIUS_M), site, first, last)
    until = last + timedelta(days=FORECAST_DAYS if forecast else 0)
    used, hourly, daily, ahead = _collect(service, ranked, site, first, last, until)
    if not used:
        why = f"no answer from the weather service ({service.failure})" if service.lost else (
            f"no station within {RADIUS_M / 1000:.0f} km has weather of {first} to {last}"
        )  # fmt: skip
        raise RunError(f"{why}; {ADVICE}")
    if service.offline:
        notes.append(f"the weather service did not answer for all ({service.failure})")
    if service.stale:
        notes.append(f"{service.stale} station files in the cache are old and were used as such")
    if service.lost:
        shown = ", ".join(service.lost[:3]) + (" ..." if len(service.lost) > 3 else "")
        notes.append(f"{len(service.lost)} station years could not be read: {shown}")
    notes += [_distance_note(station, site) for station in used]
    names = ", ".join(f"{s.name} ({s.id}, {s.distance_km:.0f} km)" for s in used)
    credits = {part.strip() for line in service.attributions for part in line.split(",")}
    step, table, quality = _best_step(hourly, daily, first, last)
    if forecast:
        table, quality = with_forecast(table, quality, ahead[step], last)
    return RawWeather(
        table=table,
        quality=quality,
        step=step,
        source=f"stations: {names}",
        attribution=", ".join(sorted(credits)) + " (CC BY 4.0)",
        warnings=tuple(note for note in notes if note),
        partial=bool(service.offline or service.stale or service.lost),
    )


def _ranked(stations: Iterable[Station], site: Site, first: date, last: date) -> list[Station]:
    """Candidates, best first; without those far above or below or known to be silent then."""

    def effort(station: Station) -> float:
        return station.distance_km + KM_PER_METRE * abs(station.elevation_m - site.elevation_m)

    near = [
        station
        for station in stations
        if not abs(station.elevation_m - site.elevation_m) > MAX_HEIGHT_DIFFERENCE_M
        and not station.first_year > last.year
        and not station.last_year < first.year - 1
        and not math.isnan(station.elevation_m)
    ]
    return sorted(near, key=effort)


def _distance_note(station: Station, site: Site) -> str:
    height = station.elevation_m - site.elevation_m
    if station.distance_km <= FAR_KM and abs(height) <= HIGH_M:
        return ""
    return (
        f"station {station.name} is {station.distance_km:.0f} km away and {height:+.0f} m in "
        "height: its weather may not be the yard's"
    )


Tables = dict[str, pd.DataFrame]


def _collect(
    service: StationService,
    ranked: list[Station],
    site: Site,
    first: date,
    last: date,
    until: date,
) -> tuple[list[Station], Tables, Tables, dict[str, list[pd.DataFrame]]]:
    """Hourly and daily tables by station id, best first, until they cover the days.

    Last come each station's tables with what a model made in place of what is not seen, by step.
    """
    used: list[Station] = []
    hourly: Tables = {}
    daily: Tables = {}
    ahead: dict[str, list[pd.DataFrame]] = {"hourly": [], "daily": []}
    wanted = pd.date_range(first, last, freq="D")
    for station in ranked[:MAX_TRIED]:
        hours, more_hours = _years(service, station, "hourly", first, until)
        days, more_days = _years(service, station, "daily", first, until)
        climb = site.elevation_m - station.elevation_m
        hours = canonical_hours(hours, climb, site)
        days = canonical_days(days, climb, folded(hours))
        if days.empty:
            continue
        used.append(station)
        more_hours = canonical_hours(more_hours, climb, site)
        ahead["hourly"].append(more_hours)
        ahead["daily"].append(canonical_days(more_days, climb, folded(more_hours)))
        hourly[station.id], daily[station.id] = hours, days
        together, _ = _joined(daily)
        needed = ["air_temp_min_c", "air_temp_max_c", "dew_point_c", "precip_mm"]
        whole = together.reindex(index=wanted, columns=needed).notna().all(axis=None)
        if whole or len(used) == MAX_USED:
            break
    return used, hourly, daily, ahead


def _years(
    service: StationService, station: Station, step: Step, first: date, last: date
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """All years between two days: what was seen, and the same with what a model made of the rest.

    Hours take one day more on each side, for the clock.
    """
    margin = timedelta(days=1 if step == "hourly" else 0)
    end = min(last + margin, datetime.now(UTC).date() + timedelta(days=FORECAST_DAYS))
    years = range((first - margin).year, end.year + 1)
    with ThreadPoolExecutor(4) as pool:
        tables = list(pool.map(lambda year: service.year(station, step, year), years))
    tables = [table for table in tables if not table.empty]
    if not tables:
        return pd.DataFrame(), pd.DataFrame()
    table = pd.concat(tables).sort_index()
    made = table.columns[table.columns.str.endswith(MADE)]
    seen = table.drop(columns=made).dropna(how="all")
    return seen, seen.combine_first(table[made].rename(columns=lambda n: n.removesuffix(MADE)))


def with_forecast(
    table: pd.DataFrame, quality: pd.DataFrame, ahead: Sequence[pd.DataFrame], last: date
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Add the days after ``last`` of the first station that has any, flagged as forecast.

    They end before the first day that lacks temperature or rain; what else is not foretold is
    left to be filled. What was seen of today is part of today's forecast.
    """
    begin = pd.Timestamp(last) + pd.Timedelta(days=1)
    needed = ["air_temp_min_c", "air_temp_max_c", "precip_mm"]
    rows = 1
    if "air_temp_min_c" not in table:
        needed, rows = ["air_temp_c", "precip_mm"], HOURS_PER_DAY
    for each in ahead:
        days = each.loc[begin : begin + pd.Timedelta(days=FORECAST_DAYS, hours=-1)]
        days = days.reindex(columns=table.columns.union(needed))
        whole = days[needed].notna().all(axis=1)
        by_day = whole.groupby(pd.DatetimeIndex(days.index).normalize()).sum() == rows
        wanted = pd.date_range(begin, periods=FORECAST_DAYS, freq="D")
        count = int(by_day.reindex(wanted, fill_value=False).cumprod().sum())
        if count:
            days = days.loc[: begin + pd.Timedelta(days=count, hours=-1), table.columns]
            flags = pd.DataFrame(FORECAST, index=days.index, columns=days.columns, dtype=object)
            kept = table.index < begin
            return (
                pd.concat([table[kept], days]),
                pd.concat([quality[kept], flags.where(days.notna(), "missing")]),
            )
    return table, quality


def _taken(table: pd.DataFrame, name: str) -> pd.Series:
    return table[name] if name in table else pd.Series(np.nan, index=table.index)


def canonical_hours(table: pd.DataFrame, climb_m: float, site: Site) -> pd.DataFrame:
    """Station hours (UTC, service units) in canonical columns on the site's clock."""
    if table.empty:
        return table
    index = pd.DatetimeIndex(table.index) + pd.Timedelta(hours=site.utc_offset_hours)
    temp, humidity = _taken(table, "temp"), _taken(table, "rhum")
    vapour = psychro.vapour_pressure_kpa(temp.to_numpy(), humidity.to_numpy())
    at_site = temp - LAPSE_K_PER_M * climb_m
    result = pd.DataFrame(
        {
            "air_temp_c": at_site,
            "dew_point_c": np.minimum(psychro.dew_point_c(vapour), at_site),
            "precip_mm": _taken(table, "prcp"),
            "wind_ms": _taken(table, "wspd") / 3.6,
            "pressure_hpa": _taken(table, "pres"),
        }
    )
    return result.set_axis(index, axis=0)


def folded(hours: pd.DataFrame) -> pd.DataFrame:
    """Canonical days from canonical hours, of days with enough hours."""
    if hours.empty:
        return hours
    wanted = ["air_temp_c", "dew_point_c", "precip_mm", "wind_ms", "pressure_hpa"]
    hours = hours.reindex(columns=wanted)
    grouped = hours.groupby(pd.DatetimeIndex(hours.index).normalize())
    enough = grouped.count() >= HOURS_OF_DAY
    mean = grouped.mean().where(enough)
    temp = grouped["air_temp_c"]
    return pd.DataFrame(
        {
            "air_temp_min_c": temp.min().where(enough["air_temp_c"]),
            "air_temp_max_c": temp.max().where(enough["air_temp_c"]),
            "air_temp_mean_c": mean["air_temp_c"],
            "dew_point_c": mean["dew_point_c"],
            "precip_mm": grouped["precip_mm"].sum(min_count=24),
            "wind_ms": mean["wind_ms"],
            "pressure_hpa": mean["pressure_hpa"],
        }
    )


def canonical_days(table: pd.DataFrame, climb_m: float, folded: pd.DataFrame) -> pd.DataFrame:
    """Station days in canonical columns; dew point of the hours is preferred.

    A day's mean relative humidity gives vapour pressure by FAO-56 equation 19.
    """
    if table.empty:
        return folded
    low, high = _taken(table, "tmin"), _taken(table, "tmax")
    saturation = psychro.mean_saturation_kpa(low.to_numpy(), high.to_numpy())
    vapour = saturation * _taken(table, "rhum").to_numpy() / 100.0
    lapse = LAPSE_K_PER_M * climb_m
    days = pd.DataFrame(
        {
            "air_temp_min_c": low - lapse,
            "air_temp_max_c": high - lapse,
            "air_temp_mean_c": _taken(table, "temp") - lapse,
            "dew_point_c": psychro.dew_point_c(vapour),
            "precip_mm": _taken(table, "prcp"),
            "wind_ms": _taken(table, "wspd") / 3.6,
            "pressure_hpa": _taken(table, "pres"),
            "snow_depth_mm": _taken(table, "snwd") * 10.0,
        }
    )
    if folded.empty:
        return days
    days = days.combine_first(folded)
    days["dew_point_c"] = folded["dew_point_c"].reindex(days.index).fillna(days["dew_point_c"])
    return days


def _joined(tables: Tables) -> tuple[pd.DataFrame, pd.DataFrame]:
    """One table of several stations' and its flags: the first wins, holes come from the next."""
    (_, first), *others = tables.items()
    index = first.index
    for _, other in others:
        index = index.union(other.index)
    table = first.reindex(index)
    quality = pd.DataFrame("missing", index=index, columns=table.columns, dtype=object)
    quality = quality.where(table.isna(), "observed")
    for name, other in others:
        other = other.reindex(index=index)
        for column in other.columns.difference(table.columns):
            table[column], quality[column] = np.nan, "missing"
        other = other.reindex(columns=table.columns)
        # A pair moved apart by what each differs by could cross; that is put right below.
        step = "daily" if "air_temp_min_c" in table else "hourly"
        other = without_bias(table, other, step)
        far = apart_in_space(table, other, step)
        quality = quality.where(~far, f"suspect: more than {SPACE_K:g} K off neighbour {name}")
        take = table.isna() & other.notna()
        if "air_temp_min_c" in table:
            # Both extremes of a day come from one station, or they may cross.
            pair = ["air_temp_min_c", "air_temp_max_c"]
            both = table[pair].isna().any(axis=1) & other[pair].notna().all(axis=1)
            take[pair] = np.broadcast_to(both.to_numpy()[:, None], (len(index), 2))
        table = table.where(~take, other)
        quality = quality.where(~take, f"filled: neighbour {name}")
    if "air_temp_min_c" in table:
        low, high = table["air_temp_min_c"], table["air_temp_max_c"]
        table["air_temp_max_c"] = high.where(~(low > high), low)
    kept = table.columns[table.notna().any()]
    return table[kept], quality[kept]


def _best_step(
    hourly: Tables, daily: Tables, first: date, last: date
) -> tuple[Step, pd.DataFrame, pd.DataFrame]:
    """Hours where they are nearly complete over the wanted days, else days."""
    tables = {name: table for name, table in hourly.items() if not table.empty}
    if tables:
        hours, flags = _joined(tables)
        wanted = pd.date_range(first, last + timedelta(days=1), freq="h", inclusive="left")
        there = hours.reindex(index=wanted, columns=["air_temp_c", "dew_point_c"]).notna().mean()
        if there.min() >= HOURLY_SHARE:
            return "hourly", *_with_daily_rain(hours, flags, daily)
    return "daily", *_joined(daily)


def _with_daily_rain(
    table: pd.DataFrame, quality: pd.DataFrame, daily: Tables
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Where a day's hourly rain has holes, the daily total over the usual hours of rain."""
    days, day_flags = _joined(daily)
    if "precip_mm" not in days:
        return table, quality
    if "precip_mm" not in table:
        table["precip_mm"], quality["precip_mm"] = np.nan, "missing"
    index = pd.DatetimeIndex(table.index)
    day = index.normalize()
    holes = table["precip_mm"].isna().groupby(day).transform("any").to_numpy()
    total = days["precip_mm"].reindex(day).to_numpy()
    usable = holes & ~np.isnan(total)
    wet = (index.hour >= RAIN_HOURS.start) & (index.hour < RAIN_HOURS.stop)
    share = np.where(wet, total / (RAIN_HOURS.stop - RAIN_HOURS.start), 0.0)
    table.loc[usable, "precip_mm"] = share[usable]
    neighbour = day_flags["precip_mm"].reindex(day).ne("observed").to_numpy()
    quality.loc[usable & ~neighbour, "precip_mm"] = "observed: day's total"
    quality.loc[usable & neighbour, "precip_mm"] = "filled: neighbour's total of the day"
    return table, quality
