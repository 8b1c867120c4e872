"""Draws of the unknowns: Latin hypercube samples of every parameter's range.

The best estimate is the median of each parameter; half the draws lie evenly between it and the
low end, half between it and the high end, in the value or in its logarithm.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.fungus.kernel import Mycelium
from climate_risk.log.kernel import LANES, Lanes
from climate_risk.log.wood import max_moisture
from climate_risk.microclimate.shade import Shade
from climate_risk.tables import (
    Bag,
    Barrier,
    Canopy,
    Cloth,
    Fungus,
    Model,
    Parameter,
    Wood,
)

FloatArray = npt.NDArray[np.float64]

DRAWS = 8
"""Parameter draws a year; every year has its own."""
SEED = 2_718
WETTEST_START = 0.98
"""Of the wood's greatest moisture: a log never starts without any air."""

WOOD_UNKNOWNS = (
    "green_moisture_pct",
    "bark_resistance_s_m",
    "bark_thickness_mm",
    "bark_absorptance",
    "bark_store_kg_m2",
    "bark_uptake_kg_m2_s",
    "free_diffusivity_transverse_m2_s",
    "free_diffusivity_longitudinal_m2_s",
    "uptake_diffusivity_m2_s",
    "bound_diffusivity_factor",
    "bound_anisotropy",
)
FUNGUS_UNKNOWNS = (
    "temp_min_c",
    "temp_opt_c",
    "temp_max_c",
    "front_rate_mm_day",
    "spawn_lag_gdays",
    "psi_full_mpa",
    "psi_stop_mpa",
    "air_share_stop",
    "air_share_full",
    "heat_ref_temp_c",
    "heat_half_kill_h",
    "heat_z_k",
    "stall_recovery_d",
    "drought_half_kill_d",
    "drought_onset_pct",
    "drought_full_pct",
    "lost_share",
)
MODEL_UNKNOWNS = (
    "bark_emissivity",
    "end_grain_absorptance",
    "ground_albedo",
    "side_rain_catch_share",
    "top_film_kg_m2",
    "spawn_contact_resistance_m",
    "soil_heat_w_m2k",
    "free_convection_w_m2k",
    "bark_conductivity_w_mk",
    "film_factor",
)
BAG_UNKNOWNS = (
    "solar_transmittance",
    "solar_absorptance",
    "vapour_conductance_m_s",
    "gap_vapour_conductance_m_s",
    "gap_heat_w_m2k",
    "leak_conductance_m_s",
    "rain_share",
)
CLOTH_UNKNOWNS = ("solar_absorptance", "beam_to_diffuse_share", "weave_error")
BARRIER_UNKNOWNS = ("vapour_resistance_s_m", "heat_w_m2k")


@dataclass(frozen=True, kw_only=True)
class Rows:
    """The table rows that one kind of stack under one canopy draws from."""

    wood: Wood
    fungus: Fungus
    model: Model
    canopy: Canopy
    bag: Bag
    cloth: Cloth
    barrier: Barrier

    def unknowns(self) -> dict[str, Parameter]:
        """Every drawn parameter by a name that is the same under every canopy and cover."""
        groups: tuple[tuple[str, object, tuple[str, ...]], ...] = (
            ("wood", self.wood, WOOD_UNKNOWNS),
            ("fungus", self.fungus, FUNGUS_UNKNOWNS),
            ("model", self.model, MODEL_UNKNOWNS),
            ("canopy", self.canopy, ("index_factor",)),
            ("bag", self.bag, BAG_UNKNOWNS),
            ("cloth", self.cloth, CLOTH_UNKNOWNS),
            ("barrier", self.barrier, BARRIER_UNKNOWNS),
        )
        found = {
            f"{group}.{name}": getattr(row, name) for group, row, names in groups for name in names
        }
        return found | {"fungus.wood_factor": self.fungus.wood_factor[self.wood.name]}


def at_quantile(parameter: Parameter, quantile: FloatArray) -> FloatArray:
    """Values of a parameter at quantiles 0 to 1; the best estimate is the median."""
    knots = np.array([parameter.low, parameter.value, parameter.high])
    if parameter.scale == "log":
        return np.asarray(np.exp(np.interp(quantile, [0.0, 0.5, 1.0], np.log(knots))))
    return np.asarray(np.interp(quantile, [0.0, 0.5, 1.0], knots))


def latin_hypercube(draws: int, unknowns: int, seed: int) -> FloatArray:
    """Quantiles of every unknown in every draw, (draws, unknowns), the same for one seed."""
    rng = np.random.default_rng(np.random.SeedSequence(seed).spawn(1)[0])
    within = rng.uniform(size=(draws, unknowns))
    strata = np.stack([rng.permutation(draws) for _ in range(unknowns)], axis=1)
    return np.asarray((strata + 1 - within) / draws)


def best_estimate(unknowns: int) -> FloatArray:
    """Quantiles of the reference run, (1, unknowns): every unknown at its best estimate."""
    return np.full((1, unknowns), 0.5)


def values_at(rows: Rows, quantiles: FloatArray) -> dict[str, FloatArray]:
    """Drawn values by unknown, each (runs,), from quantiles (runs, unknowns)."""
    unknowns = rows.unknowns()
    return {
        name: at_quantile(parameter, quantiles[:, n])
        for n, (name, parameter) in enumerate(unknowns.items())
    }


def log_lanes(rows: Rows, values: Mapping[str, FloatArray], start_moisture: float | None) -> Lanes:
    """The log's lanes; ``values`` hold LANES entries each."""
    full = max_moisture(rows.wood.basic_density_kg_m3.value)
    green = values["wood.green_moisture_pct"] / 100.0
    start = green if start_moisture is None else np.full(LANES, start_moisture)
    ground = 1.0 / (1.0 / values["barrier.heat_w_m2k"] + 1.0 / values["model.soil_heat_w_m2k"])
    bark_m = values["wood.bark_thickness_mm"] / 1000.0
    return Lanes(
        bark_absorptance=values["wood.bark_absorptance"],
        end_absorptance=values["model.end_grain_absorptance"],
        emissivity=values["model.bark_emissivity"],
        film_factor=values["model.film_factor"],
        free_convection_w_m2k=values["model.free_convection_w_m2k"],
        bark_resistance_s_m=values["wood.bark_resistance_s_m"],
        bark_heat_resistance_m2k_w=bark_m / values["model.bark_conductivity_w_mk"],
        bark_uptake_kg_m2_s=values["wood.bark_uptake_kg_m2_s"],
        bark_store_kg_m2=values["wood.bark_store_kg_m2"],
        top_film_kg_m2=values["model.top_film_kg_m2"],
        side_catch_share=values["model.side_rain_catch_share"],
        free_diffusivity_transverse_m2_s=values["wood.free_diffusivity_transverse_m2_s"],
        free_diffusivity_longitudinal_m2_s=values["wood.free_diffusivity_longitudinal_m2_s"],
        uptake_diffusivity_m2_s=values["wood.uptake_diffusivity_m2_s"],
        bound_diffusivity_factor=values["wood.bound_diffusivity_factor"],
        bound_anisotropy=values["wood.bound_anisotropy"],
        contact_m=values["model.spawn_contact_resistance_m"],
        barrier_resistance_s_m=values["barrier.vapour_resistance_s_m"],
        barrier_heat_w_m2k=ground,
        bag_transmittance=values["bag.solar_transmittance"],
        bag_absorptance=values["bag.solar_absorptance"],
        bag_vapour_m_s=values["bag.vapour_conductance_m_s"],
        bag_gap_vapour_m_s=values["bag.gap_vapour_conductance_m_s"],
        bag_leak_m_s=values["bag.leak_conductance_m_s"],
        bag_gap_heat_w_m2k=values["bag.gap_heat_w_m2k"],
        bag_rain_share=values["bag.rain_share"],
        start_moisture=np.minimum(start, WETTEST_START * full),
    )


def shade_lanes(values: Mapping[str, FloatArray], openness: float) -> Shade:
    """The light's lanes."""
    return Shade(
        index_factor=values["canopy.index_factor"],
        openness=np.full(LANES, openness),
        ground_albedo=values["model.ground_albedo"],
        cloth_error=values["cloth.weave_error"],
        cloth_absorptance=values["cloth.solar_absorptance"],
        cloth_diffusing=values["cloth.beam_to_diffuse_share"],
    )


def mycelium_lanes(values: Mapping[str, FloatArray]) -> Mycelium:
    """The fungus's lanes."""
    per_day = float(HOURS_PER_DAY)
    front_mm_day = values["fungus.front_rate_mm_day"] * values["fungus.wood_factor"]
    return Mycelium(
        temp_min_c=values["fungus.temp_min_c"],
        temp_opt_c=values["fungus.temp_opt_c"],
        temp_max_c=values["fungus.temp_max_c"],
        front_rate_m_h=front_mm_day / (1000.0 * per_day),
        spawn_lag_h=values["fungus.spawn_lag_gdays"] * per_day,
        psi_full_mpa=values["fungus.psi_full_mpa"],
        psi_stop_mpa=values["fungus.psi_stop_mpa"],
        air_share_full=values["fungus.air_share_full"],
        air_share_stop=values["fungus.air_share_stop"],
        heat_ref_temp_c=values["fungus.heat_ref_temp_c"],
        heat_half_kill_h=values["fungus.heat_half_kill_h"],
        heat_z_k=values["fungus.heat_z_k"],
        stall_recovery_h=values["fungus.stall_recovery_d"] * per_day,
        drought_half_kill_h=values["fungus.drought_half_kill_d"] * per_day,
        drought_onset=values["fungus.drought_onset_pct"] / 100.0,
        drought_full=values["fungus.drought_full_pct"] / 100.0,
    )
