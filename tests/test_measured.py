"""Own measurements: reading them, weighing draws by them, and what the page says."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from unittest import mock

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).parent))

import grids
import risk_samples
import weighing_evidence

from climate_risk.engine.draws import best_estimate
from climate_risk.engine.hours import D_BARK_MAX, D_NEAR_HUMIDITY
from climate_risk.engine.stack import Scheme
from climate_risk.engine.witness import (
    dry_mass_kg,
    midday_moisture,
    possible_mass_kg,
    run_days,
    witness_model,
    witness_scheme,
)
from climate_risk.errors import InputError
from climate_risk.options import CoverSpan
from climate_risk.report import measured as words
from climate_risk.risk import measured as room
from climate_risk.risk import season as season_room
from climate_risk.risk import updating
from climate_risk.risk.next_reading import explained
from climate_risk.risk.results import SeasonResult
from climate_risk.units import Units
from climate_risk.weather.own_readings import read_measurements, read_weighings
from climate_risk.yard import Yard, read_yard

FloatArray = npt.NDArray[np.float64]
START = date(2010, 4, 12)
AS_OF = date(2010, 8, 1)


def piece(moisture: FloatArray, mass_kg: FloatArray, **changes: float) -> updating.Piece:
    given = {
        "dry_kg": 4.0, "dry_error": 0.1, "scale_error_kg": 0.1, "discrepancy": 0.02,
        "discrepancy_days": 45.0,
    } | changes  # fmt: skip
    days = 10.0 * np.arange(mass_kg.size)
    return updating.Piece(days=days, mass_kg=mass_kg, moisture=moisture, **given)


def drying(rates: FloatArray) -> FloatArray:
    """(draws, 10) moisture of pieces that dry at so much per reading."""
    return 0.8 - rates[:, None] * np.arange(10.0)


# ---------------------------------------------------------------- the arithmetic


def test_a_draw_is_weighed_by_the_normal_law_and_a_reading_by_its_conditional() -> None:
    """Against scipy.stats.multivariate_normal, and the conditional by partitioned covariance."""
    rng = np.random.default_rng(3)
    mean, observed = rng.normal(size=(4, 5)), rng.normal(size=5)
    root = rng.normal(size=(4, 5, 5))
    covariance = root @ root.transpose(0, 2, 1) + np.eye(5)
    found = updating.fit(mean, observed, covariance)
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
    found = updating.fit(
        np.repeat(theta[:, None], 3, axis=1), observed, updating.level_covariance(3, 0.5, 0.0)
    )
    weights = updating.weights_of(found.log_likelihood, 1.0)
    precision = 1.0 + 3 / 0.25
    expected = observed.sum() / 0.25 / precision
    assert weights @ theta == pytest.approx(expected, abs=0.01)
    assert weights @ (theta - expected) ** 2 == pytest.approx(1.0 / precision, rel=0.03)
    low, middle, high = updating.weighted_quantiles(theta, weights)
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
    gain, sd = made.dry_mass()
    mean = np.trapezoid(by_gain * gains, gains) / whole
    assert gain[0] == pytest.approx(mean, abs=1e-6)
    assert sd[0] ** 2 == pytest.approx(
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


# ---------------------------------------------------------------- the files


def written(folder: Path, text: str) -> Path:
    path = folder / "weighings.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_pounds_and_kilograms_are_read_and_put_in_order(tmp_path: Path) -> None:
    pounds = read_weighings(written(tmp_path, "date,mass_lb\n2010-05-01,20\n2010-04-20,22\n"))
    assert pounds.days == (date(2010, 4, 20), date(2010, 5, 1))
    assert pounds.mass_kg == pytest.approx([9.979, 9.072], abs=1e-3)
    kilos = read_weighings(written(tmp_path, "Date;Weight (kg)\n2010-04-20;9,98\n"))
    assert kilos.mass_kg == pytest.approx([9.98])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("date,mass\n2010-05-01,20\n", "no unit; accepted is mass_kg or mass_lb"),
        ("date,rain\n2010-05-01,20\n", "no mass among date, rain"),
        ("when,mass_kg\n2010-05-01,20\n", "no date column among when, mass_kg"),
        ("date,mass_kg\n5/1/2010,20\n", "line 2, column date: '5/1/2010' is not a date"),
        ("date,mass_kg\n2010-05-01,-2\n", "'-2' is not a mass; accepted is a number above 0"),
        ("date,mass_kg\n2010-05-01,9\n2010-05-01,8\n", "lines 2 and 3: 2010-05-01 stands twice"),
    ],
)
def test_a_wrong_file_is_refused_in_a_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read_weighings(written(tmp_path, text))
    assert len(caught.value.lines) == 1
    assert said in caught.value.lines[0]
    assert "weighings.csv" in caught.value.lines[0]


# ---------------------------------------------------------------- the piece


@pytest.fixture(scope="module")
def kind():  # type: ignore[no-untyped-def]
    record = risk_samples.make_record("2000-01-01", "2011-12-31")
    return risk_samples.model_of(record, risk_samples.small_stack(inoculated=START))


def test_a_sealed_piece_dries_slower_than_a_bare_one(kind) -> None:  # type: ignore[no-untyped-def]
    own = Scheme(canopy="deciduous", covers=(CoverSpan(kind="bag", material="paper"),))
    one = best_estimate(len(kind.parameter_set(own).unknowns()))
    lost = {}
    for ends in ("bare", "sealed"):
        witness = witness_model(kind, 0.2, 0.15, ends)  # type: ignore[arg-type]
        moisture = midday_moisture(witness, witness_scheme(own), one, date(2010, 7, 1))[:, 0]
        lost[ends] = moisture[0] - moisture[-1]
    assert 0.0 < lost["sealed"] < 0.7 * lost["bare"]
    low, high = possible_mass_kg(witness)
    volume = np.pi * 0.075**2 * 0.2
    assert low < dry_mass_kg(witness) == pytest.approx(350.0 * volume, rel=0.1)
    assert high < 1.3 * 1250.0 * volume


# ---------------------------------------------------------------- a season


def write_measured(folder: Path, more: str = "") -> Path:
    path = risk_samples.write_yard(folder)
    text = path.read_text(encoding="utf-8")
    given = f'\n[measured]\nweighings = "weighings.csv"\nwitness_ends = "sealed"\n{more}'
    path.write_text(text + given, encoding="utf-8")
    return path


def season_of(yard: Yard, record: object, with_readings: bool = True) -> SeasonResult:
    readings = None
    if with_readings and yard.measured is not None:
        readings = read_measurements(yard.measured, -5)
    table = risk_samples.daily_table("2000-01-01", "2010-08-01")
    with mock.patch.object(room, "DRAWS", 128):
        return season_room.season(
            yard, record, risk_samples.coverage(table), {}, as_of=AS_OF, draws=2, readings=readings
        )  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def weighed(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """A yard whose witness piece has tight bark, weighed eight times, once wrongly."""
    folder = tmp_path_factory.mktemp("yard")
    yard = read_yard(write_measured(folder))
    record = risk_samples.make_record("2000-01-01", "2010-08-01")
    stack = yard.stacks[0]
    model = season_room.stack_model(stack, record, yard.openness, yard.canopy)
    own = Scheme(canopy=yard.canopy, covers=stack.covers)
    witness = witness_model(model, 0.2, 0.15, "sealed")
    names = list(model.parameter_set(own).unknowns())
    truth = best_estimate(len(names))
    truth[0, names.index("wood.bark_resistance_s_m")] = 0.95
    moisture = midday_moisture(witness, own, truth, AS_OF)[:, 0]
    rows = ["date,mass_kg"]
    noise = np.random.default_rng(8).normal(0.0, 0.02, 8)
    for n in range(8):
        day = START + timedelta(days=14 * n)
        mass = dry_mass_kg(witness) * (1.0 + moisture[(day - witness.start_day).days])
        rows.append(f"{day},{mass + noise[n] + (1.0 if n == 3 else 0.0):.3f}")
    (folder / "weighings.csv").write_text("\n".join(rows), encoding="utf-8")
    return yard, record, season_of(yard, record)


def test_a_season_takes_up_the_weighings(weighed) -> None:  # type: ignore[no-untyped-def]
    _, _, result = weighed
    found = result.stacks[0].measured
    assert found is not None
    assert found.used
    assert [w.day for w in found.left_out] == [START + timedelta(days=42)]
    bark = found.parameters[0]
    assert bark.unknown == "wood.bark_resistance_s_m"
    assert bark.posterior[1] > 1.2 * bark.prior[1]
    assert found.held_out is not None
    assert found.held_out.after_kg < found.held_out.before_kg
    assert found.chance_after == result.stacks[0].result.chance


def test_without_readings_nothing_changes(weighed) -> None:  # type: ignore[no-untyped-def]
    """The chance before the readings is that of a yard without them, to the bit."""
    yard, record, result = weighed
    plain = season_of(replace(yard, measured=None), record).stacks[0]
    found = result.stacks[0].measured
    assert plain.measured is None
    assert found.chance_before == plain.result.chance
    assert found.lost_before == plain.result.shares.lost


def test_the_page_says_before_and_after_and_names_the_bad_weighing(weighed) -> None:  # type: ignore[no-untyped-def]
    stack = weighed[2].stacks[0]
    view = words.view(stack, 0.1, Units("metric"))
    assert view is not None
    text = " ".join(view["lead"])
    assert "7 weighings" in text
    assert "on 24 May" in text
    assert "before your readings" in text or "without your readings" in text
    assert view["moved"][0].startswith("How tight the bark is: ")
    assert "(more is tighter)" in view["moved"][0]
    assert words.summary_values(stack.measured)["parameters"][0]["posterior"]["p50"] > 0.0


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("2009-05-01,4", "2009-05-01 lies outside the season"),
        ("2010-05-01,40", "heavier than water-logged aspen of 20 by 15 cm"),
        ("2010-05-01,0.4", "lighter than oven-dry aspen"),
        ("2010-05-01,2.4", "1 weighing up to 2010-08-01; accepted are 2 or more"),
    ],
)
def test_impossible_weighings_are_refused_in_a_line(
    weighed, tmp_path: Path, row: str, said: str
) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "weighings.csv").write_text(f"date,mass_kg\n{row}\n", encoding="utf-8")
    yard = read_yard(write_measured(tmp_path))
    with pytest.raises(InputError) as caught:
        season_of(yard, weighed[1])
    assert len(caught.value.lines) == 1
    assert said in caught.value.lines[0]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ('stack = "Rw"', 'no such stack; known: "Row"'),
        ('disc_wet = "200 g"', "disc_dry: missing"),
        ('disc_wet = "200 g"\ndisc_dry = "250 g"', "must be less than disc_wet"),
        ('witness_lenght = "10 in"', "unknown key; nearest: witness_length"),
        ("witness_diameter = 10", "no unit; use in, ft, cm, mm or m"),
    ],
)
def test_a_wrong_key_is_refused_in_a_line(tmp_path: Path, more: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read_yard(write_measured(tmp_path, more))
    assert len(caught.value.lines) == 1
    assert said in caught.value.lines[0]


# ---------------------------------------------------------------- loggers


def hourly(path: Path, header: str, by_day: FloatArray) -> Path:
    """A logger's file, a reading every hour from the stack's first day on."""
    rows = [f"time,{header}"]
    for n, value in enumerate(by_day):
        day = START + timedelta(days=n)
        rows += [f"{day} {hour:02d}:00,{value:.2f}" for hour in range(24)]
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("key", "column", "unknown", "header"),
    [
        ("bag_hygrometer", D_NEAR_HUMIDITY, "bag.foot_gap_closed_mm", "RH (%)"),
        ("bark_thermometer", D_BARK_MAX, "wood.bark_absorptance", "bark_temp_f"),
    ],
)
def test_a_logger_moves_what_it_feels(  # type: ignore[no-untyped-def]
    kind, tmp_path: Path, key: str, column: int, unknown: str, header: str
) -> None:
    """Readings simulated with one number near either end of its range pull the draws apart."""
    bag = () if key == "bark_thermometer" else (CoverSpan(kind="bag", material="paper"),)
    own, last = Scheme(canopy="open", covers=bag), date(2010, 5, 20)
    names = list(kind.parameter_set(own).unknowns())
    ends = np.repeat(best_estimate(len(names)), 2, axis=0)
    ends[:, names.index(unknown)] = 0.05, 0.95
    yard = read_yard(write_measured(tmp_path))
    assert yard.measured is not None
    middles = []
    for said in run_days(kind, own, ends, last, [column])[0].T:
        values = 1.8 * said + 32.0 if header.endswith("_f") else said
        file = hourly(tmp_path / "log.csv", header, values)
        measured = replace(yard.measured, weighings=None, **{key: file})
        readings = read_measurements(measured, -5)
        with mock.patch.object(room, "DRAWS", 256):
            found = room.learn(kind, own, measured, readings, last)
        assert found.bag_days + found.bark_days == 39
        draws = found.posterior.quantiles[:, names.index(unknown)]
        middles.append(updating.weighted_quantiles(draws, found.posterior.weights)[1])
    assert middles[0] < 0.5 < middles[1]
    assert middles[1] - middles[0] > 0.15


def test_a_logger_of_another_season_or_without_its_column_is_refused(  # type: ignore[no-untyped-def]
    kind, tmp_path: Path
) -> None:
    yard = read_yard(write_measured(tmp_path))
    assert yard.measured is not None
    file = hourly(tmp_path / "bark.csv", "bark_temp_c", np.full(20, 30.0))
    measured = replace(yard.measured, weighings=None, bark_thermometer=file)
    readings = read_measurements(measured, -5)
    other = replace(kind, stack=replace(kind.stack, inoculated=date(2010, 6, 1)))
    with pytest.raises(InputError, match="no whole day of readings from 2010-06-01 to 2010-08-01"):
        room.learn(other, Scheme(canopy="open"), measured, readings, AS_OF)
    for header, said in (("bark_temp", "no bark_temp_c among"), ("bark_temp_c", "cannot be")):
        hourly(file, header, np.full(20, 130.0))
        with pytest.raises(InputError, match=said):
            read_measurements(measured, -5)


# ---------------------------------------------------------------- the evidence, reduced


def test_ten_weighings_and_a_disc_halve_the_error_of_the_moisture() -> None:
    """Pieces of a finer grid and of wider ranges; the whole in tests/weighing_evidence.md."""
    scheme, ends = weighing_evidence.SETTINGS["bag under hardwoods, ends sealed"]
    truth = weighing_evidence.true_moisture(scheme, ends, 64, fine=2)
    own = weighing_evidence.own_moisture(scheme, ends, 512)
    dry = dry_mass_kg(weighing_evidence.piece_model(ends, grids.Cut()))
    found = weighing_evidence.weigh_all(truth, own, disc=True, dry_kg=dry)
    assert weighing_evidence.pooled(found.after) < 0.5 * weighing_evidence.pooled(found.before)
    assert weighing_evidence.mean_interval(found.change)[2] < 0.0
    assert weighing_evidence.mean_interval(found.ahead_after - found.ahead_before)[2] < 0.0
    assert (found.change > 0.0).mean() < 0.1
    assert found.left_out <= 6
