"""The laws that the mycelium obeys, each once, with its source."""

from __future__ import annotations

import numpy as np

from climate_risk.compiled import law
from climate_risk.log.formulas import Number
from climate_risk.log.rows import choose


@law
def temperature_response(temp_c: Number, low_c: Number, best_c: Number, high_c: Number) -> Number:
    """Growth relative to the optimum, 0 to 1.

    Cardinal temperature model with inflection, Rosso, Lobry and Flandrois 1993, J. Theor. Biol.
    162:447-463.
    """
    above, below = temp_c - low_c, high_c - temp_c
    bottom = (best_c - low_c) * (
        (best_c - low_c) * (temp_c - best_c) - (best_c - high_c) * (best_c + low_c - 2.0 * temp_c)
    )
    inside = choose(above, choose(below, 1.0, 0.0), 0.0)
    response: Number = inside * -below * above * above / choose(inside, bottom, 1.0)
    return response


@law
def ramp(value: float, none: float, full: float) -> float:
    """0 up to ``none``, 1 from ``full``, a straight line between."""
    return min(max((value - none) / (full - none), 0.0), 1.0)


@law
def potential_response(psi_mpa: float, stop_mpa: float, full_mpa: float) -> float:
    """Growth over the best by water potential: the square of a straight line, 0 to 1.

    With the stop at -4 MPa it gives half growth near -1.5 and about a sixth at -2.5 MPa, as
    measured on wood decay fungi (see ``tests/published/growth.toml``).
    """
    share = ramp(psi_mpa, stop_mpa, full_mpa)
    return share * share


@law
def heat_kill_rate(temp_c: float, reference_c: float, z_k: float, half_kill_h: float) -> float:
    """Half-kills an hour, ``10^((T - Tref) / z) / t_half``.

    Log-linear thermal death: the time to half kill falls tenfold per ``z`` (Bigelow 1921, from
    memory).
    """
    rate: float = 10.0 ** min((temp_c - reference_c) / z_k, 6.0) / half_kill_h
    return rate


@law
def dry_protection(moisture: float, shift_k: float) -> float:
    """By how much wood drier than fibre saturation raises the temperature that kills [K].

    All of ``shift_k`` from 20 %, none from 30 %, a line between (sign: Chidester 1937).
    """
    return shift_k * min(max((0.30 - moisture) * 10.0, 0.0), 1.0)


@law
def drought_kills(
    hours: float, moisture: float, onset: float, full: float, half_kill_h: float
) -> float:
    """Half-kills in some hours at 20 degC: none at ``onset``, one in ``half_kill_h`` at ``full``.

    Linear in moisture; between the moisture at which growth stops and ``onset`` nothing dies.
    """
    return hours * max((onset - moisture) / (onset - full), 0.0) / half_kill_h


@law
def warmth_of_death(temp_c: float, q10: float) -> float:
    """Death by drought over that at 20 degC, ``q10^((T - 20) / 10)``."""
    rate: float = q10 ** ((temp_c - 20.0) * 0.1)
    return rate


@law
def half_kills(left: float) -> float:
    """Dose that would leave this share, at most 60, as much as one place takes."""
    dose: float = 0.0 - np.log2(max(left, 2.0**-60))
    return dose
