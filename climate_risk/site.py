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

    @property
    def warm_months(self) -> tuple[int, ...]:
        """May to September, or November to March south of the equator."""
        return (5, 6, 7, 8, 9) if self.latitude >= 0.0 else (11, 12, 1, 2, 3)
