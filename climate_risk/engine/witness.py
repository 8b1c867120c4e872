"""A witness piece: one piece of the stack's tree that stands beside it and is weighed.

It is run by the stack's own kernel as a stack of one piece without spawn or cap: upright on the
same barrier, under covers of the same kind and dates, its upper end bare, the lower on the
barrier; or, with sealed ends, drying through its bark alone.  Nobody pours water on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.blocks import new_blocks
from climate_risk.engine.hours import D_LOG_WATER
from climate_risk.engine.reference import advance_to
from climate_risk.engine.stack import Scheme, StackModel, horizon_of, stack_model
from climate_risk.log.formulas import max_moisture
from climate_risk.measured_options import Ends
from climate_risk.tables import woods
from climate_risk.yard import Stack

FloatArray = npt.NDArray[np.float64]

SIZE_ERROR = 1.3
"""Factor by which a piece may be lighter or heavier than its stated size says before its mass
is refused: taper, a tape's error, bark (our own choice)."""


def witness_model(of: StackModel, length_m: float, diameter_m: float, ends: Ends) -> StackModel:
    """The witness piece of a stack, ready to run; see :func:`witness_scheme`."""
    stack: Stack = replace(
        of.stack,
        pieces=1,
        piece_length_m=length_m,
        diameter_m=diameter_m,
        cap_thickness_m=0.0,
        spawn_depth_m=0.0,
        cut=horizon_of(of.stack) if ends == "sealed" else of.stack.cut,
    )
    return stack_model(stack, of.record, of.openness, of.own_canopy)


def witness_scheme(own: Scheme) -> Scheme:
    """The stack's canopy and covers, without its waterings."""
    return replace(own, waterings=())


def dry_mass_kg(witness: StackModel) -> float:
    """Oven-dry mass by size and the wood's usual density."""
    grid = witness.grid
    volume = np.pi * grid.radius_m**2 * grid.height_m
    return float(volume * witness.curves.density_kg_m3)


def possible_mass_kg(witness: StackModel) -> tuple[float, float]:
    """Of the lightest wood oven-dry, and of wood whose every pore is full."""
    density = woods()[witness.stack.wood].basic_density_kg_m3
    volume = dry_mass_kg(witness) / witness.curves.density_kg_m3
    full = max(d * (1.0 + max_moisture(d)) for d in (density.low, density.high))
    return volume * density.low / SIZE_ERROR, volume * full * SIZE_ERROR


def run_days(
    kind: StackModel, scheme: Scheme, quantiles: FloatArray, last: date, columns: Sequence[int]
) -> FloatArray:
    """Chosen daily columns of many draws through the weather seen, (columns, days, draws)."""
    blocks = new_blocks(kind, scheme, quantiles)
    days = min((last - kind.start_day).days + 1, kind.hours // HOURS_PER_DAY)
    advance_to(kind, scheme, blocks, 0, days)
    chosen = [block.daily[:, list(columns)] for block in blocks]
    joined = np.concatenate(chosen, axis=-1)[:, :, : len(quantiles)]
    return np.ascontiguousarray(joined.transpose(1, 0, 2))


def midday_moisture(
    witness: StackModel, scheme: Scheme, quantiles: FloatArray, last: date
) -> FloatArray:
    """Water over oven-dry wood in the middle of each day, films included, (days, draws)."""
    (evening,) = run_days(witness, scheme, quantiles, last, [D_LOG_WATER])
    first = [b.water_first_kg for b in new_blocks(witness, scheme, quantiles)]
    night = np.concatenate([np.concatenate(first)[None, : len(quantiles)], evening[:-1]])
    return np.asarray(0.5 * (night + evening) / dry_mass_kg(witness))
