"""A stack's runs to date, carried on from today's state with each past year's weather.

Where the weather ends in a forecast, the first days are that, faded into each past year.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine import hours as k
from climate_risk.engine.blocks import Block, advance, branch, new_blocks, runs_by_block
from climate_risk.engine.days import shifted
from climate_risk.engine.draws import SEED, best_estimate, draws_for, latin_hypercube
from climate_risk.engine.forecast import Bridge
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.log.layout import CASES
from climate_risk.risk.ensemble import Outcomes, collect, jobs_for, start_rows, usable_years
from climate_risk.risk.updating import Posterior

FloatArray = npt.NDArray[np.float64]


@dataclass(kw_only=True)
class Way:
    """Runs on their way from today to the horizon; their blocks hold the days since today."""

    scheme: Scheme
    blocks: list[Block]
    lanes: npt.NDArray[np.int64]
    """Which of the outlook's runs they are."""
    hour: int
    """That they have reached."""


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
    bridge: Bridge | None = None
    """The forecast of the days after the last seen, mixed with each past year."""

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
            blocks = branch(self.seen, self._lanes(range(self.draws)), with_days=True)
            return blocks, collect(self.kind, scheme, blocks, self.years, self.draws)
        way = self.set_out(scheme, range(self.draws))
        self.go_on([way])
        return list(way.blocks), self.ends(way)

    def set_out(self, scheme: Scheme, draws: Sequence[int]) -> Way:
        """Runs of some draws of every year as they stand today, to go on under a scheme."""
        return self._way(scheme, self._lanes(draws))

    def fork(self, way: Way, scheme: Scheme) -> Way:
        """A copy of runs on their way, to go on under another scheme."""
        runs = np.arange(len(way.lanes), dtype=np.int64)
        return replace(way, scheme=scheme, blocks=branch(way.blocks, runs, with_days=True))

    def go_on(self, ways: Sequence[Way], until: date | None = None) -> None:
        """Advance runs to a day, the horizon by default, side by side; each keeps its days."""
        kind = self.kind
        end = kind.hours
        if until is not None:
            end = min((until - kind.start_day).days * HOURS_PER_DAY, end)
        if self.bridge is not None:
            mixed = replace(kind, record=self.bridge)
            self._stretch(mixed, ways, min(self.seen_hours + self.bridge.hours, end))
        self._stretch(kind, ways, end)

    def _stretch(self, kind: StackModel, ways: Sequence[Way], end: int) -> None:
        """Advance runs to an hour in one record."""
        jobs, moved = [], [way for way in ways if way.hour < end]
        before = [[block.daily for block in way.blocks] for way in moved]
        for way in moved:
            draws = len(way.lanes) // len(self.years)
            if isinstance(kind.record, Bridge):
                lanes = kind.record.start_rows(draws, self.seen_hours)
                rows = [lanes[taken] for taken in runs_by_block(len(lanes))]
            else:
                rows = start_rows(kind, self.years, draws, self.next_day, self.seen_hours)
            jobs += jobs_for(kind, way.scheme, way.blocks, rows, way.hour, end)
        advance(jobs)
        for way, days in zip(moved, before, strict=True):
            way.hour = end
            for block, earlier in zip(way.blocks, days, strict=True):
                block.daily = np.concatenate([earlier, block.daily])

    def ends(self, way: Way) -> Outcomes:
        """What came of runs that have reached the horizon."""
        before = self._extremes_to_date()
        earlier = None if before is None else before[:, way.lanes]
        draws = len(way.lanes) // len(self.years)
        return collect(
            self.kind, way.scheme, way.blocks, self.years, draws, earlier, self.seen_hours
        )

    def carry_reference_on(self, scheme: Scheme) -> list[Block]:
        """The reference run from today's state with each past year's weather; none once over."""
        if self.over or not self.references:
            return []
        lanes = np.zeros(len(self.years), dtype=np.int64)
        way = self._way(scheme, lanes)
        self.go_on([way])
        return way.blocks

    def _way(self, scheme: Scheme, lanes: npt.NDArray[np.int64]) -> Way:
        return Way(
            scheme=scheme, blocks=branch(self.seen, lanes), lanes=lanes, hour=self.seen_hours
        )

    def _lanes(self, draws: Sequence[int]) -> npt.NDArray[np.int64]:
        """Runs of chosen draws of every year, laid out (year, draw)."""
        first = self.references + np.arange(len(self.years), dtype=np.int64) * self.draws
        return (first[:, None] + np.array(draws, dtype=np.int64)).ravel()

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
    draws: int | None,
    learned: Posterior | None = None,
) -> list[Outlook]:
    """Run a stack through the weather seen so far and find the past years to go on with.

    Schemes run side by side; only the first has a reference run.  Without ``draws`` there are as
    many as a chance needs.  Of what was learned from
    readings the first scheme takes all, the others all but their own stand's part.
    """
    next_day = min(as_of + timedelta(days=1), kind.horizon)
    own_year = kind.stack.inoculated.year
    years: tuple[int, ...] = (own_year,)
    if next_day < kind.horizon:
        years = usable_years(kind, next_day, kind.horizon)
        years = tuple(y for y in years if y < own_year) or years
    has_past = bool(years)
    years = years or (own_year,)
    draws = draws or draws_for(len(years))
    hours = (next_day - kind.start_day).days * HOURS_PER_DAY
    bridge = None
    is_ahead = next_day == kind.record.last + timedelta(days=1) and next_day < kind.horizon
    if has_past and is_ahead and kind.record.weather.forecast_days:
        bridge = Bridge(kind.record, [shifted(next_day, year - own_year) for year in years])
    start = np.full(CASES, kind.record.row(kind.start_day), dtype=np.int64)
    outlooks, jobs = [], []
    for place, scheme in enumerate(schemes):
        unknowns = len(kind.parameter_set(scheme).unknowns())
        sample = latin_hypercube(len(years) * draws, unknowns, SEED)
        best = best_estimate(unknowns)
        if learned is not None:
            sample, best = learned.drawn(sample, own_stand=place == 0), learned.middle()
        if place == 0:
            sample = np.concatenate([best, sample])
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
                bridge=bridge,
            )
        )
    advance(jobs)
    return outlooks
