"""Draws weighed by how well they meet what was measured: importance weights, tempered.

Under draw ``s`` a set of readings ``y`` is Gaussian about what the draw says,
``y ~ N(m_s, C_s)``: reading error, the model's own error and, of a weighed piece, the oven-dry
mass that nobody knows, all in ``C_s``.  A draw's weight is its likelihood to a power of at most
1; a power below 1 keeps enough draws in play (tempering: Neal 2001, Statistics and Computing
11:125-139; effective size: Kong, Liu and Wong 1994, J. Am. Stat. Assoc. 89:278-288; both from
memory).  A reading is judged by what draws weighed by the *other* readings say of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

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
CHUNK = 128
"""Draws whose covariances are held at a time."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """How draws meet one set of readings; arrays of shape (draws,) or (draws, readings)."""

    log_likelihood: FloatArray
    held_mean: FloatArray
    """Of each reading, given all the others."""
    held_sd: FloatArray

    def held_log_density(self, observed: FloatArray) -> FloatArray:
        """(draws, readings) of each reading given all the others."""
        z = (observed - self.held_mean) / self.held_sd
        return np.asarray(-0.5 * z**2 - np.log(self.held_sd) - 0.5 * np.log(2.0 * np.pi))


def fit(mean: FloatArray, observed: FloatArray, covariance: FloatArray) -> Fit:
    """Log-likelihood of every draw, and what the others say of each reading.

    Parameters
    ----------
    mean : (draws, readings) array
    observed : (readings,) array
    covariance : (draws or 1, readings, readings) array

    Notes
    -----
    With the precision ``P = C^-1`` and ``r = y - m`` a reading given the others is Gaussian of
    mean ``y_i - (P r)_i / P_ii`` and variance ``1 / P_ii`` (Rasmussen and Williams 2006,
    Gaussian Processes for Machine Learning, eq. 5.12; from memory).
    """
    rest = observed - mean
    precision = np.linalg.inv(covariance)
    _, log_det = np.linalg.slogdet(covariance)
    pulled = (precision @ rest[:, :, None])[:, :, 0]
    own = np.diagonal(precision, axis1=-2, axis2=-1)
    size = observed.size * np.log(2.0 * np.pi)
    return Fit(
        log_likelihood=-0.5 * ((rest * pulled).sum(axis=1) + log_det + size),
        held_mean=observed - pulled / own,
        held_sd=np.broadcast_to(1.0 / np.sqrt(own), mean.shape),
    )


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One piece weighed on some days, and how its mass follows from its moisture."""

    days: FloatArray
    """(weighings,) since any day."""
    mass_kg: FloatArray
    moisture: FloatArray
    """(draws, weighings) simulated, kg/kg."""
    dry_kg: float
    """Expected oven-dry mass."""
    dry_error: float
    """Share by which it may be off."""
    scale_error_kg: float
    discrepancy: float
    """Of moisture, kg/kg: the model's error in this piece."""
    discrepancy_days: float

    def only(self, kept: BoolArray | IntArray) -> Piece:
        """Some of the weighings."""
        changes = {
            "days": self.days[kept],
            "mass_kg": self.mass_kg[kept],
            "moisture": self.moisture[:, kept],
        }
        return Piece(**(self.__dict__ | changes))

    @property
    def expected_kg(self) -> FloatArray:
        """(draws, weighings) mass with the expected oven-dry mass."""
        return np.asarray(self.dry_kg * (1.0 + self.moisture))

    def error_covariance(self) -> FloatArray:
        """(weighings, weighings) of scale and model, apart from the oven-dry mass [kg2].

        The model's error fades over days as ``exp(-|t - t'| / tau)``.
        """
        apart = np.abs(self.days[:, None] - self.days[None, :])
        model = (self.dry_kg * self.discrepancy) ** 2 * np.exp(-apart / self.discrepancy_days)
        return np.asarray(model + self.scale_error_kg**2 * np.eye(self.days.size))

    def fit(self) -> Fit:
        """Draws against the weighings, the oven-dry mass integrated out."""
        mean, error = self.expected_kg, self.error_covariance()
        parts = []
        for low in range(0, len(mean), CHUNK):
            m = mean[low : low + CHUNK]
            covariance = error + self.dry_error**2 * m[:, :, None] * m[:, None, :]
            parts.append(fit(m, self.mass_kg, covariance))
        return Fit(
            log_likelihood=np.concatenate([p.log_likelihood for p in parts]),
            held_mean=np.concatenate([p.held_mean for p in parts]),
            held_sd=np.concatenate([p.held_sd for p in parts]),
        )

    def dry_mass(self) -> tuple[FloatArray, FloatArray]:
        """(draws,) oven-dry mass over the expected one given the weighings, and its error."""
        m, precision = self.expected_kg, np.linalg.inv(self.error_covariance())
        weight = np.einsum("si,ij,sj->s", m, precision, m)
        pull = np.einsum("si,ij,j->s", m, precision, self.mass_kg)
        prior = 1.0 / self.dry_error**2
        return (prior + pull) / (prior + weight), 1.0 / np.sqrt(prior + weight)


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
        rest = piece.only(np.setdiff1d(order, held))
        gain, _ = rest.dry_mass()
        foretold = gain[:, None] * piece.only(held).expected_kg
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
    power: float
    """Of the likelihood; 0 where the weighings do not help."""
    weights: FloatArray
    """(draws,)"""
    held_before_kg: float
    """Root mean square error of held-out weighings; nan with fewer than three."""
    held_after_kg: float

    @property
    def used(self) -> bool:
        """Whether anything was learned."""
        return self.power > 0.0


def judge(piece: Piece, other: FloatArray) -> Judged:
    """Weigh draws by a piece's weighings and by the log-likelihood of other readings.

    Where weighings held out are foretold no better by draws so weighed, every draw counts alike:
    the numbers would have been fitted to noise.
    """
    kept = keep_likely(piece, other)
    good = piece.only(kept)
    whole = other + good.fit().log_likelihood
    power = tempered(whole)
    before, after = float("nan"), float("nan")
    if kept.sum() >= FEWEST_TO_HOLD_OUT:
        errors = held_out_errors(good, other, power)
        before, after = (float(np.sqrt(np.mean(e**2))) for e in errors)
        power = power if after < before else 0.0
    return Judged(
        kept=kept,
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


def weighted_quantiles(
    values: FloatArray, weights: FloatArray, shares: Sequence[float] = (0.1, 0.5, 0.9)
) -> FloatArray:
    """(shares, ...) quantiles over the first axis of ``values`` with one weight a draw."""
    order = np.argsort(values, axis=0)
    ranked = np.take_along_axis(values, order, axis=0)
    below = np.cumsum(weights[order], axis=0) - 0.5 * weights[order]
    flat = ranked.reshape(len(values), -1), below.reshape(len(values), -1)
    columns = [np.interp(shares, b, v) for v, b in zip(flat[0].T, flat[1].T, strict=True)]
    return np.asarray(np.stack(columns, axis=1).reshape(len(shares), *values.shape[1:]))


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
