"""The line of time of one tracker: when each of its packets was sent, as far as that can be known.

Owns one rule. Every place has a moment on the line, in seconds; `packetcodec.receive.dedup` tells by it which places are
the same. The moment of a packet is its time field, if that resolves half a spacing. If not, it follows from the packet
before:

* By the counter, one interval for each number, where the interval is given, or learned from receptions. Point k of packet
  n then is packet n - k * spacing / interval, exactly, where that is whole, whatever the delays. Where numbers may have
  gone to packets without a position, whole intervals of the time of reception decide how many of them did. A pause of four
  intervals more than the counter says is taken from the clock.
- Packets that come at once, in an eighth of their interval, come out of a buffer or a file: by the counter.
- Else by the time of reception.

A late packet stands between the packets around it, in proportion to its number.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.receive.interval import Interval
    from packetcodec.receive.order import Arrival, Heard, Order, Verdict

#: Packets whose delay tells how long the last one was under way.
_RECENT = 12
#: Spacings that a packet of a tracker in step may be under way, before the time counts more than the counter.
_PAUSE = 4
#: Intervals by which a moment may be wrong at least, on a link that delays, while the interval is not known.
_UNSURE = 2
#: Packets by which an assumed interval may be seen to be right.
_PACED = 3


class Timeline:
    """One tracker's.

    Attributes:
        slot: the newest packet of a layout with a position since the tracker began to count, or None.
    """

    def __init__(self, order: Order, interval: Interval) -> None:
        self.slot: Heard | None = None
        self._order = order
        self._interval = interval
        self._last: Heard | None = None  # as `slot`, but kept when the tracker counts anew
        self._recent: deque[float] = deque(maxlen=_RECENT)  # reception less moment of the last ones like `slot`
        self._quiet = False  # it sends packets without a position too: a missing number need not be a place
        self._overtaken = False  # a packet came late: the link is known to delay
        self._widest = 0.0  # seconds by which one was seen to be late at most
        self._others = 0  # packets without a position so far

    def take(self, heard: Heard, verdict: Verdict) -> None:
        """Remember a packet that is no duplicate."""
        arrival = heard.arrival
        if verdict == "late":
            self._overtaken = True
            self._widest = max(self._widest, arrival.now - heard.line - min(self._recent, default=0.0))
        if verdict == "restart":
            self.slot = None
            self._recent.clear()
        if not arrival.placed:
            self._quiet = True
            self._others += verdict != "late"
        elif verdict != "late":
            number = heard.number - self._others
            self._interval.learn(number, arrival.moment, arrival.usual, restarted=verdict == "restart")
            self.slot = self._last = heard
            self._recent.append(arrival.now - heard.line)

    def moment(self, arrival: Arrival, verdict: Verdict, number: int) -> float:
        """The moment of a packet on the line."""
        last = self._last
        if not arrival.placed:
            return last.line if last else arrival.now
        if arrival.timed or last is None:
            return arrival.moment
        if verdict == "late":
            return self._between(arrival, number)
        elapsed = arrival.now - last.arrival.now
        interval = self._interval.seconds(arrival.usual, arrival.spacing)
        if self.slot is None or verdict == "restart" or arrival.counter is None:
            return last.line + (interval if elapsed < interval / 8 else elapsed)
        ahead = number - last.number
        others = sum(not heard.arrival.placed for heard in self._order.between(last.number, number))
        # How long the last packet was under way shows in those before it: the quickest of them sets the clock.
        elapsed = arrival.now - min(self._recent) - last.line
        return last.line + self._step(elapsed, ahead, others, interval, arrival.spacing)

    def _step(self, elapsed: float, ahead: int, others: int, interval: float, spacing: float) -> float:
        """Seconds from one packet to a later one, some numbers ahead, of which `others` had no position."""
        if not interval or ahead < 1:
            return elapsed
        if elapsed < (ahead - others) * interval / 8:
            return max(1, ahead - others) * interval
        if interval != spacing and not self._interval.known:
            return elapsed
        slots = min(max(round(elapsed / interval), 1 if self._quiet else ahead), ahead)
        late = max(interval * _PAUSE, 2 * self._widest) if self._interval.known else interval / 2
        if abs(elapsed - slots * interval) <= late:
            return slots * interval
        return elapsed

    def _between(self, arrival: Arrival, number: int) -> float:
        """The moment of a late packet, from its number."""
        around = [(heard.number, heard.line) for heard in self._order.placed()]
        if arrival.counter is None or not around:
            return arrival.moment
        return _among(around, number, self._interval.seconds(arrival.usual, arrival.spacing))

    def settle(self, arrival: Arrival) -> list[tuple[Heard, float]]:
        """Put the packets heard where the interval says, once it is sure; each with its moment before that.

        Nothing where it is not, or the points of trails do not fall on few moments of it.
        """
        interval = self._interval.seconds(arrival.usual, arrival.spacing)
        heard = self._order.placed()
        even = [one for one in heard if one.in_order]
        sure = self._interval.counts(interval, arrival.spacing) and not self._quiet and not self._interval.settles
        if not sure or not even:
            return []
        lines = [(even[0].number, even[0].line)]
        for one, other in pairwise(even):
            elapsed = other.arrival.now - one.arrival.now
            step = self._step(elapsed, other.number - one.number, 0, interval, arrival.spacing)
            lines.append((other.number, lines[-1][1] + step))
        before = [(one, one.line) for one in heard]
        for one in heard:
            one.line = _among(lines, one.number, interval)
        self._recent = deque((one.arrival.now - one.line for one in even), maxlen=_RECENT)
        return before

    def keeps(self, interval: float) -> bool:
        """Whether three packets at least came at about this interval."""
        even = [one for one in self._order.placed() if one.in_order]
        if len(even) < _PACED:
            return False
        first, last = even[0], even[-1]
        wanted = (last.number - first.number) * interval
        return abs(last.arrival.now - first.arrival.now - wanted) <= wanted / 8

    def doubt(self, arrival: Arrival) -> float:
        """Seconds by which the moment of a packet may be wrong, as far as the link is known to delay; 0 for none."""
        interval = self._interval.seconds(arrival.usual, arrival.spacing)
        if arrival.timed or self._interval.given or arrival.counter is None or not interval:
            return 0.0
        sure = self._interval.counts(interval, arrival.spacing) if self._overtaken else self._interval.known
        if sure and not self._quiet and not self._interval.settles:
            return 0.0
        if self._overtaken or self._interval.settles:
            return max(_UNSURE * interval, self._interval.uneven, self._widest)
        return 0.0

    def stretch(self, arrival: Arrival, line: float, *, late: bool) -> tuple[float, float]:
        """From when to when a packet's position may have been taken: between its line and its clock, an interval at most."""
        interval = self._interval.seconds(arrival.usual, arrival.spacing)
        if arrival.timed or not interval:
            return line, line
        if doubt := self.doubt(arrival):
            return line - doubt, line + doubt
        if late:
            return line, line + interval
        clock = arrival.now - min(self._recent, default=0.0)
        return max(line - interval, min(line, clock)), min(line + interval, max(line, clock))


def _among(around: Sequence[tuple[int, float]], number: int, interval: float) -> float:
    """The moment of a packet by its number, among the numbers and moments of others."""
    place = bisect_left(around, (number, float("-inf")))
    if place < len(around) and around[place][0] == number:
        return around[place][1]
    if place == 0:
        return around[0][1] - (around[0][0] - number) * interval
    low = around[place - 1]
    if place == len(around):
        return low[1] + (number - low[0]) * interval
    high = around[place]
    return low[1] + (high[1] - low[1]) * (number - low[0]) / (high[0] - low[0])
