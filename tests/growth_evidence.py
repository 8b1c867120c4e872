"""What the fungus rows give for the published cases: tests and notebook share it."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.fungus.formulas import potential_response, temperature_response
from climate_risk.tables import Fungus, fungi

FloatArray = npt.NDArray[np.float64]
PUBLISHED = Path(__file__).parent / "published"

ROGOW_MEANS_C = (-2.5, -1.5, 2.5, 8.5, 13.8, 17.0, 19.0, 18.3, 13.5, 8.5, 3.5, -0.5)
"""Central Poland, January to December (climate normals, from memory)."""
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
DAILY_SWING_K = 4.0
"""Half the day's range inside a stump in the woods: a guess."""
STUMPS_SET_IN_MONTH = 4
"""April: not told."""


@cache
def published() -> dict[str, Any]:
    """The cases of tests/published/growth.toml."""
    return tomllib.loads((PUBLISHED / "growth.toml").read_text(encoding="utf-8"))


def growth(name: str, temp_c: float) -> float:
    """Growth over the optimum at the best estimate."""
    row = fungi()[name]
    return float(
        temperature_response(
            float(temp_c), row.temp_min_c.value, row.temp_opt_c.value, row.temp_max_c.value
        )
    )


def best_of(case: dict[str, Any]) -> float:
    """The best of the temperatures tried, by the model."""
    tried = case["tried_c"]
    return float(tried[int(np.argmax([growth(case["fungus"], t) for t in tried]))])


def ratio(case: dict[str, Any]) -> float:
    """Rate at the first temperature over that at the second."""
    first, second = (growth(case["fungus"], t) for t in case["temps_c"])
    return first / second


def half_width(name: str) -> tuple[float, float]:
    """How far below and above its best temperature a fungus still grows half as fast [K]."""
    temps = np.arange(-5.0, 45.0, 0.02)
    inside = temps[np.array([growth(name, t) for t in temps]) >= 0.5]
    best = fungi()[name].temp_opt_c.value
    return float(inside[0] - best), float(inside[-1] - best)


def measured_half_widths() -> tuple[FloatArray, FloatArray]:
    """The same of wood-decay fungi as measured, one value per fungus."""
    data = published()["half_width"]
    low, best, high = (np.array(data[key]) for key in ("low_c", "best_c", "high_c"))
    return low - best, high - best


def measured_water() -> tuple[FloatArray, FloatArray]:
    """Water potentials [MPa], and (fungi, potentials) growth over each fungus's best."""
    data = dict(published()["water"])
    psi = np.array(data.pop("psi_mpa"))
    rates = np.array(list(data.values()))
    return psi, rates / rates.max(axis=1, keepdims=True)


def water_response(row: Fungus, psi_mpa: FloatArray) -> FloatArray:
    """Growth by water potential at the best estimate."""
    stop, full = row.psi_stop_mpa.value, row.psi_full_mpa.value
    return np.array([potential_response(float(psi), stop, full) for psi in psi_mpa])


def stop_that_fits(psi_mpa: FloatArray, growth: FloatArray, full_mpa: float) -> float:
    """Where the program's curve stops [MPa] that lies nearest to a measured one."""
    from scipy.optimize import minimize_scalar

    def miss(stop: float) -> float:
        ours = [potential_response(float(psi), stop, full_mpa) for psi in psi_mpa]
        return float(np.sum((np.array(ours) - growth) ** 2))

    return float(minimize_scalar(miss, bounds=(-12.0, full_mpa - 0.1), method="bounded").x)


def left_by_heat(case: dict[str, Any]) -> float:
    """Share alive after a time at a temperature."""
    row = fungi()[case["fungus"]]
    colder = (row.heat_ref_temp_c.value - case["temp_c"]) / row.heat_z_k.value
    return float(2.0 ** -(case["hours"] / (row.heat_half_kill_h.value * 10.0**colder)))


def stump_depth_mm(case: dict[str, Any]) -> tuple[float, float, float]:
    """Way of the front from the top of a stump outdoors: slowest, best and fastest wood."""
    row = fungi()["grey oyster"]
    clock = np.arange(HOURS_PER_DAY)
    swing = DAILY_SWING_K * np.cos(2.0 * np.pi * (clock - 14) / HOURS_PER_DAY)
    days = 0.0
    for n in range(case["months"]):
        month = (STUMPS_SET_IN_MONTH - 1 + n) % 12
        share = np.mean([growth("grey oyster", ROGOW_MEANS_C[month] + t) for t in swing])
        days += MONTH_DAYS[month] * float(share)
    days -= row.spawn_lag_gdays.value
    factor = row.wood_factor[case["wood"]]
    way = days * row.front_rate_mm_day.value
    return way * factor.low, way * factor.value, way * factor.high
