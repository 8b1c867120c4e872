"""When the hardwoods of a site leaf out and shed their leaves."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TypeVar

from climate_risk.interventions import LeafDay, LeafOut
from climate_risk.site import Site
from climate_risk.tables import model

SOUTH_DAYS = 182
"""The south's seasons run this many days apart from the north's."""


AnyLeafDay = TypeVar("AnyLeafDay", bound=LeafDay)


def usual_leaf_days(site: Site) -> tuple[float, float]:
    """Day of the year, in the north, of half leaf out and of half leaf fall at a site.

    By latitude and elevation from where the table's days hold; in the south the same days lie
    :data:`SOUTH_DAYS` earlier.
    """
    rows = model()
    north = abs(site.latitude) - rows.ref_latitude.value
    higher = (site.elevation_m - rows.ref_elevation_m.value) / 100.0
    out = (
        rows.leaf_on_day_at_ref.value
        + rows.days_per_degree_latitude_spring.value * north
        + rows.days_per_100m_spring.value * higher
    )
    fall = (
        rows.leaf_off_day_at_ref.value
        + rows.days_per_degree_latitude_autumn.value * north
        + rows.days_per_100m_autumn.value * higher
    )
    return out, fall


def next_leaf_day(kind: type[AnyLeafDay], site: Site, after: date) -> AnyLeafDay:
    """The first usual leaf out or leaf fall on a day or after it."""
    out, fall = usual_leaf_days(site)
    number = round(out if issubclass(kind, LeafOut) else fall) - 1
    if site.latitude < 0.0:
        number -= SOUTH_DAYS
    year = after.year - 1
    while True:
        found = date(year, 1, 1) + timedelta(days=number)
        if found >= after:
            return kind(found.year, found.month, found.day)
        year += 1
