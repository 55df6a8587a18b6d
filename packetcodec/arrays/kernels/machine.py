"""What the kernels need of the machine: how they are compiled, unaligned loads, leading zeros, products without carries.

Owns two rules. Kernels neither take memory nor keep count of who uses it, and nothing of Python is in their machine code:
so it runs wherever it is loaded. And bytes are read as numbers in one way: most significant byte first, as on the wire.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from llvmlite import binding, ir
from numba import from_dtype, njit, types
from numba.core import cgutils
from numba.extending import intrinsic

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

_WORD, _BYTE = ir.IntType(64), ir.IntType(8)
#: A product with it has the lowest bits of eight bytes in its highest byte.
_SPREAD, _PAIRS = np.uint64(0x0102040810204080), np.uint64(56)

_OPTIONS: dict[str, Any] = {
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
    "error_model": "numpy",
    "nogil": True,
    "_nrt": False,
}
inner = njit(**_OPTIONS)
"""A function of kernels, which is compiled into each that calls it."""


def compiled(function: Callable[..., Any], types_of: Sequence[tuple[str, int]]) -> tuple[str, bytes]:
    """The name and the machine code of a function for arrays of these types and dimensions."""
    given: Any = tuple(types.Array(from_dtype(np.dtype(kind)), count, "C") for kind, count in types_of)
    found = njit(given, **_OPTIONS)(function).overloads[given]
    return found.fndesc.llvm_func_name, found.library.serialize_using_object_code()[2][0]


def _load(typing_context: Any, array: Any, index: Any, swap: bool) -> Any:  # noqa: ARG001, FBT001  # numba's signature
    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        view = context.make_array(signature.args[0])(context, builder, arguments[0])
        at = builder.gep(view.data, [arguments[1]])
        word = builder.load(builder.bitcast(at, _WORD.as_pointer()), align=1)
        return builder.bswap(word) if swap else word

    return types.uint64(array, types.intp), make


@intrinsic
def load(typing_context: Any, array: Any, index: Any) -> Any:
    """Eight bytes of an array of bytes from an index on, as a number, the first byte most significant."""
    return _load(typing_context, array, index, swap=True)


@intrinsic
def load_eight(typing_context: Any, array: Any, index: Any) -> Any:
    """Eight bytes of an array of bytes from an index on, the first byte least significant."""
    return _load(typing_context, array, index, swap=False)


@intrinsic
def store(typing_context: Any, array: Any, index: Any, word: Any) -> Any:  # noqa: ARG001  # numba's signature
    """Eight bytes of a number into an array of bytes from an index on, the most significant one first."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        view = context.make_array(signature.args[0])(context, builder, arguments[0])
        at = builder.gep(view.data, [arguments[1]])
        builder.store(builder.bswap(arguments[2]), builder.bitcast(at, _WORD.as_pointer()), align=1)
        return context.get_dummy_value()

    return types.void(array, types.intp, types.uint64), make


@intrinsic
def swapped(typing_context: Any, word: Any) -> Any:  # noqa: ARG001  # numba's signature
    """A number with its eight bytes in the other order."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:  # noqa: ARG001  # numba's signature
        return builder.bswap(arguments[0])

    return types.uint64(types.uint64), make


@intrinsic
def leading_zeros(typing_context: Any, word: Any) -> Any:  # noqa: ARG001  # numba's signature
    """Zero bits before the first one of a 64-bit number; 64 for 0."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:  # noqa: ARG001  # numba's signature
        return builder.ctlz(arguments[0], cgutils.false_bit)

    return types.int64(types.uint64), make


@intrinsic
def fma(typing_context: Any, one: Any, other: Any, more: Any) -> Any:  # noqa: ARG001  # numba's signature
    """The product of two floats and a third one added, rounded once."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:  # noqa: ARG001  # numba's signature
        return builder.fma(*arguments)

    return types.float64(types.float64, types.float64, types.float64), make


def _lanes() -> int:
    """How many numbers this processor multiplies without carries at a time; 0 for one that does not."""
    features = binding.get_host_cpu_features()
    return 4 if features.get("vpclmulqdq") else 2 if features.get("pclmul") else 0


LANES = _lanes()


@intrinsic
def multiply_lanes(typing_context: Any, source: Any, at: Any, factor: Any, low: Any, high: Any) -> Any:  # noqa: ARG001
    """The products without carries of `LANES` numbers from `at` on with one factor: their low and their high 64 bits."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kind = ir.VectorType(_WORD, LANES)

        def place(which: int) -> Any:
            view = context.make_array(signature.args[which])(context, builder, arguments[which])
            return builder.bitcast(builder.gep(view.data, [arguments[1]]), kind.as_pointer())

        factors = ir.Constant(kind, ir.Undefined)
        for lane in range(LANES):
            factors = builder.insert_element(factors, arguments[2], ir.IntType(32)(lane))
        name = "llvm.x86.pclmulqdq.256" if LANES == 4 else "llvm.x86.pclmulqdq"
        product = cgutils.get_or_insert_function(builder.module, ir.FunctionType(kind, [kind, kind, _BYTE]), name)
        some = builder.load(place(0), align=8)
        even, odd = (builder.call(product, [some, factors, _BYTE(which)]) for which in (0, 1))
        for which, half in ((3, 0), (4, 1)):
            order = [lane + half if lane % 2 == 0 else LANES + lane - 1 + half for lane in range(LANES)]
            mask = ir.Constant(ir.VectorType(ir.IntType(32), LANES), order)
            builder.store(builder.shuffle_vector(even, odd, mask), place(which), align=8)
        return context.get_dummy_value()

    return types.void(source, types.intp, types.uint64, low, high), make


@inner
def pack_bits(some, count, out):
    """Bytes that are 0 or 1 as bits, the first one lowest. Behind the last of `some` stand zeros up to eight of them."""
    for at in range((count + 7) >> 3):
        out[at] = np.uint8(load_eight(some, at << 3) * _SPREAD >> _PAIRS)
