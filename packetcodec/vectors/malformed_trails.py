"""Trails that no encoder writes, behind good fields and under a good check; and points that no encoder takes.

Owns one rule: which ways of being malformed stand in the vectors: all that the specification names, each at several
places. Which fault a packet has is not decided here: `packetcodec.wire.unpack` says it.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> next(malformed_trails(Example.everyday(plan, plan.layout("track"))))
('trail, its count 10', b'...')
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.schema import PLACE
from packetcodec.vectors.borders import unused_codes
from packetcodec.vectors.examples import Example
from packetcodec.vectors.references import Known
from packetcodec.vectors.trail_bits import at_the_poles, one_point, polewards
from packetcodec.vectors.trails import trail_encodings
from packetcodec.wire.packing import assemble
from packetcodec.wire.trail.cells import MAX_CELLS, POLE, east_step, reach
from packetcodec.wire.trail.coding import front, write_trail
from packetcodec.wire.trail.numbers import MAX_ORDER, Bits

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.schema import Trail
    from packetcodec.wire import LayoutPlan, Plan, Point, Value

#: Note and packet; where it is not at the everyday place, what is known beforehand.
Noted = tuple[str, bytes]
Malformed = Noted | tuple[str, bytes, Known]
Given = dict[str, "Value"]
_CUT = ("trail: no point", "trail: turning", "trail: wild, so that not all of it fits")


def malformed_trails(everyday: Example) -> Iterator[Malformed]:
    """Packets with a trail at fault; nothing for a layout without a trail.

    Some of them are good after all, or too long, where the limits of a layout are unusual.
    """
    trail, anchor = everyday.layout.trail, everyday.anchor
    if trail is None or anchor is None:
        return
    for note, bits in (*_counts(everyday, trail, anchor), *_numbers(everyday, trail), *_far(everyday, trail, anchor)):
        yield f"trail, {note}", everyday.assembled(bits)
    far = reach(trail.step)
    poles = [
        (there, sign * cells) for there, sign, last in at_the_poles(everyday) for cells in (last + 1, min(far, last + 1001))
    ]
    beyond = [("beyond a pole", there, (north, 0)) for there, north in poles]
    edge = [("just behind the grid", *found) for found in (*_short_of_a_pole(everyday), *_past_half_way(everyday))]
    for note, there, cell in (*beyond, *edge):
        yield f"trail, a point {note}", there.assembled(one_point(there, cell)), there.references
    yield from _lengths(everyday)
    yield from _no_position(everyday)


def _bits(value: int, width: int) -> Bits:
    bits = Bits()
    bits.put(value, width)
    return bits


def _counts(everyday: Example, trail: Trail, anchor: Point) -> Iterator[tuple[str, Bits]]:
    """Counts that are too large, without points behind them, and with as many good ones as they count."""
    if trail.points >= 1 << trail.count_bits:
        return
    shift = int(trail.coarsenings > 0)  # the zero that says: the schema's own grid
    for count in dict.fromkeys((trail.points, (1 << trail.count_bits) - 1)):
        yield f"its count {count}", _bits(count << shift, 1 + trail.count_bits + shift)
    full, kept = write_trail(trail, anchor, everyday.track([(0, 0)] * trail.points), room=10_000)
    if kept == trail.points:
        rest = full.length - 1  # all but the bit that says "full"
        bits = _bits(trail.points << rest | full.number & (1 << rest) - 1, 1 + trail.count_bits + rest)
        yield f"its count {trail.points}, and as many points", bits


def _numbers(everyday: Example, trail: Trail) -> Iterator[tuple[str, Bits]]:
    layout = everyday.layout
    bits = front(trail, trail.points, 0)
    bits.put((1 << MAX_ORDER + 2) - 1, MAX_ORDER + 2)
    yield "a number without end", bits
    bits = front(trail, trail.points, 0)
    room = max(0, (layout.longest - layout.check_bytes) * 8 - layout.bits - bits.length)
    bits.put((1 << room) - 1, room)
    yield "all ones", bits
    # The same, the ones in a later number: from the fifth of them on the order grows.
    bits = one_point(everyday, (3, -2), 1, 5, count=trail.points)
    bits.put((1 << MAX_ORDER + 8) - 1, MAX_ORDER + 8)
    yield "a number without end in its second point", bits


def _far(everyday: Example, trail: Trail, anchor: Point) -> Iterator[tuple[str, Bits]]:
    north, east = reach(trail.step) + 1, reach(east_step(trail.step, anchor.latitude)) + 1
    for way, cell in (("north", (north, 0)), ("south", (-north, 0)), ("east", (0, east)), ("west", (0, -east))):
        yield f"a point too far {way}", one_point(everyday, cell)
    if trail.altitude and anchor.altitude is not None:
        yield "a point too high", one_point(everyday, (0, 0), MAX_CELLS + 1, 5)
        yield "a point too low", one_point(everyday, (0, 0), -MAX_CELLS - 1, 5)
    if trail.interval_seed:
        yield "a point too old", one_point(everyday, (0, 0), 1, MAX_CELLS + 1)
        yield "a point from after the packet", one_point(everyday, (0, 0), 1, -1)


def _short_of_a_pole(everyday: Example) -> Iterator[tuple[Example, tuple[int, int]]]:
    """The packet near each pole, and a cell that lies beyond it by more than half a cell, but less than one."""
    for sign in (1, -1):
        for tenths in range(10, 200):  # of a thousandth of a degree
            there, trail = everyday.at(sign * (90 - tenths / 10_000), None), everyday.layout.trail
            if there and there.anchor and trail:
                cells, rest = divmod(POLE - abs(there.anchor.latitude), trail.step)
                if 0 < rest < trail.step // 2:
                    yield there, (sign * (cells + 1), 0)
                    break


def _past_half_way(everyday: Example) -> Iterator[tuple[Example, tuple[int, int]]]:
    """The packet where the grid ends half way round the globe, and the first cells behind its end."""
    for there, far in polewards(everyday):
        yield there, (0, far + (1 if far > 0 else -1))


def _lengths(everyday: Example) -> Iterator[Noted]:
    """Bits that end early, and bytes that are too many, whichever way the trail goes."""
    for example in trail_encodings(everyday.plan, everyday.layout):
        if example.note not in _CUT:
            continue
        length = 8 * len(example.body) - example.layout.bits
        tail = int.from_bytes(example.body, "big") & (1 << length) - 1
        for note, number, width in (
            *((f"cut by {cut // 8} byte{'s' * (cut > 8)}", tail >> cut, length - cut) for cut in range(8, length + 1, 8)),
            ("a byte of zero behind it", tail << 8, length + 8),
            ("a byte of ones behind it", tail << 8 | 255, length + 8),
            ("the last bit of its padding set", tail | 1, length),
        ):
            yield f"{example.note}, {note}", example.assembled(_bits(number, width))


def _no_position(everyday: Example) -> Iterator[Noted]:
    """Bits of a trail in a packet that has nothing to count them from."""
    lost, padding = everyday.without(*PLACE), -everyday.layout.bits % 8
    if lost is None:
        return
    wrong = [("a byte of zero", 0, 8 + padding), ("a point", 1 << 6, 8 + padding)]
    wrong += [("its first bit set", 1 << padding >> 1, padding), ("its last bit set", 1, padding)] if padding else []
    for what, number, width in wrong:
        yield f"trail, {what}, but no position", lost.assembled(_bits(number, width))


def trail_and_another(everyday: Example) -> Iterator[Noted]:
    """A trail that cannot be read, and a fault that is noticed before it."""
    bits = _bits(255, 8 + -everyday.layout.bits % 8)
    if everyday.plan.crc:
        broken = everyday.assembled(bits)
        yield "a bad trail, and a wrong check", broken[:-1] + bytes([broken[-1] ^ 1])
    for place, field in enumerate(everyday.layout.fields):
        if field.max_code + 1 in unused_codes(field):
            codes = everyday.coded(place, field.max_code + 1)
            yield "a bad trail, and an unused code", assemble(everyday.plan, everyday.layout, codes, bits)
            break


def refused_points(plan: Plan, layout: LayoutPlan) -> Iterator[tuple[str, Example, list[Given]]]:
    """Note, values of the fields, and points of a trail of which one is at fault, all as a caller gives them."""
    everyday, trail = Example.everyday(plan, layout), layout.trail
    good: Given = {"latitude": 46.5, "longitude": 9.8}
    if trail is None:
        yield "a point, but no trail in this layout", everyday, [good]
        return
    good |= {"altitude": 2100.0} if trail.altitude else {}
    good |= {"age": 30} if trail.interval_seed else {}
    for note, wrong in _wrong(trail, good):
        yield note, everyday, [wrong]
    far: Given = {"latitude": 90.5}
    yield "the second of three", everyday, [good, good | far, good]
    yield "the one behind the most that are sent", everyday, [*[good] * trail.points, good | far]
    yield "one behind a point that cannot be carried", everyday, [good | {"latitude": -89.0}, good | far]
    if lost := everyday.without(*PLACE):
        yield "a packet without a position", lost, [good | far]


def _wrong(trail: Trail, good: Given) -> Iterator[tuple[str, Given]]:
    """Points with one wrong member."""
    names = [("latitude", 90.0, -90.0, 1e-7), ("longitude", 180.0, -180.0, 1e-7)]
    names += [("altitude", 10_100_000.0, -10_100_000.0, 0.01)] if trail.altitude else []
    names += [("age", 2_147_483_647, 0, 1)] if trail.interval_seed else []
    for name, most, least, step in names:
        wrong: list[tuple[str, Value]] = [("just above the range", most + step), ("just below the range", least - step)]
        wrong.append(("above the range by a tenth of a base unit, before rounding", most + step / 10))
        wrong.append(("below the range by a tenth of a base unit, before rounding", least - step / 10))
        wrong += [("so large that the product is infinite", 1.7e308), ("a text, not a number", "one")]
        wrong.append(("yes, not a number", True))
        if name in ("latitude", "longitude"):
            wrong.append(("null", None))
        yield from ((f"{name} {note}", good | {name: value}) for note, value in wrong)
        if name in ("latitude", "longitude"):
            yield f"{name} missing", {other: value for other, value in good.items() if other != name}
