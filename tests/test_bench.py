"""The benchmark at tiny sizes: what it counts is what runs, and what it writes is whole."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import log_samples as samples
import numpy as np
import pytest

from climate_risk.bench import __main__ as bench
from climate_risk.bench import flops, growth, index, machine, starts, stiff, throughput, words
from climate_risk.bench.season import Season, demo_season
from climate_risk.log import formulas, kernel, tridiagonal
from climate_risk.log import layout as at

SOLVED = {
    "engine_apart": dict.fromkeys(
        ("stack_moisture_rms_points", "cell_moisture_rms_points", "cell_temp_rms_k"), 0.1
    ),
    "solver_apart": dict.fromkeys(("cell_moisture_rms_points", "cell_temp_rms_k"), 0.01),
    "solver_over_block": 100.0,
    "solver_over_scenario": 3200.0,
}


@pytest.fixture(scope="module")
def season() -> Season:
    return demo_season()


def test_a_law_counts_what_stands_in_it() -> None:
    """``min(max((u - a) b, 0), 1)``, and ``p / (R T) c / (k h)``."""
    tally = flops.Tally()
    number = flops.counting_number(tally)
    found = flops.uncompiled(formulas.free_share)(number(0.3))
    assert float(found) == pytest.approx(0.5)
    assert tally == {"add": 1, "multiply": 1, "compare": 2}
    tally.clear()
    found = flops.uncompiled(formulas.boundary_layer_resistance)(number(10.0), number(300.0))
    assert float(found) == pytest.approx(formulas.boundary_layer_resistance(10.0, 300.0))
    assert tally == {"multiply": 3, "divide": 2}


def test_a_step_of_heat_counts_as_the_algorithm_does() -> None:
    """Lines whose equations are eliminated beforehand, symmetric, of n cells (Cholesky without
    roots, as in Golub and Van Loan 2013, Matrix Computations, sec. 4.3.6, from memory).

    Heat held, 2 n products; forward ``z_j = held_j + next_(j-1) z_(j-1)``, back
    ``x_j = pivot_j z_j + next_j x_(j+1)``, 3 n - 2 products and 2 (n - 1) sums; across the rings
    the heat capacity is a product and a sum on the way and on the way back, but at the turn, and
    ``next`` a product of its pivot.  What drives at an outer cell is one sum, under the bark by
    one product; its mean, one product and one sum.
    """
    levels, rings, tally = 4, 3, flops.Tally()
    a = flops.counted(np.ones((at.TERMS, levels * rings, 1)), flops.counting_number(tally), tally)
    step = flops.uncompiled(tridiagonal.conduct_heat)
    step(a, np.ones(rings), np.ones(levels), 1.0, 1.0, 1.0, 1.0)
    outer, capacities, nexts = levels + 2 * rings, levels * (2 * rings - 1), levels * (rings - 1)
    lines = levels * (5 * rings - 2) + rings * (5 * levels - 2)
    assert tally["multiply"] == lines + capacities + nexts + levels + outer
    sums = 2 * (levels * (rings - 1) + rings * (levels - 1))
    assert tally["add"] == sums + capacities + 2 * outer
    assert tally.flops == tally["multiply"] + tally["add"]


def test_what_is_counted_is_what_runs() -> None:
    """The kernel's hour by counting numbers ends where the compiled one does."""
    stack = samples.Stack(samples.season_grid(2), samples.make_curves(), samples.make_parameters())
    forcing = samples.make_forcing(1, air_temp=[25.0], sun_side=150.0, beam_side=300.0, rain=0.4)
    a, modes = samples.start(stack), samples.girth_modes(180.0)
    tally = flops.Tally()
    number = flops.counting_number(tally)
    alone = flops.counted(a[..., :1], number, tally)
    hour = flops.counted(forcing[0][..., :1], number, tally)
    samples.run(stack, a, forcing, modes)
    flops.uncompiled(samples.conductances.refresh_conductances)(stack.grid, stack.curves, alone)
    flops.uncompiled(kernel.step_hour)(stack.grid, stack.curves, alone, hour, modes)
    for term in (at.MOISTURE, at.TEMP, at.SURFACE_WATER, at.MODE_TEMP):
        seen = alone.view(np.ndarray)[term, :, 0].astype(np.float64)
        np.testing.assert_allclose(seen, a[term, :, 0], rtol=1e-9, atol=1e-12)
    cells = stack.grid.level_m.size * stack.grid.ring_area_m2.size
    assert 100.0 < tally.flops / cells < 500.0


def test_what_has_no_python_is_not_passed_over() -> None:
    with pytest.raises(TypeError, match="no Python to count in"):
        flops.uncompiled(np.add)


def test_twice_the_time_for_twice_as_many_is_linear() -> None:
    assert growth.over_linear([1, 2, 4], [3.0, 5.0, 12.0]) == 1.0
    assert growth.over_linear([1, 4], [3.0, 6.0]) == 0.5


def test_what_starts_with_a_cost_and_grows_by_the_same_lies_on_a_line() -> None:
    """Of three points, the middle one off by d: least squares leave 2 d / 3 there for 1, 2, 3."""
    assert growth.off_line_pct([1, 2, 4], [3.0, 4.0, 6.0]) == pytest.approx(0.0, abs=1e-9)
    assert growth.off_line_pct([1, 2, 3], [1.0, 2.3, 3.0]) == pytest.approx(100 * 0.2 / 3.0)


def test_states_apart_are_told_in_points_and_kelvin(season: Season) -> None:
    """A tenth of moisture is ten points; a whole stack off by as much is off in its mean too."""
    span = stiff.Span(
        kind=season.kind, a=np.empty(0), hours=np.empty(0), modes=np.empty(0)
    )  # fmt: skip
    true = np.zeros((2, 2 * season.cells))
    states = true.copy()
    states[:, : season.cells], states[1, season.cells] = 0.1, 2.0
    found = stiff.apart(span, states, true)
    assert found["stack_moisture_rms_points"] == pytest.approx(10.0)
    assert found["cell_moisture_max_points"] == pytest.approx(10.0)
    assert found["cell_temp_max_k"] == 2.0
    assert found["cell_temp_rms_k"] == pytest.approx(2.0 / np.sqrt(2 * season.cells))


@pytest.fixture(scope="module")
def numbers(season: Season) -> dict[str, Any]:
    """Every part, as small as it goes; those that take long are made up."""
    return bench.related(
        {
            "machine": {
                **machine.measure(),
                "peak_gflop_s": 2e-9 * machine.multiply_adds_per_s(1000),
                "triad_gb_s": machine.triad_gb_s(1000),
            },
            "throughput": throughput.measure(season, {1: 1, 40: 1}, days=1),
            "flops": flops.measure(season, (40,)),
            "solver": SOLVED,
            "index": index.measure(season, sites=2, days=20),
            "reading": dict.fromkeys(
                ("yard_s", "stand_table_s", "hours_from_file_s", "hours_from_cache_s"), 1.0
            ),
            "growth": {
                "years": growth.by_years(season, (1, 2, 3)),
                "options": growth.rows([1, 2, 4], [1.0, 1.5, 2.0]),
                "cells": growth.rows([1, 2, 4], [1.0, 2.1, 4.0]),
            },
            "start": starts.measure(["--version"]),
        }
    )


def test_every_number_is_measured_positive_and_told_with_its_unit(
    numbers: dict[str, Any],
) -> None:
    told = list(words.told(numbers))
    assert [line for line, _ in told] == list(words.LINES)
    for line, value in told:
        found = words.value_of(numbers, line.key)
        assert found is not None
        assert found > 0.0, line.key
        assert value.endswith(line.unit)
        assert line.meaning
    assert len({line.key for line in words.LINES}) == len(words.LINES)


def test_ratios_are_of_what_stands_beside_them(numbers: dict[str, Any]) -> None:
    part, speed = numbers["flops"], numbers["throughput"]
    kinds = ("additions", "multiplications", "divisions")
    assert part["flop_a_cell_hour"] == pytest.approx(
        sum(part[f"{kind}_a_cell_hour"] for kind in kinds)
    )
    gflop_s = part["flop_a_cell_hour"] / speed["cell_hour_ns"]
    peak = numbers["machine"]["peak_gflop_s"]
    assert part["share_of_peak_pct"] == pytest.approx(100.0 * gflop_s / peak)
    day = numbers["index"]["scenario_day_ns"]
    assert day == pytest.approx(24.0 * season_hour_ns(speed))
    assert speed["scenarios"][0]["scenarios"] == 1


def season_hour_ns(speed: dict[str, Any]) -> float:
    """A run's hour from its cells'."""
    return float(speed["cell_hour_ns"] * speed["cells"])


def test_what_is_written_is_whole(
    numbers: dict[str, Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    for name in bench.PARTS:
        monkeypatch.setitem(bench.PARTS, name, lambda name=name: numbers[name])
    bench.main(["--out", str(tmp_path / "new")])
    kept = json.loads((tmp_path / "new" / "bench.json").read_text(encoding="utf-8"))
    assert kept == numbers
    page = (tmp_path / "new" / "bench.md").read_text(encoding="utf-8")
    shown = capsys.readouterr().out
    for line, value in words.told(numbers):
        assert f"| {line.words} | {value} |" in page
        assert line.words in shown
    assert (tmp_path / "new" / "bench.png").read_bytes().startswith(b"\x89PNG")


def test_a_part_alone_brings_only_what_it_rests_on(
    numbers: dict[str, Any], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in bench.PARTS:
        monkeypatch.setitem(bench.PARTS, name, lambda name=name: numbers[name])
    bench.main(["--only", "solver"])
    shown = capsys.readouterr().out
    assert "scipy's stiff solver" in shown
    assert "moisture index" not in shown


def test_without_the_library_one_line_says_what_to_install(
    season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "xclim", None)
    found = index.measure(season, sites=1, days=2)
    assert found == {"install": index.INSTALL}
    assert list(words.missing({"index": found})) == [index.INSTALL]
    assert list(words.told({"index": found})) == []
