"""What a grower's readings say of the unknowns of one stack."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from climate_risk.engine.draws import at_quantile, latin_hypercube
from climate_risk.engine.hours import D_BARK_MAX, D_NEAR_HUMIDITY
from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.engine.witness import (
    dry_mass_kg,
    midday_moisture,
    possible_mass_kg,
    run_days,
    witness_model,
    witness_scheme,
)
from climate_risk.errors import InputError
from climate_risk.measured_options import Measured
from climate_risk.parameter import Parameter
from climate_risk.risk.measured_results import (
    Band,
    HeldOut,
    LeftOutFor,
    MovedParameter,
    NextReading,
    StackMeasured,
    WeighedDay,
    WitnessTrack,
)
from climate_risk.risk.results import OptionResult
from climate_risk.risk.updating import (
    Posterior,
    effective_size,
    judge,
    level_covariance,
    tempered,
    weights_of,
)
from climate_risk.risk.weighed_piece import Disc, Piece, fit, weighted_quantiles
from climate_risk.tables import measuring
from climate_risk.weather.own_readings import DailyReadings, Measurements, Weighings

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

DRAWS = 1024
"""Of the whole ranges, to be weighed; apart from the draws that the outlook carries on."""
SEED = 6_022
FEWEST_WEIGHINGS = 2
BARK = "wood.bark_resistance_s_m"
MOST_SHOWN = 6
MOVED = 3.0
"""Standard errors of a median of the draws that count, by which an unknown must move or narrow
to be shown: with fewer any of seventy would seem to."""


@dataclass(frozen=True, kw_only=True)
class Learned:
    """Draws of the whole ranges, weighed by all readings of a stack."""

    measured: Measured
    readings: Measurements
    witness: StackModel
    scheme: Scheme
    """Of the witness."""
    posterior: Posterior
    masses: Piece | None
    """Every weighing of the days seen, and what the draws say of it."""
    counted: Piece | None
    """Those of them that count."""
    moisture: FloatArray
    """(draws, days) of the piece since it was cut, simulated; no days without weighings."""
    kept: BoolArray
    """(weighings seen,)"""
    weighings_used: bool
    held_out: HeldOut | None
    power: float
    bag_days: int
    bark_days: int


def learn(
    kind: StackModel, own: Scheme, measured: Measured, readings: Measurements, as_of: date
) -> Learned:
    """Weigh draws of the whole ranges by everything that was read up to a day.

    Raises
    ------
    InputError
        Readings of days outside the season, masses that cannot be, or too few.
    """
    witness = witness_model(
        kind, measured.witness_length_m, measured.witness_diameter_m, measured.witness_ends
    )
    scheme = witness_scheme(own)
    names = tuple(kind.parameter_set(own).unknowns())
    quantiles = latin_hypercube(DRAWS, len(names), SEED)
    other, bag_days, bark_days = _by_loggers(kind, own, readings, quantiles, as_of)
    masses, counted, held_out, is_used = None, None, None, False
    kept, moisture = np.zeros(0, dtype=np.bool_), np.zeros((DRAWS, 0))
    power = tempered(other)
    weights = weights_of(other, power)
    if readings.weighings is not None:
        _refuse_impossible(readings.weighings, witness)
        seen = _seen(readings.weighings, witness, as_of)
        moisture = midday_moisture(witness, scheme, quantiles, as_of).T
        masses = piece_of(measured, readings.weighings, witness, moisture, seen)
        found = judge(masses, other)
        kept, power, weights = found.kept, found.power, found.weights
        counted, is_used = found.piece, found.used
        if np.isfinite(found.held_after_kg):
            held_out = HeldOut(
                count=int(kept.sum()),
                before_kg=found.held_before_kg,
                after_kg=found.held_after_kg,
            )
    return Learned(
        measured=measured,
        readings=readings,
        witness=witness,
        scheme=scheme,
        posterior=Posterior(names=names, quantiles=quantiles, weights=weights),
        masses=masses,
        counted=counted,
        moisture=moisture,
        kept=kept,
        weighings_used=is_used,
        held_out=held_out,
        power=power,
        bag_days=bag_days,
        bark_days=bark_days,
    )


def piece_of(
    measured: Measured,
    weighings: Weighings,
    witness: StackModel,
    moisture: FloatArray,
    seen: Sequence[int],
) -> Piece:
    """Some of the weighings beside the moisture, (draws, days), that draws give the piece."""
    row = measuring()
    since = np.array([(weighings.days[n] - witness.start_day).days for n in seen])
    disc = None
    if measured.disc_moisture is not None:
        first = (weighings.days[0] - witness.start_day).days
        disc = Disc(
            day=float(first),
            reading=measured.disc_moisture,
            error=row.disc_error.value,
            moisture=moisture[:, first],
        )
    return Piece(
        days=since.astype(np.float64),
        mass_kg=weighings.mass_kg[list(seen)],
        moisture=moisture[:, since],
        dry_kg=dry_mass_kg(witness),
        dry_error=row.dry_mass_error.value,
        scale_error_kg=measured.scale_error_kg or row.scale_error_kg.value,
        discrepancy=row.moisture_discrepancy.value,
        discrepancy_days=row.discrepancy_days.value,
        level_error=row.level_error.value,
        disc=disc,
    )


def _seen(weighings: Weighings, witness: StackModel, as_of: date) -> list[int]:
    """Places of the weighings from the cutting of the piece to the last day seen."""
    stack = witness.stack
    first = min(stack.cut or stack.inoculated, stack.inoculated)
    wrong = [
        f"{weighings.file}, line {line}: {day} lies outside the season; accepted are days from "
        f"{first}, when the piece was cut, to {witness.horizon}"
        for day, line in zip(weighings.days, weighings.lines, strict=True)
        if not first <= day <= witness.horizon
    ]
    if wrong:
        raise InputError(*wrong)
    seen = [n for n, day in enumerate(weighings.days) if day <= as_of]
    if len(seen) < FEWEST_WEIGHINGS:
        said = "1 weighing" if len(seen) == 1 else "no weighing"
        raise InputError(
            f"{weighings.file}: {said} up to {as_of}; accepted are {FEWEST_WEIGHINGS} or more, "
            "since one tells nothing of how fast a piece dries"
        )
    return seen


def _refuse_impossible(weighings: Weighings, witness: StackModel) -> None:
    low, high = possible_mass_kg(witness)
    wood, stack = witness.stack.wood, witness.stack
    wrong = [
        f"{weighings.file}, line {line}: {mass:.2f} kg on {day} is "
        f"{'lighter than oven-dry' if mass < low else 'heavier than water-logged'} {wood} of "
        f"{100 * stack.piece_length_m:.0f} by {100 * stack.diameter_m:.0f} cm; accepted are "
        f"{low:.1f} to {high:.1f} kg ({low * 2.20462:.0f} to {high * 2.20462:.0f} lb): check the "
        "unit in the header and the witness's size"
        for mass, day, line in zip(weighings.mass_kg, weighings.days, weighings.lines, strict=True)
        if not low <= mass <= high
    ]
    if wrong:
        raise InputError(*wrong)


def _by_loggers(
    kind: StackModel, own: Scheme, readings: Measurements, quantiles: FloatArray, as_of: date
) -> tuple[FloatArray, int, int]:
    """Log-likelihood of what loggers read, and the days each was used on."""
    row, total, counts = measuring(), np.zeros(len(quantiles)), [0, 0]
    humid, hot = readings.bag_humidity_pct, readings.bark_temp_max_c
    loggers: list[tuple[int, DailyReadings, list[int], tuple[float, float]]] = []
    if humid is not None:
        error = row.hygrometer_error_pct.value, row.hygrometer_bias_pct.value
        loggers.append((0, humid, _logger_days(humid, kind, own, as_of), error))
    if hot is not None:
        error = row.thermometer_error_k.value, row.thermometer_bias_k.value
        loggers.append((1, hot, _logger_days(hot, kind, None, as_of), error))
    if not loggers:
        return total, 0, 0
    said = run_days(kind, own, quantiles, as_of, [D_NEAR_HUMIDITY, D_BARK_MAX])
    for which, logger, places, (each, alike) in loggers:
        since = [(logger.days[p] - kind.start_day).days for p in places]
        covariance = level_covariance(len(places), each, alike)
        found = fit(said[which, since].T, logger.values[places], covariance)
        total += found.log_likelihood
        counts[which] = len(places)
    return total, counts[0], counts[1]


def _logger_days(
    logger: DailyReadings, kind: StackModel, bagged: Scheme | None, as_of: date
) -> list[int]:
    """Days of a logger within the season seen; with a scheme, those on which its bag is on."""
    first = kind.stack.inoculated
    spans = [] if bagged is None else [c for c in bagged.covers if c.kind == "bag"]

    def counts(day: date) -> bool:
        if bagged is None:
            return True
        return any((c.on or first) <= day < (c.off or kind.horizon) for c in spans)

    last = min(as_of, kind.horizon - timedelta(days=1))
    places = [n for n, day in enumerate(logger.days) if first <= day <= last and counts(day)]
    if not places:
        what = "" if bagged is None else " with the bag on"
        raise InputError(
            f"{logger.file}: no whole day of readings{what} from {first} to {last}, but days from "
            f"{logger.days[0]} to {logger.days[-1]}; accepted are readings of this season"
        )
    return places


def tell(
    learned: Learned,
    unknowns: dict[str, Parameter],
    before: OptionResult,
    after: OptionResult,
    next_readings: tuple[NextReading, ...],
) -> StackMeasured:
    """All that the page says of the readings."""
    weights, measured = learned.posterior.weights, learned.measured
    return StackMeasured(
        witness_length_m=measured.witness_length_m,
        witness_diameter_m=measured.witness_diameter_m,
        witness_ends=measured.witness_ends,
        has_disc=measured.disc_moisture is not None,
        dry_mass_kg=_dry_mass(learned),
        weighings=_weighed_days(learned),
        weighings_used=learned.weighings_used,
        track=_track(learned),
        bag_days=learned.bag_days,
        bark_days=learned.bark_days,
        held_out=learned.held_out,
        used=bool(
            learned.weighings_used
            or learned.bag_days
            or learned.bark_days
            or (learned.masses is not None and learned.masses.disc is not None)
        ),
        draws=DRAWS,
        effective_draws=effective_size(weights),
        power=learned.power,
        parameters=_moved(learned.posterior, unknowns),
        chance_before=before.chance,
        chance_after=after.chance,
        lost_before=before.shares.lost,
        lost_after=after.shares.lost,
        next_readings=next_readings,
    )


def _moved(posterior: Posterior, unknowns: dict[str, Parameter]) -> tuple[MovedParameter, ...]:
    """The bark's resistance, then what moved or narrowed most."""
    quantiles = weighted_quantiles(posterior.quantiles, posterior.weights)
    flat = np.full(len(posterior.quantiles), 1.0 / len(posterior.quantiles))
    usual = weighted_quantiles(posterior.quantiles, flat)
    moved = np.abs(quantiles[1] - usual[1])
    narrowed = (usual[2] - usual[0]) - (quantiles[2] - quantiles[0])
    much = np.maximum(moved, narrowed)
    least = MOVED * 0.5 / np.sqrt(effective_size(posterior.weights))
    ranked = sorted(
        (n for n, name in enumerate(posterior.names) if _is_felt(name, unknowns[name])),
        key=lambda n: (posterior.names[n] != BARK, -much[n]),
    )
    shown = [n for n in ranked if posterior.names[n] == BARK or much[n] >= least][:MOST_SHOWN]
    return tuple(
        MovedParameter(
            unknown=posterior.names[n],
            unit=unknowns[posterior.names[n]].unit,
            prior=_band(at_quantile(unknowns[posterior.names[n]], usual[:, n])),
            posterior=_band(at_quantile(unknowns[posterior.names[n]], quantiles[:, n])),
        )
        for n in shown
    )


def _is_felt(name: str, unknown: Parameter) -> bool:
    """Whether readings can move an unknown at all."""
    return not name.startswith("fungus.") and unknown.low < unknown.high


def _band(values: FloatArray) -> Band:
    low, middle, high = sorted(map(float, values))
    return low, middle, high


def _dry_mass(learned: Learned) -> Band | None:
    if learned.counted is None:
        return None
    found = learned.counted.dry_mass().quantiles(learned.posterior.weights)
    return _band(learned.counted.dry_kg * found[:, 0])


def _before_and_after(learned: Learned, masses: Piece) -> tuple[tuple[Piece, FloatArray], ...]:
    """The piece as if nothing had been read, and as read, each with the weights of its draws."""
    flat = np.full(len(masses.moisture), 1.0 / len(masses.moisture))
    unread = replace(masses.only(np.zeros_like(learned.kept)), disc=None)
    return (unread, flat), (learned.counted or unread, learned.posterior.weights)


def _weighed_days(learned: Learned) -> tuple[WeighedDay, ...]:
    """Each weighing beside the mass that the draws say, without readings and with them."""
    masses = learned.masses
    if masses is None:
        return ()
    before, after = (
        piece.mass_on(masses.days, masses.moisture).quantiles(weights)
        for piece, weights in _before_and_after(learned, masses)
    )
    found = []
    for n in range(masses.days.size):
        why: LeftOutFor | None = None if learned.kept[n] else "unlike the others"
        found.append(
            WeighedDay(
                day=learned.witness.start_day + timedelta(days=int(masses.days[n])),
                mass_kg=float(masses.mass_kg[n]),
                before_kg=_band(before[:, n]),
                after_kg=_band(after[:, n]),
                left_out=why,
            )
        )
    return tuple(found)


def _track(learned: Learned) -> WitnessTrack | None:
    """The piece day by day, without readings and with them."""
    masses, moisture = learned.masses, learned.moisture
    if masses is None:
        return None
    days = np.arange(float(moisture.shape[1]))
    mass, water = [], []
    for piece, weights in _before_and_after(learned, masses):
        mass.append(piece.mass_on(days, moisture).quantiles(weights))
        water.append(100.0 * piece.moisture_on(days, moisture).quantiles(weights))
    return WitnessTrack(
        first=learned.witness.start_day,
        mass_before_kg=mass[0],
        mass_after_kg=mass[1],
        moisture_before_pct=water[0],
        moisture_after_pct=water[1],
    )
