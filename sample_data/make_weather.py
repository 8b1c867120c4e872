"""Make the invented daily weather of the invented farm "Alder Hollow".

Run ``python sample_data/make_weather.py`` to write ``weather.csv`` beside this file again, byte
for byte. No measured series went into it: the monthly normals below are our own choice for a
cool, humid hill site near 40 degrees north, and every process is drawn from one seed.

Method, after the daily weather generator of Richardson (1981, Water Resources Research
17:182-190; method from memory), made simpler and given spells:

- Rain: a first-order Markov chain of wet and dry days with seasonal chances, and gamma amounts.
- Spells: Richardson's chain alone makes too few long dry spells, so a second, slow two-state chain
  switches between ordinary weather and a dry high ("spell") of some two weeks; in a spell rain
  is rare and small. `dryness` (0 to 1) follows the spell with a lag of days, as soil does, and
  makes the air hotter, the daily range wider and the dew point lower: a flash drought.
- Temperature: a fast and a slow AR(1) anomaly about normals that depend on wet or dry, plus a
  warming of 0.25 K per decade about the middle of 2008. Richardson's matrix of cross-correlated
  residuals is replaced by a shared anomaly of the mean and a separate one of the daily range.
- Dew point: tied to the night's minimum (as in the humidity note of Allen et al. 1998, FAO-56,
  chapter 3, from memory), but lower by some 5 K in a spell, since in dry weather the
  minimum overstates humidity. Relative humidity is its mean over a sinusoidal day.
- Sun: a share of clear-sky radiation (Allen et al. 1998, FAO-56, equations 21 to 25 and 37) that
  rises with the day's temperature range and falls on wet days.
- Wind: log-normal about seasonal medians, with AR(1) persistence.

One thing is arranged, not drawn: from 2026-06-24 to the last day, 2026-07-12, the spell is held
on and the slow temperature anomaly is held high, so that a demo run on that day has a hot, dry
spell to speak of. Rain, heat and humidity in those days still follow from the same equations
and the same seed.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SEED = 91
FIRST_DAY, LAST_DAY = "1994-01-01", "2026-07-12"
HELD_SPELL_FROM = "2026-06-24"
HELD_SLOW_ANOMALY = 1.5
"""Standard deviations; the slow temperature anomaly is no lower than this in the held spell."""
LATITUDE_DEG = 39.55
ELEVATION_M = 701.0
WARMING_C_PER_DECADE = 0.25
MID_MONTH_DAY = np.array([15.5, 45, 74.5, 105, 135.5, 166, 196.5, 227.5, 258, 288.5, 319, 349.5])

# Monthly values, January to December, at mid-month: our own choice, no source.
MONTHLY = {
    "mean_temp_c": [-2.0, -0.8, 3.8, 9.8, 15.0, 19.1, 21.1, 20.4, 16.7, 10.5, 5.0, 0.2],
    "temp_range_c": [9.0, 9.6, 11.0, 12.4, 12.2, 11.6, 11.2, 11.2, 11.6, 12.0, 10.2, 8.6],
    "temp_sd_c": [5.4, 5.2, 5.0, 4.3, 3.4, 2.4, 1.9, 1.9, 2.8, 3.9, 4.6, 5.2],
    "wet_shift_c": [1.5, 1.2, 0.6, -0.4, -0.9, -1.0, -0.9, -0.9, -0.6, -0.2, 0.8, 1.4],
    "wet_after_dry": [0.37, 0.36, 0.36, 0.37, 0.38, 0.38, 0.35, 0.33, 0.30, 0.30, 0.34, 0.38],
    "wet_after_wet": [0.56, 0.55, 0.54, 0.54, 0.55, 0.53, 0.50, 0.49, 0.51, 0.51, 0.53, 0.57],
    "wet_day_rain_mm": [5.8, 5.9, 6.9, 7.5, 8.8, 9.9, 10.6, 10.0, 9.8, 8.0, 7.0, 6.2],
    "spell_start": [.006, .006, .006, .006, .007, .009, .011, .011, .011, .010, .007, .006],
    "spell_heat_c": [0.0, 0.0, 0.8, 1.8, 2.4, 2.9, 3.1, 3.1, 2.6, 1.8, 0.6, 0.0],
    "dew_below_min_c": [1.2, 1.4, 1.4, 1.2, 0.2, -0.4, -0.7, -0.8, -0.7, -0.2, 0.6, 1.0],
    "clear_share": [0.49, 0.52, 0.56, 0.60, 0.63, 0.66, 0.67, 0.66, 0.64, 0.60, 0.51, 0.47],
    "wind_median_ms": [3.7, 3.7, 3.8, 3.5, 2.8, 2.3, 2.1, 2.0, 2.2, 2.7, 3.3, 3.5],
}  # fmt: skip
SPELL_MEAN_DAYS = 14.0
SPELL_WET_AFTER_DRY = 0.3
"""Share of the ordinary chance of rain that is left in a spell, after a dry day."""
SPELL_WET_AFTER_WET = 0.5
"""The same after a wet day."""
SPELL_RAIN = 0.5
"""Share of the ordinary amount on a wet day in a spell."""
RAIN_SHAPE = 0.75
LEAST_WET_DAY_MM = 0.3


def seasonal(name: str, day_of_year: Floats) -> Floats:
    """Monthly values of `name`, joined by straight lines round the year, per day."""
    return np.asarray(np.interp(day_of_year, MID_MONTH_DAY, MONTHLY[name], period=365.25))


def autoregressive(draws: Floats, persistence: float) -> Floats:
    """Unit-variance AR(1) series from standard normal `draws`, shape (day,)."""
    series = np.empty_like(draws)
    series[0] = draws[0]
    fresh = np.sqrt(1.0 - persistence**2)
    for day in range(1, len(draws)):
        series[day] = persistence * series[day - 1] + fresh * draws[day]
    return series


def draw_spells(chances: Floats, start: Floats, held: Flags) -> tuple[Flags, Floats]:
    """Spell on or off and the `dryness` (0 to 1) that lags behind it, per day.

    Dryness closes a ninth of its gap to 1 each day of a spell and a fifth of that to 0 after it.
    """
    spell = np.zeros(len(chances), dtype=np.bool_)
    dryness = np.zeros(len(chances))
    for day in range(1, len(chances)):
        stays = chances[day] >= 1.0 / SPELL_MEAN_DAYS
        begins = chances[day] < start[day]
        spell[day] = held[day] or (stays if spell[day - 1] else begins)
        goal, days = (1.0, 9.0) if spell[day] else (0.0, 5.0)
        dryness[day] = dryness[day - 1] + (goal - dryness[day - 1]) / days
    return spell, dryness


def draw_rain(
    chances: Floats, unit_amounts: Floats, day_of_year: Floats, spell: Flags
) -> tuple[Flags, Floats]:
    """Wet or dry, and rain in mm, per day; `unit_amounts` are gamma draws of mean 1."""
    after_dry = seasonal("wet_after_dry", day_of_year) * np.where(spell, SPELL_WET_AFTER_DRY, 1.0)
    after_wet = seasonal("wet_after_wet", day_of_year) * np.where(spell, SPELL_WET_AFTER_WET, 1.0)
    wet = np.zeros(len(chances), dtype=np.bool_)
    for day in range(1, len(chances)):
        wet[day] = chances[day] < (after_wet[day] if wet[day - 1] else after_dry[day])
    mean_mm = seasonal("wet_day_rain_mm", day_of_year) * np.where(spell, SPELL_RAIN, 1.0)
    return wet, np.where(wet, np.maximum(mean_mm * unit_amounts, LEAST_WET_DAY_MM), 0.0)


def saturation_vp_kpa(temp_c: Floats) -> Floats:
    """Saturation vapour pressure over water (Allen et al. 1998, FAO-56, equation 11)."""
    return np.asarray(0.6108 * np.exp(17.27 * temp_c / (temp_c + 237.3)))


def mean_humidity_pct(min_c: Floats, max_c: Floats, dew_c: Floats) -> Floats:
    """Mean over 24 hours of relative humidity under a sinusoidal temperature, per day."""
    swing = np.cos(2.0 * np.pi * (np.arange(24) + 0.5) / 24.0)
    hourly_c = ((min_c + max_c) / 2.0)[:, None] + ((max_c - min_c) / 2.0)[:, None] * swing
    share = saturation_vp_kpa(dew_c)[:, None] / saturation_vp_kpa(hourly_c)
    return np.asarray(100.0 * np.minimum(share, 1.0).mean(axis=1))


def clear_sky_mj_m2(day_of_year: Floats) -> Floats:
    """Clear-sky global radiation of a day (Allen et al. 1998, FAO-56, eq. 21 to 25 and 37)."""
    latitude = np.deg2rad(LATITUDE_DEG)
    angle = 2.0 * np.pi * day_of_year / 365.0
    distance = 1.0 + 0.033 * np.cos(angle)
    declination = 0.409 * np.sin(angle - 1.39)
    sunset = np.arccos(-np.tan(latitude) * np.tan(declination))
    outside = (24.0 * 60.0 / np.pi) * 0.0820 * distance * (
        sunset * np.sin(latitude) * np.sin(declination)
        + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    )  # fmt: skip
    return np.asarray((0.75 + 2e-5 * ELEVATION_M) * outside)


def make_weather(seed: int = SEED) -> pd.DataFrame:
    """Daily weather of the invented farm.

    Parameters
    ----------
    seed
        Seed of the only random generator. The same seed gives the same weather.

    Returns
    -------
    pandas.DataFrame
        One row per day, indexed by `date`, with the canonical columns of a daily weather file:
        temperatures and dew point in degrees C, humidity in percent, rain in mm, wind in m/s,
        global radiation in MJ per m2 and day. No value is missing.
    """
    dates = pd.date_range(FIRST_DAY, LAST_DAY, name="date")
    count = len(dates)
    day_of_year = dates.day_of_year.to_numpy(dtype=np.float64)
    # RandomState, not Generator: its stream is frozen, so any numpy makes the same file.
    random = np.random.RandomState(seed)
    spell_chances, rain_chances = random.uniform(size=(2, count))
    unit_amounts = random.gamma(RAIN_SHAPE, 1.0 / RAIN_SHAPE, size=count)
    fast, slow, span, dew, cloud, breeze = random.standard_normal((6, count))

    held = np.asarray(dates >= pd.Timestamp(HELD_SPELL_FROM))
    spell, dryness = draw_spells(spell_chances, seasonal("spell_start", day_of_year), held)
    wet, precip_mm = draw_rain(rain_chances, unit_amounts, day_of_year, spell)

    decades = (day_of_year / 365.25 + dates.year.to_numpy() - 2008.5) / 10.0
    slow_anomaly = autoregressive(slow, 0.96)
    slow_anomaly[held] = np.maximum(slow_anomaly[held], HELD_SLOW_ANOMALY)
    anomaly = 0.9 * autoregressive(fast, 0.66) + 0.44 * slow_anomaly
    mean_c = (
        seasonal("mean_temp_c", day_of_year)
        + WARMING_C_PER_DECADE * decades
        + seasonal("temp_sd_c", day_of_year) * anomaly
        + seasonal("wet_shift_c", day_of_year) * (wet - 0.4)
        + seasonal("spell_heat_c", day_of_year) * dryness
    )
    range_share = np.where(wet, 0.83, 1.12) * (1.0 + 0.12 * dryness)
    range_share *= np.exp(0.2 * autoregressive(span, 0.2))
    range_c = seasonal("temp_range_c", day_of_year) * range_share
    min_c, max_c = mean_c - range_c / 2.0, mean_c + range_c / 2.0

    dew_c = min_c - seasonal("dew_below_min_c", day_of_year) - 5.5 * dryness
    dew_c += np.where(wet, 0.8, -0.3) + 1.6 * autoregressive(dew, 0.5)
    dew_c = np.minimum(dew_c, np.where(wet, min_c + 1.5, min_c + 1.0))

    clear = seasonal("clear_share", day_of_year) + 0.7 * (range_share - 1.0)
    clear = np.clip(clear + 0.09 * cloud - 0.006 * precip_mm, 0.1, 1.0)
    wind_ms = seasonal("wind_median_ms", day_of_year) * np.exp(0.38 * autoregressive(breeze, 0.4))
    return pd.DataFrame(
        {
            "air_temp_min_c": min_c,
            "air_temp_mean_c": mean_c,
            "air_temp_max_c": max_c,
            "rel_humidity_pct": mean_humidity_pct(min_c, max_c, dew_c),
            "dew_point_c": dew_c,
            "precip_mm": precip_mm,
            "wind_ms": wind_ms * np.where(wet, 1.1, 0.95),
            "shortwave_mj_m2": clear * clear_sky_mj_m2(day_of_year),
        },
        index=dates,
    )


def csv_text(weather: pd.DataFrame) -> str:
    """The weather file's text: one decimal, unix line ends."""
    return weather.to_csv(float_format="%.1f", date_format="%Y-%m-%d", lineterminator="\n")


if __name__ == "__main__":
    Path(__file__).with_name("weather.csv").write_bytes(csv_text(make_weather()).encode("ascii"))
