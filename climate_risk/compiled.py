"""How kernels are compiled: division as in NumPy, a product and a sum rounded once.

A cold start spends most of its time on the compiler (:mod:`climate_risk.kernel_compiler`).
What is compiled is kept between runs, and thrown away when any file changes that a kernel is made
of: a kernel holds numbers of other files as constants.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

from llvmlite import ir
from numba import njit
from numba.core import cgutils, types
from numba.core.registry import cpu_target
from numba.extending import intrinsic, register_jitable

from climate_risk.kernel_compiler import KernelCache, KernelCompiler

_compile: Any = njit  # so that a compiled function keeps the types it was written with
_Function = TypeVar("_Function", bound=Callable[..., Any])

_ANY = {
    "error_model": "numpy",
    "fastmath": {"contract"},
    "no_cfunc_wrapper": True,
    "_nrt": False,
}
_ROOMS = ("microclimate", "log", "fungus", "engine")
"""Folders that hold kernels, and files beside them that kernels take constants from."""
_MADE_BY = ("compiled.py", "kernel_compiler.py")
_FILES = (*_MADE_BY, "constants.py", "schema.py", "tables.py")


def kernel_files() -> list[Path]:
    """Every file that a compiled kernel is made of."""
    package = Path(__file__).parent
    rooms = [path for room in _ROOMS for path in sorted((package / room).glob("*.py"))]
    return [*(package / name for name in _FILES), *rooms]


@cache
def kernel_stamp() -> str:
    """Digest of :func:`kernel_files`."""
    return hashlib.sha256(b"\0".join(path.read_bytes() for path in kernel_files())).hexdigest()


def _kept(**options: Any) -> Callable[[_Function], _Function]:
    """Compile, and keep the result as long as no file changes that it is made of."""

    def compile_kept(function: _Function) -> _Function:
        kernel = _compile(function, nogil=True, pipeline_class=KernelCompiler, **_ANY, **options)
        _take_any_whole_number(kernel)
        if kernel.targetoptions.get("no_cpython_wrapper"):
            _entered_when_called(kernel)
        try:
            kernel._cache = KernelCache(function)
        except RuntimeError:  # neither the install nor the user has a folder to write to
            return kernel  # type: ignore[no-any-return]
        kernel._cache._cache_file._source_stamp = kernel_stamp()
        return kernel  # type: ignore[no-any-return]

    return compile_kept


def _take_any_whole_number(kernel: Any) -> None:
    """Compile once for all whole numbers: a caller's ``1`` would else be a type of its own."""
    find, general = kernel.get_call_template, cast(Any, types).unliteral

    def find_general(given: Any, named: Any) -> Any:
        return find(tuple(general(kind) for kind in given), named)

    kernel.get_call_template = find_general


def _entered_when_called(kernel: Any) -> None:
    """Leave the way in from Python, which kernels do not need, to Python's first call."""

    @cache
    def way_in() -> Any:
        return _compile(lambda *arguments: kernel(*arguments), **_ANY)

    kernel._insert = lambda *_, **__: None
    kernel._compile_for_args = lambda *_, **__: way_in()


def is_kept(kernel: Any) -> bool:
    """Whether the cache holds a kernel for this processor, from the files as they are now."""
    kept: Any = getattr(kernel._cache, "_cache_file", None)
    if kept is None:
        return True  # nowhere to keep it: nothing to wait for
    here = cpu_target.target_context.codegen().magic_tuple()
    return any(processor == here for _, processor, _ in kept._load_index())


# Said of each, since what is not said is taken from the kernel that is being compiled.
entry: Callable[[_Function], _Function] = _kept(no_cpython_wrapper=False, forceinline=False)
"""What Python calls in every run."""
compiled: Callable[[_Function], _Function] = _kept(no_cpython_wrapper=True, forceinline=False)
"""What kernels call by its name; and Python in tests and benchmarks."""
inlined: Callable[[_Function], _Function] = _kept(no_cpython_wrapper=True, forceinline=True)
"""A function so small, or called for every single case, that it is set into its callers."""

_law: Any = register_jitable  # so that a law keeps the types it was written with
law: Callable[[_Function], _Function] = _law(
    pipeline_class=KernelCompiler, forceinline=True, **_ANY
)
"""A law of nature: plain Python to whoever calls it, set into kernels by the compiler."""


def _fetch_ahead(typing_context: Any, table: Any, row: Any, column: Any) -> Any:
    """Code of a fetch.  A place past the table's end is none, and passed over."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array = context.make_array(signature.args[0])(context, builder, arguments[0])
        columns = cgutils.unpack_tuple(builder, array.shape)[-1]
        number = builder.add(builder.mul(arguments[1], columns), arguments[2])
        word, place = ir.IntType(32), ir.IntType(8).as_pointer()
        kind = ir.FunctionType(ir.VoidType(), [place, word, word, word])
        fetch = builder.module.declare_intrinsic("llvm.prefetch", [place], kind)
        to_read, for_long, data = word(0), word(3), word(1)
        start = builder.bitcast(builder.gep(array.data, [number]), place)
        builder.call(fetch, [start, to_read, for_long, data])
        return context.get_dummy_value()

    return types.none(table, types.intp, types.intp), generate


_fetch: Any = intrinsic(_fetch_ahead)
fetch_ahead: Callable[[Any, int, int], None] = _fetch
"""Have the cache line with ``table[row, column]`` fetched, for a later read."""
