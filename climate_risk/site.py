"""Where a yard lies: the few numbers that sun, air pressure and the clock need."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Site:
    """A place on the ground."""

    latitude: float
    """Degrees north."""
    longitude: float
    """Degrees east."""
    elevation_m: float
    slope_deg: float = 0.0
    aspect_deg: float = 180.0
    """Downhill direction, degrees clockwise from north."""

    @property
    def utc_offset_hours(self) -> int:
        """Fixed local standard time by longitude, so that no civil clock change matters."""
        return round(self.longitude / 15.0)
