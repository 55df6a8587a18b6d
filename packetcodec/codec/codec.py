"""The codec: values to packets and packets to values, for one schema version or several at once.

>>> from packetcodec.schema import Schema
>>> codec = Codec(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }, { kind = "altitude", optional = true }]
... '''))
>>> data = codec.encode("beacon", {"latitude": 46.51234, "longitude": 9.87654})
>>> codec.decode(data).values
{'latitude': 46.51234, 'longitude': 9.87654, 'altitude': None}
>>> codec.try_decode(data[:-1])
('too_short', None)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import islice
from typing import TYPE_CHECKING, Any, Final, Literal

from packetcodec.codec.compiled import compile_decoder, compile_encoder
from packetcodec.codec.packet import Packet
from packetcodec.codec.points import from_points, to_point
from packetcodec.errors import OK, PacketcodecError, PacketFault, ValueFault
from packetcodec.schema import Schema
from packetcodec.spelling import nearest
from packetcodec.wire import (
    LayoutPlan,
    OutOfRangeFault,
    Plan,
    Point,
    compile_plan,
    one_header,
    pack,
    to_base,
    to_raw,
    to_value,
    unpack,
)
from packetcodec.wire.low_bits import unknown

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from packetcodec.errors import FaultName
    from packetcodec.wire import FieldPlan
    from packetcodec.wire.low_bits import References

#: Unknown names of a mapping that a fault tells at most: there may be any number.
_MAX_UNKNOWN: Final = 8


def _schemas(given: Any) -> Iterator[Schema]:
    """One schema or several; a caller's mistake is said where it is made."""
    one_thing = isinstance(given, Schema | str | bytes) or not isinstance(given, Iterable)
    for schema in [given] if one_thing else given:
        if not isinstance(schema, Schema):
            raise TypeError(f"a codec is made from Schema, not from {schema!r}; Schema.load(path) reads a file")
        yield schema


class Codec:
    """Encodes with one schema version, decodes with every version given.

    A codec never changes once it is made: any number of threads may use one at the same time. It can be pickled and
    copied, so worker processes may be given one (``pool.map(codec.decode, packets)``). A subclass may override `encode`,
    `decode` and `quantize`; `try_decode` calls `decode`.

    Attributes:
        plan: the plan that `encode` follows: that of the first schema given.
        plans: schema version to plan.
    """

    plan: Plan
    plans: dict[int, Plan]

    def __init__(self, schemas: Schema | Iterable[Schema]) -> None:
        """Compile a schema, or several versions of one that share a header and tell themselves apart by it.

        Raises:
            PacketcodecError: two schemas of the same version, or with different headers.
            TypeError: something that is no schema, such as a path.
        """
        given = list(_schemas(schemas))
        if not given:
            raise PacketcodecError("a codec needs at least one schema")
        plans = one_header(tuple(map(compile_plan, given)))
        self.plan, self.plans = plans[0], {plan.version: plan for plan in plans}
        self._compile()

    def _compile(self) -> None:
        layouts = [layout for layout in self.plan.layouts if layout.trail is None]
        self._encoders = {layout.name: compile_encoder(self.plan, layout) for layout in layouts}
        self._decode = compile_decoder(self.plans.values(), self._decode_in_words)

    def __getstate__(self) -> dict[str, Any]:
        # Compiled functions cannot be pickled: they are compiled again.
        return {name: value for name, value in self.__dict__.items() if name not in {"_encoders", "_decode"}}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state)
        self._compile()

    def __repr__(self) -> str:
        versions = "; ".join(
            f"version {plan.version}: {', '.join(layout.name for layout in plan.layouts)}" for plan in self.plans.values()
        )
        return f"<Codec {self.plan.name}, {versions}>"

    def encode(self, layout: str, values: Mapping[str, Any], trail: Sequence[Any] = ()) -> bytes:
        """The packet of a layout's values.

        Args:
            layout: name of the layout.
            values: field name to value in the field's unit; an optional field may be left out or None. A number is an
                int, float, Decimal, Fraction, numpy's integers and floats; a flag is True or False, numpy's too.
            trail: earlier positions, newest first: `TrailPoint`, tuples or rows of the same order, or mappings with the
                same names. As many are sent as the layout's trail and the packet's limit hold; none behind a packet
                without latitude or longitude, from which they are counted.

        Raises:
            ValueFault: an unknown layout or field, a missing value, one that is no finite number, or one beyond the
                range of a field that refuses such values. Others are clipped, or wrapped on a circle.
            TypeError: `values` is no mapping, or `trail` no sequence.
        """
        encoder = self._encoders.get(layout)
        if encoder is not None and len(trail) == 0 and (data := encoder(values)) is not None:
            return data
        plan = self._layout(layout)
        if not isinstance(values, Mapping):
            raise TypeError(f"values: a mapping of field names to values is needed, not {type(values).__name__}")
        return pack(self.plan, plan, self.quantize(layout, values), self._points(plan, trail))

    def _points(self, layout: LayoutPlan, trail: Sequence[Any]) -> list[Point]:
        if layout.trail is None:
            if len(trail):
                raise ValueFault(f'layout "{layout.name}" carries no trail', layout=layout.name, field="trail")
            return []
        try:
            return [to_point(layout.trail, given, number) for number, given in enumerate(trail, 1)]
        except OutOfRangeFault as fault:
            raise ValueFault(f'trail: {fault} (layout "{layout.name}")', layout=layout.name, field="trail") from None

    def quantize(self, layout: str, values: Mapping[str, Any]) -> tuple[int, ...]:
        """The raw codes that `encode` would send, in wire order.

        Raises:
            ValueFault: as `encode`. Its message tells all that is wrong, its attributes name the first.
        """
        plan = self._layout(layout)
        codes: list[int] = []
        faults = _unknown(plan, values)
        for field in plan.fields:
            value = values.get(field.name)
            if value is None and field.absent_code is not None:
                codes.append(field.absent_code)
            elif value is None:
                what = "no value, but the field is not optional" if field.name in values else "missing"
                faults.append((field.name, what, field.place))
            else:
                try:
                    codes.append(to_raw(field, to_base(field, value)))
                except OutOfRangeFault as fault:
                    faults.append((field.name, str(fault), field.place))
        if faults:
            raise _value_fault(layout, faults)
        return tuple(codes)

    def _layout(self, name: str) -> LayoutPlan:
        try:
            return self.plan.layout(name)
        except KeyError:
            known = ", ".join(layout.name for layout in self.plan.layouts)
            message = f"{name!r} is not a layout of version {self.plan.version}: one of {known}"
            raise ValueFault(message, layout=str(name)) from None

    def decode(self, data: bytes | bytearray | memoryview, *, reference: Mapping[str, Any] | None = None) -> Packet:
        """What a packet says.

        Args:
            data: the whole packet; a memoryview of any shape is read in its own order.
            reference: of fields that are sent by their low bits, field name to about what the value must be, in the field's
                unit, beyond its range or not. Other fields may be named and do not count, nor does None: the values of the
                last packet are a reference. Without one for such a field, or with one too far off, the check is wrong.

        Raises:
            PacketFault: the first fault in decoding order, see `packetcodec.errors.FAULTS`.
            ValueFault: a reference that is no finite number, or names no field.
            TypeError: `data` is no bytes.

        >>> from packetcodec.starter import schema_text
        >>> codec = Codec(Schema.parse(schema_text()))
        >>> packet = codec.decode(bytes.fromhex("11072abad13d02afae8bcf480f2c"))
        >>> packet.layout, packet.values["latitude"]
        ('position', 46.512349)
        """
        whole = data if type(data) is bytes else memoryview(data).tobytes()
        return self._decode(whole) if reference is None else self._decode_in_words(whole, self._references(reference))

    def _references(self, reference: Mapping[str, Any]) -> References:
        """What is known of a field, in base units."""
        demand_fields(self.plans.values(), reference)

        def base(field: FieldPlan) -> int | None:
            value = reference.get(field.name)
            try:
                return None if value is None else to_base(field, value)
            except OutOfRangeFault as fault:
                raise ValueFault(f"reference: {field.name}: {fault}", layout="", field=field.name) from None

        return base

    def _decode_in_words(self, data: bytes, references: References = unknown) -> Packet:
        """The way of a packet that is not plainly good: the same result, and every fault in words."""
        plan, layout, codes, points = unpack(self.plans, data, references)
        values = {field.name: to_value(field, code) for field, code in zip(layout.fields, codes, strict=True)}
        return Packet(layout.name, plan.version, values, codes, from_points(layout, codes, points))

    def try_decode(
        self, data: bytes | bytearray | memoryview, *, reference: Mapping[str, Any] | None = None
    ) -> tuple[Literal["ok"], Packet] | tuple[FaultName, None]:
        """The status of a packet, "ok" or a fault's name, and what it says (None for a fault). Never raises on content.

        Raises:
            ValueFault: a reference that is no finite number, or names no field; see `decode`.
            TypeError: `data` is no bytes.

        >>> from packetcodec.starter import schema_text
        >>> Codec(Schema.parse(schema_text())).try_decode(b"")
        ('too_short', None)
        """
        try:
            return OK, self.decode(data) if reference is None else self.decode(data, reference=reference)
        except PacketFault as fault:
            return fault.status, None


def demand_fields(plans: Iterable[Plan], names: Iterable[Any]) -> None:
    """Refuse references of names that no field has.

    Raises:
        ValueFault: the first such name.
    """
    known = {field.name for plan in plans for layout in plan.layouts for field in layout.fields}
    for name in names:
        if name not in known:
            near = nearest(str(name), known)
            hint = f"; did you mean {near}?" if near else ""
            raise ValueFault(f"reference: {name!r} is no field{hint}", layout="", field=str(name))


def _unknown(layout: LayoutPlan, values: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """The first few keys that are no field of a layout, what is wrong with each, and no place."""
    known = [field.name for field in layout.fields]
    faults = []
    for key in islice((key for key in values if key not in known), _MAX_UNKNOWN):
        near = nearest(str(key), known)
        hint = f"did you mean {near}?" if near else f"it has {', '.join(known)}"
        faults.append((str(key), f'not a field of layout "{layout.name}"; {hint}', ""))
    return faults


def _value_fault(layout: str, faults: list[tuple[str, str, str]]) -> ValueFault:
    """All faults in one message: name, what is wrong, and the place where it is the only one."""
    name, what, place = faults[0]
    if len(faults) > 1:
        message = "; ".join(f"{name}: {what}" for name, what, _ in faults) + f' (layout "{layout}")'
    else:
        message = f"{name}: {what}" + (f' (layout "{layout}", {place})' if place else "")
    return ValueFault(message, layout=layout, field=name)
