"""How kernels are compiled: division as in NumPy, a product and a sum rounded once.

A cold start spends most of its time on the compiler.  Nothing calls a kernel from C, so none
gets a wrapper for it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit

_Function = TypeVar("_Function", bound=Callable[..., Any])

_compile: Any = njit  # so that a compiled function keeps the types it was written with
_ANY = {"error_model": "numpy", "fastmath": {"contract"}, "no_cfunc_wrapper": True}

compiled: Callable[[_Function], _Function] = _compile(cache=True, nogil=True, **_ANY)
"""A function of its own, kept in the cache."""
inlined: Callable[[_Function], _Function] = _compile(cache=True, inline="always", **_ANY)
"""A function set into its one caller, where it would else be optimized twice."""
