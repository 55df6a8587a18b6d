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

from pathlib import PurePath
from typing import TYPE_CHECKING, Any, BinaryIO

import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq

from packetcodec.errors import PacketcodecError

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Prefixes of length: bytes, and their order.
RECORDS = {"u8": (1, "little"), "u16le": (2, "little"), "u16be": (2, "big")}
_ROWS = 1 << 16
_PACKET = pa.schema({"packet": pa.binary()})


def read_packets(handle: BinaryIO, name: str, *, record: str | None = None) -> pa.RecordBatchReader:
    """The packets of a file: of Parquet (`.parquet`), of records (`record`), else of lines of hex, where no hex is null.

    Args:
        handle: the open file.
        name: its name.
        record: how packets stand in a binary file: a number of bytes, or the prefix of length before each, of `RECORDS`.

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
        found = _hex(handle)
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


def _hex(handle: BinaryIO) -> Iterator[bytes | None]:
    for line in handle:
        if text := line.strip():
            try:
                yield bytes.fromhex(text.decode("ascii"))
            except ValueError:
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


def write_batches(handle: BinaryIO, name: str, reader: pa.RecordBatchReader) -> Iterator[pa.RecordBatch]:
    """Write a stream to a file of Parquet (`.parquet`) or CSV (`.csv`), batch by batch; each is given once it is written.

    Raises:
        PacketcodecError: another ending, or columns that a CSV file does not hold.
    """
    ending = PurePath(name).suffix
    if ending == ".parquet":
        with pq.ParquetWriter(handle, reader.schema) as writer:
            for batch in reader:
                writer.write_batch(batch)
                yield batch
    elif ending == ".csv":
        flat = [field.with_type(pa.string()) if pa.types.is_dictionary(field.type) else field for field in reader.schema]
        if nested := [field.name for field in flat if pa.types.is_nested(field.type)]:
            raise PacketcodecError(f"{name}: CSV holds no column {nested[0]!r} of lists: write .parquet")
        with pc.CSVWriter(handle, pa.schema(flat)) as writer:
            for batch in reader:
                writer.write_batch(batch.cast(pa.schema(flat)))
                yield batch
    else:
        raise PacketcodecError(f"{name}: ends in neither .parquet nor .csv")
