"""The season that is timed: the first stack of the invented farm."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from climate_risk import api
from climate_risk.api import Weather
from climate_risk.demo_files import demo_folder
from climate_risk.engine.stack import Scheme, StackModel, stack_model
from climate_risk.risk.ensemble import usable_years
from climate_risk.yard import Yard

REPEATS = 3


@dataclass(frozen=True, kw_only=True)
class Season:
    """A stack under its yard's own scheme, with every year that its weather holds."""

    yard: Yard
    weather: Weather
    kind: StackModel
    scheme: Scheme
    years: tuple[int, ...]

    @property
    def cells(self) -> int:
        """Cells of one stack."""
        return int(self.kind.grid.level_m.size * self.kind.grid.ring_area_m2.size)

    @property
    def unknowns(self) -> int:
        """Numbers that a run draws."""
        return len(self.kind.parameter_set(self.scheme).unknowns())


def demo_season() -> Season:
    """The invented farm's."""
    yard = api.read_yard(demo_folder() / "yard.toml")
    weather = api.load_weather(yard)
    stack = yard.stacks[0]
    kind = stack_model(stack, weather.record, yard.openness, yard.canopy)
    return Season(
        yard=yard,
        weather=weather,
        kind=kind,
        scheme=Scheme(canopy=yard.canopy, covers=stack.covers),
        years=usable_years(kind, kind.start_day, kind.horizon),
    )


def seconds(work: Callable[[], object]) -> float:
    """How long one call takes."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def best_of(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Shortest of a few timings [s]."""
    return float(np.min([seconds(work) for _ in range(repeats)]))
