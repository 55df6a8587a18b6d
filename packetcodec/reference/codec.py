"""The reference: the same packets built by construct from the schema itself, slowly and plainly.

Owns no rule: it states every rule of the wire a second time, in other words and without the plan, so that the compiled
codec has something to be wrong against. Widths and steps are searched for by their definition, values are quantized
with exact fractions, the CRC runs bit by bit, and construct finds the offsets. It takes two things as given: the
fingerprint (a hash of the plan's table, needed where the check is bound to the schema), and the names of the faults.
The codes of a field stand in `packetcodec.reference.fields`, trails in `packetcodec.reference.trail`.

The construct objects are also of use alone, inside somebody's larger format:

>>> import construct
>>> from packetcodec.schema import Schema
>>> schema = Schema.parse('''
... name = "pasture"
... version = 1
... check = { crc = "CRC-8/AUTOSAR" }
... [[layouts]]
... name = "gate"
... id = 2
... fields = [{ kind = "identifier" }, { kind = "flag", name = "open" }]
... ''')
>>> frame = construct.Struct("packet" / layout_construct(schema, "gate"), "rssi" / construct.Int8sb)
>>> frame.build({"packet": {"identifier": 7, "open": True}, "rssi": -97}).hex()
'120780489f'
>>> frame.parse(bytes.fromhex("120780489f")).packet.open
True
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import construct

from packetcodec.codec.packet import Packet
from packetcodec.errors import OK, PacketcodecError, PacketFault, ValueFault
from packetcodec.reference.layout import Wire, bits_of
from packetcodec.schema import Layout, Schema

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from packetcodec.errors import FaultName


def layout_construct(schema: Schema, layout_name: str) -> construct.Construct:
    """A whole packet of one layout as a construct, for physical values; of fixed size unless the layout has a trail.

    It parses to a Container of values in the fields' units (None for absent, a name for a choice, True or False for a
    flag) and builds from any mapping of them. Fields that are sent by their low bits need `parse(data, reference={...})`.
    Header, check, padding and ranges are verified. A layout with a trail takes all bytes of its stream (put it in a
    construct.Prefixed or FixedSized), and has one member more, `trail`: the points as `packetcodec.TrailPoint`, newest
    first.

    Raises:
        KeyError: the schema has no such layout.
        PacketcodecError: the layout has a trail, and a field of that name. Parsing and building raise construct's own
            exceptions: ChecksumError for the check, ConstError for header and padding, StreamError for a length that
            the layout does not have, ValidationError for a value or a trail, the field named.
    """
    layout = _named(schema, layout_name)
    if layout.trail and any(field.name == "trail" for field in layout.fields):
        raise PacketcodecError(f'layout "{layout_name}" has a trail, and a field that is called trail')
    return Wire(schema, layout).values


def raw_construct(schema: Schema, layout_name: str) -> construct.Construct:
    """A whole packet of one layout as a construct, for plain numbers; nothing is verified.

    It parses to a Container of version, layout, codes (a Container of field name to raw code), padding and check. Of a field
    that is sent by its low bits it parses these, and builds from the whole code.
    It builds from codes alone; version, layout, padding and check may be given too, to build a wrong packet. It has a
    fixed size; a layout with a trail takes all bytes of its stream, and has a list of bits, `trail`, for its padding.

    Raises:
        KeyError: the schema has no such layout.
    """
    return Wire(schema, _named(schema, layout_name)).raw


class ReferenceCodec:
    """The reference behind the interface of `packetcodec.codec.Codec`: the same results and faults, other messages."""

    def __init__(self, schemas: Schema | Iterable[Schema]) -> None:
        """Take a schema, or several versions of one.

        Raises:
            PacketcodecError: no schema, two of the same version, or with different headers.
        """
        self._schemas = [schemas] if isinstance(schemas, Schema) else list(schemas)
        if not self._schemas:
            raise PacketcodecError("a codec needs at least one schema")
        if len({schema.header for schema in self._schemas}) > 1:
            raise PacketcodecError("schemas with different headers cannot be told apart")
        if len({schema.version for schema in self._schemas}) < len(self._schemas):
            raise PacketcodecError("two schemas have the same version")
        self._wires = {
            (schema.version, layout.id): Wire(schema, layout) for schema in self._schemas for layout in schema.layouts
        }

    def _wire(self, name: str) -> Wire:
        first = self._schemas[0]
        for layout in first.layouts:
            if layout.name == name:
                return self._wires[first.version, layout.id]
        raise ValueFault(f"{name!r} is not a layout", layout=str(name))

    def quantize(self, layout: str, values: Mapping[str, Any]) -> tuple[int, ...]:
        """The raw codes of a layout's values, in wire order.

        Raises:
            ValueFault: as `packetcodec.codec.Codec.quantize`.
        """
        return tuple(self._wire(layout).codes(values).values())

    def encode(self, layout: str, values: Mapping[str, Any], trail: Sequence[Any] = ()) -> bytes:
        """The packet of a layout's values and of the points of its trail.

        Raises:
            ValueFault: as `packetcodec.codec.Codec.encode`.
        """
        wire = self._wire(layout)
        packet: bytes = wire.raw.build(wire.numbers(values, trail))
        return packet

    def decode(self, data: bytes, *, reference: Mapping[str, Any] | None = None) -> Packet:
        """What a packet says; `reference` as for `packetcodec.codec.Codec.decode`.

        Raises:
            PacketFault: the first fault in decoding order.
        """
        header = self._schemas[0].header
        head = construct.BitStruct(
            "version" / bits_of(header.version_bits), "layout" / bits_of(header.layout_bits), bits_of(-header.bits % 8)
        )
        if len(data) < head.sizeof():
            raise PacketFault("too_short", "no whole header", offset=0)
        said = head.parse(data)
        if said.version not in {schema.version for schema in self._schemas}:
            raise PacketFault("unknown_version", str(said.version), offset=0)
        wire = self._wires.get((said.version, said.layout))
        if wire is None:
            raise PacketFault("unknown_layout", str(said.layout), offset=header.version_bits)
        if len(data) < wire.min_bytes:
            raise PacketFault("too_short", f"{len(data)} of {wire.min_bytes} bytes", offset=8 * len(data))
        if len(data) > wire.max_bytes:
            raise PacketFault("too_long", f"{len(data)} bytes, not {wire.max_bytes}", offset=8 * wire.max_bytes)
        raw = wire.raw.parse(data)
        trail = wire.verify(raw, reference or {})
        codes = tuple(raw.codes[name] for name in wire.codings)
        return Packet(wire.layout.name, said.version, wire.physical(raw.codes), codes, trail)

    def try_decode(
        self, data: bytes, *, reference: Mapping[str, Any] | None = None
    ) -> tuple[Literal["ok"], Packet] | tuple[FaultName, None]:
        """The status of a packet, "ok" or a fault's name, and what it says (None for a fault)."""
        try:
            return OK, self.decode(data, reference=reference)
        except PacketFault as fault:
            return fault.status, None


def _named(schema: Schema, name: str) -> Layout:
    for layout in schema.layouts:
        if layout.name == name:
            return layout
    raise KeyError(name)
