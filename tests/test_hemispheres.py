"""A southern yard is a northern one half a year later, with the sun in the other half of the sky.

The sun of the mirrored record is the northern one reflected, so that neither the distance of the
sun nor the equation of time, which differ between the halves of the year, come in.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from unittest import mock

import numpy as np
import pytest
import risk_samples

from climate_risk.engine import hours as k
from climate_risk.engine.blocks import Job, advance, new_blocks
from climate_risk.engine.draws import best_estimate
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, stack_model
from climate_risk.log.layout import CASES
from climate_risk.microclimate import stand
from climate_risk.options import CoverSpan
from climate_risk.site import Site
from climate_risk.weather.record import HourlyWeather

HALF_YEAR = timedelta(days=182)
NORTH = Site(latitude=42.5, longitude=-72.2, elevation_m=300.0, slope_deg=15.0, aspect_deg=150.0)
SOUTH = replace(NORTH, latitude=-42.5, aspect_deg=30.0)
BAG = Scheme(canopy="deciduous", covers=(CoverSpan(kind="bag", material="paper"),))
BARE = Scheme(canopy="deciduous")


def mirrored(weather: HourlyWeather) -> HourlyWeather:
    """The same hours half a year earlier in the calendar, east kept, north and south exchanged."""
    return replace(
        weather,
        time=weather.time - np.timedelta64(182 * 24, "h"),
        sun_azimuth_deg=(180.0 - weather.sun_azimuth_deg) % 360.0,
    )


OFF_THE_EDGE_K = 1e-6
"""On one of these invented days bark stands at 0 degC to the last digit, where rounding alone
tells whether it freezes in this hour or the next: 0.01 points of moisture."""


def season(record: Record, scheme: Scheme, earlier: timedelta) -> np.ndarray:
    """Daily reference run of a small stack, (days, columns)."""
    stack = risk_samples.small_stack(inoculated=date(2018, 9, 12))
    stack = replace(stack, inoculated=stack.inoculated - earlier)
    kind = stack_model(stack, record, 0.2)
    (block,) = new_blocks(kind, scheme, best_estimate(len(kind.parameter_set(scheme).unknowns())))
    job = Job(
        kind=kind,
        scheme=scheme,
        block=block,
        start_rows=np.full(CASES, record.row(kind.start_day), dtype=np.int64),
        first_hour=0,
        last_hour=200 * 24,
    )
    advance([job])
    return block.daily[:, :, 0]


@pytest.mark.parametrize("scheme", [BARE, BAG], ids=["bare", "bag"])
def test_mirrored_yards_agree(scheme: Scheme) -> None:
    """Only the clearness of the sky knows the real calendar: it is taken from one hemisphere.

    Sines of mirrored angles differ by rounding, and the hour in which a cell begins to freeze
    turns on it: 1e-4 of a degree or a percent at times.
    """
    table = risk_samples.daily_table("2018-01-01", "2019-06-30")
    north = risk_samples.hours_of(table, NORTH)
    north = replace(north, air_temp_c=north.air_temp_c + OFF_THE_EDGE_K)
    south = mirrored(north)
    sky = stand._clearness(north, NORTH)
    with mock.patch.object(stand, "_clearness", return_value=sky):
        here = season(Record(north, NORTH), scheme, timedelta(0))
        there = season(Record(south, SOUTH), scheme, HALF_YEAR)
    np.testing.assert_allclose(there, here, rtol=1e-5, atol=3e-4)
    assert here[:, k.D_BARK_MAX].max() > here[:, k.D_AIR_MAX].max() - 5.0


def test_a_slope_that_is_not_mirrored_does_not_agree() -> None:
    """The comparison would notice a forgotten reflection."""
    table = risk_samples.daily_table("2018-01-01", "2019-06-30")
    north = risk_samples.hours_of(table, NORTH)
    wrong = replace(SOUTH, aspect_deg=NORTH.aspect_deg)
    here = season(Record(north, NORTH), BARE, timedelta(0))
    there = season(Record(mirrored(north), wrong), BARE, HALF_YEAR)
    assert np.abs(there[:, k.D_SHORTWAVE] - here[:, k.D_SHORTWAVE]).max() > 0.1
