"""Rival hours: warm, wet and not yet colonized."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from climate_risk.fungus.rivals import DAMP_ACTIVITY, WARM_MAX_C, WARM_MIN_C, rival_hours

shares = st.floats(0.0, 1.0)


@pytest.mark.parametrize(
    ("temp_c", "wet", "activity", "colonized", "hours"),
    [
        (25.0, 1.0, 0.5, 0.0, 1.0),
        (25.0, 0.25, 0.5, 0.0, 0.25),
        (25.0, 1.0, 0.5, 0.75, 0.25),
        (25.0, 0.0, 0.97, 0.5, 0.5),
        (25.0, 0.0, 0.5, 0.0, 0.0),
        (25.0, 1.0, 1.0, 1.0, 0.0),
        (14.9, 1.0, 1.0, 0.0, 0.0),
        (32.1, 1.0, 1.0, 0.0, 0.0),
    ],
)
def test_by_hand(
    temp_c: float, wet: float, activity: float, colonized: float, hours: float
) -> None:
    assert rival_hours(temp_c, wet, activity, colonized) == pytest.approx(hours)


@given(st.floats(-60.0, 90.0), shares, shares, shares)
def test_an_hour_is_an_hour_at_most(
    temp_c: float, wet: float, activity: float, colonized: float
) -> None:
    assert 0.0 <= rival_hours(temp_c, wet, activity, colonized) <= 1.0


@given(st.floats(WARM_MIN_C, WARM_MAX_C), shares, shares, shares, shares)
def test_what_is_claimed_is_safe(
    temp_c: float, wet: float, activity: float, less: float, more: float
) -> None:
    """The further the run, the drier the skin and the drier the air, the fewer rival hours."""
    low, high = sorted((less, more))
    assert rival_hours(temp_c, wet, activity, high) <= rival_hours(temp_c, wet, activity, low)
    dry = min(activity, DAMP_ACTIVITY - 0.01)
    assert rival_hours(temp_c, wet, dry, low) <= rival_hours(temp_c, wet, activity, low) + 1e-12
