"""Trails worth showing: motions of every sort, places where arithmetic is hard, and bits that no encoder writes.

Owns one rule: which trails stand in the vectors. They follow from the plan (its grid, its limits, its starting values);
what each leads to is computed by `packetcodec.wire`.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> [(example.note, len(example.trail)) for example in trail_encodings(plan, plan.layout("track"))][:3]
[('trail: no point', 0), ('trail: one point', 1), ('trail: all points but one, straight on', 9)]
"""

from __future__ import annotations

from itertools import cycle, islice
from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault
from packetcodec.schema import PLACE, Role
from packetcodec.vectors.examples import Decoding, Example, decoding
from packetcodec.vectors.trail_bits import POLEWARDS, by_hand, goes_round
from packetcodec.wire import LayoutPlan, Plan, Point, from_raw, to_value
from packetcodec.wire.trail.cells import CIRCLE, HALF_CIRCLE, MAX_CELLS, POLE, east_step, place_of, reach
from packetcodec.wire.trail.coding import read_front, write_trail
from packetcodec.wire.trail.numbers import Reader

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.schema import Trail

Moves = list[tuple[int, int]]

_ROUND = ((8, 0), (7, 4), (4, 7), (0, 8), (-4, 7), (-7, 4), (-8, 0), (-7, -4), (-4, -7), (0, -8), (4, -7), (7, -4))
_SOUTHWARD = ((7, 5), (6, 6), (8, 4), (7, 6), (6, 3))  # moves to the south and west, in cells
_JUST_WEST = -179.9997  # degrees: the antimeridian is a few steps away
_WILDEST = 1 << 18  # 4096ths of wild moves
_SEARCHED = 4096  # codes of the longitude, for one from which whole cells lead to the antimeridian
#: What is particular, latitude and longitude of the packet, and the moves from there.
_PLACES = (
    ("eastwards across the antimeridian", None, 179.999, (3, 60)),
    ("westwards across the antimeridian", None, -179.999, (-3, -60)),
    ("over the north pole, as far as the grid goes", 89.9995, None, (4, 40)),
    ("over the south pole, as far as the grid goes", -89.9995, None, (-4, -40)),
    ("south of the equator, west of Greenwich", -33.3, -70.6, (-5, 6)),
)


def walk(example: Example) -> tuple[Point, ...]:
    """Three points of an everyday walk, none of them in the middle of its cell; none for a layout without a trail."""
    if example.layout.trail is None:
        return ()
    off = example.layout.trail.step // 3
    return tuple(
        point._replace(latitude=point.latitude + off, longitude=point.longitude - off)
        for point in example.track([(5, 3), (6, 2), (4, 4)])
    )


def full_trail(example: Example) -> Example | None:
    """A trail as full as may be, southward and westward, across the antimeridian, on a coarser grid where there is one.

    None for a layout without a trail. It is for reading: the vectors have their own.
    """
    trail = example.layout.trail
    start = example.at(None, _JUST_WEST) or example.at(None, None)
    if trail is None or start is None:
        return None
    found = None
    for factor in (1 << power for power in range(16)):
        moves = [(-factor * north, -factor * east) for north, east in islice(cycle(_SOUTHWARD), trail.points)]
        points = [point._replace(latitude=point.latitude - trail.step // 3) for point in start.track(moves)]
        full = start.but("a full trail, southward and westward", points)
        if len(full.trail) < trail.points:
            break
        found = full
        if coarsening(full) == min(1, trail.coarsenings):
            break
    return found


def farther(example: Example, factor: int) -> Example:
    """The example with each of its points so many times as far from the anchor."""
    _, anchor = example.grid
    points = []
    for point in example.points:
        east = (point.longitude - anchor.longitude + HALF_CIRCLE) % CIRCLE - HALF_CIRCLE
        latitude = max(-POLE, min(POLE, anchor.latitude + factor * (point.latitude - anchor.latitude)))
        longitude = (anchor.longitude + factor * east + HALF_CIRCLE) % CIRCLE - HALF_CIRCLE
        points.append(point._replace(latitude=latitude, longitude=longitude))
    return example.but(example.note, points)


def coarsening(example: Example) -> int:
    """How often the grid of a packet's trail was doubled."""
    trail, _ = example.grid
    return read_front(trail, Reader(int.from_bytes(example.body, "big"), 8 * len(example.body) - example.layout.bits))[1]


def trail_encodings(plan: Plan, layout: LayoutPlan) -> Iterator[Example]:
    """Values and points to encode, for a layout with a trail."""
    everyday, trail = Example.everyday(plan, layout), layout.trail
    if trail is None or everyday.anchor is None:
        return
    for note, moves in _tracks(trail):
        yield everyday.but(f"trail: {note}", everyday.track(moves))
    for note, points in (*_borders(trail, everyday), *_unfit(trail, everyday)):
        yield everyday.but(f"trail: {note}", points)
    yield from _half_way(everyday)
    yield from _landings(everyday)
    for note, latitude, longitude, move in _PLACES:
        if there := everyday.at(latitude, longitude):
            yield there.but(f"trail: {note}", there.track([move] * trail.points))
    three = everyday.track([(3, 4)] * 3)
    if tight := _just_fits(everyday):
        yield tight
    for roles, note in ((PLACE, "no position"), ((Role.HEIGHT,), "no altitude")):
        if lost := everyday.without(*roles):
            yield lost.but(f"trail: {note}, points given", three)
    for place, field in enumerate(layout.fields):
        if field.name == trail.spacing_field:
            for code in (0, field.max_code, *([] if field.absent_code is None else [field.absent_code])):
                value = to_value(field, code)
                yield everyday.given(place, value).but(f"trail: spacing {value}", three)


def trail_decodings(plan: Plan, layout: LayoutPlan) -> Iterator[Decoding]:
    """Good packets with trails: those that `trail_encodings` lead to, and some that only a decoder meets."""
    seen: set[bytes] = set()
    made = [(example.note, example, example.data) for example in trail_encodings(plan, layout)]
    put = [(note, example, example.assembled(bits)) for note, example, bits in by_hand(plan, layout)]
    for note, example, data in [*made, *put]:
        if data not in seen:
            seen.add(data)
            try:
                yield decoding(plan, layout, note, data, example.references)
            except PacketFault:  # a trail by hand that this layout's limits do not hold
                continue


def _tracks(trail: Trail) -> Iterator[tuple[str, Moves]]:
    most = trail.points
    yield "no point", []
    yield "one point", [(3, -2)]
    yield "all points but one, straight on", [(7, 4)] * (most - 1)
    yield "all points, straight on", [(7, 4)] * most
    yield "one point more than there may be", [(7, 4)] * (most + 1)
    yield "standing still", [(0, 0)] * most
    yield "grazing", list(islice(cycle(((1, 0), (0, -1), (-2, 1), (0, 0), (0, 2))), most))
    yield "turning", list(islice(cycle(_ROUND), most))
    yield "speeding up", [(-number, 2 * number) for number in range(1, most + 1)]
    yield "walking, then flying", [(2, -1)] * (most // 2) + [(60, 25)] * (most - most // 2)
    yield "walking, then milling about", [(12, 8)] * min(3, most) + list(islice(cycle(((-5, 5), (5, -5))), max(0, most - 3)))
    yield "a jump of the first point", [(9000, -7000), (2, 1), (2, 1)]
    yield "a jump there and back", [(7, 4), (7, 4), (4000, -3000), (-4000, 3000), (7, 4)]
    yield "wild, so that not all of it fits", _wild(most)


def _wild(count: int) -> Moves:
    """Moves of every size up to 4000 cells, from a generator of numbers that every language has: n * 1103515245 + 12345."""
    number, found = 1, []
    for _ in range(2 * count):
        number = (number * 1_103_515_245 + 12_345) % 2**31
        found.append(number // 2**16 % 8001 - 4000)
    return list(zip(found[::2], found[1::2], strict=True))


def _borders(trail: Trail, everyday: Example) -> Iterator[tuple[str, tuple[Point, ...]]]:
    """Points at the borders of cells, and as far away as the grid goes."""
    model, anchor = everyday.track([(0, 0)] * 3), everyday.anchor
    if anchor is None or not model:
        return
    wide = east_step(trail.step, anchor.latitude)
    for sign, word in ((1, "north and east"), (-1, "south and west")):
        halves = ((trail.step - 1) // 2, (wide - 1) // 2), ((trail.step + 1) // 2, (wide + 1) // 2)
        offsets = (*halves, (trail.step // 2 + trail.step, wide // 2 + wide))
        yield (
            f"at the border of a cell, {word}",
            tuple(
                point._replace(latitude=anchor.latitude + sign * north, longitude=anchor.longitude + sign * east)
                for point, (north, east) in zip(model, offsets, strict=True)
            ),
        )
    far, round_ = reach(trail.step), min(reach(wide), (HALF_CIRCLE - 1) // wide)
    for word, cell in (("north", (far, 0)), ("south", (-far, 0)), ("east", (0, round_)), ("west", (0, -round_))):
        place = place_of(anchor[:2], cell, trail.step)
        if place is not None:
            yield f"as far {word} as can be", (model[0]._replace(latitude=place[0], longitude=place[1]), model[1])


def _just_fits(everyday: Example) -> Example | None:
    """A full trail that has room only since the front of one is shorter than that of any other, where one is found."""
    trail, anchor = everyday.grid
    layout = everyday.layout
    room = 8 * (layout.longest - layout.check_bytes) - layout.bits
    wild, scale = _wild(trail.points), 1
    while scale < _WILDEST:
        points = everyday.track([(north * scale // 4096, east * scale // 4096) for north, east in wild])
        bits, kept = write_trail(trail, anchor, points, room=10_000)
        if bits.length > room or kept < trail.points:
            break
        if bits.length + trail.count_bits > room:
            return everyday.but("trail: all points, for which only the short front leaves room", points)
        scale += 1 + scale // 32
    return None


def _sent(example: Example, longitude: int) -> Example:
    """One point as far north as the anchor, with all that a trail carries."""
    trail, anchor = example.grid
    altitude = anchor.altitude or 0
    point = Point(anchor.latitude, longitude, altitude if trail.altitude else None, 5 if trail.interval_seed else None)
    return example.but(example.note, [point])


def _half_way(everyday: Example) -> Iterator[Example]:
    """Points exactly half way round the globe, where a cell is so wide that the grid goes there: either way is as short."""
    for longitude, word in ((9.87654, "west"), (-9.87654, "east")):
        for latitude in POLEWARDS:
            there = everyday.at(latitude, longitude)
            if there and there.anchor and goes_round(there):
                east = there.anchor.longitude
                opposite = east + (HALF_CIRCLE if east < 0 else -HALF_CIRCLE)
                yield _sent(there.but(f"trail: a point half way round, {word} in numbers"), opposite)
                break


def _landings(everyday: Example) -> Iterator[Example]:
    """Points whose cells lie exactly at the antimeridian, which is told as -180 degrees."""
    trail, anchor = everyday.layout.trail, everyday.anchor
    place, field = next(found for found in enumerate(everyday.layout.fields) if found[1].kind.role is Role.EAST)
    if not field.modulus or trail is None or anchor is None:
        return
    wide = east_step(trail.step, anchor.latitude)
    for sign, word, codes in ((1, "eastwards", range(field.max_code, 0, -1)), (-1, "westwards", range(1, field.max_code))):
        for code in islice(codes, _SEARCHED):
            way = HALF_CIRCLE - sign * from_raw(field, code)
            if way % wide == 0 and 0 < way // wide <= reach(wide):
                there = everyday.given(place, to_value(field, code))
                yield _sent(there.but(f"trail: exactly to the antimeridian, {word}"), sign * HALF_CIRCLE)
                break


def _unfit(trail: Trail, everyday: Example) -> Iterator[tuple[str, tuple[Point, ...]]]:
    """Points that cannot be carried: they and all older ones stay behind."""
    model, anchor = everyday.track([(3, 4)] * 4), everyday.anchor
    if len(model) < 4 or anchor is None:
        return
    third = model[2]

    far = anchor.latitude + trail.step * (reach(trail.step) + 1) * (-1 if anchor.latitude > 0 else 1)
    if abs(far) <= POLE:
        yield "the third point beyond the reach", (*model[:2], third._replace(latitude=far), model[3])
    wide = east_step(trail.step, anchor.latitude)
    longitude = anchor.longitude + wide * (reach(wide) + 1)
    if wide * (reach(wide) + 1) < HALF_CIRCLE and longitude <= HALF_CIRCLE:
        yield "the first point beyond the reach", (model[0]._replace(longitude=longitude), *model[1:])
    if trail.altitude:
        yield "the third point without an altitude", (*model[:2], third._replace(altitude=None), model[3])
    if trail.interval_seed:
        yield "the third point younger than the second", (*model[:2], third._replace(age=0), model[3])
        yield "the third point without an age", (*model[:2], third._replace(age=None), model[3])
        yield "the second point too old", (model[0], model[1]._replace(age=MAX_CELLS + 1), *model[2:])
