"""The reference's trails: the same bits by lists and fractions, slowly and plainly, from the whole history each time.

Owns no rule: it states those of `packetcodec.wire.trail` a second time and imports none of them. A
trail here is the list of its bits; a group of axes keeps the cells of every point, and each number's order and guess are
found from all that came before.

>>> from packetcodec.schema import Trail
>>> trail = Trail(points=10, step=225, initial_scale=16, scale_rate=3)
>>> anchor = Place(465_000_000, 98_000_000, None, None)
>>> points = [Place(465_000_000 + 225 * n, 98_000_000 + 324 * e, None, None) for n, e in ((15, 4), (31, 8), (45, 13))]
>>> bits = written(trail, anchor, points, room=200)
>>> "".join(map(str, bits))
'0001110011100100001000101100'
>>> read(trail, anchor, bits) == points
True
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction
from itertools import accumulate, chain, pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

from packetcodec.codec.packet import TrailPoint
from packetcodec.reference.fields import finite
from packetcodec.reference.numbers import Unreadable, digits, number, residual, residual_bits

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from packetcodec.schema import Trail

_POLE, _ROUND = 90 * 10**7, 360 * 10**7
_FARTHEST = 2**20 - 1
_UNITS = {"latitude": 10**7, "longitude": 10**7, "altitude": 100, "age": 1}
# Altitudes: those of a field, and as far from there as a trail reaches.
_BOUNDS = {"latitude": (-90, 90), "longitude": (-180, 180), "altitude": (-101 * 10**5, 101 * 10**5), "age": (0, 2**31 - 1)}


class Place(NamedTuple):
    """A point in base units: 1e-7 degree, centimetres, seconds before the anchor."""

    latitude: int
    longitude: int
    altitude: int | None
    age: int | None


def given_place(given: Any) -> Place:
    """What a caller gives for a point, in base units.

    Raises:
        ValueError, OverflowError, TypeError: no point, or a value that is missing, no finite number, or out of range.
    """
    if isinstance(given, Mapping):
        if not set(given) <= set(_UNITS):
            raise ValueError("an unknown name")
        given = [given.get(name) for name in _UNITS]
    given = list(given)
    if not 2 <= len(given) <= 4:
        raise ValueError("no point")
    numbers: list[int | None] = []
    for name, value in zip(_UNITS, [*given, None, None], strict=False):
        if value is None:
            numbers.append(None)
            continue
        base = finite(value) * _UNITS[name]
        least, most = (bound * _UNITS[name] for bound in _BOUNDS[name])
        if not least <= base <= most:
            raise ValueError(f"{name} is out of range")
        numbers.append(round(base))
    latitude, longitude, *rest = numbers
    if latitude is None or longitude is None:
        raise ValueError("latitude and longitude are needed")
    return Place(latitude, longitude, *rest)


def told_point(place: Place, age: float | None) -> TrailPoint:
    """A point as a receiver gets it."""
    latitude, longitude = (float(Fraction(number, 10**7)) for number in (place.latitude, place.longitude))
    return TrailPoint(latitude, longitude, None if place.altitude is None else float(Fraction(place.altitude, 100)), age)


def read(trail: Trail, anchor: Place | None, bits: Sequence[int]) -> list[Place]:
    """The points of a trail, from all bits behind the fields.

    Raises:
        Unreadable: bits that no encoder writes.
    """
    stream = iter(bits)
    points: list[Place] = []
    if anchor is not None:
        full = number(stream, 1)
        count = trail.points if full else number(stream, (trail.points - 1).bit_length())
        if not full and count >= trail.points:
            raise Unreadable("its count")
        shift = 0
        while shift < trail.coarsenings and number(stream, 1):
            shift += 1
        grid = _Grid(trail, anchor, shift)
        for _ in range(count):
            for group in grid.groups:
                group.extend(lambda order, _, bent: residual(stream, order, bent=bent))
            points.append(grid.place())
    rest = list(stream)
    if len(rest) >= 8 or any(rest):
        raise Unreadable("no padding behind it")
    return points


def written(trail: Trail, anchor: Place | None, points: Sequence[Place], room: int) -> list[int]:
    """The bits of the trail that an encoder sends into `room` bits."""
    if anchor is None:
        return []
    for shift in range(trail.coarsenings + 1):
        grid = _Grid(trail, anchor, shift)
        pieces: list[list[int]] = []
        for point in points[: trail.points]:
            if not grid.carries(point):
                break
            pieces.append([bit for group, cells in grid.cells(point) for bit in group.append(cells)])
        trails = [_front(trail, count, shift) + list(chain(*pieces[:count])) for count in range(len(pieces) + 1)]
        if len(trails[-1]) <= room:
            return trails[-1]
    return max((bits for bits in trails if len(bits) <= room), key=trails.index)


def _front(trail: Trail, count: int, shift: int) -> list[int]:
    width = (trail.points - 1).bit_length()
    front = [1] if count == trail.points else [0, *digits(count, width)]
    return front + ([1] * shift + [0])[: trail.coarsenings]


class _Axes:
    """A group of axes with the whole history of its points."""

    def __init__(self, limits: Sequence[int], first: int, change: int, *, wandering: bool, forward: bool = False) -> None:
        self.limits, self.starts, self.wandering, self.forward = limits, (first, change), wandering, forward
        self.path: list[tuple[int, ...]] = [(0,) * len(limits)]
        self.sizes: list[int] = []  # of the residuals since the scale started
        self.misses: list[tuple[int, int, int]] = []  # of each point since then: what the three guesses were wrong by

    def _moves(self, axis: int) -> list[int]:
        """The displacements so far; before the first point there were two of 0, before the second the first one twice."""
        moves = [new[axis] - old[axis] for old, new in pairwise(self.path)]
        return [*(moves[:1] or [0, 0]), *moves] if len(moves) != 1 else moves * 2

    def _order(self) -> int:
        total, count = self.starts[len(self.path) > 1], 1
        for size in self.sizes:
            total, count = total + size, count + 1
            if count == 8:
                total, count = total // 2, 4
        return next(order for order in range(64) if count * 2**order >= total)

    def _pick(self) -> int:
        errors: list[list[int]] = [[0], [0], [2 if len(self.path) > 1 else 0]]
        for guess, faded in enumerate(errors):
            for miss in self.misses:
                faded.append(-(-7 * faded[-1] // 8) + miss[guess])
        return max(range(3), key=lambda guess: (-errors[guess][-1], guess))

    def extend(self, residual: Callable[[int, int, bool], int]) -> None:
        """One point more, of residuals that come one by one for an order, a guessed cell, and whether the code bends."""
        pick, bent = self._pick(), len(self.path) == 1
        cells, misses = [], []
        for axis, limit in enumerate(self.limits):
            *_, before, last = self._moves(axis)
            mean = math.floor(Fraction(last + before + 1, 2))
            guesses = (0, last, mean if self.wandering else last + math.floor(Fraction(last - before + 1, 2)))
            rest = residual(self._order(), self.path[-1][axis] + guesses[pick], bent)
            move = guesses[pick] + rest
            cell = self.path[-1][axis] + move
            if abs(cell) > limit or (self.forward and move < 0):
                raise Unreadable("a point is out of reach")
            self.sizes.append(abs(rest))
            cells.append(cell)
            misses.append([abs(move - guess) for guess in guesses])
        self.path.append(tuple(cells))
        if bent:
            self.sizes, self.misses = [], []
        else:
            self.misses.append((sum(m[0] for m in misses), sum(m[1] for m in misses), sum(m[2] for m in misses)))

    def append(self, cells: Sequence[int]) -> list[int]:
        """The bits of one point more."""
        bits: list[int] = []
        wanted = iter(cells)

        def residual(order: int, expected: int, bent: bool) -> int:  # noqa: FBT001  # called in one place
            rest = next(wanted) - expected
            bits.extend(residual_bits(rest, order, bent=bent))
            return rest

        self.extend(residual)
        return bits


class _Grid:
    """The cells of one packet, in exact fractions of a base unit."""

    def __init__(self, trail: Trail, anchor: Place, shift: int) -> None:
        self.anchor = anchor
        whole = min(abs(anchor.latitude) // 10**7, 89)
        cosine = Fraction(180**2 - 4 * whole**2, 180**2 + whole**2)
        self.north = trail.step * 2**shift
        self.east = math.floor(self.north / cosine)
        self.up = trail.altitude.step * 2**shift if trail.altitude and anchor.altitude is not None else None
        scaled = [max(1, start // 2**shift) for start in (trail.initial_scale, trail.scale_rate)]
        half = Fraction(_ROUND, 2)
        self.groups = [
            _Axes(
                [min(_FARTHEST, _away(half / size)) for size in (self.north, self.east)], *scaled, wandering=trail.wandering
            )
        ]
        if self.up and trail.altitude:
            scaled = [max(1, start // 2**shift) for start in (trail.altitude.initial_scale, trail.altitude.scale_rate)]
            self.groups.append(_Axes([min(_FARTHEST, 10**9 // self.up)], *scaled, wandering=trail.wandering))
        self.timed = trail.interval_seed is not None
        if trail.interval_seed is not None:
            self.groups.append(_Axes([_FARTHEST], trail.interval_seed, 1, wandering=trail.wandering, forward=True))

    def cells(self, point: Place) -> list[tuple[_Axes, list[int]]]:
        """The cells of a point, group by group."""
        ahead = point.longitude - self.anchor.longitude
        short = min((ahead, ahead - _ROUND, ahead + _ROUND), key=abs)
        found = [[_away(Fraction(point.latitude - self.anchor.latitude, self.north)), _away(Fraction(short, self.east))]]
        if self.up and point.altitude is not None and self.anchor.altitude is not None:
            found.append([_away(Fraction(point.altitude - self.anchor.altitude, self.up))])
        if self.timed and point.age is not None:
            found.append([point.age])
        return list(zip(self.groups, found, strict=False))

    def carries(self, point: Place) -> bool:
        """Whether a point can stand behind those so far."""
        found = self.cells(point)
        if len(found) < len(self.groups) or (self.up and point.altitude is None):
            return False
        if self.timed and (point.age is None or point.age < self.groups[-1].path[-1][0]):
            return False
        return all(abs(cell) <= limit for group, cells in found for cell, limit in zip(cells, group.limits, strict=True))

    def place(self) -> Place:
        """The point that the groups have come to."""
        north, east = self.groups[0].path[-1]
        latitude = self.anchor.latitude + north * self.north
        if abs(latitude) - _POLE > Fraction(self.north, 2):
            raise Unreadable("a point is beyond a pole")
        longitude = self.anchor.longitude + east * self.east
        longitude -= math.floor(Fraction(longitude, _ROUND) + Fraction(1, 2)) * _ROUND
        altitude = None
        if self.up and self.anchor.altitude is not None:
            altitude = self.anchor.altitude + self.groups[1].path[-1][0] * self.up
        age = self.groups[-1].path[-1][0] if self.timed else None
        return Place(max(-_POLE, min(latitude, _POLE)), longitude, altitude, age)


def _away(number: Fraction) -> int:
    """The nearest whole number, halves away from zero."""
    near = math.floor(abs(number) + Fraction(1, 2))
    return -near if number < 0 else near


def ages(trail: Trail, places: Sequence[Place], spacing: float | None) -> list[float | None]:
    """The age of each point: its own, or a multiple of the whole seconds that the packet's field says (None: no field)."""
    if trail.interval_seed:
        return [place.age for place in places]
    each = trail.spacing_seconds or (None if spacing is None else int(spacing))
    return [None if each is None else age for age in accumulate([each or 0] * len(places))]
