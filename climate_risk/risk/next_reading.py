"""Which reading would tell most next: preposterior analysis over the draws carried on.

A reading is worth what it would be expected to settle: of the variance that draws of one year
show, of lost or not and of the driest face's moisture, the share that the reading would explain
(the variance of the conditional mean, as in a first-order sensitivity index: Saltelli et al.
2008, Global Sensitivity Analysis, ch. 1; from memory).  Each draw's reading is what it says of
the days seen, with the reading's own error; the conditional mean is a quadratic in the reading's
normal score.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy.typing as npt

from climate_risk.engine.hours import D_BARK_MAX, D_NEAR_HUMIDITY
from climate_risk.engine.witness import dry_mass_kg, midday_moisture
from climate_risk.risk.ensemble import Outcomes
from climate_risk.risk.measured import Learned, piece_of
from climate_risk.risk.measured_results import NextReading, Reading
from climate_risk.risk.outlook import Outlook
from climate_risk.tables import measuring

FloatArray = npt.NDArray[np.float64]

RECENT_DAYS = 14
"""A logger is judged by what it would have read over this many days up to today."""
TRIALS = 20
"""Of a reading's own error."""
FEWEST_RUNS = 48
SEED = 1_763


def next_readings(
    learned: Learned, outlook: Outlook, ends: Outcomes, as_of: date
) -> tuple[NextReading, ...]:
    """Readings that could be taken now, the most telling first; none with too few runs.

    Parameters
    ----------
    outlook, ends
        The stack as it stands with the draws that the readings so far favour, and how they ended.
    """
    if ends.outcomes.size < FEWEST_RUNS or ends.outcomes.shape[1] < 2 or outlook.over:
        return ()

    def within(values: FloatArray) -> FloatArray:
        return np.asarray((values - values.mean(axis=1, keepdims=True)).ravel())

    lost = within(ends.lost)
    driest = within(ends.moisture_driest_face_pct)
    found = [
        NextReading(
            kind=kind,
            of_loss=explained(said, error, lost),
            of_moisture=explained(said, error, driest),
        )
        for kind, said, error in _readings(learned, outlook, ends, as_of)
    ]
    return tuple(sorted(found, key=lambda each: (-round(each.of_loss, 2), -each.of_moisture)))


def explained(said: FloatArray, error: FloatArray, values: FloatArray) -> float:
    """Share of the variance of ``values`` that a reading with its error is expected to explain.

    Parameters
    ----------
    said, error, values : (runs,) arrays
        What each run says of the reading, the reading's standard error, and what is in doubt.
    """
    rng = np.random.default_rng(SEED)
    count, total = values.size, float(((values - values.mean()) ** 2).sum())
    if total == 0.0:
        return 0.0
    shares = []
    for _ in range(TRIALS):
        score = _normal_score(said + error * rng.standard_normal(count))
        design = np.stack([np.ones(count), score, score**2], axis=1)
        rest = values - design @ np.linalg.lstsq(design, values, rcond=None)[0]
        shares.append(1.0 - float((rest**2).sum()) / (count - 3) * (count - 1) / total)
    return float(np.clip(np.mean(shares), 0.0, 1.0))


def _normal_score(values: FloatArray) -> FloatArray:
    from scipy.special import ndtri

    rank = np.argsort(np.argsort(values))
    return np.asarray(ndtri((rank + 0.5) / values.size))


def _readings(
    learned: Learned, outlook: Outlook, ends: Outcomes, as_of: date
) -> list[tuple[Reading, FloatArray, FloatArray]]:
    """What each run says a reading would be, and its standard error."""
    row, runs = measuring(), ends.outcomes.size
    daily = np.concatenate([b.daily for b in outlook.seen], axis=-1)
    recent = daily[-RECENT_DAYS:, :, outlook.references : outlook.references + runs]
    days = len(recent)

    def level(column: int, each: float, alike: float) -> tuple[FloatArray, FloatArray]:
        said = recent[:, column].mean(axis=0)
        return said, np.full(runs, np.hypot(alike, each / np.sqrt(days)))

    found: list[tuple[Reading, FloatArray, FloatArray]] = [
        ("weighing", *_mass_today(learned, ends.quantiles, as_of)),
        (
            "bark thermometer",
            *level(D_BARK_MAX, row.thermometer_error_k.value, row.thermometer_bias_k.value),
        ),
    ]
    stack = outlook.kind.stack
    bags = [c for c in outlook.scheme.covers if c.kind == "bag"]
    if any((c.on or stack.inoculated) <= as_of < (c.off or outlook.kind.horizon) for c in bags):
        humid = level(
            D_NEAR_HUMIDITY, row.hygrometer_error_pct.value, row.hygrometer_bias_pct.value
        )
        found.append(("bag hygrometer", *humid))
    return found


def _mass_today(
    learned: Learned, quantiles: FloatArray, as_of: date
) -> tuple[FloatArray, FloatArray]:
    """Mass of the witness today by each run, and the error of a weighing beside it [kg]."""
    moisture = midday_moisture(learned.witness, learned.scheme, quantiles, as_of).T
    weighings, row = learned.readings.weighings, measuring()
    if weighings is None or learned.masses is None:
        dry, expected = dry_mass_kg(learned.witness), 1.0 + moisture[:, -1]
        unsure = dry * expected * row.dry_mass_error.value
        scale = learned.measured.scale_error_kg or row.scale_error_kg.value
        apart = np.hypot(row.moisture_discrepancy.value, row.level_error.value)
        return dry * expected, np.hypot(unsure, np.hypot(scale, dry * apart))
    seen = [n for n, day in enumerate(weighings.days) if day <= as_of]
    kept = [n for n, keep in zip(seen, learned.kept, strict=True) if keep]
    piece = piece_of(learned.measured, weighings, learned.witness, moisture, kept)
    last = moisture[:, -1:]
    today = piece.mass_on(np.array([moisture.shape[1] - 1.0]), last)
    return today.mean[:, 0], np.hypot(today.sd[:, 0], piece.scale_error_kg)
