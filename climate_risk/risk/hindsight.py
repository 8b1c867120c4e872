"""What past years hand to the report: plain frozen records, every field with its unit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal


@dataclass(frozen=True, kw_only=True)
class Skill:
    """A score of outlooks beside that of the plain share of the other years."""

    score: float
    """Mean over years; smaller is better."""
    usual: float
    skill: float
    """1 - score / usual: 1 is perfect, 0 no better than the usual, below 0 worse."""
    best: float
    """Skill of one who knew the weather to come but none of the unsure values."""
    low: float
    """80 % interval of the skill over years."""
    high: float

    @property
    def is_sure(self) -> bool:
        """Whether the outlook is better than the usual, the interval included."""
        return self.low > 0.0


@dataclass(frozen=True, kw_only=True)
class LeadSkill:
    """Outlooks made so long after inoculation."""

    months_seen: int
    lead_days: int
    """From the day of the outlook to the horizon."""
    loss: Skill
    """Brier score of the chance of loss."""
    dryness_pct: Skill
    """CRPS of the season's lowest moisture at the driest face [% of dry wood]."""


@dataclass(frozen=True, kw_only=True)
class Reliability:
    """Outlooks that told about the same chance, and how often it came."""

    told: float
    came: float
    low: float
    """80 % interval of ``came`` over years."""
    high: float
    outlooks: int
    years: int


@dataclass(frozen=True, kw_only=True)
class Hindcast:
    """Outlooks of past years, each made with its year left out, against what came of it."""

    source: str
    name: str
    fungus: str
    wood: str
    canopy: str
    first_year: int
    last_year: int
    years: int
    draws: int
    chance: float
    """Mean over years of what came."""
    leads: tuple[LeadSkill, ...]
    reliability: tuple[Reliability, ...]
    """Outlooks of all dates together."""


Measure = Literal["wood_dry_d", "rainless_longest_d", "bark_hot_d", "heatwave_d"]
Weather = Literal["air_temp_max_c", "precip_mm", "rel_humidity_pct", "shortwave_mj_m2"]


@dataclass(frozen=True, kw_only=True)
class Spells:
    """Stretches of days in one year."""

    count: int
    """Of at least the stated number of days."""
    days: int
    """In all of these together."""
    longest_d: int


@dataclass(frozen=True, kw_only=True)
class PastYear:
    """The stack as written, started in a past year, best estimate of every unknown."""

    year: int
    """Of inoculation; the season runs on to the horizon."""
    wood_dry: Spells
    """Driest spawn face too dry for growth."""
    bark_hot: Spells
    """Hottest side of the bark too hot for growth."""
    rainless: Spells
    """Consecutive dry days; see :mod:`climate_risk.weather.spells`."""
    heatwaves: Spells
    killed_share: float
    """Of the mycelium, by the horizon."""


@dataclass(frozen=True, kw_only=True)
class Trend:
    """Change of a yearly count [d] over the past years."""

    measure: Measure
    per_decade: float
    low: float
    """80 % interval."""
    high: float
    p_value: float
    """Of no trend."""
    noticed_per_decade: float
    """A smaller change would be missed more often than one time in five."""
    years: int

    @property
    def is_told(self) -> bool:
        """Whether there is a trend at the usual 5 %."""
        return self.p_value < 0.05


@dataclass(frozen=True, kw_only=True)
class Departure:
    """Weather of some weeks that was off its usual by more than its usual spread."""

    weather: Weather
    value: float
    """Mean over the days; of rain, the sum."""
    usual: float
    """The same of the other years."""


@dataclass(frozen=True, kw_only=True)
class BadYear:
    """One of the worst past years, and why."""

    year: int
    cause: Literal["heat", "drought"]
    killed_share: float
    first: date
    """Of the days in which eight tenths of the harm fell."""
    last: date
    weather_from: date
    """First of the days whose weather is looked at; it ends with ``last``."""
    departures: tuple[Departure, ...]


@dataclass(frozen=True, kw_only=True)
class PastYears:
    """Hot and dry spells of the past years, by the wood's own state and by published measures."""

    least_days: int
    """Fewer days in a row are no spell of the wood, nor a heatwave."""
    warm_months: tuple[int, ...]
    """The published measures are counted in these."""
    years: tuple[PastYear, ...]
    trends: tuple[Trend, ...]
    bad: tuple[BadYear, ...]
    """Worst first; none where nothing was harmed."""
