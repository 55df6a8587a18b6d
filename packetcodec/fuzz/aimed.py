"""Questions aimed at where arithmetic goes wrong: ends of 32 bits, whole degrees, poles, the far side of the globe.

Owns one rule: which places are aimed at. All numbers fit the 32 bits in which firmware holds them.

>>> from random import Random
>>> aimed_degrees(Random(1)).count(" ")
1
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from packetcodec.wire import Point, anchor_of, from_raw, to_raw
from packetcodec.wire.trail.cells import CIRCLE, HALF_CIRCLE, POLE, east_step, reach, wrapped
from packetcodec.wire.trail.coding import MAX_POINT_ALTITUDE, Grid, front

if TYPE_CHECKING:
    from collections.abc import Sequence
    from random import Random

    from packetcodec.fuzz.packets import Made, Maker
    from packetcodec.schema import Trail
    from packetcodec.wire import FieldPlan

_I32, _DEGREE = 1 << 31, 10_000_000
#: Points that may not be given: beyond a pole, beyond the half circle, at the ends of 32 bits.
_NOWHERE = ((POLE + 1, 0), (-POLE - 1, 0), (0, HALF_CIRCLE + 1), (0, -HALF_CIRCLE - 1), (_I32 - 1, 0), (0, -_I32))


def aimed_encoding(random: Random, maker: Maker) -> tuple[tuple[int | None, ...], tuple[Point, ...]]:
    """Base units and points for an encoder."""
    bases = list(maker.bases())
    for place in range(len(bases)):
        if random.randrange(4) == 0:
            bases[place] = random.choice(maker.wide[place])
    trail = maker.layout.trail
    if trail is None or random.randrange(3) == 0:
        return tuple(bases), ()
    anchor = list(_anchor(random))
    for place, field in enumerate(maker.layout.fields):
        if place in maker.position:
            axis = maker.position.index(place)
            base = max(field.low, min(field.high, anchor[axis]))
            anchor[axis] = _received(field, base)
            bases[place] = None if field.absent_code is not None and random.randrange(12) == 0 else base
        elif random.randrange(4):
            bases[place] = random.randint(field.low, field.max_input)
    height = maker.layout.anchor_places[2]
    up = None if height is None or bases[height] is None else _received(maker.layout.fields[height], bases[height] or 0)
    points = _points if random.randrange(4) else _crowd
    return tuple(bases), tuple(points(random, trail, Point(anchor[0], anchor[1], up)))


def _received(field: FieldPlan, base: int) -> int:
    """A base as the receiver has it, from which the points are counted."""
    return from_raw(field, to_raw(field, max(field.low, min(field.high, base))))


def _anchor(random: Random) -> tuple[int, int]:
    """A position next to or at a whole degree, near a pole, at 0 and 0, at the antimeridian; or anywhere."""
    degree = random.choice((0, 0, 1, 29, 45, 59, 60, 85, 86, 87, 88, 89, 90, random.randrange(91)))
    latitude = random.choice((-1, 1)) * (degree * _DEGREE + random.choice((0, 0, -1, 1, -112, 112, -250, 250)))
    longitude = random.choice((0, HALF_CIRCLE, -HALF_CIRCLE, HALF_CIRCLE - 1, random.randint(-HALF_CIRCLE, HALF_CIRCLE)))
    return max(-POLE, min(POLE, latitude)), longitude


def _points(random: Random, trail: Trail, anchor: Point) -> list[Point]:
    """Points as far as can be: the limit of the cells, half the globe away, and beyond, there and back."""
    wide = east_step(trail.step, anchor.latitude)
    near = random.randrange(1, 1 << random.randrange(1, 21))
    far = random.choice((reach(trail.step), reach(wide), HALF_CIRCLE // wide, near))
    count = random.choice((1, 1, 1, 2, 2, 2, 3, 3, 4, trail.points, trail.points + 1))
    found, age = [], 0
    for number in range(count):
        side = (1, -1)[number % 2] if random.randrange(3) else random.choice((0, 1, -1))
        cells = far + random.choice((0, 0, 1, -1, 2))
        north = anchor.latitude + side * random.choice((0, cells)) * trail.step + random.choice((0, 0, trail.step // 2))
        east = anchor.longitude + side * cells * wide + random.choice((0, 0, wide // 2, -(wide // 2)))
        east = (east + HALF_CIRCLE) % CIRCLE - HALF_CIRCLE
        if random.randrange(6) == 0:
            east = anchor.longitude + side * (HALF_CIRCLE + random.choice((0, 0, 1, -1)))
        north, east = max(-POLE, min(POLE, north)), max(-HALF_CIRCLE, min(HALF_CIRCLE, east))
        age += random.choice((0, 1, trail.interval_seed or 30, 1 << random.randrange(31)))
        high = random.choice((0, 1, -1)) * random.choice((1, 5_000, 10**7, 10**9, 10**9 + 10**7))
        up = random.choice((high, high, None)) if trail.altitude else None
        old = random.choice((min(age, _I32 - 1),) * 7 + (None,)) if trail.interval_seed else None
        found.append(Point(north, east, up, old))
    if count > trail.points or random.randrange(6) == 0:  # the last one is not sent, and looked at all the same
        place = -1 if count > trail.points else random.randrange(len(found))
        found[place] = _nowhere(random, trail, found[place])
    return found


def _nowhere(random: Random, trail: Trail, point: Point) -> Point:
    """A point next to one that may be given, which may not, or just may: at one bound of those that a trail has."""
    way = random.randrange(1 + bool(trail.altitude) + (trail.interval_seed is not None))
    if way == 0:
        latitude, longitude = random.choice(_NOWHERE)
        return point._replace(latitude=latitude, longitude=longitude)
    if way == 1 and trail.altitude:
        most = MAX_POINT_ALTITUDE
        return point._replace(altitude=random.choice((most, -most, most + 1, -most - 1)))
    return point._replace(age=random.choice((_I32 - 1, _I32, 2 * _I32 - 1)))


def aimed_trail(random: Random, maker: Maker) -> Made:
    """A packet with a trail whose last point lies at a bound that readers look at, or next to it, on either side."""
    layout, trail, codes = maker.layout, cast("Trail", maker.layout.trail), list(maker.located())
    coarsened = random.choice((0, random.randint(0, trail.coarsenings)))
    polar = bool(maker.polar) and random.randrange(2) == 0
    if polar:
        codes[maker.position[0]], coarsened = random.choice(maker.polar)
    grid = Grid(trail, cast("Point", anchor_of(layout, codes)), coarsened)
    limits = [group.limits for group in grid.groups]
    for group in grid.groups:  # what is written may lie anywhere
        group.limits, group.rising = (_I32,) * len(group.limits), False
    count = min(random.choice((1, 1, 1, 2, 3, trail.points if random.randrange(4) == 0 else 2)), trail.points)
    bits = front(trail, count, coarsened)
    for left in range(count - 1, -1, -1):
        cells = [[cell + random.randrange(3) for cell in group.now] for group in grid.groups]
        if left == 0:
            _aim(random, grid, limits, cells, polar=polar)
        for group, wanted in zip(grid.groups, cells, strict=True):
            group.code(wanted, bits.code)
    return maker.behind(tuple(codes), bits)


def _aim(random: Random, grid: Grid, limits: list[Sequence[int]], cells: list[list[int]], *, polar: bool) -> None:
    """Put one of a point's cells at its limit, next to it, or at a power of two; `polar`: at the end of the latitudes."""
    latitude = grid.anchor.latitude
    if polar:
        far = -((abs(latitude) - POLE) // grid.step) + random.choice((0, 0, 0, 1, -1))
        cells[0][0] = far if latitude > 0 else -far
        return
    group = random.randrange(len(cells))
    axis = random.randrange(len(cells[group]))
    limit = limits[group][axis]
    far = random.choice((limit, limit + 1, (1 << random.randrange(2, limit.bit_length())) - random.randrange(2)))
    cells[group][axis] = far * random.choice((1, 1 if grid.timed and group == len(cells) - 1 else -1))


def _crowd(random: Random, trail: Trail, anchor: Point) -> list[Point]:
    """Points of which many find room on a coarse grid alone, the last one at a bound of that grid or next to it."""
    grid = Grid(trail, anchor, random.randint(0, trail.coarsenings))
    cells = [[0] * len(group.limits) for group in grid.groups]
    _aim(random, grid, [group.limits for group in grid.groups], cells, polar=False)
    size = trail.step << random.randrange(16)
    found = [
        Point(max(-POLE, min(POLE, anchor.latitude + north)), wrapped(anchor.longitude - north), anchor.altitude, age)
        for age in range(random.randrange(trail.points))
        for north in (random.choice((size, -size)),)
    ]
    (north, east), altitude = cells[0], anchor.altitude
    latitude = max(-POLE, min(POLE, anchor.latitude + north * grid.step))
    if altitude is not None and grid.climb:
        altitude += cells[1][0] * grid.climb
    last = Point(latitude, wrapped(anchor.longitude + east * grid.wide), altitude, max(cells[-1][0], len(found)))
    return [point if grid.timed else point._replace(age=None) for point in (*found, last)]


def aimed_degrees(random: Random) -> str:
    """Degrees and minutes as a receiver prints them, or nearly so, and a hemisphere; one in three at a pole or at 180."""
    if random.randrange(3) == 0:
        most, sides = random.choice((("9000", "NS"), ("18000", "EW")))
        return f"{most}.{random.choice(('0', '0000029', '0000030'))} {random.choice(sides)}"
    whole = random.choice((0, 1, 9, 59, 60, 89, 90, 91, 179, 180, 181, random.randrange(181)))
    minutes = random.choice((0, 0, 1, 30, 59, 60, 99, random.randrange(60)))
    digits = f"{whole:0{random.choice((2, 2, 3, 3, 1))}d}{minutes:02d}"
    part = "".join(random.choice("0123456789") for _ in range(random.choice((0, 1, 4, 4, 5, 6, 7, 8, 12))))
    part = random.choice((part, part, "9" * 8, "9999999", "0000000", "4999999", "5", "0000003", "0000029", "0000030"))
    text = random.choice((f"{digits}.{part}",) * 5 + (digits, f"{digits[:-2]}", f"{digits}.{part}x", f".{part}", "x"))
    return f"{text} {random.choice('NSEWNSEWX')}"
