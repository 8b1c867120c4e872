"""Days that differ: the night between them, and the warm months of either half of the earth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from climate_risk.site import Site
from climate_risk.weather import hourly
from climate_risk.weather.fill import fill_gaps
from climate_risk.weather.record import RawWeather


def test_a_night_joins_two_unlike_days() -> None:
    """The curve after sunset and the next day's before its minimum are one exponential (Parton
    and Logan 1981, with its end on the next minimum): one value at midnight, whatever the days.
    """
    low, high = np.array([10.0, 2.0, 14.0, 5.0]), np.array([25.0, 12.0, 31.0, 9.0])
    rise, fall = np.full(4, 6.0), np.full(4, 18.0)
    clock = np.tile([0.0, 24.0], (4, 1))
    ends = hourly.diurnal_curve(clock, low, high, rise, fall)
    assert ends[1:, 0] == pytest.approx(ends[:-1, 1])
    coolest = np.tile([6.0 + hourly.MIN_LAG_H - 1e-9], (4, 1))
    assert hourly.diurnal_curve(coolest, low, high, rise, fall)[1:, 0] == pytest.approx(low[1:])


@pytest.mark.parametrize(("latitude", "warned"), [(42.0, False), (-42.0, True)])
def test_the_south_is_warm_from_november_to_march(latitude: float, warned: bool) -> None:
    """The same gap in December and January: winter here, the critical months there."""
    days = pd.date_range("2019-07-01", "2020-06-30", freq="D", name="date")
    turn = 2.0 * np.pi * np.arange(len(days)) / 365.25
    table = pd.DataFrame(
        {
            "air_temp_min_c": 5.0 + 8.0 * np.cos(turn),
            "air_temp_max_c": 15.0 + 8.0 * np.cos(turn + 0.01),
            "dew_point_c": 3.0 + 8.0 * np.cos(turn),
            "precip_mm": np.where(np.arange(len(days)) % 3 == 0, 4.0, 0.0),
        },
        index=days,
    )
    table.loc["2019-12-01":"2020-01-31", "air_temp_max_c"] = np.nan
    quality = pd.DataFrame("observed", index=days, columns=table.columns, dtype=object)
    raw = RawWeather(
        table=table, quality=quality.where(table.notna(), "missing"), step="daily", source="test"
    )
    site = Site(latitude=latitude, longitude=0.0, elevation_m=100.0)
    notes = fill_gaps(raw, site).coverage.warnings
    assert any("air_temp_max_c" in n and "warm months" in n for n in notes) == warned
