"""Columns of values to columns of packets, for layouts without a trail.

Owns two rules. The packets are those of `Codec.encode`, row by row: a null is absent, and NaN is no number, in an optional
field too. And which columns of Arrow a field takes.

>>> from packetcodec.codec import Codec
>>> from packetcodec.schema import Schema
>>> from packetcodec.starter import schema_text
>>> encoder = ColumnEncoder(Codec(Schema.parse(schema_text())))
>>> row = {"collar": 7, "counter": 42, "battery": 3.71, "fix_quality": 1, "latitude": 46.51234, "longitude": 9.87654}
>>> row["altitude"] = 2104.0
>>> encoder.encode_array(pa.table({name: [value] for name, value in row.items()}), "position")[0].as_py().hex()
'11072abad13d02afae8bcf480f2c'
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pyarrow as pa

from packetcodec.arrays import native
from packetcodec.arrays.checks import byte_tables, check_factors
from packetcodec.arrays.kernels import numbers as kernel
from packetcodec.arrays.tables import checked_units
from packetcodec.arrays.values import Column, column_of, field_numbers
from packetcodec.errors import PacketcodecError, ValueFault

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from packetcodec.arrays.tables import Units
    from packetcodec.codec import Codec
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

#: Rows that are taken together: few enough for the cache, and so many that the calls of kernels do not count.
_ROWS = 1 << 16


class ColumnEncoder:
    """Encodes columns of values as packets of layouts without a trail. It can be pickled, and shared by threads.

    Args:
        codec: whose first schema is followed.
        units: "physical" for values in the units of the fields, as `Codec.encode` takes them; "base" for base units.

    Attributes:
        codec, units: as given.
    """

    def __init__(self, codec: Codec, units: Units = "physical") -> None:
        self.codec = codec
        self.units = checked_units(units)
        self._packers: dict[str, _Packer] = {}

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.codec, self.units)

    def encode_array(self, values: Any, layout: str, *, faults: Literal["raise", "null"] = "raise") -> pa.Array:
        """The packets of a layout's values.

        Args:
            values: an array of structs, a record batch, a table, or whatever gives one through the Arrow C interface, with
                a column for each field; that of an optional one may be missing. Other columns are left out. Whole numbers,
                floats, truth values, texts (or a dictionary of them) for a choice, dates and times for a time.
            layout: one without a trail.
            faults: what a row becomes that cannot be encoded: "raise", or "null".

        Returns:
            An array of binary of one size. A null row of an array of structs has no packet: null.

        Raises:
            ValueFault: as `Codec.encode`, with the number of the first row at fault, from 0.
            PacketcodecError: no such layout, one with a trail, a column that is missing or of another type.
        """
        packer = self._packers.get(layout)
        if packer is None:
            packer = self._packers[layout] = _Packer(self.codec, layout, self.units)
        batches = [packer.encode(batch, nulls) for batch, nulls in _batches(values)]
        found = pa.chunked_array([packets for packets, _ in batches], packer.type).combine_chunks()
        found = found if isinstance(found, pa.Array) else found.chunk(0)
        bad = np.concatenate([np.zeros(0, np.uint8), *(marks for _, marks in batches)])
        if faults == "raise" and bad.any():
            row = int(bad.argmax())
            raise packer.fault(pa.Table.from_batches([batch for batch, _ in _batches(values)]).slice(row, 1), row)
        return found


class _Packer:
    """Encodes one layout."""

    def __init__(self, codec: Codec, name: str, units: Units) -> None:
        plan = codec.plan
        layout = next((layout for layout in plan.layouts if layout.name == name), None)
        if layout is None:
            known = ", ".join(layout.name for layout in plan.layouts)
            raise PacketcodecError(f"{name!r} is not a layout of version {plan.version}: one of {known}")
        if layout.trail is not None:
            raise PacketcodecError(f'layout "{name}" carries a trail: columns are encoded for layouts without one')
        self._codec, self._layout, self._physical = codec, layout, units == "physical"
        self._rows = [field_numbers(field, physical=self._physical) for field in layout.fields]
        self._fields = np.array([(field.offset, field.bits) for field in layout.fields], np.int64)
        self._high_fields, high_bits = _high_fields(layout)
        self._head, self._tables = _check_numbers(plan, layout, -(-high_bits // 8))
        self._factors = check_factors(plan, layout.data_bytes)
        self.type = pa.binary(layout.size)

    def encode(self, batch: pa.RecordBatch, nulls: NDArray[np.uint8] | None) -> tuple[pa.Array, NDArray[np.uint8]]:
        """Packets, null where one cannot be made, and a 1 for each row at fault."""
        count, size = batch.num_rows, self._layout.size
        memory = pa.allocate_buffer(count * size + 8)
        out, bad = np.frombuffer(memory, np.uint8), np.zeros(count, np.uint8)
        columns = [self._column(batch, field) for field in self._layout.fields]
        kept = np.empty(len(columns) * min(count, _ROWS), np.uint32)
        for at in range(0, count, _ROWS):
            behind = min(at + _ROWS, count)
            codes = kept[: len(columns) * (behind - at)].reshape(len(columns), behind - at)
            self._pack(columns, at, codes, bad[at:behind], out[at * size : behind * size + 8])
        if nulls is not None:
            bad &= 1 - nulls
        missing = bad if nulls is None else bad | nulls
        valid = pa.py_buffer(np.packbits(missing == 0, bitorder="little")) if missing.any() else None
        return pa.Array.from_buffers(self.type, count, [valid, memory.slice(0, count * size)]), bad

    def _pack(
        self,
        columns: list[Column | None],
        at: int,
        codes: NDArray[np.uint32],
        bad: NDArray[np.uint8],
        out: NDArray[np.uint8],
    ) -> None:
        """As many rows from one on as `codes` has room for into their packets; `bad` is set for those at fault."""
        behind, base, marks = at + codes.shape[1], np.empty(kernel.CODE_BLOCK), np.empty(codes.shape[1], np.uint8)
        for field, row, column, mine in zip(self._layout.fields, self._rows, columns, codes, strict=True):
            if column is None:  # an optional field that is left out
                mine[:] = field.absent_code or 0
                continue
            values, valid, wrong = column.rows(at, behind)
            run = native.CODE_REALS if values.dtype == np.float64 else native.CODE_INTEGERS
            run(values, valid, row, base, mine, marks)
            bad |= marks if wrong is None else marks | wrong
        high = self._split(codes)
        block = kernel.PACK_BLOCK
        native.PACK_ROWS(
            codes, self._fields, high, self._high_fields, self._head, self._tables, self._factors,
            np.empty((self._layout.size // 8 + 2 + kernel.SPARE, block), np.uint64),
            np.empty((self._head[5] // 8 + 2, block), np.uint64),
            np.empty(block, np.uint32), out,
        )  # fmt: skip

    def _split(self, codes: NDArray[np.uint32]) -> NDArray[np.uint32]:
        """Leave in codes what is sent of them; the high parts of those that are sent by their low bits."""
        high = np.zeros((len(self._layout.low_fields), codes.shape[1]), np.uint32)
        for row, (place, field, low) in zip(high, self._layout.low_fields, strict=True):
            row[:], sent = codes[place] // low.modulus, codes[place] % low.modulus
            if low.absent is not None:
                absent = codes[place] == field.absent_code
                row[absent], sent[absent] = 0, low.absent
            codes[place] = sent
        return high

    def _column(self, batch: pa.RecordBatch, field: FieldPlan) -> Column | None:
        if field.name in batch.schema.names:
            return column_of(batch.column(field.name), field, physical=self._physical, around=field.policy == "wrap")
        if field.absent_code is None:
            raise PacketcodecError(f"column {field.name!r} is missing, and the field is not optional")
        return None

    def fault(self, table: pa.Table, number: int) -> ValueFault:
        """What the codec says of a row at fault."""
        values = {name: value for name, value in table.to_pylist()[0].items() if name in table.column_names}
        words, name = "cannot be encoded", None
        try:
            if self._physical:
                known = {field.name for field in self._layout.fields}
                self._codec.encode(self._layout.name, {key: value for key, value in values.items() if key in known})
        except ValueFault as fault:
            words, name = str(fault), fault.field
        return ValueFault(f"row {number}: {words}", layout=self._layout.name, field=name)


def _batches(values: Any) -> Iterator[tuple[pa.RecordBatch, NDArray[np.uint8] | None]]:
    """The batches of what holds columns, and which rows are null."""
    chunks = values.chunks if isinstance(values, pa.ChunkedArray) else [values] if isinstance(values, pa.Array) else None
    if chunks is not None:
        for chunk in chunks:
            if not pa.types.is_struct(chunk.type):
                raise PacketcodecError(f"values: an array of structs is needed, not of {chunk.type}")
            nulls = chunk.is_null().cast(pa.uint8()).to_numpy(zero_copy_only=False) if chunk.null_count else None
            yield pa.record_batch(chunk.flatten(), names=[field.name for field in chunk.type]), nulls
    elif isinstance(values, pa.RecordBatch):
        yield values, None
    elif hasattr(values, "__arrow_c_stream__"):
        for batch in pa.RecordBatchReader.from_stream(values):
            yield batch, None
    else:
        raise PacketcodecError(f"values: columns of Arrow are needed, not {type(values).__name__}")


def _high_fields(layout: LayoutPlan) -> tuple[NDArray[np.int64], int]:
    """Where the high parts stand that only enter the check, and their bits."""
    found, bits = [], 0
    for _, _, low in layout.low_fields:
        found.append((bits, low.high_bits))
        bits += low.high_bits
    return np.array(found, np.int64).reshape(-1, 2), bits


def _check_numbers(plan: Plan, layout: LayoutPlan, high: int) -> tuple[NDArray[np.int64], NDArray[np.uint32]]:
    """The numbers of a layout, and what each byte adds to its check, behind `high` bytes of high parts."""
    size = layout.data_bytes
    tables = np.zeros((high + size + 8, 256), np.uint32)
    tables[: high + size] = byte_tables(plan, high + size)
    zeros = int.from_bytes(plan.check(bytes(high + size)), "big")
    header = plan.version << plan.layout_bits | layout.id
    return np.array([size, layout.check_bytes, header, plan.header_bits, zeros, high]), tables
