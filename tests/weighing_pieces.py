"""Invented witness pieces, weighed as the program weighs a grower's.

The pieces are simulated on a grid four times finer than the program's, with numbers drawn from
ranges wider than the program's, an oven-dry mass that differs from what size says, and a scale
that errs by 0.1 kg; the program then weighs its own draws, on its own grid, by ten masses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from unittest import mock

import drying
import grids
import numpy as np
import numpy.typing as npt
import risk_samples

from climate_risk.engine import stack as stack_room
from climate_risk.engine.draws import ParameterSet, latin_hypercube
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.engine.witness import dry_mass_kg, midday_moisture, witness_model
from climate_risk.log import geometry
from climate_risk.measured_options import Ends
from climate_risk.options import CoverSpan
from climate_risk.parameter import Parameter
from climate_risk.risk.updating import judge, weights_of
from climate_risk.risk.weighed_piece import Disc, Piece
from climate_risk.schema import drawn_fields
from climate_risk.tables import measuring

FloatArray = npt.NDArray[np.float64]

WIDER = 1.3
"""Of the program's range, either way from the best estimate."""
PIECES = 256
DRAWS, IDEAL_DRAWS = 1024, 8192
FRESH, TUNED_ON = 4_711, 101
"""Seeds of the pieces that are told of, and of those that the model's error was set on."""
SCALE_KG = 0.1
DRY_ERROR = 0.13
"""Of a piece's oven-dry mass; a little more than the program's."""
WEIGHED = np.arange(0, 127, 14)
"""Days since the piece was cut, ten of them."""
LAST = grids.FIRST + timedelta(days=grids.DAYS - 1)
LENGTH_M, DIAMETER_M = 0.305, 0.254
"""12 by 10 inches."""
BAGGED = Scheme(canopy="deciduous", covers=(CoverSpan(kind="bag", material="paper"),))
SETTINGS: Mapping[str, tuple[Scheme, Ends]] = {
    "bag under hardwoods, ends sealed": (BAGGED, "sealed"),
    "bag under hardwoods, ends bare": (BAGGED, "bare"),
    "uncovered under hardwoods, ends sealed": (Scheme(canopy="deciduous"), "sealed"),
}


def wider(parameter: Parameter) -> Parameter:
    """A parameter with a wider range; shares stay shares."""
    ends = np.array([parameter.low, parameter.high])
    if parameter.scale == "log":
        low, high = parameter.value * (ends / parameter.value) ** WIDER
    else:
        low, high = parameter.value + WIDER * (ends - parameter.value)
        low = max(low, 0.5 * parameter.low) if parameter.low >= 0.0 else low
    if parameter.unit == "1" and parameter.high <= 1.0:
        high = min(high, 1.0)
    return replace(parameter, low=float(low), high=float(high))


def wider_rows(rows: ParameterSet) -> ParameterSet:
    """Every drawn number of a stack over a wider range; a bag's light must add up to 1."""
    groups = {}
    for group in ("wood", "model", "canopy", "bag", "barrier"):
        row = getattr(rows, group)
        names = [n for n in drawn_fields(type(row)) if not n.startswith("solar_")]
        groups[group] = replace(row, **{n: wider(getattr(row, n)) for n in names})
    return replace(rows, **groups)


def piece_model(ends: Ends, cut: grids.Cut) -> StackModel:
    """The witness of the invented farm's warm season of 2023, on a grid."""
    stack = risk_samples.small_stack(inoculated=grids.FIRST)
    own = stack_room.stack_model(stack, grids.record(True), 0.0)
    with (
        mock.patch.object(stack_room, "RINGS", cut.rings),
        mock.patch.object(stack_room, "LEVELS_PER_PIECE", cut.levels),
        mock.patch.object(stack_room, "CAP_LEVELS", cut.cap),
        mock.patch.object(geometry, "RING_RATIO", cut.ring_ratio),
        mock.patch.object(geometry, "LEVEL_RATIO", cut.level_ratio),
    ):
        return witness_model(own, LENGTH_M, DIAMETER_M, ends)


def true_moisture(
    scheme: Scheme,
    ends: Ends,
    pieces: int,
    fine: int = 4,
    *,
    seed: int = FRESH,
    are_wider: bool = True,
) -> FloatArray:
    """(days, pieces) of pieces on the finer grid, with numbers of wider ranges or of our own."""
    kind = piece_model(ends, grids.Cut().refined(fine) if fine > 1 else grids.Cut())
    rows = kind.parameter_set(scheme)
    rows = wider_rows(rows) if are_wider else rows
    sample = latin_hypercube(pieces, len(rows.unknowns()), seed)
    with mock.patch.object(StackModel, "parameter_set", return_value=rows):
        return midday_moisture(kind, scheme, sample, LAST)


def own_moisture(scheme: Scheme, ends: Ends, draws: int) -> FloatArray:
    """(days, draws) as the program simulates it."""
    kind = piece_model(ends, grids.Cut())
    sample = latin_hypercube(draws, len(kind.parameter_set(scheme).unknowns()), 6_022)
    return midday_moisture(kind, scheme, sample, LAST)


@dataclass(frozen=True)
class Found:
    """Of every piece, root mean square error of moisture [points] on days not weighed."""

    before: FloatArray
    after: FloatArray
    disc_alone: FloatArray
    """With the disc and without the weighings."""
    draws_alone: FloatArray
    """Of the draws so weighed, without the piece's own error: what the stack's outlook has."""
    ahead_before: FloatArray
    """The same after the last weighing alone."""
    ahead_after: FloatArray
    left_out: int
    """Good weighings that were taken for bad."""
    unused: int
    """Pieces whose weighings were set aside."""
    tempered: int
    within_before: float
    """Share of days, all pieces, on which the truth lies in the 10 to 90 % band."""
    within: float

    @property
    def change(self) -> FloatArray:
        return self.after - self.before


def witness(
    own: FloatArray, true: FloatArray, dry_kg: float, disc: bool, rng: np.random.Generator
) -> Piece:
    """One true piece weighed ten times, and what the program's draws say of it."""
    row = measuring()
    dry = dry_kg * (1.0 + DRY_ERROR * rng.standard_normal())
    noise = SCALE_KG * rng.standard_normal(WEIGHED.size)
    seen = true[0] + row.disc_error.value * rng.standard_normal()
    return Piece(
        days=WEIGHED.astype(np.float64),
        mass_kg=dry * (1.0 + true[WEIGHED]) + noise,
        moisture=own[WEIGHED].T,
        dry_kg=dry_kg,
        dry_error=row.dry_mass_error.value,
        scale_error_kg=SCALE_KG,
        discrepancy=row.moisture_discrepancy.value,
        discrepancy_days=row.discrepancy_days.value,
        level_error=row.level_error.value,
        disc=Disc(day=0.0, reading=seen, error=row.disc_error.value, moisture=own[0])
        if disc
        else None,
    )


def weigh_all(
    truth: FloatArray, own: FloatArray, *, disc: bool, dry_kg: float, seed: int = 5
) -> Found:
    """Weigh every true piece ten times and let the program learn from it."""
    rng = np.random.default_rng(seed)
    days, none = np.arange(float(len(truth))), np.zeros(WEIGHED.size, dtype=np.bool_)
    held, ahead = ~np.isin(days, WEIGHED), days > WEIGHED[-1]
    flat = weights_of(np.zeros(own.shape[1]), 0.0)
    usual = np.quantile(own, (0.1, 0.9), axis=1)
    errors, left_out, unused, tempered, within = [], 0, 0, 0, []
    for true in truth.T:
        piece = witness(own, true, dry_kg, disc, rng)
        found = judge(piece, np.zeros(own.shape[1]))
        left_out += int((~found.kept).sum())
        unused += not found.used
        tempered += found.power < 1.0
        by_disc = piece.only(none)
        disc_weights = weights_of(by_disc.fit().log_likelihood, 1.0) if disc else flat
        after = found.piece.moisture_on(days, own.T)
        said = (
            own @ flat,
            found.weights @ after.mean,
            disc_weights @ by_disc.moisture_on(days, own.T).mean,
            own @ found.weights,
        )
        apart = [each - true for each in said]
        errors.append([np.sqrt((e[d] ** 2).mean()) for d in (held, ahead) for e in apart])
        low, _, high = after.quantiles(found.weights)
        bands = (usual, (low, high))
        within.append([((true > a) & (true < b))[held].mean() for a, b in bands])
    before, after_all, alone, draws, ahead_before, ahead_after, *_ = 100.0 * np.array(errors).T
    within_before, within_after = np.mean(within, axis=0)
    return Found(
        before=before,
        after=after_all,
        disc_alone=alone,
        draws_alone=draws,
        ahead_before=ahead_before,
        ahead_after=ahead_after,
        left_out=left_out,
        unused=unused,
        tempered=tempered,
        within_before=float(within_before),
        within=float(within_after),
    )


def ideal_left(scheme: Scheme, ends: Ends, dry_error: float, pieces: int = 128) -> float:
    """Share of the moisture error that the best possible observer is left with, without a disc.

    He knows the wider ranges that the pieces come from, the grid they are simulated on and how
    far oven-dry mass may be off; the mean of his draws is then the estimate of least square error
    (Gelman et al. 2013, Bayesian Data Analysis, section 2.2; from memory).
    """
    rng = np.random.default_rng(5)
    dry_kg = dry_mass_kg(piece_model(ends, grids.Cut()))
    draws = true_moisture(scheme, ends, IDEAL_DRAWS, 1, seed=909)
    held = ~np.isin(np.arange(len(draws)), WEIGHED)
    before, after = [], []
    for true in true_moisture(scheme, ends, pieces, 1, seed=515).T:
        dry = dry_kg * (1.0 + dry_error * rng.standard_normal())
        mass = dry * (1.0 + true[WEIGHED]) + SCALE_KG * rng.standard_normal(WEIGHED.size)
        piece = Piece(
            days=WEIGHED.astype(np.float64), mass_kg=mass, moisture=draws[WEIGHED].T,
            dry_kg=dry_kg, dry_error=dry_error, scale_error_kg=SCALE_KG, discrepancy=0.005,
            discrepancy_days=45.0, level_error=0.0,
        )  # fmt: skip
        weights = weights_of(piece.fit().log_likelihood, 1.0)
        before.append((draws.mean(axis=1) - true)[held])
        after.append((draws @ weights - true)[held])
    return pooled(np.array(after)) / pooled(np.array(before))


def nearest(own: FloatArray, truth: FloatArray) -> tuple[float, float]:
    """By how much the nearest draw misses a piece [kg/kg], and over how many days that lasts."""
    rest = []
    for true in truth.T:
        apart = true[:, None] - own
        rest.append(apart[:, (apart**2).mean(axis=0).argmin()])
    missed = np.array(rest)
    lags = np.arange(5, 91, 5)
    alike = [(missed[:, :-n] * missed[:, n:]).mean() / (missed**2).mean() for n in lags]
    positive = np.array(alike) > 0.1
    days = -lags[positive] / np.log(np.array(alike)[positive])
    return float(np.sqrt((missed**2).mean())), float(np.median(days))


def mean_interval(values: FloatArray) -> tuple[float, float, float]:
    """Mean and its 95 % interval by the normal law."""
    half = 1.96 * values.std(ddof=1) / np.sqrt(values.size)
    return float(values.mean()), float(values.mean() - half), float(values.mean() + half)


def pooled(values: FloatArray) -> float:
    return float(np.sqrt((values**2).mean()))


def grid_error(own_truth: FloatArray, coarse: FloatArray) -> tuple[float, float]:
    """Root mean square and 95th percentile of the grid's error [points], the same numbers."""
    apart = 100.0 * np.abs(coarse - own_truth)
    return pooled(apart), float(np.quantile(apart, 0.95))


def published(seeds: int = 8) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The published series V2: start and July weighed, December foretold.

    Returns
    -------
    (draws,), (draws,), (draws,)
        Weights, moisture in July and in December, percent of wet mass.
    """
    case = drying.CASES["V2 December"]
    place = [case[key] for key in drying.LOG_KEYS]
    parts = []
    for n in range(seeds):
        with mock.patch.object(drying, "SEED", drying.SEED + n):
            log = drying.make_log(*place)
        parts.append(drying.dry_case(case, log)[:, 1:])
    made = np.concatenate(parts, axis=1)
    july = drying.CASES["V2 July"]
    volume = np.pi * (case["diameter_m"] / 2.0) ** 2 * case["length_m"]
    dry = volume * drying.wood_of(case["wood"]).basic_density_kg_m3.value
    wet = np.array([case["start_db"] / 100.0, july["value"] / (100.0 - july["value"])])
    days, row = np.array([0, july["days"]]), measuring()
    piece = Piece(
        days=days.astype(np.float64),
        mass_kg=dry * (1.0 + wet),
        moisture=made[days].T,
        dry_kg=dry,
        dry_error=row.dry_mass_error.value,
        scale_error_kg=SCALE_KG,
        discrepancy=row.moisture_discrepancy.value,
        discrepancy_days=row.discrepancy_days.value,
        level_error=row.level_error.value,
    )
    found = judge(piece, np.zeros(made.shape[1]))
    return found.weights, drying.wet_basis_pct(made[july["days"]]), drying.wet_basis_pct(made[-1])
