"""The plan: the flat, frozen, integer-only table compiled from a schema. Every output reads only the plan.

Owns one rule: where each field's bits stand (most significant first, back to back behind the header, zero bits to the end
of the byte, then the check).

>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... check = { crc = "CRC-8/AUTOSAR" }
... [[layouts]]
... name = "beacon"
... id = 2
... fields = [{ kind = "latitude", bits = 24 }, { kind = "longitude", bits = 25 }]
... '''))
>>> [(field.name, field.offset, field.bits, field.step) for field in plan.layouts[0].fields]
[('latitude', 8, 24, 108), ('longitude', 32, 25, 108)]
>>> plan.layouts[0].padding, plan.layouts[0].size
(7, 9)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.frozen import Frozen, kept
from packetcodec.schema import Role
from packetcodec.wire.fingerprint import fingerprint

if TYPE_CHECKING:
    from packetcodec.crc import Crc
    from packetcodec.schema import Field, Kind, Layout, Remark, Schema, Trail, Unit


class FieldPlan(Frozen):
    """One field on the wire: what the schema says of it, and where it stands.

    Attributes:
        field: of the schema; what is asked most of it, and of its grid, has a name here too.
        offset: first bit, counted from the packet's first bit.

    >>> from packetcodec.starter import example_plan
    >>> layout = example_plan().layout("position")
    >>> altitude = layout.fields[4]
    >>> isinstance(altitude, FieldPlan), altitude.place, altitude.max_code, altitude.absent_code
    (True, 'bits 71..82', 4077, 4095)
    """

    field: Field
    offset: int

    @kept
    def name(self) -> str:
        """Its name, unique within the layout."""
        return self.field.name

    @kept
    def kind(self) -> Kind:
        """What it measures."""
        return self.field.kind

    @kept
    def unit(self) -> Unit:
        """The unit of its values."""
        return self.field.unit

    @kept
    def scale(self) -> int:
        """Base units in one unit, a power of ten."""
        return self.field.unit.scale

    @kept
    def policy(self) -> str:
        """What becomes of a value beyond the range: "clip", "refuse" or "wrap"."""
        return self.field.policy

    @kept
    def origin(self) -> int:
        """What base 0 is as a Unix time, for a time with an epoch; else 0."""
        return self.field.origin

    @kept
    def choices(self) -> tuple[str, ...]:
        """The names of a choice, in order of their codes."""
        return self.field.choices

    @kept
    def low(self) -> int:
        """Lower end of the range in base units."""
        return self.field.low

    @kept
    def high(self) -> int:
        """Upper end of the range in base units."""
        return self.field.high

    @kept
    def modulus(self) -> int | None:
        """Circumference in base units, or None for a field on a line."""
        return self.field.modulus

    @kept
    def bits(self) -> int:
        """Width."""
        return self.field.grid.bits

    @kept
    def step(self) -> int:
        """Base units per raw count."""
        return self.field.grid.step

    @kept
    def max_code(self) -> int:
        """Last raw code in use."""
        return self.field.grid.max_code

    @kept
    def absent_code(self) -> int | None:
        """Raw code of a value that is not known, or None where the field is not optional."""
        return self.field.grid.absent_code

    @kept
    def max_error(self) -> int:
        """Largest distance between a value within the range and what arrives, in base units."""
        return self.step // 2

    @kept
    def max_input(self) -> int:
        """The last base value that may be given: `high`, except on a circle of whole numbers, where it is one before."""
        return self.high - (self.modulus is not None and self.scale == 1)

    @kept
    def uses_every_code(self) -> bool:
        """Whether every code of the width is in use, so that no raw code is out of range."""
        return self.max_code + 1 + (self.absent_code is not None) == 1 << self.bits

    @kept
    def place(self) -> str:
        """The field's bits in words."""
        return f"bit {self.offset}" if self.bits == 1 else f"bits {self.offset}..{self.offset + self.bits - 1}"


class LayoutPlan(Frozen):
    """One kind of packet on the wire.

    Attributes:
        name, id, doc: as in the schema.
        fields: in wire order.
        bits: header and fields together.
        padding: zero bits behind the last field, 0..7.
        check_bytes: bytes of the check.
        trail: the trail behind the fields, or None. It ends in padding of its own, so padding is then 0.
    """

    name: str
    id: int
    doc: str
    fields: tuple[FieldPlan, ...]
    bits: int
    padding: int
    check_bytes: int
    trail: Trail | None = None

    @kept
    def data_bytes(self) -> int:
        """Bytes before the check, those of a trail not counted."""
        return -(-self.bits // 8)

    @kept
    def size(self) -> int:
        """Bytes of the whole packet; with a trail, of the smallest one, which has no position and no trail."""
        return self.data_bytes + self.check_bytes

    @kept
    def longest(self) -> int:
        """Bytes of the longest packet: `size`, or the limit of the trail."""
        return self.trail.packet_bytes if self.trail else self.size

    @kept
    def anchor_places(self) -> tuple[int | None, ...]:
        """The places of latitude, longitude and altitude among the fields, None for one that is not there."""
        places = {field.kind.role: place for place, field in enumerate(self.fields)}
        return tuple(places.get(role) for role in (Role.NORTH, Role.EAST, Role.HEIGHT))

    @kept
    def cuts(self) -> tuple[tuple[int, int], ...]:
        """Of each field: the bits behind it, up to the last field's end, and the largest number of its width."""
        return tuple((self.bits - field.offset - field.bits, (1 << field.bits) - 1) for field in self.fields)

    def role(self, role: Role) -> FieldPlan | None:
        """The first field that plays a role, or None."""
        return next((field for field in self.fields if field.kind.role is role), None)

    def sizes(self) -> tuple[int, int]:
        """Bytes of the smallest and of the longest packet."""
        return self.size, self.longest


class Plan(Frozen):
    """A whole schema on the wire.

    Attributes:
        name, version, doc, history: as in the schema.
        version_bits, layout_bits: widths of the two header fields.
        layouts: in the schema's order.
        crc: the check as the catalogue has it, or None.
        seed: register of the CRC before the first byte; the CRC's own initial value unless the schema is bound.
        bound: whether `seed` comes from the fingerprint.
        crc_chosen: whether the polynomial was chosen for the packet's length.
        fingerprint: 16 hex digits that change when, and only when, the wire changes.

    >>> from packetcodec.starter import example_plan
    >>> plan = example_plan()
    >>> isinstance(plan, Plan), plan.layout("position").size, plan.seal(b"").hex()
    (True, 14, 'f3e1')
    """

    name: str
    version: int
    doc: str
    history: tuple[Remark, ...]
    version_bits: int
    layout_bits: int
    layouts: tuple[LayoutPlan, ...]
    crc: Crc | None
    seed: int
    bound: bool
    crc_chosen: bool
    fingerprint: str

    @kept
    def header_bits(self) -> int:
        """Bits of the whole header."""
        return self.version_bits + self.layout_bits

    @kept
    def check_bytes(self) -> int:
        """Bytes of the check."""
        return self.crc.size if self.crc else 0

    @kept
    def has_trail(self) -> bool:
        """Whether any layout carries a trail."""
        return any(layout.trail for layout in self.layouts)

    @kept
    def by_id(self) -> dict[int, LayoutPlan]:
        """Layout id to layout."""
        return {layout.id: layout for layout in self.layouts}

    def seal(self, body: bytes) -> bytes:
        """A packet's header and fields with the check behind them; as they are where the schema has no check."""
        return self.crc.append(body, self.seed) if self.crc else body

    def layout(self, name: str) -> LayoutPlan:
        """The layout of that name.

        Raises:
            KeyError: there is none.
        """
        for layout in self.layouts:
            if layout.name == name:
                return layout
        raise KeyError(name)


def compile_plan(schema: Schema) -> Plan:
    """The plan of a schema. A schema that could be read always has one."""
    crc = schema.check.crc
    layouts = tuple(_layout(layout, schema.header.bits, schema.check.bits // 8) for layout in schema.layouts)
    mark = fingerprint(schema, layouts)
    seed = crc.initial if crc else 0
    if crc and schema.check.bind_schema:
        seed = crc.register_after(bytes.fromhex(mark))
    return Plan(
        schema.name, schema.version, schema.doc, schema.history, schema.header.version_bits, schema.header.layout_bits,
        layouts, crc, seed, schema.check.bind_schema, schema.check.chosen, mark,
    )  # fmt: skip


def _layout(layout: Layout, header_bits: int, check_bytes: int) -> LayoutPlan:
    offset = header_bits
    fields = []
    for field in layout.fields:
        fields.append(FieldPlan(field, offset))
        offset += field.grid.bits
    padding = 0 if layout.trail else -offset % 8
    return LayoutPlan(layout.name, layout.id, layout.doc, tuple(fields), offset, padding, check_bytes, layout.trail)
