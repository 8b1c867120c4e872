"""Parameter tables: one frozen row per fungus, wood, canopy and cover, read from TOML.

Every number is a :class:`Parameter`: a best estimate inside a range, with its unit, its source
and how far to trust it.  A file's ``[all]`` table holds what its rows share; a row may override.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from climate_risk.parameter import Drawn, Parameter, Row, find, read_row, read_rows, read_table

__all__ = [
    "Bag",
    "Barrier",
    "Batch",
    "Canopy",
    "Cloth",
    "Fungus",
    "Measuring",
    "Model",
    "Parameter",
    "Wood",
    "bags",
    "barriers",
    "batch",
    "canopies",
    "cloths",
    "find",
    "fungi",
    "measuring",
    "model",
    "woods",
]


@dataclass(frozen=True, kw_only=True)
class Fungus(Row):
    """A fungus: growth, heat death, drought death."""

    latin_name: str
    horizon_months: int
    """Time within which the run between faces should be complete."""
    caution: str = ""
    temp_min_c: Drawn
    temp_opt_c: Drawn
    temp_max_c: Drawn
    front_rate_mm_day: Drawn
    """Along the grain, at the optimum, in the best wood."""
    wood_factor: Mapping[str, Parameter]
    """By wood: multiplier on the rate."""
    spawn_lag_gdays: Drawn
    """Days at the optimum that pass before the front leaves the spawn."""
    psi_full_mpa: Drawn
    """Wetter than this, water does not slow growth."""
    psi_stop_mpa: Drawn
    """Drier than this, growth is nil."""
    air_share_stop: Drawn
    """Share of the wood's volume that is air, below which growth is nil."""
    air_share_full: Drawn
    heat_ref_temp_c: Drawn
    """At this temperature half the mycelium dies in ``heat_half_kill_h``."""
    heat_half_kill_h: Drawn
    heat_z_k: Drawn
    """Warming that shortens the time to half kill tenfold."""
    heat_dry_shift_k: Drawn
    """By how much air-dry wood raises the temperature that kills."""
    stall_recovery_d: Drawn
    """Time constant in which heat stress short of death wears off."""
    drought_half_kill_d: Drawn
    """Time to half kill at ``drought_full_pct`` and 20 degC."""
    spawn_half_kill_d: Drawn
    """The same in the spawn layer, before the mycelium has taken to the wood."""
    drought_q10: Drawn
    """Faster death by drought per ten kelvin."""
    drought_onset_pct: Drawn
    """Wood moisture, percent of oven-dry mass, below which drought kills at all."""
    drought_full_pct: Drawn
    fruiting_share: Drawn
    """Share of the way between spawn interfaces from which fruit is likely."""
    lost_share: Drawn
    """Living share below which a stack counts as lost."""

    def __post_init__(self) -> None:
        """Check that the cardinal temperatures suit the growth curve, wherever they are drawn.

        Rosso, Lobry and Flandrois 1993, J. Theor. Biol. 162:447-463: the curve has no pole
        between its ends only if the optimum lies above their mean.
        """
        low, opt, high = self.temp_min_c, self.temp_opt_c, self.temp_max_c
        if not (low.high + high.high) / 2.0 < opt.low <= opt.high < high.low:
            raise ValueError("the optimum must lie between the mean of the limits and the upper")
        if not self.psi_stop_mpa.high < self.psi_full_mpa.low:
            raise ValueError("psi_stop_mpa must lie below psi_full_mpa")


@dataclass(frozen=True, kw_only=True)
class Wood(Row):
    """A wood with its bark on."""

    latin_name: str
    basic_density_kg_m3: Parameter
    """Oven-dry mass over green volume."""
    green_moisture_pct: Drawn
    """Freshly felled, percent of oven-dry mass."""
    bark_resistance_s_m: Drawn
    """Against vapour, on a concentration difference, as in c / (1/h + R)."""
    bark_thickness_mm: Drawn
    bark_absorptance: Drawn
    """Share of sunlight that the bark absorbs."""
    bark_bare_share: Drawn
    """Of the side: wood whose bark has come off."""
    bark_store_kg_m2: Drawn
    """Rain that the bark holds."""
    bark_uptake_kg_m2_s: Drawn
    """Liquid that the wood takes in through wet bark."""
    free_diffusivity_transverse_m2_s: Drawn
    free_diffusivity_longitudinal_m2_s: Drawn
    uptake_diffusivity_m2_s: Drawn
    """Along the grain, while the end stands wet."""
    capillary_share: Parameter
    """Of the greatest moisture: rain and watering wet the wood no further."""
    bound_diffusivity_factor: Drawn
    """On Siau's curve of diffusivity across the grain, below fibre saturation."""
    bound_anisotropy: Drawn
    """Along over across the grain, below fibre saturation."""
    retention_alpha_per_mpa: Parameter
    retention_n: Parameter


@dataclass(frozen=True, kw_only=True)
class Canopy(Row):
    """What stands over the stack; leaf-on and leaf-off are alike for evergreens."""

    diffuse_transmittance_on: Parameter
    """Share of the sky's shortwave that passes; the canopy index follows from it."""
    diffuse_transmittance_off: Parameter
    closure_on: Parameter
    """Weight, 0 to 1, of the offset of air temperature."""
    closure_off: Parameter
    wind_ratio_on: Parameter
    """Wind at 0.5 m over open wind at 10 m."""
    wind_ratio_off: Parameter
    rain_store_mm_on: Parameter
    rain_store_mm_off: Parameter
    rain_free_share_on: Parameter
    """Share of the rain that falls through untouched."""
    rain_free_share_off: Parameter
    rain_evaporated_share_on: Parameter
    """Share of the rain beyond the store that evaporates during the storm."""
    rain_evaporated_share_off: Parameter
    index_factor: Drawn
    """Multiplier on the canopy index: how far one stand differs from its class."""


@dataclass(frozen=True, kw_only=True)
class Bag(Row):
    """A sack over the stack, weighted at its foot."""

    solar_transmittance: Drawn
    solar_absorptance: Drawn
    vapour_conductance_m_s: Drawn
    """Of one ply."""
    plies: int
    """Of a common bag of this material."""
    gap_vapour_conductance_m_s: Drawn
    gap_heat_w_m2k: Drawn
    """Air and radiation together, from bark to bag."""
    clearance_m: Drawn
    """From bark to bag, all round."""
    foot_gap_closed_mm: Drawn
    """Height of the slit through which air passes at a foot that is shut."""
    foot_gap_open_mm: Drawn
    rain_share: Drawn
    """Of the rain: soaks through onto the stack."""
    emissivity: Parameter

    def __post_init__(self) -> None:
        if self.solar_transmittance.high + self.solar_absorptance.high > 1.0:
            raise ValueError("transmittance and absorptance may not add up to more than 1")


@dataclass(frozen=True, kw_only=True)
class Cloth(Row):
    """A shade cloth; the share of sunlight it stops is the grower's."""

    solar_absorptance: Drawn
    """Of the threads."""
    beam_to_diffuse_share: Drawn
    wind_factor: Parameter
    weave_error: Drawn
    """Added to the nominal transmittance."""


@dataclass(frozen=True, kw_only=True)
class Barrier(Row):
    """What lies between the lowest spawn layer and the ground."""

    lifetime_weeks: Drawn
    """Until it has rotted away."""
    vapour_resistance_s_m: Drawn
    heat_w_m2k: Drawn


@dataclass(frozen=True, kw_only=True)
class Model(Row):
    """Numbers of the place and of the method that belong to no single row above."""

    bark_emissivity: Drawn
    end_grain_absorptance: Drawn
    ground_albedo: Drawn
    side_rain_catch_share: Drawn
    """Share of the rain's depth that reaches a unit area of side."""
    top_film_kg_m2: Drawn
    """Water that the top face holds before it runs off."""
    spawn_contact_resistance_m: Drawn
    """Resistance of a spawn layer as a thickness of wood along the grain."""
    soil_filter_days: Parameter
    """Time constant of the ground's temperature behind the air's."""
    soil_heat_w_m2k: Drawn
    """Conductance from the foot of the stack to ground at that temperature."""
    air_offset_max_factor: Parameter
    """Change of the day's highest temperature per kelvin of daily range, full closure."""
    air_offset_min_factor: Parameter
    air_offset_max_bound_k: Parameter
    air_offset_min_bound_k: Parameter
    free_convection_w_m2k: Drawn
    """Least coefficient of convection, in still air."""
    bark_conductivity_w_mk: Drawn
    outdoor_convection_factor: Drawn
    """Of forced convection on a rough log in gusts over the smooth cylinder's."""
    opening_exchange_factor: Drawn
    """Air through an opening over its area times the wind."""
    soil_resistance_s_m: Drawn
    """To vapour, of the ground inside a bag's foot."""
    spawn_density_kg_m3: Drawn
    """Oven-dry, of a spawn layer."""
    spawn_moisture_pct: Drawn
    """Of fresh spawn, percent of oven-dry mass."""
    spawn_full_moisture_pct: Parameter
    """Of spawn that can hold no more."""
    spawn_retention_alpha_per_mpa: Parameter
    spawn_retention_n: Parameter
    spawn_diffusivity_m2_s: Drawn
    """Of moisture toward the rim of a spawn layer."""
    bark_reference_diameter_m: Parameter
    """Of the logs that the woods' bark is given for."""
    bark_thickness_exponent: Drawn
    """How bark resistance grows with the thickness of bark, and so with the log's diameter."""
    bare_wood_resistance_s_m: Drawn
    """To vapour, of the dried skin of wood where bark is off."""
    bark_crack_factor: Drawn
    """By how much bark conducts more once the wood beneath is air-dry."""
    estimated_temp_error_k: Drawn
    """By which air is warmer than the normals that fill a long gap, the whole gap long."""
    estimated_rain_factor: Drawn
    """True rain over the other days' rain that fills a long gap."""
    estimated_humidity_error_pct: Drawn
    """Points by which relative humidity that nobody measured is off, the whole run long."""
    estimated_sun_error: Drawn
    """Share by which sunlight that was estimated from temperature is off."""
    estimated_wind_factor: Drawn
    """True wind over the wind that is taken where none was measured."""
    ref_latitude: Parameter
    """Where, and how high, the leaf days below hold."""
    ref_elevation_m: Parameter
    leaf_on_day_at_ref: Parameter
    """Day of the year on which half the leaves are out."""
    leaf_off_day_at_ref: Parameter
    days_per_degree_latitude_spring: Parameter
    days_per_degree_latitude_autumn: Parameter
    days_per_100m_spring: Parameter
    days_per_100m_autumn: Parameter
    days_per_k_spring: Parameter
    """Per kelvin by which March to May is warmer than usual there."""
    spread_days_spring: Parameter
    """From a tenth to nine tenths of the leaves."""
    spread_days_autumn: Parameter
    complete_share: Parameter
    """Share of the way between spawn faces that makes a run complete."""
    cloth_area_per_stack_m2: Parameter
    bag_month_rain_mm: Parameter
    minutes_per_cover: Parameter
    minutes_per_watering: Parameter
    minutes_per_move: Parameter


@dataclass(frozen=True, kw_only=True)
class Batch(Row):
    """What a batch takes before its first day."""

    kerf_m: Parameter
    """Wood that a cut turns to dust."""
    trim_m: Parameter
    """Taken off the butt end of each tree."""
    tree_length_m: Parameter
    bark_green_density_kg_m3: Mapping[str, Parameter]
    """By wood."""
    lift_alone_kg: Parameter
    """What one person may lift where nothing about the lift is awkward."""
    spawn_bulk_kg_m3: Parameter
    """Moist, as it lies on a face."""
    spawn_spare_share: Parameter
    """Beyond what lies on the faces."""
    barrier_margin_m: Parameter
    minutes_per_stack_built: Parameter
    rest_least_d: Parameter
    """From felling to spawn."""
    rest_most_d: Parameter
    bud_swell_lead_d: Parameter
    """Before a tenth of the leaves is out."""
    sure_share: Parameter
    """Of past years in which a week that is offered would have served."""


@dataclass(frozen=True, kw_only=True)
class Measuring(Row):
    """How far a grower's own readings, and the model beside them, may be off."""

    scale_error_kg: Parameter
    """Of one weighing."""
    dry_mass_error: Parameter
    """Share by which the oven-dry mass of a piece, from size and density, is off."""
    moisture_discrepancy: Parameter
    """By which the simulated moisture of one piece is off though every number is right."""
    discrepancy_days: Parameter
    """Over which such an error lasts."""
    level_error: Parameter
    """By which a tree is wetter or drier all along than its wood's range says."""
    disc_error: Parameter
    """Moisture of a disc less that of the piece beside it."""
    thermometer_error_k: Parameter
    """Of the day's hottest bark, day by day; the bias is the same on every day."""
    thermometer_bias_k: Parameter
    hygrometer_error_pct: Parameter
    """Points of a day's mean humidity in a bag, day by day; the bias as above."""
    hygrometer_bias_pct: Parameter


@cache
def fungi() -> Mapping[str, Fungus]:
    """Every known fungus, by name."""
    rows = read_rows(Fungus, read_table("fungi"))
    for fungus in rows.values():
        if fungus.wood_factor.keys() != woods().keys():
            raise ValueError(f"fungi.toml: {fungus.name}: wood_factor must name every wood once")
    return rows


@cache
def woods() -> Mapping[str, Wood]:
    """Every known wood, by name."""
    return read_rows(Wood, read_table("woods"))


@cache
def canopies() -> Mapping[str, Canopy]:
    """Every known canopy, by name."""
    return read_rows(Canopy, read_table("canopies"))


@cache
def bags() -> Mapping[str, Bag]:
    """Every known bag, by material."""
    return read_rows(Bag, read_table("covers")["bag"])


@cache
def cloths() -> Mapping[str, Cloth]:
    """Every known cloth, by name."""
    return read_rows(Cloth, read_table("covers")["cloth"])


@cache
def barriers() -> Mapping[str, Barrier]:
    """Every known ground barrier, by name."""
    return read_rows(Barrier, read_table("covers")["barrier"])


@cache
def model() -> Model:
    """The numbers that belong to no row."""
    return read_row(Model, "model", read_table("model"))


@cache
def batch() -> Batch:
    """The numbers of planning a batch."""
    rules = read_row(Batch, "plan", read_table("plan"))
    if rules.bark_green_density_kg_m3.keys() != woods().keys():
        raise ValueError("plan.toml: bark_green_density_kg_m3 must name every wood once")
    return rules


@cache
def measuring() -> Measuring:
    """How far a grower's own readings may be off."""
    return read_row(Measuring, "measuring", read_table("measuring"))
