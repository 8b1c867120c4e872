"""Gaps filled in a fixed order, every filled value marked and counted.

Short gaps: straight line on the departure from the normal of day and hour (at most 3 days,
or 6 hours in an hourly record). Longer ones: the normal; dew point by what
`humidity` learns from the other days. Relative humidity is never
interpolated: dew point is, and humidity follows from it. Rain is taken from the same days of
another year, else of the nearest days, a month's gap at a time, so that dry and wet spells
keep their shape.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from climate_risk.errors import InputError
from climate_risk.site import Site
from climate_risk.weather import humidity, psychro, sun
from climate_risk.weather.normals import (
    Days,
    gap_length,
    normals,
    rain_of_other_days,
    teaching,
)
from climate_risk.weather.record import (
    FloatArray,
    RawWeather,
    WeatherCoverage,
    WeatherRecord,
    forecast_start,
    given,
    is_filled,
)

SHORT_GAP = {"daily": 3, "hourly": 6}
"""Longest gap, in rows, that is interpolated."""
DRIVEN = "from temperature range, rain and season"
CALM_DEFAULT_MS = 2.0 / 0.748
"""FAO-56 takes 2 m/s at 2 m where nothing is known; 0.748 (equation 47) brings it to 10 m."""
LONG_DAYS = 10
CRITICAL_SHARE = 0.25
"""Share of May to September (November to March in the south) filled that draws a warning."""


def fill_gaps(raw: RawWeather, site: Site, left_out: Days | None = None) -> WeatherRecord:
    """Make a table without gaps.

    Parameters
    ----------
    raw : RawWeather
        Checked weather; see `quality.check`.
    site : Site
    left_out : (date, date), optional
        First and last of days from which nothing is learned: no normal, no line of humidity, no
        rain for other years. What they lack themselves is filled as ever.

    Returns
    -------
    WeatherRecord
        From the first to the last whole day of `raw`.

    Raises
    ------
    InputError
        There is no temperature or no rain at all: neither is ever made up.
    """
    filler = _Filler(raw, site, left_out)
    filler.temperatures()
    filler.humidity()
    filler.rain()
    filler.wind_pressure_snow()
    filler.sunshine()
    return filler.record()


class _Filler:
    """The table on its way from gaps to none; each step writes values and flags together."""

    def __init__(self, raw: RawWeather, site: Site, left_out: Days | None) -> None:
        index = _whole_days(raw.table.index, raw.step, raw.source)
        self.teaches = teaching(index, left_out)
        self.raw, self.site, self.index = raw, site, index
        self.daily = raw.step == "daily"
        self.table = raw.table.reindex(index)
        self.quality = raw.quality.reindex(index).fillna("missing")
        self.estimated: dict[str, str] = {}
        self.notes = list(raw.warnings)
        self.days = np.asarray(index.day_of_year, dtype=np.float64)

    def put(
        self, name: str, where: pd.Series, values: FloatArray | pd.Series | float, how: str
    ) -> None:
        """Write `values` and the flag `how` where the mask holds."""
        mask = np.asarray(where, dtype=bool)
        if mask.any():
            array = np.broadcast_to(np.asarray(values, dtype=np.float64), mask.shape)
            self.table.loc[mask, name] = array[mask]
            self.quality.loc[mask, name] = how

    def whole(self, name: str, values: FloatArray | pd.Series | float, how: str) -> None:
        """A column that the source lacks altogether."""
        self.table[name] = values
        self.quality[name] = f"estimated: {how}"
        self.estimated[name] = how

    def has(self, name: str) -> bool:
        return name in self.table and bool(self.table[name].notna().any())

    def smooth(self, name: str) -> None:
        """Fill a quantity that changes smoothly: line over short gaps, else the normal."""
        values = self.table[name]
        missing = values.isna()
        if not missing.any():
            return
        normal = normals(values.where(self.teaches), 1 if self.daily else 24)
        departure = (values - normal).interpolate(limit_area="inside")
        short = missing & (gap_length(missing) <= SHORT_GAP[self.raw.step]) & departure.notna()
        self.put(name, short, normal + departure, "filled: interpolated")
        self.put(name, missing & ~short, normal, "filled: normal of the day")
        self.say_long(name, missing & ~short, "the normal of the day")

    def say_long(self, name: str, rows: pd.Series, how: str) -> None:
        """Name each gap of `LONG_DAYS` or more, so that nobody takes it for weather."""
        least = LONG_DAYS * (1 if self.daily else 24)
        long = rows & (gap_length(rows) >= least)
        block = (long != long.shift()).cumsum()[long]
        for _, gap in block.groupby(block):
            first, last = pd.DatetimeIndex(gap.index)[[0, -1]]
            self.notes.append(
                f"{name}: nothing from {first:%Y-%m-%d} to {last:%Y-%m-%d}; filled with {how}"
            )

    def temperatures(self) -> None:
        names = ["air_temp_min_c", "air_temp_max_c"] if self.daily else ["air_temp_c"]
        for name in names:
            if not self.has(name):
                raise InputError(
                    f"{self.raw.source}: no value of {name}; accepted is weather with temperature"
                )
            self.smooth(name)
        if not self.daily:
            return
        low, high = self.table["air_temp_min_c"], self.table["air_temp_max_c"]
        made_up = is_filled(self.quality["air_temp_max_c"])
        how = "filled: held at the other extreme"
        self.put("air_temp_max_c", (low > high) & made_up, low, how)
        self.put("air_temp_min_c", (low > high) & ~made_up, high, how)
        low, high = self.table["air_temp_min_c"], self.table["air_temp_max_c"]
        middle = (low + high) / 2
        if self.has("air_temp_mean_c"):
            missing = self.table["air_temp_mean_c"].isna()
            self.put("air_temp_mean_c", missing, middle, "filled: middle of the extremes")
        else:
            self.whole("air_temp_mean_c", middle, "middle of the day's extremes")

    def saturation(self) -> FloatArray:
        """Mean saturation pressure of each row [kPa]."""
        if self.daily:
            low = self.table["air_temp_min_c"].to_numpy(np.float64)
            high = self.table["air_temp_max_c"].to_numpy(np.float64)
            return psychro.mean_saturation_kpa(low, high)
        return psychro.saturation_vapour_pressure_kpa(self.table["air_temp_c"].to_numpy())

    def humidity(self) -> None:
        saturation = self.saturation()
        if self.has("rel_humidity_pct"):
            pressure = self.table["rel_humidity_pct"].to_numpy(np.float64) * saturation / 100.0
            from_humidity = pd.Series(psychro.dew_point_c(pressure), self.table.index)
            if not self.has("dew_point_c"):
                self.whole("dew_point_c", from_humidity, "from relative humidity")
                lost = self.table["dew_point_c"].isna()
                self.put("dew_point_c", lost, np.nan, "missing")
            else:
                open_ = self.table["dew_point_c"].isna() & from_humidity.notna()
                self.put("dew_point_c", open_, from_humidity, "estimated: from relative humidity")
        if self.has("dew_point_c"):
            self._gaps_of_dew_point()
            self.smooth("dew_point_c")
            air = self.table["air_temp_max_c" if self.daily else "air_temp_c"]
            high = is_filled(self.quality["dew_point_c"]) & (self.table["dew_point_c"] > air)
            self.put("dew_point_c", high, air, "filled: saturated air")
        else:
            self.whole("dew_point_c", self._spread(self._dew_points()[0]), DRIVEN)
            self.notes.append(
                "humidity is not in the source: it was estimated from temperature range, rain and "
                f"season, with an error of {humidity.USUAL_ERROR_POINTS:.0f} points of relative "
                "humidity a day where that was measured, and too moist by about 15 on the driest "
                "days; a humidity sensor in the yard settles it"
            )
        dew = self.table["dew_point_c"].to_numpy(np.float64)
        vapour = psychro.saturation_vapour_pressure_kpa(dew)
        derived = np.minimum(100.0 * vapour / saturation, 100.0)
        if self.has("rel_humidity_pct"):
            missing = self.table["rel_humidity_pct"].isna()
            self.put("rel_humidity_pct", missing, derived, "filled: from dew point")
        else:
            self.whole("rel_humidity_pct", derived, "from dew point and temperature")

    def _gaps_of_dew_point(self) -> None:
        """Days, and gaps of hours too long for a line, from what the record itself teaches.

        Refilled gaps of real days come back with half the error of a line through time, short
        ones too (``tests/test_humidity.py``).
        """
        missing = self.table["dew_point_c"].isna()
        long = missing & (self.daily | (gap_length(missing) > SHORT_GAP["hourly"]))
        if long.any():
            values, learned = self._dew_points()
            how = (
                "filled: learned from the days with dew point" if learned else f"filled: {DRIVEN}"
            )
            self.put("dew_point_c", long, self._spread(values), how)

    def _dew_points(self) -> tuple[FloatArray, bool]:
        """Estimated dew point of every day, and whether the record itself taught it."""
        low, high, rain, dew = self._by_day()
        days = self.days if self.daily else self.days[::24]
        by_day = humidity.drivers(low, high, rain, days, self.site)
        # The line looks at the rain of the days beside, so these must not be left out either.
        teaches = np.convolve(~(self.teaches if self.daily else self.teaches[::24]), [1, 1, 1])
        line = humidity.learn(by_day, np.where(teaches[1:-1] == 0, dew - low, np.nan))
        values = humidity.dew_point_from(
            by_day, low, high, humidity.USUAL if line is None else line
        )
        return values, line is not None

    def _by_day(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Extremes, rain and mean dew point of each day; the last two may be missing."""

        def column(name: str) -> FloatArray:
            values: FloatArray = self.table.reindex(columns=[name])[name].to_numpy(np.float64)
            return values

        rain, dew = column("precip_mm"), column("dew_point_c")
        if self.daily:
            return column("air_temp_min_c"), column("air_temp_max_c"), rain, dew
        temp = column("air_temp_c").reshape(-1, 24)
        wet = np.nansum(rain.reshape(-1, 24), axis=1)
        return temp.min(axis=1), temp.max(axis=1), wet, dew.reshape(-1, 24).mean(axis=1)

    def _spread(self, daily: FloatArray) -> FloatArray:
        """Days as they are, or straight lines between their middles, capped at the air."""
        if self.daily:
            return daily
        hours = np.arange(24 * len(daily)) + 0.5
        line = np.interp(hours, np.arange(len(daily)) * 24 + 12.0, daily)
        capped: FloatArray = np.minimum(line, self.table["air_temp_c"].to_numpy(np.float64))
        return capped

    def rain(self) -> None:
        if not self.has("precip_mm"):
            raise InputError(
                f"{self.raw.source}: no rain (precip_mm); accepted is weather with rain, since "
                "a drought must not be made up"
            )
        rain = self.table["precip_mm"]
        missing = rain.isna()
        if not missing.any():
            return
        block = (missing != missing.shift()).cumsum()[missing]
        gap = pd.DatetimeIndex(block.index)
        piece = block.groupby([block, gap.to_period("M")]).ngroup()
        donor, whose = rain_of_other_days(rain.where(self.teaches), piece)
        dry = int(donor.isna().sum())
        self.table.loc[gap, "precip_mm"] = donor.fillna(0.0)
        flags = "filled: " + whose.fillna("no such days, taken as dry")
        self.quality.loc[gap, "precip_mm"] = flags.astype(object)
        self.say_long("precip_mm", missing, "the rain of other years' or of near days, if any")
        if dry:
            self.notes.append(
                f"precip_mm: missing on {dry} {'days' if self.daily else 'hours'} with no other "
                "days to take them from; taken as dry, so a drought may be false"
            )

    def wind_pressure_snow(self) -> None:
        for name in ("wind_ms", "pressure_hpa", "snow_depth_mm"):
            if self.has(name):
                self.smooth(name)
            elif name in self.table:
                del self.table[name], self.quality[name]
        if "wind_ms" not in self.table:
            self.whole("wind_ms", CALM_DEFAULT_MS, "2 m/s at 2 m height (FAO-56)")
        if "pressure_hpa" not in self.table:
            pressure = psychro.pressure_hpa(self.site.elevation_m)
            self.whole("pressure_hpa", pressure, "from elevation (FAO-56 equation 7)")

    def sunshine(self) -> None:
        name = "shortwave_mj_m2" if self.daily else "shortwave_w_m2"
        if self.has(name) and not self.table[name].isna().any():
            return
        if self.daily:
            low, high, days = self.table["air_temp_min_c"], self.table["air_temp_max_c"], self.days
        else:
            temp = self.table["air_temp_c"].to_numpy(np.float64).reshape(-1, 24)
            low, high, days = temp.min(axis=1), temp.max(axis=1), self.days[::24]
        values = sun.hargreaves_mj_m2(np.asarray(low), np.asarray(high), days, self.site)
        if not self.daily:
            elevation, _ = sun.sun_position(self.table.index.to_numpy(), self.site)
            values = sun.hourly_shortwave_w_m2(values, elevation)
        if self.has(name):
            how = "filled: from the day's temperature range"
            self.put(name, self.table[name].isna(), values, how)
        else:
            self.whole(name, values, "from the day's temperature range (FAO-56 equation 50)")

    def record(self) -> WeatherRecord:
        table, quality = self.table, self.quality
        return WeatherRecord(
            table=table,
            quality=quality,
            step=self.raw.step,
            coverage=coverage(
                table, quality, self.raw, self.site, self.estimated, tuple(self.notes)
            ),
        )


def coverage(
    table: pd.DataFrame,
    quality: pd.DataFrame,
    raw: RawWeather,
    site: Site,
    estimated: dict[str, str],
    notes: tuple[str, ...],
) -> WeatherCoverage:
    """Counts of a table, with a warning where the warm months are largely filled."""
    index = pd.DatetimeIndex(table.index)
    ahead = forecast_start(quality)
    forecast_to = None if ahead is None else index[-1].date()
    if ahead is not None:
        quality = quality[index < ahead]
        index = pd.DatetimeIndex(quality.index)
    filled = {}
    for name in map(str, quality.columns):
        counts = quality[name][is_filled(quality[name])].value_counts()
        if len(counts):
            filled[name] = {
                str(how).removeprefix("filled: "): int(count) for how, count in counts.items()
            }
    warm = index.month.isin(site.warm_months)
    needed = [n for n in map(str, quality.columns) if n.startswith("air_temp_m") or n in _NEEDED]
    warnings = []
    for name in needed if warm.any() else ():
        share = is_filled(quality.loc[warm, name]).mean()
        if share >= CRITICAL_SHARE:
            warnings.append(f"{name}: {share:.0%} of the warm months is filled, not observed")
    return WeatherCoverage(
        source=raw.source,
        first=index[0].date(),
        last=index[-1].date(),
        days=len(index) // (1 if raw.step == "daily" else 24),
        filled=filled,
        estimated=estimated,
        warnings=(*notes, *warnings),
        attribution=raw.attribution,
        forecast_to=forecast_to,
        given=given(quality, raw.source, raw.step),
    )


_NEEDED = ("air_temp_c", "dew_point_c", "precip_mm")


def _whole_days(index: pd.Index, step: str, source: str) -> pd.DatetimeIndex:
    """Every day, or every hour of every day; end days with under 20 hours are left out."""
    stamps = pd.DatetimeIndex(index)
    days = stamps.normalize()
    if step == "daily":
        return pd.date_range(days[0], days[-1], freq="D")
    hours = pd.Series(1, index=days).groupby(level=0).sum()
    good = hours.index[hours >= 20]
    if good.empty:
        raise InputError(
            f"{source}: no day with 20 hours or more; accepted is at least one whole day"
        )
    return pd.date_range(good[0], good[-1] + pd.Timedelta(hours=23), freq="h")
