"""Units judged against the place: taken where only one fits, refused where another is meant.

Temperature: the middle distance of months from the rough normal of `place`. Rain: the mean
of days with rain, which is 2 to 20 mm in every climate, dry or wet. Wind: the long-term mean
at 10 m, 1 to 7 m/s where logs are stacked. The limits are our own, set on real records.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from climate_risk.errors import InputError, shown
from climate_risk.site import Site
from climate_risk.weather.columns import ALL, TEMPERATURES, plain_unit
from climate_risk.weather.place import normal_temp_c
from climate_risk.weather.record import FloatArray

FITS_K = 13.0
"""A unit fits where the middle month is nearer to the normal than this."""
BETTER_K = 6.0
"""What another reading must be better by before the stated unit is doubted."""
MIRRORED = -0.5
"""Correlation of months with the normal under which the seasons are the other hemisphere's."""
SEASONAL_LATITUDE = 25.0
MIN_DAYS, MIN_WET_DAYS = 10, 20
PLACE_DAYS = 60
"""Days that a doubt about the yard's coordinates needs."""
WORDS = {"c": "Celsius", "f": "Fahrenheit", "k": "kelvin"}
WET_DAY_MM = (0.95, 25.0)
BLOCK_DAYS = 3
"""Days in a row in another unit that make a block."""
COLD_BLOCK_DAYS = 10
"""The same where the values are too low, since cold spells of a few days are as low."""
BLOCK_OFF_K, BLOCK_FIT_K = 18.0, 11.0
TWIN_OFF_K, WIDE_RANGE_K = 9.0, 38.0
"""One of a day's extremes alone far off is weather (as in March 2012 on the Great Plains), unless
the other is off by so much too, or they lie so far apart."""
WINDY_MS, CALM_MS = 7.0, 0.4
BLOCK_WET_DAYS = 8
RAIN_RATIO = (7.0, 9.0)
"""Two months' mean day with rain may be so many times smaller than usual, and so many larger."""
SURE_RAIN_RATIO = 15.0
"""Beyond this a unit that is written is doubted all the same: real droughts reached 8 and 13
(western Nebraska, summer 2012 and March 2015), an inch read as a millimetre is 25."""


@dataclass(frozen=True)
class Reading:
    """A column as it stands in a file: its header, its unit, and whether that is written."""

    header: str
    unit: str
    stated: bool


def settle_units(
    path: Path,
    table: pd.DataFrame,
    readings: Mapping[str, Reading],
    times: pd.DatetimeIndex,
    site: Site,
) -> tuple[pd.DataFrame, list[str]]:
    """Columns brought to the units that fit the place.

    Parameters
    ----------
    path : Path
        For messages.
    table : DataFrame
        Canonical columns, converted by the units in `readings`; index is the line number.
    readings : mapping
        Canonical name -> where it was read from.
    times : DatetimeIndex
        Of the rows.
    site : Site

    Returns
    -------
    table : DataFrame
    notes : list of str
        Which unit was taken for each column that names none.

    Raises
    ------
    InputError
        A unit that cannot be right, two units in one column, or none that can be told.
    """
    table = table.copy()
    notes: list[str] = []
    mistakes: list[str] = []
    judge = _Judge(path, table, dict(readings), times, site, notes, mistakes)
    temperatures = [name for name in TEMPERATURES if name in table]
    for name in (*temperatures, *(["dew_point_c"] if "dew_point_c" in table else [])):
        judge.temperature(name)
    if not mistakes:
        for name in temperatures:
            judge.blocks(name)
    if "precip_mm" in table:
        judge.rain()
    if "wind_ms" in table:
        judge.wind()
    if mistakes:
        raise InputError(*mistakes)
    return table, notes


@dataclass
class _Judge:
    path: Path
    table: pd.DataFrame
    readings: dict[str, Reading]
    times: pd.DatetimeIndex
    site: Site
    notes: list[str]
    mistakes: list[str]

    def ask(self, name: str, why: str, unit: str) -> None:
        reading = self.readings[name]
        self.mistakes.append(
            f"{self.path}, column {shown(reading.header)!r}: {why}; accepted is its unit in "
            f'[weather.columns], such as {name} = {{column = "{shown(reading.header)}", '
            f'unit = "{unit}"}}'
        )

    def say(self, reading: Reading, taken: str) -> None:
        self.notes.append(f"{shown(reading.header)} is read in {taken}")

    def convert(self, name: str, unit: str) -> pd.Series:
        """The column as if its numbers were in another unit."""
        scale, offset = ALL[name].conversion(self.readings[name].unit) or (1.0, 0.0)
        other = ALL[name].conversion(unit) or (1.0, 0.0)
        return (self.table[name] - offset) / scale * other[0] + other[1]

    def take(self, name: str, unit: str) -> None:
        self.table[name] = self.convert(name, unit)
        self.readings[name] = replace(self.readings[name], unit=unit)

    def temperature(self, name: str) -> None:
        reading = self.readings[name]
        units = ("c", "f", "k")
        months = {unit: _by_month(self.convert(name, unit), self.times) for unit in units}
        if months["c"].empty:
            return
        here = {unit: self._distance(months[unit], self.site, name) for unit in units}
        own = plain_unit(reading.unit)
        own = own if own in here else "c"
        best = min(here, key=lambda unit: here[unit])
        if name == "dew_point_c":
            self._dew_point(own, reading)
            return
        distance, elsewhere = self._elsewhere(months[own], name)
        fits = here[own] < FITS_K and not self._mirrored(months[own])
        enough = (
            self.table[name].notna().sum() and len(self.times.normalize().unique()) >= PLACE_DAYS
        )
        if enough and not fits and distance < min(here[best], FITS_K):
            self.mistakes.append(
                f"{self.path}, column {shown(reading.header)!r}: its warm and cold months do not "
                f"fit latitude {self.site.latitude:g}; they would fit {elsewhere}; accepted are "
                "degrees north (south of the equator with a minus) and degrees east, and "
                "weather of that place"
            )
            return
        if here[own] < FITS_K and (reading.stated or here[own] <= here[best] + BETTER_K):
            if not reading.stated:
                self.notes.append(
                    f"{shown(reading.header)} is read in {WORDS[own]} (by its level)"
                )
            return
        middle = float(months[own].median())
        if reading.stated and here[best] < here[own] - BETTER_K and here[best] < FITS_K:
            self.ask(
                name,
                f"read in {WORDS[own]} its middle month has {middle:.0f} C, {here[own]:.0f} K "
                "off what "
                f"is usual at {self.site.latitude:g} degrees; in {WORDS[best]} it would fit",
                best.upper(),
            )
        elif not reading.stated and here[best] < FITS_K:
            self.take(name, best)
            self.say(reading, f"{WORDS[best]}, the one unit that fits the place")
        elif not reading.stated:
            self.ask(name, "no unit is named and none fits the place", "F")
        else:
            self.notes.append(
                f"{name}: its middle month is {here[own]:.0f} K off what is usual at this "
                "latitude "
                "and height"
            )

    def _distance(self, months: pd.Series, site: Site, name: str) -> float:
        return float((months - _normals(months, site) - _lean(name)).abs().median())

    def _mirrored(self, months: pd.Series) -> bool:
        if abs(self.site.latitude) < SEASONAL_LATITUDE or len(months) < 8:
            return False
        return bool(np.corrcoef(months, _normals(months, self.site))[0, 1] < MIRRORED)

    def _elsewhere(self, months: pd.Series, name: str) -> tuple[float, str]:
        """Distance and words of the reading of the yard's own coordinates that fits best."""
        latitude, longitude = self.site.latitude, self.site.longitude
        tries = {f"latitude {-latitude:g} (the other hemisphere)": -latitude}
        if abs(longitude) <= 90.0:
            words = f"latitude {longitude:g} (latitude and longitude changed places)"
            tries[words] = longitude
        found = [
            (self._distance(months, replace(self.site, latitude=other), name), words)
            for words, other in tries.items()
        ]
        return min(found)

    def _dew_point(self, own: str, reading: Reading) -> None:
        """Air is never drier on the wet side: dew point above the warmest air is another unit."""
        air = self.table.get("air_temp_max_c", self.table.get("air_temp_c"))
        if air is None:
            return
        known = self.table["dew_point_c"].notna() & air.notna()
        if known.sum() < MIN_DAYS:
            return
        over = {
            unit: float((self.convert("dew_point_c", unit) > air + 2.0)[known].mean())
            for unit in ("c", "f", "k")
        }
        if over[own] <= 0.25:
            return
        best = min(over, key=lambda unit: over[unit])
        if over[best] < 0.05 and not reading.stated:
            self.take("dew_point_c", best)
            self.notes.append(
                f"{shown(reading.header)} is read in {WORDS[best]}, which alone fits"
            )
        else:
            share = f"{over[own]:.0%} of its values lie above the air temperature"
            self.ask("dew_point_c", share, best.upper())

    def blocks(self, name: str) -> None:
        """Days in a row that fit the place only in another unit than the column's."""
        daily = self.table[name].groupby(self.times.normalize().to_numpy()).mean().dropna()
        if len(daily) < 2 * BLOCK_DAYS:
            return
        index = pd.DatetimeIndex(daily.index)
        usual = self._usual(name, daily)
        off = ((daily - usual).abs() > BLOCK_OFF_K) & self._not_alone(name, daily)
        for unit in ("f", "k", "f twice"):
            other = daily - 273.15 if unit == "k" else (daily - 32.0) / 1.8
            if unit == "f twice":
                other = daily * 1.8 + 32.0
            hit = off & ((other - usual).abs() < BLOCK_FIT_K)
            run = hit.groupby((hit != hit.shift()).cumsum()).transform("size").where(hit, 0)
            least = COLD_BLOCK_DAYS if unit == "f twice" else BLOCK_DAYS
            if run.max() < least:
                continue
            days = index[run >= least]
            rows = self.table.index[np.isin(self.times.normalize(), days)]
            word = {"f": "Fahrenheit", "k": "kelvin", "f twice": "Celsius converted as if it were "
                    "Fahrenheit"}[unit]  # fmt: skip
            self.mistakes.append(
                f"{self.path}, lines {rows[0]} to {rows[-1]}, column "
                f"{shown(self.readings[name].header)!r}: {len(days)} days from {days[0]:%Y-%m-%d} "
                f"to {days[-1]:%Y-%m-%d} fit their neighbours only as {word}; accepted is one "
                "unit "
                "for a whole column: convert those rows"
            )
            return

    def _not_alone(self, name: str, daily: pd.Series) -> pd.Series:
        """Days whose other extreme is off its usual too, or lies too far from this one."""
        twins = {"air_temp_min_c": "air_temp_max_c", "air_temp_max_c": "air_temp_min_c"}
        twin = twins.get(name)
        if twin is None or twin not in self.table:
            return pd.Series(True, daily.index)
        other = self.table[twin].groupby(self.times.normalize().to_numpy()).mean()
        other = other.reindex(daily.index)
        apart = (daily - other).abs() > WIDE_RANGE_K
        return apart | ~((other - self._usual(twin, other)).abs() < TWIN_OFF_K)

    def _usual(self, name: str, daily: pd.Series) -> pd.Series:
        """What the weeks around bring, or the place's normal where these are far from it."""
        rough = pd.Series(_normals(daily, self.site) + _lean(name), daily.index)
        own = daily.rolling(61, center=True, min_periods=15).median()
        return own.where((own - rough).abs() < FITS_K, rough)

    def rain(self) -> None:
        reading = self.readings["precip_mm"]
        wet = _wet_days(self.table["precip_mm"], self.times)
        units = ("mm", "in", "cm")
        if len(wet) < MIN_WET_DAYS:
            if not reading.stated and len(wet):
                self.ask("precip_mm", "too few days with rain to tell mm from inches", "in")
            return
        low, high = WET_DAY_MM
        mean = float(wet.mean())
        scale = (ALL["precip_mm"].conversion(reading.unit) or (1.0, 0.0))[0]
        as_unit = {
            unit: mean / scale * (ALL["precip_mm"].conversion(unit) or (1.0, 0.0))[0]
            for unit in units
        }
        if low <= mean <= high:
            if not reading.stated:
                self.notes.append(
                    f"{shown(reading.header)} is read in mm (by the size of its rains)"
                )
            self._rain_blocks(wet)
            return
        fits = [unit for unit in units if low <= as_unit[unit] <= high]
        if not reading.stated and fits[:1] == ["in"]:
            self.take("precip_mm", "in")
            self.say(reading, f"inches (as mm a day with rain would bring {mean:.2g} mm)")
            self._rain_blocks(_wet_days(self.table["precip_mm"], self.times))
            return
        unit = fits[0] if fits else ("tenths mm" if mean > high else "in")
        self.ask(
            "precip_mm",
            f"a day with rain brings {mean:.2g} mm on average when read in {reading.unit}, which "
            f"no climate has ({low:g} to {high:g} mm)",
            unit,
        )

    def _rain_blocks(self, wet: pd.Series) -> None:
        """Two months whose rains are of another size than those of most others."""
        months = wet.groupby(pd.DatetimeIndex(wet.index).to_period("M")).agg(["sum", "count"])
        months = months.reindex(pd.period_range(months.index[0], months.index[-1], freq="M"))
        pairs = months.fillna(0.0).rolling(2).sum()
        mean = (pairs["sum"] / pairs["count"])[pairs["count"] >= BLOCK_WET_DAYS]
        if len(mean) < 4:
            return
        small = mean * RAIN_RATIO[0] < mean.quantile(0.75)
        large = mean > RAIN_RATIO[1] * mean.quantile(0.25)
        strange = mean[small | large]
        if strange.empty:
            return
        last, usual = pd.Period(strange.index[0], "M"), float(mean.median())
        why = (
            f"the rains of {last - 1} and {last} bring {strange.iloc[0]:.2g} mm on a day with "
            f"rain, those of the other months {usual:.2g} mm: another unit?"
        )
        reading = self.readings["precip_mm"]
        factor = float(np.exp(np.abs(np.log(strange / usual)).max()))
        if reading.stated and factor < SURE_RAIN_RATIO:
            self.notes.append(f"{shown(reading.header)}: {why} (kept in {reading.unit})")
        else:
            self.ask("precip_mm", why, "in")

    def wind(self) -> None:
        reading = self.readings["wind_ms"]
        daily = self.table["wind_ms"].groupby(self.times.normalize().to_numpy()).mean().dropna()
        if len(daily) < MIN_DAYS:
            return
        mean = float(daily.mean())
        if not reading.stated:
            self.ask("wind_ms", "no unit is named, and m/s, mph, km/h and knots look alike", "mph")
        elif mean > WINDY_MS:
            self.ask(
                "wind_ms",
                f"a mean of {mean:.1f} m/s read in {reading.unit} is a wind of open sea or hill "
                f"tops; usual is less than {WINDY_MS:g} m/s",
                "mph" if plain_unit(reading.unit) == "m/s" else "m/s",
            )


def _by_month(values: pd.Series, times: pd.DatetimeIndex) -> pd.Series:
    """Mean of each month with enough days; all rows are one where there is no such month."""
    daily = values.groupby(times.normalize().to_numpy()).mean().dropna()
    if daily.empty:
        return daily
    period = pd.DatetimeIndex(daily.index).to_period("M")
    months = daily.groupby(period).agg(["mean", "count"])
    whole = months["mean"][months["count"] >= min(MIN_DAYS, months["count"].max())]
    middle = pd.PeriodIndex(whole.index).to_timestamp() + pd.Timedelta(days=14)
    return pd.Series(whole.to_numpy(), middle)


def _normals(values: pd.Series, site: Site) -> FloatArray:
    day = np.asarray(pd.DatetimeIndex(values.index).day_of_year, dtype=np.float64)
    return normal_temp_c(site, day)


def _lean(name: str) -> float:
    """What the day's extremes usually lie off its mean [K]."""
    return {"air_temp_min_c": -5.5, "air_temp_max_c": 5.5}.get(name, 0.0)


def _wet_days(rain: pd.Series, times: pd.DatetimeIndex) -> pd.Series:
    daily = rain.groupby(times.normalize().to_numpy()).sum(min_count=1)
    return pd.Series(daily[daily > 0.0])
