"""Fungi against published growth, water and heat limits, misses included.

The cases, their sources and how much of each was read stand in tests/published/growth.toml.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import growth_evidence as evidence

from climate_risk.tables import fungi

CASES = evidence.published()
FUNGI = ("grey oyster", "phoenix oyster", "golden oyster", "lion's mane", "shiitake")


def label(case: dict[str, Any]) -> str:
    """Short name of a case for the test's id."""
    where = case.get("best_c") or case.get("temps_c") or [case.get("temp_c")]
    return f"{case.get('fungus', case.get('wood'))}-{'-'.join(str(t) for t in where)}"


def of(name: str) -> list[dict[str, Any]]:
    """Every case of temperature for one fungus."""
    return [c for kind in ("best", "ratio") for c in CASES[kind] if c["fungus"] == name]


def says(case: dict[str, Any]) -> bool:
    """Whether the model at its best estimate says what was published."""
    if "tried_c" in case:
        return evidence.best_of(case) in case["best_c"]
    low, high = case["published"]
    return bool(low <= evidence.ratio(case) <= high)


@pytest.mark.parametrize("name", FUNGI)
def test_published_temperatures_of_growth(name: str) -> None:
    """One test a fungus: hits stay hits and known misses stay in sight."""
    cases = of(name)
    assert cases
    assert {label(c): says(c) for c in cases} == {label(c): c["agrees"] for c in cases}


@pytest.mark.parametrize("name", ["grey oyster", "lion's mane", "shiitake"])
def test_most_cases_that_set_nothing_agree(name: str) -> None:
    """None was found for phoenix and golden oyster: their curves stand unchecked."""
    checks = [c["agrees"] for c in of(name) if c["role"] == "check"]
    assert len(checks) >= 3
    assert sum(checks) > 0.5 * len(checks)


def test_every_case_says_what_it_is() -> None:
    cases = [c for kind in CASES.values() if isinstance(kind, list) for c in kind]
    assert {c["role"] for c in cases} == {"fit", "check"}
    assert all(c["source"] for c in cases)


def test_shape_of_the_curve_on_a_near_relative() -> None:
    """King oyster at 15, 20, 25 and 30 degC, over its best.  With its own optimum of 25 and the
    ends of grey oyster the curve is right to 0.03 at 20 and 30; at 15 it gives 0.49 of the best
    against 0.27 measured: a miss, on the side of too fast a spring.
    """
    from climate_risk.fungus.formulas import temperature_response

    data = CASES["king_oyster"]
    measured = np.array(data["mm_day"]) / max(data["mm_day"])
    row = fungi()["grey oyster"]
    ends = row.temp_min_c.value, 25.0, row.temp_max_c.value - 1.0
    found = np.array([temperature_response(float(t), *ends) for t in data["temps_c"]])
    assert found[1:] == pytest.approx(measured[1:], abs=0.04)
    assert 0.15 < found[0] - measured[0] < 0.3


@pytest.mark.parametrize("name", FUNGI)
def test_growth_falls_to_half_where_it_does_in_wood_decay_fungi(name: str) -> None:
    """Fourteen species on agar (Maynard et al. 2019).  Below the best temperature our curves are
    as wide as theirs.  Above it they are wide: half at 5.6 to 7.0 K, measured 2.5 to 6.1, median
    3.7.  A miss for lion's mane and shiitake, whose ends are measured but whose way there is not.
    """
    below, above = evidence.half_width(name)
    cold, warm = evidence.measured_half_widths()
    assert cold.min() < below < cold.max()
    assert above > np.median(warm)
    assert bool(above <= warm.max() + 0.05) is (name not in ("lion's mane", "shiitake"))


def test_water_response_of_wood_decay_fungi() -> None:
    """Twenty-five isolates on agar (Maynard et al. 2019), in sight when the square of the line
    was chosen: no check.  At -2.5 MPa ours grows at 0.18 of its best, their median at 0.17.  At
    -1.0 MPa ours, 0.73, lies just under their middle half, 0.79 to 1.
    """
    psi, growth = evidence.measured_water()
    assert growth.shape == (25, 6)
    middle = np.median(growth, axis=0)
    low, high = np.quantile(growth, [0.25, 0.75], axis=0)
    model = evidence.water_response(fungi()["grey oyster"], psi)
    wet = psi >= -2.5
    assert np.all((model >= low - 0.06)[wet])
    assert np.all((model <= high + 0.01)[wet])
    assert model[psi == -2.5] / middle[psi == -2.5] == pytest.approx(1.0, abs=0.3)


def test_the_stop_drawn_holds_most_of_the_isolates() -> None:
    """Of our curve, full at -0.5 MPa, laid through each isolate: half of them stop between -5.5
    and -3.7, the median at -4.4.  Ours is -4, drawn from -5.5 to -3; a fifth lie beyond, nearly
    all on the dry side, where the model is the more cautious.
    """
    psi, growth = evidence.measured_water()
    row = fungi()["grey oyster"]
    stops = np.array([evidence.stop_that_fits(psi, one, row.psi_full_mpa.value) for one in growth])
    drawn = row.psi_stop_mpa
    assert np.quantile(stops, [0.25, 0.5, 0.75]) == pytest.approx([-5.45, -4.4, -3.7], abs=0.1)
    inside = (stops > drawn.low) & (stops < drawn.high)
    assert inside.mean() == pytest.approx(0.76, abs=0.05)
    assert (stops > drawn.high).sum() <= 1


def test_shiitake_stops_where_it_was_measured_to() -> None:
    """Best at -0.5, none at -5.3 MPa (Ohga 1990, J. Fac. Agric. Kyushu Univ. 34:413-420,
    abstract): in the fit.
    """
    row = fungi()["shiitake"]
    best, none = evidence.water_response(row, np.array([-0.5, -5.3]))
    assert (best, none) == (1.0, 0.0)
    assert row.psi_stop_mpa.low >= -5.3


@pytest.mark.parametrize("case", CASES["heat"], ids=label)
def test_published_heat(case: dict[str, Any]) -> None:
    low, high = case["left"]
    assert (low <= evidence.left_by_heat(case) <= high) is case["agrees"]


@pytest.mark.parametrize(
    "case", CASES["stump"], ids=lambda case: f"{case['wood']}-{case['months']}"
)
def test_published_depth_in_stumps(case: dict[str, Any]) -> None:
    """In the fit, so a test of consistency: no depth was found that is not.  At the best estimate
    beech falls a tenth short and birch runs a quarter too far; the ranges hold both.
    """
    slow, best, fast = evidence.stump_depth_mm(case)
    low, high = case["depth_mm"]
    assert case["role"] == "fit"
    assert (low <= best <= high) is case["agrees"]
    assert slow <= high
    assert fast >= low


def test_oyster_in_wood_is_slower_than_in_a_bag_of_hulls() -> None:
    """5.6 mm a day at 22 degC in bags (Hu et al. 2023, Horticulturae 9:95, abstract): solid wood
    cannot be faster.
    """
    row = fungi()["grey oyster"]
    assert row.front_rate_mm_day.high * evidence.growth("grey oyster", 22.0) < 5.6


def test_faces_a_foot_apart_run_in_about_a_year() -> None:
    """What the rate was set to (common practice, no source; one dated stack of poplar): 150 mm
    from each face of aspen within 12 months of April in a climate like central Poland's.
    """
    case = {"wood": "aspen", "months": 12}
    _, best, _ = evidence.stump_depth_mm(case)
    assert 150.0 < best < 1.5 * 150.0
