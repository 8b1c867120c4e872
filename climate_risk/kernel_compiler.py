"""Numba's compiler as kernels need it, which a cold start waits for most of its time.

Numba alone takes whatever a function calls into the function itself and optimizes it there once
more.  Here each kernel is compiled once, and others know of it no more than its name.  So the
cache keeps with a kernel the code of all that it calls.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from typing import Any, ClassVar
from weakref import WeakKeyDictionary

from llvmlite import binding
from numba.core.caching import CompileResultCacheImpl, FunctionCache
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase
from numba.core.compiler_machinery import PassManager, register_pass
from numba.core.lowering import Lower
from numba.core.typed_passes import (
    BaseNativeLowering,
    NoPythonBackend,
    NopythonTypeInference,
    PreLowerStripPhis,
)
from numba.core.untyped_passes import (
    FixupArgs,
    GenericRewrites,
    IRProcessing,
    ReconstructSSA,
    TranslateByteCode,
)


class _KernelCode(JITCodeLibrary):  # type: ignore[misc]
    """Code that is optimized once: Numba does so three times, to count fewer references."""

    def _optimize_functions(self, module: Any) -> None:
        module.data_layout = self._codegen._data_layout

    def _optimize_final_module(self) -> None:
        passes, builder = self._codegen._module_pass_manager()
        passes.run(self._final_module, builder)


@register_pass(mutates_CFG=True, analysis_only=False)
class _KernelLowering(BaseNativeLowering):  # type: ignore[misc]
    _name = "kernel_lowering"

    lowering_class = Lower

    def run_pass(self, state: Any) -> bool:
        state.library = _KernelCode(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.enable_object_caching()
        super().run_pass(state)
        if state.flags.no_cpython_wrapper and not state.flags.forceinline:
            empty = state.targetctx.codegen()._create_empty_module(state.library.name)
            state.library._shared_module = binding.parse_assembly(str(empty))
        return True


class KernelCompiler(CompilerBase):  # type: ignore[misc]
    """Those of Numba's steps that do something to a kernel, and the lowering above."""

    def compile_extra(self, function: Any) -> Any:
        """Compile without looking for cycles of dead objects, which takes a sixth of the time."""
        looks = gc.isenabled()
        gc.disable()
        try:
            return super().compile_extra(function)
        finally:
            if looks:
                gc.enable()

    def define_pipelines(self) -> list[Any]:
        pipeline = PassManager("kernel")
        for step in (
            TranslateByteCode,
            FixupArgs,
            IRProcessing,
            GenericRewrites,
            ReconstructSSA,
            NopythonTypeInference,
            PreLowerStripPhis,
            _KernelLowering,
            NoPythonBackend,
        ):
            pipeline.add_pass(step, step.__name__)
        pipeline.finalize()
        return [pipeline]


def _called_by_name(code: Any) -> Iterator[Any]:
    """Code of all kernels that one calls, or what is set into it; first those that others call."""
    for other in code._linking_libraries:
        yield from _called_by_name(other)
        if not list(other._get_module_for_linking().functions):
            yield other


def _machine_code(written: Any) -> bytes:
    _, _, (machine_code, _) = written
    return machine_code  # type: ignore[no-any-return]


class _WithCalled(CompileResultCacheImpl):  # type: ignore[misc]
    """How a kernel is written and read: as Numba does, after the code of all that it calls."""

    _written: ClassVar[WeakKeyDictionary[Any, Any]] = WeakKeyDictionary()
    _read: ClassVar[dict[bytes, Any]] = {}

    def reduce(self, kernel: Any) -> Any:
        called = [self._write(each) for each in _called_by_name(kernel.library)]
        own = super().reduce(kernel)
        self._written[kernel.library] = own[0]
        return list({_machine_code(each): each for each in called}.values()), own

    def rebuild(self, target: Any, kept: Any) -> Any:
        called, own = kept
        codes = [self._load(target.codegen(), each) for each in called]
        kernel = super().rebuild(target, own)
        kernel.library._linking_libraries += codes
        self._written[kernel.library] = own[0]
        return kernel

    def _write(self, code: Any) -> Any:
        """Numba's own form of compiled code, which can be had of it only once."""
        if code not in self._written:
            self._written[code] = code.serialize_using_object_code()
        return self._written[code]

    def _load(self, codegen: Any, written: Any) -> Any:
        machine_code = _machine_code(written)
        if machine_code not in self._read:
            code = codegen.unserialize_library(written)
            self._read[machine_code], self._written[code] = code, written
        return self._read[machine_code]


class KernelCache(FunctionCache):  # type: ignore[misc]
    """Numba's, of kernels that know each other by name."""

    _impl_class = _WithCalled
