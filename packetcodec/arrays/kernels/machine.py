"""What the kernels need of the machine: compiling on first use, unaligned loads, leading zeros.

Owns two rules. A kernel is compiled for one signature, when it is first used, and kept on disk: each other type of input
would compile it anew, and constants of a module stay as they were when it was compiled. And bytes are read as numbers in one
way: most significant byte first, as on the wire.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from llvmlite import ir
from numba import njit, types
from numba.core import cgutils
from numba.extending import intrinsic

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

#: Types of arguments: arrays that are read, and arrays that are written.
READ_U8, READ_I32, READ_I64, READ_U32, READ_F64 = (
    types.Array(item, 1, "C", readonly=True) for item in (types.uint8, types.int32, types.int64, types.uint32, types.float64)
)
TABLE_I64, TABLE_U32, TABLE_F64 = (
    types.Array(item, 2, "C", readonly=True) for item in (types.int64, types.uint32, types.float64)
)
WRITE_U8, WRITE_I32, WRITE_I64, WRITE_U32 = (
    types.Array(item, 1, "C") for item in (types.uint8, types.int32, types.int64, types.uint32)
)

_WORD = ir.IntType(64)


class Kernel:
    """A kernel for arguments of these types. It returns no array, works without Python's lock, and is kept on disk."""

    def __init__(self, function: Callable[..., Any], *signature: Any) -> None:
        self._function, self._signature = function, signature
        self._run: Callable[..., Any] | None = None

    def __call__(self, *arguments: Any) -> Any:
        """Run it; compiled, or read from disk, the first time."""
        if self._run is None:
            self._run = njit(self._signature, cache=True, nogil=True)(self._function)
        return self._run(*arguments)


def frozen(array: NDArray[Any]) -> NDArray[Any]:
    """An array that is only read, of the one type that a kernel is compiled for."""
    found = np.ascontiguousarray(array).view()
    found.flags.writeable = False
    return found


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
def leading_zeros(typing_context: Any, word: Any) -> Any:  # noqa: ARG001  # numba's signature
    """Zero bits before the first one of a 64-bit number; 64 for 0."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:  # noqa: ARG001  # numba's signature
        return builder.ctlz(arguments[0], cgutils.false_bit)

    return types.int64(types.uint64), make
