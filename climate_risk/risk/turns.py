"""Days ahead on which the year turns, so that a cover may go on or come off."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.stack import StackModel
from climate_risk.interventions import LeafFall, LeafOut, WetSeason
from climate_risk.leaves import next_leaf_day
from climate_risk.microclimate.radiation import W_RAIN
from climate_risk.site import Site
from climate_risk.tables import canopies, model

FloatArray = npt.NDArray[np.float64]

MONTHS_PER_YEAR = 12
HOURS_PER_MONTH = 365.25 * HOURS_PER_DAY / MONTHS_PER_YEAR


@dataclass(frozen=True, kw_only=True)
class Turns:
    """What lies ahead, seen from one day: the next of each, but every time without leaves."""

    leaf_fall: LeafFall
    leaf_out: LeafOut
    leafless: tuple[tuple[date, LeafOut], ...]
    """From when to when the leaves are off, until a stack's horizon; the first may have begun."""
    wet_season: WetSeason | None = None
    """None where every month is wet at the stack, or none."""


def turns_ahead(kind: StackModel, canopy: str, day: date) -> Turns:
    """The days on which the year turns for a stack under a canopy, from a day on."""
    site = kind.record.site
    table = kind.record.table(canopy, kind.openness_under(canopy), kind.stack.diameter_m)
    months = pd.DatetimeIndex(kind.record.weather.time).month
    rain_mm = pd.Series(table[:, W_RAIN]).groupby(months).mean() * HOURS_PER_MONTH
    by_month = {int(month): float(rain_mm[month]) for month in rain_mm.index}
    return Turns(
        leaf_fall=next_leaf_day(LeafFall, site, day),
        leaf_out=next_leaf_day(LeafOut, site, day),
        leafless=leafless(site, day, kind.horizon),
        wet_season=next_wet_season(by_month, day),
    )


def leafless(site: Site, day: date, last: date) -> tuple[tuple[date, LeafOut], ...]:
    """Times without leaves from a day on that begin before a last day."""
    found = []
    on: date = next_leaf_day(LeafFall, site, day)
    out = next_leaf_day(LeafOut, site, day)
    if out < on:  # they are off now
        on = day
    while on < last:
        out = next_leaf_day(LeafOut, site, on)
        found.append((on, out))
        on = next_leaf_day(LeafFall, site, out)
    return tuple(found)


def next_wet_season(rain_mm: dict[int, float], day: date) -> WetSeason | None:
    """First day, after a day, of a wet month that follows one which is not.

    Parameters
    ----------
    rain_mm : dict
        Mean rain at the stack in a month, by its number from 1 on; months without are not wet.
    """
    most = model().bag_month_rain_mm.value
    is_wet = {month: rain_mm.get(month, 0.0) > most for month in range(1, MONTHS_PER_YEAR + 1)}
    for ahead in range(1, MONTHS_PER_YEAR + 1):
        years, month = divmod(day.month - 1 + ahead, MONTHS_PER_YEAR)
        if is_wet[month + 1] and not is_wet[(month - 1) % MONTHS_PER_YEAR + 1]:
            return WetSeason(day.year + years, month + 1, 1)
    return None


def sheds(canopy: str) -> bool:
    """Whether a stand lets through more sun in winter than in summer."""
    row = canopies()[canopy]
    return row.diffuse_transmittance_off.value > row.diffuse_transmittance_on.value
