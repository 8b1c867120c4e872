"""How much uncertainty is the weather's, how much the model's, and which unknowns lead it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from climate_risk.risk.chance import FEWEST_YEARS
from climate_risk.risk.ensemble import Outcomes
from climate_risk.risk.outlook import Outlook
from climate_risk.risk.results import Leader, Uncertainty

FloatArray = npt.NDArray[np.float64]

LEADERS = 3
FEWEST_RUNS = 48
"""Fewer runs than this cannot tell one unknown from another."""


def split_variance(values: FloatArray) -> tuple[float, float]:
    """Shares of the variance of (years, draws) values that weather and model bring, sum 1.

    One-way analysis of variance with random effects (Searle, Casella and McCulloch 1992,
    ch. 3; from memory): what draws of one year differ by is the model's, and what year means
    differ by beyond that is the weather's.  0, 0 where nothing differs.
    """
    draws = values.shape[1]
    model = float(values.var(axis=1, ddof=1).mean())
    weather = max(0.0, float(values.mean(axis=1).var(ddof=1)) - model / draws)
    whole = weather + model
    return (weather / whole, model / whole) if whole > 0.0 else (0.0, 0.0)


def rank_correlation(x: FloatArray, y: FloatArray) -> float:
    """Spearman's rank correlation of two samples without ties to speak of."""
    if x.std() == 0.0 or y.std() == 0.0:
        return 0.0
    first, second = (np.argsort(np.argsort(v)).astype(np.float64) for v in (x, y))
    return float(np.corrcoef(first, second)[0, 1])


def uncertainty(outlook: Outlook, ends: Outcomes) -> Uncertainty | None:
    """Split of the uncertainty about a stack's outcome, and the unknowns that lead the model's.

    Parameters
    ----------
    outlook, ends
        The stack as it stands and how its runs ended; each year has draws of its own.

    Returns
    -------
    Uncertainty or None
        None with too few years, or one draw a year.
    """
    years, draws = ends.outcomes.shape
    if years < FEWEST_YEARS or draws < 2 or years * draws < FEWEST_RUNS:
        return None
    lost = ends.lost
    decides = bool(0.0 < lost.mean() < 1.0)
    driest = ends.moisture_driest_face_pct
    weather, model = split_variance(lost if decides else driest)
    quantiles = np.concatenate([b.quantiles for b in outlook.seen])[outlook.references :]
    quantiles = quantiles[: years * draws]
    # The unknowns are ranked within years, so that the years' own differences add no noise.
    within = (driest - driest.mean(axis=1, keepdims=True)).ravel()
    names = list(outlook.kind.parameter_set(outlook.scheme).unknowns())
    strength = [rank_correlation(quantiles[:, n], within) for n in range(len(names))]
    leading = sorted(range(len(names)), key=lambda n: -abs(strength[n]))[:LEADERS]
    return Uncertainty(
        of_loss=decides,
        weather_share=weather,
        model_share=model,
        leaders=tuple(Leader(unknown=names[n], correlation=strength[n]) for n in leading),
        runs=years * draws,
    )
