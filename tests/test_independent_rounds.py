"""The compiler is told which loops are over cases that know nothing of each other."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import numpy as np
import pytest
from numba import njit, prange
from numba.core.dispatcher import Dispatcher

from climate_risk.compiled import kernel_files
from climate_risk.kernel_compiler import KernelCompiler

KERNELS = {"compiled", "entry", "inlined"}


def add_up(a, row):
    for n in prange(32):
        a[row, n] = 2.0 * a[0, n] + a[1, n]
    for n in prange(32):
        a[row - 1, n] += a[row, n]


def add_up_unsaid(a, row):
    for n in range(32):
        a[row, n] = 2.0 * a[0, n] + a[1, n]
    for n in range(32):
        a[row - 1, n] += a[row, n]


def nested(a, row):
    for k in range(row):
        for n in prange(32):
            if a[k, n] > 0.0:
                a[k + 1, n] += a[k, n]
            else:
                a[k + 1, n] -= a[k, n]


def each_after_the_last(a, row):
    for n in range(1, 32):
        a[row, n] = a[row, n - 1] + 1.0


def built(function) -> Dispatcher:
    kernel = njit(pipeline_class=KernelCompiler, error_model="numpy")(function)
    kernel(np.ones((4, 32)), 2)
    return kernel


def text_of(kernel: Dispatcher) -> str:
    (text,) = kernel.inspect_llvm().values()
    return text


def number_by_number(kernel: Dispatcher) -> bool:
    """Whether some way through a kernel takes one number at a time, as where rows overlap."""
    return re.search(r" = f(add|mul) double ", text_of(kernel)) is not None


def test_a_loop_over_prange_needs_no_second_form_for_rows_that_overlap() -> None:
    """Of three rows of one array the compiler cannot know that they lie apart; it is told."""
    assert number_by_number(built(add_up_unsaid))
    assert not number_by_number(built(add_up))
    assert " x double>" in text_of(built(add_up))


@pytest.mark.parametrize("function", [add_up, nested, each_after_the_last])
def test_what_is_told_changes_no_result(function) -> None:
    rng = np.random.default_rng(4)
    compiled = rng.normal(size=(4, 32))
    plain = compiled.copy()
    built(function)(compiled, 3)
    function(plain, 3)
    np.testing.assert_array_equal(compiled, plain)


def kernels_of(path: Path) -> list[ast.FunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    return [f for f in functions if any(getattr(d, "id", "") in KERNELS for d in f.decorator_list)]


def test_no_kernel_counts_an_index_from_the_end() -> None:
    """It would be taken as it stands."""
    kernels = [kernel for path in kernel_files() for kernel in kernels_of(path)]
    assert len(kernels) > 50
    for kernel in kernels:
        for place in (node.slice for node in ast.walk(kernel) if isinstance(node, ast.Subscript)):
            signs = [n for n in ast.walk(place) if isinstance(n, ast.UnaryOp)]
            assert not any(isinstance(sign.op, ast.USub) for sign in signs), kernel.name
