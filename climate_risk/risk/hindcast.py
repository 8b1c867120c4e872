"""How far an outlook can be trusted: made for past years that it knows nothing of, then compared.

For each target year the weather is made anew with that year left out of all that is learned, the
stack is run through the target's days up to a date, and from there on with every other year.
What "came" is the same simulation run on with the target's own weather, for every draw of the
unknowns in turn as if it were the truth.  So this tests what the outlook makes of weather that
nobody has seen; it does not test the model against losses that were counted.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.blocks import Block, advance, new_blocks
from climate_risk.engine.days import months_after, shifted
from climate_risk.engine.draws import SEED, latin_hypercube
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme, StackModel, horizon_of, stack_model
from climate_risk.errors import InputError
from climate_risk.progress import Progress
from climate_risk.risk.chance import FEWEST_YEARS
from climate_risk.risk.ensemble import Outcomes, collect, jobs_for, start_rows, usable_years
from climate_risk.risk.hindsight import Hindcast, LeadSkill
from climate_risk.risk.outlook import Outlook
from climate_risk.risk.scores import brier, crps, reliability, skill
from climate_risk.site import Site
from climate_risk.weather import to_hourly
from climate_risk.weather.normals import Days
from climate_risk.weather.record import WeatherRecord
from climate_risk.yard import Stack, Yard

FloatArray = npt.NDArray[np.float64]

MONTHS_SEEN = (1, 2, 3, 4, 6)
"""Months after inoculation at which an outlook is made."""
REMEMBERED = timedelta(days=180)
"""Ground follows the air of the weeks before, so that a year soon after the target knows of it."""
CLASSES = (0.0, 0.05, 0.15, 0.3, 0.5, 0.75, 1.0)
"""Bounds of the classes of chance in which it is counted how often it came (our own choice)."""


@dataclass(frozen=True, kw_only=True)
class Target:
    """One past year: what was told of it at each date, and what came."""

    year: int
    usual: Outcomes
    """The other years' own seasons, from the start on."""
    told: tuple[Outcomes, ...]
    """The outlook at each date, the other years carried on."""
    came: Outcomes
    """The target's own weather to the end, one run a draw of the outlook."""


def hindcast(
    yard: Yard,
    stack: Stack,
    record_without: Callable[[date, date], Record],
    *,
    source: str,
    months_seen: Sequence[int] = MONTHS_SEEN,
    draws: int,
    progress: Progress | None = None,
) -> Hindcast:
    """Outlooks of past years at several dates, scored against what came.

    Parameters
    ----------
    record_without : callable
        From the first and last day of a year's season, the weather with nothing learned of them.
    source : str
        Of the weather, for messages and the result.
    months_seen : sequence of int
        Months after inoculation at which outlooks are made.
    draws : int
        Draws of the unknowns a year carried on.
    progress : callable, optional
        Told the share done, 0 to 1.

    Raises
    ------
    InputError
        The record has too few whole seasons.
    """
    own = stack.inoculated.year
    span = (stack.felled or stack.inoculated, horizon_of(stack))
    kind = stack_model(stack, record_without(*span), yard.openness, yard.canopy)
    years = usable_years(kind, kind.start_day, kind.horizon)
    if len(years) <= FEWEST_YEARS:
        raise InputError(
            f'{source}: {len(years)} whole seasons of "{stack.name}"; accepted for a test of the '
            f"outlook are more than {FEWEST_YEARS}"
        )
    scheme = Scheme(canopy=yard.canopy, covers=stack.covers, waterings=stack.waterings)
    days = [months_after(stack.inoculated, months) for months in months_seen]
    days = [day for day in days if day < kind.horizon]
    targets = []
    for done, year in enumerate(years):
        begin, end = (shifted(day, year - own) for day in (kind.start_day, kind.horizon))
        without = record_without(begin, end)
        kind = stack_model(stack, without, yard.openness, yard.canopy)
        targets.append(run_target(kind, scheme, years, year, days, draws))
        if progress is not None:
            progress((done + 1) / len(years))
    return scored(kind, scheme, source, targets, days, draws)


def records_without(
    make: Callable[[Days], WeatherRecord], site: Site
) -> Callable[[date, date], Record]:
    """Records with some days left out of what is learned; one that comes out alike is kept."""
    held: list[tuple[pd.DataFrame, Record]] = []

    def without(first: date, last: date) -> Record:
        made = make((first, last))
        if not held or not made.table.equals(held[0][0]):
            held[:] = [(made.table, Record(to_hourly(made, site), site))]
        return held[0][1]

    return without


def run_target(
    kind: StackModel,
    scheme: Scheme,
    years: Sequence[int],
    year: int,
    days: Sequence[date],
    draws: int,
) -> Target:
    """Run one year as if it were under way, and at each day the others on from there.

    A year whose season shares a day with the target's, or begins so soon after it that its
    ground still knows, is none of the others.

    Parameters
    ----------
    days : sequence of date
        First day not yet seen of each outlook, in the stack's own year, rising.
    """
    own = kind.stack.inoculated.year
    spans = {y: (shifted(kind.start_day, y - own), shifted(kind.horizon, y - own)) for y in years}
    begin, end = spans[year]
    end += REMEMBERED
    others = tuple(y for y, (first, last) in spans.items() if last <= begin or first >= end)
    runs = len(others) * draws
    sample = latin_hypercube(runs, len(kind.parameter_set(scheme).unknowns()), SEED)
    rows = start_rows(kind, (year,), runs, kind.start_day, 0)
    blocks = new_blocks(kind, scheme, sample)
    hour, outlooks = 0, []
    for day in (kind.start_day, *days):
        until = (day - kind.start_day).days * HOURS_PER_DAY
        _extend(kind, scheme, blocks, rows, hour, until)
        outlook = Outlook(
            kind=kind,
            scheme=scheme,
            seen=tuple(blocks),
            references=0,
            seen_hours=until,
            next_day=day,
            years=others,
            draws=draws,
        )
        outlooks.append(outlook.carry_on(scheme)[1])
        hour = until
    _extend(kind, scheme, blocks, rows, hour, kind.hours)
    came = collect(kind, scheme, blocks, others, draws)
    return Target(year=year, usual=outlooks[0], told=tuple(outlooks[1:]), came=came)


def _extend(
    kind: StackModel,
    scheme: Scheme,
    blocks: Sequence[Block],
    rows: Sequence[npt.NDArray[np.int64]],
    first_hour: int,
    last_hour: int,
) -> None:
    """Run blocks on and keep the days before."""
    before = [block.daily for block in blocks]
    if last_hour > first_hour:
        advance(jobs_for(kind, scheme, blocks, rows, first_hour, last_hour))
        for block, days in zip(blocks, before, strict=True):
            block.daily = np.concatenate([days, block.daily])


def scored(
    kind: StackModel,
    scheme: Scheme,
    source: str,
    targets: Sequence[Target],
    days: Sequence[date],
    draws: int,
) -> Hindcast:
    """Skill by lead time and reliability of what was told of the targets."""
    leads, told, came = [], [], []
    years = np.array([target.year for target in targets], dtype=np.int64)
    for place, day in enumerate(days):
        chances = np.array([_lost(t.told[place]).mean() for t in targets])
        told.append(chances)
        came.append(np.array([_lost(t.came).mean() for t in targets]))
        at = [(t.told[place], t.usual, t.came) for t in targets]
        loss = [
            [_loss_score(of, t.came) for of in ends] for ends, t in zip(at, targets, strict=True)
        ]
        dry = [
            [_dry_score(of, t.came) for of in ends] for ends, t in zip(at, targets, strict=True)
        ]
        leads.append(
            LeadSkill(
                months_seen=round((day - kind.stack.inoculated) / timedelta(days=30.44)),
                lead_days=(kind.horizon - day).days,
                loss=skill(*np.array(loss).T),
                dryness_pct=skill(*np.array(dry).T),
            )
        )
    stack = kind.stack
    return Hindcast(
        source=source,
        name=stack.name,
        fungus=stack.fungus,
        wood=stack.wood,
        canopy=scheme.canopy,
        first_year=int(years.min()),
        last_year=int(years.max()),
        years=len(targets),
        draws=draws,
        chance=float(np.mean(came)),
        leads=tuple(leads),
        reliability=reliability(
            np.concatenate(told), np.concatenate(came), np.tile(years, len(days)), CLASSES
        ),
    )


def _lost(ends: Outcomes) -> FloatArray:
    return ends.lost.ravel()


def _loss_score(told: Outcomes, came: Outcomes) -> float:
    return brier(float(_lost(told).mean()), _lost(came))


def _dry_score(told: Outcomes, came: Outcomes) -> float:
    return crps(told.moisture_driest_face_pct.ravel(), came.moisture_driest_face_pct.ravel())
