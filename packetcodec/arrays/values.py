"""A column of values as the encoder reads it: floats, or whole numbers of base units, and which are there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pyarrow as pa

from packetcodec.arrays.kernels import numbers as kernel
from packetcodec.errors import PacketcodecError
from packetcodec.schema import Form

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from packetcodec.wire import FieldPlan

#: Whole numbers farther from zero are beyond every range; their differences with an origin still fit 64 bits.
_FAR = 2**62
_ALL = np.zeros(0, np.uint8)
_POLICIES = {"refuse": kernel.REFUSE, "clip": kernel.CLIP, "wrap": kernel.WRAP}


class Column(NamedTuple):
    """The values of a field.

    Attributes:
        values: floats in the field's unit, or whole numbers of base units behind its origin.
        valid: the bitmap of Arrow and the bit of the first value, or None where all are there.
        wrong: 1 for a value that the field does not know at all, or None where there is none.
    """

    values: NDArray[Any]
    valid: tuple[NDArray[np.uint8], int] | None
    wrong: NDArray[np.uint8] | None = None

    def rows(self, at: int, behind: int) -> tuple[NDArray[Any], NDArray[np.uint8], NDArray[np.uint8] | None]:
        """Some rows, of the types that kernels are compiled for."""
        values = self.values[at:behind]
        values = values if values.dtype == np.float64 else values.astype(np.int64, copy=False)
        valid = _ALL
        if self.valid is not None:
            bits, first = self.valid
            start = first + at
            some = np.unpackbits(bits[start >> 3 : (first + behind + 7) >> 3], bitorder="little")
            valid = some[start & 7 : (start & 7) + behind - at]
        return values, valid, None if self.wrong is None else self.wrong[at:behind]


def field_numbers(field: FieldPlan, *, physical: bool) -> NDArray[np.int64]:
    """The numbers of a field as the kernel names them."""
    return np.array([
        field.low, field.high, field.max_input, field.step, field.max_code,
        -1 if field.absent_code is None else field.absent_code, field.modulus or 0, _POLICIES[field.policy],
        field.origin if physical else 0, field.scale if physical else 1, int(field.kind.counting or not physical),
    ])  # fmt: skip


def column_of(array: pa.Array, field: FieldPlan, *, physical: bool, around: bool) -> Column:
    """The values of a field's column; `around` for whole numbers that are taken modulo its circle.

    Raises:
        PacketcodecError: a column of a type that the field does not take.
    """
    valid = None
    if array.null_count:
        held = array.buffers()[0]
        valid = (np.frombuffer(held, np.uint8), array.offset) if held is not None else _bitmap(array)
    if field.choices:
        codes, wrong = _places(array, field)
        return Column(codes, valid, wrong)
    kind = array.type
    if pa.types.is_null(kind):
        return Column(np.zeros(len(array), np.int64), valid)
    if pa.types.is_boolean(kind) and field.kind.form is Form.FLAG:
        return Column(_numpy(array.cast(pa.uint8())), valid)
    if pa.types.is_timestamp(kind) and field.kind.form is Form.TIME and physical:
        ticks = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}[kind.unit]
        whole = _numpy(array.cast(pa.int64()))
        return Column(whole if ticks == 1 else whole / np.float64(ticks), valid)
    if pa.types.is_integer(kind):
        return Column(_whole(_numpy(array), field, field.scale if physical else 1, around=around), valid)
    if pa.types.is_floating(kind):
        return Column(_numpy(array).astype(np.float64, copy=False), valid)
    raise PacketcodecError(f"column {field.name!r}: type {kind} holds no values of a {field.kind} field")


def _bitmap(array: pa.Array) -> tuple[NDArray[np.uint8], int]:
    there = array.is_valid().to_numpy(zero_copy_only=False)
    return np.packbits(there, bitorder="little"), 0


def _numpy(array: pa.Array) -> NDArray[Any]:
    """The numbers of an array; what stands under a null is any number."""
    width = array.type.bit_width // 8
    held = array.buffers()[1]
    kind = array.type.to_pandas_dtype()
    if held is None or not len(array):
        return np.zeros(len(array), kind)
    return np.frombuffer(held, kind, len(array), array.offset * width)


def _whole(values: NDArray[Any], field: FieldPlan, scale: int, *, around: bool) -> NDArray[Any]:
    """Whole numbers in the field's unit as base units behind its origin: exact, or as far beyond the range."""
    if scale == 1 and values.dtype != np.uint64:
        return values
    if around and field.modulus:
        values = values.astype(np.uint64 if values.dtype == np.uint64 else np.int64)
        found = (values % values.dtype.type(field.modulus)).astype(np.int64)
    elif values.dtype == np.uint64:
        found = np.minimum(values, np.uint64(_FAR // scale)).astype(np.int64)
    else:
        found = np.clip(values.astype(np.int64), -_FAR // scale, _FAR // scale)
    return np.asarray(found * scale)


def _places(array: pa.Array, field: FieldPlan) -> tuple[NDArray[np.int64], NDArray[np.uint8] | None]:
    """The codes of names, and a 1 for each name that the field does not have."""
    kind = array.type
    if not pa.types.is_dictionary(kind):
        if not (pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind)):
            if pa.types.is_null(kind):
                return np.zeros(len(array), np.int64), None
            raise PacketcodecError(f"column {field.name!r}: type {kind} holds no names of a choice")
        array = array.cast(pa.string()).dictionary_encode()
    known = {name: code for code, name in enumerate(field.choices)}
    codes = np.array([*(known.get(name, -1) for name in array.dictionary.to_pylist()), 0], np.int64)
    found = codes[array.indices.fill_null(len(codes) - 1).to_numpy(zero_copy_only=False)]
    wrong = (found < 0).astype(np.uint8)
    return np.maximum(found, 0), wrong if wrong.any() else None
