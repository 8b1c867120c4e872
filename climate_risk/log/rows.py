"""A row of all cases as one value, which the machine's vector unit adds and multiplies at once.

A loop over cases writes every number that it hands to the next loop, and that one reads it again.
Where lines of cells are solved this takes longer than the sums.  There a row is one value, and a
line is followed with its numbers in registers::

    warm = load(a, at.TEMP, cell)

A row takes part in sums, products and quotients, with rows and with plain numbers, and in
``min``, ``max`` and ``abs``, as a number does; where two cases part, :func:`choose` decides.  So a
law of plain numbers is one of rows as it stands.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from itertools import product
from typing import Any

import numpy as np
from llvmlite import ir
from numba.core import cgutils, types
from numba.core.typing.templates import AbstractTemplate, infer_global, signature
from numba.extending import intrinsic, lower_builtin, models, overload, register_model

from climate_risk.compiled import inlined
from climate_risk.log.formulas import FloatArray
from climate_risk.log.layout import CASES

Row = Any
"""What a kernel has in hand; only the compiler knows it."""

_VECTOR = ir.VectorType(ir.DoubleType(), CASES)
_BYTES_OF_A_NUMBER = 8


class _RowType(types.Type):
    def __init__(self) -> None:
        super().__init__(name=f"row of {CASES} cases")


ROW = _RowType()
"""A row's type to the compiler."""


@register_model(_RowType)
class _RowModel(models.PrimitiveModel):  # type: ignore[misc]
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _VECTOR)


def _spread(builder: Any, kind: Any, value: Any) -> Any:
    """A plain number for every case; a row as it is."""
    return value if kind == ROW else _spread_as(builder, _VECTOR, value)


def _spread_as(builder: Any, vector: Any, value: Any) -> Any:
    nothing, first = ir.Constant(vector, ir.Undefined), ir.Constant(ir.IntType(32), 0)
    everywhere = ir.Constant(ir.VectorType(ir.IntType(32), CASES), None)
    return builder.shuffle_vector(
        builder.insert_element(nothing, value, first), nothing, everywhere
    )


def _lesser(builder: Any, one: Any, other: Any) -> Any:
    return builder.select(builder.fcmp_ordered("<", one, other), one, other)


def _greater(builder: Any, one: Any, other: Any) -> Any:
    return builder.select(builder.fcmp_ordered(">", one, other), one, other)


def _size(builder: Any, row: Any) -> Any:
    return _greater(builder, row, builder.fneg(row))


_OF_ONE: dict[Any, Callable[..., Any]] = {operator.neg: ir.IRBuilder.fneg, abs: _size}
_OF_TWO: dict[Any, Callable[..., Any]] = {
    operator.add: ir.IRBuilder.fadd,
    operator.iadd: ir.IRBuilder.fadd,
    operator.sub: ir.IRBuilder.fsub,
    operator.isub: ir.IRBuilder.fsub,
    operator.mul: ir.IRBuilder.fmul,
    operator.imul: ir.IRBuilder.fmul,
    operator.truediv: ir.IRBuilder.fdiv,
    operator.itruediv: ir.IRBuilder.fdiv,
    min: _lesser,
    np.minimum: _lesser,
    max: _greater,
    np.maximum: _greater,
}


def _teach(operation: Any, emit: Callable[..., Any], operands: int) -> None:
    """Teach the compiler an operation of rows, or of rows and plain numbers."""

    class Typing(AbstractTemplate):  # type: ignore[misc]
        def generic(self, given: Any, named: Any) -> Any:
            known = (_RowType, types.Integer, types.Float)
            fits = len(given) == operands and all(isinstance(kind, known) for kind in given)
            kinds = [ROW if kind == ROW else types.float64 for kind in given]
            return signature(ROW, *kinds) if fits and ROW in given else None

    def lower(context: Any, builder: Any, kinds: Any, values: Any) -> Any:
        rows = (_spread(builder, *each) for each in zip(kinds.args, values, strict=True))
        return emit(builder, *rows)

    infer_global(operation)(Typing)
    for kinds in product((ROW, types.float64), repeat=operands):
        if ROW in kinds:
            lower_builtin(operation, *kinds)(lower)


for _operation, _emit in _OF_ONE.items():
    _teach(_operation, _emit, 1)
for _operation, _emit in _OF_TWO.items():
    _teach(_operation, _emit, 2)


def _place(context: Any, builder: Any, kind: Any, values: Any) -> Any:
    """Address of ``a[term, row]`` or ``table[row]``, whose cases lie end to end."""
    array, before = context.make_array(kind)(context, builder, values[0]), values[1]
    for row, rows in zip(
        values[2:], cgutils.unpack_tuple(builder, array.shape)[1:-1], strict=True
    ):
        before = builder.add(builder.mul(before, rows), row)
    number = builder.mul(before, ir.Constant(before.type, CASES))
    return builder.bitcast(builder.gep(array.data, [number]), _VECTOR.as_pointer())


def _load_from(context: Any, builder: Any, kinds: Any, values: Any) -> Any:
    place = _place(context, builder, kinds.args[0], values)
    return builder.load(place, align=_BYTES_OF_A_NUMBER)


def _load(typing: Any, a: Any, term: Any, row: Any) -> Any:
    return ROW(a, types.intp, types.intp), _load_from


def _load_row(typing: Any, table: Any, row: Any) -> Any:
    return ROW(table, types.intp), _load_from


def _store_to(context: Any, builder: Any, kinds: Any, values: Any) -> Any:
    place = _place(context, builder, kinds.args[0], values[:-1])
    value = _spread(builder, kinds.args[-1], values[-1])
    builder.store(value, place, align=_BYTES_OF_A_NUMBER)
    return context.get_dummy_value()


def _store(typing: Any, a: Any, term: Any, row: Any, value: Any) -> Any:
    return types.none(a, types.intp, types.intp, value), _store_to


def _store_row(typing: Any, table: Any, row: Any, value: Any) -> Any:
    return types.none(table, types.intp, value), _store_to


def _alike(typing: Any, value: Any) -> Any:
    def generate(context: Any, builder: Any, kinds: Any, values: Any) -> Any:
        return _spread(builder, types.float64, values[0])

    return ROW(types.float64), generate


def _across(narrow: Callable[[Any, Any, Any], Any]) -> Any:
    """Code that narrows a row to one number, half of it at a time."""

    def typed(typing: Any, row: Any) -> Any:
        def generate(context: Any, builder: Any, kinds: Any, values: Any) -> Any:
            left, half = values[0], CASES
            while half > 1:
                half //= 2
                left = narrow(builder, *(_part(builder, left, start, half) for start in (0, half)))
            return builder.extract_element(left, ir.Constant(ir.IntType(32), 0))

        return types.float64(row), generate

    return typed


def _choose(typing: Any, by: Any, above: Any, other: Any) -> Any:
    def generate(context: Any, builder: Any, kinds: Any, values: Any) -> Any:
        by, *sides = (_spread(builder, *each) for each in zip(kinds.args, values, strict=True))
        return builder.select(builder.fcmp_ordered(">", by, ir.Constant(_VECTOR, None)), *sides)

    return ROW(by, above, other), generate


def _part(builder: Any, row: Any, first: int, count: int) -> Any:
    places = ir.VectorType(ir.IntType(32), count)
    mask = ir.Constant(places, list(range(first, first + count)))
    return builder.shuffle_vector(row, ir.Constant(row.type, ir.Undefined), mask)


def _interpolate(typing: Any, table: Any, place: Any) -> Any:
    """Code of a look-up: a case's two neighbours lie side by side and are read at once.

    The vector unit's own gather reads them one by one and takes longer.
    """

    def generate(context: Any, builder: Any, kinds: Any, values: Any) -> Any:
        array = context.make_array(kinds.args[0])(context, builder, values[0])
        whole, place = ir.IntType(64), values[1]
        wholes = ir.VectorType(whole, CASES)
        size = cgutils.unpack_tuple(builder, array.shape)[0]
        last = _spread_as(builder, wholes, builder.sub(size, ir.Constant(whole, 2)))
        first, zero = builder.fptosi(place, wholes), ir.Constant(wholes, None)
        first = builder.select(builder.icmp_signed("<", first, last), first, last)
        first = builder.select(builder.icmp_signed(">", first, zero), first, zero)
        pair = ir.VectorType(ir.DoubleType(), 2)
        pairs = []
        for case in range(CASES):
            number = builder.extract_element(first, ir.Constant(ir.IntType(32), case))
            address = builder.bitcast(builder.gep(array.data, [number]), pair.as_pointer())
            pairs.append(builder.load(address, align=_BYTES_OF_A_NUMBER))
        while len(pairs) > 1:
            pairs = [_join(builder, *pairs[k : k + 2]) for k in range(0, len(pairs), 2)]
        low, high = (_every_other(builder, pairs[0], start) for start in (0, 1))
        upper = builder.fsub(place, builder.sitofp(first, _VECTOR))
        lower = builder.fsub(
            _spread_as(builder, _VECTOR, ir.Constant(ir.DoubleType(), 1.0)), upper
        )
        return builder.fadd(builder.fmul(low, lower), builder.fmul(high, upper))

    return ROW(table, place), generate


def _join(builder: Any, one: Any, other: Any) -> Any:
    mask = ir.Constant(
        ir.VectorType(ir.IntType(32), 2 * one.type.count), list(range(2 * one.type.count))
    )
    return builder.shuffle_vector(one, other, mask)


def _every_other(builder: Any, numbers: Any, start: int) -> Any:
    count = numbers.type.count // 2
    mask = ir.Constant(ir.VectorType(ir.IntType(32), count), list(range(start, 2 * count, 2)))
    return builder.shuffle_vector(numbers, ir.Constant(numbers.type, ir.Undefined), mask)


_intrinsic: Any = intrinsic
load: Callable[[Any, int, int], Row] = _intrinsic(_load)
"""``load(a, term, row)``: the numbers of all cases."""
load_row: Callable[[Any, int], Row] = _intrinsic(_load_row)
"""``load_row(table, row)``: the same of a table that has no terms, such as an hour's forcing."""
store: Callable[[Any, int, int, Row], None] = _intrinsic(_store)
"""``store(a, term, row, value)``."""
store_row: Callable[[Any, int, Row], None] = _intrinsic(_store_row)
"""``store_row(table, row, value)``."""
alike: Callable[[float], Row] = _intrinsic(_alike)
"""A row that holds the same number for all."""
least: Callable[[Row], float] = _intrinsic(_across(_lesser))
"""The least number of a row."""
greatest: Callable[[Row], float] = _intrinsic(_across(_greater))
"""The greatest number of a row."""
_choose_rows: Callable[..., Any] = _intrinsic(_choose)


def choose(by: Any, above: Any, other: Any) -> Any:
    """``above`` where ``by`` is above 0, else ``other``: of rows case by case, or of numbers."""
    return above if by > 0.0 else other


def _choose_by_type(by: Any, above: Any, other: Any) -> Any:
    def of_rows(by: Any, above: Any, other: Any) -> Any:
        return _choose_rows(by, above, other)

    return of_rows if ROW in (by, above, other) else choose


_overloaded: Any = overload
_overloaded(choose)(_choose_by_type)


interpolate: Callable[[Any, Row], Row] = _intrinsic(_interpolate)
"""``interpolate(table, place)``: a table's numbers at places between its own, from 0 on.

Beyond its ends the table goes on as its last cell does: no place reads outside of it.
"""


@inlined
def add_to(a: FloatArray, term: int, row: int, more: Row) -> None:
    """Add to a row."""
    store(a, term, row, load(a, term, row) + more)


@inlined
def add_to_row(table: FloatArray, row: int, more: Row) -> None:
    """Add to a row of a table that has no terms."""
    store_row(table, row, load_row(table, row) + more)
