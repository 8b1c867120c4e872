"""How much of the doubt is the weather's, how much the model's, and which unknowns lead it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from climate_risk.risk.chance import KILLED_BY_HEAT
from climate_risk.risk.results import Leader, Uncertainty

if TYPE_CHECKING:
    from climate_risk.risk.ensemble import Ends
    from climate_risk.risk.season import Outlook

FloatArray = npt.NDArray[np.float64]

LEADERS = 3
SCREEN_DRAWS = 95
"""With the reference run they fill whole blocks."""
SCREEN_YEARS = 3
"""A dry, a middling and a wet one of the past years, by how dry the stack's faces got."""


def split_variance(values: FloatArray) -> tuple[float, float, float]:
    """Shares of variance of (years, draws) values: by year, by draw, and neither alone.

    Two-way analysis of variance without replication (Fisher 1925; any textbook): the variance
    of year means, of draw means, and the rest, over the whole.
    """
    whole = float(values.var())
    if whole == 0.0:
        return 0.0, 0.0, 0.0
    by_year = float(values.mean(axis=1).var()) / whole
    by_draw = float(values.mean(axis=0).var()) / whole
    return by_year, by_draw, max(0.0, 1.0 - by_year - by_draw)


def rank_correlation(x: FloatArray, y: FloatArray) -> float:
    """Spearman's rank correlation of two samples without ties to speak of."""
    ranks = [np.argsort(np.argsort(v)).astype(np.float64) for v in (x, y)]
    if y.std() == 0.0:
        return 0.0
    return float(np.corrcoef(*ranks)[0, 1])


def uncertainty(outlook: Outlook, ends: Ends, screen: Outlook) -> Uncertainty:
    """Split of the doubt about a stack's outcome, and the unknowns that lead the model's part.

    Parameters
    ----------
    outlook, ends
        The stack as it stands and how its runs ended, years crossed with draws.
    screen : Outlook
        The same stack with :data:`SCREEN_DRAWS` draws.
    """
    lost = (ends.outcomes >= KILLED_BY_HEAT).astype(np.float64)
    decides = bool(0.0 < lost.mean() < 1.0)
    weather, model, both = split_variance(lost if decides else ends.moisture_driest_face_pct)
    dryness = ends.moisture_driest_face_pct.mean(axis=1)
    order = np.argsort(dryness)
    places = np.linspace(0.15, 0.85, SCREEN_YEARS) * (len(order) - 1)
    picks = order[np.round(places).astype(np.int64)]
    years = tuple(dict.fromkeys(ends.years[n] for n in picks))
    chosen = replace(screen, years=years)
    _, screened = chosen.carry_on(outlook.scheme)
    moisture = screened.moisture_driest_face_pct.mean(axis=0)
    quantiles = np.concatenate([b.quantiles for b in chosen.seen])[1 : chosen.draws + 1]
    names = list(outlook.kind.rows(outlook.scheme).unknowns())
    strength = [rank_correlation(quantiles[:, n], moisture) for n in range(len(names))]
    leading = sorted(range(len(names)), key=lambda n: -abs(strength[n]))[:LEADERS]
    return Uncertainty(
        of_loss=decides,
        weather_share=weather,
        model_share=model,
        joint_share=both,
        leaders=tuple(Leader(unknown=names[n], correlation=strength[n]) for n in leading),
        screen_draws=chosen.draws,
        screen_years=years,
    )
