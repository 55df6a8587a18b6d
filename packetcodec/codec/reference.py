"""The reference: the same packets built by construct from the schema itself, slowly and plainly.

Owns no rule: it states every rule of the wire a second time, in other words and without the plan, so that the compiled
codec has something to be wrong against. Widths and steps are searched for by their definition, values are quantized
with exact fractions, the CRC runs bit by bit, and construct finds the offsets. It takes two things as given: the
fingerprint (a hash of the plan's table, needed where the check is bound to the schema), and the names of the faults.
It does not code trails: a layout that has one is refused.

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

import math
import operator
from dataclasses import dataclass
from fractions import Fraction
from itertools import count
from typing import TYPE_CHECKING, Any

import construct

from packetcodec.codec.packet import Packet
from packetcodec.errors import OK, PacketcodecError, PacketFault, ValueFault
from packetcodec.plan import compile_plan
from packetcodec.schema import KINDS, Field, Layout, Schema

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


def layout_construct(schema: Schema, layout_name: str) -> construct.Construct:
    """A whole packet of one layout as a construct of fixed size, for physical values.

    It parses to a Container of values in the fields' units (None for absent, a name for a choice, True or False for a
    flag) and builds from any mapping of them. Header, check, padding and ranges are verified.

    Raises:
        KeyError: the schema has no such layout.
        PacketcodecError: the layout has a trail. Parsing and building raise construct's own exceptions: ChecksumError
            for the check, ConstError for header and padding, ValidationError for a value, the field named.
    """
    return _Wire(schema, _named(schema, layout_name)).values


def raw_construct(schema: Schema, layout_name: str) -> construct.Construct:
    """A whole packet of one layout as a construct of fixed size, for plain numbers; nothing is verified.

    It parses to a Container of version, layout, codes (a Container of field name to raw code), padding and check.
    It builds from codes alone; version, layout, padding and check may be given too, to build a wrong packet.

    Raises:
        KeyError: the schema has no such layout.
        PacketcodecError: the layout has a trail.
    """
    return _Wire(schema, _named(schema, layout_name)).raw


class ReferenceCodec:
    """The reference behind the interface of `packetcodec.codec.Codec`: the same results and faults, other messages."""

    def __init__(self, schemas: Schema | Iterable[Schema]) -> None:
        """Take a schema, or several versions of one.

        Raises:
            PacketcodecError: no schema, two of the same version, with different headers, or a layout with a trail.
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

    def encode(self, layout: str, values: Mapping[str, Any]) -> bytes:
        """The packet of a layout's values.

        Raises:
            ValueFault: as `packetcodec.codec.Codec.encode`.
        """
        wire = self._wire(layout)
        packet: bytes = wire.raw.build({"codes": wire.codes(values)})
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
        size = wire.raw.sizeof()
        if len(data) < size:
            raise PacketFault("too_short", f"{len(data)} of {size} bytes", offset=8 * len(data))
        if len(data) > size:
            raise PacketFault("too_long", f"{len(data)} bytes, not {size}", offset=8 * size)
        raw = wire.raw.parse(data)
        wire.verify(raw)
        codes = tuple(raw.codes[name] for name in wire.codings)
        return Packet(wire.layout.name, said.version, wire.physical(raw.codes), codes)

    def try_decode(self, data: bytes) -> tuple[str, Packet | None]:
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
    """

    def __init__(self, schema: Schema, layout: Layout) -> None:
        if layout.trail is not None:
            raise PacketcodecError(f'layout "{layout.name}" has a trail, which the reference does not code')
        self.schema, self.layout = schema, layout
        self.codings = {field.name: _coding(field) for field in layout.fields}
        used = schema.header.bits + sum(coding.bits for coding in self.codings.values())
        body = (
            "version" / construct.Default(_bits(schema.header.version_bits), schema.version),
            "layout" / construct.Default(_bits(schema.header.layout_bits), layout.id),
            "codes" / construct.Struct(*(name / _bits(coding.bits) for name, coding in self.codings.items())),
            "padding" / construct.Default(_bits(-used % 8), 0),
        )
        self._body = construct.BitStruct(*body)
        self._padding_at = used
        crc = schema.check.crc
        check = _bits(crc.width, swapped=crc.reflected) if crc else _bits(0)
        self.raw = construct.BitStruct(*body, "check" / construct.Default(check, self.check))
        self.values = _Values(self)

    def check(self, raw: Any) -> int:
        """The check that belongs to a packet of these numbers."""
        crc = self.schema.check.crc
        if crc is None:
            return 0
        register = crc.initial
        if self.schema.check.bind_schema:
            bound = bytes.fromhex(compile_plan(self.schema).fingerprint)
            register = _shift(register, bound, width=crc.width, polynomial=crc.polynomial, reflected=crc.reflected)
        data = self._body.build({key: raw[key] for key in ("version", "layout", "codes", "padding")})
        register = _shift(register, data, width=crc.width, polynomial=crc.polynomial, reflected=crc.reflected)
        return (_mirrored(register, crc.width) if crc.reflected else register) ^ crc.xor_out

    def verify(self, raw: Any) -> None:
        """Raise the first fault of numbers that came in a packet of the right header and length."""
        if raw.check != self.check(raw):
            raise PacketFault("bad_check", f"{raw.check:#x}", offset=self._body.sizeof() * 8)
        if raw.padding:
            raise PacketFault("bad_padding", f"{raw.padding:#b}", offset=self._padding_at)
        offset = self.schema.header.bits
        for name, coding in self.codings.items():
            code = raw.codes[name]
            if code > coding.last and code != coding.absent:
                raise PacketFault("out_of_range", f"{name}: raw code {code}", field=name, offset=offset)
            offset += coding.bits

    def codes(self, values: Mapping[str, Any]) -> dict[str, int]:
        """Field name to raw code of physical values."""
        for key in values:
            if key not in self.codings:
                raise ValueFault(f"{key} is not a field", layout=self.layout.name, field=str(key))
        codes = {}
        for name, coding in self.codings.items():
            try:
                codes[name] = coding.code(values.get(name))
            except (ValueError, OverflowError) as fault:
                raise ValueFault(f"{name}: {fault}", layout=self.layout.name, field=name) from None
        return codes

    def physical(self, codes: Mapping[str, int]) -> dict[str, Any]:
        """Field name to physical value of raw codes in use."""
        return {name: coding.value(codes[name]) for name, coding in self.codings.items()}


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
            wire.verify(raw)
        except PacketFault as fault:
            errors = {"bad_check": construct.ChecksumError, "bad_padding": construct.ConstError}
            raise errors.get(fault.status, construct.ValidationError)(str(fault), path=path) from None
        return construct.Container(wire.physical(raw.codes))

    def _encode(self, values: Any, context: Any, path: str) -> dict[str, Any]:  # noqa: ARG002  # construct calls it
        try:
            return {"codes": self._wire.codes(values)}
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


@dataclass(frozen=True, slots=True)
class _Coding:
    """A field's codes, derived from what its author asked for."""

    field: Field
    bits: int
    step: int
    last: int
    absent: int | None

    def code(self, value: Any) -> int:
        """The raw code of a physical value, None for absent."""
        if value is None:
            if self.absent is None:
                raise ValueError("no value for a field that is not optional")
            return self.absent
        field, low, high = self.field, self.field.low, self.field.high
        base = _base(field, value)
        if field.circle and field.policy == "wrap":
            base -= (base - low) // (high - low) * (high - low)
        elif field.circle and field.scale > 1 and base == high:
            base = low  # the same place; whole numbers count up to the one before it
        if not low <= base <= high - (field.circle and field.scale == 1):
            if field.policy == "refuse":
                raise ValueError("outside its range")
            base = low if base < low else high
        # The nearest code, the upper one of two equally near; past the last cell of a circle stands its first.
        nearest = math.floor(Fraction(base - low, self.step) + Fraction(1, 2))
        return 0 if field.circle and nearest > self.last else nearest

    def value(self, code: int) -> Any:
        """The physical value of a raw code in use."""
        field = self.field
        if code == self.absent:
            return None
        if field.kind == "choice":
            return field.choices[code]
        if field.kind == "flag":
            return code == 1
        base = min(field.low + code * self.step, field.high)
        return base + field.origin if field.scale == 1 else float(Fraction(base, field.scale))


def _coding(field: Field) -> _Coding:
    """The codes by their definition: the finest step whose codes fit the bits, the fewest bits that hold the codes."""
    span, absent = field.high - field.low, int(field.optional)

    def last(step: int) -> int:
        cells = Fraction(span, step)
        # On a line the last code is the one of the range's end; for an odd step, half of it is rounded down.
        return math.ceil(cells) - 1 if field.circle else math.floor(cells + Fraction(step // 2, step))

    step = field.step
    if step is None:
        assert field.bits is not None  # noqa: S101  # a schema gives one of the two
        most = 2**field.bits - 1 - absent
        fits, fails = span, 0
        while fits - fails > 1:
            middle = (fits + fails) // 2
            fits, fails = (middle, fails) if last(middle) <= most else (fits, middle)
        step = fits
    bits = field.bits or next(width for width in count(1) if 2**width > last(step) + absent)
    return _Coding(field, bits, step, last(step), 2**bits - 1 if field.optional else None)


def _base(field: Field, value: Any) -> int:
    """A physical value in base units: integers exactly, all else as a float, `round(value * scale)`."""
    if field.kind == "choice":
        return field.choices.index(value)
    if field.kind == "flag" and isinstance(value, bool):
        return 1 if value else 0
    if isinstance(value, bool | str | bytes) or not hasattr(value, "__float__"):
        raise ValueError("not a number")
    if hasattr(value, "__index__"):
        return operator.index(value) * field.scale - field.origin
    number = float(value)
    if KINDS[field.kind].counting:
        if not number.is_integer():
            raise ValueError("not a whole number")
        return int(number)
    scaled = number * float(field.scale)
    if not math.isfinite(scaled):
        raise ValueError("not a finite number")
    return round(scaled) - field.origin
