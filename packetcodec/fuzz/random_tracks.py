"""Trails of every motion, drawn from a seeded generator of random numbers.

Owns one rule: which motions are tried. Still, straight, turning, speeding up, wandering at every scale, jumping there and
back, as far as the grid goes, one point more than there may be; across the antimeridian and over a pole wherever the anchor
is near one. Points lie anywhere within their cell, and on its borders.

>>> from random import Random
>>> from packetcodec.schema import Trail
>>> trail = Trail(points=10, step=225, initial_scale=16, scale_rate=3)
>>> points = random_track(Random(1), trail, Point(465_000_000, 98_000_000))
>>> all(-900_000_000 <= point.latitude <= 900_000_000 for point in points)
True
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.schema import MAX_ALTITUDE
from packetcodec.wire import Point
from packetcodec.wire.trail.cells import POLE, east_step, reach, wrapped

if TYPE_CHECKING:
    from random import Random

    from packetcodec.schema import Trail

Move = tuple[int, int]
#: From so near to a pole, in 1e-7 degree, half of the points are at the pole.
NEAR_POLE = 200_000


def random_track(random: Random, trail: Trail, anchor: Point) -> tuple[Point, ...]:
    """Earlier positions that a caller may give for a trail, newest first."""
    moves = _moves(random, trail, _length(random, trail.points))
    wide = east_step(trail.step, anchor.latitude)
    latitude, longitude = anchor.latitude, anchor.longitude
    altitude, age = anchor.altitude or 0, 0
    within = random.randrange(4)
    points = []
    for north, east in moves:
        latitude += north * trail.step
        longitude = wrapped(longitude + east * wide)
        here, there = latitude, longitude
        if within == 1:  # anywhere in the cell
            here += random.randint(-trail.step // 2, trail.step // 2)
            there += random.randint(-wide // 2, wide // 2)
        elif within == 2:  # at its border
            here += random.choice((-1, 1)) * (trail.step + random.randrange(2)) // 2
            there += random.choice((-1, 1)) * (wide + random.randrange(2)) // 2
        if abs(anchor.latitude) > POLE - NEAR_POLE and random.randrange(2):
            here = POLE if anchor.latitude > 0 else -POLE  # the cell that holds a pole may have its middle beyond it
        climb: int | None = None
        if trail.altitude:
            altitude += random.choice((0, 0, 1, -1, 2, -7, 300)) * trail.altitude.step + random.randrange(3)
            climb = max(-MAX_ALTITUDE, min(MAX_ALTITUDE, altitude))
        if trail.interval_seed:
            usual = trail.interval_seed
            age += random.choice((usual, usual, usual + 1, 0, 1, random.randrange(5000)))
        points.append(Point(max(-POLE, min(POLE, here)), wrapped(there), climb, age if trail.interval_seed else None))
    return _spoiled(random, trail, points)


def _spoiled(random: Random, trail: Trail, points: list[Point]) -> tuple[Point, ...]:
    """Now and then a point that the trail cannot carry: it and all older ones stay behind."""
    if points and random.randrange(12) == 0:
        place = random.randrange(len(points))
        if trail.altitude and random.randrange(2):
            points[place] = points[place]._replace(altitude=None)
        elif trail.interval_seed:
            points[place] = points[place]._replace(age=random.choice((None, 0)))
    return tuple(points)


def _length(random: Random, most: int) -> int:
    return random.choice((0, 1, 2, 3, most + random.randrange(2), random.randint(0, most), random.randint(0, most)))


def _moves(random: Random, trail: Trail, count: int) -> list[Move]:
    way = random.randrange(8)
    size = random.choice((1, 2, 5, trail.initial_scale, trail.scale_rate, 40))
    if way == 0:
        return [(0, 0)] * count
    if way == 1:
        return [(random.randint(-size, size), random.randint(-size, size))] * count
    if way == 2:  # turning: the move itself turns by about a quarter
        north, east = random.randint(-size, size), random.randint(-size, size)
        return [((north, east), (-east, north), (-north, -east), (east, -north))[number // 2 % 4] for number in range(count)]
    if way == 3:
        north, east = random.randint(-3, 3), random.randint(-3, 3)
        return [(north * number, east * number) for number in range(1, count + 1)]
    if way == 4:
        return [(random.randint(-size, size), random.randint(-size, size)) for _ in range(count)]
    if way == 5:  # every scale
        return [(_any_scale(random), _any_scale(random)) for _ in range(count)]
    if way == 6:  # a jump there and back
        jump = (random.randint(-9000, 9000), random.randint(-9000, 9000))
        moves = [(random.randint(-size, size), random.randint(-size, size)) for _ in range(count)]
        if count > 1:
            place = random.randrange(count - 1)
            moves[place], moves[place + 1] = jump, (-jump[0], -jump[1])
        return moves
    far = reach(trail.step)  # as far as the grid goes, and one cell more
    edges = (0, far, -far, far + 1, -far - 1, far - 1)
    return [(random.choice(edges), random.choice(edges)), *[(0, 0)] * (count - 1)][:count]


def _any_scale(random: Random) -> int:
    size = 1 << random.randrange(18)
    return random.randint(-size, size)


def bad_front(random: Random, trail: Trail, most: int, now: int, *, count: bool) -> tuple[int, int]:
    """Bits of a trail, and how many: with a count that there is not and enough behind it, or a number without end."""
    if count:
        more = random.randrange(trail.points, 1 + max(trail.points, (1 << trail.count_bits) - 1))
        below = max(0, min(most, random.randrange(8, 80)) - trail.count_bits - 1)
        rest = random.getrandbits(below) if below and random.random() < 0.2 else 0
        return more << below | rest, trail.count_bits + 1 + below
    below = max(0, min(most, now + 8 * random.randrange(8)))
    ones = max(0, below - trail.count_bits - 1) if random.randrange(3) else below
    return (1 << ones) - 1, below
