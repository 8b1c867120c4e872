"""How many floating-point operations an hour of a run takes, counted by the code itself.

The kernels' own Python functions are run, uncompiled, on one case whose numbers count what is
done with them.  What is the same for every case of a block (a level's height over a depth) is
done once for all and not counted.  A choice counts the side that was taken; compiled for many
cases side by side it may compute both.
"""

from __future__ import annotations

import math
import operator
from collections import Counter
from collections.abc import Callable
from types import FunctionType, SimpleNamespace
from typing import Any
from unittest import mock

import numpy as np
import numpy.typing as npt

from climate_risk.bench.season import Season
from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine import blocks
from climate_risk.engine.blocks import advance, new_blocks
from climate_risk.engine.draws import best_estimate
from climate_risk.engine.hours import run_block
from climate_risk.log import layout, rows
from climate_risk.risk.ensemble import jobs_for, start_rows

FLOPS = ("add", "multiply", "divide")
"""What counts as an operation; comparisons, and powers and logarithms, are told apart."""


class Tally(Counter[str]):
    """Operations by kind."""

    @property
    def flops(self) -> int:
        """Additions, multiplications and divisions."""
        return sum(self[kind] for kind in FLOPS)


def divided(x: float, y: float) -> float:
    """As compiled kernels divide: by zero gives infinity, or no number."""
    if y != 0.0:
        return x / y
    return math.copysign(math.inf, x) if x else math.nan


def _forward(kind: str, apply: Callable[[float, float], float]) -> Any:
    def operation(one: Any, other: Any) -> Any:
        one.tally[kind] += 1
        return type(one)(apply(one.value, float(other)))

    return operation


def _backward(kind: str, apply: Callable[[float, float], float]) -> Any:
    return _forward(kind, lambda one, other: apply(other, one))


def _compared(apply: Callable[[float, float], bool]) -> Any:
    def operation(one: Any, other: Any) -> bool:
        one.tally["compare"] += 1
        return apply(one.value, float(other))

    return operation


class Number:
    """A number that counts what is done with it."""

    __slots__ = ("value",)
    __hash__ = None  # type: ignore[assignment]
    tally = Tally()

    def __init__(self, value: float) -> None:
        self.value = float(value)

    __add__ = _forward("add", operator.add)
    __radd__ = _backward("add", operator.add)
    __sub__ = _forward("add", operator.sub)
    __rsub__ = _backward("add", operator.sub)
    __mul__ = _forward("multiply", operator.mul)
    __rmul__ = _backward("multiply", operator.mul)
    __truediv__ = _forward("divide", divided)
    __rtruediv__ = _backward("divide", divided)
    __rpow__ = _backward("function", operator.pow)
    __lt__ = _compared(operator.lt)
    __gt__ = _compared(operator.gt)
    __le__ = _compared(operator.le)
    __ge__ = _compared(operator.ge)
    __eq__ = _compared(operator.eq)
    __ne__ = _compared(operator.ne)

    def __pow__(self, power: Any) -> Any:
        whole = isinstance(power, int)
        self.tally["multiply" if whole else "function"] += power - 1 if whole else 1
        return type(self)(self.value ** float(power))

    def __float__(self) -> float:
        return self.value

    def __int__(self) -> int:
        return int(self.value)

    def __neg__(self) -> Any:
        return type(self)(-self.value)

    def __abs__(self) -> Any:
        return type(self)(abs(self.value))

    def exp(self) -> Any:
        """For ``np.exp``."""
        self.tally["function"] += 1
        return type(self)(math.exp(self.value))

    def log2(self) -> Any:
        """For ``np.log2``."""
        self.tally["function"] += 1
        return type(self)(math.log2(self.value))


def counting_number(tally: Tally) -> type[Number]:
    """Numbers that count in ``tally``."""
    return type("Counting", (Number,), {"tally": tally, "__slots__": ()})


def _store(a: Any, term: int, row: int, value: Any) -> None:
    a[term, row, 0] = value


def _store_row(table: Any, row: int, value: Any) -> None:
    table[row, 0] = value


def _interpolate(table: Any, place: Any) -> Any:
    j = min(max(int(place), 0), table.size - 2)
    w = place - j
    return table[j] * (1.0 - w) + table[j + 1] * w


ROWS: dict[str, Callable[..., Any]] = {
    "load": lambda a, term, row: a[term, row, 0],
    "load_row": lambda table, row: table[row, 0],
    "store": _store,
    "store_row": _store_row,
    "alike": lambda value: value,
    "least": lambda value: value,
    "greatest": lambda value: value,
    "interpolate": _interpolate,
}
"""What :mod:`climate_risk.log.rows` does, for one case."""


def uncompiled(kernel: Any, done: dict[Any, Any] | None = None) -> Any:
    """A kernel as plain Python for one case, with all that it calls.

    Raises
    ------
    TypeError
        It calls something that has no Python of its own.
    """
    if done is None:
        done = {}
    function = getattr(kernel, "py_func", kernel)
    if not isinstance(function, FunctionType):
        raise TypeError(f"{kernel} has no Python to count in")
    if function in done:
        return done[function]
    names: dict[str, Any] = dict(function.__globals__)
    copy = FunctionType(function.__code__, names, function.__name__, function.__defaults__)
    done[function] = copy
    for name in function.__code__.co_names:
        value = names.get(name)
        if value is layout:
            names[name] = SimpleNamespace(**{**vars(layout), "CASES": 1})
        elif name == "CASES":
            names[name] = 1
        elif name == "fetch_ahead":
            names[name] = lambda *_: None
        elif name in ROWS and value is getattr(rows, name):
            names[name] = ROWS[name]
        elif hasattr(value, "py_func") or (
            isinstance(value, FunctionType) and value.__module__.startswith("climate_risk.")
        ):
            names[name] = uncompiled(value, done)
    return copy


class Seen(np.ndarray[Any, np.dtype[Any]]):
    """An array that counts the numbers read from it and written to it.

    Rows lie end to end, so that an index past the last case is one of a later row.
    """

    tally = Tally()
    number: type[Any] = float

    def __array_finalize__(self, source: Any) -> None:
        if isinstance(source, Seen):
            self.tally, self.number = source.tally, source.number

    def _at(self, key: Any) -> Any:
        if isinstance(key, tuple) and len(key) == 3:
            rows, case = divmod(key[2], self.shape[2])
            return key[0], key[1] + rows, case
        return key

    def __getitem__(self, key: Any) -> Any:
        found = super().__getitem__(self._at(key))
        self.tally["read"] += not isinstance(found, Seen)
        return found

    def __setitem__(self, key: Any, value: Any) -> None:
        self.tally["written"] += 1
        kept = value if isinstance(value, self.number) else self.number(value)
        super().__setitem__(self._at(key), kept)


def counted(values: npt.NDArray[np.float64], number: type[Any], tally: Tally) -> Seen:
    """An array whose numbers count, and which counts how often it is looked at."""
    objects = np.frompyfunc(number, 1, 1)(values)
    seen = np.asarray(objects, dtype=object).view(Seen)
    seen.tally, seen.number = tally, number
    return seen


def count_hours(season: Season, days: tuple[int, ...]) -> tuple[Tally, int]:
    """What all hours of some days of the last whole year's run take, and how many hours that is.

    Parameters
    ----------
    days : tuple of int
        Of the run, from 0; in order.
    """
    tally = Tally()
    number, plain = counting_number(tally), uncompiled(run_block)
    kind, scheme = season.kind, season.scheme
    block = new_blocks(kind, scheme, best_estimate(season.unknowns))[0]
    start = start_rows(kind, season.years[-1:], layout.CASES, kind.start_day, 0)[0]

    def one_case(*given: Any) -> None:
        taken = []
        for argument in given:
            if isinstance(argument, np.ndarray) and argument.dtype == np.float64:
                cases = argument.ndim > 1 and argument.shape[-1] == layout.CASES
                one = argument[..., :1].copy() if cases else argument
                taken.append(counted(one, number, tally) if cases else one)
            else:
                taken.append(argument)
        plain(*taken)

    at_hour = 0
    for day in days:
        hour = day * HOURS_PER_DAY
        if hour > at_hour:
            advance(jobs_for(kind, scheme, [block], [start], at_hour, hour))
        jobs = jobs_for(kind, scheme, [block], [start], hour, hour + HOURS_PER_DAY)
        with mock.patch.object(blocks, "run_block", one_case):
            advance(jobs, threads=1)
        at_hour = hour
    return tally, len(days) * HOURS_PER_DAY


def measure(season: Season, days: tuple[int, ...]) -> dict[str, float]:
    """Operations and numbers moved, for a cell and an hour of a run."""
    tally, hours = count_hours(season, days)
    cell_hours = hours * season.cells
    return {
        "hours_counted": hours,
        "flop_a_cell_hour": tally.flops / cell_hours,
        "additions_a_cell_hour": tally["add"] / cell_hours,
        "multiplications_a_cell_hour": tally["multiply"] / cell_hours,
        "divisions_a_cell_hour": tally["divide"] / cell_hours,
        "comparisons_a_cell_hour": tally["compare"] / cell_hours,
        "powers_and_logarithms_a_cell_hour": tally["function"] / cell_hours,
        "numbers_moved_a_cell_hour": (tally["read"] + tally["written"]) / cell_hours,
    }
