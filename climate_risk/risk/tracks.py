"""Quantiles of a stack's simulations day by day, and its faces' water on the last day seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.blocks import Block
from climate_risk.engine.reference import DAILY_NAMES
from climate_risk.fungus.kernel import interface_neighbours
from climate_risk.log.layout import MOISTURE
from climate_risk.risk.outlook import Outlook
from climate_risk.risk.results import CanopyTrack

FloatArray = npt.NDArray[np.float64]

OUTLOOK_NAMES = (
    "air_temp_max_c",
    "bark_temp_max_c",
    "moisture_mean_pct",
    "moisture_driest_face_pct",
    "colonized_fraction",
    "heat_stress",
    "drought_stress",
)
TRACK_NAMES = ("bark_temp_max_c", "moisture_driest_face_pct", "colonized_fraction")
PERCENTILES = (10, 50, 90)


def quantiles_by_day(
    days: FloatArray, first: date, names: Sequence[str] = OUTLOOK_NAMES
) -> pd.DataFrame:
    """Percentiles over simulations, a row a day; columns (quantity, 10|50|90).

    Parameters
    ----------
    days : (days, DAILY_COLUMNS, simulations) array
    first : date
        Of the first row.
    """
    index = pd.date_range(first, periods=len(days), freq="D", name="date")
    columns: dict[tuple[str, int], FloatArray] = {}
    for name in names:
        lines = np.percentile(days[:, DAILY_NAMES[name]], PERCENTILES, axis=1)
        columns |= {(name, q): line for q, line in zip(PERCENTILES, lines, strict=True)}
    return pd.DataFrame(columns, index=index)


def outlook_table(blocks: Sequence[Block], outlook: Outlook) -> pd.DataFrame | None:
    """Percentiles over years and draws from tomorrow on; None once the season is over."""
    return None if outlook.over else quantiles_by_day(_drawn(blocks, outlook), outlook.next_day)


def track_of(blocks: Sequence[Block], outlook: Outlook) -> CanopyTrack:
    """The drawn simulations of one canopy from inoculation to the horizon.

    The same draws stand on both sides of today, so that nothing jumps there.
    """
    skip = outlook.kind.inoculation_hour // HOURS_PER_DAY
    seen = np.concatenate([b.daily for b in outlook.seen], axis=-1)[skip:, :, outlook.references :]
    days = seen[:, :, : len(outlook.years) * outlook.draws]
    if not outlook.over:
        days = np.concatenate([days, _drawn(blocks, outlook)])
    first = outlook.kind.stack.inoculated
    return CanopyTrack(
        canopy=outlook.scheme.canopy, quantiles=quantiles_by_day(days, first, TRACK_NAMES)
    )


def reference_table(blocks: Sequence[Block], outlook: Outlook) -> pd.DataFrame | None:
    """Median over past years of the reference run carried on; None once the season is over."""
    if not blocks:
        return None
    days = np.concatenate([b.daily for b in blocks], axis=-1)[:, :, : len(outlook.years)]
    index = pd.date_range(outlook.next_day, periods=len(days), freq="D", name="date")
    middle = np.median(days, axis=-1)
    return pd.DataFrame({n: middle[:, DAILY_NAMES[n]] for n in OUTLOOK_NAMES}, index=index)


def face_moistures(outlook: Outlook) -> tuple[float, ...]:
    """Moisture [%] of each spawn face of the reference run on the last day seen, ground first."""
    grid, a = outlook.kind.grid, outlook.seen[0].a
    area = grid.ring_area_m2
    wood = a[MOISTURE, : grid.level_m.size * area.size, 0].reshape(-1, area.size)
    found = []
    for face in range(grid.pieces + 1):
        below, above, weight = interface_neighbours(grid, face)
        joined = (1.0 - weight) * wood[below] + weight * wood[above]
        found.append(float(100.0 * (joined * area).sum() / area.sum()))
    return tuple(found)


def _drawn(blocks: Sequence[Block], outlook: Outlook) -> FloatArray:
    days = np.concatenate([b.daily for b in blocks], axis=-1)
    return days[:, :, : len(outlook.years) * outlook.draws]
