"""What to weigh today: the mass that parts lost from kept, told by runs that did not choose it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from climate_risk.risk.signs import edge_of, held_out_sides, mass_sign

FloatArray = npt.NDArray[np.float64]

LIMIT = 0.10
YEARS, DRAWS = 30, 10


def trial(
    rng: np.random.Generator, chance_heavy: float, chance_light: float
) -> tuple[FloatArray, FloatArray]:
    """Pieces of 1 to 300 kg in turn, and which are lost, with one chance under 120 kg."""
    mass = rng.permutation(np.arange(1.0, YEARS * DRAWS + 1.0))
    share = np.where(mass < 120.0, chance_light, chance_heavy)
    return mass, (rng.random(mass.size) < share).astype(float).reshape(YEARS, DRAWS)


def test_the_mass_that_parts_lost_from_kept() -> None:
    """Of pieces under 120 kg nine in ten are lost, above one in fifty; where all are alike, or
    the limit lies beyond both, there is no such mass.
    """
    mass, gone = trial(np.random.default_rng(3), 0.02, 0.9)
    found = mass_sign(mass, mass / 300.0, gone, LIMIT)
    assert found is not None
    edge, of_fresh, low, high, lighter, heavier = found
    assert edge == pytest.approx(120.0, abs=4.0)
    assert of_fresh == pytest.approx(edge / 300.0)
    assert low == pytest.approx(gone.ravel()[mass < edge].mean(), abs=0.05)
    assert high == pytest.approx(gone.ravel()[mass > edge].mean(), abs=0.02)
    assert lighter + heavier == 300
    assert high <= LIMIT < low
    assert mass_sign(mass, mass, np.zeros_like(gone), LIMIT) is None
    assert mass_sign(mass, mass, np.ones_like(gone), LIMIT) is None
    assert mass_sign(mass, mass, gone, 0.99) is None


def test_a_mass_that_tells_nothing_shows_no_sides() -> None:
    """All pieces alike, one in ten lost: over many trials the two sides do not differ, where the
    best split of each trial's own runs would part them by many points.
    """
    rng = np.random.default_rng(5)
    apart, signs = [], 0
    for _ in range(120):
        mass, gone = trial(rng, LIMIT, LIMIT)
        signs += mass_sign(mass, mass, gone, LIMIT) is not None
        is_lighter = held_out_sides(mass, gone, LIMIT)
        if is_lighter is not None and 0 < is_lighter.sum() < is_lighter.size:
            lost = gone.ravel()
            apart.append(lost[is_lighter].mean() - lost[~is_lighter].mean())
    assert len(apart) > 60
    assert np.mean(apart) < 2.0 * np.std(apart) / np.sqrt(len(apart))
    assert signs <= 3


def test_what_is_told_of_a_mass_holds_for_runs_never_seen() -> None:
    """A chance that falls evenly with mass: how far the two sides lie apart as told, against new
    runs without number, over many trials.  Told from the runs that chose the mass it is too much.
    """

    def chance(mass: FloatArray) -> FloatArray:
        return 0.25 - 0.25 * mass / 300.0

    rng, every = np.random.default_rng(7), np.linspace(0.0, 300.0, 6001)
    told, naive = [], []
    for _ in range(100):
        mass = rng.uniform(0.0, 300.0, YEARS * DRAWS)
        gone = (rng.random(mass.size) < chance(mass)).astype(float).reshape(YEARS, DRAWS)
        edge, held_out = edge_of(mass, gone.ravel(), LIMIT), held_out_sides(mass, gone, LIMIT)
        assert edge is not None
        assert held_out is not None
        true = chance(every[every < edge]).mean() - chance(every[every >= edge]).mean()
        for found, side in ((told, held_out), (naive, mass < edge)):
            lost = gone.ravel()
            found.append(lost[side].mean() - lost[~side].mean() - true)
    error = np.std(told) / np.sqrt(len(told))
    assert np.mean(told) < 2.0 * error
    assert np.mean(naive) > 4.0 * error
