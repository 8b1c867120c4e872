"""Invented season and compare results with the shape that real runs have; no model is run."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from climate_risk.interventions import Act, CoverSpan, Watering
from climate_risk.options import parse_cover_option, parse_watering_option
from climate_risk.risk.advice import Action, AlsoTried, Poured, Sign, Tried
from climate_risk.risk.plan import plan as plan_batch
from climate_risk.risk.results import (
    CanopyTrack,
    Chance,
    Cost,
    Difference,
    Leader,
    OptionResult,
    OutcomeShares,
    ParameterUsed,
    Prices,
    SeasonResult,
    SourceUsed,
    Spell,
    SpellLimits,
    StackSeason,
    StackShape,
    Thresholds,
    Uncertainty,
    YearResult,
)
from climate_risk.risk.results_compare import Build, ComparedOption, CompareResult, StackCompare
from climate_risk.risk.results_plan import PlanResult, Ranged, Spring, Weeks, Window
from climate_risk.risk.worth import break_even, rank
from climate_risk.weather.record import WeatherCoverage
from climate_risk.yard import read_yard

THRESHOLDS = Thresholds(
    moisture_stop_pct=29.0,
    moisture_slow_pct=50.0,
    growth_temp_max_c=35.0,
    heat_kill_temp_c=40.0,
    heat_half_kill_h=48.0,
    drought_onset_pct=22.0,
    drought_kill_pct=15.0,
    drought_half_kill_d=21.0,
    complete_share=0.9,
    lost_alive_share=0.25,
)
PARAMETERS = (
    ParameterUsed(
        group="fungus",
        row="grey oyster",
        name="heat_ref_temp_c",
        value=40.0,
        low=38.0,
        high=42.0,
        unit="degC",
        source="invented",
        grade="C",
        drawn=True,
    ),
    ParameterUsed(
        group="model",
        row="model",
        name="minutes_per_cover",
        value=2.0,
        low=1.0,
        high=5.0,
        unit="min",
        source="invented",
        grade="D",
        drawn=False,
    ),
)
PRICES = Prices(
    currency="USD",
    given={"spawn_bag": 19.0, "bag": 0.6, "water_per_litre": 0.01, "value_of_stack": 35.0},
    ours={"shade_cloth_per_m2": 1.8, "labour_per_hour": 20.0, "tolerated_chance": 0.10},
    unknown=(),
)
BUILD = Build(
    fungus="grey oyster",
    wood="aspen",
    pieces=2,
    piece_length_m=0.254,
    diameter_m=0.254,
    inoculated=date(2025, 4, 12),
    felled_weeks_before=3.0,
)
SOURCES = (SourceUsed(key="invented", citation="Invented for these tests", read="judgement"),)
GOLDEN_CAUTION = "Golden oyster is not native to North America; near woods prefer a native oyster."


def coverage() -> WeatherCoverage:
    return WeatherCoverage(
        source="file weather.csv (invented)",
        first=date(1996, 1, 1),
        last=date(2025, 7, 10),
        days=10784,
        filled={
            "precip_mm": {"neighbour": 41, "day-of-year normal": 12},
            "air_temp_max_c": {"interpolated": 3},
        },
        estimated={"shortwave_mj_m2": "from the temperature range (Hargreaves and Samani 1982)"},
        warnings=("April 2011: 12 of 30 days of rain are filled with normals.",),
        attribution="Invented weather for a demonstration.",
    )


def shares(heat: float, drought: float, unfinished: float = 0.08) -> OutcomeShares:
    return OutcomeShares(
        on_time=1.0 - heat - drought - unfinished,
        not_fully_run=unfinished,
        killed_by_heat=heat,
        killed_by_drought=drought,
        spawn_dried=0.25 * drought,
        likely_to_fruit=1.0 - heat - drought - 0.5 * unfinished,
    )


def option(
    canopy: str,
    cover: str,
    watering: str,
    heat: float,
    drought: float,
    cost: float,
    *,
    years: int = 29,
    with_chance: bool = True,
) -> OptionResult:
    mean = heat + drought
    spread = 1.645 * max(mean * (1 - mean) / years, 0.001) ** 0.5
    chance = None
    if with_chance:
        chance = Chance(
            mean=mean,
            low=max(0.0, mean - spread),
            high=min(1.0, mean + spread) if mean else 0.098,
            years=years,
            draws=8,
            interval="bootstrap" if mean else "exact binomial",
        )
    dose = parse_watering_option(watering)
    doses = Watering(
        litres=dose.litres,
        every_days=dose.every_days,
        first=date(2025, 5, 1),
        last=date(2025, 9, 30),
    )
    return OptionResult(
        canopy=canopy,
        covers=parse_cover_option(cover).spans,
        waterings=(doses,) if dose.litres else (),
        shares=shares(heat, drought),
        chance=chance,
        cost=Cost(option=cost, expected_loss=35 * mean if with_chance else None, currency="USD"),
        colonized_fraction=(0.62 - mean / 3, 0.95 - mean / 2, 1.0),
        moisture_driest_face_pct=(24.0, 38.0 - 20 * mean, 52.0),
        bark_temp_max_c=(33.0, 36.5 + 6 * heat, 41.0),
        years=tuple(
            YearResult(
                year=1996 + i,
                shares=shares(0.0, 0.9) if i % 10 < 10 * mean else shares(0.0, 0.0),
                moisture_driest_face_pct=36.0 - i % 7,
                moisture_driest_face_quantiles_pct=(31.0 - i % 7, 36.0 - i % 7, 40.0 - i % 7),
                bark_temp_max_c=35.2,
                colonized_fraction=0.9,
            )
            for i in range(years)
        ),
    )


def daily_frame(first: date, last: date, *, southern: bool, dryness: float) -> pd.DataFrame:
    """Reference run: wet green wood that dries through summer, with rain soaking it back."""
    index = pd.date_range(first, last, freq="D")
    n = len(index)
    rng = np.random.default_rng(5)
    phase = np.cos(2 * np.pi * (index.day_of_year.to_numpy() - 200) / 365.25)
    air = 16.0 + (-1 if southern else 1) * 12.5 * phase + rng.normal(0, 3.0, n)
    rain = np.where(rng.random(n) < 0.27, rng.gamma(0.8, 9.0, n), 0.0)
    rain[-16:-2] = 0.0
    air[-16:-2] += 4.0
    taken = np.minimum(rain * 0.012, 0.25)
    moisture = np.empty(n)
    level = 96.0
    for i in range(n):
        level += taken[i] * 9.0 - dryness * max(air[i], 0.0) * 0.024
        moisture[i] = level
    run = np.clip(np.cumsum(np.clip(air - 5, 0, 25)) / 2600.0, 0.0, 1.0)
    water = 11.0 * (1 + moisture / 100)
    change = np.diff(water, prepend=water[0])
    return pd.DataFrame(
        {
            "source": np.where(rng.random(n) < 0.03, "filled", "observed"),
            "air_temp_max_c": air,
            "air_temp_min_c": air - 11.0,
            "vpd_max_kpa": np.clip(0.09 * air, 0.05, None),
            "rh_min_pct": np.clip(80 - air, 15, 100),
            "shortwave_mj_m2": 4.0 + 2.0 * np.abs(phase),
            "bark_temp_max_c": air + 2.0 + 3.0 * rng.random(n),
            "core_temp_mean_c": air - 4.0,
            "moisture_mean_pct": moisture + 9.0,
            "moisture_driest_face_pct": moisture,
            "colonized_fraction": run,
            "heat_stress": np.linspace(0.0, 0.03, n),
            "drought_stress": np.linspace(0.0, 0.21, n) ** 2,
            "log_water_kg": water,
            "water_in_kg": taken,
            "water_out_kg": taken - change,
            "precip_mm": rain,
        },
        index=index,
    )


def outlook_frame(daily: pd.DataFrame, horizon: date, *, southern: bool) -> pd.DataFrame:
    first = daily.index[-1] + pd.Timedelta(days=1)
    index = pd.date_range(first, pd.Timestamp(horizon), freq="D")
    n = len(index)
    t = np.arange(1, n + 1)
    phase = np.cos(2 * np.pi * (index.day_of_year.to_numpy() - 200) / 365.25)
    air = 16.0 + (-1 if southern else 1) * 12.5 * phase
    wet = float(daily["moisture_driest_face_pct"].iloc[-1])
    run = float(daily["colonized_fraction"].iloc[-1])
    spread = 1 - np.exp(-t / 30.0)
    middle = wet - 16 * spread + 6 * (1 - np.exp(-t / 200))
    columns: dict[tuple[str, int], Any] = {}
    for q, air_off, wet_off, pace in (
        (10, -5.0, -28.0, 0.28),
        (50, 0.0, 0.0, 0.5),
        (90, 5.0, 22.0, 1.0),
    ):
        columns["air_temp_max_c", q] = air + air_off
        columns["bark_temp_max_c", q] = air + 4.0 + air_off
        columns["moisture_driest_face_pct", q] = np.maximum(middle + wet_off * spread, 15.0)
        gain = np.cumsum(np.clip(air - 5, 0, 25)) / 2600.0
        columns["colonized_fraction", q] = np.minimum(run + pace * gain, 1.0)
        columns["heat_stress", q] = np.linspace(0.03, 0.03 + 0.2 * pace, n)
        columns["drought_stress", q] = np.linspace(0.04, 0.04 + 1.5 * pace, n)
    frame = pd.DataFrame(columns, index=index)
    frame.columns = pd.MultiIndex.from_tuples(frame.columns, names=["quantity", "percentile"])
    return frame


def reference_frame(outlook: pd.DataFrame) -> pd.DataFrame:
    """The middle of the outlook in place of the reference run carried on."""
    return outlook.xs(50, axis=1, level="percentile")


def track_frame(daily: pd.DataFrame, outlook: pd.DataFrame, shift: float) -> pd.DataFrame:
    """The run to date with a band about it, then the outlook; moisture shifted."""
    names = ("bark_temp_max_c", "moisture_driest_face_pct", "colonized_fraction")
    before = pd.DataFrame(
        {
            (name, q): daily[name] * factor
            for name in names
            for q, factor in ((10, 0.9), (50, 1.0), (90, 1.1))
        }
    )
    whole = pd.concat([before, outlook[list(names)]])
    whole.columns = pd.MultiIndex.from_tuples(whole.columns)
    for q in (10, 50, 90):
        whole[("moisture_driest_face_pct", q)] += shift
    return whole


def stack(
    name: str = "North row",
    *,
    heat: float = 0.03,
    drought: float = 0.28,
    inoculated: date = date(2025, 4, 12),
    as_of: date = date(2025, 7, 10),
    southern: bool = False,
    dryness: float = 1.0,
    with_chance: bool = True,
    years: int = 29,
) -> StackSeason:
    horizon = inoculated + timedelta(days=364)
    daily = daily_frame(inoculated, as_of, southern=southern, dryness=dryness)
    cover = "paper bag + shade cloth 60"
    now = option(
        "deciduous", cover, "none", heat, drought, 2.4, years=years, with_chance=with_chance
    )
    better = option("deciduous", "shade cloth 60", "none", 0.01, 0.05, 4.1).chance
    start = as_of + timedelta(days=1)
    cloth = CoverSpan(kind="shade cloth", percent=60.0, on=start)
    dose = Watering(litres=4.0, every_days=7, first=start, last=start + timedelta(weeks=12))
    best = option("deciduous", cover, "4 L every 7 days", 0.01, 0.02, 6.5).chance
    outlook = outlook_frame(daily, horizon, southern=southern)
    return StackSeason(
        name=name,
        count=16,
        fungus="grey oyster",
        wood="aspen",
        canopy="deciduous",
        covers=(
            CoverSpan(kind="bag", material="paper", on=inoculated, off=horizon),
            CoverSpan(
                kind="shade cloth",
                percent=60.0,
                on=date(2025, 10, 20),
                off=date(2026, 5, 10),
            ),
        ),
        waterings=(),
        inoculated=inoculated,
        horizon=horizon,
        daily=daily,
        outlook=outlook,
        reference_ahead=reference_frame(outlook),
        reference_acted=reference_frame(outlook).assign(
            moisture_driest_face_pct=lambda t: t["moisture_driest_face_pct"] + 8.0
        ),
        tracks=tuple(
            CanopyTrack(canopy=canopy, quantiles=track_frame(daily, outlook, shift))
            for canopy, shift in (("deciduous", 0.0), ("conifer", 6.0), ("open", -6.0))
        ),
        shape=StackShape(
            pieces=2,
            piece_length_m=0.254,
            diameter_m=0.254,
            cap_thickness_m=0.05,
            ground_barrier="paper",
        ),
        openness=0.3,
        face_moisture_pct=(44.0, 52.0, float(daily["moisture_driest_face_pct"].iloc[-1])),
        result=now,
        under_canopies=(
            option("conifer", cover, "none", 0.0, 0.04, 2.4),
            now,
            option("open", cover, "none", 0.35, 0.41, 2.4),
        ),
        lost_of_count=(0.0, 4.0, 11.0),
        full_run=(
            as_of + timedelta(days=60),
            as_of + timedelta(days=88),
            as_of + timedelta(days=140),
        ),
        uncertainty=Uncertainty(
            of_loss=True,
            weather_share=0.55,
            model_share=0.45,
            leaders=(
                Leader(unknown="wood.bark_resistance_s_m", correlation=0.8),
                Leader(unknown="fungus.drought_half_kill_d", correlation=-0.2),
            ),
            runs=256,
        ),
        spells=(
            Spell(
                first=as_of - timedelta(days=47),
                last=as_of - timedelta(days=41),
                air_temp_max_c=31.2,
                rain_mm=0.6,
            ),
            Spell(
                first=as_of - timedelta(days=15),
                last=as_of - timedelta(days=2),
                air_temp_max_c=35.1,
                rain_mm=0.0,
            ),
        ),
        actions=(
            Action(
                acts=(Act(kind="hang shade cloth", cover=cloth),),
                start=as_of + timedelta(days=1),
                latest=as_of + timedelta(days=8),
                chance=better,
                cost=1.7,
                minutes=3.0,
                minutes_given=False,
                saved=(3.1, 5.6, 8.4),
                difference=Difference(mean=-0.16, low=-0.24, high=-0.09, turns_on=None),
                later=(
                    Tried(day=as_of + timedelta(days=8), chance_mean=0.09),
                    Tried(day=as_of + timedelta(days=15), chance_mean=0.14),
                ),
            ),
            Action(
                acts=(Act(kind="water", watering=dose),),
                start=as_of + timedelta(days=1),
                latest=as_of + timedelta(days=19),
                chance=best,
                cost=4.1,
                minutes=12.0,
                saved=(-0.4, 7.0, 10.2),
                difference=Difference(mean=-0.2, low=-0.29, high=0.01, turns_on=None),
                to_first=Difference(mean=-0.04, low=-0.09, high=0.01, turns_on=None),
                later=(Tried(day=as_of + timedelta(days=19), chance_mean=0.08),),
                water=Poured(litres=48.0, kept_litres=3.2),
            ),
        ),
        also_tried=(
            AlsoTried(acts=(Act(kind="open foot", cover=cloth),), helps=True),
            AlsoTried(acts=(Act(kind="move", canopy="conifer"),), helps=False),
        ),
        signs=(
            Sign(
                acts=(),
                mass_kg=9.1,
                mass_of_fresh=0.76,
                where_low=0.45,
                where_high=0.06,
                runs=(80, 176),
            ),
            Sign(
                acts=(),
                unknown="wood.bark_bare_share",
                where_low=0.05,
                where_high=0.4,
                runs=(85, 85),
            ),
        ),
        thresholds=THRESHOLDS,
        parameters=PARAMETERS,
        rival_hours_grade="D",
        fungus_caution="",
    )


def season(
    *stacks: StackSeason, as_of: date = date(2025, 7, 10), units: str = "us"
) -> SeasonResult:
    return SeasonResult(
        yard_name="Alder Hollow",
        invented=True,
        as_of=as_of,
        tolerated_chance=0.10,
        prices=PRICES,
        units=units,
        stacks=stacks or (stack(),),
        spell_limits=SpellLimits(days=3, air_temp_min_c=30.0, rain_max_mm=1.0),
        sources=SOURCES,
        coverage=coverage(),
        inputs={"yard.toml": "ab" * 32, "weather.csv": "cd" * 32},
        water_residual=3.1e-13,
        energy_residual=8.0e-12,
    )


def three_stacks() -> tuple[StackSeason, ...]:
    safe = stack("Hemlock corner", heat=0.0, drought=0.0, dryness=0.45)
    safe = replace(safe, actions=(), reference_acted=None, canopy="conifer", spells=())
    golden = stack("Pine edge", heat=0.05, drought=0.02)
    golden = replace(golden, fungus="golden oyster", fungus_caution=GOLDEN_CAUTION)
    return (safe, stack(), golden)


def southern_season() -> SeasonResult:
    as_of = date(2026, 1, 20)
    one = stack("Fila sul", inoculated=date(2025, 10, 8), as_of=as_of, southern=True)
    return season(one, as_of=as_of, units="metric")


def few_years_season() -> SeasonResult:
    return season(stack(with_chance=False, years=7))


def ended_season() -> SeasonResult:
    as_of = date(2026, 4, 11)
    one = stack(as_of=as_of, dryness=0.6)
    over = replace(one, outlook=None, reference_ahead=None, reference_acted=None, actions=())
    return season(replace(over, full_run=(None, None, None)), as_of=as_of)


def early_season() -> SeasonResult:
    """Asked for before the stack is made: nothing observed yet, the outlook is all."""
    as_of = date(2025, 4, 1)
    one = stack(inoculated=date(2025, 4, 12), as_of=date(2025, 4, 12))
    acts = tuple(replace(a, start=date(2025, 4, 12)) for a in one.actions)
    empty = replace(one, daily=one.daily.iloc[:0], spells=(), actions=acts)
    return season(empty, as_of=as_of)


def long_names_season() -> SeasonResult:
    name = "Second terrace above the old spring house, by the stone wall, west of the gate"
    one = stack(name)
    return season(replace(one, spells=()), units="metric")


def hopeless_season() -> SeasonResult:
    one = stack(heat=0.52, drought=0.3)
    return season(replace(one, actions=(replace(one.actions[0], latest=None),)))


def no_loss_compare() -> CompareResult:
    """Every option loses nothing; only moisture and cost tell them apart."""
    wet = {
        "conifer": (42.0, 67.0, 91.0),
        "deciduous": (42.0, 60.0, 82.0),
        "open": (20.0, 36.0, 44.0),
    }
    options = [
        replace(
            option(canopy, cover, "none", 0.0, 0.0, cost, years=36),
            moisture_driest_face_pct=tuple(part - loss for part in wet[canopy]),
        )
        for canopy in wet
        for cover, cost, loss in (("none", 0.0, 0.0), ("paper bag", 1.6, 12.0))
    ]
    result = compare()
    return replace(result, stacks=(replace(result.stacks[0], options=compared(options)),))


def compared(options: list[OptionResult], worth: float = 35.0) -> tuple[ComparedOption, ...]:
    """Options against the last of them as the plan: it first, then all others by rank."""
    plan = options[-1]
    order = sorted(options, key=lambda option: rank(option, worth))

    def apart(option: OptionResult) -> Difference | None:
        if option is plan or option.chance is None or plan.chance is None:
            return None
        mean = option.chance.mean - plan.chance.mean
        return Difference(mean=mean, low=mean - 0.05, high=mean + 0.05, turns_on=None)

    return tuple(
        ComparedOption(
            **{f.name: getattr(option, f.name) for f in fields(OptionResult)}
            | {"difference": apart(option)},
            build=BUILD,
            is_plan=option is plan,
            rank=order.index(option) + 1,
            places=(order.index(option),),
            moisture_stop_pct=THRESHOLDS.moisture_stop_pct,
            to_best=None if option is order[0] else apart(option),
            break_even=break_even(option.cost.option - plan.cost.option, apart(option)),
        )
        for option in (plan, *(option for option in order if option is not plan))
    )


def compare(units: str = "us", *, with_chance: bool = True) -> CompareResult:
    rows = []
    risk = {
        "conifer": (0.0, 0.05),
        "deciduous": (0.03, 0.25),
        "open": (0.33, 0.42),
    }
    covers = {"paper bag": 1.0, "paper bag + shade cloth 60": 0.5, "none": 1.25}
    waters = {"none": 1.0, "4 L every 7 days": 0.3}
    for canopy, (heat, drought) in risk.items():
        for i, (cover, factor) in enumerate(covers.items()):
            for j, (watering, wet) in enumerate(waters.items()):
                kill = 0.0 if canopy.startswith("conifer") and j and i == 1 else 1.0
                rows.append(
                    option(
                        canopy,
                        cover,
                        watering,
                        kill * heat * factor,
                        kill * min(drought * factor * wet, 0.55),
                        (0.6, 2.3, 0.0)[i] + 4.2 * j,
                        years=29 if with_chance else 6,
                        with_chance=with_chance,
                    )
                )
    return CompareResult(
        yard_name="Alder Hollow",
        invented=True,
        first_year=1996,
        last_year=2024,
        years=29 if with_chance else 6,
        draws=8,
        tolerated_chance=0.10,
        prices=PRICES,
        units=units,
        stacks=(
            StackCompare(
                name="North row",
                fungus="grey oyster",
                wood="aspen",
                horizon_months=12,
                options=compared(rows),
                is_by_money=with_chance,
                thresholds=THRESHOLDS,
                parameters=PARAMETERS,
                cautions=(),
            ),
        ),
        sources=SOURCES,
        coverage=coverage(),
        inputs={"yard.toml": "ab" * 32},
        water_residual=3.1e-13,
        energy_residual=8.0e-12,
    )


def plan() -> PlanResult:
    """The invented farm's batch with invented weeks; no weather is read."""
    found = plan_batch(read_yard(Path(__file__).parents[1] / "sample_data" / "yard.toml"))
    weeks = Weeks(
        felling=Window(first_day=37, last_day=104),
        inoculation=Window(first_day=79, last_day=146),
        leap_off_days=Ranged(value=26.0, low=12.0, high=44.0),
    )
    spring = Spring(
        years=30,
        last_frost_day=(38, 65, 84),
        leaf_day=(116, 122, 131),
        heat_day=(150, 170, 200),
        leaf_fall_day=292,
    )
    stacks = tuple(replace(stack, weeks=weeks) for stack in found.stacks)
    return replace(found, stacks=stacks, spring=spring)
