"""A weather record as hours: what the log model is driven by."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.site import Site
from climate_risk.weather import sun
from climate_risk.weather.doubt import doubt_of
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa
from climate_risk.weather.record import (
    FORECAST,
    FloatArray,
    HourlyWeather,
    WeatherRecord,
    forecast_start,
    is_filled,
)

# Diurnal temperature curve: coefficients of Wann, Yen & Gold 1985, Agric. For. Meteorol.
# 34:121-128, mean of five North Carolina sites (a humid eastern climate).
MAX_LAG_H = 2.59
"""Hours from solar noon to the warmest moment."""
NIGHT_DECAY = 2.20
MIN_LAG_H = 1.55
"""Hours from sunrise to the coolest moment."""
DAYLENGTH_RANGE_H = (6.0, 20.0)
"""The curve needs a day and a night; day length is held in this range towards the poles."""

WIND_SWING = 0.35
WIND_PEAK_H = 14.0
"""Day and night contrast of wind about 2 to 1, strongest at 14 h; common practice, no source."""
RAIN_HOURS = slice(15, 21)
"""A day's rain falls evenly from 15 to 21 h, when showers are likeliest in the warm season;
common practice, no source. Interception works on the storm's total, not on these hours."""


def to_hourly(record: WeatherRecord, site: Site) -> HourlyWeather:
    """Weather of every hour, from a daily or an hourly record.

    A daily record is split so that each day's extremes of temperature, total of sun, total of
    rain and mean wind come back from its hours. Dew point runs in straight lines between
    the middles of days, capped at the air temperature, so that vapour pressure and not
    relative humidity is carried through the day.

    Parameters
    ----------
    record : WeatherRecord
    site : Site

    Returns
    -------
    HourlyWeather
    """
    table = record.table
    start = table.index[0].to_datetime64().astype("datetime64[h]")
    count = len(table) * (24 if record.step == "daily" else 1)
    time = start + np.arange(count).astype("timedelta64[h]")
    elevation, azimuth = sun.sun_position(time, site)
    columns = {name: table[name].to_numpy(np.float64) for name in table.columns}
    if record.step == "daily":
        columns = _split_days(columns, pd.DatetimeIndex(table.index), elevation, site)
    temp, dew = columns["air_temp_c"], columns["dew_point_c"]
    shortwave = np.where(elevation > 0.0, columns["shortwave_w_m2"], 0.0)
    day_of_year = np.asarray(pd.DatetimeIndex(time).day_of_year, dtype=np.float64)
    beam, diffuse = sun.split_beam_diffuse(shortwave, elevation, day_of_year)
    return HourlyWeather(
        time=time,
        air_temp_c=temp,
        vapour_pressure_kpa=saturation_vapour_pressure_kpa(np.minimum(dew, temp)),
        wind_10m_ms=columns["wind_ms"],
        precip_mm=columns["precip_mm"],
        pressure_hpa=columns["pressure_hpa"],
        shortwave_w_m2=shortwave,
        beam_normal_w_m2=beam,
        diffuse_w_m2=diffuse,
        sun_elevation_deg=elevation,
        sun_azimuth_deg=azimuth,
        observed=np.repeat(_observed(record), count // len(table)),
        doubt=doubt_of(record),
        forecast_days=_forecast_days(record),
    )


def _observed(record: WeatherRecord) -> npt.NDArray[np.bool_]:
    """Rows in which no temperature, humidity or rain was filled or is forecast."""
    names = [n for n in map(str, record.quality) if n.startswith("air_temp") or n in _WET]
    unseen = [
        (is_filled(record.quality[name]) | (record.quality[name] == FORECAST)).to_numpy()
        for name in names
    ]
    result: npt.NDArray[np.bool_] = ~np.any(unseen, axis=0)
    return result


def _forecast_days(record: WeatherRecord) -> int:
    begin = forecast_start(record.quality)
    return 0 if begin is None else (record.table.index[-1].normalize() - begin).days + 1


_WET = ("dew_point_c", "precip_mm")


def _split_days(
    day: dict[str, FloatArray], dates: pd.DatetimeIndex, elevation: FloatArray, site: Site
) -> dict[str, FloatArray]:
    """Hourly arrays, shape (days * 24,), from daily ones."""
    day_of_year = np.asarray(dates.day_of_year, dtype=np.float64)
    sunrise, sunset = sun_hours(day_of_year, site)
    temp = diurnal_temperature(day["air_temp_min_c"], day["air_temp_max_c"], sunrise, sunset)
    hours = np.arange(len(dates) * 24) + 0.5
    centres = np.arange(len(dates)) * 24 + 12.0
    rain = np.zeros((len(dates), 24))
    rain[:, RAIN_HOURS] = day["precip_mm"][:, None] / (RAIN_HOURS.stop - RAIN_HOURS.start)
    clock = np.arange(24) + 0.5
    gust = 1.0 + WIND_SWING * np.cos(np.pi * (clock - WIND_PEAK_H) / 12.0)
    return {
        "air_temp_c": temp.ravel(),
        "dew_point_c": np.interp(hours, centres, day["dew_point_c"]),
        "precip_mm": rain.ravel(),
        "wind_ms": (day["wind_ms"][:, None] * gust).ravel(),
        "pressure_hpa": np.repeat(day["pressure_hpa"], 24),
        "shortwave_w_m2": sun.hourly_shortwave_w_m2(day["shortwave_mj_m2"], elevation),
    }


def sun_hours(day_of_year: FloatArray, site: Site) -> tuple[FloatArray, FloatArray]:
    """Sunrise and sunset on the site's standard clock [h], FAO-56 equations 25, 32 and 33.

    Day length is held within `DAYLENGTH_RANGE_H`.
    """
    length = 24.0 / np.pi * sun.sunset_hour_angle_rad(site.latitude, day_of_year)
    length = np.clip(length, *DAYLENGTH_RANGE_H)
    turn = 2.0 * np.pi * (day_of_year - 81.0) / 364.0
    equation = 0.1645 * np.sin(2.0 * turn) - 0.1255 * np.cos(turn) - 0.025 * np.sin(turn)
    noon = 12.0 + site.utc_offset_hours - site.longitude / 15.0 - equation
    return noon - length / 2.0, noon + length / 2.0


def diurnal_temperature(
    temp_min_c: FloatArray, temp_max_c: FloatArray, sunrise_h: FloatArray, sunset_h: FloatArray
) -> FloatArray:
    """Temperature in the middle of each hour from daily extremes.

    Sine by day and exponential by night after Parton & Logan 1981, Agric. Meteorol.
    23:205-216, with the night curve normalised so that it ends on the next minimum
    (Goudriaan & van Laar 1994, from memory). Each day is then shifted and stretched, by
    tenths of a degree as a rule, so that its warmest and coolest hours are the given extremes.

    Parameters
    ----------
    temp_min_c, temp_max_c, sunrise_h, sunset_h : array, shape (days,)

    Returns
    -------
    array, shape (days, 24)
    """
    clock = np.broadcast_to(np.arange(24) + 0.5, (len(temp_min_c), 24))
    curve = diurnal_curve(clock, temp_min_c, temp_max_c, sunrise_h, sunset_h)
    low, high = temp_min_c[:, None], temp_max_c[:, None]
    curve = np.clip(curve, low, high)
    bottom = curve.min(axis=1, keepdims=True)
    spread = curve.max(axis=1, keepdims=True) - bottom
    unit = np.divide(curve - bottom, spread, out=np.zeros_like(curve), where=spread > 0.0)
    result: FloatArray = low + unit * (high - low)
    return result


def diurnal_curve(
    clock_h: FloatArray,
    temp_min_c: FloatArray,
    temp_max_c: FloatArray,
    sunrise_h: FloatArray,
    sunset_h: FloatArray,
    max_lag_h: float = MAX_LAG_H,
    decay: float = NIGHT_DECAY,
    min_lag_h: float = MIN_LAG_H,
) -> FloatArray:
    """The normalised sine-exponential curve itself, at any clock hours of each day.

    Parameters
    ----------
    clock_h : array, shape (days, n)
        Hours from 0 to 24.
    temp_min_c, temp_max_c, sunrise_h, sunset_h : array, shape (days,)
    max_lag_h : float
        Hours from solar noon to the maximum.
    decay : float
        Decay constant of the night.
    min_lag_h : float
        Hours from sunrise to the minimum.

    Returns
    -------
    array, shape (days, n)
    """
    day_length = sunset_h - sunrise_h
    time_of_min = sunrise_h + min_lag_h
    half_wave = day_length + 2.0 * (max_lag_h - min_lag_h)
    spread = temp_max_c - temp_min_c
    at_sunset = temp_min_c + spread * np.sin(np.pi * (sunset_h - time_of_min) / half_wave)

    before_set = _shifted(sunset_h, -1)
    dark_before = 24.0 - before_set + time_of_min
    dark_after = 24.0 - sunset_h + _shifted(time_of_min, 1)
    early = _night(
        clock_h + 24.0 - before_set[:, None],
        _shifted(at_sunset, -1),
        temp_min_c,
        dark_before,
        decay,
    )
    late = _night(
        clock_h - sunset_h[:, None], at_sunset, _shifted(temp_min_c, 1), dark_after, decay
    )
    phase = np.pi * (clock_h - time_of_min[:, None]) / half_wave[:, None]
    light = temp_min_c[:, None] + spread[:, None] * np.sin(phase)
    result: FloatArray = np.where(
        clock_h < time_of_min[:, None], early, np.where(clock_h <= sunset_h[:, None], light, late)
    )
    return result


def _night(
    since_sunset: FloatArray,
    start: FloatArray,
    end: FloatArray,
    length: FloatArray,
    decay: float,
) -> FloatArray:
    """Exponential from `start` at sunset to exactly `end` after `length` hours, by day."""
    floor = np.exp(-decay)
    share = (np.exp(-decay * since_sunset / length[:, None]) - floor) / (1.0 - floor)
    curve: FloatArray = end[:, None] + (start - end)[:, None] * share
    return curve


def _shifted(values: FloatArray, by: int) -> FloatArray:
    """Value of the day before (-1) or after (+1); the ends repeat themselves."""
    return values[np.clip(np.arange(len(values)) + by, 0, len(values) - 1)]
