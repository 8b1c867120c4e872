"""The parameter tables: sound rows, known sources, and published values inside the ranges."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, replace
from itertools import product
from typing import Any

import pytest

from climate_risk import tables
from climate_risk.errors import InputError
from climate_risk.parameter import Parameter, Row, read_rows, read_table, sources

CELL_WALL_GRAVITY = 1.54  # Glass and Zelinka 2010, FPL-GTR-190, eq. 4-3 (from memory)


def all_rows() -> Iterator[Row]:
    for table in (
        tables.fungi(),
        tables.woods(),
        tables.canopies(),
        tables.bags(),
        tables.cloths(),
        tables.barriers(),
    ):
        yield from table.values()
    yield tables.model()
    yield tables.batch()


def parameters_of(row: Row) -> Iterator[tuple[str, Parameter]]:
    for field in fields(row):
        value = getattr(row, field.name)
        if isinstance(value, Parameter):
            yield f"{row.name}.{field.name}", value
        elif isinstance(value, dict):
            yield from ((f"{row.name}.{field.name}.{key}", entry) for key, entry in value.items())


PARAMETERS = [named for row in all_rows() for named in parameters_of(row)]


def test_the_rows_that_growers_ask_for_are_there() -> None:
    assert set(tables.fungi()) == {
        "golden oyster",
        "grey oyster",
        "lion's mane",
        "phoenix oyster",
        "shiitake",
    }
    assert {"aspen", "beech", "red maple", "red oak", "sugar maple"} <= set(tables.woods())
    assert set(tables.canopies()) == {"open", "deciduous", "conifer", "pine", "mixed"}
    assert set(tables.bags()) == {"paper", "plastic"}
    assert set(tables.barriers()) == {"none", "paper", "cardboard"}


def test_no_number_is_graded_above_its_source() -> None:
    for where, parameter in PARAMETERS:
        assert parameter.unit, where
        read = sources()[parameter.source].read
        if parameter.confidence in "AB":
            assert read not in ("practice", "judgement") or "nothing overhead" in parameter.note, (
                where
            )


def test_every_source_is_cited() -> None:
    cited = {parameter.source for _, parameter in PARAMETERS}
    assert cited == set(sources())


def test_the_growth_curve_has_no_pole_wherever_its_ends_are_drawn() -> None:
    # Rosso et al. 1993: valid if the optimum lies above the mean of the limits.
    for fungus in tables.fungi().values():
        low, opt, high = fungus.temp_min_c, fungus.temp_opt_c, fungus.temp_max_c
        for t_min, t_opt, t_max in product(
            (low.low, low.value, low.high),
            (opt.low, opt.value, opt.high),
            (high.low, high.value, high.high),
        ):
            assert (t_min + t_max) / 2 < t_opt < t_max


def test_a_fungus_with_an_impossible_optimum_is_refused() -> None:
    oyster = tables.fungi()["grey oyster"]
    cold = replace(oyster.temp_opt_c, value=18.0, low=17.0, high=20.0)
    with pytest.raises(ValueError, match="the optimum must lie between"):
        replace(oyster, temp_opt_c=cold)


def test_published_limits_of_growth_lie_in_the_ranges() -> None:
    lions_mane, shiitake = tables.fungi()["lion's mane"], tables.fungi()["shiitake"]
    # Grigansky et al. 1999: best at 26, none at 3 nor at 37; Imtiaj et al. 2008: best at 25.
    assert lions_mane.temp_min_c.low >= 3.0
    assert lions_mane.temp_max_c.high <= 37.0
    assert lions_mane.temp_opt_c.low <= 25.0
    assert lions_mane.temp_opt_c.high >= 26.0
    # Yan et al. 2000: no strain of shiitake grew at 35.
    assert shiitake.temp_max_c.high <= 35.0
    # Zervakis et al. 2001: oyster best at 30 on agar.
    assert tables.fungi()["grey oyster"].temp_opt_c.high >= 30.0
    # Ohga 1990: shiitake best at -0.5 MPa, none at -5.3; Griffith and Boddy 1991: -4 for most.
    assert shiitake.psi_full_mpa.value == -0.5
    assert shiitake.psi_stop_mpa.low >= -5.3
    assert all(fungus.psi_stop_mpa.value == -4.0 for fungus in tables.fungi().values())


def test_only_golden_oyster_carries_a_caution() -> None:
    cautioned = {name for name, fungus in tables.fungi().items() if fungus.caution}
    assert cautioned == {"golden oyster"}
    caution = tables.fungi()["golden oyster"].caution
    assert "not native to North America" in caution
    assert "ask the local authority" in caution


@pytest.mark.parametrize(
    ("wood", "gravity", "published_moistures_pct"),
    [
        # Miles and Smith 2009, NRS-38: basic specific gravity; its whole-log green moisture;
        # then heartwood and sapwood of Wood Handbook Table 4-1 where that row was read.
        ("sugar maple", 0.56, [57]),
        ("red maple", 0.49, [64]),
        ("yellow-poplar", 0.40, [95]),
        ("aspen", 0.35, [129, 91, 95, 113]),
        ("beech", 0.56, [55, 55, 72]),
        ("red oak", 0.56, [83]),
        ("white oak", 0.60, [68]),
        ("paper birch", 0.48, [74, 89, 72]),
        ("sweetgum", 0.46, [74]),
        ("cottonwood", 0.37, [117]),
        ("basswood", 0.32, [105, 81, 133]),
        ("elm", 0.46, [94]),
    ],
)
def test_published_wood_lies_in_the_ranges(
    wood: str, gravity: float, published_moistures_pct: list[float]
) -> None:
    row = tables.woods()[wood]
    assert row.basic_density_kg_m3.value == pytest.approx(1000 * gravity, abs=10)
    for moisture_pct in published_moistures_pct:
        assert row.green_moisture_pct.low <= moisture_pct <= row.green_moisture_pct.high


@pytest.mark.parametrize("wood", list(tables.woods()))
def test_green_wood_holds_less_water_than_its_pores(wood: str) -> None:
    row = tables.woods()[wood]
    densest = row.basic_density_kg_m3.high / 1000
    full_pct = 100 * (CELL_WALL_GRAVITY - densest) / (CELL_WALL_GRAVITY * densest)
    assert row.green_moisture_pct.high < full_pct


@pytest.mark.parametrize("wood", list(tables.woods()))
@pytest.mark.parametrize(
    ("psi_mpa", "sorbed", "low", "high"),
    [
        # Sorbed water by Hailwood-Horrobin at 20 degC; the bounds are this program's own aim.
        (-0.1, 0.287, 0.65, 1.00),
        (-0.7, 0.282, 0.44, 0.46),
        (-5.0, 0.251, 0.27, 0.31),
    ],
)
def test_the_retention_curve_goes_where_its_note_says(
    wood: str, psi_mpa: float, sorbed: float, low: float, high: float
) -> None:
    row = tables.woods()[wood]
    gravity = row.basic_density_kg_m3.value / 1000
    pores = (CELL_WALL_GRAVITY - gravity) / (CELL_WALL_GRAVITY * gravity) - 0.288
    alpha, n = row.retention_alpha_per_mpa.value, row.retention_n.value
    held = sorbed + pores * (1 + (alpha * -psi_mpa) ** n) ** -(1 - 1 / n)
    assert low <= held <= high


def test_canopies_agree_with_measured_light() -> None:
    conifer, deciduous = tables.canopies()["conifer"], tables.canopies()["deciduous"]
    pine, mixed = tables.canopies()["pine"], tables.canopies()["mixed"]
    # Constabel and Lieffers: 5.9 % below aspen in summer, 22 to 59 % before leaf-out.
    assert deciduous.diffuse_transmittance_on.low <= 0.059
    assert deciduous.diffuse_transmittance_on.high >= 0.059
    assert 0.22 <= deciduous.diffuse_transmittance_off.value <= 0.59
    # Gay et al. 1971: 17 % below a pine plantation on clear days.
    assert pine.diffuse_transmittance_on.low <= 0.17 <= pine.diffuse_transmittance_on.high
    order = (conifer, mixed, deciduous, pine)
    light = [canopy.diffuse_transmittance_on.value for canopy in order]
    assert light == sorted(light)


@pytest.mark.parametrize("name", ["open", "conifer", "pine"])
def test_evergreens_and_the_open_do_not_change_with_the_season(name: str) -> None:
    canopy = tables.canopies()[name]
    for field in fields(canopy):
        if field.name.endswith("_on"):
            off = getattr(canopy, field.name.removesuffix("_on") + "_off")
            assert getattr(canopy, field.name) == off


def test_the_open_changes_nothing() -> None:
    canopy = tables.canopies()["open"]
    assert canopy.diffuse_transmittance_on.value == 1.0
    assert canopy.closure_on.value == 0.0
    assert canopy.rain_store_mm_on.value == 0.0


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("Tulip Poplar", "yellow-poplar"),
        ("oak", "red oak"),
        ("birch", "paper birch"),
        ("SUGAR  maple", "sugar maple"),
    ],
)
def test_woods_are_found_by_what_people_call_them(written: str, meant: str) -> None:
    assert tables.find(written, tables.woods(), "wood").name == meant


@pytest.mark.parametrize("written", ["lion's mane", "Lions Mane", "lion\u2019s mane"])
def test_an_apostrophe_does_not_matter(written: str) -> None:
    assert tables.find(written, tables.fungi(), "fungus").name == "lion's mane"


def test_an_unknown_name_tells_the_nearest() -> None:
    with pytest.raises(InputError, match=r'^no canopy "hemlok"; nearest: "conifer"; known: open,'):
        tables.find("hemlok", tables.canopies(), "canopy")
    with pytest.raises(InputError, match=r'^no canopy "\\n"; known: open, deciduous'):
        tables.find("\n", tables.canopies(), "canopy")


def good() -> dict[str, Any]:
    return read_table("covers")["barrier"]["paper"] | {"aliases": []}


@pytest.mark.parametrize(
    ("key", "change", "message"),
    [
        ("value", 1e9, "1000000000.0 is not within 400.0 to 2000.0"),
        ("low", float("nan"), "value, low and high must be finite numbers"),
        ("confidence", "E", "confidence 'E' is none of A, B, C, D"),
        ("source", "nowhere", "source 'nowhere' is not in sources.toml"),
        ("scale", "square", "scale 'square' is neither linear nor log"),
        ("low", 0.0, "a log scale needs a low above 0"),
        ("colour", "red", "unexpected keyword argument 'colour'"),
    ],
)
def test_a_bad_number_is_refused(key: str, change: Any, message: str) -> None:
    row = good()
    row["vapour_resistance_s_m"] = row["vapour_resistance_s_m"] | {key: change}
    with pytest.raises(ValueError, match=re.escape(message)):
        read_rows(tables.Barrier, {"felt": row})


def test_a_row_with_an_unknown_a_missing_or_a_doubled_key_is_refused() -> None:
    with pytest.raises(ValueError, match="Barrier felt: unknown key colour"):
        read_rows(tables.Barrier, {"felt": good() | {"colour": "red"}})
    without = good()
    del without["heat_w_m2k"]
    with pytest.raises(ValueError, match="Barrier felt: heat_w_m2k is missing"):
        read_rows(tables.Barrier, {"felt": without})
    with pytest.raises(ValueError, match="a name or alias stands twice"):
        read_rows(tables.Barrier, {"felt": good(), "wool": good() | {"aliases": ["Felt"]}})


def test_what_rows_share_can_be_overridden() -> None:
    thick = {"heat_w_m2k": good()["heat_w_m2k"] | {"value": 30.0}}
    rows = read_rows(tables.Barrier, {"all": good(), "felt": {}, "wool": thick})
    assert rows["felt"].heat_w_m2k.value == 60.0
    assert rows["wool"].heat_w_m2k.value == 30.0
