"""The log's own parameters: rows of the kernel's array that differ from case to case."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from climate_risk.log.formulas import FloatArray, max_moisture
from climate_risk.schema import Schema
from climate_risk.tables import Bag, Barrier, Model, Wood

WETTEST_START = 0.98
"""Of the wood's greatest moisture: a log never starts without any air."""

SCHEMA = Schema(
    {"wood": Wood, "model": Model, "bag": Bag, "barrier": Barrier},
    derived=("bark_heat_resistance_m2k_w", "ground_heat_w_m2k", "start_moisture"),
)
P = SCHEMA.index
"""Row of each parameter in ``a[PARAMETER]``."""


def log_parameters(
    wood: Wood, values: Mapping[str, FloatArray], start_moisture: float | None
) -> FloatArray:
    """Parameter rows of every case, (parameters, cases).

    Parameters
    ----------
    values : mapping of str to (cases,) array
        Drawn values by unknown, such as ``wood.bark_resistance_s_m``.
    start_moisture : float, optional
        Kg/kg, the same in every case; from the wood's table if left out.
    """
    green = values["wood.green_moisture_pct"] / 100.0
    start = green if start_moisture is None else np.full_like(green, start_moisture)
    bark_m = values["wood.bark_thickness_mm"] / 1000.0
    return SCHEMA.fill(
        values,
        bark_heat_resistance_m2k_w=bark_m / values["model.bark_conductivity_w_mk"],
        ground_heat_w_m2k=1.0
        / (1.0 / values["barrier.heat_w_m2k"] + 1.0 / values["model.soil_heat_w_m2k"]),
        start_moisture=np.minimum(
            start, WETTEST_START * max_moisture(wood.basic_density_kg_m3.value)
        ),
    )
