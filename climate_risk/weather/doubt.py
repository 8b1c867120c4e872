"""Which hours of a record rest on an estimate, and by how much."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.weather.normals import gap_length
from climate_risk.weather.record import Doubt, WeatherRecord, is_filled

FILLED_SHARE = 0.5
"""Of the doubt of a record without humidity, in gaps that were filled from other days. Gaps
masked and refilled come back without bias (``tests/weather_errors.md``); that what is left over
many of them is half as large is judgement."""
SPLIT_SHARE = 0.5
"""Of the same doubt, in hours that were split from days: moves the driest face by what the split
was measured to cost it (``tests/split_effect.py``, ``tests/doubt_effect.py``)."""
SPLIT_WIND_SHARE = 0.5
"""Of the doubt of a record without wind, in hours that were split from days: their calm hours
are unknown, which is what the split was measured to cost the heat dose
(``tests/split_effect.py``)."""
LONG_DAYS = 3
"""Longest gap of rain whose error is left out of the draws: those of many short ones even out."""
NORMAL = "normal of the day"
NEAR = ("interpolated", "saturated", "neighbour")
"""Ways of filling that lean on the hours beside, or on a station that measured."""


def doubt_of(record: WeatherRecord) -> Doubt:
    """Shares of doubt of every hour of a record.

    Parameters
    ----------
    record : WeatherRecord

    Returns
    -------
    Doubt
        Arrays of shape (hours,).
    """
    sun = "shortwave_mj_m2" if record.step == "daily" else "shortwave_w_m2"
    dew, light = record.quality["dew_point_c"], record.quality[sun]
    made = _flagged(dew, "estimated") & ~_flagged(dew, "from relative humidity")
    filled = _flagged(dew, "filled") & ~_flagged(dew, *NEAR)
    humidity = np.where(made, 1.0, np.where(filled, FILLED_SHARE, 0.0))
    if record.step == "daily":
        humidity = np.maximum(humidity, SPLIT_SHARE)
    no_sun = _flagged(light, "estimated", "filled").astype(np.float64)
    no_wind = _flagged(record.quality["wind_ms"], "estimated").astype(np.float64)
    if record.step == "daily":
        no_wind = np.maximum(no_wind, SPLIT_WIND_SHARE)
    hours = HOURS_PER_DAY if record.step == "daily" else 1
    air = [name for name in map(str, record.quality) if name.startswith("air_temp")]
    no_air = np.any([_flagged(record.quality[name], NORMAL) for name in air], axis=0)
    rain = is_filled(record.quality["precip_mm"])
    no_rain = gap_length(rain) * hours > LONG_DAYS * HOURS_PER_DAY
    return Doubt(
        temp=np.repeat(no_air.astype(np.float64), hours),
        rain=np.repeat(no_rain.to_numpy(np.float64), hours),
        humidity=np.repeat(humidity, hours),
        sun=np.repeat(no_sun, hours),
        wind=np.repeat(no_wind, hours),
    )


def _flagged(flags: pd.Series, *words: str) -> npt.NDArray[np.bool_]:
    """Values whose flag holds one of some words; looks at the few distinct flags."""
    found = [flag for flag in flags.unique() if any(word in str(flag) for word in words)]
    result: npt.NDArray[np.bool_] = flags.isin(found).to_numpy()
    return result
