"""What columns of packets must say: the answers of `Codec.try_decode`, row by row."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pyarrow as pa

from packetcodec import Schema
from packetcodec.wire import from_raw

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec import Codec


#: Fields that are sent by their low bits: on a line, on circles, absent, next to others.
LOW_BITS = Schema.parse("""
name = "hut"
version = 2
check = { crc = "CRC-24/BLE", bind_schema = true }
[[layouts]]
name = "near"
id = 1
fields = [
  { kind = "identifier" }, { kind = "latitude", resolution_m = 2.5, low_bits = 14, optional = true },
  { kind = "longitude", resolution_m = 2.5, low_bits = 14, optional = true }, { kind = "counter", bits = 20, low_bits = 6 },
]
[[layouts]]
name = "path"
id = 2
fields = [
  { kind = "longitude", resolution_m = 2.5, low_bits = 15 }, { kind = "latitude", resolution_m = 2.5, low_bits = 15 },
]
trail = { points = 5, resolution_m = 2.5, spacing = 30 }
""")


def wanted_rows(
    codec: Codec, data: Sequence[bytes | None], layout: str, version: int | None = None
) -> list[dict[str, Any] | None]:
    """The values of each row: None for no packet, and for one whose header names another layout."""
    plan = codec.plan if version is None else codec.plans[version]
    ident = plan.layout(layout).id
    return [None if item is None else _wanted(codec, item, (plan.version, ident), layout) for item in data]


def _wanted(codec: Codec, data: bytes, mine: tuple[int, int], layout: str) -> dict[str, Any] | None:
    plan = codec.plans[mine[0]]
    status, packet = codec.try_decode(data)
    if len(data) * 8 >= plan.header_bits:
        head = int.from_bytes(data, "big") >> len(data) * 8 - plan.header_bits
        version, ident = head >> plan.layout_bits, head & (1 << plan.layout_bits) - 1
        if version in codec.plans and ident in codec.plans[version].by_id and (version, ident) != mine:
            return None
    names = [field.name for field in plan.layout(layout).fields]
    row: dict[str, Any] = {"status" + "_" * ("status" in names): status}
    row |= dict.fromkeys(names) if packet is None else packet.values
    if plan.layout(layout).trail:
        row["trail" + "_" * ("trail" in names)] = None if packet is None else [point._asdict() for point in packet.trail]
    return row


def wanted_column(codec: Codec, data: Sequence[bytes | None], layout: str, kind: pa.StructType) -> pa.Array:
    """The same as an array."""
    return pa.array(wanted_rows(codec, data, layout), kind)


def in_base_units(codec: Codec, data: bytes, layout: str) -> dict[str, int | None]:
    """The fields of a good packet in base units."""
    packet = codec.decode(data)
    both = zip(codec.plan.layout(layout).fields, packet.codes, strict=True)
    return {field.name: None if code == field.absent_code else from_raw(field, code) for field, code in both}
