"""The one place that talks to the station service, through meteostat's public calls.

meteostat answers None both for "no data" and for "no network"; its log tells them apart, so
what it logs during a call is read here. Its own cache is switched off in favour of ours,
because that keeps the current year for a month and is not keyed on the server.
"""

from __future__ import annotations

import logging
import socket
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Literal
from urllib.error import HTTPError, URLError

import pandas as pd

from climate_risk.errors import RunError
from climate_risk.site import Site
from climate_risk.weather.station_cache import cache_directory, cache_path, read_table, write_table

TIMEOUT_S = 30.0
ADVICE = "give --weather FILE, or connect and run again"
Step = Literal["daily", "hourly"]


@dataclass(frozen=True)
class Station:
    """A weather station near the yard."""

    id: str
    name: str
    country: str
    latitude: float
    longitude: float
    elevation_m: float
    timezone: str
    distance_km: float
    first_year: float
    last_year: float
    """Years with temperature by the service's own list; NaN where it says nothing."""


class _Listener(logging.Handler):
    """Keeps the last exception that the library logged, for each thread."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.heard = threading.local()

    def emit(self, record: logging.LogRecord) -> None:
        if record.exc_info and record.exc_info[1] is not None:
            self.heard.error = record.exc_info[1]


@dataclass
class StationService:
    """Stations and their years, from our cache or from the network; used as a context."""

    offline: bool = False
    """Set once the network did not answer, so that the rest is not waited for."""
    failure: str = ""
    """Why the network did not answer."""
    stale: int = 0
    """Entries used although they are old."""
    lost: list[str] = field(default_factory=list)
    """Station years that could be had neither from the network nor from the cache."""
    attributions: set[str] = field(default_factory=set)
    listener: _Listener = field(default_factory=_Listener)

    @contextmanager
    def open(self) -> Iterator[StationService]:
        """Set the library up, and put the process-wide settings back afterwards."""
        from meteostat import config

        logger = logging.getLogger("meteostat")
        timeout, propagate = socket.getdefaulttimeout(), logger.propagate
        socket.setdefaulttimeout(TIMEOUT_S)
        logger.propagate = False
        logger.addHandler(self.listener)
        config.cache_enable = False
        config.include_model_data = False
        config.block_large_requests = False
        config.network_timeout = int(TIMEOUT_S)
        config.network_max_retries = 1
        config.cache_directory = str(cache_directory())
        try:
            yield self
        finally:
            socket.setdefaulttimeout(timeout)
            logger.removeHandler(self.listener)
            logger.propagate = propagate

    def nearby(self, site: Site, radius_m: float) -> list[Station]:
        """Stations around a site by distance, from the service's station list.

        Raises
        ------
        RunError
            The list can be had neither from the network nor from the cache.
        """
        from meteostat import Point, config, stations

        endpoint = ";".join(config.stations_db_endpoints)
        name = f"near_{site.latitude:.3f}_{site.longitude:.3f}_{radius_m:.0f}.csv.gz"
        path = cache_path(endpoint, name)
        held = read_table(path)
        if held and held.fresh:
            return _stations(held.table)
        database = path.with_name("stations.db")
        database.parent.mkdir(parents=True, exist_ok=True)
        config.stations_db_file = str(database)
        try:
            table = stations.nearby(Point(site.latitude, site.longitude), radius=int(radius_m))
            table = _with_spans(table, stations.inventory)
        except (pd.errors.DatabaseError, sqlite3.Error) as error:
            database.unlink(missing_ok=True)
            self._went_wrong(f"the station list is damaged: {error}")
        except Exception as error:  # the library raises a bare Exception for a failed download
            self._went_wrong(str(error))
        else:
            write_table(path, table, "station list")
            return _stations(table)
        if held is None:
            raise RunError(f"no station list from the weather service ({self.failure}); {ADVICE}")
        self.stale += 1
        return _stations(held.table)

    def _went_wrong(self, why: str) -> None:
        self.offline, self.failure = True, " ".join(why.split())[:120]

    def year(self, station: Station, step: Step, year: int) -> pd.DataFrame:
        """One station's values of one year in the service's own columns and units.

        Returns
        -------
        DataFrame
            float64 columns on a naive index (days, or UTC hours); empty where there is no data.
        """
        from meteostat import config

        endpoint = config.daily_endpoint if step == "daily" else config.hourly_endpoint
        path = cache_path(endpoint, step, str(year), f"{station.id}.csv.gz")
        held = read_table(path, year)
        if held and held.fresh:
            self.attributions.add(held.attribution)
            return held.table
        table = None if self.offline else self._ask(station, step, year)
        if table is not None:
            attribution = table.attrs["attribution"]
            write_table(path, table, attribution)
        elif held:
            self.stale += 1
            table, attribution = held.table, held.attribution
        else:
            self.lost.append(f"{station.id} {step} {year}")
            return pd.DataFrame()
        if not table.empty:
            self.attributions.add(attribution)
        return table

    def _ask(self, station: Station, step: Step, year: int) -> pd.DataFrame | None:
        """Values from the network, empty where the service has none; None on failure."""
        import meteostat

        place = meteostat.Station(
            id=station.id, name=station.name, country=station.country,
            latitude=station.latitude, longitude=station.longitude,
            elevation=int(station.elevation_m), timezone=station.timezone,
        )  # fmt: skip
        last = min(date(year, 12, 31), datetime.now(UTC).date())
        self.listener.heard.error = None
        call = meteostat.daily if step == "daily" else meteostat.hourly
        series = call(place, date(year, 1, 1), last)
        table = series.fetch()
        error = self.listener.heard.error
        if table is None and error is not None:
            # A damaged file or a server's refusal concerns one file; no answer concerns all.
            if isinstance(error, (URLError, OSError)) and not isinstance(error, HTTPError):
                self._went_wrong(str(error))
            return None
        if table is None:
            table = pd.DataFrame(index=pd.DatetimeIndex([], name="time"))
        table = pd.DataFrame(
            {name: pd.to_numeric(table[name], errors="coerce") for name in table},
            index=table.index,
        ).astype("float64")
        table.attrs["attribution"] = series.attribution
        return table


def _with_spans(table: pd.DataFrame, inventory: object) -> pd.DataFrame:
    """Add the first and last year in which a station reported temperature, where listed."""
    table = table.assign(first_year=float("nan"), last_year=float("nan"))
    if table.empty:
        return table
    listed = inventory(list(table.index)).df  # type: ignore[operator]
    if listed is None:
        return table
    listed = listed.reset_index()
    listed = listed[listed["parameter"].isin(["temp", "tmin", "tmax"])]
    spans = listed.groupby("station").agg(start=("start", "min"), end=("end", "max"))
    table["first_year"] = pd.to_datetime(spans["start"]).dt.year.reindex(table.index)
    table["last_year"] = pd.to_datetime(spans["end"]).dt.year.reindex(table.index)
    return table


def _stations(table: pd.DataFrame) -> list[Station]:
    return [
        Station(
            id=str(code),
            name=str(row["name"]),
            country=str(row["country"]),
            latitude=float(row["latitude"]),
            longitude=float(row["longitude"]),
            elevation_m=float(row["elevation"]),
            timezone=str(row["timezone"]),
            distance_km=float(row["distance"]) / 1000.0,
            first_year=float(row["first_year"]),
            last_year=float(row["last_year"]),
        )
        for code, row in table.iterrows()
    ]
