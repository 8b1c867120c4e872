"""One piece weighed on some days: what each draw says of it, and what the weights say back.

Under draw ``s`` everything that can be asked of the piece is Gaussian together: its oven-dry mass
``d (1 + g)``, where ``d`` follows from size and density and ``g`` is unknown; its moisture
``u(t) = m_s(t) + e(t)``, where ``m_s`` is simulated and ``e`` is the model's own error, part of
it constant (a tree wetter or drier than its wood's range) and part fading over weeks; and its
mass, to first order in ``g`` and ``e``, ``d (1 + g) (1 + m_s) + d e``.  Whatever was read makes
the rest surer by the rules of the normal law (Rasmussen and Williams 2006, Gaussian Processes
for Machine Learning, eq. 2.19 and A.6; from memory).  A band that left out ``e`` would be too
narrow by just what the likelihood grants.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

CHUNK = 128
"""Draws whose covariances are held at a time."""
KERNEL_POINTS = 9
"""Equally likely values by which a draw's normal law enters a band."""
GOLDEN = 0.618034
"""Shifts them from draw to draw, so that all together lie evenly."""


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
    eq. 5.12; from memory).
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


@dataclass(frozen=True)
class Foretold:
    """A quantity under every draw, given the readings: mean and standard deviation."""

    mean: FloatArray
    """(draws, days)"""
    sd: FloatArray
    """(draws, days)"""

    def quantiles(
        self, weights: FloatArray, shares: Sequence[float] = (0.1, 0.5, 0.9)
    ) -> FloatArray:
        """(shares, days) over draws of given weights, each draw's own doubt included."""
        from scipy.special import ndtri

        shift = ((np.arange(weights.size) + 0.5) * GOLDEN) % 1.0
        points = ndtri((np.arange(KERNEL_POINTS)[:, None] + shift) / KERNEL_POINTS)
        spread = self.mean + points[:, :, None] * self.sd
        each = np.tile(weights / KERNEL_POINTS, KERNEL_POINTS)
        return weighted_quantiles(spread.reshape(each.size, -1), each, shares)


@dataclass(frozen=True, kw_only=True)
class Disc:
    """Moisture of a disc that was cut beside the piece."""

    day: float
    reading: float
    """kg/kg"""
    error: float
    moisture: FloatArray
    """(draws,) of the piece that day, simulated, kg/kg."""


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
    level_error: float
    """Of moisture, kg/kg: the tree's own, on all days alike."""
    disc: Disc | None = None

    def only(self, kept: BoolArray | IntArray) -> Piece:
        """Some of the weighings, and the disc."""
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

    def _model_error(self, one: FloatArray, other: FloatArray) -> FloatArray:
        """Covariance of the model's error between days, (kg/kg)2."""
        apart = np.abs(one[:, None] - other[None, :])
        fading = self.discrepancy**2 * np.exp(-apart / self.discrepancy_days)
        return np.asarray(self.level_error**2 + fading)

    @property
    def _disc_days(self) -> FloatArray:
        return np.array([] if self.disc is None else [self.disc.day])

    def _shared(self, days: FloatArray) -> FloatArray:
        """(days, readings) covariance of the model's error with every reading."""
        masses = self.dry_kg * self._model_error(days, self.days)
        return np.hstack([masses, self._model_error(days, self._disc_days)])

    def error_covariance(self) -> FloatArray:
        """(weighings, weighings) of scale and model, apart from the oven-dry mass [kg2]."""
        model = self.dry_kg**2 * self._model_error(self.days, self.days)
        return np.asarray(model + self.scale_error_kg**2 * np.eye(self.days.size))

    def _chunks(self) -> Iterator[tuple[slice, FloatArray, FloatArray]]:
        """Some draws at a time: what they say of every reading, and its covariance."""
        count, discs = self.days.size, self._disc_days.size
        error = np.zeros((count + discs, count + discs))
        error[:count, :count] = self.error_covariance()
        error[:count, count:] = self._shared(self._disc_days)[:, :count].T
        error[count:, :count] = error[:count, count:].T
        if self.disc is not None:
            error[count, count] = self._shared(self._disc_days)[0, count] + self.disc.error**2
        for low in range(0, len(self.moisture), CHUNK):
            part = slice(low, low + CHUNK)
            m = self.expected_kg[part]
            covariance = np.tile(error, (len(m), 1, 1))
            covariance[:, :count, :count] += self.dry_error**2 * m[:, :, None] * m[:, None, :]
            said = m if self.disc is None else np.hstack([m, self.disc.moisture[part, None]])
            yield part, said, covariance

    @property
    def _observed(self) -> FloatArray:
        return np.append(self.mass_kg, [] if self.disc is None else [self.disc.reading])

    def fit(self) -> Fit:
        """Draws against the weighings and the disc, the oven-dry mass integrated out."""
        parts = [fit(said, self._observed, c) for _, said, c in self._chunks()]
        weighed = slice(0, self.days.size)
        return Fit(
            log_likelihood=np.concatenate([p.log_likelihood for p in parts]),
            held_mean=np.concatenate([p.held_mean[:, weighed] for p in parts]),
            held_sd=np.concatenate([p.held_sd[:, weighed] for p in parts]),
        )

    def _given(
        self, said: FloatArray, cross: Callable[[slice], FloatArray], variance: FloatArray
    ) -> Foretold:
        """Quantities, (draws, days), given the readings; ``cross`` is (draws, days, readings)."""
        means, spreads = [], []
        for part, of_readings, covariance in self._chunks():
            shared = cross(part)
            pull = np.linalg.solve(covariance, shared.transpose(0, 2, 1))
            rest = self._observed - of_readings
            means.append(said[part] + np.einsum("srt,sr->st", pull, rest))
            explained = np.einsum("str,srt->st", shared, pull)
            spreads.append(np.sqrt((variance[part] - explained).clip(min=0.0)))
        return Foretold(np.concatenate(means), np.concatenate(spreads))

    def moisture_on(self, days: FloatArray, moisture: FloatArray) -> Foretold:
        """Moisture of the piece on any days, whose simulated moisture is (draws, days)."""
        shared = self._shared(days)
        own = np.full_like(moisture, self.level_error**2 + self.discrepancy**2)
        return self._given(moisture, lambda part: _for_each(shared, len(moisture[part])), own)

    def mass_on(self, days: FloatArray, moisture: FloatArray) -> Foretold:
        """Its mass on any days, kg; see :meth:`moisture_on`."""
        mass, known = self.dry_kg * (1.0 + moisture), self.expected_kg
        shared = self.dry_kg * self._shared(days)
        unsure, weighed = self.dry_error**2, self.days.size
        own = unsure * mass**2 + self.dry_kg**2 * (self.level_error**2 + self.discrepancy**2)

        def cross(part: slice) -> FloatArray:
            found = _for_each(shared, len(mass[part]))
            found[:, :, :weighed] += unsure * mass[part, :, None] * known[part, None, :]
            return found

        return self._given(mass, cross, own)

    def dry_mass(self) -> Foretold:
        """Its oven-dry mass over the expected one, (draws, 1)."""
        known = self.expected_kg
        one = np.ones((len(known), 1))

        def cross(part: slice) -> FloatArray:
            found = np.zeros((len(known[part]), 1, self._observed.size))
            found[:, 0, : self.days.size] = self.dry_error**2 * known[part]
            return found

        return self._given(one, cross, self.dry_error**2 * one)


def _for_each(shared: FloatArray, draws: int) -> FloatArray:
    return np.tile(shared, (draws, 1, 1))


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
