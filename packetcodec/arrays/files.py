r"""Files of packets as streams of batches, and files that streams are written to.

Owns one rule: which form a file has, by the ending of its name.

>>> import io
>>> reader = read_packets(io.BytesIO(b"1107\n\nno hex\n"), "radio.hex")
>>> reader.read_all()["packet"].to_pylist()
[b'\x11\x07', None]
>>> read_packets(io.BytesIO(b"\x02\x11\x07\x01\x12"), "radio.bin", record="u8").read_all()["packet"].to_pylist()
[b'\x11\x07', b'\x12']
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, BinaryIO

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from pyarrow import csv

from packetcodec.arrays.decoder import other_columns, taken
from packetcodec.arrays.references import of_batch, of_columns
from packetcodec.errors import PacketcodecError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.arrays.decoder import ColumnDecoder
    from packetcodec.arrays.references import Known

#: Prefixes of length: bytes, and their order.
RECORDS = {"u8": (1, "little"), "u16le": (2, "little"), "u16be": (2, "big")}
#: What a line without hex is counted as.
NOT_HEX = "not_hex"
_ROWS = 1 << 16
_PACKET = pa.schema({"packet": pa.binary()})


def read_packets(
    handle: BinaryIO, name: str, *, record: str | None = None, counts: Counter[str | None] | None = None
) -> pa.RecordBatchReader:
    """The packets of a file: of Parquet (`.parquet`), of records (`record`), else of lines of hex, where no hex is null.

    Args:
        handle: the open file.
        name: its name.
        record: how packets stand in a binary file: a number of bytes, or the prefix of length before each, of `RECORDS`.
        counts: where lines without hex are counted, as `NOT_HEX`.

    Raises:
        PacketcodecError: no Parquet, or no such record.
    """
    if PurePath(name).suffix == ".parquet":
        try:
            file = pq.ParquetFile(handle)
        except pa.ArrowInvalid as fault:
            raise PacketcodecError(f"{name}: no Parquet: {fault}") from None
        return pa.RecordBatchReader.from_batches(file.schema_arrow, file.iter_batches(_ROWS))
    if record is None:
        found = _hex(handle, Counter() if counts is None else counts)
    elif record in RECORDS:
        found = _prefixed(handle, name, *RECORDS[record])
    elif record.isdecimal() and 1 <= int(record) <= 255:
        found = _fixed(handle, name, int(record))
    else:
        raise PacketcodecError(f"record: {record!r} is neither 1..255 bytes nor one of {', '.join(RECORDS)}")
    return pa.RecordBatchReader.from_batches(_PACKET, _batches(found))


def _batches(packets: Iterator[bytes | None]) -> Iterator[pa.RecordBatch]:
    some: list[bytes | None] = []
    for packet in packets:
        some.append(packet)
        if len(some) == _ROWS:
            yield pa.record_batch([pa.array(some, pa.binary())], schema=_PACKET)
            some = []
    yield pa.record_batch([pa.array(some, pa.binary())], schema=_PACKET)


def _hex(handle: BinaryIO, counts: Counter[str | None]) -> Iterator[bytes | None]:
    for line in handle:
        if text := line.strip():
            try:
                yield bytes.fromhex(text.decode("ascii"))
            except ValueError:
                counts[NOT_HEX] += 1
                yield None


def _fixed(handle: BinaryIO, name: str, size: int) -> Iterator[bytes]:
    while packet := handle.read(size):
        if len(packet) < size:
            raise PacketcodecError(f"{name}: the last record has {len(packet)} bytes, not {size}")
        yield packet


def _prefixed(handle: BinaryIO, name: str, width: int, order: Any) -> Iterator[bytes]:
    while prefix := handle.read(width):
        size = int.from_bytes(prefix, order)
        packet = handle.read(size)
        if len(prefix) < width or len(packet) < size:
            raise PacketcodecError(f"{name}: ends within its last record")
        yield packet


def split(
    decoder: ColumnDecoder,
    reader: pa.RecordBatchReader,
    column: str,
    reference: Known = None,
    counts: Counter[str | None] | None = None,
) -> Iterator[tuple[tuple[int, str] | None, pa.RecordBatch]]:
    """A mixed recording as it is read, taken apart: version and layout, and packets of it; None for those of no layout.

    The columns are the number of the row, those of `reader` beside that of packets, and those of the layout. Arguments and
    errors are those of `ColumnDecoder.decode_batches`; null rows are counted in `counts`, as None.
    """
    given, first = of_columns(decoder.codec.plans, reference, reader.schema), 0
    for batch in reader:
        kept = other_columns(batch.schema, column, pa.struct([]))
        found = decoder.decode_layouts(batch.column(column), first, reference=of_batch(given, batch))
        for key, table in [*found.tables.items(), (None, found.unknown)]:
            if not table.num_rows:
                continue
            for field in kept:
                if field.name in table.schema.names:
                    raise taken(field.name)
            beside = batch.select([field.name for field in kept]).take(pc.subtract(table.column(0), first).combine_chunks())
            piece = table.combine_chunks().to_batches()[0]
            fields = [piece.schema.field(0), *kept, *list(piece.schema)[1:]]
            yield key, pa.record_batch([piece.column(0), *beside.columns, *piece.columns[1:]], schema=pa.schema(fields))
        if counts is not None:
            counts[None] += batch.column(column).null_count
        first += batch.num_rows


class Writer:
    """Writes batches to an open file, of Parquet (`.parquet`) or CSV (`.csv`), where lists are JSON.

    Args:
        handle: the file.
        name: its name.
        schema: of all batches.

    Raises:
        PacketcodecError: another ending.
    """

    def __init__(self, handle: BinaryIO, name: str, schema: pa.Schema) -> None:
        self._schema, ending = schema, PurePath(name).suffix
        if ending == ".csv":
            flat = [field.with_type(pa.string()) if _is_text(field.type) else field for field in schema]
            self._schema = pa.schema(flat)
            self._out = csv.CSVWriter(handle, self._schema)
        elif ending == ".parquet":
            self._out = pq.ParquetWriter(handle, schema)
        else:
            raise PacketcodecError(f"{name}: ends in neither .parquet nor .csv")

    def write(self, batch: pa.RecordBatch) -> None:
        """Write a batch."""
        columns = [
            _text(column) if kind != column.type else column for column, kind in zip(batch, self._schema.types, strict=True)
        ]
        self._out.write_batch(pa.record_batch(columns, schema=self._schema))

    def close(self) -> None:
        """Write what is left."""
        self._out.close()


def _is_text(kind: pa.DataType) -> bool:
    """Whether CSV holds a column of a type as text alone."""
    return bool(pa.types.is_dictionary(kind) or pa.types.is_nested(kind))


def _text(column: pa.Array) -> pa.Array:
    if pa.types.is_dictionary(column.type):
        return column.cast(pa.string())
    return pa.array([None if item is None else json.dumps(item) for item in column.to_pylist()], pa.string())
