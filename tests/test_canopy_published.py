"""Canopies against measurements that did not set their parameters, misses included.

The cases, their sources and how much of each was read stand in tests/published/canopy.toml.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import canopy_evidence as evidence
import risk_samples as samples

from climate_risk.microclimate.stand import below_canopy
from climate_risk.tables import canopies
from climate_risk.weather.record import HourlyWeather

CASES = evidence.published()
CLEAR_DAYS = ("2021-06-21", "2021-03-21", "2021-12-21")


def place(case: dict[str, Any]) -> str:
    """Short name of a case for the test's id."""
    return f"{case.get('canopy', case.get('over'))}-{case['place'].split(',')[0]}"


def agrees(published: list[float] | float, low: float, high: float) -> bool:
    """Whether the middle of what was measured lies inside what the model gives."""
    return low <= float(np.mean(published)) <= high


def test_checks_outnumber_the_cases_that_were_in_sight() -> None:
    cases = [c for kind in CASES.values() if isinstance(kind, list) for c in kind]
    roles = [case["role"] for case in cases]
    assert set(roles) <= {"check", "in sight"}
    assert roles.count("check") >= 3 * roles.count("in sight")
    assert all(case["source"] for case in cases)


@pytest.mark.parametrize("case", CASES["throughfall"], ids=place)
def test_throughfall(case: dict[str, Any]) -> None:
    low, best, high = evidence.throughfall_pct(case)
    assert low <= best <= high
    assert agrees(case["published_pct"], low, high) is case["agrees"]


def test_hemlock_keeps_more_rain_off_than_hardwoods_by_as_much_as_measured() -> None:
    """Side by side through the same storms: 11 % of the rain (abstract H33D-0908, AGU 2009)."""
    hardwood, hemlock = CASES["throughfall"][:2]
    best = [evidence.throughfall_pct(case)[1] for case in (hardwood, hemlock)]
    measured = hardwood["published_pct"] - hemlock["published_pct"]
    assert best[0] - best[1] == pytest.approx(measured, abs=4.0)


def test_bare_hardwoods_lose_about_as_much_less_rain_as_measured() -> None:
    """Measured loss differs by 3.7 % between seasons, modelled by 4.3 (9 before the bare row was
    set with this case in sight); two studies of West Virginia and Virginia found them alike.
    """
    on, off = CASES["throughfall"][2:4]
    seen = off["published_pct"] - on["published_pct"]
    modelled = evidence.throughfall_pct(off)[1] - evidence.throughfall_pct(on)[1]
    assert seen == pytest.approx(3.7, abs=0.1)
    assert modelled == pytest.approx(seen, abs=1.5)


@pytest.mark.parametrize("case", CASES["air"], ids=place)
def test_air_below(case: dict[str, Any]) -> None:
    for extreme in ("max", "min"):
        if f"{extreme}_k" in case:
            low, best, high = evidence.air_change_k(case, extreme)
            assert low <= best <= high
            hit = agrees(case[f"{extreme}_k"], low, high)
            assert hit is case[f"agrees_{extreme}"]


@pytest.mark.parametrize("case", CASES["humidity"], ids=place)
def test_humidity_below_rises_most_of_what_was_measured(case: dict[str, Any]) -> None:
    """Keeping the vapour explains most of it; the rest is water that the wood itself gives off."""
    middle = [np.mean(case[key]) for key in ("open_air_c", "open_rel_humidity_pct", "cooler_k")]
    rise = evidence.damper_pct(*middle)
    assert 0.6 * np.mean(case["damper_pct"]) < rise < np.mean(case["damper_pct"])


@pytest.mark.parametrize("case", CASES["light"], ids=place)
def test_light_below(case: dict[str, Any]) -> None:
    dark, best, light = evidence.light_pct(case)
    assert dark <= best <= light
    assert agrees(case["published_pct"], dark, light) is case["agrees"]


def test_a_north_slope_takes_as_much_of_the_light_as_measured() -> None:
    """0.09 on the north slope over 0.21 on the level is 0.43 (Ellis and Pomeroy 2007); the two
    stands are not the same trees, and the slope is our guess.
    """
    level, north = CASES["light"]
    measured = north["published_pct"] / level["published_pct"]
    found = evidence.light_pct(north)[1] / evidence.light_pct(level)[1]
    assert found == pytest.approx(measured, abs=0.12)


@pytest.mark.parametrize("case", CASES["light_ratio"], ids=place)
def test_light_of_one_wood_over_another(case: dict[str, Any]) -> None:
    least, best, greatest = evidence.light_ratio(case)
    assert agrees(case["published"], least, greatest) is case["agrees"]
    assert best == pytest.approx(case["published"], rel=0.25)


def test_light_below_pines_is_too_much_beam() -> None:
    """A miss: measured light below is nearly half diffuse, modelled a tenth.  Leaves scatter, and
    the model's do not; the sum of both is right, its evenness round the girth is not.
    """
    case = CASES["diffuse_share"]
    above, below = evidence.diffuse_share_pct(case)
    assert above == pytest.approx(case["above_pct"], abs=4.0)
    assert (below > 0.7 * case["below_pct"]) is case["agrees"]


@pytest.mark.parametrize("case", CASES["wind"], ids=place)
def test_wind_below(case: dict[str, Any]) -> None:
    low, _, high = evidence.wind_ratio(case)
    assert agrees(case["published"], low, high) is case["agrees"]


@pytest.fixture(scope="module")
def springs() -> pd.DataFrame:
    return evidence.harvard_forest()


def test_leaf_out_moves_with_the_spring_as_seen(springs: pd.DataFrame) -> None:
    """Fourteen springs at Harvard Forest, none of which set a parameter: days per kelvin."""
    seen, modelled = (
        np.polyfit(springs["spring_c"], springs[name], 1)[0] for name in ("seen", "modelled")
    )
    assert seen == pytest.approx(-3.6, abs=0.1)
    assert modelled == pytest.approx(seen, abs=1.0)
    assert np.corrcoef(springs["seen"], springs["modelled"])[0, 1] > 0.8


def test_leaf_out_lies_between_bud_break_and_grown_leaves(springs: pd.DataFrame) -> None:
    """In every year but the latest spring, and a week on the early side: the table's dates are
    those of a place 1.4 degrees north and 150 m higher.
    """
    bud = springs[["red_maple_bud", "red_oak_bud"]].mean(axis=1)
    grown = springs[["red_maple_leaf", "red_oak_leaf"]].mean(axis=1)
    inside = (springs["modelled"] > bud) & (springs["modelled"] < grown)
    assert inside.sum() >= len(springs) - 1
    late = springs["modelled"] - springs["seen"]
    assert -8.0 < late.mean() < 0.0
    assert late.std() < 4.0


@pytest.mark.parametrize(
    ("slope_deg", "aspect_deg", "ratio"),
    [
        (20.0, 180.0, (0.986, 1.215, 1.673)),
        (20.0, 0.0, (0.915, 0.685, 0.277)),
        (20.0, 90.0, (0.958, 0.964, 0.973)),
        (10.0, 180.0, (1.005, 1.122, 1.354)),
        (10.0, 0.0, (0.970, 0.853, 0.624)),
    ],
)
def test_the_beam_s_way_is_that_of_the_slope(
    slope_deg: float, aspect_deg: float, ratio: tuple[float, ...]
) -> None:
    """Clear-sky sun on a plane over that on the level at 42.5 N, worked apart from this program
    with pvlib's isotropic sky: one over the beam's way through the canopy is its sine on the
    slope, so the same ratios must come from it.
    """
    site = evidence.tilted(samples.NORTH, slope_deg, aspect_deg)
    view, ground = (1 + np.cos(np.radians(slope_deg))) / 2, (1 - np.cos(np.radians(slope_deg))) / 2
    found = []
    for day in CLEAR_DAYS:
        sky = evidence.clear_day(samples.NORTH.latitude, day).iloc[6::12]
        weather = clear_hours(sky)
        stand = below_canopy(weather, canopies()["open"], site)
        way = stand.canopy_path
        square = np.divide(1.0, way, out=np.zeros_like(way), where=way > 0.0)
        plane = weather.beam_normal_w_m2 * square + weather.diffuse_w_m2 * view
        plane = plane + 0.25 * ground * weather.shortwave_w_m2
        found.append(plane.sum() / weather.shortwave_w_m2.sum())
    assert found == pytest.approx(ratio, abs=0.02)


def clear_hours(sky: pd.DataFrame) -> HourlyWeather:
    """A clear day by its mid-hours, of which the stand needs the sun only."""
    flat = np.ones(24)
    return HourlyWeather(
        time=sky.index.tz_localize(None).to_numpy().astype("datetime64[h]"),
        air_temp_c=15.0 * flat,
        vapour_pressure_kpa=flat,
        wind_10m_ms=flat,
        precip_mm=0.0 * flat,
        pressure_hpa=980.0 * flat,
        shortwave_w_m2=sky["ghi"].to_numpy(),
        beam_normal_w_m2=sky["dni"].to_numpy(),
        diffuse_w_m2=sky["dhi"].to_numpy(),
        sun_elevation_deg=sky["elevation"].to_numpy(),
        sun_azimuth_deg=sky["azimuth"].to_numpy(),
        observed=flat > 0.0,
    )


@pytest.mark.parametrize("day", CLEAR_DAYS)
def test_a_canopy_widens_what_aspect_does(day: str) -> None:
    """On a south slope the beam's way through the leaves is shorter, on a north slope longer."""
    sky = evidence.clear_day(42.5, day)
    index = evidence.index_of(canopies()["deciduous"], "value", "off")
    south, level, north = (
        evidence.light_below(sky, index, slope, aspect)[0]
        for slope, aspect in ((20.0, 180.0), (0.0, 180.0), (20.0, 0.0))
    )
    assert north < level
    if day != CLEAR_DAYS[0]:
        assert south > 1.05 * level
