"""What a canopy lets through: sunlight, sky view, rain, wind and the day's extremes.

One effective index ``x`` per stand and leaf state is backed out of the measured transmittance of
diffuse light, ``2 E3(x)``, and not from literature leaf area, which lets far too much light
through under dense evergreens.
"""

from __future__ import annotations

from datetime import timedelta
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from climate_risk.leaves import SOUTH_DAYS, usual_leaf_days
from climate_risk.site import Site
from climate_risk.tables import Canopy, model

if TYPE_CHECKING:  # kernels take constants from here, and their compiler needs no tables
    import pandas as pd

FloatArray = npt.NDArray[np.float64]

INDEX_STEP = 0.01
INDEX_MAX = 8.0
LEAF_LONGWAVE_FACTOR = 0.6**-0.5
"""Leaves are black in long-wave, so the canopy is denser there than for sunlight by
1/sqrt(0.6) (Campbell and Norman 1998, ch. 15; from memory)."""


@cache
def diffuse_table() -> FloatArray:
    """Transmittance of diffuse light, 2 E3(x), for x from 0 by :data:`INDEX_STEP`.

    The hemispherical mean of exp(-x / sin elevation) under an even sky; E3 is the third
    exponential integral (Campbell and Norman 1998, ch. 15).
    """
    from scipy.special import expn

    x = np.arange(0.0, INDEX_MAX + 2 * INDEX_STEP, INDEX_STEP)
    return np.asarray(2.0 * expn(3, x))


def diffuse_transmittance(index: npt.ArrayLike) -> FloatArray:
    """Share of the sky's light that passes a canopy of this index."""
    grid = np.arange(diffuse_table().size) * INDEX_STEP
    return np.interp(np.asarray(index, dtype=np.float64), grid, diffuse_table())


def index_of_transmittance(transmittance: float) -> float:
    """Canopy index whose diffuse transmittance is the one given (the inverse of 2 E3)."""
    grid = np.arange(diffuse_table().size) * INDEX_STEP
    return float(np.interp(-transmittance, -diffuse_table(), grid))


def leaf_share(days: pd.DatetimeIndex, daily_mean_c: FloatArray, site: Site) -> FloatArray:
    """Share of a deciduous stand's leaves that is out on each day, 0 to 1.

    Logistic in the day of the year around a date that moves with latitude, elevation and how
    warm the year's own spring is against the record's; both hemispheres, half a year apart.

    Parameters
    ----------
    days : (days,) DatetimeIndex
    daily_mean_c : (days,) array
        Air temperature [degC].
    site : Site
    """
    rows = model()
    shifted = _as_in_the_north(days, site)
    out, down = usual_leaf_days(site)
    warmth = spring_warmth(days, daily_mean_c, site)
    later = rows.days_per_k_spring.value * warmth.reindex(shifted.year).fillna(0.0).to_numpy()
    day = shifted.day_of_year.to_numpy().astype(np.float64)
    tenth_to_tenth = 2.0 * np.log(9.0)
    rise = tenth_to_tenth / rows.spread_days_spring.value
    fall = tenth_to_tenth / rows.spread_days_autumn.value
    return np.asarray(
        1.0 / (1.0 + np.exp(-rise * (day - (out + later)))) / (1.0 + np.exp(fall * (day - down)))
    )


def spring_warmth(
    days: pd.DatetimeIndex, daily_mean_c: FloatArray, site: Site
) -> pd.Series[float]:
    """By how much each year's March to May is warmer than the record's [K]; 0 where unseen.

    By the north's calendar year; a southern spring belongs to the year that its own half-year
    turn gives.
    """
    import pandas as pd

    shifted = _as_in_the_north(days, site)
    year, month = shifted.year.to_numpy(), shifted.month.to_numpy()
    spring = (month >= 3) & (month <= 5)
    normal = float(np.mean(daily_mean_c[spring])) if spring.any() else 0.0
    means = pd.Series(daily_mean_c[spring]).groupby(year[spring]).agg(["mean", "size"])
    return (means["mean"] - normal).where(means["size"] >= 60, 0.0)


def _as_in_the_north(days: pd.DatetimeIndex, site: Site) -> pd.DatetimeIndex:
    return days + timedelta(days=SOUTH_DAYS if site.latitude < 0.0 else 0)


def between(off: float, on: float, leaves: FloatArray) -> FloatArray:
    """A canopy property part-way between bare and full leaf."""
    return np.asarray(off + (on - off) * leaves)


def canopy_index(canopy: Canopy, leaves: FloatArray) -> FloatArray:
    """Canopy index by day; the index, not the transmittance, follows the leaves."""
    return between(
        index_of_transmittance(canopy.diffuse_transmittance_off.value),
        index_of_transmittance(canopy.diffuse_transmittance_on.value),
        leaves,
    )


def throughfall(
    rain_mm: FloatArray, store_mm: FloatArray, free_share: FloatArray, evaporated_share: FloatArray
) -> FloatArray:
    """Rain below the canopy, a day taken as one storm [mm].

    A bucket after Gash 1979 (Q. J. R. Meteorol. Soc. 105:43-55) in the daily form of the
    parameters of Pypker et al. 2012: what is not free fills the store, and a share of what
    comes after evaporates during the storm.
    """
    caught_share = np.maximum(1.0 - free_share, 1e-9)
    filling = store_mm / caught_share
    lost = np.minimum(store_mm, caught_share * rain_mm)
    lost = lost + evaporated_share * np.maximum(rain_mm - filling, 0.0)
    return np.asarray(np.maximum(rain_mm - lost, 0.0))


def air_below(
    air_temp_c: FloatArray, day_min_c: FloatArray, day_max_c: FloatArray, closure: FloatArray
) -> FloatArray:
    """Air temperature under the canopy, hour by hour [degC].

    The day's maximum falls and its minimum rises in step with the day's range and the closure
    (De Frenne et al. 2019, Nature Ecol. Evol. 3:744-749, for size and sign); hours between
    follow in proportion.  All arrays have shape (hours,).
    """
    rows = model()
    span = day_max_c - day_min_c
    drop = np.maximum(rows.air_offset_max_factor.value * span, -rows.air_offset_max_bound_k.value)
    lift = np.minimum(rows.air_offset_min_factor.value * span, rows.air_offset_min_bound_k.value)
    place = np.clip((air_temp_c - day_min_c) / np.maximum(span, 1e-12), 0.0, 1.0)
    return np.asarray(air_temp_c + closure * (lift + (drop - lift) * place))


def sky_longwave(
    air_temp_k: FloatArray, vapour_pressure_kpa: FloatArray, clearness: FloatArray
) -> FloatArray:
    """Emissivity of the sky, clouds included.

    Brutsaert 1975 (Water Resour. Res. 11:742-744) for the clear sky; clouds close its window in
    proportion to the cloud term of FAO-56 eq. 39 (Allen et al. 1998), 1.35 Rs/Rso - 0.35.
    """
    clear = 1.24 * (10.0 * vapour_pressure_kpa / air_temp_k) ** (1.0 / 7.0)
    window = np.clip(1.35 * clearness - 0.35, 0.05, 1.0)
    return np.asarray(1.0 - (1.0 - np.minimum(clear, 1.0)) * window)
