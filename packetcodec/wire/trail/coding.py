"""The trail: earlier positions behind the head, newest first, in few bits. One model for writing and for reading.

Owns one rule, the coding of a trail:

1. Count: a 1 for a full trail; else a 0 and the number of points in `count_bits` bits.
2. Where the schema lets packets fall back to a coarser grid: the shift s, that many ones and, below `shifts`, a zero.
   Cells are then step << s, and the starting values >> s, at least 1.
3. The points, each by its displacement in cells from the point before it (the head is the origin): north and east as one
   group, then altitude, then the seconds that lie between, each a group of its own if the trail carries it.

A group knows three guesses for a displacement: 0 (stays), the last one (goes on), the last one and half its change from
the one before (turns or speeds up). It takes the guess that has been wrong by least so far, older errors counting less,
and codes what remains (`packetcodec.wire.trail.numbers`). Nothing is sent to say which.

>>> from packetcodec.schema import Trail
>>> trail = Trail(points=10, step=225, initial_scale=16, scale_rate=3)
>>> head = (465_000_000, 98_000_000)
>>> cells = [(15, 4), (31, 8), (45, 13)]
>>> points = [Point(head[0] + n * 225, head[1] + e * 324) for n, e in cells]
>>> bits, kept = write_trail(trail, Point(*head), points, room=200)
>>> f"{bits.number:0{bits.length}b}", kept
('0001110011100100001000101100', 3)
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from packetcodec.wire.trail.cells import MAX_CELLS, cell_of, east_step, nearest, place_of, reach
from packetcodec.wire.trail.numbers import STEADY, BadTrailFault, Bits, Reader, Scale, get, put

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from packetcodec.schema import Trail

#: The guess that runs ahead starts this many cells behind the others.
HANDICAP = 2
#: Largest difference of an altitude from the head's, in centimetres.
MAX_CLIMB = 1_000_000_000


class Point(NamedTuple):
    """A place in base units: latitude and longitude in 1e-7 degree, altitude in centimetres, age in seconds before the head.

    Altitude and age are None where they are not known or not carried.
    """

    latitude: int
    longitude: int
    altitude: int | None = None
    age: int | None = None


class _Group:
    """Axes that share one scale and one choice of guess."""

    __slots__ = ("before", "change", "errors", "fresh", "last", "limits", "now", "rising", "scale")

    def __init__(self, limits: Sequence[int], first: int, change: int, *, rising: bool = False) -> None:
        self.limits = limits
        self.change = change
        self.rising = rising  # the axis never goes back: seconds between points
        self.scale = Scale(first)
        self.fresh = True
        self.errors = [0, 0, 0]
        self.now = [0] * len(limits)
        self.last = [0] * len(limits)
        self.before = [0] * len(limits)

    def pick(self) -> int:
        """The guess to use for the next point; old errors fade."""
        errors = self.errors
        pick = 0
        for other in (1, 2):
            if errors[other] <= errors[pick]:
                pick = other
        self.errors = [error - (error >> 3) for error in errors]
        return pick

    def code(self, cells: Sequence[int] | None, residual: Callable[[int | None, int, int], int]) -> None:
        """Code one point: `residual` writes the number it is given, or reads one for None, and returns it."""
        pick = self.pick()
        got = []
        for axis, limit in enumerate(self.limits):
            last, before = self.last[axis], self.before[axis]
            guesses = (0, last, last + (last - before + 1 >> 1))
            wanted = None if cells is None else cells[axis] - self.now[axis] - guesses[pick]
            rest = residual(wanted, self.scale.order(), 1 if self.fresh else STEADY)
            moved = guesses[pick] + rest
            self.now[axis] += moved
            if self.rising and moved < 0:
                raise BadTrailFault("its time runs back")
            if abs(self.now[axis]) > limit:
                raise BadTrailFault("a point in it is too far away")
            self.scale.add(rest)
            for number, guess in enumerate(guesses):
                self.errors[number] += abs(moved - guess)
            got.append(moved)
        if self.fresh:
            self.fresh, self.scale, self.errors = False, Scale(self.change), [0, 0, HANDICAP]
            self.last, self.before = got, got
        else:
            self.before, self.last = self.last, got


class _Grid:
    """The cells of one packet: grid, limits and groups for a head and a shift."""

    def __init__(self, trail: Trail, head: Point, shift: int) -> None:
        self.head = head
        self.step = trail.step << shift
        self.climb = trail.altitude_step << shift if head.altitude is not None else 0
        self.timed = bool(trail.interval_seed)
        plane = (reach(self.step), reach(east_step(self.step, head.latitude)))
        self.groups = [_Group(plane, max(1, trail.initial_scale >> shift), max(1, trail.scale_rate >> shift))]
        if self.climb:
            limit = min(MAX_CELLS, MAX_CLIMB // self.climb)
            first, change = max(1, trail.altitude_initial_scale >> shift), max(1, trail.altitude_scale_rate >> shift)
            self.groups.append(_Group((limit,), first, change))
        if self.timed:
            self.groups.append(_Group((MAX_CELLS,), trail.interval_seed, 1, rising=True))

    def cells(self, point: Point) -> list[tuple[int, ...]] | None:
        """The cells of a point, one tuple per group, or None for a point that this trail cannot carry."""
        found: list[tuple[int, ...]] = [cell_of(self.head[:2], point[:2], self.step)]
        if self.climb:
            if point.altitude is None or self.head.altitude is None:
                return None
            found.append((nearest(point.altitude - self.head.altitude, self.climb),))
        if self.timed:
            if point.age is None or point.age < self.groups[-1].now[0]:
                return None
            found.append((point.age,))
        for group, cells in zip(self.groups, found, strict=True):
            if any(abs(cell) > limit for cell, limit in zip(cells, group.limits, strict=True)):
                return None
        return found

    def point(self) -> Point:
        """The point that the groups stand at."""
        north, east = self.groups[0].now
        place = place_of(self.head[:2], (north, east), self.step)
        if place is None:
            raise BadTrailFault("a point in it lies beyond a pole")
        altitude = None
        if self.climb and self.head.altitude is not None:
            altitude = self.head.altitude + self.groups[1].now[0] * self.climb
        return Point(*place, altitude, self.groups[-1].now[0] if self.timed else None)


def write_trail(trail: Trail, head: Point, points: Sequence[Point], *, room: int) -> tuple[Bits, int]:
    """The bits of a trail that fits into `room` bits, and how many points it holds.

    Points beyond `trail.points`, beyond the reach of the grid, or without an altitude or age that the trail carries, are
    left out with all older ones. What does not fit the room is coded on a coarser grid if the schema says so, and what
    still does not is left out from the oldest on. `room` is at least the count of an empty trail.
    """
    for shift in range(trail.coarsenings + 1):
        written = list(_written(trail, head, points[: trail.points], shift))
        for kept in range(len(written) - 1, -1, -1):
            bits = front(trail, kept, shift)
            if bits.length + written[kept].length <= room:
                break
        if kept == len(written) - 1 or shift == trail.coarsenings:
            break
    body = written[kept]
    bits.put(body.number, body.length)
    return bits, kept


def front(trail: Trail, count: int, shift: int) -> Bits:
    """Count and shift."""
    bits = Bits()
    if count == trail.points:
        bits.put(1, 1)
    else:
        bits.put(count, 1 + trail.count_bits)
    if trail.coarsenings:
        bits.put((1 << shift) - 1, shift)
        bits.put(0, int(shift < trail.coarsenings))
    return bits


def _written(trail: Trail, head: Point, points: Sequence[Point], shift: int) -> Iterator[Bits]:
    """The bits after 0, 1, 2 ... points."""
    grid = _Grid(trail, head, shift)
    bits = Bits()

    def residual(wanted: int | None, order: int, steady: int) -> int:
        assert wanted is not None  # noqa: S101  # cells are given
        put(bits, wanted, order, steady)
        return wanted

    yield _copy(bits)
    for point in points:
        cells = grid.cells(point)
        if cells is None:
            return
        for group, wanted in zip(grid.groups, cells, strict=True):
            group.code(wanted, residual)
        yield _copy(bits)


def _copy(bits: Bits) -> Bits:
    other = Bits()
    other.number, other.length = bits.number, bits.length
    return other


def residuals(trail: Trail, head: Point, points: Sequence[Point]) -> list[int]:
    """What guessing leaves of the places of a trail, on the schema's own grid: north and east of the first point, of the
    second, and so on, as many as `write_trail` takes into a room without end.

    The first pair is coded from `trail.initial_scale` on, the others from `trail.scale_rate` on; neither changes what is
    left.
    """
    grid = _Grid(trail, head, 0)
    plane, *others = grid.groups
    left: list[int] = []

    def keep(wanted: int | None, _order: int, _steady: int) -> int:
        left.append(wanted or 0)
        return wanted or 0

    for point in points[: trail.points]:
        cells = grid.cells(point)
        if cells is None:
            break
        plane.code(cells[0], keep)
        for group, wanted in zip(others, cells[1:], strict=True):
            group.code(wanted, lambda rest, _order, _steady: rest or 0)
    return left


def read_trail(trail: Trail, head: Point | None, number: int, length: int) -> tuple[Point, ...]:
    """The points of a trail in the lowest `length` bits of a number, which end in fewer than eight zero bits of padding.

    Without a head there is nothing to count from: no bits of a trail either, and nothing but padding.

    Raises:
        BadTrailFault: bits that no encoder writes.
    """
    reader = Reader(number, length)
    points = () if head is None else tuple(_read(trail, head, reader))
    if reader.left > 7 or reader.get(reader.left):
        raise BadTrailFault("what follows it is not padding")
    return points


def _read(trail: Trail, head: Point, reader: Reader) -> Iterator[Point]:
    count = trail.points
    if not reader.get(1):
        count = reader.get(trail.count_bits)
        if count >= trail.points:
            raise BadTrailFault(f"it counts {count} points, below {trail.points} are possible here")
    shift = 0
    while shift < trail.coarsenings and reader.get(1):
        shift += 1
    grid = _Grid(trail, head, shift)
    for _ in range(count):
        for group in grid.groups:
            group.code(None, lambda _, order, steady: get(reader, order, steady))
        yield grid.point()
