"""What summary.json says of past years and of how far outlooks can be trusted."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from climate_risk.risk.hindsight import BadYear, PastYears, Spells, Trend

Json = dict[str, Any]
SPELL_KINDS = ("wood_dry", "bark_hot", "rainless", "heatwaves")
PAST_COLUMNS = (
    "year",
    *(f"{kind}_{what}" for kind in SPELL_KINDS for what in ("count", "days", "longest_d")),
    "killed_fraction",
)


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
