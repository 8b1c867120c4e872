"""Faults that lie within every bound: values stuck, copied, or alone against their neighbours.

In the spirit of Durre et al. 2010, J. Appl. Meteor. Climatol. 49:1615-1633 (duplicates, streaks,
spikes), with limits that look at how fine the values are written and how much days differ
there; they were set on real records so that a clean one is left alone.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from climate_risk.weather.record import FloatArray

SPIKE_SIGMA = 5.0
"""Robust standard deviations of what a day differs by from the mean of its neighbours."""
SPIKE_K = 9.0
RECORD_K = 3.0
"""A maximum so far above all others of its season, and alone, would rule the hottest bark."""
RECORD_ALONE_K = 5.0
RECORD = "far above its season, and alone: a record, or wrong?"
"""Kept: true records look like that too, and a stack must survive them."""
HOURLY_SPIKE_K = 9.0
SHARED = 0.5
"""Share of the other extreme's departure that is expected in this one's."""
STREAK_FINE, STREAK_COARSE = 5, 10
"""Equal days in a row that cannot be, for values to a tenth and for whole degrees."""
STREAK_PAIR = 4
"""Days in a row with the same minimum and the same maximum."""
STREAK_HOURS = 24
WET_STREAK = {"daily": 5, "hourly": 72}
"""Rows in a row of saturated air that no weather keeps up."""
SATURATED_PCT = 99.5
COPIED_DAYS = 20
"""Equal values, of a month's days, that make it a copy."""

Finding = tuple[str, pd.Series, str]
"""Column, rows, and what is wrong with them."""


def find_faults(step: str, table: pd.DataFrame) -> Iterator[Finding]:
    """Faults of a table in canonical columns.

    Parameters
    ----------
    step : str
        ``daily`` or ``hourly``.
    table : DataFrame
        Sorted DatetimeIndex, gaps allowed.

    Yields
    ------
    (column, rows, why)
        A mask over the table's rows, and a few words.
    """
    yield from _copies(step, table)
    yield from _streaks(step, table)
    yield from _spikes(step, table)


def _copies(step: str, table: pd.DataFrame) -> Iterator[Finding]:
    """Months whose days have the values of an earlier month, day by day."""
    name = "air_temp_max_c" if step == "daily" else "air_temp_c"
    index = pd.DatetimeIndex(table.index)
    first_hour = np.asarray(index.hour) == (0 if step == "daily" else 13)
    values = table[name][first_hour]
    days = pd.DatetimeIndex(values.index)
    spread = pd.Series(values.to_numpy(), [days.to_period("M"), days.day])
    grid = spread[~spread.index.duplicated()].unstack().reindex(columns=range(1, 29)).round(2)
    known: dict[bytes, pd.Period] = {}
    for month, row in zip(grid.index, grid.to_numpy(np.float64), strict=True):
        if np.isfinite(row).sum() < COPIED_DAYS or len(np.unique(row)) < 8:
            continue
        key = row.tobytes()
        if key in known:
            rows = pd.Series(index.to_period("M") == month, index)
            if step == "daily":
                first = values[index.to_period("M") == known[key]]
                same = pd.Series(first.to_numpy(), first.index.day).reindex(index.day)
                rows &= same.to_numpy() == table[name].to_numpy()
            for column in map(str, table.columns):
                yield column, rows, f"the same as in {known[key]}: copied"
        else:
            known[key] = month


def _streaks(step: str, table: pd.DataFrame) -> Iterator[Finding]:
    hourly = step == "hourly"
    if not hourly:
        low, high = table["air_temp_min_c"], table["air_temp_max_c"]
        same = (low.diff() == 0.0) & (high.diff() == 0.0)
        pair = _run(~same) >= STREAK_PAIR
        for name in ("air_temp_min_c", "air_temp_max_c"):
            yield name, pair, f"stuck with the other extreme for {STREAK_PAIR} days or more"
    names = ("air_temp_c", "dew_point_c") if hourly else (
        "air_temp_min_c", "air_temp_max_c", "dew_point_c"
    )  # fmt: skip
    for name in [n for n in names if n in table]:
        limit = STREAK_HOURS if hourly else (
            STREAK_FINE if _is_fine(table[name]) else STREAK_COARSE
        )  # fmt: skip
        stuck = _run(table[name].diff() != 0.0) >= limit
        yield name, stuck & table[name].notna(), f"stuck for {limit} {_rows(step)} or more"
    if "rel_humidity_pct" in table:
        humidity = table["rel_humidity_pct"]
        wet = humidity >= SATURATED_PCT
        long = _run(wet != wet.shift()) >= WET_STREAK[step]
        why = f"saturated for {WET_STREAK[step]} {_rows(step)} or more"
        yield "rel_humidity_pct", wet & long, why
        stuck = _run(humidity.diff() != 0.0) >= (STREAK_HOURS if hourly else STREAK_COARSE)
        yield "rel_humidity_pct", stuck & humidity.notna() & ~wet, "stuck"


def _rows(step: str) -> str:
    return "days" if step == "daily" else "hours"


def _is_fine(values: pd.Series) -> bool:
    """True where values are written to a tenth, or come from another unit."""
    known = values.dropna().to_numpy(np.float64)
    whole_f = known * 1.8 + 32.0
    on_c, on_f = (np.abs(x - np.round(x)) < 0.06 for x in (known, whole_f))
    return bool(len(known)) and max(on_c.mean(), on_f.mean()) < 0.6


def _run(breaks: pd.Series) -> pd.Series:
    """Length of the stretch between breaks that each row belongs to."""
    block = breaks.cumsum()
    return block.groupby(block).transform("size")


def _spikes(step: str, table: pd.DataFrame) -> Iterator[Finding]:
    if step == "hourly":
        for name in [n for n in ("air_temp_c", "dew_point_c") if n in table]:
            yield name, _alone(table[name], HOURLY_SPIKE_K), "alone against both its neighbours"
        return
    pair = {name: table[name] for name in ("air_temp_min_c", "air_temp_max_c")}
    off = {name: v - (v.shift() + v.shift(-1)) / 2.0 for name, v in pair.items()}
    for name, other in (
        ("air_temp_min_c", "air_temp_max_c"),
        ("air_temp_max_c", "air_temp_min_c"),
    ):
        excess = off[name] - SHARED * off[other].fillna(0.0)
        usual = 1.4826 * excess.abs().rolling(91, center=True, min_periods=20).median()
        far = excess.abs() > np.maximum(SPIKE_SIGMA * usual, SPIKE_K)
        yield name, far & _alone(pair[name], SPIKE_K), "alone against both its neighbours"
    high = pair["air_temp_max_c"]
    second = high.rolling(91, center=True, min_periods=20).apply(_second_highest, raw=True)
    record = (high > second + RECORD_K) & (excess > RECORD_ALONE_K)
    lone = record & _alone(high, RECORD_ALONE_K)
    yield "air_temp_max_c", lone & ~(far & _alone(high, SPIKE_K)), RECORD


def _second_highest(window: FloatArray) -> float:
    known = window[~np.isnan(window)]
    return float(np.partition(known, -2)[-2]) if known.size > 1 else float("nan")


def _alone(values: pd.Series, least_k: float) -> pd.Series:
    """Where a value stands off both neighbours in time, to the same side."""
    before: FloatArray = values.diff().to_numpy(np.float64)
    after: FloatArray = values.diff(-1).to_numpy(np.float64)
    with np.errstate(invalid="ignore"):
        alone = (before * after > 0.0) & (np.minimum(np.abs(before), np.abs(after)) > least_k)
    return pd.Series(alone, values.index)
