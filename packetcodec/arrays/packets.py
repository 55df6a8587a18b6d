r"""A column of packets as the kernels read it: bytes, offsets, and which rows hold none.

Owns one rule: what counts as a column of packets. Arrow's binary types, and whatever gives one of them through the Arrow C
interface (a series of Polars, a column of pandas with an Arrow type). A null is no packet.

>>> of(pa.array([b"\x11\x07", None, b""])).offsets.tolist()
[0, 2, 2, 2]
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pyarrow as pa

from packetcodec.errors import PacketcodecError

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Bytes of packets that are addressed by 32 bits.
_MAX_BYTES = 2**31 - 1
_BINARY = (pa.types.is_binary, pa.types.is_large_binary, pa.types.is_fixed_size_binary, pa.types.is_binary_view)


class Packets(NamedTuple):
    """Some packets.

    Attributes:
        data: their bytes, back to back.
        offsets: where each one begins in `data`, and where the last one ends.
        nulls: 1 for a row without a packet; empty where every row has one.
    """

    data: NDArray[np.uint8]
    offsets: NDArray[np.int32]
    nulls: NDArray[np.uint8]


def as_chunked(column: Any) -> pa.ChunkedArray:
    r"""A column of Arrow that holds packets, whatever it comes in.

    Raises:
        PacketcodecError: no column of packets.
    """
    if isinstance(column, pa.ChunkedArray):
        found = column
    elif isinstance(column, pa.Array):
        found = pa.chunked_array([column], column.type)
    elif hasattr(column, "__arrow_c_stream__"):
        found = pa.chunked_array(column)
    elif hasattr(column, "__arrow_array__") or hasattr(column, "__arrow_c_array__"):
        found = pa.array(column)
        found = found if isinstance(found, pa.ChunkedArray) else pa.chunked_array([found])
    else:
        raise PacketcodecError(f"packets: a column of Arrow is needed, not {type(column).__name__}")
    if pa.types.is_null(found.type):
        return found.cast(pa.binary())
    if not is_packets(found.type):
        raise PacketcodecError(f"packets: a column of type {found.type} holds none; binary is needed")
    return found


def is_packets(kind: pa.DataType) -> bool:
    """Whether a type of Arrow can hold packets."""
    return any(test(kind) for test in _BINARY) or (pa.types.is_dictionary(kind) and is_packets(kind.value_type))


def of(array: pa.Array) -> Packets:
    """The packets of an array of binary.

    Raises:
        PacketcodecError: more than 2 GiB at once.
    """
    if pa.types.is_dictionary(array.type) or pa.types.is_binary_view(array.type):
        array = array.cast(pa.binary())
    nulls = np.empty(0, np.uint8)
    if array.null_count:
        nulls = array.is_null().cast(pa.uint8()).to_numpy(zero_copy_only=False)
    offsets, data = _fixed(array) if pa.types.is_fixed_size_binary(array.type) else _variable(array)
    return Packets(data, offsets, nulls)


def _variable(array: pa.Array) -> tuple[NDArray[np.int32], NDArray[np.uint8]]:
    """Offsets and bytes of an array of binary."""
    _, where, held = array.buffers()
    data = np.zeros(0, np.uint8) if held is None else np.frombuffer(held, np.uint8)
    if where is None or not len(array):
        return np.zeros(1, np.int32), data
    kind = np.int64 if pa.types.is_large_binary(array.type) else np.int32
    offsets = np.frombuffer(where, kind)[array.offset : array.offset + len(array) + 1]
    first, last = int(offsets[0]), int(offsets[-1])
    _demand_size(last - first)
    if kind is np.int32:
        return offsets.astype(np.int32, copy=False), data[:last]
    return (offsets - first).astype(np.int32), data[first:last]


def _fixed(array: pa.Array) -> tuple[NDArray[np.int32], NDArray[np.uint8]]:
    """Offsets and bytes of an array of binary of one size."""
    width, count = array.type.byte_width, len(array)
    _demand_size(width * count)
    held = array.buffers()[1]
    data = np.zeros(0, np.uint8) if held is None else np.frombuffer(held, np.uint8)
    offsets = np.arange(count + 1, dtype=np.int32) * np.int32(width)
    return offsets, data[array.offset * width : (array.offset + count) * width]


def _demand_size(size: int) -> None:
    if size > _MAX_BYTES:
        raise PacketcodecError(f"packets: {size:,} bytes at once are more than {_MAX_BYTES:,}: take fewer rows")
