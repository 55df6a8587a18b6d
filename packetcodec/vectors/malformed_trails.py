"""Trails that no encoder writes, behind good fields and under a good check; and points that no encoder takes.

Owns one rule: which ways of being malformed stand in the vectors: all that the specification names, each at several
places. Which fault a packet has is not decided here: `packetcodec.wire.unpack` says it.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... trail = { points = 3, resolution_m = 2.5, spacing = 10 }
... '''))
>>> next(bad_trails(plan, plan.layouts[0]))[0]
'beacon: trail, its count 3'
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.vectors.examples import encoding, scene
from packetcodec.vectors.trails import assembled, first_point, front, head_at, moved_to, trail_encodings, without
from packetcodec.wire.trail.cells import MAX_CELLS, POLE, east_step, reach
from packetcodec.wire.trail.coding import write_trail
from packetcodec.wire.trail.numbers import MAX_ORDER, Bits

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from packetcodec.schema import Trail
    from packetcodec.wire import LayoutPlan, Plan, Point, Value

Broken = tuple[str, bytes, bool]
Given = dict[str, "Value"]


def bad_trails(plan: Plan, layout: LayoutPlan) -> Iterator[Broken]:
    """Note, packet, and whether it has two faults; nothing for a layout without a trail.

    Some of them are good after all, or too long, where the limits of a layout are unusual.
    """
    trail = layout.trail
    if trail is None:
        return
    everyday = [scene(field) for field in layout.fields]
    raws = encoding(plan, layout, "", everyday).raws
    head = head_at(plan, layout, everyday)
    if head is None:
        return
    wrong = (*_counts(trail), *_counted(plan, layout, everyday), *_numbers(layout, trail, head), *_far(trail, head))
    for note, bits in wrong:
        yield f"{layout.name}: trail, {note}", assembled(plan, layout, raws, bits), False
    for latitude, sign in ((89.9995, 1), (-89.9995, -1)):
        values = moved_to(layout, everyday, latitude, None)
        there = values and head_at(plan, layout, values)
        if values and there:
            beyond = (POLE - abs(there.latitude) + trail.step // 2) // trail.step + 1
            for cells in (beyond, min(reach(trail.step), beyond + 1000)):
                note = f"{layout.name}: trail, a point beyond a pole"
                moved = encoding(plan, layout, "", values).raws
                yield note, assembled(plan, layout, moved, _one(trail, there, (sign * cells, 0))), False
    yield from _lengths(plan, layout)
    lost = without(layout, everyday, ("latitude", "longitude"))
    if lost:
        absent = encoding(plan, layout, "", lost).raws
        for note, width, value in (
            ("a byte of zero, but no position", 8 + -layout.bits % 8, 0),
            ("a point, but no position", 8 + -layout.bits % 8, 1 << 6),
            ("its first bit set, but no position", -layout.bits % 8, 1 << -layout.bits % 8 >> 1),
            ("its last bit set, but no position", -layout.bits % 8, 1),
        ):
            if width:
                bits = Bits()
                bits.put(value, width)
                yield f"{layout.name}: trail, {note}", assembled(plan, layout, absent, bits), False
    yield from _with_another(plan, layout, raws)


def _one(trail: Trail, head: Point, place: tuple[int, int], climb: int = 0, age: int = 0) -> Bits:
    bits = front(trail, 1 if trail.points > 1 else -1)
    first_point(trail, bits, head, place, climb, age)
    return bits


def _counts(trail: Trail) -> Iterator[tuple[str, Bits]]:
    for count in dict.fromkeys((trail.points, (1 << trail.count_bits) - 1)):
        if trail.points <= count < 1 << trail.count_bits:
            yield f"its count {count}", front(trail, count)


def _counted(plan: Plan, layout: LayoutPlan, everyday: Sequence[Value]) -> Iterator[tuple[str, Bits]]:
    """A count that is too large by all the points that it counts, each of them good."""
    trail, head = layout.trail, head_at(plan, layout, everyday)
    still = [case.points for case in trail_encodings(plan, layout) if case.note == "trail: standing still"]
    if trail is None or head is None or not still or trail.points >= 1 << trail.count_bits:
        return
    full, kept = write_trail(trail, head, still[0], room=10_000)
    if kept == trail.points:
        bits = Bits()
        bits.put(trail.points, 1 + trail.count_bits)
        bits.put(full.number & (1 << full.length - 1) - 1, full.length - 1)  # all but the bit that says "full"
        yield f"its count {trail.points}, and as many points", bits


def _numbers(layout: LayoutPlan, trail: Trail, head: Point) -> Iterator[tuple[str, Bits]]:
    bits = front(trail, -1)
    bits.put((1 << MAX_ORDER + 2) - 1, MAX_ORDER + 2)
    yield "a number without end", bits
    bits = front(trail, -1)
    room = max(0, (layout.longest - layout.check_bytes) * 8 - layout.bits - bits.length)
    bits.put((1 << room) - 1, room)
    yield "all ones", bits
    # The same, the ones in a later number: from the fifth of them on the order grows.
    bits = front(trail, -1)
    first_point(trail, bits, head, (3, -2), 1, 5)
    bits.put((1 << MAX_ORDER + 8) - 1, MAX_ORDER + 8)
    yield "a number without end in its second point", bits


def _far(trail: Trail, head: Point) -> Iterator[tuple[str, Bits]]:
    north, east = reach(trail.step) + 1, reach(east_step(trail.step, head.latitude)) + 1
    for note, place in (
        ("a point too far north", (north, 0)),
        ("a point too far south", (-north, 0)),
        ("a point too far east", (0, east)),
        ("a point too far west", (0, -east)),
    ):
        yield note, _one(trail, head, place)
    if trail.altitude_step and head.altitude is not None:
        yield "a point too high", _one(trail, head, (0, 0), MAX_CELLS + 1, 5)
        yield "a point too low", _one(trail, head, (0, 0), -MAX_CELLS - 1, 5)
    if trail.interval_seed:
        yield "a point too old", _one(trail, head, (0, 0), 1, MAX_CELLS + 1)
        yield "a point from after the packet", _one(trail, head, (0, 0), 1, -1)


def _lengths(plan: Plan, layout: LayoutPlan) -> Iterator[Broken]:
    """Bits that end early, and bytes that are too many, whichever way the trail goes."""
    for case in trail_encodings(plan, layout):
        if case.note not in {"trail: no point", "trail: turning", "trail: wild, so that not all of it fits"}:
            continue
        number = int.from_bytes(case.data, "big") >> layout.check_bytes * 8
        length = (len(case.data) - layout.check_bytes) * 8
        tail = number & (1 << length - layout.bits) - 1
        name = f"{layout.name}: {case.note}"
        for missing in range(8, length - layout.bits + 1, 8):
            bits = Bits()
            bits.put(tail >> missing, length - layout.bits - missing)
            yield f"{name}, cut by {missing // 8} byte{'s' * (missing > 8)}", assembled(plan, layout, case.raws, bits), False
        for note, width, value in (("a byte of zero behind it", 8, 0), ("a byte of ones behind it", 8, 255)):
            bits = Bits()
            bits.put(tail << width | value, length - layout.bits + width)
            yield f"{name}, {note}", assembled(plan, layout, case.raws, bits), False
        bits = Bits()
        bits.put(tail | 1, length - layout.bits)
        yield f"{name}, the last bit of its padding set", assembled(plan, layout, case.raws, bits), False


def _with_another(plan: Plan, layout: LayoutPlan, raws: tuple[int, ...]) -> Iterator[Broken]:
    """A trail that cannot be read, and a fault that is noticed before it."""
    bits = Bits()
    bits.put(255, 8 + -layout.bits % 8)
    broken = assembled(plan, layout, raws, bits)
    if plan.crc:
        yield f"{layout.name}: a bad trail, and a wrong check", broken[:-1] + bytes([broken[-1] ^ 1]), True
    for index, field in enumerate(layout.fields):
        if field.max_code + 1 < 1 << field.bits and field.max_code + 1 != field.absent_code:
            codes = (*raws[:index], field.max_code + 1, *raws[index + 1 :])
            yield f"{layout.name}: a bad trail, and an unused code", assembled(plan, layout, codes, bits), True
            break


def refused_points(layout: LayoutPlan) -> Iterator[tuple[str, list[Value], list[Given]]]:
    """Note, values of the fields, and points of a trail of which one is at fault, all as a caller gives them."""
    everyday = [scene(field) for field in layout.fields]
    trail = layout.trail
    if trail is None:
        yield "a point, but no trail in this layout", everyday, [{"latitude": 46.5, "longitude": 9.8}]
        return
    good: Given = {"latitude": 46.5, "longitude": 9.8}
    good |= {"altitude": 2100.0} if trail.altitude_step else {}
    good |= {"age": 30} if trail.interval_seed else {}
    for note, wrong in _wrong(trail):
        first = {name: value for name, value in (good | wrong).items() if value != _MISSING}
        yield note, everyday, [first]
    far: Given = {"latitude": 90.5}
    yield "the second of three", everyday, [good, good | far, good]
    yield "the one behind the most that are sent", everyday, [*[good] * trail.points, good | far]
    yield "one behind a point that cannot be carried", everyday, [good | {"latitude": -89.0}, good | far]
    lost = without(layout, everyday, ("latitude", "longitude"))
    if lost:
        yield "a packet without a position", lost, [good | far]


_MISSING = "missing"


def _wrong(trail: Trail) -> Iterator[tuple[str, Given]]:
    """What makes a point wrong: the members that differ."""
    names = [("latitude", 90.0, -90.0, 1e-7), ("longitude", 180.0, -180.0, 1e-7)]
    names += [("altitude", 10_100_000.0, -10_100_000.0, 0.01)] if trail.altitude_step else []
    names += [("age", 2_147_483_647, 0, 1)] if trail.interval_seed else []
    for name, most, least, step in names:
        yield f"{name} just above the range", {name: most + step}
        yield f"{name} just below the range", {name: least - step}
        yield f"{name} above the range by a tenth of a base unit, before rounding", {name: most + step / 10}
        yield f"{name} below the range by a tenth of a base unit, before rounding", {name: least - step / 10}
        yield f"{name} so large that the product is infinite", {name: 1.7e308}
        yield f"{name} a text, not a number", {name: "one"}
        yield f"{name} yes, not a number", {name: True}
        if name in ("latitude", "longitude"):
            yield f"{name} null", {name: None}
            yield f"{name} missing", {name: _MISSING}
