"""One layout: packets to an Arrow array of structs, by a kernel and tables.

Owns one rule: where the columns stand in the one piece of memory that a kernel writes. Columns without absent values share
their validity.
"""

from __future__ import annotations

from threading import local
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from packetcodec.arrays import native, tables
from packetcodec.arrays.checks import check_factors, check_tables
from packetcodec.arrays.kernels import numbers as kernel
from packetcodec.arrays.native import Given
from packetcodec.arrays.references import codes_known

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from packetcodec.arrays.packets import Packets
    from packetcodec.arrays.references import Reference
    from packetcodec.arrays.tables import Units
    from packetcodec.wire import LayoutPlan, Plan

#: Columns begin at whole lines of the cache.
_LINE = 64
_NO_ROWS = np.zeros(0, np.int32)
_NOTHING: Reference = MappingProxyType({})


class Memory:
    """Places in one piece of memory, then the memory itself."""

    def __init__(self, size: int = 0) -> None:
        self.size = size
        self._buffer: pa.Buffer | None = None

    def take(self, size: int) -> int:
        """The place of so many bytes; up to eight more may be written behind them."""
        place = self.size
        self.size += -(-(size + 8) // _LINE) * _LINE
        return place

    def bytes(self) -> NDArray[np.uint8]:
        """All of it, to be written."""
        self._buffer = pa.allocate_buffer(self.size)
        return np.frombuffer(self._buffer, np.uint8)

    def slice(self, at: Any, size: int) -> pa.Buffer:
        """What stands at a place."""
        return self._buffer.slice(at, size) if self._buffer else None


class LayoutDecoder:
    """Decodes packets of one layout.

    Attributes:
        type: of what `decode` gives.
        row_bytes: of its columns, about.
    """

    def __init__(self, plans: Mapping[int, Plan], plan: Plan, layout: LayoutPlan, units: Units) -> None:
        self._layout = layout
        self._columns = tables.columns(layout, units)
        self._fields, reals = tables.field_table(self._columns)
        self._reals = Given(reals)
        self._head = tables.head_of(plan, layout)
        self._classes = Given(tables.classes(plans, plan, layout))
        self._trail = tables.trail_numbers(layout)
        self._cells = tables.trail_cells(layout)
        self._points = tables.point_type(units)
        self._checks, self._zeros = map(Given, check_tables(plan, layout))
        self._factors = Given(check_factors(plan, layout.data_bytes))
        low, parts = tables.low_tables(plan, layout)
        self._low, self._parts = Given(low), Given(parts)
        self._physical = units == "physical"
        self._last_placed: tuple[Given, Given, int] | None = None
        self._kept = local()
        taken = {column.field.name for column in self._columns}
        fields = [pa.field(free("status", taken), tables.STATUS)]
        fields += [pa.field(column.field.name, column.type) for column in self._columns]
        if layout.trail:
            fields.append(pa.field(free("trail", taken | {fields[0].name}), pa.list_(self._points)))
        self.type = pa.struct(fields)
        self.row_bytes = 1 + sum(tables.WIDTHS.get(column.form, 1) for column in self._columns) + int(self._trail[0]) * 28

    def decode(self, packets: Packets, reference: Reference = _NOTHING) -> pa.StructArray:
        """What the packets say, as one array."""
        columns, rows = self.columns(packets, reference=reference)
        return pa.Array.from_buffers(self.type, len(columns[0]), [rows], children=columns)

    def columns(
        self, packets: Packets, rows: NDArray[np.int32] = _NO_ROWS, reference: Reference = _NOTHING
    ) -> tuple[list[pa.Array], pa.Buffer]:
        """Columns of what the packets say, and which rows are packets of this layout.

        Of all packets, or those of some rows in ascending order; references are for all of them.
        """
        count = len(rows) or len(packets.offsets) - 1
        head, fields, size = self._placed(count)
        memory = Memory(size)
        known = codes_known(self._layout, reference, physical=self._physical)
        given = (
            packets.data, packets.offsets, rows, packets.nulls, self._classes, head, self._zeros, self._checks, fields,
            self._reals, self._low, self._parts, known,
        )  # fmt: skip
        if self._layout.trail is None:
            native.DECODE_ROWS(*given, self._factors, *self._scratch(kernel.BLOCK), memory.bytes())
            return self._arrays(memory, head.array, fields.array, count)
        places = self._place_points(packets, rows, memory, count)
        block = kernel.TRACK_BLOCK
        points = native.DECODE_TRACKS(
            *given, *self._scratch(block), self._trail, self._cells, places, np.zeros((8, block), np.int64),
            np.zeros((2, 14), np.int64), np.zeros((6, block * max(1, self._trail[0])), np.int32),
            np.empty(block, np.int32), memory.bytes(),
        )  # fmt: skip
        return self._arrays(memory, head.array, fields.array, count, self._trails(memory, places, count, points))

    def _scratch(self, block: int) -> tuple[Given, ...]:
        """What a kernel keeps of a block of packets; each thread has its own."""
        found: tuple[Given, ...] | None = getattr(self._kept, "scratch", None)
        if found is None:
            found = self._kept.scratch = tuple(map(Given, (
                np.empty((self._head[kernel.WORDS] + kernel.SPARE, block), np.uint64),
                np.empty((len(self._fields), block), np.uint32), np.empty((4, block), np.uint32),
                np.empty(block, np.int32), np.zeros((4, block), np.uint8),
            )))  # fmt: skip
        return found

    def _arrays(
        self, memory: Memory, head: NDArray[Any], fields: NDArray[Any], count: int, *trails: tuple[pa.Buffer, pa.StructArray]
    ) -> tuple[list[pa.Array], pa.Buffer]:
        bits, (status_at, ok_at, row_at) = -(-count // 8), head[kernel.STATUS_AT : kernel.ROW_AT + 1].tolist()
        present, rows = memory.slice(ok_at, bits), memory.slice(row_at, bits)
        status = pa.Array.from_buffers(pa.int8(), count, [rows, memory.slice(status_at, count)])
        found = [pa.DictionaryArray.from_arrays(status, tables.STATUS_NAMES, safe=False)]
        for column, (at, valid_at) in zip(self._columns, fields[:, kernel.VALUES : kernel.VALID + 1].tolist(), strict=True):
            valid = memory.slice(valid_at, bits) if valid_at >= 0 else present
            size = bits if column.form == kernel.BOOL else count * tables.WIDTHS[column.form]
            kind = column.type.index_type if column.names is not None else column.type
            array = pa.Array.from_buffers(kind, count, [valid, memory.slice(at, size)])
            found.append(array if column.names is None else pa.DictionaryArray.from_arrays(array, column.names, safe=False))
        for lists, points in trails:
            kind = pa.list_(self._points)
            found.append(pa.Array.from_buffers(kind, count, [present, lists], children=[points]))
        return found, rows

    def _placed(self, count: int) -> tuple[Given, Given, int]:
        """The numbers of the layout and of its fields with the places of columns of so many rows, and their bytes.

        A stream asks for one count again and again: the last answer is kept.
        """
        last = self._last_placed
        if last is None or last[0].array[kernel.ROWS] != count:
            head, fields, memory = self._head.copy(), self._fields.copy(), Memory()
            _place(head, fields, memory, count)
            last = self._last_placed = Given(head), Given(fields), memory.size
        return last

    def _place_points(self, packets: Packets, rows: NDArray[np.int32], memory: Memory, count: int) -> NDArray[np.int64]:
        """The places of the columns of points, for as many as the packets hold: an axis takes a bit at least."""
        sizes = np.diff(packets.offsets)
        bits = 8 * (sizes[rows] if len(rows) else sizes) - self._head[kernel.DATA_BITS] - self._head[kernel.CHECK_BITS]
        most = int(np.clip(bits >> 1, 0, self._trail[0]).sum())
        climbs = self._layout.trail is not None and self._layout.trail.altitude is not None
        number = self._points[0].type
        size = most * number.bit_width // 8
        return np.array([
            memory.take(4 * (count + 1)), memory.take(size), memory.take(size), memory.take(size) if climbs else -1,
            memory.take(most) if climbs else -1, memory.take(4 * most), memory.take(most),
            kernel.F64 if pa.types.is_floating(number) else kernel.I32,
        ])  # fmt: skip

    def _trails(
        self, memory: Memory, places: NDArray[np.int64], count: int, points: int
    ) -> tuple[pa.Buffer, pa.StructArray]:
        """Where the lists of points end, and the points."""
        number, bits = self._points[0].type, -(-points // 8)
        size = points * number.bit_width // 8

        def column(kind: pa.DataType, place: int, size: int, valid: int | None = None) -> pa.Array:
            held = None if valid is None else memory.slice(int(places[valid]), bits)
            return pa.Array.from_buffers(kind, points, [held, memory.slice(int(places[place]), size)])

        found = [column(number, kernel.LATITUDES, size), column(number, kernel.LONGITUDES, size)]
        if places[kernel.ALTITUDES] >= 0:
            found.append(column(number, kernel.ALTITUDES, size, kernel.HAS_ALTITUDE))
        else:
            found.append(pa.nulls(points, number))
        found.append(column(pa.int32(), kernel.AGES, 4 * points, kernel.HAS_AGE))
        lists = memory.slice(int(places[kernel.LISTS]), 4 * (count + 1))
        return lists, pa.Array.from_buffers(self._points, points, [None], children=found)


def free(name: str, taken: set[str]) -> str:
    """A name for a column beside the fields: with an underscore behind it for each field that has it already."""
    while name in taken:
        name += "_"
    return name


def _place(head: NDArray[np.int64], fields: NDArray[np.int64], memory: Memory, count: int) -> None:
    """Give each column its place for so many rows."""
    bits = -(-count // 8)
    head[kernel.ROWS] = count
    head[kernel.STATUS_AT], head[kernel.OK_AT], head[kernel.ROW_AT] = (
        memory.take(count),
        memory.take(bits),
        memory.take(bits),
    )
    for row in fields:
        row[kernel.VALUES] = memory.take(count * tables.WIDTHS.get(int(row[kernel.FORM]), 0) or bits)
        row[kernel.VALID] = memory.take(bits) if row[kernel.OPTIONAL] else -1
