"""The log's own parameters: rows of the kernel's array that differ from case to case."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.log.formulas import FloatArray, max_moisture
from climate_risk.schema import Schema
from climate_risk.tables import Bag, Barrier, Model, Wood, model

HOURS_PER_WEEK = 7.0 * HOURS_PER_DAY
WETTEST_START = 0.98
"""Of the wood's greatest moisture: a log never starts without any air."""

SCHEMA = Schema(
    {"wood": Wood, "model": Model, "bag": Bag, "barrier": Barrier},
    derived=(
        "bark_resistance_s_m",
        "bark_heat_resistance_m2k_w",
        "ground_heat_w_m2k",
        "barrier_lifetime_h",
        "start_moisture",
        "spawn_moisture",
    ),
)
P = SCHEMA.index
"""Row of each parameter in ``a[PARAMETER]``."""


def bark_resistance_s_m(
    sound: FloatArray, bare_share: FloatArray, bare: FloatArray, thickness: FloatArray
) -> FloatArray:
    """Resistance of a side to vapour [s/m], sound bark and bare patches side by side.

    ``1 / R = (1 - b) / (R_sound t^p) + b / R_bare``: bark over its reference thickness ``t`` to
    the power ``p``, patches by their own dried skin.

    Parameters
    ----------
    thickness : ndarray
        ``t^p``.
    """
    return np.asarray(1.0 / ((1.0 - bare_share) / (sound * thickness) + bare_share / bare))


def log_parameters(
    wood: Wood,
    values: Mapping[str, FloatArray],
    start_moisture: float | None,
    diameter_m: float,
) -> FloatArray:
    """Parameter rows of every case, (parameters, cases).

    Parameters
    ----------
    values : mapping of str to (cases,) array
        Drawn values by unknown, such as ``wood.bark_resistance_s_m``.
    start_moisture : float, optional
        Kg/kg, the same in every case; from the wood's table if left out.
    diameter_m : float
        Of the log: bark is thicker on a thicker one.
    """
    green = values["wood.green_moisture_pct"] / 100.0
    start = green if start_moisture is None else np.full_like(green, start_moisture)
    bark_m = values["wood.bark_thickness_mm"] / 1000.0
    relative = diameter_m / model().bark_reference_diameter_m.value
    return SCHEMA.fill(
        values,
        bark_resistance_s_m=bark_resistance_s_m(
            values["wood.bark_resistance_s_m"],
            values["wood.bark_bare_share"],
            values["model.bare_wood_resistance_s_m"],
            relative ** values["model.bark_thickness_exponent"],
        ),
        barrier_lifetime_h=values["barrier.lifetime_weeks"] * HOURS_PER_WEEK,
        spawn_moisture=values["model.spawn_moisture_pct"] / 100.0,
        bark_heat_resistance_m2k_w=bark_m / values["model.bark_conductivity_w_mk"],
        ground_heat_w_m2k=1.0
        / (1.0 / values["barrier.heat_w_m2k"] + 1.0 / values["model.soil_heat_w_m2k"]),
        start_moisture=np.minimum(
            start, WETTEST_START * max_moisture(wood.basic_density_kg_m3.value)
        ),
    )
