"""A stack's runs to date, carried on from today's state with each past year's weather."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine import hours as k
from climate_risk.engine.blocks import Block, advance, branch, new_blocks
from climate_risk.engine.draws import SEED, best_estimate, latin_hypercube
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.log.layout import CASES
from climate_risk.risk.ensemble import Outcomes, collect, jobs_for, start_rows, usable_years

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """A stack's runs to date, and what it takes to carry them on from there."""

    kind: StackModel
    scheme: Scheme
    seen: tuple[Block, ...]
    """The reference run, where there is one, then the draws, year by year."""
    references: int
    seen_hours: int
    next_day: date
    years: tuple[int, ...]
    draws: int
    has_past: bool = True
    """False where the record holds no past year to go on with: then this is all there is."""

    @property
    def over(self) -> bool:
        """True where there is nothing to run on: at the horizon, or without a past year."""
        return self.seen_hours >= self.kind.hours or not self.has_past

    def carry_on(self, scheme: Scheme) -> tuple[list[Block], Outcomes]:
        """Run every past year's weather on from today's state under a scheme.

        Of a season that is over, or has no past years to go on with, what came of it so far:
        one year, and nothing to run.
        """
        if self.over:
            blocks = branch(self.seen, self._drawn(), with_days=True)
            return blocks, collect(self.kind, scheme, blocks, self.years, self.draws)
        lanes = self._drawn()
        blocks = branch(self.seen, lanes)
        rows = start_rows(self.kind, self.years, self.draws, self.next_day, self.seen_hours)
        advance(jobs_for(self.kind, scheme, blocks, rows, self.seen_hours, self.kind.hours))
        before = self._extremes_to_date()
        earlier = None if before is None else before[:, lanes]
        return blocks, collect(
            self.kind, scheme, blocks, self.years, self.draws, earlier, self.seen_hours
        )

    def carry_reference_on(self) -> list[Block]:
        """The reference run from today's state with each past year's weather; none once over."""
        if self.over or not self.references:
            return []
        blocks = branch(self.seen, np.zeros(len(self.years), dtype=np.int64))
        rows = start_rows(self.kind, self.years, 1, self.next_day, self.seen_hours)
        advance(jobs_for(self.kind, self.scheme, blocks, rows, self.seen_hours, self.kind.hours))
        return blocks

    def _drawn(self) -> npt.NDArray[np.int64]:
        runs = len(self.years) * self.draws
        return np.arange(self.references, self.references + runs, dtype=np.int64)

    def _extremes_to_date(self) -> FloatArray | None:
        days = self.kind.inoculation_hour // HOURS_PER_DAY
        daily = np.concatenate([b.daily for b in self.seen], axis=-1)[days:]
        if len(daily) == 0:
            return None
        return np.stack(
            [daily[:, k.D_DRIEST_FACE].min(axis=0), daily[:, k.D_BARK_MAX].max(axis=0)]
        )


def look_at_all(
    kind: StackModel,
    schemes: Sequence[Scheme],
    as_of: date,
    draws: int,
) -> list[Outlook]:
    """Run a stack through the weather seen so far and find the past years to go on with.

    Schemes run side by side; only the first has a reference run.
    """
    next_day = min(as_of + timedelta(days=1), kind.horizon)
    own_year = kind.stack.inoculated.year
    years: tuple[int, ...] = (own_year,)
    if next_day < kind.horizon:
        years = usable_years(kind, next_day, kind.horizon)
        years = tuple(y for y in years if y < own_year) or years
    has_past = bool(years)
    years = years or (own_year,)
    hours = (next_day - kind.start_day).days * HOURS_PER_DAY
    start = np.full(CASES, kind.record.row(kind.start_day), dtype=np.int64)
    outlooks, jobs = [], []
    for place, scheme in enumerate(schemes):
        unknowns = len(kind.parameter_set(scheme).unknowns())
        sample = latin_hypercube(len(years) * draws, unknowns, SEED)
        if place == 0:
            sample = np.concatenate([best_estimate(unknowns), sample])
        seen = new_blocks(kind, scheme, sample)
        jobs += jobs_for(kind, scheme, seen, [start] * len(seen), 0, hours)
        outlooks.append(
            Outlook(
                kind=kind,
                scheme=scheme,
                seen=tuple(seen),
                references=1 if place == 0 else 0,
                seen_hours=hours,
                next_day=next_day,
                years=years,
                draws=draws,
                has_past=has_past,
            )
        )
    advance(jobs)
    return outlooks
