"""Several sources in one record: each is checked for itself, the first with a value wins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from climate_risk.errors import InputError, RunError, plural
from climate_risk.site import Site
from climate_risk.weather.bias import SPACE_K, apart_in_space, without_bias
from climate_risk.weather.files import read_weather_file
from climate_risk.weather.normals import Days
from climate_risk.weather.psychro import dew_point_c, vapour_pressure_kpa
from climate_risk.weather.quality import check
from climate_risk.weather.record import FROM, RawWeather
from climate_risk.weather.stations import fetch_stations, folded
from climate_risk.weather_options import WeatherOptions, WeatherSource

DEFAULT_YEARS = 30
PAIR = ["air_temp_min_c", "air_temp_max_c"]
IN_HOURS = {"shortwave_mj_m2": "shortwave_w_m2"}
"""Columns of a day whose hours are called otherwise."""


def read_source(
    source: WeatherSource,
    site: Site,
    first: date | None,
    last: date | None,
    longest_wait_s: float,
    *,
    needs_rain: bool = True,
    forecast: bool = False,
) -> RawWeather:
    """Checked weather of one source, cut to the days it is taken for.

    Parameters
    ----------
    source : WeatherSource
    site : Site
    first, last : date or None
        Days wanted; stations give the last 30 years to yesterday where they are left out.
    longest_wait_s : float
        Bound on all waiting for the network.
    needs_rain : bool
        Whether a file without rain is refused.
    forecast : bool
        Whether stations that are asked up to yesterday add the days they foretell.

    Raises
    ------
    InputError
        The file cannot be used, or holds none of the days it is to be taken for.
    RunError
        The stations can be had neither from the network nor from the cache.
    """
    if source.file is None:
        end = min(d for d in (last, source.last, _yesterday()) if d is not None)
        begin = max(
            (d for d in (first, source.first) if d is not None),
            default=date(end.year - DEFAULT_YEARS + 1, 1, 1),
        )
        ahead = forecast and end == _yesterday()
        return check(fetch_stations(site, begin, end, longest_wait_s, forecast=ahead), site)
    raw = check(
        read_weather_file(Path(source.file), site, source.columns, needs_rain=needs_rain), site
    )
    return cut(raw, source.first, source.last)


def cut(raw: RawWeather, first: date | None, last: date | None) -> RawWeather:
    """The rows of some days.

    Raises
    ------
    InputError
        There are none.
    """
    if first is None and last is None:
        return raw
    begin = pd.Timestamp(first) if first else None
    end = pd.Timestamp(last) + pd.Timedelta(hours=23) if last else None
    table = raw.table.loc[begin:end]
    if table.empty:
        index = raw.table.index
        raise InputError(
            f"{raw.source}: it has {index[0]:%Y-%m-%d} to {index[-1]:%Y-%m-%d}, and is to be "
            f"taken from {first or 'its start'} to {last or 'its end'}; accepted are days it has"
        )
    return replace(raw, table=table, quality=raw.quality.loc[begin:end])


def read_all(
    options: WeatherOptions,
    site: Site,
    first: date | None,
    last: date | None,
    left_out: Days | None = None,
) -> RawWeather:
    """Every source in the open, joined, with the history before the first day of them.

    A source that cannot be had through the network is left out and named, as long as another
    one is there.  From the days of ``left_out`` no difference between sources is learned.

    Raises
    ------
    InputError
        A file cannot be used, or there is no source in the open.
    RunError
        No source can be had.
    """
    open_ones = [source for source in options.sources if source.role == "station"]
    if not open_ones:
        raise InputError(
            'all sources have role = "stand"; accepted is at least one in the open, such as '
            '[[weather.source]] with kind = "meteostat", for rain, wind and sun'
        )
    only = len(open_ones) == 1
    raws: list[tuple[str, RawWeather]] = []
    failed: list[RunError] = []
    for source in open_ones:
        try:
            raw = read_source(
                source,
                site,
                first,
                last,
                options.longest_wait_s,
                needs_rain=only,
                forecast=options.forecast,
            )
        except RunError as error:
            failed.append(error)
        else:
            raws.append((source.name, raw))
    if not raws:
        raise failed[0]
    begins = min(raw.table.index[0] for _, raw in raws).date()
    if options.history is not None and (first is None or first < begins):
        try:
            past = read_source(
                options.history, site, first, begins - timedelta(days=1), options.longest_wait_s
            )
            raws.append((options.history.name, cut(past, None, begins - timedelta(days=1))))
        except (RunError, InputError) as error:
            failed.append(RunError(f"no past years: {error}"))
    joined = join(raws, left_out)
    lost = tuple(f"left out: {line}" for error in failed for line in error.lines)
    partial = joined.partial or bool(failed)
    return replace(joined, warnings=(*joined.warnings, *lost), partial=partial)


def join(raws: Sequence[tuple[str, RawWeather]], left_out: Days | None = None) -> RawWeather:
    """One table of several; a value's flag names the source it was observed by.

    Hours are folded to days where another source has only days. A later source is moved by
    what it differs from the ones before over the rows they share. Both extremes of a day come
    from one source, or they might cross.
    """
    if len(raws) == 1:
        return raws[0][1]
    notes = [f"{name}: {note}" for name, raw in raws for note in raw.warnings]
    steps = {raw.step for _, raw in raws}
    if len(steps) > 1:
        raws = [(name, _in_days(raw)) for name, raw in raws]
        notes.append("hours were folded to days, since another source has only days")
    index = raws[0][1].table.index
    columns = list(raws[0][1].table.columns)
    for _, raw in raws[1:]:
        index = index.union(raw.table.index)
        columns += [name for name in raw.table.columns if name not in columns]
    table = pd.DataFrame(np.nan, index=index, columns=columns)
    quality = pd.DataFrame("missing", index=index, columns=columns, dtype=object)
    for name, raw in raws:
        other = raw.table.reindex(index=index, columns=columns)
        other = without_bias(table, other, raws[0][1].step, left_out)
        far = apart_in_space(table, other, raws[0][1].step)
        for column in far.columns[far.any()]:
            when = far.index[far[column]][0]
            count = plural(int(far[column].sum()), "value")
            notes.append(
                f"{column}: {count} more than {SPACE_K:g} K off {name}, "
                f"one of the two is wrong (kept, flagged; first {when:%Y-%m-%d})"
            )
        quality = quality.where(~far, f"suspect: more than {SPACE_K:g} K off {name}")
        flags = raw.quality.reindex(index=index, columns=columns).fillna("missing")
        take = table.isna() & other.notna()
        if set(PAIR) <= set(columns):
            both = table[PAIR].isna().any(axis=1) & other[PAIR].notna().all(axis=1)
            take[PAIR] = np.broadcast_to(both.to_numpy()[:, None], (len(index), 2))
        table = table.where(~take, other)
        named = {
            flag: f"observed: {name}" if flag == "observed" else f"{flag}{FROM}{name}"
            for flag in pd.unique(flags.to_numpy().ravel())
            if flag == "observed" or str(flag).startswith("suspect")
        }
        quality = quality.where(~take, flags.replace(named))
        # A doubt that blanked a value stays beside the hole, unless another source fills it.
        doubt = table.isna() & (flags != "missing") & (quality == "missing")
        quality = quality.where(~doubt, flags)
    if set(PAIR) <= set(columns):
        low, high = table[PAIR[0]], table[PAIR[1]]
        table[PAIR[1]] = high.where(~(low > high), low)
    return RawWeather(
        table=table,
        quality=quality,
        step=raws[0][1].step,
        source=" + ".join(raw.source for _, raw in raws),
        attribution=", ".join(dict.fromkeys(raw.attribution for _, raw in raws)),
        warnings=tuple(notes),
        partial=any(raw.partial for _, raw in raws),
    )


def _in_days(raw: RawWeather) -> RawWeather:
    """Hours folded to days; a day is in doubt for the first of its hours that is."""
    if raw.step == "daily":
        return raw
    hours = raw.table
    hours = hours.assign(dew_point_c=_dew_points(hours))
    days = folded(hours).dropna(axis=1, how="all")
    flags = pd.DataFrame("observed", index=days.index, columns=days.columns, dtype=object)
    suspect = raw.quality.apply(lambda column: column.astype(str).str.startswith("suspect"))
    doubts = raw.quality.where(suspect).groupby(pd.DatetimeIndex(hours.index).normalize()).first()
    for name in map(str, days.columns):
        hourly = "air_temp_c" if name.startswith("air_temp") else IN_HOURS.get(name, name)
        if hourly in doubts:
            flags[name] = doubts[hourly].reindex(days.index).fillna("observed")
    return replace(raw, table=days, quality=flags.where(days.notna(), "missing"), step="daily")


def read_stand(
    options: WeatherOptions, site: Site, first: date | None, last: date | None
) -> tuple[str, pd.DataFrame, tuple[str, ...]] | None:
    """Names, hourly air and notes of the loggers below the canopy; None where there is none.

    Raises
    ------
    InputError
        A file cannot be used, or is not hourly.
    """
    tables, names, notes = [], [], []
    for source in options.sources:
        if source.role != "stand":
            continue
        raw = read_source(source, site, first, last, options.longest_wait_s, needs_rain=False)
        if raw.step != "hourly":
            raise InputError(
                f"{raw.source}: a stand's logger with one row a day; accepted are readings every "
                "hour or oftener"
            )
        air = raw.table["air_temp_c"]
        tables.append(pd.DataFrame({"air_temp_c": air, "dew_point_c": _dew_points(raw.table)}))
        names.append(raw.source)
        notes += [f"{raw.source}: {note}" for note in raw.warnings]
    if not tables:
        return None
    table = tables[0]
    for other in tables[1:]:
        table = table.combine_first(other)
    return " + ".join(names), table, tuple(notes)


def _dew_points(hours: pd.DataFrame) -> pd.Series:
    """Dew point of each hour, from relative humidity where only that is there."""
    missing = pd.Series(np.nan, hours.index)
    dew = hours.get("dew_point_c", missing)
    humidity = np.asarray(hours.get("rel_humidity_pct", missing), dtype=np.float64)
    vapour = vapour_pressure_kpa(hours["air_temp_c"].to_numpy(np.float64), humidity)
    return dew.fillna(pd.Series(dew_point_c(vapour), hours.index))


def _yesterday() -> date:
    return datetime.now(UTC).date() - timedelta(days=1)
