"""The mycelium's laws one by one, and where in the stack it feels what it feels."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import log_samples
import risk_samples as samples
from fungus_samples import make_stack

from climate_risk.fungus import kernel
from climate_risk.fungus.formulas import (
    drought_kills,
    dry_protection,
    half_kills,
    warmth_of_death,
)
from climate_risk.log.layout import CASES, TEMP


@pytest.mark.parametrize(
    ("moisture", "kills"), [(0.40, 0.0), (0.24, 0.0), (0.195, 1.0), (0.15, 2.0), (0.06, 4.0)]
)
def test_drought_by_hand(moisture: float, kills: float) -> None:
    """Two half-kills in 48 h at 15 %, none from 24 %, in proportion between and below."""
    assert drought_kills(48.0, moisture, 0.24, 0.15, 24.0) == pytest.approx(kills)


def test_dry_wood_dies_sooner_in_the_warmth() -> None:
    """Ten degrees are a factor of q10, by its definition; 20 degC is where times are given."""
    assert warmth_of_death(20.0, 4.0) == pytest.approx(1.0)
    assert warmth_of_death(30.0, 4.0) == pytest.approx(4.0)
    assert warmth_of_death(10.0, 4.0) == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("moisture", "shift_k"), [(0.6, 0.0), (0.30, 0.0), (0.25, 1.5), (0.20, 3.0), (0.05, 3.0)]
)
def test_dry_wood_shields_from_heat(moisture: float, shift_k: float) -> None:
    """By hand: 3 K from 20 % down, none from fibre saturation up (sign: Chidester 1937)."""
    assert dry_protection(moisture, 3.0) == pytest.approx(shift_k)


@pytest.mark.parametrize(("left", "dose"), [(1.0, 0.0), (0.5, 1.0), (0.25, 2.0), (0.0, 60.0)])
def test_a_half_kill_leaves_half(left: float, dose: float) -> None:
    assert half_kills(left) == pytest.approx(dose)


def test_a_front_feels_the_wood_where_it_stands() -> None:
    """A piece warm in its lower half and frozen in its upper: the front from below runs, the one
    from above stands.
    """
    stack = make_stack(samples.make_record("2010-01-01", "2010-12-31"))
    grid = stack.kind.grid
    nr, levels = grid.ring_area_m2.size, grid.interface_level[1]
    for n in range(CASES):
        stack.mycelium[kernel.RIPE_H, :2, n] = 1e6
    stack.a[TEMP] = -5.0
    stack.a[TEMP, : (levels // 2) * nr] = 24.0
    scratch = np.empty((grid.level_m.size, CASES))
    for hour in range(48):
        kernel.run_fronts(
            grid, stack.a, stack.parameters, stack.mycelium, float(hour), 0.9, scratch
        )
    below, above = stack.fronts_m()
    assert np.all(below > 1e-3)
    assert np.all(above == 0.0)


def test_a_face_lies_between_the_middles_of_its_levels() -> None:
    """A quantity in a straight line along the stack is met exactly: cells hold it at their
    middles, and the thinner of two is the nearer.
    """
    grid = log_samples.season_grid(pieces=2)
    middles = grid.level_top_m - 0.5 * grid.level_m
    for interface in (1, 2):
        below, above, weight = kernel.interface_neighbours(grid, interface)
        face_m = grid.level_top_m[below]
        met = (1.0 - weight) * middles[below] + weight * middles[above]
        assert met == pytest.approx(face_m, rel=1e-12)
    uneven = [
        grid.level_m[grid.interface_level[i] - 1] / grid.level_m[grid.interface_level[i]]
        for i in (1, 2)
    ]
    assert max(abs(ratio - 1.0) for ratio in uneven) > 0.1
