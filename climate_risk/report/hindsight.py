"""What summary.json says of past years and of how far outlooks can be trusted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from climate_risk.report.skill import outlook_sentence
from climate_risk.risk.hindsight import BadYear, Hindcast, PastYears, Skill, Spells, Trend

Json = dict[str, Any]
SPELL_KINDS = ("wood_dry", "bark_hot", "rainless", "heatwaves")
PAST_COLUMNS = (
    "year",
    *(f"{kind}_{what}" for kind in SPELL_KINDS for what in ("count", "days", "longest_d")),
    "killed_fraction",
)


def past_part(past: PastYears | None) -> Json:
    """Past years under their key; nothing where there are none."""
    return {} if past is None else {"past_years": past_years(past)}


def past_years(past: PastYears) -> Json:
    """Spells of every past year, trends, and the bad years."""
    return {
        "least_days": past.least_days,
        "warm_months": list(past.warm_months),
        "columns": list(PAST_COLUMNS),
        "rows": [
            [
                year.year,
                *(n for kind in SPELL_KINDS for n in _spells(getattr(year, kind))),
                year.killed_share,
            ]
            for year in past.years
        ],
        "trends": [_trend(trend) for trend in past.trends],
        "bad_years": [_bad(year) for year in past.bad],
    }


def _spells(spells: Spells) -> tuple[int, int, int]:
    return spells.count, spells.days, spells.longest_d


def _trend(trend: Trend) -> Json:
    return {
        "measure": trend.measure,
        "days_per_decade": trend.per_decade,
        "low_days_per_decade": trend.low,
        "high_days_per_decade": trend.high,
        "interval_pct": 80,
        "p_value": trend.p_value,
        "noticed_days_per_decade": trend.noticed_per_decade,
        "years_count": trend.years,
    }


def _bad(bad: BadYear) -> Json:
    return {
        "year": bad.year,
        "cause": bad.cause,
        "killed_fraction": bad.killed_share,
        "first_date": bad.first.isoformat(),
        "last_date": bad.last.isoformat(),
        "weather_from_date": bad.weather_from.isoformat(),
        "departures": [asdict(departure) for departure in bad.departures],
    }


def skill_part(hindcasts: Sequence[Hindcast]) -> Json:
    """What outlooks were worth where that was measured, and the sentence that says so."""
    if not hindcasts:
        return {}
    records = [skill_of(hindcast) for hindcast in hindcasts]
    return {"skill": {"sentence": outlook_sentence(hindcasts), "records": records}}


def skill_of(hindcast: Hindcast) -> Json:
    """What outlooks were worth on one record."""
    return {
        "weather_source": hindcast.source,
        "stack": hindcast.name,
        "fungus": hindcast.fungus,
        "wood": hindcast.wood,
        "canopy": hindcast.canopy,
        "first_year": hindcast.first_year,
        "last_year": hindcast.last_year,
        "years_count": hindcast.years,
        "draws_count": hindcast.draws,
        "chance_of_loss_fraction": hindcast.chance,
        "interval_pct": 80,
        "leads": [
            {
                "months_seen": lead.months_seen,
                "lead_days": lead.lead_days,
                "brier_of_loss": _score(lead.loss),
                "crps_moisture_driest_face_pct": _score(lead.dryness_pct),
            }
            for lead in hindcast.leads
        ],
        "reliability": [asdict(found) for found in hindcast.reliability],
    }


def _score(skill: Skill) -> Json:
    return {
        "score": skill.score,
        "usual_score": skill.usual,
        "skill": skill.skill,
        "skill_low": skill.low,
        "skill_high": skill.high,
        "best_skill": skill.best,
    }
