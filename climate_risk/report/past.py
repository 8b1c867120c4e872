"""What past years brought, in plain sentences: spells, trends, bad years and why."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from climate_risk.report.display import MONTHS, day, full_day, listed, percent, plural
from climate_risk.risk.hindsight import BadYear, Departure, Measure, PastYears, Spells, Trend
from climate_risk.units import Units

COUNTS: Mapping[Measure, Callable[[PastYears], list[int]]] = {
    "wood_dry_d": lambda past: [year.wood_dry.days for year in past.years],
    "rainless_longest_d": lambda past: [year.rainless.longest_d for year in past.years],
    "bark_hot_d": lambda past: [year.bark_hot.days for year in past.years],
    "heatwave_d": lambda past: [year.heatwaves.days for year in past.years],
}
"""Yearly count of each measure."""
TREND_OF: Mapping[Measure, str] = {
    "wood_dry_d": "days with wood too dry to grow",
    "rainless_longest_d": "the longest stretch without rain",
    "bark_hot_d": "days with bark too hot to grow",
    "heatwave_d": "days in heatwaves",
}
DEFINITIONS = (
    "Stretch without rain: the most days in a row with under 1 mm each (consecutive dry days, "
    "CDD, of the expert team ETCCDI; Zhang and others 2011). Heatwave: 3 or more days in a row "
    "hotter than 9 in 10 days of that time of the year here (Perkins and Alexander 2013). Both "
    "are weather in the open, and know nothing of wood."
)


def eight_in_ten(values: list[int]) -> tuple[float, float, float]:
    """10th, 50th and 90th percentile of yearly counts."""
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return float(low), float(middle), float(high)


def count_words(values: list[int]) -> str:
    """``12 days in a middling year (8 years in 10: 3 to 40)``."""
    low, middle, high = eight_in_ten(values)
    days = plural(round(middle), "day")
    return f"{days} in a middling year (8 years in 10: {low:.0f} to {high:.0f})"


def season_words(months: tuple[int, ...]) -> str:
    """``May to September``, as short names."""
    return f"{MONTHS[months[0] - 1]} to {MONTHS[months[-1] - 1]}"


def dry_sentence(past: PastYears) -> str:
    """How often and how long the wood was too dry, with the published measure beside it."""
    return (
        f"Too dry to grow, in the first twelve months of {_years(past)}, best estimate: the "
        f"driest face on {count_words(COUNTS['wood_dry_d'](past))}; "
        f"{_stretches([year.wood_dry for year in past.years])}. By weather alone, "
        f"{season_words(past.warm_months)}: the longest stretch without rain lasted "
        f"{count_words(COUNTS['rainless_longest_d'](past))}."
    )


def hot_sentence(past: PastYears) -> str:
    """The same of heat."""
    return (
        f"Too hot to grow: the bark on {count_words(COUNTS['bark_hot_d'](past))}; "
        f"{_stretches([year.bark_hot for year in past.years])}. By weather alone, "
        f"{season_words(past.warm_months)}: heatwaves on "
        f"{count_words(COUNTS['heatwave_d'](past))}."
    )


def _years(past: PastYears) -> str:
    return plural(len(past.years), "past year")


def _stretches(spells: list[Spells]) -> str:
    count = float(np.mean([spell.count for spell in spells]))
    longest = max(spell.longest_d for spell in spells)
    if longest == 0:
        return "no spell of 3 days or more"
    return f"{count:.1f} spells a year of 3 days or more, the longest {plural(longest, 'day')}"


def trend_sentence(trend: Trend) -> str:
    """Which way a count goes, and what would have gone unnoticed."""
    span = f"{trend.low:+.1f} to {trend.high:+.1f} days a decade"
    miss = (
        f"with {plural(trend.years, 'year')} a change smaller than "
        f"{trend.noticed_per_decade:.1f} days a decade would be missed more than 1 time in 5"
    )
    if trend.is_told:
        way = "rises" if trend.per_decade > 0.0 else "falls"
        return (
            f"Trend of {TREND_OF[trend.measure]}: {way} by {abs(trend.per_decade):.1f} days a "
            f"decade (8 times in 10: {span}); {miss}."
        )
    return f"Trend of {TREND_OF[trend.measure]}: none can be told ({span} would fit); {miss}."


def bad_year_sentence(bad: BadYear, show: Units) -> str:
    """A bad year by name: cause, days, and what weather was off its usual."""
    said = (
        f"{bad.year}, by {bad.cause}: {percent(bad.killed_share)} of the mycelium killed by the "
        f"end (best estimate), most of it from {full_day(bad.first)} to {full_day(bad.last)}."
    )
    if not bad.departures:
        return f"{said} No weather of those weeks stood out by more than its usual spread."
    since = ""
    if bad.weather_from < bad.first:
        since = f" and the weeks before, from {day(bad.weather_from)}"
    found = listed(departure_words(d, show) for d in bad.departures)
    return f"{said} In those days{since}: {found}."


def departure_words(departure: Departure, show: Units) -> str:
    """``days 3.4 °F hotter than usual``."""
    off = departure.value - departure.usual
    if departure.weather == "precip_mm":
        share = departure.value / departure.usual if departure.usual > 0.0 else 0.0
        return (
            f"{percent(share)} of the usual rain ({show.rain.text(departure.value)} for "
            f"{show.rain.text(departure.usual)})"
        )
    if departure.weather == "air_temp_max_c":
        size = show.temperature_difference.text(abs(off))
        return f"days {size} {'hotter' if off > 0.0 else 'cooler'} than usual"
    if departure.weather == "rel_humidity_pct":
        drier = "drier" if off < 0.0 else "moister"
        return f"air {abs(off):.0f} points of relative humidity {drier} than usual"
    share = abs(off) / departure.usual
    return f"{percent(share)} {'more' if off > 0.0 else 'less'} sun than usual"


def sentences(past: PastYears | None, show: Units) -> list[str]:
    """Everything, in the order of reading; empty without past years."""
    if past is None:
        return []
    bad = [bad_year_sentence(year, show) for year in past.bad]
    if len(bad) > 1:
        bad[0] = f"The worst years: {bad[0]}"
    if not bad:
        bad = ["In no past year would heat or drought have killed 2 % of the mycelium or more."]
    trends = [trend_sentence(trend) for trend in past.trends]
    return [dry_sentence(past), hot_sentence(past), *bad, *trends, DEFINITIONS]
