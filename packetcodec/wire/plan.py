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
from packetcodec.wire.field_plan import FieldPlan
from packetcodec.wire.fingerprint import fingerprint

if TYPE_CHECKING:
    from packetcodec.crc import Crc
    from packetcodec.schema import Layout, LowBits, Remark, Schema, Trail


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

    @kept
    def shifts(self) -> tuple[int, ...]:
        """Of each field: the bits behind it, as in `cuts`."""
        return tuple(below for below, _ in self.cuts)

    @kept
    def tops(self) -> tuple[tuple[int, int], ...]:
        """Of each field: its last code in use, and the code for absent (the same one again where it has none)."""
        return tuple(
            (field.max_code, field.max_code if field.absent_code is None else field.absent_code) for field in self.fields
        )

    @kept
    def lines(self) -> tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]:
        """Of each field: low, step, and the first code that is not low + code * step: absent, or cut short by the range."""
        ends = (field.max_code + (field.low + field.max_code * field.step <= field.high) for field in self.fields)
        return tuple(field.low for field in self.fields), tuple(field.step for field in self.fields), tuple(ends)

    def carried(self, data: bytes) -> tuple[int, ...]:
        """What a packet of this layout, of a possible length, carries for each field."""
        front = int.from_bytes(data, "big") >> len(data) * 8 - self.bits
        return tuple([front >> below & mask for below, mask in self.cuts])

    @kept
    def low_fields(self) -> tuple[tuple[int, FieldPlan, LowBits], ...]:
        """The fields that are sent by their low bits, in wire order: place, field, and how."""
        return tuple((place, field, field.low_bits) for place, field in enumerate(self.fields) if field.low_bits)

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
    def references(self) -> tuple[str, ...]:
        """Names of the fields that are sent by their low bits in any layout, in the order of the schema."""
        return tuple(dict.fromkeys(field.name for layout in self.layouts for _, field, _ in layout.low_fields))

    @kept
    def has_low_bits(self) -> bool:
        """Whether any field is sent by its low bits."""
        return bool(self.references)

    @kept
    def by_id(self) -> dict[int, LayoutPlan]:
        """Layout id to layout."""
        return {layout.id: layout for layout in self.layouts}

    def seal(self, body: bytes, high: bytes = b"") -> bytes:
        """A packet's header and fields with the check behind them; as they are where the schema has no check.

        The check runs over `high` first, the high parts of fields that are sent by their low bits.
        """
        return body + self.check(body, high)

    def check(self, body: bytes, high: bytes = b"") -> bytes:
        """The check of a packet's header and fields, none where the schema has no check; `high` as above."""
        crc = self.crc
        return crc.function(self.seed)(high + body).to_bytes(crc.size, crc.append_order) if crc else b""

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
        offset += field.sent_bits
    padding = 0 if layout.trail else -offset % 8
    return LayoutPlan(layout.name, layout.id, layout.doc, tuple(fields), offset, padding, check_bytes, layout.trail)
