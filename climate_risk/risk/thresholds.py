"""Moistures and temperatures at which a fungus slows, stops and dies in its wood."""

from __future__ import annotations

import numpy as np

from climate_risk.engine.stack import StackModel
from climate_risk.log.wood import MOISTURE_STEP
from climate_risk.risk.results import Thresholds
from climate_risk.tables import fungi, model


def thresholds_of(kind: StackModel) -> Thresholds:
    """Best estimates for this fungus in this wood."""
    fungus = fungi()[kind.stack.fungus]
    potential = kind.tables.potential_mpa
    grid = np.arange(potential.size) * MOISTURE_STEP * 100.0
    return Thresholds(
        moisture_stop_pct=float(np.interp(fungus.psi_stop_mpa.value, potential, grid)),
        moisture_slow_pct=float(np.interp(fungus.psi_full_mpa.value, potential, grid)),
        growth_temp_max_c=fungus.temp_max_c.value,
        heat_kill_temp_c=fungus.heat_ref_temp_c.value,
        heat_half_kill_h=fungus.heat_half_kill_h.value,
        drought_onset_pct=fungus.drought_onset_pct.value,
        drought_kill_pct=fungus.drought_full_pct.value,
        drought_half_kill_d=fungus.drought_half_kill_d.value,
        complete_share=model().complete_share.value,
        lost_alive_share=fungus.lost_share.value,
    )
