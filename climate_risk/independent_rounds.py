"""Rounds of a loop that know nothing of each other, told to the compiler.

Loops over cases are written ``for n in prange(...)``: no case touches what another one reads or
writes.  Numba alone takes such a loop for a plain one, and LLVM must then check, whenever it
enters one, that no two of its rows overlap, which takes longer than the loop itself.  Here every
such loop says so (LLVM Language Reference, metadata ``llvm.loop.parallel_accesses``).

The vectors of a block are then unrolled, and one may round a product and a sum in another order
than the next: a case is the same in the same place of a block, and to rounding in another.

A kernel's indices count from the start: one below 0 is a mistake, and not looked for.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir as llvm
from numba import prange
from numba.core import cgutils, ir, types
from numba.core.analysis import compute_cfg_from_blocks
from numba.core.lowering import Lower
from numba.np import arrayobj

arrays: Any = arrayobj
kinds: Any = types
_MEMORY = (llvm.instructions.LoadInstr, llvm.instructions.StoreInstr, llvm.instructions.CallInstr)
_VECTORIZED = ("llvm.loop.isvectorized", llvm.Constant(llvm.IntType(32), 1))


class _Distinct(llvm.values.MDValue):  # type: ignore[misc]
    """A node of metadata that is no other's equal, though it holds the same."""

    __eq__ = object.__eq__
    __hash__ = object.__hash__

    def __init__(self, module: Any, *operands: Any) -> None:
        super().__init__(module, operands, name=str(len(module.metadata)))

    def holds(self) -> tuple[Any, ...]:
        """What the node holds, in order."""
        return tuple(self.operands)

    def descr(self, buf: list[str]) -> None:
        """Append the node's text, as llvmlite asks for it."""
        held = ", ".join(each.get_reference() for each in self.holds())
        buf += (f"distinct !{{ {held} }}", "\n")


class _Loop(_Distinct):
    """A loop's node, which LLVM knows by its holding itself first."""

    def holds(self) -> tuple[Any, ...]:
        """Itself, then what is said of the loop."""
        return self, *super().holds()


class KernelLower(Lower):  # type: ignore[misc]
    """From Numba's instructions to LLVM's."""

    def lower_function_body(self) -> Any:
        self._made: dict[Any, list[Any]] = {}
        self._last: dict[Any, Any] = {}
        tail = super().lower_function_body()
        for latches, body in self._independent_loops():
            self._declare(latches, [made for block in body for made in self._made[block]])
        return tail

    def lower_block(self, block: Any) -> None:
        begin, known = self.builder.basic_block, len(self.function.blocks)
        super().lower_block(block)
        self._made[block] = [begin, *self.function.blocks[known:]]
        self._last[block] = self.builder.basic_block

    def lower_getitem(self, resty: Any, expr: Any, value: Any, index: Any, signature: Any) -> Any:
        kind, place = self.typeof(value.name), self._place(value, index)
        if place is None:
            return super().lower_getitem(resty, expr, value, index, signature)
        number = arrays.load_item(self.context, self.builder, kind, place)
        return self.context.cast(self.builder, number, kind.dtype, resty)

    def lower_setitem(self, target: Any, index: Any, value: Any, signature: Any) -> Any:
        kind, place = self.typeof(target.name), self._place(target, index)
        if place is None:
            return super().lower_setitem(target, index, value, signature)
        number, given = self.loadvar(value.name), self.typeof(value.name)
        number = self.context.cast(self.builder, number, given, kind.dtype)
        return arrays.store_item(self.context, self.builder, kind, number, place)

    def _place(self, array: Any, index: Any) -> Any:
        """Where an index leads in an array, if to one number.

        Numba's own code for that also looks for indices that count from the end.  It is five
        times as long, and would be most of all there is to compile.
        """
        kind, given = self.typeof(array.name), self.typeof(index.name)
        several = isinstance(given, kinds.BaseTuple)
        parts = [kinds.unliteral(part) for part in (given if several else (given,))]
        whole = isinstance(kind, kinds.Array) and parts == kind.ndim * [kinds.intp]
        if not (whole and kind.layout == "C"):
            return None
        builder, model = self.builder, self.context.data_model_manager[kind]
        held, by = self.loadvar(array.name), self.loadvar(index.name)
        at, *inner = cgutils.unpack_tuple(builder, by) if several else (by,)
        _, *sizes = cgutils.unpack_tuple(builder, model.get(builder, held, "shape"))
        for size, part in zip(sizes, inner, strict=True):
            at = builder.add(builder.mul(at, size), part)
        return builder.gep(model.get(builder, held, "data"), [at])

    def _independent_loops(self) -> list[tuple[list[Any], list[Any]]]:
        """Blocks that lead back, and all blocks, of every loop over a ``prange``."""
        values = {
            each.target.name: each.value
            for block in self.blocks.values()
            for each in block.find_insts(ir.Assign)
        }
        cfg = compute_cfg_from_blocks(self.blocks)
        loops = list(cfg.loops().values())
        found = []
        for loop in loops:
            within = [other.body for other in loops if other.header in loop.body - {loop.header}]
            own = loop.body.difference(*within)
            if _over_prange([self.blocks[label] for label in own], values):
                back = {before for before, _ in cfg.predecessors(loop.header)} & loop.body
                found.append(([self.blocks[b] for b in back], [self.blocks[b] for b in loop.body]))
        return found

    def _declare(self, latches: list[Any], body: list[Any]) -> None:
        module = self.module
        group = _Distinct(module)
        said = [
            _say(module, "llvm.loop.parallel_accesses", group),
            # As a loop of single numbers it would be unrolled before it became one of vectors.
            _say(module, "llvm.loop.unroll.disable"),
            _say(module, "llvm.loop.vectorize.followup_all", _say(module, *_VECTORIZED)),
        ]
        loop = _Loop(module, *said)
        for block in body:
            for instruction in block.instructions:
                if isinstance(instruction, _MEMORY):
                    instruction.set_metadata("llvm.access.group", group)
        for latch in latches:
            self._last[latch].terminator.set_metadata("llvm.loop", loop)


def _say(module: Any, name: str, *values: Any) -> Any:
    return module.add_metadata([llvm.MetaDataString(module, name), *values])


def _over_prange(body: list[Any], values: dict[str, Any]) -> bool:
    """Whether a loop takes its next round from a ``prange``."""
    rounds: Any = next(
        (each.value for block in body for each in block.find_insts(ir.Assign) if _next(each)), None
    )
    while rounds is not None:
        if isinstance(rounds, ir.Var):
            rounds = values.get(rounds.name)
        elif isinstance(rounds, ir.Expr) and rounds.op in ("iternext", "getiter"):
            rounds = rounds.value
        elif isinstance(rounds, ir.Expr) and rounds.op == "call":
            rounds = rounds.func
        else:
            return isinstance(rounds, (ir.Global, ir.FreeVar)) and rounds.value is prange
    return False


def _next(assignment: Any) -> bool:
    return isinstance(assignment.value, ir.Expr) and assignment.value.op == "iternext"
