"""Do the budget close?  What crossed the outer faces against the change in store."""

from __future__ import annotations

import numpy as np

from climate_risk.engine.blocks import Block
from climate_risk.engine.stack import StackModel
from climate_risk.log import layout as at
from climate_risk.log.state import stored_heat_j, stored_water_kg


def residuals(kind: StackModel, block: Block) -> tuple[float, float]:
    """Largest relative residual of a block's water and energy balance since the start."""
    budget = block.a[at.BUDGET]
    gained = budget[at.B_WATER_IN] - budget[at.B_WATER_OUT] - budget[at.B_RUNOFF]
    moved = budget[at.B_WATER_IN] + budget[at.B_WATER_OUT] + budget[at.B_RUNOFF]
    change = stored_water_kg(kind.grid, kind.curves, block.a) - block.water_first_kg
    water = np.abs(change - gained) / (block.water_first_kg + moved)
    warmed = (
        budget[at.B_SHORTWAVE]
        + budget[at.B_EXCHANGE]
        - budget[at.B_LATENT]
        + budget[at.B_GROUND_HEAT]
        + budget[at.B_WATER_HEAT]
    )
    change = stored_heat_j(kind.grid, kind.curves, block.a) - block.heat_first_j
    heat = np.abs(change - warmed) / (np.abs(block.heat_first_j) + budget[at.B_HEAT_MOVED] + 1.0)
    return float(water.max()), float(heat.max())
