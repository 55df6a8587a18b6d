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

from packetcodec.codec.packet import Packet, TrailPoint
from packetcodec.errors import OK, PacketcodecError, PacketFault, ValueFault
from packetcodec.reference.fields import coding_of
from packetcodec.reference.trail import Place, Unreadable, ages, given_place, read, told_point, written
from packetcodec.schema import Layout, Role, Schema
from packetcodec.wire import compile_plan

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from packetcodec.errors import FaultName


def layout_construct(schema: Schema, layout_name: str) -> construct.Construct:
    """A whole packet of one layout as a construct, for physical values; of fixed size unless the layout has a trail.

    It parses to a Container of values in the fields' units (None for absent, a name for a choice, True or False for a
    flag) and builds from any mapping of them. Header, check, padding and ranges are verified. A layout with a trail
    takes all bytes of its stream (put it in a construct.Prefixed or FixedSized), and has one member more, `trail`: the
    points as `packetcodec.TrailPoint`, newest first.

    Raises:
        KeyError: the schema has no such layout.
        PacketcodecError: the layout has a trail, and a field of that name. Parsing and building raise construct's own
            exceptions: ChecksumError for the check, ConstError for header and padding, StreamError for a length that
            the layout does not have, ValidationError for a value or a trail, the field named.
    """
    layout = _named(schema, layout_name)
    if layout.trail and any(field.name == "trail" for field in layout.fields):
        raise PacketcodecError(f'layout "{layout_name}" has a trail, and a field that is called trail')
    return _Wire(schema, layout).values


def raw_construct(schema: Schema, layout_name: str) -> construct.Construct:
    """A whole packet of one layout as a construct, for plain numbers; nothing is verified.

    It parses to a Container of version, layout, codes (a Container of field name to raw code), padding and check.
    It builds from codes alone; version, layout, padding and check may be given too, to build a wrong packet. It has a
    fixed size; a layout with a trail takes all bytes of its stream, and has a list of bits, `trail`, for its padding.

    Raises:
        KeyError: the schema has no such layout.
    """
    return _Wire(schema, _named(schema, layout_name)).raw


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
            (schema.version, layout.id): _Wire(schema, layout) for schema in self._schemas for layout in schema.layouts
        }

    def _wire(self, name: str) -> _Wire:
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

    def decode(self, data: bytes) -> Packet:
        """What a packet says.

        Raises:
            PacketFault: the first fault in decoding order.
        """
        header = self._schemas[0].header
        head = construct.BitStruct(
            "version" / _bits(header.version_bits), "layout" / _bits(header.layout_bits), _bits(-header.bits % 8)
        )
        if len(data) < head.sizeof():
            raise PacketFault("too_short", "no whole header", offset=0)
        said = head.parse(data)
        if said.version not in {schema.version for schema in self._schemas}:
            raise PacketFault("unknown_version", str(said.version), offset=0)
        wire = self._wires.get((said.version, said.layout))
        if wire is None:
            raise PacketFault("unknown_layout", str(said.layout), offset=header.version_bits)
        if len(data) < wire.least:
            raise PacketFault("too_short", f"{len(data)} of {wire.least} bytes", offset=8 * len(data))
        if len(data) > wire.most:
            raise PacketFault("too_long", f"{len(data)} bytes, not {wire.most}", offset=8 * wire.most)
        raw = wire.raw.parse(data)
        trail = wire.verify(raw)
        codes = tuple(raw.codes[name] for name in wire.codings)
        return Packet(wire.layout.name, said.version, wire.physical(raw.codes), codes, trail)

    def try_decode(self, data: bytes) -> tuple[Literal["ok"], Packet] | tuple[FaultName, None]:
        """The status of a packet, "ok" or a fault's name, and what it says (None for a fault)."""
        try:
            return OK, self.decode(data)
        except PacketFault as fault:
            return fault.status, None


def _named(schema: Schema, name: str) -> Layout:
    for layout in schema.layouts:
        if layout.name == name:
            return layout
    raise KeyError(name)


def _bits(width: int, *, swapped: bool = False) -> construct.Construct:
    return construct.BitsInteger(width, swapped=swapped) if width else construct.Computed(0)


class _Wire:
    """One layout of one schema: its construct of plain numbers, and the meaning of them.

    Attributes:
        raw, values: what `raw_construct` and `layout_construct` give.
        least, most: bytes of a whole packet.
    """

    def __init__(self, schema: Schema, layout: Layout) -> None:
        self.schema, self.layout = schema, layout
        self.codings = {field.name: coding_of(field) for field in layout.fields}
        self._used = schema.header.bits + sum(coding.bits for coding in self.codings.values())
        self._check_bytes = schema.check.crc.size if schema.check.crc else 0
        self.least = -(-self._used // 8) + self._check_bytes
        self.most = layout.trail.packet_bytes if layout.trail else self.least
        self.raw = _AnySize(self) if layout.trail else self.sized(self.least)
        self.values = _Values(self)

    def _body(self, size: int) -> tuple[construct.Construct, ...]:
        """Everything before the check, in a packet of so many bytes."""
        header, rest = self.schema.header, 8 * (size - self._check_bytes) - self._used
        last = "padding" / construct.Default(_bits(rest), 0)
        if self.layout.trail:
            last = "trail" / construct.Default(construct.Array(rest, construct.Bit), [0] * rest)
        return (
            "version" / construct.Default(_bits(header.version_bits), self.schema.version),
            "layout" / construct.Default(_bits(header.layout_bits), self.layout.id),
            "codes" / construct.Struct(*(name / _bits(coding.bits) for name, coding in self.codings.items())),
            last,
        )

    def sized(self, size: int) -> construct.Construct:
        """A packet of so many bytes, as plain numbers."""
        crc = self.schema.check.crc
        check = _bits(crc.width, swapped=crc.reflected) if crc else _bits(0)
        return construct.BitStruct(*self._body(size), "check" / construct.Default(check, self.check))

    def size(self, numbers: Any) -> int:
        """Bytes of a packet of these numbers."""
        return -(-(self._used + len(numbers.get("trail", ()))) // 8) + self._check_bytes

    def check(self, raw: Any) -> int:
        """The check that belongs to a packet of these numbers."""
        crc = self.schema.check.crc
        if crc is None:
            return 0
        register = crc.initial
        if self.schema.check.bind_schema:
            bound = bytes.fromhex(compile_plan(self.schema).fingerprint)
            register = _shift(register, bound, width=crc.width, polynomial=crc.polynomial, reflected=crc.reflected)
        names = ("version", "layout", "codes", "trail" if self.layout.trail else "padding")
        data = construct.BitStruct(*self._body(self.size(raw))).build({name: raw[name] for name in names})
        register = _shift(register, data, width=crc.width, polynomial=crc.polynomial, reflected=crc.reflected)
        return (_mirrored(register, crc.width) if crc.reflected else register) ^ crc.xor_out

    def verify(self, raw: Any) -> tuple[TrailPoint, ...]:
        """The points of the trail; or raise the first fault of numbers of a packet with the right header and length."""
        if raw.check != self.check(raw):
            raise PacketFault("bad_check", f"{raw.check:#x}", offset=8 * (self.size(raw) - self._check_bytes))
        if raw.get("padding"):
            raise PacketFault("bad_padding", f"{raw.padding:#b}", offset=self._used)
        offset = self.schema.header.bits
        for name, coding in self.codings.items():
            code = raw.codes[name]
            if code > coding.max_code and code != coding.absent_code:
                raise PacketFault("out_of_range", f"{name}: raw code {code}", field=name, offset=offset)
            offset += coding.bits
        trail = self.layout.trail
        if trail is None:
            return ()
        try:
            places = read(trail, self._head(raw.codes), raw.trail)
        except Unreadable as fault:
            raise PacketFault("bad_trail", str(fault), offset=self._used) from None
        spacing = self.physical(raw.codes).get(trail.spacing_field or "")
        return tuple(map(told_point, places, ages(trail, places, spacing)))

    def _head(self, codes: Mapping[str, int]) -> Place | None:
        """The position that the points of a trail are counted from."""
        found = {coding.field.kind.role: coding.base(codes[name]) for name, coding in self.codings.items()}
        latitude, longitude = found[Role.NORTH], found[Role.EAST]
        if latitude is None or longitude is None:
            return None
        altitude = found.get(Role.HEIGHT) if self.layout.trail and self.layout.trail.altitude else None
        return Place(latitude, longitude, altitude, None)

    def numbers(self, values: Mapping[str, Any], points: Sequence[Any]) -> dict[str, Any]:
        """What `raw` builds a packet of these values and points from."""
        codes = self.codes(values)
        trail = self.layout.trail
        if trail is None:
            if len(points):
                raise ValueFault("no trail here", layout=self.layout.name, field="trail")
            return {"codes": codes}
        try:
            places = [given_place(point) for point in points]
        except (ValueError, OverflowError, TypeError) as fault:
            raise ValueFault(f"trail: {fault}", layout=self.layout.name, field="trail") from None
        room = 8 * (self.most - self._check_bytes) - self._used
        bits = written(trail, self._head(codes), places, room)
        return {"codes": codes, "trail": bits + [0] * (-(self._used + len(bits)) % 8)}

    def codes(self, values: Mapping[str, Any]) -> dict[str, int]:
        """Field name to raw code of physical values."""
        for key in values:
            if key not in self.codings:
                raise ValueFault(f"{key} is not a field", layout=self.layout.name, field=str(key))
        codes = {}
        for name, coding in self.codings.items():
            try:
                codes[name] = coding.code(values.get(name))
            except (ValueError, OverflowError, TypeError) as fault:
                raise ValueFault(f"{name}: {fault}", layout=self.layout.name, field=name) from None
        return codes

    def physical(self, codes: Mapping[str, int]) -> dict[str, Any]:
        """Field name to physical value of raw codes in use."""
        return {name: coding.value(codes[name]) for name, coding in self.codings.items()}


class _AnySize(construct.Adapter):  # type: ignore[misc]  # construct has no types
    """The plain numbers of a packet whose length varies: all bytes of its stream."""

    def __init__(self, wire: _Wire) -> None:
        super().__init__(construct.GreedyBytes)
        self._wire = wire

    def _decode(self, data: bytes, context: Any, path: str) -> construct.Container:  # noqa: ARG002  # construct calls it
        wire = self._wire
        if not wire.least <= len(data) <= wire.most:
            raise construct.StreamError(f"{len(data)} bytes, not {wire.least} to {wire.most}", path=path)
        return wire.sized(len(data)).parse(data)

    def _encode(self, numbers: Any, context: Any, path: str) -> bytes:  # noqa: ARG002  # construct calls it
        packet: bytes = self._wire.sized(self._wire.size(numbers)).build(numbers)
        return packet


class _Values(construct.Adapter):  # type: ignore[misc]  # construct has no types
    """Physical values around a construct of plain numbers."""

    def __init__(self, wire: _Wire) -> None:
        super().__init__(wire.raw)
        self._wire = wire

    def _decode(self, raw: Any, context: Any, path: str) -> construct.Container:  # noqa: ARG002  # construct calls it
        wire = self._wire
        for part, wanted in (("version", wire.schema.version), ("layout", wire.layout.id)):
            if raw[part] != wanted:
                raise construct.ConstError(f"{part} is {raw[part]}, not {wanted}", path=path)
        try:
            trail = wire.verify(raw)
        except PacketFault as fault:
            errors = {"bad_check": construct.ChecksumError, "bad_padding": construct.ConstError}
            raise errors.get(fault.status, construct.ValidationError)(str(fault), path=path) from None
        return construct.Container(wire.physical(raw.codes) | ({"trail": trail} if wire.layout.trail else {}))

    def _encode(self, values: Any, context: Any, path: str) -> dict[str, Any]:  # noqa: ARG002  # construct calls it
        points = ()
        if self._wire.layout.trail:
            points = values.get("trail", ())
            values = {name: value for name, value in values.items() if name != "trail"}
        try:
            return self._wire.numbers(values, points)
        except ValueFault as fault:
            raise construct.ValidationError(str(fault), path=path) from None


def _shift(register: int, data: bytes, *, width: int, polynomial: int, reflected: bool) -> int:
    """The CRC register after `data`, one bit at a time, high powers first."""
    for byte in data:
        for place in range(8) if reflected else range(7, -1, -1):
            falls_out = register >> width - 1 ^ byte >> place & 1
            register = register << 1 & (1 << width) - 1
            if falls_out & 1:
                register ^= polynomial
    return register


def _mirrored(number: int, width: int) -> int:
    return sum((number >> place & 1) << width - 1 - place for place in range(width))
