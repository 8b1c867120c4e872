"""The one place that talks to the station service: its station list and its yearly files.

The library finds the stations near a place in the service's list. Files are fetched by our own
`download`, which is bounded and tells "not there" from "no answer"; the library's own fetching
says None for both and waits without end for a server that drips.
"""

from __future__ import annotations

import sqlite3
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import pandas as pd

from climate_risk.errors import RunError, shown
from climate_risk.site import Site
from climate_risk.weather.download import Absent, FetchError, Patience, download
from climate_risk.weather.service_file import DamagedFile, attribution, read_service_file
from climate_risk.weather.station_cache import cache_directory, cache_path, read_table, write_table

GIVE_UP_AFTER = 5
"""Files in a row that the server fails to give; our own choice."""
SQLITE_MARK = b"SQLite format 3\x00"
ADVICE = "give --weather FILE, or connect and run again"
MADE = "_made"
"""Ending of the columns that hold what a model made."""
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


@dataclass
class StationService:
    """Stations and their years, from our cache or from the network."""

    patience: Patience = field(default_factory=Patience)
    offline: bool = False
    """Set once the network did not answer, so that the rest is not waited for."""
    failure: str = ""
    """Why something could not be had, the first time that happened."""
    stale: int = 0
    """Entries used although they are old."""
    lost: list[str] = field(default_factory=list)
    """Station years that could be had neither from the network nor from the cache, and why."""
    attributions: set[str] = field(default_factory=set)
    refusals: int = 0
    """Files in a row that the server failed to give."""

    def nearby(self, site: Site, radius_m: float) -> list[Station]:
        """Stations around a site by distance, from the service's station list.

        Raises
        ------
        RunError
            The list can be had neither from the network nor from the cache.
        """
        from meteostat import config

        endpoint = ";".join(config.stations_db_endpoints)
        name = f"near_{site.latitude:.3f}_{site.longitude:.3f}_{radius_m:.0f}.csv.gz"
        path = cache_path(endpoint, name)
        held = read_table(path)
        if held and held.fresh:
            return _stations(held.table)
        try:
            table = self._listed(config.stations_db_endpoints, site, radius_m)
        except (FetchError, DamagedFile) as error:
            self._went_wrong(str(error), of_all=True)
        else:
            write_table(path, table, "station list")
            return _stations(table)
        if held is None:
            raise RunError(f"no station list from the weather service ({self.failure}); {ADVICE}")
        self.stale += 1
        return _stations(held.table)

    def _listed(self, mirrors: list[str], site: Site, radius_m: float) -> pd.DataFrame:
        """The list's stations around a site; a list that cannot be read is not kept."""
        from meteostat import Point, config, stations

        failed: FetchError | DamagedFile | None = None
        for url in mirrors:
            try:
                data = download(url, self.patience)
                if not data.startswith(SQLITE_MARK):
                    raise DamagedFile("what came as station list is none")
            except (FetchError, DamagedFile) as error:
                failed = failed or error
                continue
            with tempfile.TemporaryDirectory(dir=cache_directory()) as folder:
                database = Path(folder) / "stations.db"
                database.write_bytes(data)
                config.stations_db_file = str(database)
                config.cache_ttl = config.stations_db_ttl = 10**9
                try:
                    point = Point(site.latitude, site.longitude)
                    found = stations.nearby(point, radius=int(radius_m))
                    return _with_spans(found, stations.inventory)
                except (pd.errors.DatabaseError, sqlite3.Error) as error:
                    failed = DamagedFile(f"the station list is damaged: {error}")
        raise failed or DamagedFile("no address of a station list is set")

    def _went_wrong(self, why: str, *, of_all: bool) -> None:
        self.failure = self.failure or shown(" ".join(why.split()))
        self.offline = self.offline or of_all

    def year(self, station: Station, step: Step, year: int) -> pd.DataFrame:
        """One station's values of one year in the service's own columns and units.

        Returns
        -------
        DataFrame
            float64 columns on a naive index (days, or UTC hours); empty where there is no data.
            What a model made stands apart, in columns that end in :data:`MADE`.
        """
        from meteostat import config

        endpoint = config.daily_endpoint if step == "daily" else config.hourly_endpoint
        path = cache_path(endpoint, step, str(year), f"{station.id}.csv.gz")
        held = read_table(path, year)
        if held and held.fresh:
            self.attributions.add(held.attribution)
            return held.table
        why = "the network was given up"
        if not self.offline:
            try:
                table, owner = self._ask(endpoint.format(station=station.id, year=year))
            except (FetchError, DamagedFile) as error:
                why = str(error)
                self.refusals += 1
                far = isinstance(error, FetchError) and error.of_all
                self._went_wrong(why, of_all=far or self.refusals >= GIVE_UP_AFTER)
            else:
                self.refusals = 0
                write_table(path, table, owner)
                if not table.empty:
                    self.attributions.add(owner)
                return table
        if held:
            self.stale += 1
            self.attributions.add(held.attribution)
            return held.table
        self.lost.append(f"{station.id} {step} {year} ({why})")
        return pd.DataFrame()

    def _ask(self, url: str) -> tuple[pd.DataFrame, str]:
        """What was seen or foretold, and whom to thank; empty where the service has none."""
        try:
            seen, made, sources = read_service_file(download(url, self.patience))
        except Absent:
            return pd.DataFrame(index=pd.DatetimeIndex([], name="time")), attribution(frozenset())
        return seen.join(made.add_suffix(MADE), how="outer"), attribution(sources)


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
