"""Values of one packet and all that is made of them: base units, codes, bytes, and the points that arrive.

Owns one rule: the everyday packet of a layout, from which all other vectors start. What it leads to is computed by
`packetcodec.wire`.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> example = Example.everyday(plan, plan.layout("position"))
>>> example.values[:3], example.data.hex()
((7, 42, 46.51234), '11072abad13d02afae8bcf480f2c')
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.schema import DEGREE, MAX_ALTITUDE, Form, Role
from packetcodec.vectors.references import Known, usual
from packetcodec.wire import FieldPlan, LayoutPlan, Plan, Point, Value, anchor_of, pack, to_base, to_raw, to_value, unpack
from packetcodec.wire.low_bits import known
from packetcodec.wire.packing import assemble
from packetcodec.wire.quantize import from_base
from packetcodec.wire.trail.cells import place_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from packetcodec.schema import Trail
    from packetcodec.wire.trail.numbers import Bits

#: Most fields that are tried, each counted as often as its layout has fields.
MAX_TRIED = 8192
_CLIMB = (2, 3, 3, 1, 0, -1, -4, 0)  # from point to point, in cells of altitude


@dataclass(frozen=True)
class Example:
    """Values and points that are sent.

    Attributes:
        plan, layout: of the packet.
        values: one per field as a caller gives it, None for absent.
        points: earlier positions that are given for the trail, newest first, in base units.
        note: what is particular about it.
        left_out: whether absent fields are not named at all, instead of null.
    """

    plan: Plan
    layout: LayoutPlan
    values: tuple[Value, ...]
    points: tuple[Point, ...] = ()
    note: str = ""
    left_out: bool = False

    @classmethod
    def everyday(cls, plan: Plan, layout: LayoutPlan) -> Example:
        """The everyday packet of a layout, without points."""
        return cls(plan, layout, tuple(map(everyday_value, layout.fields)), note="everyday values")

    @cached_property
    def bases(self) -> tuple[int | None, ...]:
        """The values in base units, before clipping and wrapping; None for absent."""
        return tuple(map(base_of, self.layout.fields, self.values))

    @cached_property
    def codes(self) -> tuple[int, ...]:
        """The raw codes."""
        pairs = zip(self.layout.fields, self.bases, strict=True)
        return tuple(field.absent_code or 0 if base is None else to_raw(field, base) for field, base in pairs)

    @cached_property
    def anchor(self) -> Point | None:
        """The position as it is decoded, which the points of a trail are counted from; None without trail or position."""
        return anchor_of(self.layout, self.codes) if self.layout.trail else None

    @property
    def grid(self) -> tuple[Trail, Point]:
        """The trail of the layout and the anchor: what points are counted by, and from where.

        Raises:
            ValueError: there is no trail, or no position.
        """
        if self.layout.trail is None or self.anchor is None:
            raise ValueError(f"{self.layout.name}: no trail, or no position to count it from")
        return self.layout.trail, self.anchor

    @cached_property
    def data(self) -> bytes:
        """The packet."""
        return pack(self.plan, self.layout, self.codes, self.points)

    @cached_property
    def body(self) -> bytes:
        """The packet without its check."""
        return self.data[: len(self.data) - self.layout.check_bytes]

    @cached_property
    def references(self) -> Known:
        """What a receiver knows of fields that are sent by their low bits, in base units."""
        return usual(self.layout, self.codes)

    @cached_property
    def trail(self) -> tuple[Point, ...]:
        """The points that arrive."""
        return unpack({self.plan.version: self.plan}, self.data, known(self.references))[3]

    def but(self, note: str, points: Iterable[Point] = ()) -> Example:
        """The same values with other points, under another note."""
        return replace(self, note=note, points=tuple(points))

    def given(self, place: int, value: Value) -> Example:
        """The same with another value of one field."""
        return replace(self, values=(*self.values[:place], value, *self.values[place + 1 :]))

    def coded(self, place: int, code: int) -> tuple[int, ...]:
        """The codes with another one of one field."""
        return (*self.codes[:place], code, *self.codes[place + 1 :])

    def at(self, latitude: float | None, longitude: float | None) -> Example | None:
        """The same at another place (degrees; None stays), or None where a range does not hold it."""
        moved = self
        for place, field in enumerate(self.layout.fields):
            wanted = {Role.NORTH: latitude, Role.EAST: longitude, None: None}.get(field.kind.role)
            if wanted is not None:
                if not field.low <= wanted * DEGREE <= field.max_input:
                    return None
                moved = moved.given(place, wanted)
        return moved if moved.anchor else None

    def without(self, *roles: Role) -> Example | None:
        """The same with all fields of these roles (none named: of all) absent that may be; None where none may."""
        lost = [field.absent_code is not None and (not roles or field.kind.role in roles) for field in self.layout.fields]
        if not any(lost):
            return None
        return replace(self, values=tuple(None if gone else value for gone, value in zip(lost, self.values, strict=True)))

    def track(self, moves: Iterable[tuple[int, int]]) -> tuple[Point, ...]:
        """The points of moves back from the anchor, north and east in cells, as far as they stay on the globe."""
        trail, anchor, points = self.layout.trail, self.anchor, list[Point]()
        if trail is None or anchor is None:
            return ()
        north = east = climb = age = 0
        for number, (up, right) in enumerate(moves):
            north, east = north + up, east + right
            climb += _CLIMB[number % len(_CLIMB)] * (trail.altitude.step if trail.altitude else 0)
            age += (trail.interval_seed or 0) + (number % 3 == 1)
            place = place_of(anchor[:2], (north, east), trail.step)
            if place is None:
                break
            altitude = max(-MAX_ALTITUDE, min(MAX_ALTITUDE, (anchor.altitude or 0) + climb)) if trail.altitude else None
            points.append(Point(*place, altitude, age if trail.interval_seed else None))
        return tuple(points)

    def assembled(self, bits: Bits) -> bytes:
        """The packet with any bits behind its fields, padded, under a good check."""
        return assemble(self.plan, self.layout, self.codes, bits)


def tried_fields(plan: Plan, layout: LayoutPlan) -> tuple[FieldPlan, ...]:
    """The fields of a layout whose borders are tried one by one: all of them, unless the plan is very large.

    Each makes packets in which all fields are written down. So fields tried times fields of their layout, added over the
    layouts, stay within `MAX_TRIED`: the vectors of a plan of any size have some 30 MB at most.
    """
    left = MAX_TRIED
    for other in plan.layouts:
        count = min(len(other.fields), left // len(other.fields))
        if other is layout:
            break
        left -= count * len(other.fields)
    return layout.fields[:count]


def is_cut(plan: Plan) -> bool:
    """Whether some fields of a plan are not tried."""
    return any(len(tried_fields(plan, layout)) < len(layout.fields) for layout in plan.layouts)


class Decoding(NamedTuple):
    """A good packet and what it says.

    `again` tells whether the values and points, encoded, give the very same packet; `references` is what must be known
    beforehand.
    """

    note: str
    layout: LayoutPlan
    codes: tuple[int, ...]
    values: tuple[Value, ...]
    data: bytes
    trail: tuple[Point, ...] = ()
    again: bool = True
    references: Known | None = None


def decoding(plan: Plan, layout: LayoutPlan, note: str, data: bytes, references: Known) -> Decoding:
    """What a packet says.

    Raises:
        PacketFault: it is no good packet.
    """
    _, _, codes, points = unpack({plan.version: plan}, data, known(references))
    again = pack(plan, layout, codes, points) == data
    return Decoding(note, layout, codes, tuple(map(to_value, layout.fields, codes)), data, points, again, references)


def base_of(field: FieldPlan, value: Value) -> int | None:
    """A value in base units, before clipping and wrapping; None where it is absent, and may be."""
    return None if value is None and field.absent_code is not None else to_base(field, value)


def everyday_value(field: FieldPlan) -> Value:
    """An everyday value of a field."""
    if field.kind.form is Form.FLAG:
        return True
    value = field.unit.everyday
    if value is not None and field.kind.form is Form.TIME:
        value += field.origin
    if value is not None and field.low <= to_base(field, value) <= field.high - (field.modulus is not None):
        return value
    return from_base(field, (field.low + field.high + (field.kind.form is Form.CHOICE)) // 2)
