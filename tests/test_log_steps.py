"""How far a step of an hour is from shorter ones, over a warm season of real forcing."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import finer_steps

STATED_PCT = {
    "stack moisture": (1.0, 4.0),
    "top face moisture": (2.0, 4.0),
    "bark temperature": (0.3, 0.3),
    "core temperature": (0.3, 0.3),
}
"""Root mean square of the day's mean over the season's range: best estimate, worst of the draws.

Moisture in most part from the hour in which a dose of water runs down end grain: what enters
grows with the square root of time, of which one implicit step takes a tenth too little.
"""


def test_a_quarter_of_the_step_changes_a_season_by_no_more_than_stated() -> None:
    """Heat and water together; the twelfth of a step is within a few tenths of the quarter."""
    by_hour, by_quarter = finer_steps.run_season(1), finer_steps.by_steps(4)
    for name, whole, fine in zip(finer_steps.QUANTITIES, by_hour, by_quarter, strict=True):
        apart = (whole - fine).reshape(finer_steps.DAYS, 24, -1).mean(axis=1)
        spread = fine.max(axis=0) - fine.min(axis=0)
        error_pct = 100.0 * np.sqrt((apart**2).mean(axis=0)) / spread
        best, worst = STATED_PCT[name]
        assert error_pct[0] < best, name
        assert error_pct.max() < worst, name
        assert error_pct.max() > 0.0, name
