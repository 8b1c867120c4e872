"""What is usual at a place: a rough normal to tell one unit or hemisphere from another.

Zonal means, good to some ten degrees: the annual mean by the second Legendre polynomial of
the sine of latitude (North, Cahalan & Coakley 1981, Rev. Geophys. 19:91-121, from memory),
a yearly swing that grows with the sine of latitude (our own fit to continental stations of the
mid-latitudes), 6.5 K/km with height (ISO 2533). A unit mistaken moves a month by 18 K or more.
"""

from __future__ import annotations

import numpy as np

from climate_risk.site import Site
from climate_risk.weather.record import FloatArray

MEAN_C, POLEWARD_K = 14.9, 28.0
SWING_K = 17.0
WARMEST_DAY = 201.0
"""Day of the year of the middle of the northern summer, four weeks after the solstice."""
LAPSE_K_PER_M = 0.0065


def normal_temp_c(site: Site, day_of_year: FloatArray) -> FloatArray:
    """Usual mean air temperature on days of the year [C].

    Parameters
    ----------
    site : Site
    day_of_year : array, any shape
        1 to 366.

    Returns
    -------
    array, same shape
    """
    sine = np.sin(np.radians(site.latitude))
    annual = MEAN_C - POLEWARD_K * (3.0 * sine**2 - 1.0) / 2.0 - LAPSE_K_PER_M * site.elevation_m
    phase = 2.0 * np.pi * (np.asarray(day_of_year) - WARMEST_DAY) / 365.25
    result: FloatArray = annual + SWING_K * sine * np.cos(phase)
    return result
