"""The invented scene that a specification plays in, and the two ways of a packet through it.

Owns one rule: what an everyday value of each kind is. Everything else here is computed by `packetcodec.wire`.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> layout = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... ''')).layouts[0]
>>> [scene(field) for field in layout.fields]
[46.51234, 9.87654]
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.wire import FieldPlan, LayoutPlan, Plan, Point, Value, pack, to_base, to_raw, unpack

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True, slots=True)
class Encoding:
    """Values that are sent.

    Attributes:
        note: what is particular about them.
        layout: which packet.
        values: one per field as a caller gives it, None for absent.
        bases: the same in base units, before clipping and wrapping; None for absent.
        raws: the raw codes.
        data: the packet.
        points: earlier positions that are given for the trail, newest first.
        trail: those that arrive.
        left_out: whether absent fields are not named at all, instead of null.
    """

    note: str
    layout: LayoutPlan
    values: tuple[Value, ...]
    bases: tuple[int | None, ...]
    raws: tuple[int, ...]
    data: bytes
    points: tuple[Point, ...] = ()
    trail: tuple[Point, ...] = ()
    left_out: bool = False


@dataclass(frozen=True, slots=True)
class Decoding:
    """A good packet and what it says: raw codes, values as a receiver gives them, points of its trail in base units.

    `again` tells whether the values and points, encoded, give the very same packet.
    """

    note: str
    layout: LayoutPlan
    raws: tuple[int, ...]
    values: tuple[Value, ...]
    data: bytes
    trail: tuple[Point, ...] = ()
    again: bool = True


# An invented collar on an invented pasture: (kind, unit) to a value; whatever a range does not hold is its middle.
_SCENE: dict[tuple[str, str], Value] = {
    ("latitude", "degree"): 46.51234,
    ("longitude", "degree"): 9.87654,
    ("altitude", "m"): 2104.0,
    ("battery", "volt"): 3.71,
    ("battery", "percent"): 71,
    ("fix_quality", ""): 1,
    ("satellites", ""): 9,
    ("hdop", ""): 0.9,
    ("speed", "m/s"): 1.2,
    ("speed", "km/h"): 4.3,
    ("speed", "knot"): 2.3,
    ("course", "degree"): 215.5,
    ("identifier", ""): 7,
    ("counter", ""): 42,
}
_SCENE_SECONDS = 15_667_960  # half a year and some hours after the epoch


def value_of(field: FieldPlan, base: int) -> Value:
    """What a caller gives, or a receiver gets, for a number of base units."""
    if field.kind == "choice":
        return field.choices[base]
    if field.kind == "flag":
        return bool(base)
    return base + field.origin if field.scale == 1 else base / field.scale


def scene(field: FieldPlan) -> Value:
    """An everyday value of a field."""
    if field.kind == "flag":
        return True
    value = _SCENE.get((field.kind, field.unit))
    if field.kind == "time":
        value = _SCENE_SECONDS + field.origin
    if value is not None and field.low <= to_base(field, value) <= field.high - (field.modulus is not None):
        return value
    return value_of(field, (field.low + field.high) // 2 if field.kind != "choice" else (field.max_code + 1) // 2)


def encoding(plan: Plan, layout: LayoutPlan, note: str, values: Iterable[Value], points: Iterable[Point] = ()) -> Encoding:
    """The way of values, and of points for the trail, to a packet."""
    given, earlier = tuple(values), tuple(points)
    bases: list[int | None] = []
    raws = []
    for field, value in zip(layout.fields, given, strict=True):
        absent = value is None and field.absent_code is not None
        bases.append(None if absent else to_base(field, value))
        raws.append(field.absent_code if absent else to_raw(field, to_base(field, value)))
    codes = tuple(raw for raw in raws if raw is not None)
    data = pack(plan, layout, codes, earlier)
    return Encoding(note, layout, given, tuple(bases), codes, data, earlier, unpack({plan.version: plan}, data)[3])
