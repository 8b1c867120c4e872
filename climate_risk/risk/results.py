"""What a run hands to the report: plain frozen records, every field with its unit."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Literal

import pandas as pd

from climate_risk.interventions import CoverSpan, Watering
from climate_risk.risk.advice import Action, AlsoTried, Sign
from climate_risk.risk.hindsight import Hindcast, PastYears
from climate_risk.risk.measured_results import StackMeasured
from climate_risk.weather.record import WeatherCoverage
from climate_risk.yard import Stack

IntervalKind = Literal["bootstrap", "exact binomial"]
Grade = Literal["A", "B", "C", "D"]
Read = Literal["text", "abstract", "memory", "practice", "judgement"]


@dataclass(frozen=True, kw_only=True)
class ParameterUsed:
    """A number that runs took from the tables, and the range that they drew it from."""

    group: str
    """Table: fungus, wood, model, canopy, bag, cloth or barrier."""
    row: str
    name: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    """Key of a :class:`SourceUsed`."""
    grade: Grade
    drawn: bool
    """False: the best estimate in every run."""


@dataclass(frozen=True, kw_only=True)
class SourceUsed:
    """Where a number comes from, and how much of it was read."""

    key: str
    citation: str
    read: Read


@dataclass(frozen=True, kw_only=True)
class Thresholds:
    """Best estimates at which this fungus in this wood slows, stops and dies."""

    moisture_stop_pct: float
    """Below this wood moisture (% of oven-dry mass) the fungus stops growing."""
    moisture_slow_pct: float
    """Below this the run slows."""
    growth_temp_max_c: float
    """Above this the fungus stops growing."""
    heat_kill_temp_c: float
    """At this temperature half of the fungus is expected dead after ``heat_half_kill_h``."""
    heat_half_kill_h: float
    drought_onset_pct: float
    """Below this moisture it begins to die; between this and the stop it lives and waits."""
    drought_kill_pct: float
    """At this moisture half of the fungus is expected dead after ``drought_half_kill_d``."""
    drought_half_kill_d: float
    complete_share: float
    """Share of the way between spawn faces that makes a run complete."""
    lost_alive_share: float
    """Living share of the mycelium under which a stack counts as lost."""


@dataclass(frozen=True, kw_only=True)
class SpellLimits:
    """A hot, dry spell: this many days in a row at least this hot with less rain than this."""

    days: int
    air_temp_min_c: float
    rain_max_mm: float


@dataclass(frozen=True, kw_only=True)
class OutcomeShares:
    """Shares (0 to 1, sum 1) of all year-and-draw runs that ended each way at the horizon."""

    on_time: float
    not_fully_run: float
    """Alive, the run between spawn interfaces not complete."""
    killed_by_heat: float
    killed_by_drought: float
    spawn_dried: float
    """Of ``killed_by_drought``: spawn that dried before it took."""
    likely_to_fruit: float
    """Alive, and run far enough that fruit is likely, complete or not."""

    @property
    def lost(self) -> float:
        """Share of runs in which the stack is killed, by whichever cause."""
        return self.killed_by_heat + self.killed_by_drought


@dataclass(frozen=True, kw_only=True)
class Chance:
    """Chance of losing one stack: mean over years of the share of draws that kill it.

    ``low`` and ``high`` bound it at 80 %, as ``interval`` says: by a year-wise bootstrap or, where
    all years agree, by the exact binomial bound.
    """

    mean: float
    low: float
    high: float
    years: int
    draws: int
    interval: IntervalKind
    draw_error: float | None = None
    """Standard error of ``mean`` that the number of draws leaves; None where not known."""


@dataclass(frozen=True, kw_only=True)
class Level:
    """How far the chance of loss hangs on the one number that moves it most."""

    unknown: str
    """Group and field of its table row, such as ``fungus.drought_half_kill_d``."""
    where_low: float
    """Chance of loss in the lowest third of its range."""
    where_high: float
    """In the highest third."""


@dataclass(frozen=True, kw_only=True)
class Difference:
    """Chance of loss less that of another option, paired by year and draw."""

    mean: float
    low: float
    """80 % interval over years."""
    high: float
    turns_on: str | None
    """The unmeasured number within whose range the better of the two changes; None if none."""

    @property
    def is_tie(self) -> bool:
        """Whether neither can be called the better one."""
        return self.turns_on is not None or self.low <= 0.0 <= self.high


@dataclass(frozen=True, kw_only=True)
class Prices:
    """What costs were reckoned with, by the names of :class:`climate_risk.prices.Costs`."""

    currency: str
    given: dict[str, float]
    """The grower's own."""
    ours: dict[str, float]
    """Our defaults in place of what the yard file leaves out."""
    unknown: tuple[str, ...]
    """Left out, in a currency that our defaults are not in: no cost that needs them is known."""


@dataclass(frozen=True, kw_only=True)
class Cost:
    """Money for one stack over its first year, in the yard's currency.

    Not a number where a price that it needs is not known.
    """

    option: float
    """What the cover and the watering of this option cost: material, water and labour."""
    expected_loss: float | None
    """Chance of loss times the value of a stack; None where no chance can be given."""
    currency: str

    @property
    def total(self) -> float | None:
        """Option cost plus expected loss; None where one of them is not known."""
        if self.expected_loss is None or math.isnan(self.option):
            return None
        return self.option + self.expected_loss


@dataclass(frozen=True, kw_only=True)
class OptionResult:
    """One canopy x cover x watering option over the past years, or over this year's outlook."""

    canopy: str
    covers: tuple[CoverSpan, ...]
    waterings: tuple[Watering, ...]
    shares: OutcomeShares
    chance: Chance | None
    cost: Cost
    colonized_fraction: tuple[float, float, float]
    """10th, 50th, 90th percentile at the horizon."""
    moisture_driest_face_pct: tuple[float, float, float]
    """10th, 50th, 90th percentile over years and draws of the season's lowest value."""
    bark_temp_max_c: tuple[float, float, float]
    """10th, 50th, 90th percentile over years and draws of the season's highest value."""
    years: tuple[YearResult, ...] = ()
    level: Level | None = None
    """None where no number moves the chance beyond what few runs tell."""
    difference: Difference | None = None
    """To the first option, or to the stack as it stands; None of that one itself."""


@dataclass(frozen=True, kw_only=True)
class YearResult:
    """One past year under one option: shares are over parameter draws."""

    year: int
    shares: OutcomeShares
    moisture_driest_face_pct: float
    moisture_driest_face_quantiles_pct: tuple[float, float, float]
    """10th, 50th, 90th percentile over draws."""
    bark_temp_max_c: float
    colonized_fraction: float


@dataclass(frozen=True, kw_only=True)
class StackShape:
    """The stack as built, from the ground up: barrier, pieces with spawn on every face, cap."""

    pieces: int
    piece_length_m: float
    diameter_m: float
    cap_thickness_m: float
    """0: the top face is bare."""
    ground_barrier: str


def shape_of(stack: Stack) -> StackShape:
    """The shape of a stack of the yard file."""
    return StackShape(**{each.name: getattr(stack, each.name) for each in fields(StackShape)})


@dataclass(frozen=True, kw_only=True)
class CanopyTrack:
    """The same stack and covers under one canopy, day by day over the whole season."""

    canopy: str
    quantiles: pd.DataFrame
    """Columns (quantity, 10|50|90), DatetimeIndex from inoculation to the horizon: over draws to
    date, then over years and draws."""


@dataclass(frozen=True, kw_only=True)
class Spell:
    """A hot, dry stretch in the season to date: days in a row that pass the stated limits."""

    first: date
    last: date
    air_temp_max_c: float
    rain_mm: float

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1


@dataclass(frozen=True, kw_only=True)
class Leader:
    """An unknown that leads the model's uncertainty."""

    unknown: str
    """Group and field of its table row, such as ``wood.bark_resistance_s_m``."""
    correlation: float
    """Rank correlation with the lowest moisture of the driest face, -1 to 1."""


@dataclass(frozen=True, kw_only=True)
class Uncertainty:
    """Where the uncertainty about a stack comes from; shares of variance, sum 1."""

    of_loss: bool
    """True: of lost or not; False, where all runs agree: of the driest face's moisture."""
    weather_share: float
    """From year to year."""
    model_share: float
    """From draw to draw of the unknowns within a year."""
    leaders: tuple[Leader, ...]
    """Strongest first."""
    runs: int
    """Years times draws that this rests on."""


@dataclass(frozen=True, kw_only=True)
class StackSeason:
    """This year's outlook for one kind of stack."""

    name: str
    count: int
    fungus: str
    wood: str
    canopy: str
    covers: tuple[CoverSpan, ...]
    """Each with its dates."""
    waterings: tuple[Watering, ...]
    inoculated: date
    horizon: date
    daily: pd.DataFrame
    """Reference run to date: the columns of daily.csv, DatetimeIndex."""
    outlook: pd.DataFrame | None
    """From the as-of date to the horizon: columns (quantity, 10|50|90), DatetimeIndex."""
    reference_ahead: pd.DataFrame | None
    """The reference run carried on: median over past years of its quantities, a row a day."""
    reference_acted: pd.DataFrame | None
    """The same with the first action done at once; None without one."""
    tracks: tuple[CanopyTrack, ...]
    """Under each canopy, the stack's own first."""
    shape: StackShape
    openness: float
    """Share of the sky seen through gaps of the own stand."""
    face_moisture_pct: tuple[float, ...]
    """Of each spawn face on the last day seen, reference run, from the ground up."""
    result: OptionResult
    """Outcome shares and chance of the stack as it stands, from the outlook's years."""
    under_canopies: tuple[OptionResult, ...]
    """The same stack with the same covers under each canopy, past years' outlook."""
    lost_of_count: tuple[float, float, float] | None
    """10th, 50th, 90th percentile of stacks lost out of ``count``."""
    full_run: tuple[date | None, date | None, date | None]
    """10th, 50th, 90th percentile of the date of the full run; None = after the horizon."""
    uncertainty: Uncertainty | None = None
    """None where a season is over or no past years are there to split."""
    spells: tuple[Spell, ...]
    actions: tuple[Action, ...]
    """Empty where nothing needs to be done, or nothing could be tried."""
    also_tried: tuple[AlsoTried, ...] = ()
    signs: tuple[Sign, ...] = ()
    thresholds: Thresholds
    parameters: tuple[ParameterUsed, ...]
    rival_hours_grade: Grade
    """How far to trust ``rival_hours_h`` of ``daily``."""
    fungus_caution: str
    """Empty, or the caution that goes with this fungus."""
    past: PastYears | None = None
    """The stack as written in every past year; None without one."""
    measured: StackMeasured | None = None

    @property
    def lacks_past(self) -> bool:
        """Whether the season goes on but the record holds no past year to look ahead with."""
        if self.outlook is not None or not len(self.daily):
            return False
        return bool(self.daily.index[-1].date() + timedelta(days=1) < self.horizon)


@dataclass(frozen=True, kw_only=True)
class SeasonResult:
    """All that ``season`` says."""

    yard_name: str
    invented: bool
    as_of: date
    tolerated_chance: float
    prices: Prices
    units: str
    stacks: tuple[StackSeason, ...]
    spell_limits: SpellLimits
    sources: tuple[SourceUsed, ...]
    """Every source that a parameter of a stack names."""
    coverage: WeatherCoverage
    inputs: dict[str, str]
    """File name -> SHA-256."""
    skill: tuple[Hindcast, ...] = ()
    """What outlooks were worth where that was measured."""
    water_residual: float
    """Largest water balance residual of all runs, relative."""
    energy_residual: float
    """Largest energy balance residual of all runs, relative."""

    @property
    def currency(self) -> str:
        return self.prices.currency
