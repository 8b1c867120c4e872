"""Work and water of a yard file: what is written, what is taken for granted, what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from climate_risk.errors import InputError
from climate_risk.interventions import CoverSpan
from climate_risk.risk.cost import covers_cost
from climate_risk.tables import model
from climate_risk.yard import Yard, read_yard

YARD = (Path(__file__).parent / "data" / "full_yard.toml").read_text(encoding="utf-8")
PLAIN = YARD[: YARD.index("[costs]")]


def read(folder: Path, tail: str) -> Yard:
    path = folder / "yard.toml"
    path.write_text(PLAIN + tail, encoding="utf-8")
    return read_yard(path)


def test_minutes_are_the_grower_s_or_the_table_s_and_it_is_known_which(tmp_path: Path) -> None:
    """A round with water is shared by all stacks of the yard, 16 and one more here."""
    costs = "[costs]\nlabour_per_hour = 30\n[costs.minutes]\nwatering_visit = 34\ncloth_on = 5\n"
    yard = read(tmp_path, f"{costs}[water]\nmax_litres_per_week = 40\n")
    stacks = sum(stack.count for stack in yard.stacks)
    found = yard.costs.minutes
    assert found.watering_visit == pytest.approx(34 / stacks)
    assert (found.cloth_on, found.cloth_off) == (5.0, model().minutes_per_cover.value)
    assert set(found.given) == {"watering_visit", "cloth_on"}
    assert yard.max_litres_per_week == 40.0
    cloth = CoverSpan(kind="shade cloth", percent=60.0)
    material = model().cloth_area_per_stack_m2.value * yard.costs.shade_cloth_per_m2
    assert covers_cost((cloth,), yard.costs) == pytest.approx(material + 5 / 60 * 30)


def test_without_the_tables_nothing_is_bounded_and_nothing_given(tmp_path: Path) -> None:
    yard = read(tmp_path, "")
    assert yard.max_litres_per_week is None
    assert yard.costs.minutes.given == ()
    assert yard.costs.minutes.watering_visit == model().minutes_per_watering.value


@pytest.mark.parametrize(
    ("tail", "said"),
    [
        ("[costs.minutes]\nbag = 2\n", "[costs.minutes]: bag = 2: unknown key; nearest: bag_on"),
        ("[costs.minutes]\nmove = -1\n", "[costs.minutes]: move = -1: must be 0 to 600"),
        ("[water]\nmax_litres = 4\n", "nearest: max_litres_per_week"),
    ],
)
def test_mistakes_are_named(tmp_path: Path, tail: str, said: str) -> None:
    with pytest.raises(InputError, match=r"yard\.toml") as mistake:
        read(tmp_path, tail)
    assert said in mistake.value.lines[0]
