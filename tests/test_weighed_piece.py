"""Draws weighed by one piece's weights: the arithmetic, and what it is worth."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).parent))

import grids
import weighing_pieces

from climate_risk.engine.witness import dry_mass_kg
from climate_risk.risk import updating, weighed_piece
from climate_risk.risk.next_reading import explained

FloatArray = npt.NDArray[np.float64]


def piece(moisture: FloatArray, mass_kg: FloatArray, **changes: float) -> updating.Piece:
    given = {
        "dry_kg": 4.0, "dry_error": 0.1, "scale_error_kg": 0.1, "discrepancy": 0.02,
        "discrepancy_days": 45.0, "level_error": 0.0,
    } | changes  # fmt: skip
    days = 10.0 * np.arange(mass_kg.size)
    return weighed_piece.Piece(days=days, mass_kg=mass_kg, moisture=moisture, **given)


def drying(rates: FloatArray) -> FloatArray:
    """(draws, 10) moisture of pieces that dry at so much per reading."""
    return 0.8 - rates[:, None] * np.arange(10.0)


def test_a_draw_is_weighed_by_the_normal_law_and_a_reading_by_its_conditional() -> None:
    """Against scipy.stats.multivariate_normal, and the conditional by partitioned covariance."""
    rng = np.random.default_rng(3)
    mean, observed = rng.normal(size=(4, 5)), rng.normal(size=5)
    root = rng.normal(size=(4, 5, 5))
    covariance = root @ root.transpose(0, 2, 1) + np.eye(5)
    found = weighed_piece.fit(mean, observed, covariance)
    for n in range(4):
        law = stats.multivariate_normal(mean[n], covariance[n])
        assert found.log_likelihood[n] == pytest.approx(law.logpdf(observed))
        rest = [0, 1, 3, 4]
        pull = np.linalg.solve(covariance[n][np.ix_(rest, rest)], covariance[n][rest, 2])
        assert found.held_mean[n, 2] == pytest.approx(
            mean[n, 2] + pull @ (observed[rest] - mean[n, rest])
        )
        variance = covariance[n][2, 2] - pull @ covariance[n][rest, 2]
        assert found.held_sd[n, 2] ** 2 == pytest.approx(variance)


def test_weights_give_the_conjugate_posterior() -> None:
    """A normal mean with a normal prior: precision-weighted (Gelman et al. 2013, Bayesian Data
    Analysis, eq. 2.10; from memory)."""
    rng = np.random.default_rng(4)
    theta, observed = rng.normal(0.0, 1.0, 200_000), np.array([0.8, 1.1, 0.6])
    found = weighed_piece.fit(
        np.repeat(theta[:, None], 3, axis=1), observed, updating.level_covariance(3, 0.5, 0.0)
    )
    weights = updating.weights_of(found.log_likelihood, 1.0)
    precision = 1.0 + 3 / 0.25
    expected = observed.sum() / 0.25 / precision
    assert weights @ theta == pytest.approx(expected, abs=0.01)
    assert weights @ (theta - expected) ** 2 == pytest.approx(1.0 / precision, rel=0.03)
    low, middle, high = weighed_piece.weighted_quantiles(theta, weights)
    spread = stats.norm.ppf(0.9) / np.sqrt(precision)
    assert [low, middle, high] == pytest.approx(
        [expected - spread, expected, expected + spread], abs=0.02
    )


def test_the_dry_mass_is_integrated_out() -> None:
    """Against a quadrature over the oven-dry mass."""
    moisture = drying(np.array([0.03]))
    mass = 4.3 * (1.0 + moisture[0]) + 0.05
    made = piece(moisture, mass)
    gains = np.linspace(0.4, 1.6, 4001)
    error = made.error_covariance()
    by_gain = [
        stats.multivariate_normal.pdf(mass, 4.0 * g * (1.0 + moisture[0]), error)
        * stats.norm.pdf(g, 1.0, 0.1)
        for g in gains
    ]
    whole = np.trapezoid(by_gain, gains)
    assert made.fit().log_likelihood[0] == pytest.approx(np.log(whole), abs=1e-6)
    found = made.dry_mass()
    mean = np.trapezoid(by_gain * gains, gains) / whole
    assert found.mean[0, 0] == pytest.approx(mean, abs=1e-6)
    assert found.sd[0, 0] ** 2 == pytest.approx(
        np.trapezoid(by_gain * (gains - mean) ** 2, gains) / whole, rel=1e-4
    )


def test_too_sharp_readings_are_tempered_to_the_least_number_of_draws() -> None:
    sharp = -(np.linspace(0.0, 60.0, 1000) ** 2)
    power = updating.tempered(sharp)
    assert power < 1.0
    size = updating.effective_size(updating.weights_of(sharp, power))
    assert size == pytest.approx(updating.LEAST_EFFECTIVE, rel=0.01)
    assert updating.tempered(np.zeros(1000)) == 1.0


def test_picking_keeps_each_draw_as_often_as_its_weight() -> None:
    weights = np.array([0.5, 0.25, 0.125, 0.125])
    assert np.bincount(updating.pick(weights, 800)).tolist() == [400, 200, 100, 100]


def test_one_bad_weighing_is_found_and_good_ones_are_kept() -> None:
    rng = np.random.default_rng(5)
    rates = rng.uniform(0.0, 0.06, 600)
    truth = 4.2 * (1.0 + drying(np.array([0.04]))[0])
    for bad in (0, 4, 9):
        mass = truth + rng.normal(0.0, 0.1, 10)
        mass[bad] += 1.2
        kept = updating.keep_likely(piece(drying(rates), mass), np.zeros(600))
        assert np.flatnonzero(~kept).tolist() == [bad]
    clean = truth + rng.normal(0.0, 0.1, 10)
    assert updating.keep_likely(piece(drying(rates), clean), np.zeros(600)).all()


def test_a_weighing_is_judged_by_draws_that_only_the_others_weigh() -> None:
    """The short way, through the precision, against weighing by the others afresh."""
    rng = np.random.default_rng(9)
    made = piece(drying(rng.uniform(0.0, 0.06, 600)), 4.2 * (1.8 - 0.04 * np.arange(10.0)))
    whole = made.fit()
    assert updating.tempered(whole.log_likelihood) == 1.0
    for place, chance in enumerate(updating.improbable(whole, made.mass_kg, np.zeros(600))):
        rest = made.only(np.delete(np.arange(10), place)).fit()
        weights = updating.weights_of(rest.log_likelihood, 1.0)
        z = (made.mass_kg[place] - whole.held_mean[:, place]) / whole.held_sd[:, place]
        below = weights @ stats.norm.cdf(z)
        assert chance == pytest.approx(2.0 * min(below, 1.0 - below), rel=1e-6)


def test_held_out_weighings_are_foretold_better_where_the_draws_know() -> None:
    rng = np.random.default_rng(6)
    rates = rng.uniform(0.0, 0.06, 600)
    mass = 4.2 * (1.0 + drying(np.array([0.055]))[0]) + rng.normal(0.0, 0.05, 10)
    before, after = updating.held_out_errors(piece(drying(rates), mass), np.zeros(600), 1.0)
    assert np.sqrt((after**2).mean()) < 0.6 * np.sqrt((before**2).mean())


def test_a_reading_is_worth_what_it_explains() -> None:
    """A linear Gaussian reading explains v / (v + s^2) of the variance."""
    rng = np.random.default_rng(7)
    said = rng.normal(size=20_000)
    assert explained(said, np.full(20_000, 0.5), said) == pytest.approx(1 / 1.25, abs=0.01)
    assert explained(said, np.full(20_000, 0.5), rng.normal(size=20_000)) < 0.01


def test_the_fungus_and_other_stands_keep_their_own_draws() -> None:
    names = ("fungus.front_rate_mm_day", "wood.bark_resistance_s_m", "canopy.index_factor")
    learned = updating.Posterior(
        names=names, quantiles=np.full((8, 3), 0.9), weights=np.full(8, 0.125)
    )
    prior = np.full((5, 3), 0.2)
    assert learned.drawn(prior, own_stand=True)[0].tolist() == [0.2, 0.9, 0.9]
    assert learned.drawn(prior, own_stand=False)[0].tolist() == [0.2, 0.9, 0.2]
    assert learned.middle()[0].tolist() == pytest.approx([0.5, 0.9, 0.9])


def by_the_joint_law(
    made: weighed_piece.Piece, day: float, moisture: float
) -> dict[str, FloatArray]:
    """Mean and variance of moisture and mass on a day, by one matrix of everything unknown."""
    days = np.concatenate([made.days, [made.disc.day, day]])  # type: ignore[union-attr]
    count, kg = made.days.size, made.dry_kg
    apart = np.abs(days[:, None] - days)
    own = made.level_error**2 + made.discrepancy**2 * np.exp(-apart / made.discrepancy_days)
    latent = np.zeros((1 + days.size, 1 + days.size))
    latent[0, 0], latent[1:, 1:] = made.dry_error**2, own
    shift = np.zeros((count + 3, 1 + days.size))
    shift[:count, 0] = made.expected_kg[0]
    shift[:count, 1 : count + 1] = kg * np.eye(count)
    shift[count, count + 1] = shift[count + 1, count + 2] = 1.0
    shift[count + 2, 0], shift[count + 2, count + 2] = kg * (1.0 + moisture), kg
    noise = np.zeros(count + 3)
    noise[: count + 1] = [made.scale_error_kg**2] * count + [made.disc.error**2]  # type: ignore[union-attr]
    whole = shift @ latent @ shift.T + np.diag(noise)
    said = np.concatenate([made.expected_kg[0], made.disc.moisture])  # type: ignore[union-attr]
    read = np.concatenate([made.mass_kg, [made.disc.reading]])  # type: ignore[union-attr]
    n = count + 1
    pull = whole[n:, :n] @ np.linalg.inv(whole[:n, :n])
    prior = np.array([moisture, kg * (1.0 + moisture)])
    found = prior + pull @ (read - said), np.diag(whole[n:, n:] - pull @ whole[:n, n:])
    return {
        "moisture": np.array([found[0][0], found[1][0]]),
        "mass": np.array([found[0][1], found[1][1]]),
    }


def test_what_readings_say_of_other_days_is_the_joint_normal_law() -> None:
    """Against the partitioned covariance of all that is unknown, written out in one matrix."""
    moisture = drying(np.array([0.03]))
    mass = 4.3 * (1.0 + moisture[0]) + 0.05
    disc = weighed_piece.Disc(day=0.0, reading=0.9, error=0.04, moisture=moisture[:, 0])
    made = replace(piece(moisture, mass, level_error=0.06), disc=disc)
    expected = by_the_joint_law(made, 95.0, 0.5)
    days, simulated = np.array([95.0]), np.array([[0.5]])
    for name, found in (
        ("moisture", made.moisture_on(days, simulated)),
        ("mass", made.mass_on(days, simulated)),
    ):
        assert [found.mean[0, 0], found.sd[0, 0] ** 2] == pytest.approx(expected[name], rel=1e-9)


def test_a_band_holds_each_draw_s_own_doubt() -> None:
    """Of draws that agree, the band is that of the normal law; of a mixture, scipy's."""
    alike = weighed_piece.Foretold(np.zeros((400, 1)), np.full((400, 1), 2.0))
    low, middle, high = alike.quantiles(np.full(400, 1 / 400))[:, 0]
    assert [low, middle, high] == pytest.approx(2.0 * stats.norm.ppf([0.1, 0.5, 0.9]), abs=0.03)
    means = np.repeat([0.0, 3.0], 200)[:, None]
    mixed = weighed_piece.Foretold(means, np.ones((400, 1)))
    high = mixed.quantiles(np.repeat([0.7, 0.3], 200) / 200)[2, 0]
    assert 0.7 * stats.norm.cdf(high) + 0.3 * stats.norm.cdf(high - 3.0) == pytest.approx(
        0.9, abs=0.005
    )


def test_weighings_set_aside_leave_the_disc() -> None:
    rates = np.linspace(0.0, 0.06, 600)
    moisture = drying(rates) + np.linspace(-0.2, 0.2, 600)[:, None]
    disc = weighed_piece.Disc(day=0.0, reading=0.9, error=0.04, moisture=moisture[:, 0])
    made = replace(piece(moisture, 4.2 * (1.8 - 0.04 * np.arange(10.0))), disc=disc)
    with mock.patch.object(updating, "is_clearly_worse", return_value=True):
        found = updating.judge(made, np.zeros(600))
    spread = np.hypot(0.04, 0.02)
    alone = updating.weights_of(-0.5 * ((0.9 - moisture[:, 0]) / spread) ** 2, 1.0)
    assert not found.used
    assert found.weights == pytest.approx(alone)
    assert updating.is_clearly_worse(np.full(6, 0.1), np.linspace(0.2, 0.3, 6))
    assert not updating.is_clearly_worse(np.full(6, 0.1), np.array([0.0, 0, 0, 0, 0, 0.26]))


# ---------------------------------------------------------------- the evidence, reduced


def test_ten_weighings_and_a_disc_halve_the_error_of_the_moisture() -> None:
    """Pieces of a finer grid and of wider ranges; the whole in tests/weighing_evidence.md."""
    scheme, ends = weighing_pieces.SETTINGS["bag under hardwoods, ends sealed"]
    truth = weighing_pieces.true_moisture(scheme, ends, 64, fine=2)
    own = weighing_pieces.own_moisture(scheme, ends, 512)
    dry = dry_mass_kg(weighing_pieces.piece_model(ends, grids.Cut()))
    found = weighing_pieces.weigh_all(truth, own, disc=True, dry_kg=dry)
    assert weighing_pieces.pooled(found.after) < 0.5 * weighing_pieces.pooled(found.before)
    assert weighing_pieces.mean_interval(found.change)[2] < 0.0
    assert weighing_pieces.mean_interval(found.ahead_after - found.ahead_before)[2] < 0.0
    assert (found.change > 0.0).mean() < 0.1
    assert found.left_out <= 6
    assert found.within_before < 0.75 < found.within < 0.92


def test_two_published_weighings_foretell_the_third() -> None:
    """Lercher 2016 (abstract; V2 of tests/published/drying.toml): logs weighed in February and
    July, of which the program then foretells December, percent of wet mass."""
    published = [weighing_pieces.drying.CASES[f"V2 {m}"]["value"] for m in ("July", "December")]
    weights, *months = weighing_pieces.published(seeds=2)
    flat = np.full(weights.size, 1.0 / weights.size)
    for value, said in zip(published, months, strict=True):
        assert abs(weights @ said - value) < 0.4 * abs(flat @ said - value)
