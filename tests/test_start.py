"""From felling to the day of inoculation: the log lies whole, and its cut faces are fresh."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine import hours as k
from climate_risk.engine.blocks import Job, advance
from climate_risk.engine.record import Record
from climate_risk.engine.stack import Scheme
from climate_risk.fungus.kernel import DROUGHT_DOSE
from climate_risk.log import layout as at
from climate_risk.yard import Stack

OPEN = Scheme(canopy="open")
INOCULATED = date(2010, 4, 12)


@pytest.fixture(scope="module")
def record() -> Record:
    return samples.make_record("2010-01-01", "2010-12-31")


def on_the_day(record: Record, stack: Stack) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Days, log and mycelium of the best estimate at the end of the day of inoculation."""
    kind = samples.model_of(record, stack)
    block = samples.fresh(kind, OPEN)
    rows = np.full(at.CASES, record.row(kind.start_day), dtype=np.int64)
    last = kind.inoculation_hour + HOURS_PER_DAY
    advance(
        [Job(kind=kind, scheme=OPEN, block=block, start_rows=rows, first_hour=0, last_hour=last)]
    )
    return block.daily[:, :, 0], block.a, block.mycelium


def test_a_spring_stack_starts_with_fresh_moist_faces(record: Record) -> None:
    """Three weeks of lying uncut cost a log little, and that through its bark: no spawn interface
    is dry, and nothing has died of drought on the first day.
    """
    stack = samples.small_stack(felled=date(2010, 3, 20), inoculated=INOCULATED)
    days, a, mycelium = on_the_day(record, stack)
    green = days[0, k.D_MOISTURE]
    assert days[-1, k.D_DRIEST_FACE] > 0.85 * green
    assert days[-1, k.D_MOISTURE] > 0.9 * green
    assert not mycelium[DROUGHT_DOSE].any()
    assert np.all(a[at.SPAWN_MOISTURE, 0] > 0.5)


def test_pieces_cut_early_have_dried_at_their_faces(record: Record) -> None:
    whole = samples.small_stack(felled=date(2010, 3, 1), inoculated=INOCULATED)
    early = replace(whole, cut=date(2010, 3, 2))
    dry, fresh = (on_the_day(record, stack)[0][-1] for stack in (early, whole))
    assert dry[k.D_DRIEST_FACE] < fresh[k.D_DRIEST_FACE] - 5.0
    assert dry[k.D_MOISTURE] < fresh[k.D_MOISTURE]


def test_an_uncut_log_takes_no_rain_by_its_ends_and_loses_nothing_by_them(record: Record) -> None:
    """Levels at either end are as wet as the middle, but for their warmth: bark alone lets water
    through.
    """
    stack = samples.small_stack(felled=date(2010, 1, 10), inoculated=INOCULATED)
    kind = samples.model_of(record, stack)
    block = samples.fresh(kind, OPEN)
    rows = np.full(at.CASES, record.row(kind.start_day), dtype=np.int64)
    last = kind.inoculation_hour
    advance(
        [Job(kind=kind, scheme=OPEN, block=block, start_rows=rows, first_hour=0, last_hour=last)]
    )
    nz, nr = kind.grid.level_m.size, kind.grid.ring_area_m2.size
    moisture = block.a[at.MOISTURE, : nz * nr, 0].reshape(nz, nr)
    np.testing.assert_allclose(moisture[0], moisture[nz // 2], atol=2e-3)
    np.testing.assert_allclose(moisture[-1], moisture[nz // 2], atol=2e-3)


def test_a_paper_barrier_rots(record: Record) -> None:
    """Kraft on moist soil is gone in weeks (Shogren 2001): then only the soil itself resists."""
    stack = replace(samples.small_stack(inoculated=INOCULATED), ground_barrier="paper")
    kind = samples.model_of(record, stack)
    block = samples.fresh(kind, OPEN)
    rows = np.full(at.CASES, record.row(kind.start_day), dtype=np.int64)
    ground, seen = at.SURFACE + at.GROUND, []
    for day in (1, 30, 60, 120):
        first = 0 if not seen else seen[-1][0]
        job = Job(kind=kind, scheme=OPEN, block=block, start_rows=rows, first_hour=first,
                  last_hour=day * HOURS_PER_DAY)  # fmt: skip
        advance([job])
        seen.append((day * HOURS_PER_DAY, block.a[ground, at.S_VAPOUR_RESISTANCE, 0]))
    soil = 1000.0
    left = [(resistance - soil) / 900.0 for _, resistance in seen]
    assert left == pytest.approx([1.0 - 23 / 1344, 1.0 - 719 / 1344, 0.0, 0.0], abs=1e-9)
