"""Published drying of bark-on logs, driven through the compiled log kernel.

A log lies: its ends are upright and its bark takes beam and rain as a lying cylinder does,
whichever way it points.  It is symmetric about its middle, so half of it is run, on end, with a
foot that passes neither heat nor water.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import risk_samples
from log_samples import changed

from climate_risk import tables
from climate_risk.constants import KELVIN_AT_0_C, STEFAN_BOLTZMANN_W_M2K4
from climate_risk.engine.draws import (
    ParameterSet,
    best_estimate,
    latin_hypercube,
    values_at,
)
from climate_risk.log import conductances, formulas, kernel, state
from climate_risk.log import layout as at
from climate_risk.log.formulas import dry_heat_capacity, equilibrium_moisture
from climate_risk.log.geometry import Grid, make_grid
from climate_risk.log.parameters import log_parameters
from climate_risk.log.state import Curves
from climate_risk.log.wood import wood_tables
from climate_risk.microclimate.stand import below_canopy
from climate_risk.site import Site
from climate_risk.weather.psychro import saturation_vapour_pressure_kpa
from climate_risk.weather.record import HourlyWeather

FloatArray = npt.NDArray[np.float64]
HERE = Path(__file__).parent
PUBLISHED = tomllib.loads((HERE / "published" / "drying.toml").read_text(encoding="utf-8"))
CASES: dict[str, dict[str, Any]] = PUBLISHED["case"]

SEED = 20260101
RINGS, LEVELS = 8, 12
"""Finer than a stack's: half a sawlog is two metres long and its end dries in centimetres."""
SHARE = {"alone": 1.0, "pile": 0.5}
"""Of open sun, sky, wind and rain that reaches the log."""
LEAD_DAYS = 20
"""Weather before the first day, for the ground's temperature."""
RESISTANCES_S_M = np.geomspace(500.0, 50000.0, 24)
BARK_RANGE_S_M = (5000.0, 60000.0)
"""Of the program's woods with no fitted bark, as it was before any case but V1 was run."""
AXES = np.radians(np.arange(0.0, 180.0, 22.5))
"""Directions in which a log may point."""


@cache
def wood_of(name: str) -> tables.Wood:
    """A wood of the tables, or one of drying.toml, which the tables do not hold."""
    if name not in PUBLISHED["wood"]:
        return tables.woods()[name]
    base = tables.woods()["aspen"]
    given = {"bark_resistance_s_m": tables.woods()["red oak"].bark_resistance_s_m.value}
    given |= PUBLISHED["wood"][name]
    barkless = given["bark_thickness_mm"] == 0.0
    made: dict[str, tables.Parameter] = {}
    for key, value in given.items():
        old = getattr(base, key)
        spread = (0.5 * value, 1.5 * value)
        if key == "bark_resistance_s_m":
            spread = (value, value) if barkless else BARK_RANGE_S_M
        scale = "linear" if barkless and key == "bark_resistance_s_m" else old.scale
        made[key] = replace(
            old, value=value, low=spread[0], high=spread[1], scale=scale,
            source="judgement", confidence="D", note="outside the tables",
        )  # fmt: skip
    return replace(base, **made)


def typical_days(place: dict[str, Any], first: date, last: date) -> pd.DataFrame:
    """Daily weather whose months have the place's normals as means and totals.

    Wet days are a first-order Markov chain, amounts exponential, temperature an AR(1) anomaly
    (after Richardson 1981, Water Resour. Res. 17:182-190, from memory); each month is then
    shifted or scaled to its normal.  One seed.
    """
    days = pd.date_range(f"{first.year}-01-01", f"{last.year}-12-31", name="date")
    rng = np.random.RandomState(SEED)
    # One call each, in this order: the weather was drawn so before the first comparison.
    chance = rng.uniform(size=len(days))
    fast, span = rng.normal(size=(2, len(days)))
    amount, gust = rng.exponential(size=len(days)), rng.normal(size=len(days))
    month = days.month.to_numpy() - 1

    def normal(name: str) -> FloatArray:
        return np.broadcast_to(np.asarray(place[name], dtype=np.float64), (12,))[month]

    wet = np.zeros(len(days), dtype=bool)
    anomaly = np.zeros(len(days))
    share = normal("wet_days") / 30.4
    for n in range(1, len(days)):
        wet[n] = chance[n] < (0.3 + 0.7 * share[n] if wet[n - 1] else 0.7 * share[n])
        anomaly[n] = 0.7 * anomaly[n - 1] + 0.71 * 2.5 * fast[n]
    groups = [days.year.to_numpy(), days.month.to_numpy()]

    def month_mean(values: FloatArray) -> FloatArray:
        return pd.Series(values).groupby(groups).transform("mean").to_numpy()

    def to_mean(values: FloatArray, wanted: FloatArray) -> FloatArray:
        return np.asarray(values * wanted / np.maximum(month_mean(values), 1e-9))

    mean = normal("mean_temp_c") + anomaly - month_mean(anomaly)
    spread = to_mean(np.where(wet, 0.8, 1.1) * np.exp(0.2 * span), normal("temp_range_c"))
    humidity = normal("humidity_pct") + np.where(wet, 6.0, 0.0)
    humidity = np.minimum(humidity - 6.0 * share, 98.0)
    vapour = humidity / 100.0 * saturation_vapour_pressure_kpa(mean)
    ratio = np.log(vapour / 0.6108)
    rain = to_mean(np.where(wet, amount, 0.0), normal("rain_mm") / 30.4)
    table = pd.DataFrame(
        {
            "air_temp_min_c": mean - spread / 2.0,
            "air_temp_mean_c": mean,
            "air_temp_max_c": mean + spread / 2.0,
            "dew_point_c": 237.3 * ratio / (17.27 - ratio),
            "precip_mm": rain,
            "wind_ms": to_mean(np.exp(0.35 * gust), normal("wind_ms")),
            "shortwave_mj_m2": to_mean(np.where(wet, 0.6, 1.15), normal("sun_mj_m2")),
        },
        index=days,
    )
    return table.loc[str(first) : str(last)]


@cache
def weather_of(place: str, first: date, last: date) -> tuple[HourlyWeather, Site]:
    """Hours of a place's typical year, from its file or from its normals."""
    row = PUBLISHED["place"][place]
    site = Site(
        latitude=row["latitude"],
        longitude=row["longitude"],
        elevation_m=row["elevation_m"],
        slope_deg=row.get("slope_deg", 0.0),
        aspect_deg=row.get("aspect_deg", 180.0),
    )
    if "file" in row:
        path = HERE / "data" / row["file"]
        table = pd.read_csv(path, index_col="date", parse_dates=True).loc[str(first) : str(last)]
    else:
        table = typical_days(row, first, last)
    return risk_samples.hours_of(table, site), site


@dataclass(frozen=True, kw_only=True)
class Log:
    """Half a log, ready to run; case 0 is the best estimate, the others draws."""

    grid: Grid
    curves: Curves
    parameters: FloatArray
    albedo: FloatArray
    catch: FloatArray


def make_log(
    wood: str,
    diameter_m: float,
    length_m: float,
    start_db: float,
    *,
    bark_resistance_s_m: npt.ArrayLike | None = None,
    rings: int = RINGS,
    levels: int = LEVELS,
) -> Log:
    """A log of one wood; ``bark_resistance_s_m`` puts best estimates under given barks."""
    row = wood_of(wood)
    cut = wood_tables(row)
    rows = ParameterSet(
        wood=row,
        fungus=tables.fungi()["grey oyster"],
        model=tables.model(),
        canopy=tables.canopies()["open"],
        bag=tables.bags()["paper"],
        cloth=tables.cloths()["shade cloth"],
        barrier=tables.barriers()["paper"],
    )
    unknowns = len(rows.unknowns())
    quantiles = np.concatenate(
        [best_estimate(unknowns), latin_hypercube(at.CASES - 1, unknowns, SEED)]
    )
    if bark_resistance_s_m is not None:
        quantiles[:] = 0.5
    values = values_at(rows, quantiles)
    if bark_resistance_s_m is not None:
        values["wood.bark_resistance_s_m"] = np.resize(bark_resistance_s_m, at.CASES).astype(float)
    catch = values["model.side_rain_catch_share"]
    parameters = changed(
        log_parameters(row, values, start_db / 100.0, diameter_m),
        # An end takes its share of the rain's depth; the bark, over its girth, 1 / pi of it.
        model_side_rain_catch_share=1.0 / (np.pi * catch),
        barrier_vapour_resistance_s_m=1e15,
        ground_heat_w_m2k=1e-9,
    )
    return Log(
        grid=make_grid(
            diameter_m=diameter_m,
            piece_length_m=length_m / 2.0,
            pieces=1,
            cap_thickness_m=0.0,
            rings=rings,
            levels_per_piece=levels,
            cap_levels=0,
        ),
        curves=Curves(
            density_kg_m3=cut.basic_density_kg_m3,
            dry_heat_capacity_j_kg_k=float(dry_heat_capacity(15.0)),
            max_moisture=cut.max_moisture * row.capillary_share.value,
            activity=cut.activity,
            moisture_by_activity=cut.moisture_by_activity,
            bound_diffusivity_m2_s=cut.bound_diffusivity_m2_s,
            spawn_as_wood=cut.spawn_as_wood,
            spawn_activity=cut.spawn_activity,
            spawn_by_activity=cut.spawn_by_activity,
        ),
        parameters=parameters,
        albedo=values["model.ground_albedo"],
        catch=catch,
    )


def forcing_of(
    log: Log, weather: HourlyWeather, site: Site, share: float, *, rain: bool = True
) -> FloatArray:
    """(hours, FORCINGS, CASES) of a lying log that gets a share of sun, sky, wind and rain."""
    stand = below_canopy(weather, tables.canopies()["open"], site)
    hours = stand.air_temp_c.size
    out = np.zeros((hours, at.FORCINGS, at.CASES))
    along = stand.sun_cosine[:, None] * np.cos(
        np.radians(stand.sun_azimuth_deg)[:, None] - AXES[None, :]
    )
    up = stand.canopy_path > 0.0
    beam = np.where(up, stand.beam_normal_w_m2, 0.0)
    on_side = beam * np.sqrt(np.maximum(1.0 - along**2, 0.0)).mean(axis=1) / np.pi
    on_end = beam * np.abs(along).mean(axis=1) / 2.0
    level = stand.diffuse_w_m2 + beam * stand.sun_sine
    scattered = 0.5 * stand.diffuse_w_m2[:, None] + 0.5 * log.albedo[None, :] * level[:, None]
    black = STEFAN_BOLTZMANN_W_M2K4 * (stand.air_temp_c + KELVIN_AT_0_C) ** 4
    longwave = black + share * 0.5 * (stand.longwave_w_m2 - black)
    wind = np.maximum(share * stand.wind_ms, 0.1)
    film = formulas.convection_coefficient(2.0 * log.grid.radius_m, wind, stand.air_temp_c)
    fallen = share * stand.rain_mm[:, None] * log.catch[None, :] * float(rain)
    for column, values in {
        at.F_AIR_TEMP: stand.air_temp_c[:, None],
        at.F_VAPOUR: stand.vapour_density_kg_m3[:, None],
        at.F_CONVECTION: film[:, None],
        at.F_LONGWAVE_SIDE: longwave[:, None],
        at.F_LONGWAVE_TOP: longwave[:, None],
        at.F_RAIN: fallen,
        at.F_SOIL_TEMP: stand.ground_temp_c[:, None],
        at.F_SUN_SIDE: share * (on_side[:, None] + scattered),
        at.F_SUN_TOP: share * (on_end[:, None] + scattered),
    }.items():
        out[:, column] = values
    return out


def mean_moisture(log: Log, a: FloatArray) -> FloatArray:
    """(CASES,) mean over the wood."""
    share = (log.grid.level_m[:, None] * log.grid.ring_area_m2[None, :]).ravel()
    return np.asarray(share @ a[at.MOISTURE, : share.size] / share.sum())


def dry(log: Log, forcing: FloatArray, every_hours: int = 24) -> FloatArray:
    """(1 + steps, CASES) mean moisture at the start and after every ``every_hours``."""
    a = state.make_state(log.grid, log.parameters, float(forcing[0, at.F_AIR_TEMP, 0]))
    modes = np.zeros(at.MODES)
    kept = [mean_moisture(log, a)]
    for hour, row in enumerate(forcing):
        if hour % kernel.REFRESH_HOURS == 0:
            conductances.refresh_conductances(log.grid, log.curves, a)
        kernel.step_hour(log.grid, log.curves, a, row, modes)
        if (hour + 1) % every_hours == 0:
            kept.append(mean_moisture(log, a))
    return np.array(kept)


@cache
def run_case(name: str) -> FloatArray:
    """(1 + days, CASES) mean moisture of a published case [kg/kg]; case 0 the best estimate."""
    case = CASES[name]
    return dry_case(case, make_log(*(case[key] for key in LOG_KEYS)))


LOG_KEYS = ("wood", "diameter_m", "length_m", "start_db")


def dry_case(case: dict[str, Any], log: Log, *, rain: bool = True) -> FloatArray:
    """A case's weather over a log of one's own."""
    first = date.fromisoformat(case["first"])
    early, last = first - timedelta(days=LEAD_DAYS), first + timedelta(days=case["days"] - 1)
    if "file" in PUBLISHED["place"][case["place"]]:
        early = max(early, date(2001, 5, 15))
    weather, site = weather_of(case["place"], early, last)
    forcing = forcing_of(log, weather, site, SHARE[case["exposure"]], rain=rain)
    return dry(log, forcing[(first - early).days * 24 :])


def wet_basis_pct(moisture: FloatArray) -> FloatArray:
    """Percent of wet mass from kg/kg of dry mass."""
    return np.asarray(100.0 * moisture / (1.0 + moisture))


def outcome(quantity: str, moisture: FloatArray) -> FloatArray:
    """(CASES,) what a paper reports, from (1 + days, CASES) moisture."""
    start, end = moisture[0], moisture[-1]
    return {
        "weight_pct": 100.0 * (start - end) / (1.0 + start),
        "points_db": 100.0 * (start - end),
        "points_wb": wet_basis_pct(start) - wet_basis_pct(end),
        "end_wb": wet_basis_pct(end),
    }[quantity]


def predict(name: str) -> FloatArray:
    """(CASES,) prediction of a case: best estimate, then draws."""
    case = CASES[name]
    if case["quantity"] != "ratio":
        return outcome(case["quantity"], run_case(name))
    over = outcome("points_db", run_case(case["over"]))
    return np.asarray(outcome("points_db", run_case(name)) / over)


def comparison() -> pd.DataFrame:
    """Every case: published value and scatter, prediction with its 10 to 90 % band, verdict.

    ``off`` is how far the best estimate lies outside the published scatter.  Verdict: inside,
    band (only the band of the draws reaches the scatter) or miss; also of cases that are not
    tested, which no count may hold.
    """
    found = []
    for name, case in CASES.items():
        if case["use"] == "helper":
            continue
        made = predict(name)
        low, high = np.quantile(made[1:], [0.1, 0.9])
        off = max(made[0] - case["high"], 0.0) + min(made[0] - case["low"], 0.0)
        reached = low <= case["high"] and high >= case["low"]
        found.append(
            {
                "case": name,
                "use": case["use"],
                "quantity": case["quantity"],
                "published": case["value"],
                "low": case["low"],
                "high": case["high"],
                "best": float(made[0]),
                "p10": float(low),
                "p90": float(high),
                "off": float(off),
                "verdict": "inside" if off == 0.0 else "band" if reached else "miss",
            }
        )
    return pd.DataFrame(found).set_index("case")


def before_and_after(found: pd.DataFrame) -> pd.DataFrame:
    """Verdict and ``off`` of each case that set nothing, before the physics changed and today."""
    stated = PUBLISHED["miss_before"]
    rows = {}
    for name, row in found[found["use"] != "calibration"].iterrows():
        old = stated.get(name)
        rows[name] = {
            "before": "inside" if old is None else "band" if old["band"] else "miss",
            "off before": 0.0 if old is None else old["off"],
            "today": row["verdict"] if row["use"] == "blind" else "not tested",
            "off today": row["off"],
        }
    return pd.DataFrame(rows).T


def loss_by_resistance(name: str, *, rain: bool = True) -> FloatArray:
    """(RESISTANCES_S_M,) outcome of a case under barks of given resistance, all else best."""
    case = CASES[name]
    log = make_log(*(case[key] for key in LOG_KEYS), bark_resistance_s_m=RESISTANCES_S_M)
    made = outcome(case["quantity"], dry_case(case, log, rain=rain))
    return made[: RESISTANCES_S_M.size]


def needed_resistance_s_m(name: str, *, rain: bool = True) -> float:
    """Bark resistance under which a case would come out as published; nan where none does."""
    made, wanted = loss_by_resistance(name, rain=rain), CASES[name]["value"]
    sign = 1.0 if made[-1] > made[0] else -1.0
    logarithm = np.interp(
        sign * wanted, sign * made, np.log(RESISTANCES_S_M), left=np.nan, right=np.nan
    )
    return float(np.exp(logarithm))


def timelag_hours() -> FloatArray:
    """(CASES,) hours in which a long bare stick goes 63.2 % of the way to rest in steady air."""
    row = PUBLISHED["timelag"]
    log = make_log(
        "eucalypt without bark", 2.0 * row["radius_m"], 50.0, row["start_pct"], levels=4
    )
    air, share = row["air_temp_c"], row["humidity_pct"] / 100.0
    forcing = np.zeros((6000, at.FORCINGS, at.CASES))
    black = STEFAN_BOLTZMANN_W_M2K4 * (air + KELVIN_AT_0_C) ** 4
    density = 1000.0 * float(saturation_vapour_pressure_kpa(np.array(air)))
    forcing[:, at.F_AIR_TEMP] = forcing[:, at.F_SOIL_TEMP] = air
    forcing[:, at.F_VAPOUR] = share * density / (461.5 * (air + KELVIN_AT_0_C))
    forcing[:, at.F_LONGWAVE_SIDE] = forcing[:, at.F_LONGWAVE_TOP] = black
    forcing[:, at.F_CONVECTION] = 10.0
    moisture = dry(log, forcing)
    rest = float(equilibrium_moisture(air, share))
    left = (moisture - rest) / (moisture[0] - rest)
    days = np.arange(len(left), dtype=np.float64)
    goal = np.exp(-1.0)
    return np.array([24.0 * np.interp(-goal, -case, days) for case in left.T])
