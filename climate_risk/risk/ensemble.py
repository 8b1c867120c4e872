"""One scheme over many years and draws: runs laid out as (year, draw), and what came of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.balance import residuals
from climate_risk.engine.blocks import Block, Job, runs_by_block
from climate_risk.engine.days import shifted
from climate_risk.engine.draws import values_at
from climate_risk.engine.hours import (
    D_BARK_MAX,
    D_COLONIZED,
    D_DRIEST_FACE,
    D_DROUGHT_STRESS,
    D_HEAT_STRESS,
    D_SPAWN_STRESS,
)
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.fungus.kernel import ALIVE, FULL_HOUR
from climate_risk.risk.chance import chance_of_loss, lost_runs, outcome, percentiles, shares
from climate_risk.risk.cost import cost_of, covers_cost, watering_cost
from climate_risk.risk.results import OptionResult, YearResult
from climate_risk.yard import Costs

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


OBSERVED_SHARE = 0.75
"""Of hours with temperature, humidity and rain observed (our own choice)."""


@dataclass(frozen=True, kw_only=True)
class Outcomes:
    """How every run ended; arrays of shape (years, draws)."""

    years: tuple[int, ...]
    outcomes: IntArray
    alive: FloatArray
    """Living share of the mycelium at the end, mean over spawn faces."""
    colonized_fraction: FloatArray
    moisture_driest_face_pct: FloatArray
    """Lowest value of the season."""
    bark_temp_max_c: FloatArray
    full_hour: FloatArray
    """Hours from inoculation to the full run; -1 for none."""
    fruiting: BoolArray
    """Run far enough that fruit is likely."""
    spawn_dried: BoolArray
    """Half or more of the half-kills by drought fell before the mycelium took to the wood."""
    unknowns: tuple[str, ...]
    quantiles: FloatArray
    """(years * draws, unknowns) where in its range each unknown was drawn."""
    water_residual: float
    energy_residual: float

    @property
    def lost(self) -> FloatArray:
        """1 for each run whose stack is lost, 0 for the others."""
        return lost_runs(self.outcomes)


BY_RUN = (
    "outcomes",
    "alive",
    "colonized_fraction",
    "moisture_driest_face_pct",
    "bark_temp_max_c",
    "full_hour",
    "fruiting",
    "spawn_dried",
)
"""Fields of :class:`Outcomes` of shape (years, draws)."""


def usable_years(kind: StackModel, first: date, after: date) -> tuple[int, ...]:
    """Years of inoculation for which the record holds every day from ``first`` up to ``after``.

    Both days are given for the stack's own year; ``after`` is not included.  Runs of every year
    are as long as the own year's, leap day or not.  A year of which less than
    :data:`OBSERVED_SHARE` was observed is none: normals have no dry spells.
    """
    own = kind.stack.inoculated.year
    record = kind.record
    until_last = after - first - timedelta(days=1)
    found = []
    for year in range(record.first.year - 2, record.last.year + 1):
        begins = shifted(first, year - own)
        if begins >= record.first and begins + until_last <= record.last:
            rows = slice(record.row(begins), record.row(begins + until_last) + HOURS_PER_DAY)
            if record.weather.observed[rows].mean() >= OBSERVED_SHARE:
                found.append(year)
    return tuple(found)


def start_rows(
    kind: StackModel, years: Sequence[int], draws: int, first: date, hour: int
) -> list[IntArray]:
    """Rows of hour 0 for runs laid out (year, draw), so that ``hour`` falls on ``first``'s day."""
    own = kind.stack.inoculated.year
    rows = [kind.record.row(shifted(first, year - own)) - hour for year in years]
    lanes = np.repeat(np.array(rows, dtype=np.int64), draws)
    return [lanes[taken] for taken in runs_by_block(len(lanes))]


def collect(
    kind: StackModel,
    scheme: Scheme,
    blocks: Sequence[Block],
    years: tuple[int, ...],
    draws: int,
    before: FloatArray | None = None,
    first_hour: int = 0,
) -> Outcomes:
    """Outcomes of runs laid out (year, draw) over blocks, as they stand.

    Parameters
    ----------
    before : (2, runs) array, optional
        Lowest moisture and highest bark temperature of an earlier stretch of the same runs.
    first_hour : int
        Hour of the runs at which the blocks' days begin.
    """
    runs = len(years) * draws

    def flat(parts: list[FloatArray]) -> FloatArray:
        return np.concatenate(parts)[:runs].reshape(len(years), draws)

    # Drying before inoculation is not the season.
    skip = max(kind.inoculation_hour - first_hour, 0) // HOURS_PER_DAY
    skip = min(skip, len(blocks[0].daily) - 1)
    driest = flat([b.daily[skip:, D_DRIEST_FACE].min(axis=0) for b in blocks])
    hottest = flat([b.daily[skip:, D_BARK_MAX].max(axis=0) for b in blocks])
    if before is not None:
        driest = np.minimum(driest, before[0, :runs].reshape(driest.shape))
        hottest = np.maximum(hottest, before[1, :runs].reshape(hottest.shape))
    drawn = [values_at(kind.parameter_set(scheme), b.quantiles) for b in blocks]
    colonized = flat([b.daily[-1, D_COLONIZED] for b in blocks])
    drought = flat([b.daily[-1, D_DROUGHT_STRESS] for b in blocks])
    of_spawn = flat([b.daily[-1, D_SPAWN_STRESS] for b in blocks])
    full_hour = flat([b.mycelium[FULL_HOUR, 0] for b in blocks])
    balance = [residuals(kind, b) for b in blocks]
    alive = flat([b.mycelium[ALIVE, : kind.grid.pieces + 1].mean(axis=0) for b in blocks])
    return Outcomes(
        years=years,
        outcomes=outcome(
            alive,
            flat([values["fungus.lost_share"] for values in drawn]),
            flat([b.daily[-1, D_HEAT_STRESS] for b in blocks]),
            drought,
            full_hour >= 0.0,
        ),
        alive=alive,
        colonized_fraction=colonized,
        moisture_driest_face_pct=driest,
        bark_temp_max_c=hottest,
        full_hour=full_hour,
        fruiting=colonized >= flat([values["fungus.fruiting_share"] for values in drawn]),
        spawn_dried=(of_spawn >= 0.5 * drought) & (of_spawn > 0.0),
        unknowns=tuple(kind.parameter_set(scheme).unknowns()),
        quantiles=np.concatenate([b.quantiles for b in blocks])[:runs],
        water_residual=max(w for w, _ in balance),
        energy_residual=max(e for _, e in balance),
    )


def in_years(outcomes: Outcomes, years: tuple[int, ...]) -> Outcomes:
    """The runs of some of the years alone."""
    if years == outcomes.years:
        return outcomes
    rows = [outcomes.years.index(year) for year in years]
    shape = outcomes.outcomes.shape
    by_year = outcomes.quantiles.reshape(*shape, -1)
    of_runs = {
        field.name: getattr(outcomes, field.name)[rows]
        for field in fields(outcomes)
        if getattr(getattr(outcomes, field.name), "shape", None) == shape
    }
    quantiles = by_year[rows].reshape(len(rows) * shape[1], -1)
    return replace(outcomes, **of_runs, years=years, quantiles=quantiles)


def some_draws(ends: Outcomes, draws: Sequence[int]) -> Outcomes:
    """How the runs of some draws of every year ended."""
    chosen = list(draws)
    shape = (*ends.outcomes.shape, -1)
    quantiles = ends.quantiles.reshape(shape)[:, chosen]
    by_run: Any = {name: getattr(ends, name)[:, chosen] for name in BY_RUN}
    return replace(ends, quantiles=quantiles.reshape(-1, quantiles.shape[-1]), **by_run)


def joined(first: Outcomes, rest: Outcomes) -> Outcomes:
    """Outcomes of the first and of the other draws of the same years as one."""
    parts = [e.quantiles.reshape((*e.outcomes.shape, -1)) for e in (first, rest)]
    quantiles = np.concatenate(parts, axis=1)
    by_run: Any = {
        name: np.concatenate([getattr(first, name), getattr(rest, name)], axis=1)
        for name in BY_RUN
    }
    return replace(
        first,
        quantiles=quantiles.reshape(-1, quantiles.shape[-1]),
        water_residual=max(first.water_residual, rest.water_residual),
        energy_residual=max(first.energy_residual, rest.energy_residual),
        **by_run,
    )


def option_result(ends: Outcomes, scheme: Scheme, costs: Costs) -> OptionResult:
    """Outcomes as chance, shares, percentiles and cost."""
    chance = chance_of_loss(ends.outcomes, ends.quantiles)
    price = covers_cost(scheme.covers, costs) + watering_cost(scheme.waterings, costs)
    return OptionResult(
        canopy=scheme.canopy,
        covers=scheme.covers,
        waterings=scheme.waterings,
        shares=shares(ends.outcomes, ends.fruiting, ends.spawn_dried),
        chance=chance,
        cost=cost_of(price, chance, costs),
        colonized_fraction=percentiles(ends.colonized_fraction),
        moisture_driest_face_pct=percentiles(ends.moisture_driest_face_pct),
        bark_temp_max_c=percentiles(ends.bark_temp_max_c),
        years=tuple(
            YearResult(
                year=year,
                shares=shares(ends.outcomes[n], ends.fruiting[n], ends.spawn_dried[n]),
                moisture_driest_face_pct=float(np.median(ends.moisture_driest_face_pct[n])),
                moisture_driest_face_quantiles_pct=percentiles(ends.moisture_driest_face_pct[n]),
                bark_temp_max_c=float(np.median(ends.bark_temp_max_c[n])),
                colonized_fraction=float(np.median(ends.colonized_fraction[n])),
            )
            for n, year in enumerate(ends.years)
        ),
    )


def jobs_for(
    kind: StackModel,
    scheme: Scheme,
    blocks: Sequence[Block],
    rows: Sequence[IntArray],
    first_hour: int,
    last_hour: int,
) -> list[Job]:
    """One job a block; all take the first run's sun, whichever runs share their block."""
    sun_row = int(rows[0][0])
    return [
        Job(
            kind=kind,
            scheme=scheme,
            block=block,
            start_rows=start,
            first_hour=first_hour,
            last_hour=last_hour,
            sun_row=sun_row,
        )
        for block, start in zip(blocks, rows, strict=True)
    ]
