"""Small stacks, forcings and references that the tests of the log share."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import NamedTuple
from unittest import mock

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from climate_risk import tables
from climate_risk.constants import KELVIN_AT_0_C, STEFAN_BOLTZMANN_W_M2K4
from climate_risk.engine import stack as stack_room
from climate_risk.engine.draws import ParameterSet, values_at
from climate_risk.log import conductances, geometry, kernel, state, wood
from climate_risk.log import layout as at
from climate_risk.log.formulas import dry_heat_capacity
from climate_risk.log.parameters import P as LOG
from climate_risk.log.parameters import log_parameters
from climate_risk.log.state import Curves
from climate_risk.microclimate import radiation

FloatArray = npt.NDArray[np.float64]
PUBLISHED = Path(__file__).parent / "published"
SEALED_S_M = 1e15
"""A vapour resistance that nothing passes."""
DIAMETER_M = 0.24
TALL_M = 1e4
"""A column so tall that its ends do not matter to its middle."""


def saturated_density(temp_c: npt.ArrayLike) -> FloatArray:
    """Vapour density over water [kg/m3] (Allen et al. 1998, FAO-56, eq. 11, ideal gas)."""
    t = np.asarray(temp_c, dtype=np.float64)
    return np.asarray(610.8 * np.exp(17.27 * t / (t + 237.3)) / (461.5 * (t + KELVIN_AT_0_C)))


class Stack(NamedTuple):
    """What the kernel needs to know of a stack."""

    grid: geometry.Grid
    curves: Curves
    parameters: FloatArray


def published(name: str) -> list[dict[str, float]]:
    """ParameterSet of a table under tests/published; lines that start with # cite its source."""
    text = (PUBLISHED / name).read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in text if not line.startswith("#"))
    return [{key: float(value) for key, value in row.items()} for row in rows]


def make_parameters(name: str = "aspen", **changes: npt.ArrayLike) -> FloatArray:
    """Best values of the tables in every case; a change is a number or one value per case."""
    rows = ParameterSet(
        wood=tables.woods()[name],
        fungus=tables.fungi()["grey oyster"],
        model=tables.model(),
        canopy=tables.canopies()["open"],
        bag=tables.bags()["paper"],
        cloth=tables.cloths()["shade cloth"],
        barrier=tables.barriers()["paper"],
    )
    middle = np.full((at.CASES, len(rows.unknowns())), 0.5)
    return changed(log_parameters(rows.wood, values_at(rows, middle), None, DIAMETER_M), **changes)


def changed(parameters: FloatArray, **changes: npt.ArrayLike) -> FloatArray:
    """The same parameters with some rows set to a number, or to one value per case."""
    copy = parameters.copy()
    for key, value in changes.items():
        copy[getattr(LOG, key)] = value
    return copy


def make_curves(name: str = "aspen") -> Curves:
    """Curves of one wood, as the kernel takes them."""
    made = wood.wood_tables(tables.woods()[name])
    return Curves(
        density_kg_m3=made.basic_density_kg_m3,
        dry_heat_capacity_j_kg_k=float(dry_heat_capacity(20.0)),
        max_moisture=made.max_moisture,
        activity=made.activity,
        moisture_by_activity=made.moisture_by_activity,
        bound_diffusivity_m2_s=made.bound_diffusivity_m2_s,
        spawn_as_wood=made.spawn_as_wood,
        spawn_activity=made.spawn_activity,
        spawn_by_activity=made.spawn_by_activity,
    )


def small_grid(rings: int = 3, levels: int = 3, cap_m: float = 0.05) -> geometry.Grid:
    """Two pieces and a cap."""
    return geometry.make_grid(
        diameter_m=0.24,
        piece_length_m=0.25,
        pieces=2,
        cap_thickness_m=cap_m,
        rings=rings,
        levels_per_piece=levels,
        cap_levels=2,
    )


def season_grid(pieces: int) -> geometry.Grid:
    """Pieces and a cap, cut as a season's are."""
    return geometry.make_grid(
        diameter_m=0.24,
        piece_length_m=0.25,
        pieces=pieces,
        cap_thickness_m=0.05,
        rings=stack_room.RINGS,
        levels_per_piece=stack_room.LEVELS_PER_PIECE,
        cap_levels=stack_room.CAP_LEVELS,
    )


def column(
    diameter_m: float,
    rings: int,
    *,
    height_m: float = TALL_M,
    levels: int = 3,
    ring_ratio: float = 1.0,
    level_ratio: float = 1.0,
) -> geometry.Grid:
    """One bare piece cut at ratios of the test's choice: 1 for cells of one thickness."""
    with (
        mock.patch.object(geometry, "RING_RATIO", ring_ratio),
        mock.patch.object(geometry, "LEVEL_RATIO", level_ratio),
        mock.patch.object(geometry, "BARE_RATIO", level_ratio),
    ):
        return geometry.make_grid(
            diameter_m=diameter_m,
            piece_length_m=height_m,
            pieces=1,
            cap_thickness_m=0.0,
            rings=rings,
            levels_per_piece=levels,
            cap_levels=0,
        )


def make_forcing(hours: int, **changes: npt.ArrayLike) -> FloatArray:
    """Calm, dark, bone-dry air at 20 degC; a change is named like its F_ constant.

    A change is a number, one per hour, or (hours, CASES).  Long-wave is that of a black body at
    the air's temperature unless it is given.
    """
    forcing = np.zeros((hours, at.FORCINGS, at.CASES))
    values: dict[str, npt.ArrayLike] = {"air_temp": 20.0} | changes
    air = np.asarray(values["air_temp"], dtype=np.float64)
    black = STEFAN_BOLTZMANN_W_M2K4 * (air + KELVIN_AT_0_C) ** 4
    defaults = {"soil_temp": air, "longwave_side": black, "longwave_top": black}
    for key, value in (defaults | values).items():
        array = np.asarray(value, dtype=np.float64)
        forcing[:, getattr(at, f"F_{key.upper()}")] = array[:, None] if array.ndim == 1 else array
    return forcing


def girth_modes(azimuth_deg: float) -> FloatArray:
    """(MODES,) of a beam from one azimuth; its mean over the girth is 1 / pi."""
    return radiation.girth_modes(np.array([azimuth_deg]))[0]


def sector_temps(stack: Stack, a: FloatArray) -> FloatArray:
    """(SECTORS, rings, CASES) temperatures at the middle level [degC]."""
    nr, middle = stack.grid.ring_area_m2.size, stack.grid.level_m.size // 2
    modes = a[at.MODE_TEMP, : at.MODES * nr].reshape(at.MODES, nr, -1)
    mean = a[at.TEMP, middle * nr : (middle + 1) * nr]
    return np.asarray(mean + np.einsum("ns,nrl->srl", radiation.sector_basis(), modes))


def start(stack: Stack, temp_c: float = 20.0) -> FloatArray:
    """A fresh state."""
    return state.make_state(stack.grid, stack.parameters, temp_c)


def run(
    stack: Stack,
    a: FloatArray,
    forcing: FloatArray,
    modes: FloatArray | None = None,
    first_hour: int = 0,
) -> FloatArray:
    """Advance a state in place over every row of forcing, as a season does; return it."""
    modes = np.zeros(at.MODES) if modes is None else modes
    for hour, row in enumerate(forcing, start=first_hour):
        if hour % kernel.REFRESH_HOURS == 0:
            conductances.refresh_conductances(stack.grid, stack.curves, a)
        kernel.step_hour(stack.grid, stack.curves, a, row, modes)
    return a


def cells(stack: Stack, a: FloatArray, term: int) -> FloatArray:
    """(levels, rings, CASES) values of a term whose rows are cells."""
    nz, nr = stack.grid.level_m.size, stack.grid.ring_area_m2.size
    return np.asarray(a[term, : nz * nr].reshape(nz, nr, -1))


def mean_over_rings(stack: Stack, values: FloatArray) -> FloatArray:
    """Mean over the cross-section of (..., rings, CASES) values."""
    share = stack.grid.ring_area_m2 / stack.grid.ring_area_m2.sum()
    return np.asarray(np.einsum("r,...rl->...l", share, values))


def mean_over_stack(stack: Stack, values: FloatArray) -> FloatArray:
    """Mean over the volume of (levels, rings, CASES) values."""
    share = stack.grid.level_m / stack.grid.height_m
    return np.asarray(np.einsum("k,kl->l", share, mean_over_rings(stack, values)))


def cylinder_roots(biot: float, count: int = 60) -> FloatArray:
    """Roots of b J1(b) = Bi J0(b); the zeros of J0 for an infinite Biot number."""
    if np.isinf(biot):
        return np.asarray(special.jn_zeros(0, count))
    edges = np.concatenate([[0.0], special.jn_zeros(1, count)])
    zeros = special.jn_zeros(0, count)

    def gap(b: float) -> float:
        return float(b * special.j1(b) - biot * special.j0(b))

    return np.array([optimize.brentq(gap, e, z) for e, z in zip(edges, zeros, strict=False)])


def slab_roots(biot: float, count: int = 60) -> FloatArray:
    """Roots of b tan(b) = Bi; odd multiples of pi/2 for an infinite Biot number."""
    n = np.arange(count)
    if np.isinf(biot):
        return np.asarray((n + 0.5) * np.pi)

    def gap(b: float) -> float:
        return float(b * np.sin(b) - biot * np.cos(b))

    return np.array([optimize.brentq(gap, k * np.pi, (k + 0.5) * np.pi) for k in n])


def decay(roots: FloatArray, fourier: float, steps: int | None) -> FloatArray:
    """Each mode's decay: exact in time, or as that many implicit Euler steps leave it.

    The modes of the equation are also modes of the implicit step, so this reference has the
    method's error in time and none in space.
    """
    if steps is None:
        return np.asarray(np.exp(-(roots**2) * fourier))
    return np.asarray((1.0 + roots**2 * fourier / steps) ** -steps)


def cylinder_mean(biot: float, fourier: float, steps: int | None = None) -> float:
    """Mean of what is left in an infinite cylinder (Crank 1975, ch. 5; Carslaw and Jaeger)."""
    b = cylinder_roots(biot)
    weight = 4.0 / b**2 if np.isinf(biot) else 4.0 * biot**2 / (b**2 * (b**2 + biot**2))
    return float(weight @ decay(b, fourier, steps))


def cylinder_centre(biot: float, fourier: float, steps: int | None = None) -> float:
    """What is left on the axis of an infinite cylinder (same source)."""
    b = cylinder_roots(biot)
    weight = (
        2.0 / (b * special.j1(b))
        if np.isinf(biot)
        else 2.0 * biot / ((b**2 + biot**2) * special.j0(b))
    )
    return float(weight @ decay(b, fourier, steps))


def slab_mean(biot: float, fourier: float, steps: int | None = None) -> float:
    """Mean of what is left in a slab open on both faces, by its half thickness (Crank, ch. 4)."""
    b = slab_roots(biot)
    weight = 2.0 / b**2 if np.isinf(biot) else 2.0 * biot**2 / (b**2 * (b**2 + biot**2 + biot))
    return float(weight @ decay(b, fourier, steps))
