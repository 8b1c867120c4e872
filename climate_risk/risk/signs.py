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
FOLDS = 5
"""Parts of the years, each told by a mass that the other parts chose (our own choice)."""
SIGNS_SHOWN = 2


def signs_of(outlook: Outlook, ends: Outcomes, acts: Sequence[Act], limit: float) -> list[Sign]:
    """Signs for a stack under what is planned for it; a mass first, once there are pieces."""
    if len(ends.years) < FEWEST_YEARS or outlook.over:
        return []
    lost = ends.lost
    found = None
    if outlook.next_day > outlook.kind.stack.inoculated:
        now, fresh = piece_masses(outlook)
        found = mass_sign(now, now / fresh, lost, limit)
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

    The mass is that of all runs; what is told of its two sides is held out: each run is put on
    its side by the mass that the years of the other folds choose (cross-validation: Stone 1974,
    J. R. Stat. Soc. B 36:111-147, from memory), since a mass chosen on the runs that it is told
    from looks better than it is.  None where some fold finds no mass, a side has too few runs, or
    the two sides cannot be told apart.

    Parameters
    ----------
    mass_kg, of_fresh : (years * draws,) arrays
        Of a piece today, and as a share of what it weighed at inoculation.
    lost : (years, draws) array of 0 and 1

    Returns
    -------
    (mass, share of fresh, chance lighter, chance heavier, runs lighter, runs heavier)
    """
    gone = lost.ravel()
    edge = edge_of(mass_kg, gone, limit)
    is_lighter = held_out_sides(mass_kg, lost, limit)
    if edge is None or is_lighter is None:
        return None
    low, high = gone[is_lighter], gone[~is_lighter]
    if min(low.size, high.size) < FEWEST_ON_A_SIDE:
        return None
    error = np.hypot(low.std() / np.sqrt(low.size), high.std() / np.sqrt(high.size))
    is_split = high.mean() <= limit < low.mean()
    if not is_split or low.mean() - high.mean() < SURE_SIDES * error:
        return None
    share = float(np.interp(edge, np.sort(mass_kg), of_fresh[np.argsort(mass_kg)]))
    return edge, share, float(low.mean()), float(high.mean()), low.size, high.size


def edge_of(mass_kg: FloatArray, lost: FloatArray, limit: float) -> float | None:
    """Mass below which the best fit that never rises with mass lies above the tolerance.

    Isotonic regression (Barlow and others 1972; from memory); None where it crosses nowhere.
    """
    from scipy.optimize import isotonic_regression

    order = np.argsort(mass_kg, kind="stable")
    fitted = isotonic_regression(lost[order], increasing=False).x
    lighter = int((fitted > limit).sum())
    if not 0 < lighter < fitted.size:
        return None
    return float(mass_kg[order][lighter - 1 : lighter + 1].mean())


def held_out_sides(
    mass_kg: FloatArray, lost: FloatArray, limit: float
) -> npt.NDArray[np.bool_] | None:
    """(years * draws,) whether a run is lighter than the mass that other years' runs choose."""
    fold = np.repeat(np.arange(len(lost)) % FOLDS, lost.shape[1])
    is_lighter = np.zeros(lost.size, dtype=np.bool_)
    for own in range(FOLDS):
        is_own = fold == own
        edge = edge_of(mass_kg[~is_own], lost.ravel()[~is_own], limit)
        if edge is None:
            return None
        is_lighter[is_own] = mass_kg[is_own] < edge
    return is_lighter


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
