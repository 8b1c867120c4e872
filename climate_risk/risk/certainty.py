"""Two voices: which option is better, as far as that holds, and how sure the level is.

Options run under the same years and the same draws, so that they are compared pair by pair.  A
difference that changes its sign within the range of one unmeasured number is a tie until that
number is known; the level of a chance is told with what it would be at either end of the number
that moves it most.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from climate_risk.risk.chance import FEWEST_YEARS, bootstrap_years
from climate_risk.risk.ensemble import Outcomes
from climate_risk.risk.results import Difference, Level

FloatArray = npt.NDArray[np.float64]

FEWEST_RUNS = 90
"""Fewer runs than this leave too few in a third to tell one end of a range from the other."""
SURE_APART = 3.4
"""Standard errors by which the ends of a range must differ: some seventy unknowns are looked at,
and with this the chance that any passes by luck is about 5 %."""
SURE_SIGN = 2.5
"""Standard errors by which both ends must lie off nought, on either side."""


def outer_thirds(outcomes: Outcomes, values: FloatArray) -> Iterator[tuple[str, FloatArray]]:
    """For each unknown, means of ``values`` where it is low and where it is high.

    Parameters
    ----------
    values : (years, draws) array

    Yields
    ------
    name : str
    ends : (2, 2) array
        Mean and its standard error, low third and high third.
    """
    flat = values.ravel()
    for place, name in enumerate(outcomes.unknowns):
        drawn = outcomes.quantiles[:, place]
        ends = []
        for third in (flat[drawn < 1.0 / 3.0], flat[drawn > 2.0 / 3.0]):
            error = third.std() / np.sqrt(max(third.size, 1))
            ends.append((third.mean() if third.size else 0.0, error))
        yield name, np.array(ends)


def level_of(outcomes: Outcomes) -> Level | None:
    """What the chance of loss would be at either end of the number that moves it most.

    Returns
    -------
    Level or None
        None with too few years or runs, or where no number moves it beyond chance.
    """
    years = outcomes.outcomes.shape[0]
    if years < FEWEST_YEARS or outcomes.outcomes.size < FEWEST_RUNS:
        return None
    lost = outcomes.lost
    best: tuple[float, str, FloatArray] | None = None
    for name, ends in outer_thirds(outcomes, lost):
        apart = abs(ends[1, 0] - ends[0, 0])
        sure = apart > SURE_APART * float(np.hypot(ends[0, 1], ends[1, 1]))
        if sure and (best is None or apart > best[0]):
            best = (apart, name, ends)
    if best is None:
        return None
    _, name, ends = best
    return Level(unknown=name, where_low=float(ends[0, 0]), where_high=float(ends[1, 0]))


def difference(outcomes: Outcomes, first: Outcomes) -> Difference | None:
    """An option's chance of loss less that of the first, by year and draw.

    Where neither ever loses a stack, the sign of what separates them is taken from the moisture
    at the driest face instead.

    Returns
    -------
    Difference or None
        None with too few years.
    """
    if outcomes.outcomes.shape[0] < FEWEST_YEARS:
        return None
    lost, of_first = outcomes.lost, first.lost
    apart = lost - of_first
    low, high = bootstrap_years(apart.mean(axis=1))
    values = apart
    if not (lost.any() or of_first.any()):
        values = first.moisture_driest_face_pct - outcomes.moisture_driest_face_pct
    return Difference(
        mean=float(apart.mean()), low=low, high=high, turns_on=turning_unknown(outcomes, values)
    )


def turning_unknown(outcomes: Outcomes, values: FloatArray) -> str | None:
    """The unknown within whose range a paired difference changes its sign; None if none does."""
    if outcomes.outcomes.size < FEWEST_RUNS:
        return None
    found: tuple[float, str] | None = None
    for name, ends in outer_thirds(outcomes, values):
        sure = np.abs(ends[:, 0]) > SURE_SIGN * ends[:, 1]
        turns = ends[0, 0] * ends[1, 0] < 0.0 and bool(sure.all())
        weaker = float(np.abs(ends[:, 0]).min())
        if turns and (found is None or weaker > found[0]):
            found = (weaker, name)
    return None if found is None else found[1]
