"""A record at a glance: what was seen and what was filled, by month, and doubts."""

from __future__ import annotations

import numpy as np
import pandas as pd

from climate_risk.site import Site
from climate_risk.weather.normals import normals
from climate_risk.weather.place import normal_temp_c
from climate_risk.weather.record import FORECAST, Spell, WeatherCoverage, WeatherSummary

SHOWN = {
    "daily": ("air_temp_min_c", "air_temp_max_c", "rel_humidity_pct", "precip_mm", "wind_ms",
              "shortwave_mj_m2"),
    "hourly": ("air_temp_c", "rel_humidity_pct", "precip_mm", "wind_ms", "shortwave_w_m2"),
}  # fmt: skip
KINDS = ("observed", "suspect", "filled", "estimated", FORECAST)
"""How a value came: seen; seen, doubted and kept; put into a gap; made for a whole column; told
ahead by a service."""
TOLD = ("suspect", "filled", FORECAST)
SAME_FLAG_DAYS = 3
"""Spells of one flag that are nearer to each other than this are told as one."""


def summarise(
    table: pd.DataFrame,
    quality: pd.DataFrame,
    coverage: WeatherCoverage,
    site: Site,
    **about: object,
) -> WeatherSummary:
    """Count a record's flags by month.

    Parameters
    ----------
    table, quality : DataFrame
        Of a checked and filled record.
    coverage : WeatherCoverage
    site : Site
    **about
        The fields of `WeatherSummary` that say whose weather it is.
    """
    step = "daily" if "air_temp_min_c" in table else "hourly"
    index = pd.DatetimeIndex(table.index)
    month = index.to_period("M")
    shares: dict[str, pd.DataFrame] = {}
    for name in [n for n in SHOWN[step] if n in quality]:
        codes = quality[name].astype("category")
        kinds = codes.cat.rename_categories(lambda flag: str(flag)).map(_kind)
        counted = pd.crosstab(month, np.asarray(kinds.astype(str)), normalize="index")
        shares[name] = counted.reindex(columns=list(KINDS), fill_value=0.0)
    days = _days(table, step)
    place = normal_temp_c(site, pd.DatetimeIndex(days.index).day_of_year.to_numpy(np.float64))
    usual = pd.DataFrame(
        {
            "air_temp_min_c": normals(days["air_temp_min_c"], 1),
            "air_temp_max_c": normals(days["air_temp_max_c"], 1),
            "place_c": place,
        }
    )
    return WeatherSummary(
        coverage=coverage,
        step=step,
        days=days,
        usual=usual,
        shares=shares,
        spells=_spells(quality[[n for n in SHOWN[step] if n in quality]]),
        **about,  # type: ignore[arg-type]
    )


def _kind(flag: str) -> str:
    word = flag.split(":")[0]
    return word if word in KINDS else "observed"


def _days(table: pd.DataFrame, step: str) -> pd.DataFrame:
    names = ["air_temp_min_c", "air_temp_max_c", "rel_humidity_pct", "precip_mm"]
    if step == "daily":
        return table[names]
    grouped = table.groupby(pd.DatetimeIndex(table.index).normalize())
    temp = grouped["air_temp_c"]
    columns = [temp.min(), temp.max(), grouped["rel_humidity_pct"].mean()]
    return pd.concat([*columns, grouped["precip_mm"].sum()], axis=1).set_axis(names, axis=1)


def _spells(quality: pd.DataFrame) -> tuple[Spell, ...]:
    found = []
    for name in map(str, quality.columns):
        flags = quality[name]
        for flag in [f for f in flags.unique() if str(f).split(":")[0] in TOLD]:
            days = pd.DatetimeIndex(flags.index[flags == flag]).normalize()
            parts = np.flatnonzero(np.diff(days) > np.timedelta64(SAME_FLAG_DAYS, "D")) + 1
            for part in np.split(days, parts):
                found.append(
                    Spell(
                        column=name,
                        flag=str(flag),
                        first=part[0].date(),
                        last=part[-1].date(),
                        values=len(part),
                    )
                )
    return tuple(sorted(found, key=lambda spell: (spell.first, spell.column)))
