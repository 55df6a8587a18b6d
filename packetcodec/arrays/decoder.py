r"""Columns of packets to columns of values.

Owns two rules. The answers are those of `Codec.try_decode`, row by row, faults included. And what a row stands for: a null
row is a null packet, or one whose header names another layout; a faulty packet has its status, and nulls for its values.

>>> from packetcodec.codec import Codec
>>> from packetcodec.schema import Schema
>>> from packetcodec.starter import schema_text
>>> codec = Codec(Schema.parse(schema_text()))
>>> packets = pa.array([bytes.fromhex("11072abad13d02afae8bcf480f2c"), b"\x11\x07"])
>>> values = ColumnDecoder(codec).decode_array(packets, layout="position")
>>> values.field("status").to_pylist(), values.field("latitude").to_pylist()
(['ok', 'too_short'], [46.512349, None])
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pyarrow as pa

from packetcodec.arrays import references, tables
from packetcodec.arrays.groups import FAULTS, Groups
from packetcodec.arrays.kernels import numbers as kernel
from packetcodec.arrays.layout_decoder import LayoutDecoder, free
from packetcodec.arrays.packets import as_chunked, is_packets, of
from packetcodec.arrays.tables import checked_units
from packetcodec.errors import PacketcodecError

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pyarrow  # noqa: ICN001  # the name that `Layouts` says

    from packetcodec.arrays.references import Known, Reference
    from packetcodec.arrays.tables import Units
    from packetcodec.codec import Codec

#: Bytes of columns that a batch of a stream has, about: they stay in the last cache. And the most rows.
_BATCH_BYTES, _BATCH_ROWS = 6 << 20, 1 << 17


class Layouts(NamedTuple):
    """A mixed recording, taken apart.

    Attributes:
        tables: (version, layout name) to a table of its packets: their rows in the recording, then the columns of
            `ColumnDecoder.schema`.
        unknown: rows and status of packets that belong to no layout.
    """

    tables: dict[tuple[int, str], pyarrow.Table]  # not pa, in which pdoc sees no module
    unknown: pyarrow.Table


class ColumnDecoder:
    """Decodes columns of packets with the schemas of a codec.

    Any number of threads may use one at the same time: the work is done without Python's lock. It can be pickled.

    Args:
        codec: whose packets they are.
        units: "physical" for the units of the fields, as `Codec.decode` gives them; "base" for whole base units.

    Attributes:
        codec, units: as given.
    """

    def __init__(self, codec: Codec, units: Units = "physical") -> None:
        self.codec = codec
        self.units = checked_units(units)
        self._decoders: dict[tuple[int, str], LayoutDecoder] = {}

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.codec, self.units)

    def schema(self, layout: str, version: int | None = None) -> pa.Schema:
        """The columns of a layout: its status, its fields, its trail.

        The version is that which the codec encodes, unless another is given. A column of status or trail has an underscore
        behind its name where a field is called so.
        """
        return pa.schema(self._decoder(layout, version).type.fields)

    def decode_array(
        self, packets: Any, layout: str, version: int | None = None, *, reference: Reference | None = None
    ) -> pa.StructArray | pa.ChunkedArray:
        """What each packet of a column says, row by row.

        Args:
            packets: an array or a chunked array of binary, or whatever gives one through the Arrow C interface.
            layout: whose fields the columns are. Packets of other layouts are null rows.
            version: of the schema; by default the one that the codec encodes.
            reference: of fields that are sent by their low bits, field name to about what the value must be, in the units of
                the columns: one value, or an array of Arrow or numpy with one for each row, where null is not known. Other
                fields may be named and do not count.

        Returns:
            An array of structs with the columns of `schema`; chunked where `packets` is.

        Raises:
            PacketcodecError: no such layout or version, no column of packets, more than 2 GiB in one piece, or references of
                another length or type.
            ValueFault: a reference that is no finite number, or names no field.
        """
        decoder = self._decoder(layout, version)
        found = [decoder.decode(of(chunk), reference=known) for chunk, _, known in self._chunks(packets, reference)]
        return found[0] if isinstance(packets, pa.Array) else pa.chunked_array(found, decoder.type)

    def _chunks(self, packets: Any, reference: Reference | None) -> Iterator[tuple[pa.Array, int, Reference]]:
        """The pieces of a column, the number of the first row of each, and their references."""
        column, first = as_chunked(packets), 0
        known = references.checked(self.codec.plans, reference, len(column))
        for chunk in column.chunks:
            yield chunk, first, references.piece(known, first, len(chunk))
            first += len(chunk)

    def decode_layouts(self, packets: Any, first_row: int = 0, *, reference: Reference | None = None) -> Layouts:
        """A recording of several layouts and versions, taken apart: a table for each, with row numbers from `first_row`.

        Null rows are in none of them. `packets` and `reference` are as for `decode_array`.
        """
        groups = Groups(self.codec.plans)
        decoders = [self._decoder(name, version) for version, name in groups.names]
        kept: list[list[pa.RecordBatch]] = [[] for _ in decoders]
        unknown = []
        for chunk, first, known in self._chunks(packets, reference):
            some = of(chunk)
            faults, layouts = groups.of(some, first_row + first)
            unknown.append(faults)
            for batches, decoder, rows in zip(kept, decoders, layouts, strict=True):
                if len(rows):
                    columns, _ = decoder.columns(some, rows, known)
                    numbers = tables.as_column(rows + np.int64(first_row + first), pa.int64())
                    batches.append(pa.record_batch([numbers, *columns], schema=_numbered(decoder)))
        found = [pa.Table.from_batches(some, _numbered(decoder)) for some, decoder in zip(kept, decoders, strict=True)]
        return Layouts(dict(zip(groups.names, found, strict=True)), pa.Table.from_batches(unknown, FAULTS))

    def decode_batches(
        self, reader: Any, column: str, layout: str, version: int | None = None, *, reference: Known = None
    ) -> pa.RecordBatchReader:
        """A stream of batches with a column of packets, decoded as it is read, in memory that does not grow.

        Args:
            reader: a RecordBatchReader, a table, or whatever gives a stream through the Arrow C interface.
            column: the name of the column of packets.
            layout: as for `decode_array`.
            version: as for `decode_array`.
            reference: as for `decode_array`; what is known of each row is a column of `reader`, given by its name. Or a
                function from a batch to the references of its rows, which is called for batches in their order.

        Returns:
            A stream of all other columns of `reader`, and those of `schema` behind them.

        Raises:
            PacketcodecError: no such column or layout, or a column that has the name of one of those.
        """
        decoder = self._decoder(layout, version)
        source = reader if isinstance(reader, pa.RecordBatchReader) else pa.RecordBatchReader.from_stream(reader)
        kept = other_columns(source.schema, column, decoder.type)
        given = references.of_columns(self.codec.plans, reference, source.schema)
        rows = min(_BATCH_ROWS, max(kernel.BLOCK // 4, _BATCH_BYTES // decoder.row_bytes))
        schema = pa.schema([*kept, *decoder.type.fields])

        def batches() -> Iterator[pa.RecordBatch]:
            for batch in source:
                for at in range(0, batch.num_rows, rows):
                    piece = batch.slice(at, rows) if batch.num_rows > rows else batch
                    known = references.of_batch(given, piece)
                    columns, _ = decoder.columns(of(piece.column(column)), reference=known)
                    yield pa.record_batch([*(piece.column(field.name) for field in kept), *columns], schema=schema)

        return pa.RecordBatchReader.from_batches(schema, batches())

    def _decoder(self, name: str, version: int | None) -> LayoutDecoder:
        plan = self.codec.plan if version is None else self.codec.plans.get(version)
        if plan is None:
            raise PacketcodecError(f"version {version} is none of {', '.join(map(str, self.codec.plans))}")
        found = self._decoders.get((plan.version, name))
        if found is None:
            known = [layout.name for layout in plan.layouts]
            if name not in known:
                raise PacketcodecError(f"{name!r} is not a layout of version {plan.version}: one of {', '.join(known)}")
            found = self._decoders[plan.version, name] = LayoutDecoder(self.codec.plans, plan, plan.layout(name), self.units)
        return found


def other_columns(schema: pa.Schema, column: str, decoded: pa.StructType) -> list[pa.Field]:
    """The columns of a stream beside that of packets.

    Raises:
        PacketcodecError: that one is not there, holds no packets, or another has the name of a decoded column.
    """
    if schema.names.count(column) != 1:
        raise PacketcodecError(f"column {column!r}: the input has {', '.join(schema.names)}")
    if not is_packets(schema.field(column).type):
        raise PacketcodecError(f"column {column!r}: type {schema.field(column).type} holds no packets; binary is needed")
    kept = [field for field in schema if field.name != column]
    if both := [field.name for field in kept if decoded.get_field_index(field.name) >= 0]:
        raise taken(both[0])
    return kept


def taken(name: str) -> PacketcodecError:
    """The fault of a column whose name a decoded one has too."""
    return PacketcodecError(f"column {name!r}: stands in the input and in the packets; rename that of the input")


def _numbered(decoder: LayoutDecoder) -> pa.Schema:
    names = {field.name for field in decoder.type}
    return pa.schema([pa.field(free("row", names), pa.int64()), *decoder.type.fields])
