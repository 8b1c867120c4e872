"""What to observe on a stack today that would change the advice, read off its own runs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine import hours as k
from climate_risk.interventions import Act
from climate_risk.log.state import dry_mass_kg
from climate_risk.risk.advice import Sign
from climate_risk.risk.certainty import FEWEST_RUNS, SURE_APART, outer_thirds
from climate_risk.risk.chance import FEWEST_YEARS
from climate_risk.risk.ensemble import Outcomes
from climate_risk.risk.outlook import Outlook

FloatArray = npt.NDArray[np.float64]

FEWEST_ON_A_SIDE = 10
"""Runs lighter or heavier than a mass that is called a sign (our own choice)."""
SURE_SIDES = 2.5
"""Standard errors by which the two sides of a sign must differ."""
SIGNS_SHOWN = 2


def signs_of(outlook: Outlook, ends: Outcomes, acts: Sequence[Act], limit: float) -> list[Sign]:
    """Signs for a stack under what is planned for it; a mass first, once there are pieces."""
    if len(ends.years) < FEWEST_YEARS or outlook.over:
        return []
    lost = ends.lost
    found = None
    if outlook.next_day > outlook.kind.stack.inoculated:
        now, fresh = piece_masses(outlook)
        found = mass_sign(now, now / fresh, lost.ravel(), limit)
    signs = [] if found is None else [_sign(acts, found)]
    return signs + _unknowns(ends, lost, acts, limit)


def piece_masses(outlook: Outlook) -> tuple[FloatArray, FloatArray]:
    """Mass [kg] of a piece of mean moisture, today and at inoculation, of every run drawn."""
    kind = outlook.kind
    daily = np.concatenate([b.daily for b in outlook.seen], axis=-1)
    runs = slice(outlook.references, outlook.references + len(outlook.years) * outlook.draws)
    begins = max(kind.inoculation_hour // HOURS_PER_DAY - 1, 0)
    dry = dry_mass_kg(kind.grid, kind.curves).sum()
    share = kind.grid.piece_length_m / kind.grid.height_m
    water = daily[:, k.D_LOG_WATER, runs]
    return (dry + water[-1]) * share, (dry + water[begins]) * share


def mass_sign(
    mass_kg: FloatArray, of_fresh: FloatArray, lost: FloatArray, limit: float
) -> tuple[float, float, float, float, int, int] | None:
    """The mass of a piece at which the chance of loss crosses the tolerance.

    Chance over mass by the best fit that never rises with mass (isotonic regression: Barlow and
    others 1972; from memory).  None where it crosses nowhere, a side has too few runs, or the
    two sides cannot be told apart.

    Returns
    -------
    (mass, share of fresh, chance lighter, chance heavier, runs lighter, runs heavier)
    """
    from scipy.optimize import isotonic_regression

    order = np.argsort(mass_kg, kind="stable")
    sorted_mass, sorted_lost = mass_kg[order], lost[order]
    fitted = isotonic_regression(sorted_lost, increasing=False).x
    lighter = int((fitted > limit).sum())
    heavier = fitted.size - lighter
    if min(lighter, heavier) < FEWEST_ON_A_SIDE:
        return None
    low, high = sorted_lost[:lighter], sorted_lost[lighter:]
    error = np.hypot(low.std() / np.sqrt(lighter), high.std() / np.sqrt(heavier))
    is_split = high.mean() <= limit < low.mean()
    if not is_split or low.mean() - high.mean() < SURE_SIDES * error:
        return None
    edge = float(sorted_mass[lighter - 1 : lighter + 1].mean())
    share = float(of_fresh[order][lighter - 1 : lighter + 1].mean())
    return edge, share, float(low.mean()), float(high.mean()), lighter, heavier


def _sign(acts: Sequence[Act], found: tuple[float, float, float, float, int, int]) -> Sign:
    mass, share, low, high, lighter, heavier = found
    return Sign(
        acts=tuple(acts),
        mass_kg=mass,
        mass_of_fresh=share,
        where_low=low,
        where_high=high,
        runs=(lighter, heavier),
    )


def _unknowns(ends: Outcomes, lost: FloatArray, acts: Sequence[Act], limit: float) -> list[Sign]:
    """Unmeasured numbers at whose two ends the chance lies on different sides of the limit."""
    if lost.size < FEWEST_RUNS:
        return []
    found = []
    for name, thirds in outer_thirds(ends, lost):
        low, high = float(thirds[0, 0]), float(thirds[1, 0])
        apart = abs(high - low)
        sure = apart > SURE_APART * float(np.hypot(thirds[0, 1], thirds[1, 1]))
        if sure and (low > limit) != (high > limit):
            third = lost.size // 3
            found.append((apart, Sign(acts=tuple(acts), unknown=name, where_low=low,
                                      where_high=high, runs=(third, third))))  # fmt: skip
    found.sort(key=lambda pair: -pair[0])
    return [sign for _, sign in found[:SIGNS_SHOWN]]
