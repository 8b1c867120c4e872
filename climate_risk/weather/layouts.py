"""Published layouts of weather services, known by their content."""

from __future__ import annotations

from pathlib import Path

from climate_risk.site import Site
from climate_risk.weather.record import RawWeather


def read_layout(path: Path, text: str, site: Site) -> RawWeather | None:
    """Weather of a file in a published layout; None where it is another table."""
    return None
