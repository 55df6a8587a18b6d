"""One layout of a schema in the reference: its construct of plain numbers, its check, and the meaning of the numbers."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Any

import construct

from packetcodec.errors import PacketFault, ValueFault
from packetcodec.reference.check import mirrored, shifted
from packetcodec.reference.fields import Coding, coding_of
from packetcodec.reference.numbers import Unreadable
from packetcodec.reference.trail import Place, ages, given_place, read, told_point, written
from packetcodec.schema import Layout, Role, Schema
from packetcodec.wire import compile_plan

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from packetcodec.codec.packet import TrailPoint


def _code_of(coding: Coding) -> construct.Construct:
    """A code: built from the whole of it, parsed to what was sent of it."""
    number = bits_of(coding.sent_bits)
    if coding.low is None:
        return number
    return construct.ExprAdapter(number, lambda sent, _: coding.told(sent), lambda code, _: coding.sent(code))


def bits_of(width: int, *, swapped: bool = False) -> construct.Construct:
    """An unsigned number of so many bits."""
    return construct.BitsInteger(width, swapped=swapped) if width else construct.Computed(0)


class Wire:
    """One layout of one schema: its construct of plain numbers, and the meaning of them.

    Attributes:
        raw, values: what `raw_construct` and `layout_construct` give.
        min_bytes, max_bytes: of a whole packet.
    """

    def __init__(self, schema: Schema, layout: Layout) -> None:
        self.schema, self.layout = schema, layout
        self.codings = {field.name: coding_of(field) for field in layout.fields}
        self._used = schema.header.bits + sum(coding.sent_bits for coding in self.codings.values())
        self._check_bytes = schema.check.crc.size if schema.check.crc else 0
        self.min_bytes = -(-self._used // 8) + self._check_bytes
        self.max_bytes = layout.trail.packet_bytes if layout.trail else self.min_bytes
        self.raw = _AnySize(self) if layout.trail else self.sized(self.min_bytes)
        self.values = _Values(self)

    def _body(self, size: int) -> tuple[construct.Construct, ...]:
        """Everything before the check, in a packet of so many bytes."""
        header, rest = self.schema.header, 8 * (size - self._check_bytes) - self._used
        last = "padding" / construct.Default(bits_of(rest), 0)
        if self.layout.trail:
            last = "trail" / construct.Default(construct.Array(rest, construct.Bit), [0] * rest)
        return (
            "version" / construct.Default(bits_of(header.version_bits), self.schema.version),
            "layout" / construct.Default(bits_of(header.layout_bits), self.layout.id),
            "codes" / construct.Struct(*(name / _code_of(coding) for name, coding in self.codings.items())),
            last,
        )

    def sized(self, size: int) -> construct.Construct:
        """A packet of so many bytes, as plain numbers."""
        crc = self.schema.check.crc
        check = bits_of(crc.width, swapped=crc.reflected) if crc else bits_of(0)
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
            register = shifted(register, bound, width=crc.width, polynomial=crc.polynomial, reflected=crc.reflected)
        high = "".join(coding.high(raw.codes[name]) for name, coding in self.codings.items())
        unsent = bytes(int(high[place : place + 8].ljust(8, "0"), 2) for place in range(0, len(high), 8))
        names = ("version", "layout", "codes", "trail" if self.layout.trail else "padding")
        data = construct.BitStruct(*self._body(self.size(raw))).build({name: raw[name] for name in names})
        register = shifted(register, unsent + data, width=crc.width, polynomial=crc.polynomial, reflected=crc.reflected)
        return (mirrored(register, crc.width) if crc.reflected else register) ^ crc.xor_out

    def verify(self, raw: Any, reference: Mapping[str, Any]) -> tuple[TrailPoint, ...]:
        """The points of the trail; or raise the first fault of numbers of a packet with the right header and length.

        Codes of which only low bits were sent become those next to the reference for which the check is right.
        """
        meant = [coding.meant(coding.sent(raw.codes[name]), reference.get(name)) for name, coding in self.codings.items()]
        for codes in product(*meant):
            raw.codes.update(zip(self.codings, codes, strict=True))
            if raw.check == self.check(raw):
                break
        else:
            raise PacketFault("bad_check", f"{raw.check:#x}", offset=8 * (self.size(raw) - self._check_bytes))
        if raw.get("padding"):
            raise PacketFault("bad_padding", f"{raw.padding:#b}", offset=self._used)
        offset = self.schema.header.bits
        for name, coding in self.codings.items():
            code = raw.codes[name]
            if code > coding.max_code and code != coding.absent_code:
                raise PacketFault("out_of_range", f"{name}: raw code {code}", field=name, offset=offset)
            offset += coding.sent_bits
        trail = self.layout.trail
        if trail is None:
            return ()
        try:
            places = read(trail, self._anchor(raw.codes), raw.trail)
        except Unreadable as fault:
            raise PacketFault("bad_trail", str(fault), offset=self._used) from None
        spacing = self.physical(raw.codes).get(trail.spacing_field or "")
        return tuple(map(told_point, places, ages(trail, places, spacing)))

    def _anchor(self, codes: Mapping[str, int]) -> Place | None:
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
        room = 8 * (self.max_bytes - self._check_bytes) - self._used
        bits = written(trail, self._anchor(codes), places, room)
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

    def __init__(self, wire: Wire) -> None:
        super().__init__(construct.GreedyBytes)
        self._wire = wire

    def _decode(self, data: bytes, context: Any, path: str) -> construct.Container:  # noqa: ARG002  # construct calls it
        wire = self._wire
        if not wire.min_bytes <= len(data) <= wire.max_bytes:
            raise construct.StreamError(f"{len(data)} bytes, not {wire.min_bytes} to {wire.max_bytes}", path=path)
        return wire.sized(len(data)).parse(data)

    def _encode(self, numbers: Any, context: Any, path: str) -> bytes:  # noqa: ARG002  # construct calls it
        packet: bytes = self._wire.sized(self._wire.size(numbers)).build(numbers)
        return packet


class _Values(construct.Adapter):  # type: ignore[misc]  # construct has no types
    """Physical values around a construct of plain numbers."""

    def __init__(self, wire: Wire) -> None:
        super().__init__(wire.raw)
        self._wire = wire

    def _decode(self, raw: Any, context: Any, path: str) -> construct.Container:
        wire = self._wire
        for part, wanted in (("version", wire.schema.version), ("layout", wire.layout.id)):
            if raw[part] != wanted:
                raise construct.ConstError(f"{part} is {raw[part]}, not {wanted}", path=path)
        try:
            trail = wire.verify(raw, context._params.get("reference", {}))  # noqa: SLF001  # its name in construct
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
