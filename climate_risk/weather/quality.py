"""Checks on raw weather: impossible values are blanked and counted, doubtful ones flagged.

Range and internal consistency follow Durre et al. 2010, J. Appl. Meteor. Climatol.
49:1615-1633; `faults` holds the rest. The dry-run test is our own: none of the published ones
sees rain gaps written as zero.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import numpy as np
import pandas as pd

from climate_risk.errors import InputError, plural
from climate_risk.site import Site
from climate_risk.weather.columns import DAILY, HOURLY
from climate_risk.weather.faults import RECORD, find_faults
from climate_risk.weather.psychro import pressure_hpa
from climate_risk.weather.record import RawWeather
from climate_risk.weather.sun import extraterrestrial_mj_m2

REPEATS = {"daily": 10, "hourly": 24}
"""Equal values in a row that make a temperature, dew point or wind doubtful."""
DRY_MONTH_NORMAL_MM = 30.0
DRY_RUN_DAYS = 60
"""Days without any rain that draw a warning where there are too few years to compare."""
MIN_YEARS = 5
DRY_MONTH_OTHERS, DRY_MONTH_WET_DAYS = 4, 3
DERIVED_K, DERIVED_SHARE = 0.3, 0.6


class _Flag(Protocol):
    """Writes one flag, masks where asked, and counts."""

    def __call__(self, name: str, bad: pd.Series, why: str, *, mask: bool) -> None: ...


def check(raw: RawWeather, site: Site) -> RawWeather:
    """Flag and mask; nothing is dropped without a count in the warnings.

    Parameters
    ----------
    raw : RawWeather
    site : Site
        Latitude bounds the sun, elevation tells station pressure from sea level.

    Returns
    -------
    RawWeather
        Masked values are NaN with ``suspect: why`` beside them, to be filled later; values
        kept in spite of a doubt carry the same flag.
    """
    _refuse_without_temperature(raw)
    table, quality = raw.table.copy(), raw.quality.copy()
    notes: list[str] = []

    def flag(name: str, bad: pd.Series, why: str, *, mask: bool) -> None:
        bad = bad.fillna(False) & table[name].notna()
        if not bad.any():
            return
        quality.loc[bad, name] = f"suspect: {why}"
        if mask:
            table.loc[bad, name] = np.nan
        done = "blanked, to be filled" if mask else "kept, flagged"
        first = bad.index[bad][0]
        notes.append(
            f"{name}: {plural(bad.sum(), 'value')} {why} ({done}; first {first:%Y-%m-%d})"
        )

    _check_ranges(raw, table, flag)
    _check_temperatures(raw.step, table, flag)
    for name, bad, why in find_faults(raw.step, table.copy()):
        # What is most of a column is no fault in it; it is shown and left.
        few = bool(bad.sum() <= table[name].notna().sum() / 2)
        flag(name, bad, why, mask=few and why != RECORD)
    _check_humidity(raw.step, table, notes)
    _check_sun(raw.step, table, site, flag)
    if "precip_mm" in table:
        _check_dry_runs(raw.step, table["precip_mm"], flag, notes)
    if _is_sea_level(table, site):
        table["pressure_hpa"] *= pressure_hpa(site.elevation_m) / 1013.0
        notes.append(f"pressure_hpa: sea-level values brought to {site.elevation_m:.0f} m")
    return replace(raw, table=table, quality=quality, warnings=(*raw.warnings, *notes))


def _refuse_without_temperature(raw: RawWeather) -> None:
    daily = ("air_temp_min_c", "air_temp_max_c")
    lost = [name for name in (daily if raw.step == "daily" else ("air_temp_c",))
            if name not in raw.table or raw.table[name].isna().all()]  # fmt: skip
    if lost:
        raise InputError(
            f"{raw.source}: no value of {' or '.join(lost)}; accepted is weather with temperature"
        )


def _check_ranges(raw: RawWeather, table: pd.DataFrame, flag: _Flag) -> None:
    known = DAILY if raw.step == "daily" else HOURLY
    for name in map(str, table.columns):
        limits = known[name]
        outside = (table[name] < limits.low) | (table[name] > limits.high)
        flag(name, outside, f"outside {limits.low:g} to {limits.high:g}", mask=True)
    if "rel_humidity_pct" in table:
        table["rel_humidity_pct"] = table["rel_humidity_pct"].clip(upper=100.0)


def _check_temperatures(step: str, table: pd.DataFrame, flag: _Flag) -> None:
    if step == "daily":
        crossed = table["air_temp_min_c"] > table["air_temp_max_c"]
        for name in ("air_temp_min_c", "air_temp_max_c"):
            flag(name, crossed, "with minimum above maximum", mask=True)
        if "air_temp_mean_c" in table:
            mean = table["air_temp_mean_c"]
            off = (mean < table["air_temp_min_c"]) | (mean > table["air_temp_max_c"])
            flag("air_temp_mean_c", off, "outside the day's extremes", mask=True)
    for name in [n for n in ("air_temp_mean_c", "wind_ms") if n in table]:
        run = _run_length(table[name])
        calm = (table[name] == 0.0) & (name == "wind_ms")
        limit = REPEATS[step]
        flag(name, (run >= limit) & ~calm, f"repeated {limit} times or more", mask=False)
    if "dew_point_c" in table:
        air = table["air_temp_max_c" if step == "daily" else "air_temp_c"]
        over = table["dew_point_c"] > air + 0.5
        flag("dew_point_c", over, "above the air temperature", mask=False)


def _check_humidity(step: str, table: pd.DataFrame, notes: list[str]) -> None:
    """Dew point that is the day's minimum nearly every day was never measured."""
    if step == "daily" and "dew_point_c" in table:
        gap = (table["dew_point_c"] - table["air_temp_min_c"]).abs().dropna()
        if len(gap) >= 30 and (gap <= DERIVED_K).mean() >= DERIVED_SHARE:
            notes.append(
                "dew_point_c: it follows the minimum temperature on most days, so it was derived "
                "and not measured; in dry spells such humidity is too high and drying understated"
            )


def _check_sun(step: str, table: pd.DataFrame, site: Site, flag: _Flag) -> None:
    if step == "daily" and "shortwave_mj_m2" in table:
        day = np.asarray(pd.DatetimeIndex(table.index).day_of_year, dtype=np.float64)
        top = extraterrestrial_mj_m2(site.latitude, day)
        over = table["shortwave_mj_m2"] > top + 0.5
        flag("shortwave_mj_m2", over, "above the sun outside the atmosphere", mask=True)


def _check_dry_runs(step: str, rain: pd.Series, flag: _Flag, notes: list[str]) -> None:
    """Whole months of zeros where that month is never dry, or a very long run of zeros."""
    daily = rain if step == "daily" else rain.resample("D").sum(min_count=1)
    index = pd.DatetimeIndex(daily.index)
    months = daily.groupby(index.to_period("M")).agg(["sum", "count"])
    totals = months["sum"].where(months["count"] >= 25).dropna()
    for month in range(1, 13):
        same = totals[pd.PeriodIndex(totals.index).month == month]
        dry = same[same == 0.0]
        if len(same) - len(dry) < MIN_YEARS or len(dry) > len(same) / 5:
            continue
        if same[same > 0.0].mean() < DRY_MONTH_NORMAL_MM:
            continue
        hit = pd.Series(pd.DatetimeIndex(rain.index).to_period("M").isin(dry.index), rain.index)
        flag("precip_mm", hit, "zero through a month that else has rain: missing?", mask=False)
    if not len(totals) or pd.PeriodIndex(totals.index).year.nunique() < MIN_YEARS:
        for lone in _dry_month_among_wet(daily):
            hit = pd.Series(pd.DatetimeIndex(rain.index).to_period("M") == lone, rain.index)
            flag("precip_mm", hit, f"zero through {lone} among wet months: missing?", mask=False)
    run = _run_length(daily.where(daily == 0.0))
    if run.max() >= DRY_RUN_DAYS:
        end = run[run == run.max()].index[-1]
        notes.append(
            f"precip_mm: no rain at all on {int(run.max())} days to {end:%Y-%m-%d}; "
            "is rain missing there and written as zero?"
        )


def _dry_month_among_wet(daily: pd.Series) -> list[pd.Period]:
    """Months without a drop where all others have days enough with rain.

    With three wet days or more in each other month, and commonly ten, a dry one is rare.
    """
    months = daily.groupby(pd.DatetimeIndex(daily.index).to_period("M"))
    wet, days = months.agg(lambda part: (part > 0.0).sum()), months.count()
    whole = wet[days >= 25]
    dry = whole[whole == 0]
    others = whole.drop(dry.index)
    if len(others) < DRY_MONTH_OTHERS or others.min() < DRY_MONTH_WET_DAYS:
        return []
    return list(dry.index)


def _run_length(values: pd.Series) -> pd.Series:
    """Length of the run of equal values that each value belongs to; 0 where missing."""
    block = (values != values.shift()).cumsum()
    length = values.groupby(block).transform("size")
    return length.where(values.notna(), 0)


def _is_sea_level(table: pd.DataFrame, site: Site) -> bool:
    """True where pressure can only be reduced to sea level: near 1013 and far from the site's."""
    if "pressure_hpa" not in table:
        return False
    middle = table["pressure_hpa"].median()
    return bool(abs(middle - 1013.25) < 15.0 < abs(middle - pressure_hpa(site.elevation_m)))
