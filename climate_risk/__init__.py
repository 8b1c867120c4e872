"""Microclimate risk analyzer for log-grown mushroom stacks in their first year.

>>> import climate_risk as cr
>>> yard = cr.read_yard("yard.toml")                              # doctest: +SKIP
>>> weather = cr.load_weather(yard)                               # doctest: +SKIP
>>> result = cr.season(yard, weather)                             # doctest: +SKIP
>>> cr.season_figure(result)                                      # doctest: +SKIP
"""

from __future__ import annotations

from typing import Any

FIGURES = (
    "canopies_figure",
    "compare_figure",
    "map_dataset",
    "map_figure",
    "past_years_figure",
    "plan_figure",
    "season_figure",
    "skill_figure",
    "stack_figure",
    "witness_figure",
    "years_figure",
)

__all__ = [
    "canopies_figure",
    "compare",
    "compare_figure",
    "hindcast",
    "load_weather",
    "map_dataset",
    "map_figure",
    "map_region",
    "past_years_figure",
    "plan",
    "plan_figure",
    "read_yard",
    "season",
    "season_figure",
    "simulate",
    "skill_figure",
    "stack_figure",
    "witness_figure",
    "years_figure",
]


def __getattr__(name: str) -> Any:
    """Load the entry points when they are first asked for: start-up stays quick."""
    if name in FIGURES:
        from climate_risk import plot

        return getattr(plot, name)
    if name in __all__:
        from climate_risk import api

        return getattr(api, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
