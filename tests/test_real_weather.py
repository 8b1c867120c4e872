"""The whole chain on real observed weather, Newark 2013: the order that practice knows.

Nothing below is a rule of the model; every order has to come out of sun, air, rain and wood.
The order of canopies itself (shade is cooler and moister, hardwoods let the spring sun in, a
slice on top keeps the top face moist) is common practice, no source.
"""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import climate_risk as cr
from climate_risk.engine.reference import advance_to, reference_block
from climate_risk.engine.stack import Scheme, stack_model
from climate_risk.errors import InputError
from climate_risk.fungus.kernel import interface_neighbours
from climate_risk.log.layout import MOISTURE
from climate_risk.options import parse_cover_option
from climate_risk.risk.season import hot_dry_spells

sys.path.insert(0, str(Path(__file__).parent))
from real_weather import station_rows, write_yard

CANOPIES = ("open", "pine", "deciduous", "mixed", "conifer")
SHADE = CANOPIES[1:]
BAG_AND_CLOTH = "paper bag + shade cloth 60"
COVERS = ("none", "paper bag", "shade cloth 60", BAG_AND_CLOTH)
BALANCE = 1e-9
LEAFY = slice("2013-06-01", "2013-09-15")
WARM = slice("2013-05-01", "2013-09-30")
SINCE_STACKING = slice("2013-03-15", "2013-09-30")
LEAFLESS = slice("2013-03-15", "2013-04-15")
HOT_WEEK = slice("2013-07-14", "2013-07-20")


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    return cr.read_yard(write_yard(tmp_path_factory.mktemp("yard")))


@pytest.fixture(scope="module")
def weather(yard):
    return cr.load_weather(yard)


@pytest.fixture(scope="module")
def runs(yard, weather):
    """(canopy, cover) -> days of the capped stack, to the end of the record."""
    return {
        (canopy, cover): cr.simulate(yard, weather, yard.stacks[0], canopy=canopy, cover=cover)
        for canopy in CANOPIES
        for cover in COVERS
    }


def lost(run, name, span):
    """Fall of a quantity over a span of days."""
    inside = run[name].loc[span]
    return inside.iloc[0] - inside.iloc[-1]


def test_the_station_s_faults_are_seen_and_said(weather):
    rows = station_rows()
    assert rows["wind_speed"].max() > 1000.0
    assert weather.table["wind_ms"].max() < 30.0
    assert any("wind_ms: 1 value outside" in note for note in weather.coverage.warnings)
    assert weather.record.first == date(2013, 1, 1)
    assert weather.record.last == date(2013, 12, 29)  # 30 December has 19 hours only
    times = pd.to_datetime(rows["time_hour"], utc=True).dt.tz_localize(None)
    times -= pd.Timedelta(hours=5)
    wanted = pd.date_range("2013-01-01", "2013-12-29 23:00", freq="h")
    missing = (~wanted.isin(times[rows["temp"].notna()])).sum()
    assert sum(weather.coverage.filled["air_temp_c"].values()) == missing
    assert list(weather.coverage.estimated) == ["shortwave_w_m2"]


def test_us_units_and_the_clock_come_over(weather):
    rows = station_rows().set_index("time_hour")
    table = weather.table
    # 5 h behind UTC all year: no summer clock, and the doubled hour of 3 November is two hours.
    for utc, local in [
        ("2013-07-18T19:00:00Z", "2013-07-18 14:00"),
        ("2013-11-03T05:00:00Z", "2013-11-03 00:00"),
        ("2013-11-03T06:00:00Z", "2013-11-03 01:00"),
    ]:
        seen, ours = rows.loc[utc], table.loc[local]
        assert ours["air_temp_c"] == pytest.approx((seen["temp"] - 32.0) / 1.8)
        assert ours["dew_point_c"] == pytest.approx((seen["dewp"] - 32.0) / 1.8)
        assert ours["wind_ms"] == pytest.approx(seen["wind_speed"] * 1609.344 / 3600.0)
    days = rows.loc["2013-01-01T05:00:00Z":"2013-12-30T04:00:00Z"]
    filled = weather.quality["precip_mm"].str.startswith("filled").fillna(False).astype(bool)
    seen = table["precip_mm"][~filled].sum()
    assert seen == pytest.approx(25.4 * days["precip"].sum())
    assert filled.sum() == sum(weather.coverage.filled["precip_mm"].values())


@pytest.mark.parametrize("cover", COVERS)
@pytest.mark.parametrize("canopy", CANOPIES)
def test_water_and_energy_balance_close(runs, canopy, cover):
    run = runs[canopy, cover]
    assert (run.index[0], run.index[-1]) == (pd.Timestamp(2013, 3, 15), pd.Timestamp(2013, 12, 29))
    assert run.attrs["water_residual"] <= BALANCE
    assert run.attrs["energy_residual"] <= BALANCE
    change = run["log_water_kg"].diff().iloc[1:]
    booked = (run["water_in_kg"] - run["water_out_kg"]).iloc[1:]
    np.testing.assert_allclose(change, booked, atol=BALANCE)
    assert not run.isna().any(axis=None)


@pytest.mark.parametrize(
    ("cover", "far_k"),
    [("none", 9.0), ("paper bag", 10.0), ("shade cloth 60", 5.0), (BAG_AND_CLOTH, 5.0)],
)
def test_peak_bark_heat_follows_the_sun_let_through(runs, cover, far_k):
    leafy = {canopy: runs[canopy, cover].loc[LEAFY] for canopy in CANOPIES}
    sun = {canopy: days["shortwave_mj_m2"].sum() for canopy, days in leafy.items()}
    peak = {canopy: days["bark_temp_max_c"].max() for canopy, days in leafy.items()}
    assert sorted(peak, key=peak.get) == sorted(sun, key=sun.get)
    assert peak["open"] > max(peak[canopy] for canopy in SHADE) + far_k


@pytest.mark.parametrize("cover", COVERS)
def test_the_open_dries_faster_than_shade_until_autumn(runs, cover):
    """Moisture from the day of stacking: by May the open has half of its drying behind it."""
    fall = {c: lost(runs[c, cover], "moisture_mean_pct", SINCE_STACKING) for c in CANOPIES}
    vapour = {c: runs[c, cover].loc[WARM, "water_out_kg"].sum() for c in CANOPIES}
    for canopy in SHADE:
        assert fall["open"] > fall[canopy] + 5.0
        assert vapour["open"] > 1.1 * vapour[canopy]


@pytest.mark.parametrize("cover", COVERS)
def test_bare_hardwoods_in_spring_stand_nearer_the_open_than_the_conifers(runs, cover):
    """As a share of the way from conifer (0) to open (1), against the same share in leaf."""

    def share(name, span):
        of = {c: runs[c, cover].loc[span, name].mean() for c in ("open", "deciduous", "conifer")}
        return (of["deciduous"] - of["conifer"]) / (of["open"] - of["conifer"])

    for name in ("bark_temp_max_c", "vpd_max_kpa"):
        assert share(name, LEAFLESS) > 0.5
        assert share(name, LEAFY) < 0.25
    assert share("shortwave_mj_m2", LEAFLESS) > 10.0 * share("shortwave_mj_m2", LEAFY)


def top_face_moisture(kind, scheme, days, every):
    """Moisture of the topmost spawn face every few days from inoculation on [%]."""
    grid, block = kind.grid, reference_block(kind, scheme)
    rings = grid.ring_area_m2.size
    below, above, weight = interface_neighbours(grid, grid.pieces)
    start = (kind.stack.inoculated - kind.start_day).days
    advance_to(kind, scheme, [block], 0, start)
    seen = []
    for day in range(start, start + days, every):
        advance_to(kind, scheme, [block], day, day + every)
        low = block.a[MOISTURE, below * rings : (below + 1) * rings, 0]
        high = block.a[MOISTURE, above * rings : (above + 1) * rings, 0]
        wood = (1.0 - weight) * low + weight * high
        seen.append(100.0 * np.average(wood, weights=grid.ring_area_m2))
    return np.array(seen)


@pytest.mark.parametrize("cover", COVERS)
@pytest.mark.parametrize("canopy", CANOPIES)
def test_the_cap_slice_keeps_the_top_face_moister(yard, weather, canopy, cover):
    """At the driest and on the middle day, under every canopy and cover.

    After rain a top without a cap is the wetter one, everywhere.
    """
    scheme = Scheme(canopy=canopy, covers=parse_cover_option(cover).spans)
    capped, bare = (
        top_face_moisture(stack_model(stack, weather.record, yard.openness), scheme, 288, 3)
        for stack in yard.stacks
    )
    assert capped.min() > bare.min() + 1.0
    assert np.median(capped - bare) > 1.0


def test_the_july_heat_spell_shows_as_one(runs, weather):
    record = weather.record
    spells = hot_dry_spells(record.weather, date(2013, 3, 15), record.last)
    hottest = max(spells, key=lambda spell: spell.air_temp_max_c)
    assert (hottest.first, hottest.last) == (date(2013, 7, 14), date(2013, 7, 19))
    for run in runs.values():
        bark = run["bark_temp_max_c"]
        week = bark.loc[HOT_WEEK].mean()
        assert week > bark.loc["2013-07-07":"2013-07-13"].mean() + 2.0
        assert week > bark.loc["2013-07-21":"2013-07-27"].mean() + 2.0
        summer = bark.loc["2013-06-01":"2013-08-31"]
        assert summer.idxmax() in bark.loc[HOT_WEEK].index


def test_the_spell_harms_bare_stacks_in_the_open_and_no_shaded_one(runs):
    weekly = runs["open", "none"]["heat_stress"].diff().rolling(7).sum()
    assert weekly.max() > 0.2
    assert weekly.idxmax() in weekly.loc["2013-07-14":"2013-07-26"].index
    for canopy in SHADE:
        assert runs[canopy, "none"]["heat_stress"].iloc[-1] < 0.01


def test_a_run_cut_short_is_the_beginning_of_the_long_one(runs, yard, weather):
    short = cr.simulate(
        yard, weather, yard.stacks[0], canopy="conifer", cover="none", until=date(2013, 6, 30)
    )
    pd.testing.assert_frame_equal(short, runs["conifer", "none"].loc[:"2013-06-30"])


def test_simulate_refuses_what_it_cannot_run(yard, weather):
    stack = yard.stacks[0]
    with pytest.raises(InputError, match="accepted is that day or later"):
        cr.simulate(yard, weather, stack, until=date(2013, 3, 1))
    with pytest.raises(InputError, match="is no cover"):
        cr.simulate(yard, weather, stack, cover="straw")
    later = cr.load_weather(yard, first=date(2013, 7, 1))
    with pytest.raises(InputError, match="accepted is weather of that season"):
        cr.simulate(yard, later, stack)
