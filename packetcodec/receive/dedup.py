"""The places that are known of one tracker, on its own line of time.

Owns one rule: when two places are the same one.

- **By time.** Their moments on the line differ by less than a tolerance: half of what lies between points.
- **By place and time.** A packet sent off its tick, or delayed, stands on the line beside the moment at which its position
  was taken. So a moment is a stretch: from what the counter says to what the clock says, at most one interval; two to
  either side where the interval is learned and the link delays. Two places are the same if their stretches come within
  the tolerance and neither axis differs by more than the grids allow: half a step and half a cell between a position and
  a trail point, a cell between two trail points.

The receiver asks the second rule only of trail points that no packet of a given interval was counted for, and only where
the tracker went on between points, since a place that it stays at says nothing. Each known place stands for one of them.

The price. What is told twice: a point of a tracker that stands still and sends off its tick. What is swallowed: one that
crosses its own way, within a cell, less than an interval apart. While the interval has to be learned on a link that
delays, both are more frequent. Give the interval, or send the time.

>>> places = KnownPlaces(limit=100)
>>> places.learn(Place(60.0, 60.0, 95.0, 46.5, 9.8, 225, direct=True))      # off its tick, or late
>>> places.near(90.0, 15.0), places.like(Place(90.0, 90.0, 90.0, 46.50001, 9.8, 225, direct=False), 15.0)
(None, [Place(line=60.0, low=60.0, high=95.0, north=46.5, east=9.8, step=225, direct=True, serial=0)])
"""

from __future__ import annotations

from bisect import bisect_left, insort
from itertools import pairwise
from operator import attrgetter
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.wire.trail.cells import east_step

if TYPE_CHECKING:
    from collections.abc import Container, Mapping


class Place(NamedTuple):
    """Where a tracker was, and when.

    Attributes:
        line: its moment on the tracker's line, in seconds.
        low, high: the stretch in which the position was taken, `line` within it.
        north, east: degrees.
        step: size of its grid from south to north, in 1e-7 degree.
        direct: whether its own packet told it, not a trail.
        serial: number of the packet that told it, as they were heard.
    """

    line: float
    low: float
    high: float
    north: float
    east: float
    step: int
    direct: bool
    serial: int = 0


_line = attrgetter("line")


class KnownPlaces:
    """Those of one tracker, by their moments.

    Attributes:
        horizon: moment before which places are forgotten, and so count as known.
    """

    def __init__(self, limit: int) -> None:
        """Begin with none; at most `limit` are remembered, the latest ones."""
        self.horizon = float("-inf")
        self._limit = limit
        self._known: list[Place] = []
        self._widest = 0.0

    def __len__(self) -> int:
        return len(self._known)

    def learn(self, place: Place) -> None:
        """Remember one."""
        insort(self._known, place, key=_line)
        self._widest = max(self._widest, place.high - place.low)
        if len(self._known) > self._limit:
            self.forget(self._known[len(self._known) - self._limit].line)
            del self._known[: -self._limit]  # more of one moment than are remembered

    def forget(self, horizon: float) -> None:
        """Drop what is before a moment."""
        self.horizon = max(self.horizon, horizon)
        del self._known[: bisect_left(self._known, self.horizon, key=_line)]

    def move(self, seconds: Mapping[int, float]) -> None:
        """Move the places of each packet, by its serial number; what their stretches said is known now."""
        known, self._known, self._widest = self._known, [], 0.0
        for place in known:
            line = place.line + seconds.get(place.serial, 0.0)
            self.learn(place._replace(line=line, low=line, high=line))

    def between(self, low: float, high: float) -> list[Place]:
        """Those at or after one moment and before another."""
        return self._known[bisect_left(self._known, low, key=_line) : bisect_left(self._known, high, key=_line)]

    def near(self, line: float, tolerance: float, *, by_trail: bool = False) -> Place | None:
        """The one nearest in time, within less than the tolerance; `by_trail` leaves out what its own packet told."""
        near = self.between(line - tolerance, line + tolerance)
        near = [place for place in near if abs(place.line - line) < tolerance and not (by_trail and place.direct)]
        return min(near, key=lambda place: abs(place.line - line), default=None)

    def like(self, place: Place, tolerance: float, taken: Container[Place] = ()) -> list[Place]:
        """Those that are the same by place and time, without those taken."""
        reach = tolerance + self._widest
        return [
            known
            for known in self.between(place.low - reach, place.high + reach)
            if known.low - place.high < tolerance and place.low - known.high < tolerance
            and known not in taken and not differ(known, place)
        ]  # fmt: skip

    def shift(self, places: list[Place], doubt: float, tolerance: float) -> float | None:
        """By how many seconds, up to `doubt`, a packet's moments are wrong, if its places tell; else None.

        A place says something only where the tracker went on before or after it. Of all shifts that lay one of them on a
        known one, that counts which lays most of them on the same places and fewest on others; of several the smallest, of
        two the later.
        """
        if not places:
            return None
        shifts = {0.0}
        pairs = [differ(one, other) for one, other in pairwise(places)]
        moving = [one or other for one, other in zip([False, *pairs], [*pairs, False], strict=True)]
        for place in (place for place, moves in zip(places, moving, strict=True) if moves):
            around = self.between(place.line - doubt, place.line + doubt)
            shifts |= {known.line - place.line for known in around if not differ(known, place)}

        def agreement(shift: float) -> tuple[int, float, float]:
            score = told = 0
            for place, moves in zip(places, moving, strict=True):
                if known := self.near(place.line + shift, tolerance):
                    same = not differ(known, place)
                    score, told = score + (1 if same else -2), told + (moves and same)
            return (score if told else -len(places) * 3, -abs(shift), shift)

        best = max(shifts, key=agreement)
        return best if agreement(best)[0] > 0 else None


def differ(first: Place, second: Place) -> bool:
    """Whether two places are farther apart than their grids allow on an axis."""
    # One base unit for what rounding to degrees adds.
    step = (first.step + second.step) // 2 + 1
    across = abs((first.east - second.east + 180) % 360 - 180)
    north = max(abs(first.north), abs(second.north))
    return abs(first.north - second.north) > 1e-7 * step or across > 1e-7 * (east_step(step, round(north * 1e7)) + 1)


def outside(place: Place, others: list[Place]) -> bool:
    """Whether a place is farther from the rectangle around others than that is long: no path between them leads there."""
    step = max([place.step, *(other.step for other in others)])
    square = step / east_step(step, round(place.north * 1e7))
    norths = [other.north - place.north for other in others]
    easts = [((other.east - place.east + 180) % 360 - 180) * square for other in others]
    size = max(max(norths) - min(norths), max(easts) - min(easts)) + 1e-7 * step
    return max(min(norths), -max(norths), min(easts), -max(easts)) > size
