"""Invented readings beside a stack, in the shape that real runs have; no model is run."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import report_samples

from climate_risk.risk.measured_results import (
    HeldOut,
    MovedParameter,
    NextReading,
    StackMeasured,
    WeighedDay,
    WitnessTrack,
)
from climate_risk.risk.results import SeasonResult, StackSeason

DRY_KG = 5.5
FIRST_PLACE, EVERY_D = 6, 14
BAD_PLACE = 3


def readings(first: date, last: date) -> StackMeasured:
    """A piece that dries more slowly than most, weighed every two weeks, once wrongly."""
    days = np.arange(float((last - first).days + 1))
    usual = np.array([[0.82], [1.05], [1.3]]) - np.array([[0.0042], [0.0034], [0.0026]]) * days
    learned = np.array([[0.98], [1.06], [1.13]]) - np.array([[0.0012], [0.001], [0.0008]]) * days
    track = WitnessTrack(
        first=first,
        mass_before_kg=np.array([[0.88], [1.0], [1.12]]) * DRY_KG * (1.0 + usual),
        mass_after_kg=DRY_KG * (1.0 + learned),
        moisture_before_pct=100.0 * usual,
        moisture_after_pct=100.0 * learned,
    )
    weighed = []
    for place, since in enumerate(range(FIRST_PLACE, days.size, EVERY_D)):
        off = 1.4 if place == BAD_PLACE else 0.06 * (-1) ** place
        before, after = (
            tuple(float(v) for v in table[:, since])
            for table in (track.mass_before_kg, track.mass_after_kg)
        )
        weighed.append(
            WeighedDay(
                day=first + timedelta(days=since),
                mass_kg=after[1] + off,
                before_kg=before,  # type: ignore[arg-type]
                after_kg=after,  # type: ignore[arg-type]
                left_out="unlike the others" if place == BAD_PLACE else None,
            )
        )
    return StackMeasured(
        witness_length_m=0.254,
        witness_diameter_m=0.254,
        witness_ends="bare",
        has_disc=False,
        dry_mass_kg=(5.2, 5.5, 5.9),
        weighings=tuple(weighed),
        weighings_used=True,
        track=track,
        bag_days=0,
        bark_days=0,
        held_out=HeldOut(count=len(weighed) - 1, before_kg=0.4, after_kg=0.15),
        used=True,
        draws=1024,
        effective_draws=80.0,
        power=1.0,
        parameters=(
            MovedParameter(
                unknown="wood.bark_resistance_s_m",
                unit="s/m",
                prior=(4500.0, 18000.0, 49000.0),
                posterior=(14000.0, 27000.0, 50000.0),
            ),
        ),
        chance_before=None,
        chance_after=None,
        lost_before=0.3,
        lost_after=0.1,
        next_readings=(NextReading(kind="weighing", of_loss=0.12, of_moisture=0.2),),
    )


def beside(stack: StackSeason, as_of: date) -> StackSeason:
    """A stack with a witness piece beside it."""
    return replace(stack, measured=readings(stack.inoculated, as_of))


def season() -> SeasonResult:
    """The usual invented season, with readings."""
    plain = report_samples.season()
    return replace(plain, stacks=tuple(beside(s, plain.as_of) for s in plain.stacks))
