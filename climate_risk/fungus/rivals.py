"""Pressure of rivals: hours in which unclaimed wood is warm and wet outside.

Moulds and weed fungi take wood that the mycelium does not hold yet, and they need a warm, wet
skin to do it.  The sum is shown beside the chance of loss, never inside it: no survival of logs
by their rivals was found in print, so that every number here is judgement.
"""

from __future__ import annotations

from typing import Literal

from climate_risk.compiled import law
from climate_risk.log.formulas import Number
from climate_risk.log.rows import choose

CONFIDENCE: Literal["A", "B", "C", "D"] = "D"
"""Grade of the hours, as :data:`climate_risk.parameter.CONFIDENCE` has it."""
WARM_MIN_C = 15.0
"""Green mould competed best at 15 to 21 degC (Eastburn and Butler 1991, Mycologia 83:257-263,
abstract); colder than this it is slow."""
WARM_MAX_C = 32.0
"""Trichoderma asperellum stops between 35 and 36 degC (J. Fungi 9:294, 2023, Table 5)."""
DAMP_ACTIVITY = 0.95
"""Air this near to saturation at the bark keeps it as good as wet (judgement)."""


@law
def rival_hours(
    skin_temp_c: Number, wet_share: Number, air_activity: Number, colonized_share: Number
) -> Number:
    """Rival hours of one hour: 0 to 1.

    Parameters
    ----------
    skin_temp_c : float
        Of the bark [degC].
    wet_share : float
        Share of the hour with water on the bark, 0 to 1.
    air_activity : float
        Vapour of the air over the saturated one at the bark's temperature, 0 to 1.
    colonized_share : float
        Share of the way between spawn faces that the fronts have run, 0 to 1.

    Returns
    -------
    float or row
    """
    wet: Number = choose(DAMP_ACTIVITY - air_activity, wet_share, 1.0)
    not_hot = choose(skin_temp_c - WARM_MAX_C, 0.0, 1.0)
    warm: Number = choose(WARM_MIN_C - skin_temp_c, 0.0, not_hot)
    return warm * wet * (1.0 - colonized_share)
