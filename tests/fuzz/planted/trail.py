"""The trail of the plain decoder and encoder, with switches that make it wrong.

Owns no rule: what is right stands in the specification, what is wrong here in `tests.fuzz.planted.mistakes`.

>>> stream = Stream([0b10110000], 1)
>>> stream.get(3), stream.left
(3, 4)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.schema import AltitudeSteps

if TYPE_CHECKING:
    from packetcodec.schema import Trail

_POLE, _HALF, _MOST = 900_000_000, 1_800_000_000, (1 << 20) - 1
#: Cells of altitude never reach further from the head than so many centimetres.
_CLIMB = 1_000_000_000
#: Digits after which a mistaken encoder stops: no packet holds so many.
_ENOUGH = 4000

Place = tuple[int, int, int | None]
Spot = tuple[int, int, int | None, int | None]


class TrailError(Exception):
    """Bits of a trail that no encoder writes."""


class Stream:
    """Bits of a packet, read one after the other."""

    def __init__(self, data: list[int], first: int) -> None:
        self.data = data
        self.place = first
        self.short = False

    @property
    def left(self) -> int:
        """Bits not read yet."""
        return len(self.data) * 8 - self.place

    def get(self, width: int) -> int:
        """The next bits as a number."""
        if width > self.left and not self.short:
            raise TrailError
        number = 0
        for _ in range(width):
            inside = self.place < len(self.data) * 8
            number = number * 2 + (self.data[self.place // 8] >> 7 - self.place % 8 & 1 if inside else 0)
            self.place += 1
        return number


class _Axes:
    """Numbers that are guessed together."""

    def __init__(self, coder: PlainTrail, limits: list[int], first: int, change: int, *, rising: bool = False) -> None:
        self.coder = coder
        self.limits = limits
        self.change = change
        self.rising = rising
        self.total, self.count = first, 1
        if coder.has("sum starts at zero"):
            self.total = 0
        self.points = 0
        self.errors = [0, 0, 0]
        self.at = [0] * len(limits)
        self.last = [0] * len(limits)
        self.before = [0] * len(limits)

    def best(self) -> int:
        """Which guess to take."""
        has = self.coder.has
        best = 0
        for other in (1, 2):
            better = self.errors[other] < self.errors[best]
            if better or (self.errors[other] == self.errors[best] and not has("a tie takes the earlier guess")):
                best = other
        if not has("errors of guesses do not fade"):
            shift = 2 if has("errors of guesses fade too fast") else 3
            self.errors = [error - (error >> shift) for error in self.errors]
        if has("guess always goes on"):
            best = 1
        if has("guess never turns") and best == 2:
            best = 1
        if has("guess never stays") and best == 0:
            best = 1
        return best

    def order(self) -> int:
        """The order of the next number."""
        order = 0
        total = self.total + self.coder.has("order one too high at a border")
        while self.count << order < total:
            order += 1
        return order

    def take(self, rest: int) -> None:
        """Learn from a number."""
        has = self.coder.has
        if has("no adaptation"):
            return
        self.total += rest if has("sum takes the sign along") and self.total + rest > 0 else abs(rest)
        self.count += 1
        window = 8 + has("window one too long") - has("window one too short")
        if self.count == window and not has("window never halved"):
            self.total >>= 1
            self.count >>= 1 - has("count not halved with the sum")

    def step(self, wanted: list[int] | None) -> None:
        """One point: written when given, read when not."""
        has = self.coder.has
        best, moves = self.best(), []
        for axis, limit in enumerate(self.limits):
            last, before = self.last[axis], self.before[axis]
            half = last - before + (not has("half a change rounded down"))
            turn = last + (half >> 1)
            if has("half a change rounded towards zero"):
                turn = last + int((last - before) / 2)
            if has("whole change guessed"):
                turn = last + last - before
            guesses = (0, last, turn)
            steady = 1 if self.points == 0 and not has("first point escapes late") else 5
            rest = None if wanted is None else wanted[axis] - self.at[axis] - guesses[best]
            rest = self.coder.number(rest, self.order(), steady)
            moved = guesses[best] + rest
            self.at[axis] += moved
            if self.rising and moved < 0 and not has("time that runs back taken"):
                raise TrailError
            if abs(self.at[axis]) > limit and not has("points too far away taken"):
                raise TrailError
            self.take(rest)
            for place, guess in enumerate(guesses):
                self.errors[place] += abs(moved - guess)
            moves.append(moved)
        self.points += 1
        if self.points == 1:
            if not has("first start kept for later points"):
                self.total, self.count = self.change, 1
            self.errors = [0, 0, 0 if has("turning guess not held back") else 2]
            self.before, self.last = moves, moves
            if has("no move before the first"):
                self.before = [0] * len(moves)
        else:
            self.before, self.last = self.last, moves


class PlainTrail:
    """Reads and writes one trail.

    Args:
        trail: of the layout.
        mistake: name of the switch, or "".
    """

    def __init__(self, trail: Trail, mistake: str) -> None:
        self.trail = trail
        self.mistake = mistake
        self.stream: Stream | None = None
        self.digits: list[str] = []

    def has(self, mistake: str) -> bool:
        """Whether this is the mistake being made."""
        return self.mistake == mistake

    def number(self, rest: int | None, order: int, steady: int) -> int:
        """A number with a sign: written when given, read when not."""
        steady += self.has("escape one too late") - (self.has("escape one too early") and steady > 1)
        if rest is not None:
            value = 2 * rest if rest >= 0 else -2 * rest - 1
            if self.has("signs swapped in the code"):
                value = -2 * rest if rest <= 0 else 2 * rest - 1
            while value >= 1 << order and len(self.digits) < _ENOUGH:
                self.digits.append("1")
                value -= 1 << order
                steady -= 1
                order += steady <= 0 and not self.has("escape does not grow")
            self.digits.append(f"0{value & (1 << order) - 1:0{order}b}" if order else "0")
            return rest
        assert self.stream is not None  # nothing is given: it is being read
        value = 0
        while self.stream.get(1):
            value += 1 << order
            steady -= 1
            order += steady <= 0 and not self.has("escape does not grow")
            if order > 24:
                raise TrailError
        value += self.stream.get(order)
        if self.has("signs swapped in the code"):
            return value >> 1 if value % 2 == 0 and value == 0 else (-(value >> 1) if value % 2 == 0 else (value >> 1) + 1)
        if self.has("negative numbers off by one"):
            return -(value >> 1) if value & 1 else value >> 1
        return -(value >> 1) - 1 if value & 1 else value >> 1

    def _east(self, step: int, latitude: int) -> int:
        whole = abs(latitude) // 10_000_000
        if self.has("latitude rounded for the width of a cell"):
            whole = (abs(latitude) + 5_000_000) // 10_000_000
        if self.has("latitude floored for the width of a cell"):
            whole = abs(latitude // 10_000_000)
        if not self.has("pole divides by zero"):
            whole = min(whole, 89)
        if self.has("cells as wide everywhere"):
            return step
        return step * (32_400 + whole * whole) // (32_400 - 4 * whole * whole)

    def _axes(self, head: Place, step: int, shift: int) -> list[_Axes]:
        trail = self.trail
        wide = self._east(step, head[0])
        height = trail.altitude or AltitudeSteps(0)
        starts = [trail.initial_scale, trail.scale_rate, height.initial_scale, height.scale_rate]
        if not self.has("starts not shifted with the grid"):
            height = trail.altitude or AltitudeSteps(0)
        starts = [max(1, start >> shift) for start in starts]
        plane = [min(_MOST, (_HALF + size // 2) // size) for size in (step, wide)]
        axes = [_Axes(self, plane, starts[0], starts[1])]
        if trail.altitude and (head[2] is not None or self.has("altitude expected without one in the head")):
            climb = trail.altitude.step << shift
            axes.append(_Axes(self, [min(_MOST, _CLIMB // climb)], starts[2], starts[3]))
        if trail.interval_seed:
            axes.append(_Axes(self, [_MOST], trail.interval_seed, 1, rising=True))
        return axes

    # --- reading -----------------------------------------------------------------------------------------------------

    def read(self, head: Place, stream: Stream) -> list[Spot]:
        """The points of a trail, newest first."""
        trail, self.stream = self.trail, stream
        stream.short = self.has("bits missing read as zero")
        count = trail.points
        if not stream.get(1):
            count = stream.get(trail.count_bits)
            if count >= trail.points and not self.has("count not looked at"):
                raise TrailError
        elif self.has("full trail one point short"):
            count -= 1
        if self.has("one point left unread") and count:
            count -= 1
        shift = 0
        while shift < trail.coarsenings and stream.get(1):
            shift += 1
        step = trail.step << (0 if self.has("grid not shifted") else shift)
        axes = self._axes(head, step, shift)
        points: list[Spot] = []
        here = head
        for _ in range(count):
            for group in axes:
                group.step(None)
            spot = self._spot(head if not self.has("width of a cell taken at the point before") else here, head, axes, shift)
            points.append(spot)
            here = (spot[0], spot[1], spot[2])
        return points[::-1] if self.has("oldest point told first") else points

    def _spot(self, width_at: Place, head: Place, axes: list[_Axes], shift: int) -> Spot:
        trail = self.trail
        step = trail.step << (0 if self.has("grid not shifted") else shift)
        north, east = axes[0].at
        latitude = head[0] + north * step
        if 2 * (abs(latitude) - _POLE) > step and not self.has("points beyond a pole taken"):
            raise TrailError
        if not self.has("latitude not cut at a pole"):
            latitude = max(-_POLE, min(_POLE, latitude))
        longitude = head[1] + east * self._east(step, width_at[0])
        if not self.has("antimeridian not crossed"):
            longitude = (longitude + _HALF) % (2 * _HALF) - _HALF
        altitude, rest = None, axes[1:]
        if rest and trail.altitude and (head[2] is not None or len(rest) > bool(trail.interval_seed)):
            climb = trail.altitude.step << (0 if self.has("altitude not shifted with the grid") else shift)
            altitude = (head[2] or 0) + rest[0].at[0] * climb
            if self.has("altitude told from sea level"):
                altitude -= head[2] or 0
        age = None
        if trail.interval_seed:
            age = rest[-1].last[0] if self.has("seconds told from point to point") else rest[-1].at[0]
        return latitude, longitude, altitude, age

    # --- writing -----------------------------------------------------------------------------------------------------

    def write(self, head: Place, points: list[Spot], room: int) -> str:
        """The digits of a trail that fits into the room."""
        trail = self.trail
        if self.has("oldest point sent first"):
            points = [*reversed(points)]
        if not self.has("one point too many sent"):
            points = points[: trail.points]
        digits = ""
        for shift in range(trail.coarsenings + 1):
            written = self._written(head, points, shift)
            kept = len(written) - 1
            while kept and len(self._front(kept, shift)) + len(written[kept]) > room:
                if self.has("limit of the packet ignored"):
                    break
                kept -= 1
            if self.has("newest points dropped") and kept < len(written) - 1:
                written = self._written(head, points[len(points) - kept :], shift)
                kept = min(kept, len(written) - 1)
            digits = self._front(kept, shift) + written[kept]
            if kept == len(written) - 1 or self.has("grid never made coarser"):
                break
        return digits

    def _front(self, count: int, shift: int) -> str:
        trail = self.trail
        front = f"{count:0{1 + trail.count_bits}b}"
        if count == trail.points and not self.has("full trail written as a count"):
            front = "1"
        if self.has("count one too high") and count < trail.points - 1:
            front = f"{count + 1:0{1 + trail.count_bits}b}"
        if trail.coarsenings:
            front += "1" * shift + "0" * (shift < trail.coarsenings)
        return front

    def _written(self, head: Place, points: list[Spot], shift: int) -> list[str]:
        """The digits after no point, one, two ..."""
        self.digits = []
        step = self.trail.step << shift
        axes = self._axes(head, step, shift)
        written = [""]
        for point in points:
            cells = self._cells(head, point, step, shift, axes)
            if cells is None:
                if self.has("points that do not fit skipped"):
                    continue
                break
            for group, wanted in zip(axes, cells, strict=True):
                group.step(wanted)
            written.append("".join(self.digits))
        return written

    def _cells(self, head: Place, point: Spot, step: int, shift: int, axes: list[_Axes]) -> list[list[int]] | None:
        east = point[1] - head[1]
        if not self.has("long way round taken"):
            east -= 2 * _HALF if east > _HALF else 0
            east += 2 * _HALF if east < -_HALF else 0
        found = [[self._near(point[0] - head[0], step), self._near(east, self._east(step, head[0]))]]
        if self.trail.altitude and head[2] is not None:
            if point[2] is None:
                return None
            found.append([self._near(point[2] - head[2], self.trail.altitude.step << shift)])
        if self.trail.interval_seed:
            if point[3] is None or point[3] < axes[-1].at[0]:
                return None
            found.append([point[3]])
        for group, cells in zip(axes, found, strict=True):
            if any(abs(cell) > limit for cell, limit in zip(cells, group.limits, strict=True)):
                return None
        return found

    def _near(self, offset: int, size: int) -> int:
        if self.has("cells truncated"):
            return abs(offset) // size * (1 if offset > 0 else -1)
        if self.has("cells floored"):
            return offset // size
        if self.has("halves of cells rounded up"):
            return (offset + size // 2) // size
        cells = (abs(offset) + size // 2) // size
        return -cells if offset < 0 else cells
