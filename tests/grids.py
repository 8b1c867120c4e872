"""One warm season of a stack on grids of the test's choice."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from unittest import mock

import numpy as np
import numpy.typing as npt
import pandas as pd
import risk_samples

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine import blocks as blocks_room
from climate_risk.engine import hours as k
from climate_risk.engine import record as record_room
from climate_risk.engine import stack as stack_room
from climate_risk.engine.draws import best_estimate, latin_hypercube
from climate_risk.log import geometry
from climate_risk.log.layout import CASES
from climate_risk.options import CoverSpan
from climate_risk.site import Site

FloatArray = npt.NDArray[np.float64]
WEATHER = Path(__file__).parents[1] / "sample_data" / "weather.csv"
SITE = Site(latitude=39.55, longitude=-79.35, elevation_m=701.0)
FIRST, DAYS = date(2023, 4, 12), 172
OPEN = stack_room.Scheme(canopy="open")
SCHEMES = {
    "bare in the open": OPEN,
    "bare in the open, no rain": OPEN,
    "bag under hardwoods": stack_room.Scheme(
        canopy="deciduous", covers=(CoverSpan(kind="bag", material="paper"),)
    ),
}


@dataclass(frozen=True)
class Cut:
    """How a stack is cut into cells."""

    rings: int = stack_room.RINGS
    levels: int = stack_room.LEVELS_PER_PIECE
    cap: int = stack_room.CAP_LEVELS
    ring_ratio: float = geometry.RING_RATIO
    level_ratio: float = geometry.LEVEL_RATIO

    def refined(self, times: int) -> Cut:
        """Every cell cut in so many: the ratio between neighbours falls to its root."""
        return Cut(
            rings=self.rings * times,
            levels=self.levels * times,
            cap=self.cap * times,
            ring_ratio=self.ring_ratio ** (1.0 / times),
            level_ratio=self.level_ratio ** (1.0 / times),
        )


@cache
def record(rain: bool) -> record_room.Record:
    """The demo farm's weather from a month before the stack to the season's end."""
    table = pd.read_csv(WEATHER, index_col="date", parse_dates=True)
    season = table.loc["2023-03-01":"2023-10-05"].drop(columns="rel_humidity_pct")
    if not rain:
        season["precip_mm"] = 0.0
    return record_room.Record(risk_samples.hours_of(season, SITE), SITE)


@cache
def season(scheme: str, cut: Cut) -> FloatArray:
    """(days, 2, CASES) moisture of the stack and of its driest face [%]; lane 0 is the best."""
    stack = risk_samples.small_stack(inoculated=FIRST, piece_length_m=0.254)
    weather = record("no rain" not in scheme)
    with (
        mock.patch.object(stack_room, "RINGS", cut.rings),
        mock.patch.object(stack_room, "LEVELS_PER_PIECE", cut.levels),
        mock.patch.object(stack_room, "CAP_LEVELS", cut.cap),
        mock.patch.object(geometry, "RING_RATIO", cut.ring_ratio),
        mock.patch.object(geometry, "LEVEL_RATIO", cut.level_ratio),
    ):
        kind = stack_room.stack_model(stack, weather, 0.0)
    unknowns = len(kind.parameter_set(SCHEMES[scheme]).unknowns())
    sample = np.concatenate([best_estimate(unknowns), latin_hypercube(CASES - 1, unknowns, 1)])
    (block,) = blocks_room.new_blocks(kind, SCHEMES[scheme], sample)
    job = blocks_room.Job(
        kind=kind,
        scheme=SCHEMES[scheme],
        block=block,
        start_rows=np.full(CASES, kind.record.row(FIRST), dtype=np.int64),
        first_hour=0,
        last_hour=DAYS * HOURS_PER_DAY,
    )
    blocks_room.advance([job])
    return block.daily[:, [k.D_MOISTURE, k.D_DRIEST_FACE]]


def error_pct(scheme: str, cut: Cut, fine: Cut) -> FloatArray:
    """(2, CASES) root-mean-square error of a grid, percent of the season's range."""
    coarse, exact = season(scheme, cut), season(scheme, fine)
    spread = exact.max(axis=0) - exact.min(axis=0)
    return np.asarray(100.0 * np.sqrt(((coarse - exact) ** 2).mean(axis=0)) / spread)
