"""The weather inside a stand: one table of hourly rows for a whole record under one canopy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import (
    HOURS_PER_DAY,
    KELVIN_AT_0_C,
    STEFAN_BOLTZMANN_W_M2K4,
    WATER_VAPOUR_GAS_CONSTANT_J_KG_K,
)
from climate_risk.microclimate.canopy import (
    LEAF_LONGWAVE_FACTOR,
    air_below,
    between,
    canopy_index,
    diffuse_transmittance,
    leaf_share,
    sky_longwave,
    throughfall,
)
from climate_risk.site import Site
from climate_risk.tables import Canopy, canopies, model
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa
from climate_risk.weather.record import HourlyWeather
from climate_risk.weather.sun import extraterrestrial_mj_m2

FloatArray = npt.NDArray[np.float64]

MJ_PER_WATT_HOUR = 3.6e-3
CANOPY_EMISSIVITY = 0.98
"""Of leaves and twigs (Campbell and Norman 1998, table 11.3; from memory)."""
WIND_FLOOR_MS = 0.1
"""Below this free convection rules anyway."""
LOWEST_SUN_SINE = 0.02
"""A beam flatter than about one degree is taken as spent in the canopy."""


@dataclass(frozen=True, kw_only=True)
class StandWeather:
    """Hourly weather half a metre above the ground of a stand; arrays of shape (hours,)."""

    time: npt.NDArray[np.datetime64]
    air_temp_c: FloatArray
    vapour_density_kg_m3: FloatArray
    vapour_pressure_kpa: FloatArray
    wind_ms: FloatArray
    longwave_w_m2: FloatArray
    """From above, canopy and sky together."""
    rain_mm: FloatArray
    """Throughfall."""
    ground_temp_c: FloatArray
    beam_normal_w_m2: FloatArray
    """Above the canopy."""
    diffuse_w_m2: FloatArray
    """Above the canopy, on the horizontal."""
    sun_sine: FloatArray
    """Sine of the sun's elevation, 0 with the sun down or behind the slope."""
    sun_cosine: FloatArray
    sun_azimuth_deg: FloatArray
    canopy_index: FloatArray
    canopy_path: FloatArray
    """Length of the beam's way through the canopy over the canopy's depth."""


def below_canopy(
    weather: HourlyWeather, canopy: Canopy, site: Site, openness: float = 0.0
) -> StandWeather:
    """Take a record from the open station into a stand.

    Air extremes are damped with vapour pressure kept (so that humidity follows), rain passes a
    storm-wise store, wind falls to the stand's ratio, long-wave comes from sky and canopy by
    sky view, and the beam's way through the canopy grows with its angle to the slope.

    Parameters
    ----------
    openness : float
        Share of sky seen through gaps, 0 to 1.  Air, wind, rain and long-wave go by that share
        of the way from the closed stand to the open (judgement); sunlight finds the gaps in
        :mod:`climate_risk.microclimate.radiation`.
    """
    days = pd.DatetimeIndex(weather.time[::HOURS_PER_DAY])
    by_day = weather.air_temp_c.reshape(-1, HOURS_PER_DAY)
    leaves = leaf_share(days, by_day.mean(axis=1), site)

    def hourly(daily: FloatArray) -> FloatArray:
        return np.repeat(daily, HOURS_PER_DAY)

    def leafy(off: float, on: float) -> FloatArray:
        return hourly(between(off, on, leaves))

    def to_open(closed: FloatArray, free: float) -> FloatArray:
        return closed + openness * (free - closed)

    air = air_below(
        weather.air_temp_c,
        hourly(by_day.min(axis=1)),
        hourly(by_day.max(axis=1)),
        (1.0 - openness) * leafy(canopy.closure_off.value, canopy.closure_on.value),
    )
    vapour = np.minimum(weather.vapour_pressure_kpa, saturation_vapour_pressure_kpa(air))
    kelvin = air + KELVIN_AT_0_C
    index = canopy_index(canopy, leaves)
    sky = to_open(hourly(diffuse_transmittance(index * LEAF_LONGWAVE_FACTOR)), 1.0)
    emissivity = sky_longwave(kelvin, vapour, _clearness(weather, site))
    black = STEFAN_BOLTZMANN_W_M2K4 * kelvin**4
    longwave = (sky * emissivity + (1.0 - sky) * CANOPY_EMISSIVITY) * black
    rain_day = weather.precip_mm.reshape(-1, HOURS_PER_DAY).sum(axis=1)
    fallen = throughfall(
        rain_day,
        between(canopy.rain_store_mm_off.value, canopy.rain_store_mm_on.value, leaves),
        between(canopy.rain_free_share_off.value, canopy.rain_free_share_on.value, leaves),
        between(
            canopy.rain_evaporated_share_off.value, canopy.rain_evaporated_share_on.value, leaves
        ),
    )
    passed = np.divide(fallen, rain_day, out=np.zeros_like(rain_day), where=rain_day > 0.0)
    ratio = leafy(canopy.wind_ratio_off.value, canopy.wind_ratio_on.value)
    wind = weather.wind_10m_ms * to_open(ratio, canopies()["open"].wind_ratio_on.value)
    settle = 1.0 - np.exp(-1.0 / (HOURS_PER_DAY * model().soil_filter_days.value))
    ground = pd.Series(air).ewm(alpha=settle, adjust=False).mean().to_numpy()
    sine, cosine, path = _sun_on_slope(weather, site)
    return StandWeather(
        time=weather.time,
        air_temp_c=air,
        vapour_density_kg_m3=1000.0 * vapour / (WATER_VAPOUR_GAS_CONSTANT_J_KG_K * kelvin),
        vapour_pressure_kpa=vapour,
        wind_ms=np.maximum(wind, WIND_FLOOR_MS),
        longwave_w_m2=longwave,
        rain_mm=weather.precip_mm * to_open(hourly(passed), 1.0),
        ground_temp_c=ground,
        beam_normal_w_m2=weather.beam_normal_w_m2,
        diffuse_w_m2=weather.diffuse_w_m2,
        sun_sine=sine,
        sun_cosine=cosine,
        sun_azimuth_deg=weather.sun_azimuth_deg,
        canopy_index=hourly(index),
        canopy_path=path,
    )


def _clearness(weather: HourlyWeather, site: Site) -> FloatArray:
    """The day's sunlight over that of a clear day (Rso of FAO-56, eq. 37), every hour of it."""
    days = pd.DatetimeIndex(weather.time[::HOURS_PER_DAY])
    outside = extraterrestrial_mj_m2(site.latitude, days.day_of_year.to_numpy(np.float64))
    clear = (0.75 + 2e-5 * site.elevation_m) * outside
    got = weather.shortwave_w_m2.reshape(-1, HOURS_PER_DAY).sum(axis=1) * MJ_PER_WATT_HOUR
    ratio = np.divide(got, clear, out=np.full_like(got, 0.5), where=clear > 0.1)
    return np.repeat(np.clip(ratio, 0.0, 1.0), HOURS_PER_DAY)


def _sun_on_slope(weather: HourlyWeather, site: Site) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sine and cosine of the sun's elevation and its way through a canopy on the slope.

    The canopy lies parallel to the slope, so the way is 1 / cos(angle to the slope's normal);
    a slope hides the sun that stands behind it.
    """
    elevation = np.radians(weather.sun_elevation_deg)
    azimuth = np.radians(weather.sun_azimuth_deg - site.aspect_deg)
    slope = np.radians(site.slope_deg)
    sine, cosine = np.sin(elevation), np.cos(elevation)
    normal = sine * np.cos(slope) + cosine * np.sin(slope) * np.cos(azimuth)
    up = (sine > LOWEST_SUN_SINE) & (normal > LOWEST_SUN_SINE)
    path = np.divide(1.0, normal, out=np.zeros_like(normal), where=up)
    return np.where(up, sine, 0.0), np.where(up, cosine, 0.0), path
