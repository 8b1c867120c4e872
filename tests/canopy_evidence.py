"""What the canopy rows give for the published cases: tests and notebook share it."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.microclimate import canopy
from climate_risk.microclimate.radiation import (
    COVER_COLUMNS,
    L_TOP,
    LIGHTS,
    STAND_COLUMNS,
    W_AIR_TEMP,
    W_BEAM,
    W_DIFFUSE,
    W_INDEX,
    W_PATH,
    W_SUN_COSINE,
    W_SUN_SINE,
    R,
    light_at_stack,
)
from climate_risk.microclimate.stand import LOWEST_SUN_SINE, StandWeather, below_canopy
from climate_risk.site import Site
from climate_risk.tables import Canopy, Parameter, canopies, model
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa
from climate_risk.weather.record import HourlyWeather

FloatArray = npt.NDArray[np.float64]
PUBLISHED = Path(__file__).parent / "published"
LINE_END = ("low", "value", "high")
LONGITUDE = -72.2


@cache
def published() -> dict[str, Any]:
    """The cases of tests/published/canopy.toml."""
    return tomllib.loads((PUBLISHED / "canopy.toml").read_text(encoding="utf-8"))


def at(parameter: Parameter, end: str) -> float:
    """The low, best or high value of a parameter."""
    return float(getattr(parameter, end))


def opposite(end: str) -> str:
    """The other end of a range."""
    return {"low": "high", "value": "value", "high": "low"}[end]


def storms(count: int, total_mm: float) -> FloatArray:
    """Rain depths spread exponentially around their mean, at even ranks."""
    depths = -np.log1p(-(np.arange(count) + 0.5) / count)
    return np.asarray(depths * total_mm / depths.sum())


def throughfall_pct(case: dict[str, Any]) -> tuple[float, float, float]:
    """Rain below, percent of that above: driest, best and wettest corner of the table's row."""
    row, rain = canopies()[case["canopy"]], storms(case["storms"], case["total_mm"])
    flat = np.ones(rain.size)

    def below(end: str) -> float:
        store = at(getattr(row, f"rain_store_mm_{case['leaves']}"), opposite(end))
        free = at(getattr(row, f"rain_free_share_{case['leaves']}"), end)
        lost = at(getattr(row, f"rain_evaporated_share_{case['leaves']}"), opposite(end))
        fallen = canopy.throughfall(rain, store * flat, free * flat, lost * flat)
        return 100.0 * float(fallen.sum() / rain.sum())

    low, best, high = (below(end) for end in LINE_END)
    return low, best, high


def air_change_k(case: dict[str, Any], extreme: str) -> tuple[float, float, float]:
    """Change of the day's maximum or minimum: least, best and greatest over ranges."""
    row = canopies()[case["canopy"]]
    closure = getattr(row, f"closure_{case['leaves']}")
    factor = getattr(model(), f"air_offset_{extreme}_factor")
    bound = at(getattr(model(), f"air_offset_{extreme}_bound_k"), "value")
    found = [
        float(np.clip(at(factor, end) * span, -bound, bound)) * at(closure, share)
        for end in ("low", "high")
        for share in ("low", "high")
        for span in case["day_range_k"]
    ]
    best = at(factor, "value") * float(np.mean(case["day_range_k"])) * at(closure, "value")
    return min(found), best, max(found)


def damper_pct(air_c: float, rel_humidity_pct: float, cooler_k: float) -> float:
    """Rise of relative humidity when air cools and keeps its vapour, as the model has it."""
    vapour = float(saturation_vapour_pressure_kpa(air_c)) * rel_humidity_pct / 100.0
    below = 100.0 * vapour / float(saturation_vapour_pressure_kpa(air_c - cooler_k))
    return below - rel_humidity_pct


def clear_day(latitude: float, day: str) -> pd.DataFrame:
    """Beam, sky and sun of a clear day, every five minutes (pvlib, Ineichen, turbidity 3)."""
    from pvlib.location import Location

    place = Location(latitude, LONGITUDE, "Etc/GMT+5", 300.0)
    times = pd.date_range(day, periods=288, freq="5min", tz="Etc/GMT+5")
    sky = place.get_clearsky(times, model="ineichen", linke_turbidity=3.0)
    return sky.join(place.get_solarposition(times)[["elevation", "azimuth"]])


def light_below(
    sky: pd.DataFrame, index: float, slope_deg: float = 0.0, aspect_deg: float = 180.0
) -> tuple[float, float]:
    """Sunlight of a day on the level below a canopy, in all and its diffuse part."""
    sine = np.maximum(np.sin(np.radians(sky["elevation"].to_numpy())), 0.0)
    cosine = np.cos(np.radians(sky["elevation"].to_numpy()))
    turn = np.radians(sky["azimuth"].to_numpy() - aspect_deg)
    slope = np.radians(slope_deg)
    normal = sine * np.cos(slope) + cosine * np.sin(slope) * np.cos(turn)
    up = (sine > LOWEST_SUN_SINE) & (normal > LOWEST_SUN_SINE)
    stand = np.zeros((STAND_COLUMNS, len(sky)))
    stand[W_AIR_TEMP], stand[W_INDEX] = 20.0, index
    stand[W_BEAM], stand[W_DIFFUSE] = sky["dni"], sky["dhi"]
    stand[W_SUN_SINE], stand[W_SUN_COSINE] = np.where(up, sine, 0.0), cosine
    stand[W_PATH] = np.divide(1.0, normal, out=np.zeros_like(normal), where=up)
    out = np.zeros((LIGHTS, len(sky)))
    parameters = np.zeros((len(R), len(sky)))
    parameters[R.canopy_index_factor] = 1.0
    light_at_stack(stand, np.zeros(COVER_COLUMNS), parameters, canopy.diffuse_table(), out)
    diffuse = float(canopy.diffuse_transmittance(index)) * float(sky["dhi"].sum())
    return float(out[L_TOP].sum()), diffuse


def index_of(row: Canopy, end: str, leaves: str = "on") -> float:
    """Canopy index of a class, or of its lightest (low) or darkest (high) stand."""
    best = getattr(row, f"diffuse_transmittance_{leaves}").value
    return canopy.index_of_transmittance(best) * at(row.index_factor, end)


def light_pct(case: dict[str, Any]) -> tuple[float, float, float]:
    """Sunlight below, percent of that above, over the case's clear days: dark, best, light."""
    row = canopies()[case["canopy"]]
    days = [clear_day(case["latitude"], day) for day in case["days"]]

    def share(end: str) -> float:
        index = index_of(row, end)
        below = [light_below(d, index, case["slope_deg"], case["aspect_deg"])[0] for d in days]
        return 100.0 * sum(below) / sum(light_below(d, 0.0)[0] for d in days)

    dark, best, light = (share(opposite(end)) for end in LINE_END)
    return dark, best, light


def light_ratio(case: dict[str, Any]) -> tuple[float, float, float]:
    """Light below one class over that below another: least, best, greatest."""
    sky = clear_day(42.5, case["day"])
    over = [light_below(sky, index_of(canopies()[case["over"]], end))[0] for end in LINE_END]
    under = [light_below(sky, index_of(canopies()[case["under"]], end))[0] for end in LINE_END]
    return over[2] / under[0], over[1] / under[1], over[0] / under[2]


def diffuse_share_pct(case: dict[str, Any]) -> tuple[float, float]:
    """Diffuse part of the light above and below on a clear midsummer day, percent."""
    sky = clear_day(36.0, "2021-07-01")
    above = 100.0 * float(sky["dhi"].sum()) / float(sky["ghi"].sum())
    total, diffuse = light_below(sky, index_of(canopies()[case["canopy"]], "value"))
    return above, 100.0 * diffuse / total


def wind_ratio(case: dict[str, Any]) -> tuple[float, float, float]:
    """Wind at the stack over wind at 10 m: low, best, high."""
    row = getattr(canopies()[case["canopy"]], f"wind_ratio_{case['leaves']}")
    return row.low, row.value, row.high


def harvard_forest() -> pd.DataFrame:
    """Half-leaf by year, seen and modelled [day of the year], and the spring's warmth [degC].

    Seen: half-way from bud break to leaves of three quarters, mean of the two species.
    """
    data = published()["harvard_forest"]
    table = pd.DataFrame({k: v for k, v in data.items() if isinstance(v, list)})
    site = Site(
        latitude=data["latitude"], longitude=data["longitude"], elevation_m=data["elevation_m"]
    )
    table["spring_c"] = table[["march_c", "april_c", "may_c"]].mean(axis=1)
    names = [f"{tree}_{stage}" for tree in ("red_maple", "red_oak") for stage in ("bud", "leaf")]
    table["seen"] = table[names].mean(axis=1)
    days = pd.date_range(f"{table['year'].min()}-01-01", f"{table['year'].max()}-12-31")
    temp = np.full(len(days), 5.0)
    for row in table.itertuples():
        for month, mean in ((3, row.march_c), (4, row.april_c), (5, row.may_c)):
            temp[(days.year == row.year) & (days.month == month)] = mean
    share = canopy.leaf_share(days, temp, site)
    rising = (share[1:] >= 0.5) & (share[:-1] < 0.5)
    table["modelled"] = days[1:][rising].day_of_year.to_numpy()
    return table


def stand_of(weather: HourlyWeather, name: str, site: Site) -> StandWeather:
    """A class of canopy over a weather at a site."""
    return below_canopy(weather, canopies()[name], site)


def tilted(site: Site, slope_deg: float, aspect_deg: float) -> Site:
    """The same place on a slope."""
    return replace(site, slope_deg=slope_deg, aspect_deg=aspect_deg)
