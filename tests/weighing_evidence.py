"""What ten weighings of a witness piece are worth; writes ``tests/weighing_evidence.md``.

The pieces are simulated on a grid four times finer than the program's, with numbers drawn from
ranges wider than the program's, an oven-dry mass that differs from what size says, and a scale
that errs by 0.1 kg; the program then weighs its own draws, on its own grid, by ten masses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
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
from climate_risk.risk.updating import Piece, judge, weights_of
from climate_risk.schema import drawn_fields
from climate_risk.tables import measuring

FloatArray = npt.NDArray[np.float64]

WIDER = 1.3
"""Of the program's range, either way from the best estimate."""
PIECES = 256
DRAWS = 1024
SCALE_KG = 0.1
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
REPORT = Path(__file__).with_suffix(".md")


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


def true_moisture(scheme: Scheme, ends: Ends, pieces: int, fine: int = 4) -> FloatArray:
    """(days, pieces) of pieces on the finer grid with numbers of wider ranges."""
    kind = piece_model(ends, grids.Cut().refined(fine))
    rows = wider_rows(kind.parameter_set(scheme))
    sample = latin_hypercube(pieces, len(rows.unknowns()), 77)
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
    """With the draws weighed by the disc and not by the weighings."""
    ahead_before: FloatArray
    """The same after the last weighing alone."""
    ahead_after: FloatArray
    left_out: int
    """Good weighings that were taken for bad."""
    unused: int
    """Pieces whose weighings were set aside."""
    tempered: int
    within: float
    """Share of days, all pieces, on which the truth lies in the 10 to 90 % band."""

    @property
    def change(self) -> FloatArray:
        return self.after - self.before


def weigh_all(
    truth: FloatArray, own: FloatArray, *, disc: bool, dry_kg: float, seed: int = 5
) -> Found:
    """Weigh every true piece ten times and let the program learn from it."""
    rng, row = np.random.default_rng(seed), measuring()
    days = np.arange(len(truth))
    held = ~np.isin(days, WEIGHED)
    ahead = days > WEIGHED[-1]
    errors, left_out, unused, tempered, within = [], 0, 0, 0, []
    for true in truth.T:
        dry = 1.0 + WIDER * row.dry_mass_error.value * rng.standard_normal()
        noise = SCALE_KG * rng.standard_normal(WEIGHED.size)
        piece = Piece(
            days=WEIGHED.astype(np.float64),
            mass_kg=dry_kg * dry * (1.0 + true[WEIGHED]) + noise,
            moisture=own[WEIGHED].T,
            dry_kg=dry_kg,
            dry_error=row.dry_mass_error.value,
            scale_error_kg=SCALE_KG,
            discrepancy=row.moisture_discrepancy.value,
            discrepancy_days=row.discrepancy_days.value,
        )
        other = np.zeros(own.shape[1])
        seen = true[0] + row.disc_error.value * rng.standard_normal()
        if disc:
            other = -0.5 * ((seen - own[0]) / row.disc_error.value) ** 2
        found = judge(piece, other)
        left_out += int((~found.kept).sum())
        unused += not found.used
        tempered += 0.0 < found.power < 1.0
        sets = (weights_of(other, 0.0), found.weights, weights_of(other, 1.0))
        apart = [own @ weights - true for weights in sets]
        errors.append([np.sqrt((e[d] ** 2).mean()) for d in (held, ahead) for e in apart])
        below = ((own < true[:, None]) * found.weights).sum(axis=1)[held]
        within.append(((below > 0.1) & (below < 0.9)).mean())
    before, after, alone, ahead_before, ahead_after, _ = 100.0 * np.array(errors).T
    return Found(
        before=before,
        after=after,
        disc_alone=alone,
        ahead_before=ahead_before,
        ahead_after=ahead_after,
        left_out=left_out,
        unused=unused,
        tempered=tempered,
        within=float(np.mean(within)),
    )


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
    )
    found = judge(piece, np.zeros(made.shape[1]))
    return found.weights, drying.wet_basis_pct(made[july["days"]]), drying.wet_basis_pct(made[-1])


HEAD = (
    "# What weighing one piece is worth\n\n"
    "Made by `python tests/weighing_evidence.py` (some minutes on two cores).\n\n"
    "{pieces} aspen pieces of 12 by 10 inches stand through the invented farm's warm season of "
    "2023. They are simulated on a grid four times finer each way than the program's, with every "
    "number drawn from a range {wider} times the program's, and an oven-dry mass that differs "
    "from what size and density say by {dry:.0%} (standard deviation). Each is weighed ten times, "
    "every two weeks, on a scale that errs by {scale} kg; the disc errs by {disc:.0f} points. The "
    "program weighs {draws:,} draws of its own ranges, on its own grid, by these masses. Errors "
    "are of the piece's moisture, in points of oven-dry mass, root mean square over the days on "
    "which it was not weighed: *before* is the mean of all draws, *disc* that of draws weighed by "
    "the disc alone. *Ahead* counts only the 45 days after the last weighing. *Left out* counts "
    "good weighings taken for bad, *set aside* pieces whose weighings did not help when held out, "
    "*trusted less* those whose weighings were tempered, *in band* the days on which the truth "
    "lies in the band of 8 times in 10.\n\n"
    "| piece | disc | before | disc | after | left | mean change (95 % interval) | made worse "
    "| ahead before | after | mean change | left out | set aside | trusted less | in band |\n"
    "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n"
)


def line(name: str, disc: bool, found: Found) -> str:
    mean, low, high = mean_interval(found.change)
    ahead = mean_interval(found.ahead_after - found.ahead_before)
    pieces = found.before.size
    return (
        f"| {name} | {'yes' if disc else 'no'} | {pooled(found.before):.1f} | "
        f"{format(pooled(found.disc_alone), '.1f') if disc else ''} | "
        f"{pooled(found.after):.1f} | {pooled(found.after) / pooled(found.before):.0%} | "
        f"{mean:+.1f} ({low:+.1f} to {high:+.1f}) | {(found.change > 0.0).mean():.0%} | "
        f"{pooled(found.ahead_before):.1f} | {pooled(found.ahead_after):.1f} | "
        f"{ahead[0]:+.1f} ({ahead[1]:+.1f} to {ahead[2]:+.1f}) | "
        f"{found.left_out} of {10 * pieces} | {found.unused} | {found.tempered} | "
        f"{found.within:.0%} |\n"
    )


def main() -> None:
    row = measuring()
    text = HEAD.format(
        pieces=PIECES,
        wider=WIDER,
        dry=WIDER * row.dry_mass_error.value,
        scale=SCALE_KG,
        disc=100.0 * row.disc_error.value,
        draws=DRAWS,
    )
    grid = []
    for name, (scheme, ends) in SETTINGS.items():
        truth, own = true_moisture(scheme, ends, PIECES), own_moisture(scheme, ends, DRAWS)
        dry = dry_mass_kg(piece_model(ends, grids.Cut()))
        for disc in (True, False):
            text += line(name, disc, weigh_all(truth, own, disc=disc, dry_kg=dry))
            print(text.splitlines()[-1], flush=True)
        coarse = true_moisture(scheme, ends, PIECES, fine=1)
        off, most = grid_error(truth, coarse)
        grid.append(f"| {name} | {off:.1f} | {most:.1f} |\n")
        print(grid[-1], flush=True)
    text += (
        "\n## The program's grid, the same numbers in both\n\n| piece | root mean square [points] "
        "| 95th percentile |\n| --- | --- | --- |\n" + "".join(grid)
    )
    weights, july, december = published()
    flat = np.full(weights.size, 1.0 / weights.size)
    published_july = drying.CASES["V2 July"]["value"]
    published_december = drying.CASES["V2 December"]["value"]
    text += (
        "\n## A published series, weighed in the same way\n\n"
        "Lercher 2016 (abstract; V2 of `tests/published/drying.toml`, a mean of five species run "
        f"as beech): 44 % of wet mass in February, {published_july:.0f} in July, "
        f"{published_december:.0f} in December. The program is given February and July as two "
        "weighings of a log of 1 m by 15 cm and foretells December.\n\n"
        "| | July | December |\n| --- | --- | --- |\n"
        f"| published | {published_july:.1f} | {published_december:.1f} |\n"
        f"| before (mean of {weights.size} draws) | {flat @ july:.1f} | {flat @ december:.1f} |\n"
        f"| after | {weights @ july:.1f} | {weights @ december:.1f} |\n"
    )
    REPORT.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
