"""Do the books close?  What crossed the outer faces against the change in store."""

from __future__ import annotations

import numpy as np

from climate_risk.engine.blocks import Block
from climate_risk.engine.stack import StackModel
from climate_risk.log.kernel import (
    B_EXCHANGE,
    B_GROUND_HEAT,
    B_HEAT_MOVED,
    B_LATENT,
    B_RUNOFF,
    B_SHORTWAVE,
    B_WATER_HEAT,
    B_WATER_IN,
    B_WATER_OUT,
    LEDGER,
    stored_heat_j,
    stored_water_kg,
)


def residuals(kind: StackModel, block: Block) -> tuple[float, float]:
    """Largest relative residual of a block's water and energy balance since the start."""
    books = block.a[LEDGER]
    gained = books[B_WATER_IN] - books[B_WATER_OUT] - books[B_RUNOFF]
    moved = books[B_WATER_IN] + books[B_WATER_OUT] + books[B_RUNOFF]
    change = stored_water_kg(kind.grid, kind.curves, block.a) - block.water_first_kg
    water = np.abs(change - gained) / (block.water_first_kg + moved)
    warmed = (
        books[B_SHORTWAVE]
        + books[B_EXCHANGE]
        - books[B_LATENT]
        + books[B_GROUND_HEAT]
        + books[B_WATER_HEAT]
    )
    change = stored_heat_j(kind.grid, kind.curves, block.a) - block.heat_first_j
    heat = np.abs(change - warmed) / (np.abs(block.heat_first_j) + books[B_HEAT_MOVED] + 1.0)
    return float(water.max()), float(heat.max())
