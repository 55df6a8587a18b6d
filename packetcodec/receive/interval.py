"""Seconds from packet to packet of one tracker: given, learned from receptions, or assumed.

Owns one rule. The interval is a median of those between any two of the last packets in order (where they are many, of their
first half and their second half): a delay does not move it. It is known when the middle half of those agree within an
eighth, and firm when it would be known even if all that is uneven were delay; a firm one stays while nothing speaks against
it. One within an eighth of the spacing of the trail is taken for it, and a learned one within an eighth of a multiple or a
part of it for that, or within a sixteenth of a multiple of its half, and so on to its fourth: those as far as it is likely
to be wrong, or a hundredth. The spacing is also assumed until three intervals are learned.

>>> Interval(None).seconds(30.0), Interval(28.0).seconds(30.0, spacing=30.0)
(30.0, 30.0)
"""

from __future__ import annotations

from collections import deque
from itertools import combinations, islice
from math import isfinite

#: No tracker sends more often: what comes this close comes out of a buffer.
MIN_INTERVAL = 0.001
#: Packets to learn it from, how many are enough, up to how many any two are compared, and by how many a change shows.
_SAMPLES, _TRUSTED, _PAIRED, _CHANGE = 64, 4, 12, 6
#: Packets after which a link that was not seen to delay counts as one that does not.
_SETTLED = 16
#: Part of the interval by which receptions may be off an even pace without a doubt that the link delays.
_EVEN = 0.25
#: Intervals after which a tracker counts as switched off in between.
_PAUSE = 16
#: Part by which a quotient of interval and spacing may miss a whole number.
_WHOLE = 0.001
#: Part by which a tracker's interval may be off by its clock and the time that it is awake. Common practice, no source.
_DRIFT = 0.01


class Interval:
    """What is known of it.

    Attributes:
        given: whether the caller said it.
        known: whether it is given or learned, not assumed.
        uneven: seconds by which receptions are off an even pace.
    """

    def __init__(self, given: float | None) -> None:
        self.given = self.known = given is not None
        self.uneven = 0.0
        self._seconds = given or 0.0
        self._samples: deque[tuple[int, float]] = deque(maxlen=_SAMPLES)

    @property
    def firm(self) -> bool:
        """Whether it is known even if all that is uneven in receptions is delay."""
        return self.given or (self.known and self._error() <= 1 / 8)

    def counts(self, interval: float, spacing: float) -> bool:
        """Whether moments by the counter are right: it is firm, and exact or in step with the points of trails."""
        return self.firm and (self._spread() <= _DRIFT or in_step(interval, spacing))

    def _error(self) -> float:
        """Part by which it may be wrong if all that is uneven is delay."""
        span = (self._samples[-1][0] - self._samples[0][0]) * self._seconds if self._samples else 0.0
        return self.uneven / span if span else 1.0

    def _spread(self) -> float:
        """Part by which it is likely to be wrong: that of a median, which falls with the root of the number of packets."""
        return 3 * self._error() / len(self._samples) ** 0.5 if self._samples else 1.0

    @property
    def settles(self) -> bool:
        """Whether so few packets were heard that the link may still turn out to delay."""
        few = len(self._samples)
        return few < _SETTLED and (few < _TRUSTED or self.uneven > _EVEN * self._seconds)

    def seconds(self, usual: float, spacing: float = 0.0) -> float:
        """The interval, or 0 where nothing is known of it.

        Args:
            usual: what to assume until it is known.
            spacing: seconds from point to point of the trail, to which the interval is matched; 0 for none.
        """
        interval = self._seconds or usual
        if not spacing or not 0 < interval < float("inf"):
            return interval
        near = spacing
        if not self.given:
            near = spacing / round(spacing / interval) if interval < spacing else spacing * round(interval / spacing)
        if abs(interval - near) <= near / 8:
            return near
        error, likely = self._error(), max(self._spread(), _DRIFT)
        for part in () if self.given else (2, 3, 4):
            near = round(interval * part / spacing) * spacing / part
            off = abs(interval - near) / near if near else 1.0
            if max(off, error) <= 1 / 8 / part and off <= likely:
                return near
        return interval

    def learn(self, number: int, moment: float, usual: float, *, restarted: bool) -> None:
        """Take in a packet with a position, the `number`-th of those, sent at a moment."""
        samples, kept = self._samples, self._seconds if self.known and self.firm else 0.0
        matched = kept > 0 and in_step(self.seconds(usual, usual), usual)
        if restarted or (samples and number <= samples[-1][0]):
            samples.clear()
        elif samples and (interval := self.seconds(usual)):
            count, before = samples[-1]
            if moment - before < (number - count) * interval / 8:
                samples.pop()  # what comes at once comes out of a buffer: the last of it is the least late
            elif moment - before > (number - count + _PAUSE) * interval:
                samples.clear()
        samples.append((number, moment))
        if self.given or len(samples) < _TRUSTED:
            return
        found, even = _pace(list(samples))
        recent, steady = _pace(list(islice(samples, max(0, len(samples) - _CHANGE), None)))
        if steady and abs(recent - found) > found / 8:
            samples = self._samples = deque(islice(samples, len(samples) - _CHANGE, None), maxlen=_SAMPLES)
            found, even = recent, steady
        usable = isfinite(found) and found >= MIN_INTERVAL
        self._seconds, self.known = (found, even) if usable else (0.0, False)
        late = [moment - number * found for number, moment in samples]
        self.uneven = max(late) - min(late) if usable else 0.0
        if kept and usable and abs(found - kept) <= kept * min(1 / 8, self._error() if matched else self._spread()):
            self._seconds, self.known = kept, True  # nothing speaks against what was firm


def _pace(samples: list[tuple[int, float]]) -> tuple[float, bool]:
    """The median of the intervals between samples, and whether the middle half of them agree with it."""
    half = len(samples) // 2
    pairs = combinations(samples, 2) if len(samples) <= _PAIRED else zip(samples, samples[half:], strict=False)
    found = sorted((late[1] - soon[1]) / (late[0] - soon[0]) for soon, late in pairs)
    middle, quarter = found[len(found) // 2], len(found) // (8 if len(samples) < _PAIRED else 4)
    return middle, max(found[-1 - quarter] - middle, middle - found[quarter]) <= middle / 8


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


def in_step(interval: float, spacing: float) -> bool:
    """Whether the points of trails fall on few moments of the interval, the same ones again and again."""
    step = min_separation(interval, spacing)
    return all(abs(time / step - round(time / step)) < _WHOLE for time in (interval, spacing))
