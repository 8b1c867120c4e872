"""Wood moistures at which a fungus slows and stops."""

from __future__ import annotations

import numpy as np

from climate_risk.engine.stack import StackModel
from climate_risk.log.wood import MOISTURE_STEP
from climate_risk.tables import fungi


def moisture_thresholds(kind: StackModel) -> tuple[float, float]:
    """Wood moisture at which this fungus stops in this wood, and where it begins to slow [%]."""
    fungus = fungi()[kind.stack.fungus]
    potential = kind.tables.potential_mpa
    grid = np.arange(potential.size) * MOISTURE_STEP * 100.0
    stop = np.interp(fungus.psi_stop_mpa.value, potential, grid)
    slow = np.interp(fungus.psi_full_mpa.value, potential, grid)
    return float(stop), float(slow)
