"""Error of a chance that the draws leave, by repeated seeds: the numbers of the README.

``python tests/draw_error.py`` takes some minutes: the invented farm's stack as it stands and in
the open, with the draws of the default, seed by seed, beside the error told of a single seed.
"""

from __future__ import annotations

import numpy as np

from climate_risk import api
from climate_risk.demo_files import demo_folder
from climate_risk.engine.blocks import advance, new_blocks
from climate_risk.engine.draws import draws_for, latin_hypercube
from climate_risk.engine.stack import Scheme, stack_model
from climate_risk.risk.chance import KILLED_BY_HEAT, draw_error
from climate_risk.risk.ensemble import collect, jobs_for, start_rows, usable_years

SEEDS = 8


def main() -> None:
    yard = api.read_yard(demo_folder() / "yard.toml")
    record = api.load_weather(yard).record
    stack = yard.stacks[0]
    for canopy in (yard.canopy, "open"):
        kind = stack_model(stack, record, yard.openness, yard.canopy)
        years = usable_years(kind, kind.start_day, kind.horizon)
        draws = draws_for(len(years))
        scheme = Scheme(canopy=canopy, covers=stack.covers, waterings=stack.waterings)
        unknowns = len(kind.parameter_set(scheme).unknowns())
        rows = start_rows(kind, years, draws, kind.start_day, 0)
        means, told = [], []
        for seed in range(SEEDS):
            blocks = new_blocks(kind, scheme, latin_hypercube(len(years) * draws, unknowns, seed))
            advance(jobs_for(kind, scheme, blocks, rows, 0, kind.hours))
            ends = collect(kind, scheme, blocks, years, draws)
            lost = (ends.outcomes >= KILLED_BY_HEAT).astype(np.float64)
            means.append(lost.mean())
            told.append(draw_error(lost, ends.quantiles))
        print(
            f"{canopy}: {len(years)} years x {draws} draws, chance {100 * np.mean(means):.1f} %, "
            f"seeds differ by {100 * np.std(means, ddof=1):.2f} points, told "
            f"{100 * np.mean(told):.2f} ({100 * min(told):.2f} to {100 * max(told):.2f})",
            flush=True,
        )


if __name__ == "__main__":
    main()
