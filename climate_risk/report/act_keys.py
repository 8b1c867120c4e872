"""Chances, differences, covers, acts and signs as the plain values of summary.json."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from climate_risk.interventions import Act, CoverSpan, Watering
from climate_risk.report.treatment import WHY, acts_words
from climate_risk.report.words import INTERVALS
from climate_risk.risk.advice import Action, Sign
from climate_risk.risk.results import Chance, Difference
from climate_risk.units import Units

METRIC = Units("metric")
"""For names that programs read, whatever units are shown."""
Json = dict[str, Any]


def chance_keys(chance: Chance) -> Json:
    """A chance with its interval and basis."""
    return {
        "mean_fraction": chance.mean,
        "low_fraction": chance.low,
        "high_fraction": chance.high,
        "interval_pct": 80,
        "years_count": chance.years,
        "draws_count": chance.draws,
        **({} if chance.draw_error is None else {"draw_error_fraction": chance.draw_error}),
        "basis": INTERVALS[chance.interval],
    }


def difference_keys(apart: Difference) -> Json:
    """A paired difference, and whether it is a tie."""
    found = asdict(apart) | {"is_tie": apart.is_tie}
    return {key: value for key, value in found.items() if value is not None}


def action_keys(action: Action) -> Json:
    """A set of acts, its days, worth and price; what is not known has no key."""
    out: Json = {
        "what": acts_words(action.acts, METRIC),
        "start_date": action.start.isoformat(),
        "acts": [act_keys(act) for act in action.acts],
        "work_min": action.minutes,
        "work_is_given": action.minutes_given,
        "later": [
            {
                "date": tried.day.isoformat(),
                "chance_of_loss_fraction": tried.chance_mean,
                **({} if tried.draw_error is None else {"draw_error_fraction": tried.draw_error}),
            }
            for tried in action.later
        ],
    }
    if not math.isnan(action.cost):
        out["cost"] = action.cost
    if action.latest is not None:
        out["latest_date"] = action.latest.isoformat()
    if action.too_late is not None:
        out["too_late_date"] = action.too_late.day.isoformat()
    if action.chance is not None:
        out["chance_of_loss"] = chance_keys(action.chance)
    if action.saved is not None:
        low, mean, high = action.saved
        out["expected_loss_avoided_cost"] = {"low": low, "mean": mean, "high": high}
    for key, apart in (("as_it_stands", action.difference), ("first", action.to_first)):
        if apart is not None:
            out[f"difference_to_{key}"] = difference_keys(apart)
    if action.water is not None:
        out["water"] = {
            "poured_litres": action.water.litres,
            "kept_litres": action.water.kept_litres,
        }
    return out


def act_keys(act: Act) -> Json:
    """One act."""
    out: Json = {"kind": act.kind, "why": WHY[act.kind]}
    if act.cover is not None:
        out["cover"] = cover_keys(act.cover)
    if act.again:
        out["again"] = [cover_keys(cover) for cover in act.again]
    if act.watering is not None:
        out["watering"] = watering_keys(act.watering)
    if act.canopy is not None:
        out["canopy"] = act.canopy
    return out


def sign_keys(sign: Sign) -> Json:
    """What would change the advice."""
    given = {
        "acts": [act_keys(act) for act in sign.acts],
        "piece_mass_kg": sign.mass_kg,
        "piece_mass_of_fresh_fraction": sign.mass_of_fresh,
        "unknown": sign.unknown,
        "chance_of_loss_low_side_fraction": sign.where_low,
        "chance_of_loss_high_side_fraction": sign.where_high,
        "runs_count": list(sign.runs),
    }
    return {key: value for key, value in given.items() if value is not None}


def cover_keys(cover: CoverSpan) -> Json:
    """A cover as written."""
    given = {
        "kind": cover.kind,
        "material": cover.material,
        "foot": cover.foot,
        "percent": cover.percent,
        "on_date": cover.on and cover.on.isoformat(),
        "off_date": cover.off and cover.off.isoformat(),
    }
    return {key: value for key, value in given.items() if value is not None}


def watering_keys(watering: Watering) -> Json:
    """A watering as written."""
    return {
        "litres": watering.litres,
        "every_days": watering.every_days,
        "first_date": watering.first.isoformat(),
        "last_date": watering.last.isoformat(),
    }
