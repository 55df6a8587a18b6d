"""Seconds from packet to packet of one tracker: given, learned from receptions, or assumed.

Owns one rule. The interval is the median of those between any two of the last packets in order: a delay or a pause does
not move it. One within an eighth of the spacing of the trail is taken for it, and a learned one within an eighth of a
multiple or a part of it for that. The spacing is also assumed until three intervals are learned.

>>> Interval(None).seconds(30.0), Interval(28.0).seconds(30.0, spacing=30.0)
(30.0, 30.0)
"""

from __future__ import annotations

from collections import deque
from itertools import combinations
from math import isfinite
from statistics import median

#: No tracker sends more often: what comes this close comes out of a buffer.
MIN_INTERVAL = 0.001
#: Packets to learn the interval from, and how many are enough.
_SAMPLES, _TRUSTED = 12, 4
#: Part by which a quotient of interval and spacing may miss a whole number.
_WHOLE = 0.001


class Interval:
    """What is known of it.

    Attributes:
        given: whether the caller said it.
    """

    def __init__(self, given: float | None) -> None:
        self.given = given is not None
        self._known = given or 0.0
        self._samples: deque[tuple[int, float]] = deque(maxlen=_SAMPLES)

    @property
    def known(self) -> bool:
        """Whether the interval is given or learned, not assumed."""
        return self._known > 0

    def seconds(self, usual: float, spacing: float = 0.0) -> float:
        """The interval, or 0 where nothing is known of it.

        Args:
            usual: what to assume until it is known.
            spacing: seconds from point to point of the trail, to which the interval is matched; 0 for none.
        """
        interval = self._known or usual
        if not spacing or not 0 < interval < float("inf"):
            return interval
        near = spacing
        if not self.given:
            near = spacing / round(spacing / interval) if interval < spacing else spacing * round(interval / spacing)
        return near if abs(interval - near) <= near / 8 else interval

    def learn(self, number: int, moment: float, usual: float, *, restarted: bool) -> None:
        """Take in a packet with a position, the `number`-th of those, sent at a moment."""
        if restarted or (self._samples and number <= self._samples[-1][0]):
            self._samples.clear()
        elif self._samples and (interval := self.seconds(usual)):
            # What comes at once comes out of a buffer, and says nothing of the interval.
            count, before = self._samples[-1]
            if moment - before < (number - count) * interval / 8:
                self._samples.clear()
        self._samples.append((number, moment))
        if len(self._samples) >= _TRUSTED and not self.given:
            pairs = combinations(self._samples, 2)
            found = median((late[1] - soon[1]) / (late[0] - soon[0]) for soon, late in pairs)
            self._known = found if isfinite(found) and found >= MIN_INTERVAL else 0.0


def min_separation(interval: float, spacing: float) -> float:
    """Seconds between moments of different points: the largest of spacing / 1, 2, 3, 4 that divides the interval too.

    The smaller of both where none does: points nearer than half of it then count as one.
    """
    if not 0 < interval < float("inf") or not spacing:
        return spacing or interval
    if abs(spacing / interval - round(spacing / interval)) < _WHOLE:
        return interval
    parts = (spacing / part for part in range(1, 5))
    return next((part for part in parts if abs(interval / part - round(interval / part)) < _WHOLE), min(interval, spacing))
