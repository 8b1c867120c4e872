"""Draws weighed by how well they meet what was measured: importance weights, tempered.

Under draw ``s`` a set of readings ``y`` is Gaussian about what the draw says,
``y ~ N(m_s, C_s)``: reading error, the model's own error and, of a weighed piece, the oven-dry
mass that nobody knows, all in ``C_s``.  A draw's weight is its likelihood to a power of at most
1; a power below 1 keeps enough draws in play (tempering: Neal 2001, Statistics and Computing
11:125-139; effective size: Kong, Liu and Wong 1994, J. Am. Stat. Assoc. 89:278-288; both from
memory).  A reading is judged by what draws weighed by the *other* readings say of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from climate_risk.risk.weighed_piece import Fit, Piece, weighted_quantiles

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

LEAST_EFFECTIVE = 50.0
"""Draws that must still count after weighing (our own choice)."""
UNLIKE = 1e-3
"""A reading this improbable by all the others is left out."""
MOST_LEFT_OUT = 0.25
"""Of the readings; where more differ it is not they that are wrong."""
FOLDS = 10
SEED = 90_210


def weights_of(log_likelihood: FloatArray, power: float) -> FloatArray:
    """(draws,) normalized weights."""
    scaled = power * (log_likelihood - log_likelihood.max())
    weights = np.exp(scaled)
    return np.asarray(weights / weights.sum())


def effective_size(weights: FloatArray) -> float:
    """Draws that count, ``1 / sum w^2``."""
    return float(1.0 / (weights**2).sum())


def tempered(log_likelihood: FloatArray, least: float = LEAST_EFFECTIVE) -> float:
    """The greatest power of the likelihood, at most 1, that leaves enough draws in play."""
    least = min(least, 0.5 * log_likelihood.size)
    if effective_size(weights_of(log_likelihood, 1.0)) >= least:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        enough = effective_size(weights_of(log_likelihood, middle)) >= least
        low, high = (middle, high) if enough else (low, middle)
    return low


def improbable(found: Fit, observed: FloatArray, other: FloatArray) -> FloatArray:
    """(readings,) how improbable each reading is by all the others, both tails together.

    Parameters
    ----------
    other : (draws,) array
        Log-likelihood of other sets of readings.
    """
    from scipy.special import ndtr

    whole = found.log_likelihood + other
    power = tempered(whole)
    without = whole[:, None] - found.held_log_density(observed)
    share = np.empty(observed.size)
    for place in range(observed.size):
        weights = weights_of(without[:, place], power)
        below = ndtr((observed[place] - found.held_mean[:, place]) / found.held_sd[:, place])
        share[place] = float(weights @ below)
    return np.asarray(2.0 * np.minimum(share, 1.0 - share))


def keep_likely(piece: Piece, other: FloatArray) -> BoolArray:
    """(weighings,) which to keep: the most improbable goes, one at a time, a quarter at most."""
    kept = np.ones(piece.days.size, dtype=np.bool_)
    most = int(MOST_LEFT_OUT * piece.days.size)
    while True:
        part = piece.only(kept)
        chances = improbable(part.fit(), part.mass_kg, other)
        if chances.min() >= UNLIKE:
            return kept
        if most == 0:
            return np.ones_like(kept)
        kept[np.flatnonzero(kept)[int(chances.argmin())]] = False
        most -= 1


def held_out_errors(
    piece: Piece, other: FloatArray, power: float
) -> tuple[FloatArray, FloatArray]:
    """(weighings,) error [kg] of the mass that the rest foretell, before and after weighing draws.

    Weighings are held out in turn, in runs of days; both ways the rest give the oven-dry mass.
    """
    order = np.argsort(piece.days)
    before, after = np.empty(order.size), np.empty(order.size)
    for held in np.array_split(order, min(FOLDS, order.size)):
        rest, wanted = piece.only(np.setdiff1d(order, held)), piece.only(held)
        foretold = rest.mass_on(wanted.days, wanted.moisture).mean
        weights = weights_of(rest.fit().log_likelihood + other, power)
        before[held] = foretold.mean(axis=0) - piece.mass_kg[held]
        after[held] = weights @ foretold - piece.mass_kg[held]
    return before, after


FEWEST_TO_HOLD_OUT = 3


@dataclass(frozen=True, kw_only=True)
class Judged:
    """Draws weighed by one piece's weighings, the bad ones left out, and the test of it."""

    kept: BoolArray
    """(weighings,)"""
    used: bool
    """Whether the weighings help; if not, only the disc and other readings count."""
    piece: Piece
    """With the weighings that count."""
    power: float
    """Of the likelihood."""
    weights: FloatArray
    """(draws,)"""
    held_before_kg: float
    """Root mean square error of held-out weighings; nan with fewer than three."""
    held_after_kg: float


def is_clearly_worse(before: FloatArray, after: FloatArray) -> bool:
    """Whether squared errors have grown by more than the standard error of their mean growth."""
    growth = after**2 - before**2
    return bool(growth.mean() > growth.std(ddof=1) / np.sqrt(growth.size))


def judge(piece: Piece, other: FloatArray) -> Judged:
    """Weigh draws by a piece's weighings and by the log-likelihood of other readings.

    Where weighings held out are foretold clearly worse by draws so weighed, the weighings are
    set aside: the numbers would have been fitted to noise.
    """
    kept = keep_likely(piece, other)
    counted = piece.only(kept)
    whole = other + counted.fit().log_likelihood
    power = tempered(whole)
    before, after, used = float("nan"), float("nan"), True
    if kept.sum() >= FEWEST_TO_HOLD_OUT:
        errors = held_out_errors(counted, other, power)
        before, after = (float(np.sqrt(np.mean(e**2))) for e in errors)
        used = not is_clearly_worse(*errors)
    if not used:
        counted = piece.only(np.zeros_like(kept))
        whole = other + counted.fit().log_likelihood
        power = tempered(whole)
    return Judged(
        kept=kept,
        used=used,
        piece=counted,
        power=power,
        weights=weights_of(whole, power),
        held_before_kg=before,
        held_after_kg=after,
    )


def level_covariance(count: int, each: float, alike: float) -> FloatArray:
    """(1, count, count) of readings that err one by one and all alike."""
    return np.asarray((each**2 * np.eye(count) + alike**2)[None])


def pick(weights: FloatArray, count: int) -> IntArray:
    """Draws taken by their weights, evenly spaced, in random order (systematic resampling)."""
    rng = np.random.default_rng(SEED)
    places = (np.arange(count) + rng.uniform()) / count
    taken = np.searchsorted(np.cumsum(weights), places).clip(max=weights.size - 1)
    return np.asarray(rng.permutation(taken), dtype=np.int64)


@dataclass(frozen=True, kw_only=True)
class Posterior:
    """Draws of the unknowns weighed by readings."""

    names: tuple[str, ...]
    quantiles: FloatArray
    """(draws, unknowns) where in its range each unknown was drawn."""
    weights: FloatArray
    """(draws,)"""

    def drawn(self, prior: FloatArray, *, own_stand: bool) -> FloatArray:
        """Draws taken by their weights, in place of as many draws of the whole ranges.

        What the readings cannot feel keeps its own draws: the fungus, which is not in a piece of
        fresh wood, and for another stand the density of its crowns.
        """
        taken = self.quantiles[pick(self.weights, len(prior))]
        apart = ("fungus.",) if own_stand else ("fungus.", "canopy.")
        keep = np.array([name.startswith(apart) for name in self.names])
        return np.where(keep, prior, taken)

    def middle(self) -> FloatArray:
        """(1, unknowns) the median of each unknown; the best estimate of what was not felt."""
        middle = weighted_quantiles(self.quantiles, self.weights, (0.5,))
        keep = np.array([name.startswith("fungus.") for name in self.names])
        return np.where(keep, 0.5, middle)
