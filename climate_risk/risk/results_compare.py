"""What ``compare`` hands to the report: plain frozen records, every field with its unit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from climate_risk.risk.hindsight import PastYears
from climate_risk.risk.results import (
    Difference,
    OptionResult,
    ParameterUsed,
    Prices,
    SourceUsed,
    Thresholds,
)
from climate_risk.weather.record import WeatherCoverage


@dataclass(frozen=True, kw_only=True)
class Build:
    """How a stack is made and when."""

    fungus: str
    wood: str
    pieces: int
    piece_length_m: float
    diameter_m: float
    inoculated: date
    """In the stack's own year."""
    felled_weeks_before: float | None
    """None: the day of felling is not known, or does not matter."""


@dataclass(frozen=True, kw_only=True)
class BreakEven:
    """What a stack must be worth for an option to cost less, loss included, than the plan."""

    worth: float
    """In the yard's currency; not a number where worth decides nothing."""
    low: float
    """80 % interval over years."""
    high: float
    """Infinite where the years do not show that the option loses less (or more)."""
    pays_above: bool
    """True: the option pays for stacks worth more; False: for stacks worth less."""


@dataclass(frozen=True, kw_only=True)
class ComparedOption(OptionResult):
    """One option over the past years, against the plan as written and against the best."""

    build: Build
    is_plan: bool
    """Whether it is the stack as the yard file writes it."""
    rank: int
    """1 for the best."""
    places: tuple[int, ...]
    """Which combinations of the ``[compare]`` lists it is, in the lists' order; none for a plan
    that is not among them."""
    moisture_stop_pct: float
    """Below this wood moisture (% of oven-dry mass) its fungus stops growing in its wood."""
    to_best: Difference | None
    """Chance of loss less that of the best; None of the best itself."""
    break_even: BreakEven | None
    """None of the plan, or where costs or chances are not known or do not differ."""


@dataclass(frozen=True, kw_only=True)
class Tie:
    """Two options whose order hangs on a number that nobody has measured well."""

    ranks: tuple[int, int]
    """Their ranks."""
    unknown: str
    """Group and field of its table row, such as ``bag.rain_share``."""


@dataclass(frozen=True, kw_only=True)
class StackCompare:
    """Options for one kind of stack, over past years."""

    name: str
    fungus: str
    wood: str
    horizon_months: int
    options: tuple[ComparedOption, ...]
    """The plan as written, then all others, best first."""
    is_by_money: bool
    """Ranked by cost with the loss to be expected; False, where that is not known: by chance."""
    ties: tuple[Tie, ...] = ()
    thresholds: Thresholds
    parameters: tuple[ParameterUsed, ...]
    cautions: tuple[str, ...]
    """That go with the fungi compared."""
    past: PastYears | None = None
    """The stack as written in every past year; None without one."""

    @property
    def plan(self) -> ComparedOption:
        """The stack as the yard file writes it."""
        return self.options[0]

    @property
    def ranked(self) -> tuple[ComparedOption, ...]:
        """All options, best first."""
        return tuple(sorted(self.options, key=lambda option: option.rank))

    @property
    def best(self) -> ComparedOption:
        """The first by rank."""
        return self.ranked[0]


@dataclass(frozen=True, kw_only=True)
class CompareResult:
    """All that ``compare`` says."""

    yard_name: str
    invented: bool
    first_year: int
    last_year: int
    years: int
    draws: int
    tolerated_chance: float
    prices: Prices
    units: str
    stacks: tuple[StackCompare, ...]
    sources: tuple[SourceUsed, ...]
    coverage: WeatherCoverage
    inputs: dict[str, str]
    water_residual: float
    energy_residual: float

    @property
    def currency(self) -> str:
        return self.prices.currency
