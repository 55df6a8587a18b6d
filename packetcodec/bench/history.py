"""What a tracker remembers: the earlier positions that it sends along as a trail.

Owns one rule: which positions those are. With a fixed spacing, point k is where the receiver was k spacings ago: the last
position it gave in the half spacing before that moment. Where it gave none, or sent that it had none, the trail ends,
because a point's place in the trail is its age. A trail that carries its own ages takes the last positions whatever lies
between them.

>>> from packetcodec.logs.fix import Fix
>>> fixes = tuple(Fix(float(second), 46.5, 9.9 + second / 1000) for second in range(0, 100, 5))
>>> [point.longitude for point in History(fixes).points(80.0, count=3, spacing=20)]
[9.96, 9.94, 9.92]
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from typing import TYPE_CHECKING

from packetcodec.codec import TrailPoint

if TYPE_CHECKING:
    from collections.abc import Iterable

    from packetcodec.logs.fix import Fix


class History:
    """The positions of a log, to look back into. Where log time runs backwards, what was before is forgotten."""

    def __init__(self, fixes: Iterable[Fix]) -> None:
        self._fixes: list[Fix] = []
        self._times: list[float] = []
        self._without: list[float] = []
        for fix in fixes:
            self.add(fix)

    def add(self, fix: Fix) -> None:
        """Remember a fix if it has a position."""
        if not fix.has_position:
            return
        if self._times and fix.time < self._times[-1]:
            self._fixes.clear()
            self._times.clear()
        if not self._times or fix.time > self._times[-1]:
            self._fixes.append(fix)
            self._times.append(fix.time)

    def without(self, now: float) -> None:
        """Remember that a packet without a position was sent."""
        if self._without and now < self._without[-1]:
            self._without.clear()
        self._without.append(now)

    def _said_none(self, moment: float, reach: float) -> bool:
        """Whether a packet without a position was sent within less than so many seconds of a moment."""
        place = bisect_right(self._without, moment - reach)
        return place < len(self._without) and self._without[place] < moment + reach

    def points(self, now: float, *, count: int, spacing: float) -> list[TrailPoint]:
        """The trail of a packet sent at `now`, newest first, at most `count` points.

        Args:
            now: the time of the packet's own position.
            count: most points.
            spacing: seconds from point to point; 0 for the last positions before `now`, with their ages.
        """
        if not spacing:
            before = bisect_left(self._times, now)
            return [_point(fix, round(now - fix.time)) for fix in reversed(self._fixes[max(0, before - count) : before])]
        found = []
        for number in range(1, count + 1):
            moment = now - number * spacing
            place = bisect_right(self._times, moment + 0.001) - 1
            if place < 0 or moment - self._times[place] >= spacing / 2 or self._said_none(moment, spacing / 2):
                break
            found.append(_point(self._fixes[place], number * spacing))
        return found


def _point(fix: Fix, age: float) -> TrailPoint:
    return TrailPoint(fix.latitude or 0.0, fix.longitude or 0.0, fix.altitude, age)


def trail_lengths(points: int) -> tuple[int, ...]:
    """Lengths of a trail that tell what it is good for: none, half and all of its points.

    >>> trail_lengths(8), trail_lengths(1)
    ((0, 4, 8), (0, 1))
    """
    return tuple(sorted({0, points // 2, points}))
