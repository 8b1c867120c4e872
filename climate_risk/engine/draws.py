"""Draws of the unknowns: Latin hypercube samples of every parameter's range.

The best estimate is the median of each parameter; half the draws lie evenly between it and the
low end, half between it and the high end, in the value or in its logarithm.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from climate_risk.parameter import Parameter
from climate_risk.schema import drawn_fields
from climate_risk.tables import Bag, Barrier, Canopy, Cloth, Fungus, Model, Wood

FloatArray = npt.NDArray[np.float64]

DRAWS = 8
"""Fewest parameter draws a year; every year has its own."""
LEAST_RUNS = 320
"""Years times draws with which a chance's error from the draws stays under 2 points (measured in
``tests/draw_error.py``)."""
FEW_YEARS = 10
"""With fewer, no chance is given, and more draws would serve nothing."""
SEED = 2_718


@dataclass(frozen=True, kw_only=True)
class ParameterSet:
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
        found = {
            f"{group.name}.{name}": getattr(getattr(self, group.name), name)
            for group in fields(self)
            for name in drawn_fields(type(getattr(self, group.name)))
        }
        return found | {"fungus.wood_factor": self.fungus.wood_factor[self.wood.name]}


def draws_for(years: int) -> int:
    """Draws a year that keep a chance's error from the draws under 2 points."""
    return max(DRAWS, -(-LEAST_RUNS // max(years, FEW_YEARS)))


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


def values_at(parameters: ParameterSet, quantiles: FloatArray) -> dict[str, FloatArray]:
    """Drawn values by unknown, each (runs,), from quantiles (runs, unknowns)."""
    unknowns = parameters.unknowns()
    return {
        name: at_quantile(parameter, quantiles[:, n])
        for n, (name, parameter) in enumerate(unknowns.items())
    }
