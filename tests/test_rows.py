"""A row of all cases as one value: every operation is NumPy's on the same numbers."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from climate_risk.compiled import compiled
from climate_risk.log import layout as at
from climate_risk.log.rows import alike, choose, interpolate, least, load, load_row, store

FloatArray = npt.NDArray[np.float64]
TERMS, ROWS = 3, 14


@compiled
def every_operation(a: FloatArray, hour: FloatArray, size: float) -> float:
    """Rows of term 2 from rows 0 and 1 of term 0, by every operation."""
    one, other, outside = load(a, 0, 0), load(a, 0, 1), load_row(hour, 1)
    store(a, 2, 0, one + other)
    store(a, 2, 1, one - other)
    store(a, 2, 2, one * other)
    store(a, 2, 3, one / other)
    store(a, 2, 4, min(one, other))
    store(a, 2, 5, max(one, other))
    store(a, 2, 6, 1.0 - one * size)
    store(a, 2, 7, size / (one + size))
    store(a, 2, 8, min(max(one, -size), size))
    store(a, 2, 9, choose(one, other, alike(size)))
    store(a, 2, 10, outside)
    store(a, 2, 12, abs(one) - choose(-other, 0.0, one))
    one += other
    one *= outside
    one -= other
    store(a, 2, 11, one)
    return least(other)


def drawn(*shape: int) -> FloatArray:
    numbers = np.random.default_rng(1).normal(size=shape)
    numbers[..., 3] = 0.0
    return numbers


def test_rows_are_reckoned_with_as_numpy_does() -> None:
    a, hour, size = drawn(TERMS, ROWS, at.CASES), drawn(2, at.CASES), 0.7
    one, other, before = a[0, 0].copy(), a[0, 1].copy(), a.copy()
    found = every_operation(a, hour, size)
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = [
            one + other, one - other, one * other, one / other, np.minimum(one, other),
            np.maximum(one, other), 1.0 - one * size, size / (one + size),
            np.clip(one, -size, size), np.where(one > 0.0, other, size), hour[1],
            (one + other) * hour[1] - other, np.abs(one) - np.where(other < 0.0, 0.0, one),
        ]  # fmt: skip
    np.testing.assert_allclose(a[2, : len(expected)], expected, rtol=1e-14, atol=1e-15)
    assert found == other.min()
    np.testing.assert_array_equal(a[:2], before[:2])
    np.testing.assert_array_equal(a[2, len(expected) :], before[2, len(expected) :])


@pytest.mark.parametrize("case", [0, at.CASES // 2, at.CASES - 1])
def test_the_least_number_is_found_wherever_it_stands(case: int) -> None:
    a, hour = drawn(TERMS, ROWS, at.CASES), drawn(2, at.CASES)
    a[0, 1, case] = -9.0
    assert every_operation(a, hour, 0.7) == -9.0


@compiled
def look_up(a: FloatArray, table: FloatArray) -> None:
    """Row 1 from a table at the places of row 0."""
    store(a, 0, 1, interpolate(table, load(a, 0, 0)))


def test_a_table_is_read_as_numpy_reads_it() -> None:
    """``numpy.interp`` between its ends; beyond them straight on as its last two numbers go."""
    table = np.array([1.0, -2.0, 0.5, 7.0, 7.5])
    a = np.zeros((1, 2, at.CASES))
    a[0, 0] = np.linspace(-1.5, 5.5, at.CASES)
    a[0, 0, :5] = [0.0, 1.0, 3.0, 4.0, 2.0 - 1e-12]
    place = a[0, 0]
    inside = np.interp(place, np.arange(table.size), table)
    expected = np.where(
        place < 0.0, 1.0 - 3.0 * place, np.where(place > 4.0, 5.5 + 0.5 * place, inside)
    )
    look_up(a, table)
    np.testing.assert_allclose(a[0, 1], expected, rtol=1e-12, atol=1e-12)
