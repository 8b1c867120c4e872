"""Light on the side and the top of a stack, through canopy and cloth."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from climate_risk.constants import STEFAN_BOLTZMANN_W_M2K4
from climate_risk.microclimate.canopy import diffuse_table, diffuse_transmittance
from climate_risk.microclimate.radiation import (
    C_CLOTH,
    COVER_COLUMNS,
    L_BEAM_SIDE,
    L_LONGWAVE_SIDE,
    L_LONGWAVE_TOP,
    L_SIDE,
    L_TOP,
    LIGHTS,
    STAND_COLUMNS,
    W_AIR_TEMP,
    W_BEAM,
    W_DIFFUSE,
    W_INDEX,
    W_LONGWAVE,
    W_PATH,
    W_SUN_COSINE,
    W_SUN_SINE,
    R,
    girth_modes,
    light_at_stack,
    sector_basis,
)

FloatArray = npt.NDArray[np.float64]
BLACK_20_C = STEFAN_BOLTZMANN_W_M2K4 * 293.15**4
SECTOR_MIDDLES = np.radians(np.arange(8) * 45.0)


def light(
    *,
    beam: float = 0.0,
    diffuse: float = 0.0,
    elevation_deg: float = 45.0,
    index: float = 0.0,
    cloth: float = 0.0,
    longwave: float = BLACK_20_C,
    **changes: float,
) -> FloatArray:
    """One hour's light at 20 degC by the L_ names; parameters that are not given do nothing."""
    stand = np.zeros((STAND_COLUMNS, 1))
    sine = np.sin(np.radians(elevation_deg))
    stand[W_AIR_TEMP], stand[W_LONGWAVE] = 20.0, longwave
    stand[W_BEAM], stand[W_DIFFUSE] = beam, diffuse
    stand[W_SUN_SINE], stand[W_SUN_COSINE] = sine, np.cos(np.radians(elevation_deg))
    stand[W_INDEX], stand[W_PATH] = index, 1.0 / sine
    cover = np.zeros(COVER_COLUMNS)
    cover[C_CLOTH] = cloth
    parameters = np.zeros((len(R), 1))
    for name, value in ({"canopy_index_factor": 1.0} | changes).items():
        parameters[getattr(R, name)] = value
    out = np.empty((LIGHTS, 1))
    light_at_stack(stand, cover, parameters, diffuse_table(), out)
    return out[:, 0]


@pytest.mark.parametrize(("elevation_deg", "share"), [(20, 0.299), (45, 0.225), (70, 0.109)])
def test_beam_on_the_side_of_a_cylinder(elevation_deg: float, share: float) -> None:
    """A cylinder of radius r and height h stops 2 r h cos(elevation) of the beam and has a side
    of 2 pi r h: cos(elevation) / pi, by hand.
    """
    out = light(beam=1000.0, elevation_deg=elevation_deg)
    assert out[L_SIDE] / 1000.0 == pytest.approx(share, abs=6e-4)
    assert out[L_TOP] == pytest.approx(1000.0 * np.sin(np.radians(elevation_deg)))


def test_the_side_sees_half_of_the_sky_and_half_of_the_ground() -> None:
    out = light(diffuse=200.0, model_ground_albedo=0.2)
    assert out[L_SIDE] == pytest.approx(0.5 * 200.0 + 0.5 * 0.2 * 200.0)
    assert out[L_TOP] == pytest.approx(200.0)


def test_a_sun_behind_the_slope_gives_no_beam() -> None:
    stand = np.zeros((STAND_COLUMNS, 1))
    stand[W_BEAM] = 800.0
    parameters = np.ones((len(R), 1))
    out = np.empty((LIGHTS, 1))
    light_at_stack(stand, np.zeros(COVER_COLUMNS), parameters, diffuse_table(), out)
    assert out[[L_SIDE, L_TOP, L_BEAM_SIDE], 0] == pytest.approx(0.0)


@given(st.floats(0.0, 8.0))
def test_beam_fades_exponentially(way: float) -> None:
    """exp(-way) (Beer's law); a polynomial stands in for it, true to one part in a thousand."""
    out = light(beam=1000.0, elevation_deg=90.0, index=way)
    assert out[L_TOP] == pytest.approx(1000.0 * np.exp(-way), rel=1e-3)


@pytest.mark.parametrize("elevation_deg", [20.0, 40.0, 60.0])
@pytest.mark.parametrize("index", [2.568, 0.419])
def test_beam_below_a_canopy_by_elevation(index: float, elevation_deg: float) -> None:
    sine = np.sin(np.radians(elevation_deg))
    out = light(beam=1000.0, elevation_deg=elevation_deg, index=index)
    assert out[L_BEAM_SIDE] == pytest.approx(
        1000.0 * np.exp(-index / sine) * np.cos(np.radians(elevation_deg)), rel=1e-3, abs=0.4
    )


@given(st.floats(0.0, 3.0), st.floats(0.01, 3.0), st.floats(3.0, 89.0))
def test_a_thicker_canopy_lets_less_light_through(
    index: float, more: float, elevation_deg: float
) -> None:
    thin = light(beam=700.0, diffuse=200.0, elevation_deg=elevation_deg, index=index)
    thick = light(beam=700.0, diffuse=200.0, elevation_deg=elevation_deg, index=index + more)
    assert np.all(thick[[L_SIDE, L_TOP]] < thin[[L_SIDE, L_TOP]])
    assert thick[L_BEAM_SIDE] <= thin[L_BEAM_SIDE]


def test_a_stand_denser_than_its_class_is_that_index() -> None:
    dense = light(beam=700.0, diffuse=200.0, index=1.0, canopy_index_factor=1.3)
    assert dense == pytest.approx(light(beam=700.0, diffuse=200.0, index=1.3))


def test_gaps_let_their_share_through_whole() -> None:
    out = light(diffuse=100.0, index=1.5, openness=0.2)
    assert out[L_TOP] == pytest.approx(100.0 * (0.2 + 0.8 * float(diffuse_transmittance(1.5))))
    whole = light(beam=700.0, diffuse=100.0, index=1.5, openness=1.0)
    assert whole == pytest.approx(light(beam=700.0, diffuse=100.0))


@pytest.mark.parametrize("cloth", [0.3, 0.5, 0.8])
def test_cloth_stops_its_share_of_sun_and_sky(cloth: float) -> None:
    bare = light(beam=700.0, diffuse=200.0)
    below = light(beam=700.0, diffuse=200.0, cloth=cloth)
    assert below[[L_SIDE, L_TOP, L_BEAM_SIDE]] == pytest.approx(
        (1.0 - cloth) * bare[[L_SIDE, L_TOP, L_BEAM_SIDE]]
    )


def test_a_weave_that_differs_from_its_label_is_added_and_held_in_range() -> None:
    assert light(diffuse=200.0, cloth=0.6, cloth_weave_error=0.05)[L_TOP] == pytest.approx(90.0)
    assert light(diffuse=200.0, cloth=0.95, cloth_weave_error=-0.1)[L_TOP] == pytest.approx(0.0)


def test_cloth_scatters_beam_and_loses_none_of_it() -> None:
    plain = light(beam=700.0, cloth=0.5)
    scattered = light(beam=700.0, cloth=0.5, cloth_beam_to_diffuse_share=0.3)
    assert scattered[L_TOP] == pytest.approx(plain[L_TOP])
    assert scattered[L_BEAM_SIDE] == pytest.approx(0.7 * plain[L_BEAM_SIDE])


@pytest.mark.parametrize(("cloth", "warmer_k"), [(0.3, 5), (0.5, 9), (0.7, 12), (0.8, 14)])
def test_cloth_in_the_sun_warms(cloth: float, warmer_k: float) -> None:
    """0.9 x stopped x 800 W/m2 over 2 x (15 + 6) W/m2/K, by hand; felt as long-wave."""
    out = light(
        beam=800.0, elevation_deg=90.0, cloth=cloth, longwave=0.0, cloth_solar_absorptance=0.9
    )
    warmed = (out[L_LONGWAVE_TOP] / cloth / BLACK_20_C - 1.0) * 293.15 / 4.0
    assert warmed == pytest.approx(warmer_k, abs=0.6)


def test_the_side_trades_long_wave_with_sky_and_ground_alike() -> None:
    out = light(longwave=300.0)
    assert out[L_LONGWAVE_TOP] == pytest.approx(300.0)
    assert out[L_LONGWAVE_SIDE] == pytest.approx(0.5 * (300.0 + BLACK_20_C))


def sector_means(azimuth_deg: float) -> FloatArray:
    """Mean of max(cos(angle to the sun), 0) over each of eight sectors, by fine steps."""
    steps = np.radians((np.arange(20_000) + 0.5) / 20_000 * 45.0 - 22.5)
    angle = SECTOR_MIDDLES[:, None] + steps - np.radians(azimuth_deg)
    return np.asarray(np.maximum(np.cos(angle), 0.0).mean(axis=1))


@given(st.floats(0.0, 360.0))
def test_modes_give_back_the_sectors_of_a_lit_cylinder(azimuth_deg: float) -> None:
    modes = girth_modes(np.array([azimuth_deg]))[0]
    lit = 1.0 / np.pi + modes @ sector_basis()
    assert lit == pytest.approx(sector_means(azimuth_deg), abs=1e-6)
    assert lit.mean() == pytest.approx(1.0 / np.pi)


@given(st.floats(0.0, 360.0))
def test_the_third_mode_of_a_lit_cylinder_is_nought(azimuth_deg: float) -> None:
    """max(cos, 0) has no odd harmonic but the first, so five modes say all of eight sectors."""
    assert abs(np.fft.rfft(sector_means(azimuth_deg))[3]) < 1e-6


@pytest.mark.parametrize("azimuth_deg", [0.0, 90.0, 225.0])
def test_the_sector_that_faces_the_sun_gets_most(azimuth_deg: float) -> None:
    lit = girth_modes(np.array([azimuth_deg]))[0] @ sector_basis()
    assert int(np.argmax(lit)) * 45.0 == azimuth_deg
