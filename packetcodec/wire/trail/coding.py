"""The trail: earlier positions behind the packet's own, newest first, in few bits. One model for writing and for reading.

Owns one rule, the order of what a trail says:

1. The front: a 1 for a full trail, else a 0 and the number of points in `count_bits` bits. Where the schema lets packets
   fall back to a coarser grid, how many times it is coarsened: that many ones and, below `coarsenings`, a zero. Cells are
   then step << coarsened, and the starting values >> coarsened, at least 1.
2. The points, each by its displacement in cells from the point before it (the anchor, which is the packet's own position,
   is the origin): north and east as one group, then altitude, then the seconds that lie between, each a group of its own
   if the trail carries it. `packetcodec.wire.trail.guess` says what remains of a displacement, and
   `packetcodec.wire.trail.numbers` how it is written.

>>> from packetcodec.schema import Trail
>>> trail = Trail(points=10, step=225, initial_scale=16, scale_rate=3)
>>> anchor = (465_000_000, 98_000_000)
>>> cells = [(15, 4), (31, 8), (45, 13)]
>>> points = [Point(anchor[0] + n * 225, anchor[1] + e * 324) for n, e in cells]
>>> bits, kept = write_trail(trail, Point(*anchor), points, room=200)
>>> f"{bits.number:0{bits.length}b}", kept
('0001110011100100001000101100', 3)
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.schema import MAX_ALTITUDE
from packetcodec.wire.trail.cells import MAX_CELLS, cell_of, east_step, nearest, place_of, reach
from packetcodec.wire.trail.guess import Group
from packetcodec.wire.trail.numbers import BadTrailFault, Bits, Reader

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from packetcodec.schema import Trail

#: Largest difference of an altitude from the anchor's, in centimetres.
MAX_CLIMB = 1_000_000_000
#: As far as a trail reaches from the highest anchor, in centimetres.
MAX_POINT_ALTITUDE = MAX_CLIMB + MAX_ALTITUDE


class Point(NamedTuple):
    """A place in base units: latitude and longitude in 1e-7 degree, altitude in centimetres, age in seconds before the
    packet's own position.

    Altitude and age are None where they are not known or not carried.
    """

    latitude: int
    longitude: int
    altitude: int | None = None
    age: int | None = None


class Grid:
    """The cells of one packet: grid, limits and groups for an anchor and a number of coarsenings."""

    def __init__(self, trail: Trail, anchor: Point, coarsened: int) -> None:
        self.anchor = anchor
        self.step = trail.step << coarsened
        self.climb = trail.altitude.step << coarsened if trail.altitude and anchor.altitude is not None else 0
        self.timed = trail.interval_seed is not None

        def group(limits: tuple[int, ...], initial_scale: int, scale_rate: int) -> Group:
            scales = max(1, initial_scale >> coarsened), max(1, scale_rate >> coarsened)
            return Group(limits, *scales, wandering=trail.wandering)

        self.wide = east_step(self.step, anchor.latitude)
        plane = (reach(self.step), reach(self.wide))
        self.groups = [group(plane, trail.initial_scale, trail.scale_rate)]
        if self.climb and trail.altitude:
            limit = min(MAX_CELLS, MAX_CLIMB // self.climb)
            self.groups.append(group((limit,), trail.altitude.initial_scale, trail.altitude.scale_rate))
        if trail.interval_seed is not None:
            self.groups.append(Group((MAX_CELLS,), trail.interval_seed, 1, wandering=trail.wandering, rising=True))

    def cells(self, point: Point) -> list[tuple[int, ...]] | None:
        """The cells of a point, one tuple per group, or None for a point that this trail cannot carry."""
        found: list[tuple[int, ...]] = [cell_of(self.anchor[:2], point[:2], self.step, self.wide)]
        if self.climb and self.anchor.altitude is not None:
            if point.altitude is None:
                return None
            found.append((nearest(point.altitude - self.anchor.altitude, self.climb),))
        if self.timed:
            if point.age is None:
                return None
            found.append((point.age,))
        for group, cells in zip(self.groups, found, strict=True):
            if not group.holds(cells):
                return None
        return found

    def point(self) -> Point:
        """The point that the groups stand at."""
        north, east = self.groups[0].now
        place = place_of(self.anchor[:2], (north, east), self.step, self.wide)
        if place is None:
            raise BadTrailFault("a point in it lies beyond a pole")
        altitude = None
        if self.climb and self.anchor.altitude is not None:
            altitude = self.anchor.altitude + self.groups[1].now[0] * self.climb
        return Point(*place, altitude, self.groups[-1].now[0] if self.timed else None)


def write_trail(trail: Trail, anchor: Point, points: Sequence[Point], *, room: int) -> tuple[Bits, int]:
    """The bits of a trail that fits into `room` bits, and how many points it holds.

    Points beyond `trail.points`, beyond the reach of the grid, or without an altitude or age that the trail carries, are
    left out with all older ones. What does not fit the room is coded on a coarser grid if the schema says so, and what
    still does not is left out from the oldest on. `room` is at least the count of an empty trail.
    """
    if not points:
        return front(trail, 0, 0), 0
    for coarsened in range(trail.coarsenings + 1):
        written = list(prefixes(trail, anchor, points[: trail.points], coarsened, room=room))
        for kept in range(len(written) - 1, -1, -1):
            bits = front(trail, kept, coarsened)
            if bits.length + written[kept].length <= room:
                break
        if kept == len(written) - 1:
            break
    bits.put(written[kept].number, written[kept].length)
    return bits, kept


def front(trail: Trail, count: int, coarsened: int) -> Bits:
    """What stands before the points: their count, and how many times the grid is coarsened."""
    bits = Bits()
    if count == trail.points:
        bits.put(1, 1)
    else:
        bits.put(count, 1 + trail.count_bits)
    if trail.coarsenings:
        bits.put((1 << coarsened) - 1, coarsened)
        bits.put(0, int(coarsened < trail.coarsenings))
    return bits


def read_front(trail: Trail, reader: Reader) -> tuple[int, int]:
    """The count of points, and how many times the grid is coarsened.

    Raises:
        BadTrailFault: a count that no encoder writes.
    """
    count = trail.points
    if not reader.get(1):
        count = reader.get(trail.count_bits)
        if count >= trail.points:
            raise BadTrailFault(f"it counts {count} points, below {trail.points} are possible here")
    coarsened = 0
    while coarsened < trail.coarsenings and reader.get(1):
        coarsened += 1
    return count, coarsened


def prefixes(
    trail: Trail, anchor: Point, points: Sequence[Point], coarsened: int, *, room: float = math.inf,
    received: list[Point] | None = None,
) -> Iterator[Bits]:  # fmt: skip
    """The bits after 0, 1, 2 ... points, up to the first that take more than the room; `received` gets each as it comes."""
    grid = Grid(trail, anchor, coarsened)
    bits = Bits()
    yield bits.copy()
    for point in points:
        cells = grid.cells(point)
        if cells is None:
            return
        for group, wanted in zip(grid.groups, cells, strict=True):
            group.code(wanted, bits.code)
        if received is not None:
            received.append(grid.point())
        yield bits.copy()
        if bits.length > room:
            return


def residuals(trail: Trail, anchor: Point, points: Sequence[Point]) -> list[int]:
    """What guessing leaves of the places of a trail, on the schema's own grid: north and east of the first point, of the
    second, and so on, as many as `write_trail` takes into a room without end.

    The first pair is coded from `trail.initial_scale` on, the others from `trail.scale_rate` on; neither changes what is
    left.

    >>> from packetcodec.schema import Trail
    >>> trail = Trail(points=10, step=225, initial_scale=16, scale_rate=3)
    >>> points = [Point(465_000_000 + n * 225, 98_000_000 + e * 324) for n, e in ((15, 4), (31, 8), (45, 13))]
    >>> residuals(trail, Point(465_000_000, 98_000_000), points)
    [15, 4, 1, 0, -2, 1]
    """
    grid = Grid(trail, anchor, 0)
    left: list[int] = []

    def keep(rest: int | None, _order: int, _steady: int) -> int:
        left.append(rest or 0)
        return rest or 0

    for point in points[: trail.points]:
        cells = grid.cells(point)
        if cells is None:
            break
        for group, wanted in zip(grid.groups, cells, strict=True):
            group.code(wanted, keep if group is grid.groups[0] else lambda rest, _order, _steady: rest or 0)
    return left


def read_trail(trail: Trail, anchor: Point | None, number: int, length: int) -> tuple[Point, ...]:
    """The points of a trail in the lowest `length` bits of a number, which end in fewer than eight zero bits of padding.

    Without an anchor there is nothing to count from: no bits of a trail either, and nothing but padding.

    Raises:
        BadTrailFault: bits that no encoder writes.
    """
    reader = Reader(number, length)
    points = () if anchor is None else tuple(_read(trail, anchor, reader))
    if reader.left > 7 or reader.get(reader.left):
        raise BadTrailFault("what follows it is not padding")
    return points


def _read(trail: Trail, anchor: Point, reader: Reader) -> Iterator[Point]:
    count, coarsened = read_front(trail, reader)
    if not count:
        return
    grid = Grid(trail, anchor, coarsened)
    for _ in range(count):
        for group in grid.groups:
            group.code(None, reader.code)
        yield grid.point()
