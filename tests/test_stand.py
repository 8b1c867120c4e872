"""From the open station into a stand: air, wind, rain, long-wave, and the sun on a slope."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.microclimate.canopy import (
    LEAF_LONGWAVE_FACTOR,
    diffuse_transmittance,
    index_of_transmittance,
)
from climate_risk.microclimate.stand import StandWeather, below_canopy
from climate_risk.site import Site
from climate_risk.tables import canopies
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa
from climate_risk.weather.record import HourlyWeather

SLOPE_12_PERCENT_DEG = float(np.degrees(np.arctan(0.12)))
FloatArray = npt.NDArray[np.float64]


@pytest.fixture(scope="module")
def year() -> HourlyWeather:
    return samples.hours_of(samples.daily_table("2021-01-01", "2021-12-31"), samples.NORTH)


@pytest.fixture(scope="module")
def stands(year: HourlyWeather) -> dict[str, StandWeather]:
    return {name: below_canopy(year, row, samples.NORTH) for name, row in canopies().items()}


def clear_day_mj_m2() -> float:
    """Rso of FAO-56 eq. 37 on 1 July at the place of the samples."""
    from climate_risk.weather.sun import extraterrestrial_mj_m2

    outside = extraterrestrial_mj_m2(samples.NORTH.latitude, np.array([182.0]))[0]
    return (0.75 + 2e-5 * samples.NORTH.elevation_m) * float(outside)


@pytest.mark.parametrize(
    ("sky_view", "longwave"), [(1.0, 328.9), (0.5, 369.7), (0.1, 402.2), (0.05, 406.3)]
)
def test_long_wave_from_sky_and_canopy(sky_view: float, longwave: float) -> None:
    """20 degC, 1.2 kPa, clear: by hand from Brutsaert 1975 and leaves of emissivity 0.98 at air
    temperature, a share of each by sky view (form of Essery et al. 2008, Hydrol. Process.
    22:2788-2800).  The canopy is nearly black: 0.98 of the 418.7 W/m2 of a black body.
    """
    index = index_of_transmittance(sky_view) / LEAF_LONGWAVE_FACTOR
    canopy = samples.with_transmittance(canopies()["open"], float(diffuse_transmittance(index)))
    weather = samples.steady_weather(20.0, 1.2, shortwave_mj_m2=clear_day_mj_m2())
    stand = below_canopy(weather, canopy, samples.NORTH)
    assert stand.longwave_w_m2 == pytest.approx(longwave, abs=0.3)


def test_vapour_is_kept_so_that_air_below_a_canopy_is_damper(
    year: HourlyWeather, stands: dict[str, StandWeather]
) -> None:
    below = stands["conifer"]
    room = saturation_vapour_pressure_kpa(below.air_temp_c)
    assert below.vapour_pressure_kpa == pytest.approx(np.minimum(year.vapour_pressure_kpa, room))
    afternoon = slice(14, None, 24)
    open_lack = (saturation_vapour_pressure_kpa(year.air_temp_c) - year.vapour_pressure_kpa)[
        afternoon
    ]
    assert np.all((room - below.vapour_pressure_kpa)[afternoon] <= open_lack)
    assert np.all(below.vapour_pressure_kpa <= room + 1e-12)


def test_wind_falls_to_the_ratio_of_the_stand(
    year: HourlyWeather, stands: dict[str, StandWeather]
) -> None:
    """0.48 in the open at half a metre (log law, 0.03 m rough), 0.08 below hemlock (Albini and
    Baughman 1979, from memory); never under 0.1 m/s.
    """
    for name, ratio in (("open", 0.48), ("conifer", 0.08)):
        expected = np.maximum(ratio * year.wind_10m_ms, 0.1)
        assert stands[name].wind_ms == pytest.approx(expected)


def test_a_small_shower_does_not_reach_a_log_below_conifers() -> None:
    """A storm of 2 mm leaves a tenth of itself, one of 20 mm three quarters (by hand, store
    2 mm, free share 0.1); its hours keep their shape.
    """
    weather = samples.steady_weather(15.0, 1.0, days=2)
    rain = np.zeros(48)
    rain[14:16] = 1.0
    rain[24:44] = 1.0
    below = below_canopy(replace(weather, precip_mm=rain), canopies()["conifer"], samples.NORTH)
    assert below.rain_mm[:24].sum() == pytest.approx(0.2, abs=0.01)
    assert below.rain_mm[24:].sum() == pytest.approx(15.3, abs=0.1)
    assert np.flatnonzero(below.rain_mm).tolist() == np.flatnonzero(rain).tolist()


def test_ground_follows_the_air_late_and_damped(stands: dict[str, StandWeather]) -> None:
    stand = stands["open"]
    air, ground = stand.air_temp_c, stand.ground_temp_c
    assert np.ptp(ground[-240:]) < 0.6 * np.ptp(air[-240:])
    assert ground.mean() == pytest.approx(air.mean(), abs=0.5)
    steady = below_canopy(
        samples.steady_weather(12.0, 1.0, days=3), canopies()["open"], samples.NORTH
    )
    assert steady.ground_temp_c == pytest.approx(12.0)


def test_summer_days_are_cooler_below_every_canopy_but_the_open_sky(
    year: HourlyWeather, stands: dict[str, StandWeather]
) -> None:
    july = slice(181 * 24, 212 * 24)
    open_max = year.air_temp_c[july].reshape(-1, 24).max(axis=1)
    for name, stand in stands.items():
        drop = stand.air_temp_c[july].reshape(-1, 24).max(axis=1) - open_max
        assert np.all(drop <= 0.0)
        assert np.all(drop < -1.0) == (name != "open")


def test_hardwoods_are_open_in_spring_and_dark_in_summer(stands: dict[str, StandWeather]) -> None:
    index = stands["deciduous"].canopy_index
    april, july = index[100 * 24], index[195 * 24]
    assert float(diffuse_transmittance(april)) == pytest.approx(0.5, abs=0.01)
    assert float(diffuse_transmittance(july)) == pytest.approx(0.06, abs=0.01)
    assert np.ptp(stands["conifer"].canopy_index) == pytest.approx(0.0)


def beam_below(weather: HourlyWeather, site: Site, month: int) -> float:
    """Beam on the level below bare hardwoods, sum of a month."""
    stand = below_canopy(weather, canopies()["deciduous"], site)
    chosen = pd.DatetimeIndex(weather.time).month == month
    share = np.where(stand.canopy_path > 0.0, np.exp(-0.419 * stand.canopy_path), 0.0)
    return float((weather.beam_normal_w_m2 * stand.sun_sine * share)[chosen].sum())


def test_a_south_slope_gets_more_winter_sun_through_its_trees_than_a_north_slope(
    year: HourlyWeather,
) -> None:
    """A 12 % slope; on the level lies between.  In summer the aspect hardly matters: under 9 %
    between slopes of 20 degrees (pvlib, clear sky at 42.5 N, turbidity 3).
    """
    south = replace(samples.NORTH, slope_deg=SLOPE_12_PERCENT_DEG, aspect_deg=180.0)
    north = replace(south, aspect_deg=0.0)
    winter = [beam_below(year, s, 12) for s in (north, samples.NORTH, south)]
    assert winter[0] < winter[1] < winter[2]
    assert winter[2] > 1.15 * winter[0]
    summer = [beam_below(year, s, 6) for s in (north, south)]
    assert summer[1] / summer[0] == pytest.approx(1.0, abs=0.09)


def test_a_steep_slope_hides_the_low_sun_of_winter_noon(year: HourlyWeather) -> None:
    """24 degrees high at noon in December at 42.5 N: behind a north slope of 30 degrees."""
    noon = 354 * 24 + 11
    assert year.sun_elevation_deg[noon] == pytest.approx(24.0, abs=0.6)
    north = replace(samples.NORTH, slope_deg=30.0, aspect_deg=0.0)
    hidden = below_canopy(year, canopies()["open"], north)
    seen = below_canopy(year, canopies()["open"], replace(north, aspect_deg=180.0))
    assert hidden.sun_sine[noon] == 0.0
    assert hidden.sun_cosine[noon] == 0.0
    assert seen.sun_sine[noon] == pytest.approx(np.sin(np.radians(24.0)), abs=0.01)
    assert seen.canopy_path[noon] == pytest.approx(1.0 / np.sin(np.radians(24.0 + 30.0)), rel=0.02)


def test_on_the_level_the_way_is_one_over_the_sine(
    year: HourlyWeather, stands: dict[str, StandWeather]
) -> None:
    up = year.sun_elevation_deg > 2.0
    sine = np.sin(np.radians(year.sun_elevation_deg[up]))
    assert stands["open"].canopy_path[up] == pytest.approx(1.0 / sine)
    assert np.all(stands["open"].canopy_path[year.sun_elevation_deg < 0.0] == 0.0)


def test_conifers_keep_more_spring_sun_off_than_hardwoods(
    year: HourlyWeather, stands: dict[str, StandWeather]
) -> None:
    """Common advice of extension sheets: evergreens shade in the weeks before leaves are out;
    once they are out the difference is small.
    """

    def through(name: str, month: int) -> float:
        stand = stands[name]
        chosen = pd.DatetimeIndex(year.time).month == month
        share = diffuse_transmittance(stand.canopy_index)
        sky = float((share * stand.diffuse_w_m2)[chosen].sum())
        return sky / float(stand.diffuse_w_m2[chosen].sum())

    assert through("deciduous", 4) > 10.0 * through("conifer", 4)
    assert through("deciduous", 7) < through("conifer", 7) + 0.04


@pytest.mark.parametrize("name", ["deciduous", "pine", "mixed", "conifer"])
def test_a_stand_of_gaps_alone_is_the_open(year: HourlyWeather, name: str) -> None:
    """And one of half gaps lies half-way in wind and rain, between in air and long-wave."""
    closed, half, gaps = (
        below_canopy(year, canopies()[name], samples.NORTH, openness) for openness in (0, 0.5, 1)
    )
    free = below_canopy(year, canopies()["open"], samples.NORTH)
    for quantity in ("air_temp_c", "vapour_pressure_kpa", "wind_ms", "longwave_w_m2", "rain_mm"):
        np.testing.assert_allclose(getattr(gaps, quantity), getattr(free, quantity), rtol=1e-12)
    np.testing.assert_allclose(half.rain_mm, 0.5 * (closed.rain_mm + free.rain_mm), rtol=1e-12)
    at_noon = slice(12, None, 24)
    summer = slice(180, 240)
    noons = [s.air_temp_c[at_noon][summer].mean() for s in (closed, half, free)]
    assert noons == sorted(noons)
    assert noons[0] < noons[2]
