"""The batch: cuts, spawn, weights, costs, weeks, and which fungus suits which wood and site."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.record import Record
from climate_risk.parameter import Parameter, Row
from climate_risk.risk.cost import (
    MINUTES_PER_HOUR,
    covers_cost,
    prices_used,
    watering_cost,
)
from climate_risk.risk.cuts import cut_trees
from climate_risk.risk.parameters import parameter_used, sources_used
from climate_risk.risk.results import ParameterUsed, Prices, shape_of
from climate_risk.risk.results_plan import (
    CostLine,
    FungusAtSite,
    Pair,
    PlanResult,
    Ranged,
    SpawnToBuy,
    StackPlan,
)
from climate_risk.risk.season import SPELL_LIMITS
from climate_risk.risk.weeks import Springs, growing, spring_of, springs_of, weeks_of
from climate_risk.tables import Fungus, Wood, bags, batch, fungi, model, woods
from climate_risk.weather.record import WeatherCoverage
from climate_risk.yard import Stack, Yard

WHOLE_YEAR_D = 360
"""A record with fewer days of the year than this says nothing of a whole year's growth."""
MONTHS_PER_YEAR = 12
PRICE_OF_COVER = {"bag": "bag", "shade cloth": "shade_cloth_per_m2"}


def plan(
    yard: Yard,
    record: Record | None = None,
    coverage: WeatherCoverage | None = None,
    inputs: dict[str, str] | None = None,
) -> PlanResult:
    """What the stacks of a yard take, and when to begin.

    Parameters
    ----------
    yard : Yard
    record : Record, optional
        Past weather of the site; without it there are no weeks and no growth.
    coverage : WeatherCoverage, optional
        Of the record.
    inputs : dict of str to str, optional
        File name -> SHA-256, beside the yard's own.

    Returns
    -------
    PlanResult
    """
    springs = springs_of(record.weather, yard.site, record.last) if record is not None else None
    if springs is not None and springs.years == 0:
        springs = None
    rules = batch()
    length_m = max(stack.piece_length_m for stack in yard.stacks)
    growths = {name: _yearly(record, fungus) for name, fungus in fungi().items()}
    stacks = tuple(_stack(stack, yard, springs, growths[stack.fungus]) for stack in yard.stacks)
    return PlanResult(
        yard_name=yard.name,
        invented=yard.invented,
        prices=_prices(yard, stacks),
        units=yard.units,
        tolerated_chance=yard.costs.tolerated_chance,
        stacks=stacks,
        spawn=tuple(_spawn_to_buy(stacks, yard)),
        spawn_bag_kg=yard.costs.spawn_bag_mass_kg,
        spring=spring_of(springs, SPELL_LIMITS) if springs is not None else None,
        pairs=tuple(
            _pair(fungus, wood, length_m, growths[name])
            for name, fungus in fungi().items()
            for wood in woods()
        ),
        pairs_length_m=length_m,
        fungi=tuple(
            FungusAtSite(
                fungus=name,
                latin_name=fungus.latin_name,
                horizon_months=fungus.horizon_months,
                growing_days=growths[name],
                hot_hours=_hot_hours(record, fungus),
                caution=fungus.caution,
            )
            for name, fungus in fungi().items()
        ),
        complete_share=model().complete_share.value,
        lift_alone_kg=rules.lift_alone_kg.value,
        rest_days=(int(rules.rest_least_d.value), int(rules.rest_most_d.value)),
        sure_share=rules.sure_share.value,
        heat_c=SPELL_LIMITS.air_temp_min_c,
        tree_ours=yard.plan.ours,
        sources=sources_used(p for stack in stacks for p in stack.parameters),
        coverage=coverage,
        inputs=inputs or {yard.path.name: yard.sha256},
    )


def green_density(wood: Wood, diameter_m: float) -> Ranged:
    """Of a fresh log with its bark on [kg/m3]; its diameter is over the bark.

    Oven-dry mass per green volume times one plus moisture, wood and bark each by its share of
    the cross-section.  The range takes all lows and all highs together.
    """
    bark_m = wood.bark_thickness_mm.value / 1000.0
    bark_m *= diameter_m / model().bark_reference_diameter_m.value
    wood_share = (1.0 - 2.0 * bark_m / diameter_m) ** 2
    density, moisture = wood.basic_density_kg_m3, wood.green_moisture_pct
    bark = batch().bark_green_density_kg_m3[wood.name]

    def mixed(dry: float, pct: float, bark_kg_m3: float) -> float:
        return wood_share * dry * (1.0 + pct / 100.0) + (1.0 - wood_share) * bark_kg_m3

    return Ranged(
        value=mixed(density.value, moisture.value, bark.value),
        low=mixed(density.low, moisture.low, bark.low),
        high=mixed(density.high, moisture.high, bark.high),
    )


def spawn_per_stack(faces: int, area_m2: float, depth_m: float) -> Ranged:
    """Spawn to buy for one stack [kg]: faces x area x depth x bulk density, and the spare."""
    bulk, spare = batch().spawn_bulk_kg_m3, batch().spawn_spare_share
    layer_m3 = faces * area_m2 * depth_m
    return Ranged(
        value=layer_m3 * bulk.value * (1.0 + spare.value),
        low=layer_m3 * bulk.low * (1.0 + spare.low),
        high=layer_m3 * bulk.high * (1.0 + spare.high),
    )


def _stack(stack: Stack, yard: Yard, springs: Springs | None, growth_d: float | None) -> StackPlan:
    fungus, wood, rules = fungi()[stack.fungus], woods()[stack.wood], batch()
    area_m2 = math.pi / 4.0 * stack.diameter_m**2
    faces = stack.pieces + 1
    spawn = spawn_per_stack(faces, area_m2, stack.spawn_depth_m)
    density = green_density(wood, stack.diameter_m)
    piece = density.times(area_m2 * stack.piece_length_m)
    cap = density.times(area_m2 * stack.cap_thickness_m)
    kinds = [cover.kind for cover in stack.covers]
    materials = [cover.material for cover in stack.covers if cover.material]
    clearance_m = max((bags()[name].clearance_m.value for name in materials), default=0.0)
    cloth = _ranged(model().cloth_area_per_stack_m2) if "shade cloth" in kinds else _exactly(0.0)
    bag_kg = yard.costs.spawn_bag_mass_kg
    return StackPlan(
        name=stack.name,
        count=stack.count,
        fungus=stack.fungus,
        wood=stack.wood,
        shape=shape_of(stack),
        covers=stack.covers,
        felled=stack.felled,
        inoculated=stack.inoculated,
        trees=cut_trees(
            stack.count,
            pieces=stack.pieces,
            piece_m=stack.piece_length_m,
            cap_m=stack.cap_thickness_m,
            tree_m=yard.plan.tree_length_m,
            kerf_m=yard.plan.kerf_m,
            trim_m=yard.plan.trim_m,
        ),
        faces=faces,
        face_area_m2=area_m2,
        spawn_depth_m=stack.spawn_depth_m,
        spawn_kg=spawn,
        stacks_per_bag=Ranged(
            value=bag_kg / spawn.value, low=bag_kg / spawn.high, high=bag_kg / spawn.low
        ),
        green_density_kg_m3=density,
        piece_mass_kg=piece,
        cap_mass_kg=cap,
        stack_mass_kg=piece.times(stack.pieces).plus(cap),
        bags=stack.count * kinds.count("bag"),
        bag_width_m=math.pi * (stack.diameter_m / 2.0 + clearance_m),
        cloth_m2=cloth.times(stack.count),
        sheets=stack.count if stack.ground_barrier != "none" else 0,
        sheet_m=stack.diameter_m + 2.0 * rules.barrier_margin_m.value,
        costs=tuple(_costs(stack, yard, spawn)),
        weeks=weeks_of(springs, fungus, SPELL_LIMITS) if springs is not None else None,
        pair=_pair(fungus, stack.wood, stack.piece_length_m, growth_d),
        fungus_caution=fungus.caution,
        parameters=tuple(_parameters(fungus, wood)),
    )


def _costs(stack: Stack, yard: Yard, spawn: Ranged) -> Iterator[CostLine]:
    """By kind; of spawn what is used, by weight."""
    costs = yard.costs
    minutes = _ranged(batch().minutes_per_stack_built)
    lines = {
        "spawn": spawn.times(costs.spawn_bag / costs.spawn_bag_mass_kg),
        "covers": _exactly(covers_cost(stack.covers, costs)),
        "watering": _exactly(watering_cost(stack.waterings, costs)),
        "building": minutes.times(costs.labour_per_hour / MINUTES_PER_HOUR),
    }
    for kind, one in lines.items():
        if one.high != 0.0:
            yield CostLine(kind=kind, one=one, all=one.times(stack.count))  # type: ignore[arg-type]


def _prices(yard: Yard, stacks: Sequence[StackPlan]) -> Prices:
    """Those that the plan's costs need."""
    needed = {"spawn_bag", "labour_per_hour"}
    covers = [cover.kind for stack in stacks for cover in stack.covers]
    needed |= {PRICE_OF_COVER[kind] for kind in covers}
    if any(line.kind == "watering" for stack in stacks for line in stack.costs):
        needed.add("water_per_litre")
    used = prices_used(yard.costs)
    return replace(
        used,
        given={name: price for name, price in used.given.items() if name in needed},
        ours={name: price for name, price in used.ours.items() if name in needed},
        unknown=tuple(name for name in used.unknown if name in needed),
    )


def _spawn_to_buy(stacks: Sequence[StackPlan], yard: Yard) -> Iterator[SpawnToBuy]:
    """Whole bags by fungus: a bag opened for one row serves the next of the same fungus."""
    bag_kg = yard.costs.spawn_bag_mass_kg
    for fungus in dict.fromkeys(stack.fungus for stack in stacks):
        mass = _exactly(0.0)
        for stack in stacks:
            if stack.fungus == fungus:
                mass = mass.plus(stack.spawn_kg.times(stack.count))
        low, best, high = (
            math.ceil(kg / bag_kg - 1e-9) for kg in (mass.low, mass.value, mass.high)
        )
        yield SpawnToBuy(
            fungus=fungus, mass_kg=mass, bags=(low, best, high), price=best * yard.costs.spawn_bag
        )


def _pair(fungus: Fungus, wood: str, length_m: float, growth_d: float | None) -> Pair:
    factor = fungus.wood_factor[wood]
    share = None
    if growth_d is not None:
        share = run_share(fungus, wood, length_m, growth_d)
    return Pair(fungus=fungus.name, wood=wood, factor=_ranged(factor), run_share=share)


def run_share(fungus: Fungus, wood: str, length_m: float, growth_d: float) -> Ranged:
    """Share of a piece, fed from both faces, that is run by the fungus's horizon if never dry.

    Parameters
    ----------
    growth_d : float
        Days at the best temperature that a year's growth makes up.
    """
    years = fungus.horizon_months / MONTHS_PER_YEAR
    rate, factor, lag = fungus.front_rate_mm_day, fungus.wood_factor[wood], fungus.spawn_lag_gdays

    def share(rate_mm: float, times: float, lag_d: float) -> float:
        run_m = rate_mm / 1000.0 * times * max(growth_d * years - lag_d, 0.0)
        return min(2.0 * run_m / length_m, 1.0)

    return Ranged(
        value=share(rate.value, factor.value, lag.value),
        low=share(rate.low, factor.low, lag.high),
        high=share(rate.high, factor.high, lag.low),
    )


def _by_day(record: Record | None) -> pd.DataFrame | None:
    """Hours of the days that were seen, a row a day; None where they are not of a whole year."""
    if record is None:
        return None
    days = pd.DatetimeIndex(record.weather.time[::HOURS_PER_DAY])
    hours = pd.DataFrame(record.weather.air_temp_c.reshape(-1, HOURS_PER_DAY), index=days)
    hours = hours[: pd.Timestamp(record.last)]
    whole = pd.DatetimeIndex(hours.index).day_of_year.nunique() >= WHOLE_YEAR_D
    return hours if whole else None


def _year_sum(hours: pd.DataFrame, of_day: np.ndarray) -> float:
    """Sum over a usual year: days of the year by their means, so that part years do not count
    twice."""
    by_day = pd.Series(of_day).groupby(pd.DatetimeIndex(hours.index).day_of_year).mean()
    return float(by_day.iloc[:365].sum())


def _yearly(record: Record | None, fungus: Fungus) -> float | None:
    """Days at the best temperature that a year's growth makes up."""
    hours = _by_day(record)
    return None if hours is None else _year_sum(hours, growing(fungus, hours.to_numpy()))


def _hot_hours(record: Record | None, fungus: Fungus) -> float | None:
    hours = _by_day(record)
    if hours is None:
        return None
    return _year_sum(hours, (hours.to_numpy() > fungus.temp_max_c.value).sum(axis=1))


def _ranged(parameter: Parameter) -> Ranged:
    return Ranged(value=parameter.value, low=parameter.low, high=parameter.high)


def _exactly(value: float) -> Ranged:
    return Ranged(value=value, low=value, high=value)


OF_WOOD = ("basic_density_kg_m3", "green_moisture_pct", "bark_thickness_mm")
OF_FUNGUS = (
    "temp_min_c", "temp_opt_c", "temp_max_c", "front_rate_mm_day", "spawn_lag_gdays"
)  # fmt: skip
BARK = "bark_green_density_kg_m3"
OF_MODEL = ("cloth_area_per_stack_m2", "minutes_per_cover", "minutes_per_watering")


def _parameters(fungus: Fungus, wood: Wood) -> Iterator[ParameterUsed]:
    """The numbers of the tables that a plan takes."""
    rules = batch()
    taken: list[tuple[str, Row, dict[str, Parameter]]] = [
        ("wood", wood, {name: getattr(wood, name) for name in OF_WOOD}),
        ("fungus", fungus, {name: getattr(fungus, name) for name in OF_FUNGUS}),
        ("model", model(), {name: getattr(model(), name) for name in OF_MODEL}),
        ("plan", rules, {k: v for k, v in vars(rules).items() if isinstance(v, Parameter)}),
        ("plan", rules, {f"{BARK}.{wood.name}": getattr(rules, BARK)[wood.name]}),
    ]
    for group, row, numbers in taken:
        for name, parameter in numbers.items():
            yield parameter_used(group, row, name, parameter, True)
