"""What ten weighings of a witness piece are worth; writes ``tests/weighing_evidence.md``."""

from __future__ import annotations

from pathlib import Path

import drying
import grids
import numpy as np
from weighing_pieces import (
    DRAWS,
    DRY_ERROR,
    IDEAL_DRAWS,
    PIECES,
    SCALE_KG,
    SETTINGS,
    TUNED_ON,
    WIDER,
    Found,
    grid_error,
    ideal_left,
    mean_interval,
    nearest,
    own_moisture,
    piece_model,
    pooled,
    published,
    true_moisture,
    weigh_all,
)

from climate_risk.engine.witness import dry_mass_kg
from climate_risk.tables import measuring

REPORT = Path(__file__).with_suffix(".md")

HEAD = """# What weighing one piece is worth

Made by `python tests/weighing_evidence.py` (a quarter of an hour on one free core).

{pieces} aspen pieces of 12 by 10 inches stand through the invented farm's warm season of \
2023. They are simulated on a grid four times finer each way than the program's, with every \
number drawn from a range {wider} times the program's, and an oven-dry mass that differs from \
what size and density say by {dry:.0%} (standard deviation; the program takes {own_dry:.0%}). \
Each is weighed ten times, every two weeks, on a scale that errs by {scale} kg; a disc errs by \
{disc:.0f} points. The program weighs {draws:,} draws of its own ranges, on its own grid, by \
these masses. Errors are of the piece's moisture, in points of oven-dry mass, root mean square \
over the days on which it was not weighed: *before* is the mean of all draws, *disc* with the \
disc alone, *draws* that of the weighed draws without the piece's own error, which is what the \
stack's outlook rests on. *Ahead* counts only the 45 days after the last weighing. *Left out* \
counts good weighings taken for bad, *set aside* pieces whose weighings did not help when held \
out, *trusted less* those whose weighings were tempered.

| piece | disc | before | disc | after | left | draws | mean change (95 % interval) | made \
worse | ahead before | after | mean change | left out | set aside | trusted less |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
"""
BANDS = """
## Do bands of 8 times in 10 hold?

Share of days, not weighed, on which the truth lies in the band: *wider* of the pieces above, \
*own* of {own} pieces of the program's own ranges and grid. The band holds the model's own \
error in the piece: {near:.0f} points over {days:.0f} days, by which the nearest draw misses \
pieces of the refined grid ({nearest}; over {lasting} days), and {level:.0f} points all along \
for a tree wetter or drier than its wood's range says, set on 96 pieces of another seed as the \
least that brought all bands near 8 in 10. Of wider pieces the band *before* any reading holds \
far less often than 8 in 10, since they were drawn from ranges that the program does not know; \
without a disc, weights do not tell the level, and what is left of that stays.

| piece | disc | wider, before | wider, after | own, before | own, after |
| --- | --- | --- | --- | --- | --- |
"""
BOUND = """
## What could be reached without a disc

An observer who knows the very ranges and grid the pieces come from, and how far dry mass may \
be off, is left with this share of the error ({draws:,} draws, 128 pieces, no model error): \
less cannot be had from ten weights alone. A piece with sealed ends loses little water, so its \
weight says how wet it is only as well as its dry mass is known: halving its error is out of \
reach without a disc. One with a bare end dries far enough for the shape of the drying to tell \
both, and there ten weights halve it.

| piece | dry mass known to {rough:.0%} | known to {fair:.0%} |
| --- | --- | --- |
"""


def line(name: str, disc: bool, found: Found) -> str:
    mean, low, high = mean_interval(found.change)
    ahead = mean_interval(found.ahead_after - found.ahead_before)
    pieces, before = found.before.size, pooled(found.before)
    return (
        f"| {name} | {'yes' if disc else 'no'} | {before:.1f} | "
        f"{format(pooled(found.disc_alone), '.1f') if disc else ''} | "
        f"{pooled(found.after):.1f} | {pooled(found.after) / before:.0%} | "
        f"{pooled(found.draws_alone) / before:.0%} | "
        f"{mean:+.1f} ({low:+.1f} to {high:+.1f}) | {(found.change > 0.0).mean():.0%} | "
        f"{pooled(found.ahead_before):.1f} | {pooled(found.ahead_after):.1f} | "
        f"{ahead[0]:+.1f} ({ahead[1]:+.1f} to {ahead[2]:+.1f}) | "
        f"{found.left_out} of {10 * pieces} | {found.unused} | {found.tempered} |\n"
    )


def main() -> None:
    row, own_pieces = measuring(), PIECES // 2
    text = HEAD.format(
        pieces=PIECES,
        wider=WIDER,
        dry=DRY_ERROR,
        own_dry=row.dry_mass_error.value,
        scale=SCALE_KG,
        disc=100.0 * row.disc_error.value,
        draws=DRAWS,
    )
    grid, bands, missed, bounds = [], [], [], []
    rough, fair = DRY_ERROR, 0.05
    for name, (scheme, ends) in SETTINGS.items():
        truth, own = true_moisture(scheme, ends, PIECES), own_moisture(scheme, ends, DRAWS)
        same = true_moisture(scheme, ends, own_pieces, 1, are_wider=False)
        dry = dry_mass_kg(piece_model(ends, grids.Cut()))
        for disc in (True, False):
            found, alike = (weigh_all(t, own, disc=disc, dry_kg=dry) for t in (truth, same))
            text += line(name, disc, found)
            bands.append(
                f"| {name} | {'yes' if disc else 'no'} | {found.within_before:.0%} | "
                f"{found.within:.0%} | {alike.within_before:.0%} | {alike.within:.0%} |\n"
            )
            print(text.splitlines()[-1], bands[-1], flush=True)
        coarse = true_moisture(scheme, ends, PIECES, fine=1)
        off, most = grid_error(truth, coarse)
        grid.append(f"| {name} | {off:.1f} | {most:.1f} |\n")
        missed.append(nearest(own, true_moisture(scheme, ends, 96, seed=TUNED_ON)))
        left = [ideal_left(scheme, ends, error) for error in (rough, fair)]
        bounds.append(f"| {name} | {left[0]:.0%} | {left[1]:.0%} |\n")
        print(grid[-1], missed[-1], bounds[-1], flush=True)
    text += BANDS.format(
        own=own_pieces,
        near=100.0 * row.moisture_discrepancy.value,
        days=row.discrepancy_days.value,
        nearest=", ".join(f"{100.0 * each:.1f}" for each, _ in missed),
        lasting=", ".join(f"{days:.0f}" for _, days in missed),
        level=100.0 * row.level_error.value,
    ) + "".join(bands)
    text += BOUND.format(draws=IDEAL_DRAWS, rough=rough, fair=fair) + "".join(bounds)
    text += (
        "\n## The program's grid, the same numbers in both\n\n| piece | root mean square [points] "
        "| 95th percentile |\n| --- | --- | --- |\n" + "".join(grid)
    )
    REPORT.write_text(text + published_words(), encoding="utf-8")


def published_words() -> str:
    """The published series before and after."""
    weights, july, december = published()
    flat = np.full(weights.size, 1.0 / weights.size)
    published_july = drying.CASES["V2 July"]["value"]
    published_december = drying.CASES["V2 December"]["value"]
    return (
        "\n## A published series, weighed in the same way\n\n"
        "Lercher 2016 (abstract; V2 of `tests/published/drying.toml`, a mean of five species run "
        f"as beech): 44 % of wet mass in February, {published_july:.0f} in July, "
        f"{published_december:.0f} in December. The program is given February and July as two "
        "weighings of a log of 1 m by 15 cm and foretells December.\n\n"
        "| | July | December |\n| --- | --- | --- |\n"
        f"| published | {published_july:.1f} | {published_december:.1f} |\n"
        f"| before (mean of {weights.size} draws) | {flat @ july:.1f} | {flat @ december:.1f} |\n"
        f"| after | {weights @ july:.1f} | {weights @ december:.1f} |\n\n"
        "Other logs were weighed more often: monthly (Heikinheimo 1915, Acta Forestalia Fennica "
        "4:3; split), regularly (Visser, Berkett and Spinelli 2014, N. Z. J. For. Sci. 44:3), "
        "daily (Croat. J. For. Eng., January 2018), every two days (Jakubowski and Praczyk 2022, "
        "Baltic Forestry 28:123-130). Of each only the abstract could be read, which gives the "
        "ends and not the weights between, so no second series is weighed here.\n"
    )


if __name__ == "__main__":
    main()
