"""Physical constants and the few closed formulas that every stage shares.

Only nature's numbers live here; whatever describes a wood, a fungus, a canopy or a cover is a
row of ``climate_risk/tables``.
"""

from __future__ import annotations

STEFAN_BOLTZMANN_W_M2K4 = 5.670374419e-8
"""CODATA 2018."""
KELVIN_AT_0_C = 273.15
GAS_CONSTANT_J_MOL_K = 8.314462618
"""CODATA 2018."""
WATER_VAPOUR_GAS_CONSTANT_J_KG_K = 461.5
"""R / M(H2O), M = 18.015 g/mol."""
WATER_MOLAR_VOLUME_M3_MOL = 1.8e-5
"""Liquid water near 20 degC."""
SATURATION_PRESSURE_0_C_PA = 610.8
SATURATION_COEFFICIENT = 17.27
SATURATION_OFFSET_C = 237.3
"""Saturated vapour pressure over water is P0 exp(a T / (T + b)), T in degC (Allen et al. 1998,
FAO-56, eq. 11)."""
LATENT_HEAT_VAPORIZATION_J_KG = 2.45e6
"""Allen et al. 1998, FAO-56, eq. 3-1 (at 20 degC, held constant)."""
LATENT_HEAT_FUSION_J_KG = 3.34e5
"""Of ice at 0 degC (from memory; any handbook of physics)."""
WATER_HEAT_CAPACITY_J_KG_K = 4186.0
WOOD_CELL_WALL_SPECIFIC_GRAVITY = 1.54
"""Glass and Zelinka 2010, Wood Handbook FPL-GTR-190, eq. 4-3 (from memory)."""
AIR_HEAT_CAPACITY_J_KG_K = 1006.0
DRY_AIR_GAS_CONSTANT_J_KG_K = 287.05
VAPOUR_DIFFUSIVITY_M2_S = 2.42e-5
"""Of water vapour in air near 20 degC (Montgomery 1947 in most handbooks; from memory)."""
PRANDTL_AIR = 0.713
"""Air at 20 degC."""
SECONDS_PER_HOUR = 3600.0
HOURS_PER_DAY = 24
