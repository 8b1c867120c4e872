"""Microclimate risk analyzer for log-grown mushroom stacks in their first year.

>>> import climate_risk as cr
>>> yard = cr.read_yard("yard.toml")                              # doctest: +SKIP
>>> weather = cr.load_weather(yard)                               # doctest: +SKIP
>>> result = cr.season(yard, weather)                             # doctest: +SKIP
"""

from __future__ import annotations

from typing import Any

__all__ = ["compare", "load_weather", "read_yard", "season", "simulate"]


def __getattr__(name: str) -> Any:
    """Load the entry points when they are first asked for: start-up stays quick."""
    if name in __all__:
        from climate_risk import api

        return getattr(api, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
