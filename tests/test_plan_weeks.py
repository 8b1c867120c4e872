"""Weeks for felling and inoculating: published frost dates, closed cases, both hemispheres."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk import tables
from climate_risk.risk.results import SpellLimits
from climate_risk.risk.results_plan import Window
from climate_risk.risk.weeks import (
    SPRING_D,
    Springs,
    first_day,
    growing,
    hot_spell_starts,
    last_day,
    latest_starts,
    spring_of,
    springs_of,
    weeks_of,
)
from climate_risk.site import Site
from climate_risk.weather import load_weather, to_hourly

DATA = Path(__file__).parent / "data"
IOWA = Site(latitude=42.035, longitude=-93.0, elevation_m=300.0)
LIMITS = SpellLimits(days=3, air_temp_min_c=30.0, rain_max_mm=1.0)
OYSTER = tables.fungi()["grey oyster"]


@pytest.fixture(scope="module")
def iowa():
    return load_weather(DATA / "iowa_1990_2020.csv.gz", IOWA)


@pytest.fixture(scope="module")
def springs(iowa) -> Springs:
    return springs_of(to_hourly(iowa, IOWA), IOWA, date(2020, 12, 31))


def quantile_dates(days: np.ndarray, first: str) -> list[pd.Timestamp]:
    start = pd.Timestamp(first) - pd.Timedelta(days=1)
    return [start + pd.Timedelta(days=float(d)) for d in np.quantile(days, (0.1, 0.5, 0.9))]


def test_the_first_freeze_of_autumn_is_as_published(iowa) -> None:
    """Boone County next door, 42 N: a tenth of the first freezes (32 F) before 23 September, the
    mean 6 October, nine tenths before 20 October (Iowa State University Extension, Frost Dates in
    Iowa, 1950 to 2021; read).  To a week: the record is a grid's, and of later, warmer years."""
    coldest = iowa.table["air_temp_min_c"]
    falls = np.array(
        [coldest[f"{y}-08-01" : f"{y}-12-31"].to_numpy()[:150] for y in range(1990, 2021)]
    )
    found = quantile_dates(first_day(falls <= 0.0), "2001-08-01")
    for day, published in zip(found, ("2001-09-23", "2001-10-06", "2001-10-20"), strict=True):
        assert abs((day - pd.Timestamp(published)).days) <= 7


def test_the_last_freeze_of_spring_is_as_published(springs: Springs) -> None:
    """Ames, 42 N: mean between 1 and 10 May (a map of 1991 to 2020, read).  To a week."""
    _, middle, _ = quantile_dates(last_day(springs.hour_c.min(axis=2) <= 0.0), "2001-01-01")
    assert pd.Timestamp("2001-04-24") <= middle <= pd.Timestamp("2001-05-17")


def test_weeks_in_iowa_are_those_of_practice(springs: Springs) -> None:
    """Felled in late winter, set in spring before and about leaf-out (common practice, no
    source); a fungus slower to leave its spawn has less time."""
    weeks = weeks_of(springs, OYSTER, LIMITS)
    assert weeks.inoculation is not None
    assert weeks.felling is not None
    first, last = weeks.inoculation.first_day, weeks.inoculation.last_day
    assert date(2001, 3, 1).timetuple().tm_yday <= first < last
    assert last <= date(2001, 5, 31).timetuple().tm_yday
    leaves = spring_of(springs, LIMITS).leaf_day
    assert weeks.felling.last_day < leaves[0]
    slow = weeks_of(springs, tables.fungi()["lion's mane"], LIMITS)
    assert slow.inoculation is not None
    assert slow.inoculation.last_day < last
    assert slow.leap_off_days.value > weeks.leap_off_days.value


def test_the_weeks_offered_would_have_served_in_eight_years_of_ten(springs: Springs) -> None:
    """Counted over the years themselves, apart from the quantiles."""
    weeks = weeks_of(springs, OYSTER, LIMITS)
    assert weeks.inoculation is not None
    thawed = [
        not (row[weeks.inoculation.first_day - 1 : 180] <= 0.0).any() for row in springs.day_max_c
    ]
    heat = hot_spell_starts(springs.day_max_c, LIMITS)
    growth = growing(OYSTER, springs.hour_c)
    last = weeks.inoculation.last_day - 1
    left = [
        row[last : start - 1].sum() >= OYSTER.spawn_lag_gdays.high
        for row, start in zip(growth, heat, strict=True)
    ]
    assert 0.78 <= np.mean(thawed) <= 0.95
    assert 0.78 <= np.mean(left) <= 0.95


def steady(temp_c: float, years: int = 3) -> Springs:
    return Springs(
        south=False,
        day_max_c=np.full((years, SPRING_D), temp_c),
        hour_c=np.full((years, SPRING_D, 24), temp_c),
        leaves=np.zeros((years, SPRING_D)),
        leaf_fall=290,
    )


def test_at_its_best_temperature_a_fungus_leaps_off_in_its_lag() -> None:
    weeks = weeks_of(steady(OYSTER.temp_opt_c.value), OYSTER, LIMITS)
    for name in ("low", "value", "high"):
        lag_d = getattr(OYSTER.spawn_lag_gdays, name)
        assert 0.0 <= getattr(weeks.leap_off_days, name) - lag_d <= 1.0


def test_where_it_freezes_all_spring_no_week_serves() -> None:
    weeks = weeks_of(steady(-3.0), OYSTER, LIMITS)
    assert weeks.inoculation is None


def test_days_are_counted_from_one() -> None:
    rows = np.array([[0, 1, 1, 0], [0, 0, 0, 0], [1, 0, 0, 1]], dtype=bool)
    assert last_day(rows).tolist() == [3, 0, 4]
    assert first_day(rows).tolist() == [2, 5, 1]


def test_a_hot_spell_takes_its_days_in_a_row() -> None:
    warm = np.array([[31, 31, 20, 31, 31, 31, 31.0], [31, 31, 20, 31, 31, 20, 31.0]])
    assert hot_spell_starts(warm, LIMITS).tolist() == [4, 8]


def test_the_latest_start_leaves_just_enough_growth() -> None:
    """By hand: half a day's growth a day before day 9 leaves 4 days' worth; 2 of it from day 5."""
    growth = np.full((1, 12), 0.5)
    before = np.array([9])
    assert latest_starts(growth, before, 2.0).tolist() == [5.0]
    assert latest_starts(growth, before, 4.0).tolist() == [1.0]
    assert latest_starts(growth, before, 4.1).tolist() == [0.0]


def test_a_warmer_site_thaws_and_heats_sooner(springs: Springs) -> None:
    warmer = replace(springs, day_max_c=springs.day_max_c + 3.0, hour_c=springs.hour_c + 3.0)
    here, there = spring_of(springs, LIMITS), spring_of(warmer, LIMITS)
    assert there.last_frost_day[1] < here.last_frost_day[1]
    assert here.heat_day is not None
    assert there.heat_day is not None
    assert there.heat_day[1] < here.heat_day[1]


def test_south_of_the_equator_the_weeks_are_half_a_year_off() -> None:
    found = {}
    for site in (samples.NORTH, samples.SOUTH):
        record = samples.make_record("2000-01-01", "2012-12-31", site)
        half = springs_of(record.weather, site, record.last)
        found[site.latitude > 0] = weeks_of(half, OYSTER, LIMITS)
        assert half.years >= 11
    north, south = found[True].inoculation, found[False].inoculation
    assert north is not None
    assert south is not None
    shift = (south.first_day - north.first_day) % 365
    assert 182 - 21 <= shift <= 182 + 21
    assert not north.holds(date(2001, 10, 10))
    assert south.holds(date(2001, 10, 10))


def test_a_window_may_pass_new_year() -> None:
    window = Window(first_day=340, last_day=30)
    assert window.holds(date(2001, 12, 24))
    assert window.holds(date(2001, 1, 15))
    assert not window.holds(date(2001, 6, 1))
