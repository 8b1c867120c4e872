"""What ``plan`` hands to the report: plain frozen records, every field with its unit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from climate_risk.interventions import CoverSpan
from climate_risk.risk.results import ParameterUsed, Prices, SourceUsed, StackShape
from climate_risk.weather.record import WeatherCoverage

CutKind = Literal["trim", "piece", "cap"]
CostKind = Literal["spawn", "covers", "watering", "building"]


@dataclass(frozen=True, kw_only=True)
class Ranged:
    """A best estimate and the range it may lie in."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Ranged:
        """All three multiplied."""
        return Ranged(value=factor * self.value, low=factor * self.low, high=factor * self.high)

    def plus(self, other: Ranged) -> Ranged:
        """Sums; both low and both high together, so that the range is the widest."""
        return Ranged(
            value=self.value + other.value, low=self.low + other.low, high=self.high + other.high
        )


@dataclass(frozen=True, kw_only=True)
class Cut:
    """One length of a tree, measured from the butt end."""

    kind: CutKind
    stack: int
    """Which of the stacks alike it belongs to, from 1; 0 of the trim."""
    start_m: float
    end_m: float

    @property
    def length_m(self) -> float:
        return self.end_m - self.start_m


@dataclass(frozen=True, kw_only=True)
class Tree:
    """One stem: what it is cut into, in order from the butt; a cut follows each length."""

    length_m: float
    kerf_m: float
    cuts: tuple[Cut, ...]

    def sum_m(self, kind: CutKind) -> float:
        """Length that goes into one kind."""
        return sum(cut.length_m for cut in self.cuts if cut.kind == kind)

    @property
    def dust_m(self) -> float:
        """Length that the saw turns to dust."""
        return self.kerf_m * len(self.cuts)

    @property
    def rest_m(self) -> float:
        """What is left at the top."""
        return self.length_m - self.cuts[-1].end_m - self.kerf_m if self.cuts else self.length_m

    @property
    def pattern(self) -> tuple[tuple[CutKind, float], ...]:
        """What trees cut alike have in common."""
        return tuple((cut.kind, cut.end_m) for cut in self.cuts)


@dataclass(frozen=True, kw_only=True)
class Window:
    """Days of a common year, 1 to 365; a window that passes New Year ends before it starts."""

    first_day: int
    last_day: int

    def holds(self, day: date) -> bool:
        """Whether a date lies in it."""
        number = day.timetuple().tm_yday
        if self.first_day <= self.last_day:
            return self.first_day <= number <= self.last_day
        return number >= self.first_day or number <= self.last_day


@dataclass(frozen=True, kw_only=True)
class Spring:
    """When things happen at the site: 10th, 50th and 90th percentile of the years, day of year."""

    years: int
    last_frost_day: tuple[int, int, int]
    """Last day on which it did not thaw, by its highest temperature."""
    leaf_day: tuple[int, int, int]
    """A tenth of the hardwoods' leaves is out."""
    heat_day: tuple[int, int, int] | None
    """Start of the first hot spell; None if more than every other year has none by midsummer."""
    leaf_fall_day: int
    """Half of the leaves are down, in a usual autumn."""


@dataclass(frozen=True, kw_only=True)
class Weeks:
    """When to fell and when to inoculate, for one fungus; None where no week serves."""

    felling: Window | None
    inoculation: Window | None
    leap_off_days: Ranged
    """From inoculation until the fungus leaves the spawn, in the middle of the window."""


@dataclass(frozen=True, kw_only=True)
class CostLine:
    """One kind of cost, of one stack and of all alike, in the yard's currency.

    Not a number where a price that it needs is not known.
    """

    kind: CostKind
    one: Ranged
    all: Ranged


@dataclass(frozen=True, kw_only=True)
class Pair:
    """A fungus in a wood at the site."""

    fungus: str
    wood: str
    factor: Ranged
    """Of the fungus's rate in its best wood."""
    run_share: Ranged | None
    """Of the way between spawn faces, by the fungus's own horizon, in wood always moist enough;
    None without weather."""


@dataclass(frozen=True, kw_only=True)
class StackPlan:
    """The batch for one kind of stack."""

    name: str
    count: int
    fungus: str
    wood: str
    shape: StackShape
    covers: tuple[CoverSpan, ...]
    felled: date | None
    inoculated: date
    trees: tuple[Tree, ...]
    faces: int
    """Of one stack, with spawn on each."""
    face_area_m2: float
    spawn_depth_m: float
    spawn_kg: Ranged
    """Of one stack, spare included."""
    stacks_per_bag: Ranged
    green_density_kg_m3: Ranged
    """Of wood and bark together."""
    piece_mass_kg: Ranged
    cap_mass_kg: Ranged
    stack_mass_kg: Ranged
    bags: int
    """Of all stacks alike: sacks to cover them."""
    bag_width_m: float
    """Of a sack laid flat that goes round the stack."""
    cloth_m2: Ranged
    """Of all stacks alike; 0 without shade cloth."""
    sheets: int
    """Of barrier, for all stacks alike."""
    sheet_m: float
    """Side of one sheet."""
    costs: tuple[CostLine, ...]
    weeks: Weeks | None
    """None without weather."""
    pair: Pair
    """Its own fungus in its own wood and length of piece."""
    fungus_caution: str
    parameters: tuple[ParameterUsed, ...]

    @property
    def height_m(self) -> float:
        """Of the stack."""
        return self.shape.pieces * self.shape.piece_length_m + self.shape.cap_thickness_m

    def cost(self, *, of_all: bool) -> Ranged:
        """Sum of the costs, of one stack or of all alike."""
        total = Ranged(value=0.0, low=0.0, high=0.0)
        for line in self.costs:
            total = total.plus(line.all if of_all else line.one)
        return total


@dataclass(frozen=True, kw_only=True)
class SpawnToBuy:
    """Spawn of one fungus, for every stack that takes it."""

    fungus: str
    mass_kg: Ranged
    bags: tuple[int, int, int]
    """Whole bags for the least, the best and the most."""
    price: float
    """Of the best estimate's bags; not a number where a bag's is not known."""


@dataclass(frozen=True, kw_only=True)
class FungusAtSite:
    """How a fungus's temperatures suit the site."""

    fungus: str
    latin_name: str
    horizon_months: int
    growing_days: float | None
    """Days a year at its best temperature that would grow as much as the year does."""
    hot_hours: float | None
    """Hours a year in which the air is too hot for growth."""
    caution: str


@dataclass(frozen=True, kw_only=True)
class PlanResult:
    """All that ``plan`` says."""

    yard_name: str
    invented: bool
    prices: Prices
    """Of what the plan needs."""
    units: str
    tolerated_chance: float
    stacks: tuple[StackPlan, ...]
    spawn: tuple[SpawnToBuy, ...]
    spawn_bag_kg: float
    spring: Spring | None
    """None without weather."""
    pairs: tuple[Pair, ...]
    pairs_length_m: float
    """Length of the pieces that the pairs are worked out for."""
    fungi: tuple[FungusAtSite, ...]
    complete_share: float
    """Of the way between spawn faces, from which a run counts as complete."""
    lift_alone_kg: float
    rest_days: tuple[int, int]
    """From felling to inoculation, least and most."""
    sure_share: float
    """Of past years in which the weeks offered would have served."""
    heat_c: float
    """A hot spell is days in a row that get this warm."""
    tree_ours: frozenset[str]
    """Keys of ``[plan]`` that the yard file leaves to the program."""
    sources: tuple[SourceUsed, ...]
    coverage: WeatherCoverage | None
    inputs: dict[str, str]

    @property
    def currency(self) -> str:
        return self.prices.currency
