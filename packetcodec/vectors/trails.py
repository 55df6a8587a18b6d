"""Trails worth showing: motions of every sort, places where arithmetic is hard, and bits that no encoder writes.

Owns one rule: which trails stand in the vectors. They follow from the plan (its grid, its limits, its starting values);
what each leads to is computed by `packetcodec.wire`.

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
>>> [(case.note, len(case.trail)) for case in trail_encodings(plan, plan.layouts[0])][:3]
[('trail: no point', 0), ('trail: one point', 1), ('trail: all points but one, straight on', 2)]
"""

from __future__ import annotations

from itertools import cycle, islice
from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault
from packetcodec.vectors.examples import Decoding, Encoding, encoding, scene
from packetcodec.wire import LayoutPlan, Plan, Point, Value, anchor_of, from_raw, pack, to_value, unpack
from packetcodec.wire.trail.cells import HALF_CIRCLE, MAX_CELLS, POLE, east_step, place_of, reach
from packetcodec.wire.trail.numbers import Bits, Scale, put

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from packetcodec.schema import Trail

Moves = list[tuple[int, int]]

_ROUND = ((8, 0), (7, 4), (4, 7), (0, 8), (-4, 7), (-7, 4), (-8, 0), (-7, -4), (-4, -7), (0, -8), (4, -7), (7, -4))
_CLIMB = (2, 3, 3, 1, 0, -1, -4, 0)
_POLEWARDS = (89.5, 85.0, 81.0, 75.0, 60.0, 46.5)  # the cells get wider towards a pole
_SEARCHED = 4096  # codes of the longitude, for one from which whole cells lead to the antimeridian


def walk(plan: Plan, layout: LayoutPlan, values: Sequence[Value]) -> tuple[Point, ...]:
    """Three points of an everyday walk, none of them in the middle of its cell; none for a layout without a trail."""
    if layout.trail is None or (head := head_at(plan, layout, values)) is None:
        return ()
    off = layout.trail.step // 3
    return tuple(
        point._replace(latitude=point.latitude + off, longitude=point.longitude - off)
        for point in _track(layout.trail, head, [(5, 3), (6, 2), (4, 4)])
    )


def ages(layout: LayoutPlan, raws: Sequence[int], points: Sequence[Point]) -> tuple[int | None, ...]:
    """The seconds of each point before its packet's position, or None."""
    trail = layout.trail
    if trail is None:
        return ()
    spacing = trail.spacing or None
    for field, raw in zip(layout.fields, raws, strict=True):
        if field.name == trail.spacing_field and raw != field.absent_code:
            spacing = from_raw(field, raw)
    if trail.interval_seed:
        return tuple(point.age for point in points)
    return tuple(None if spacing is None else number * spacing for number in range(1, len(points) + 1))


def trail_encodings(plan: Plan, layout: LayoutPlan) -> Iterator[Encoding]:
    """Values and points to encode, for a layout with a trail."""
    trail = layout.trail
    if trail is None:
        return
    everyday = [scene(field) for field in layout.fields]
    head = head_at(plan, layout, everyday)
    if head is None:
        return
    for note, moves in _motions(trail):
        yield encoding(plan, layout, f"trail: {note}", everyday, _track(trail, head, moves))
    for note, points in (*_borders(trail, head), *_unfit(trail, head)):
        yield encoding(plan, layout, f"trail: {note}", everyday, points)
    for note, given, point in (*_half_way(plan, layout, everyday), *_landings(plan, layout, everyday)):
        yield encoding(plan, layout, f"trail: {note}", given, (point,))
    for note, latitude, longitude, move in (
        ("eastwards across the antimeridian", None, 179.999, (3, 60)),
        ("westwards across the antimeridian", None, -179.999, (-3, -60)),
        ("over the north pole, as far as the grid goes", 89.9995, None, (4, 40)),
        ("over the south pole, as far as the grid goes", -89.9995, None, (-4, -40)),
        ("south of the equator, west of Greenwich", -33.3, -70.6, (-5, 6)),
    ):
        values = moved_to(layout, everyday, latitude, longitude)
        if values and (there := head_at(plan, layout, values)):
            yield encoding(plan, layout, f"trail: {note}", values, _track(trail, there, [move] * trail.points))
    for kinds, note in ((("latitude", "longitude"), "no position"), (("altitude",), "no altitude")):
        lost = without(layout, everyday, kinds)
        if lost:
            yield encoding(plan, layout, f"trail: {note}, points given", lost, _track(trail, head, [(3, 4)] * 3))
    if trail.spacing_field:
        place = [field.name for field in layout.fields].index(trail.spacing_field)
        field = layout.fields[place]
        for raw in (0, field.max_code, *([] if field.absent_code is None else [field.absent_code])):
            values = [*everyday[:place], to_value(field, raw), *everyday[place + 1 :]]
            yield encoding(plan, layout, f"trail: spacing {values[place]}", values, _track(trail, head, [(3, 4)] * 3))


def trail_decodings(plan: Plan, layout: LayoutPlan) -> Iterator[Decoding]:
    """Good packets with trails: those that `trail_encodings` lead to, and some that only a decoder meets."""
    if layout.trail is None:
        return
    seen: set[bytes] = set()
    made = [(case.note, case.raws, case.data) for case in trail_encodings(plan, layout)]
    for note, raws, data in [*made, *_by_hand(plan, layout)]:
        if data in seen:
            continue
        seen.add(data)
        try:
            points = unpack({plan.version: plan}, data)[3]
        except PacketFault:  # a trail by hand that this layout's limits do not hold
            continue
        again = pack(plan, layout, raws, points) == data
        yield Decoding(note, layout, raws, tuple(map(to_value, layout.fields, raws)), data, points, again)


def head_at(plan: Plan, layout: LayoutPlan, values: Sequence[Value]) -> Point | None:
    """The position that a receiver decodes from these values, or None."""
    return anchor_of(layout, encoding(plan, layout, "", values).raws)


def moved_to(
    layout: LayoutPlan, values: Sequence[Value], latitude: float | None, longitude: float | None
) -> list[Value] | None:
    """The values with the position at another place, or None where a range does not hold it."""
    given = {"latitude": latitude, "longitude": longitude}
    moved: list[Value] = []
    for field, value in zip(layout.fields, values, strict=True):
        wanted = given.get(field.kind)
        if wanted is not None and not field.low <= wanted * 10**7 <= field.max_input:
            return None
        moved.append(value if wanted is None else wanted)
    return moved


def without(layout: LayoutPlan, values: Sequence[Value], kinds: Sequence[str]) -> list[Value] | None:
    """The values with those of some kinds absent, or None where no field of these can be."""
    lost = [field.kind in kinds and field.absent_code is not None for field in layout.fields]
    if not any(lost):
        return None
    return [None if gone else value for gone, value in zip(lost, values, strict=True)]


def _track(trail: Trail, head: Point, moves: Iterable[tuple[int, int]]) -> tuple[Point, ...]:
    """The points of cell-by-cell moves back from a head, as far as they stay on the globe."""
    north = east = climb = age = 0
    points: list[Point] = []
    for number, (up, right) in enumerate(moves):
        north, east = north + up, east + right
        climb += _CLIMB[number % len(_CLIMB)] * trail.altitude_step
        age += trail.interval_seed + (number % 3 == 1)
        place = place_of(head[:2], (north, east), trail.step)
        if place is None:
            break
        altitude = max(-10_000_000, min(10_000_000, (head.altitude or 0) + climb)) if trail.altitude_step else None
        points.append(Point(*place, altitude, age if trail.interval_seed else None))
    return tuple(points)


def _motions(trail: Trail) -> Iterator[tuple[str, Moves]]:
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


def _borders(trail: Trail, head: Point) -> Iterator[tuple[str, tuple[Point, ...]]]:
    """Points at the borders of cells, and as far away as the grid goes."""
    wide = east_step(trail.step, head.latitude)
    model = _track(trail, head, [(0, 0)] * 6)
    for sign, word in ((1, "north and east"), (-1, "south and west")):
        halves = ((trail.step - 1) // 2, (wide - 1) // 2), ((trail.step + 1) // 2, (wide + 1) // 2)
        offsets = [*halves, (trail.step // 2 + trail.step, wide // 2 + wide)]
        yield (
            f"at the border of a cell, {word}",
            tuple(
                point._replace(latitude=head.latitude + sign * north, longitude=head.longitude + sign * east)
                for point, (north, east) in zip(model, offsets, strict=False)
            ),
        )
    for word, north, east in (
        ("north", reach(trail.step), 0),
        ("south", -reach(trail.step), 0),
        ("east", 0, min(reach(wide), (HALF_CIRCLE - 1) // wide)),
        ("west", 0, -min(reach(wide), (HALF_CIRCLE - 1) // wide)),
    ):
        place = place_of(head[:2], (north, east), trail.step)
        if place is not None and model:
            yield f"as far {word} as can be", (model[0]._replace(latitude=place[0], longitude=place[1]), *model[1:2])


def _sent(trail: Trail, head: Point, longitude: int) -> Point:
    """A point as far north as a head, with all that a trail carries."""
    altitude = head.altitude or 0
    return Point(head.latitude, longitude, altitude if trail.altitude_step else None, 5 if trail.interval_seed else None)


def _half_way(plan: Plan, layout: LayoutPlan, everyday: Sequence[Value]) -> Iterator[tuple[str, list[Value], Point]]:
    """Points exactly half way round the globe, where a cell is so wide that the grid goes there: either way is as short."""
    for longitude, word in ((9.87654, "west"), (-9.87654, "east")):
        for latitude in _POLEWARDS:
            values = moved_to(layout, everyday, latitude, longitude)
            head = values and head_at(plan, layout, values)
            if layout.trail and values and head and _goes_round(layout.trail, head):
                opposite = head.longitude + (HALF_CIRCLE if head.longitude < 0 else -HALF_CIRCLE)
                yield f"a point half way round, {word} in numbers", values, _sent(layout.trail, head, opposite)
                break


def _goes_round(trail: Trail, head: Point) -> bool:
    """Whether the last cell of the grid reaches half way round, or beyond it."""
    wide = east_step(trail.step, head.latitude)
    return reach(wide) * wide > HALF_CIRCLE


def _landings(plan: Plan, layout: LayoutPlan, everyday: Sequence[Value]) -> Iterator[tuple[str, list[Value], Point]]:
    """Points whose cells lie exactly at the antimeridian, which is told as -180 degrees."""
    place = next(index for index, field in enumerate(layout.fields) if field.kind == "longitude")
    field, head = layout.fields[place], head_at(plan, layout, everyday)
    if not field.modulus or layout.trail is None or head is None:
        return
    wide = east_step(layout.trail.step, head.latitude)
    for sign, word, codes in ((1, "eastwards", range(field.max_code, 0, -1)), (-1, "westwards", range(1, field.max_code))):
        for raw in islice(codes, _SEARCHED):
            way = HALF_CIRCLE - sign * from_raw(field, raw)
            if way % wide == 0 and 0 < way // wide <= reach(wide):
                values = [*everyday[:place], to_value(field, raw), *everyday[place + 1 :]]
                yield f"exactly to the antimeridian, {word}", values, _sent(layout.trail, head, sign * HALF_CIRCLE)
                break


def _unfit(trail: Trail, head: Point) -> Iterator[tuple[str, tuple[Point, ...]]]:
    """Points that cannot be carried: they and all older ones stay behind."""
    model = _track(trail, head, [(3, 4)] * 4)
    if len(model) < 4:
        return
    far = head.latitude + trail.step * (reach(trail.step) + 1) * (-1 if head.latitude > 0 else 1)
    if abs(far) <= POLE:
        yield "the third point beyond the reach", (*model[:2], model[2]._replace(latitude=far), model[3])
    wide = east_step(trail.step, head.latitude)
    if wide * (reach(wide) + 1) < HALF_CIRCLE:
        longitude = head.longitude + wide * (reach(wide) + 1)
        if longitude <= HALF_CIRCLE:
            yield "the first point beyond the reach", (model[0]._replace(longitude=longitude), *model[1:])
    if trail.altitude_step:
        yield "the third point without an altitude", (*model[:2], model[2]._replace(altitude=None), model[3])
    if trail.interval_seed:
        yield "the third point younger than the second", (*model[:2], model[2]._replace(age=0), model[3])
        yield "the third point without an age", (*model[:2], model[2]._replace(age=None), model[3])
        yield "the second point too old", (model[0], model[1]._replace(age=MAX_CELLS + 1), *model[2:])


def assembled(plan: Plan, layout: LayoutPlan, raws: Sequence[int], bits: Bits) -> bytes:
    """A packet with any bits behind its fields, padded, the check put behind it."""
    number = plan.version << plan.layout_bits | layout.id
    for field, raw in zip(layout.fields, raws, strict=True):
        number = number << field.bits | raw
    length = layout.bits + bits.length
    number = (number << bits.length | bits.number) << -length % 8
    data = number.to_bytes(-(-length // 8), "big")
    return plan.crc.append(data, plan.seed) if plan.crc else data


def front(trail: Trail, count: int, shift: int = 0) -> Bits:
    """Count and shift, whether or not they may be."""
    bits = Bits()
    bits.put(1, 1) if count == -1 else bits.put(count, 1 + trail.count_bits)
    if trail.coarsenings:
        bits.put((1 << shift) - 1, shift)
        bits.put(0, int(shift < trail.coarsenings))
    return bits


def first_point(trail: Trail, bits: Bits, head: Point, place: tuple[int, int], climb: int = 0, age: int = 0) -> None:
    """One point, the first of its trail, at any cells at all; on the schema's own grid."""
    groups: list[tuple[tuple[int, ...], int]] = [(place, trail.initial_scale)]
    if trail.altitude_step and head.altitude is not None:
        groups.append(((climb,), trail.altitude_initial_scale))
    if trail.interval_seed:
        groups.append(((age,), trail.interval_seed))
    for cells, start in groups:
        scale = Scale(start)
        for cell in cells:
            put(bits, cell, scale.order(), 1)
            scale.add(cell)


def _by_hand(plan: Plan, layout: LayoutPlan) -> Iterator[tuple[str, tuple[int, ...], bytes]]:
    """Packets that no encoder has to make, and every decoder reads."""
    trail = layout.trail
    everyday = [scene(field) for field in layout.fields]
    if trail is None:
        return
    for latitude, sign in ((89.9995, 1), (-89.9995, -1)):
        values = moved_to(layout, everyday, latitude, None)
        head = values and head_at(plan, layout, values)
        if values and head:
            raws = encoding(plan, layout, "", values).raws
            north = (POLE - abs(head.latitude) + trail.step // 2) // trail.step
            bits = front(trail, 1 if trail.points > 1 else -1)
            first_point(trail, bits, head, (sign * north, 0))
            yield "trail: a cell half beyond a pole", raws, assembled(plan, layout, raws, bits)
    for latitude in _POLEWARDS:
        values = moved_to(layout, everyday, latitude, None)
        head = values and head_at(plan, layout, values)
        if values and head and _goes_round(trail, head):
            raws = encoding(plan, layout, "", values).raws
            for east in (reach(east_step(trail.step, head.latitude)), -reach(east_step(trail.step, head.latitude))):
                bits = front(trail, 1 if trail.points > 1 else -1)
                first_point(trail, bits, head, (0, east))
                yield "trail: the last cell of the grid, past half way round", raws, assembled(plan, layout, raws, bits)
            break
    raws = encoding(plan, layout, "", everyday).raws
    for shift in range(1, trail.coarsenings + 1):
        bits = front(trail, 0, shift)
        yield f"trail: no point, and the shift {shift}", raws, assembled(plan, layout, raws, bits)
