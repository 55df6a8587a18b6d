"""What a receiver remembers of one tracker: which packets it heard, and which places it knows.

Owns two rules.

**Order.** Counters are compared on their circle. Up to `window` packets back (less than half the circle) a packet is
late, or, where that number was heard with the same bytes, a duplicate. Ahead it is the next one, also past the end of the
circle. The tracker has restarted when a number comes again with other bytes, when its time went on and its counter back,
or when the counter jumps farther than packets can have been sent since: past the window and four times what the pace
allows, or to below 8 in less than half the time; or when a number below 8 seems late, and its place is
farther than an interval's way from all that was told around it. The counter counts all packets of a tracker, whatever their
layout. Without a counter a packet is late by its time field, and a duplicate if the same bytes came within half an interval
(at any time, if they hold a time).

**The tracker's line.** Every place has a moment on it, in seconds; `packetcodec.receive.dedup` tells by it which places are
the same. The moment of a packet is its time field, if that resolves half a spacing. If not, it follows from the packet
before:

* By the counter, one interval for each number, where the interval is given, or learned from receptions. Point k of packet
  n then is packet n - k * spacing / interval, exactly, where that is whole, whatever the delays. An interval within an
  eighth of the spacing is taken for it, and a learned one within an eighth of a multiple or a part of it for that. The
  spacing is also assumed until three intervals are learned. Where numbers may have gone to packets without a position,
  whole intervals of the time of reception decide how many of them did. A pause of four intervals more than the counter
  says is taken from the clock.
- Packets that come at once, in an eighth of their interval, come out of a buffer or a file: by the counter.
- Else by the time of reception.

A late packet stands between the packets around it, in proportion to its number.

>>> memory = Memory(window=64)
>>> def heard(count, now, data):
...     return Arrival(data, "beacon", count, 256, now, timed=False, now=now, placed=True, spacing=30.0, usual=30.0)
>>> memory.order(heard(254, 100.0, b"a"))
('next', 254)
>>> memory.take(heard(254, 100.0, b"a"), "next", 254)
100.0
>>> memory.order(heard(1, 193.0, b"b"))                       # past the end of the circle, two lost
('next', 257)
>>> memory.take(heard(1, 193.0, b"b"), "next", 257)           # three spacings: the three seconds more were delay
190.0
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from dataclasses import dataclass
from itertools import combinations
from statistics import median

from packetcodec.receive.dedup import Places

#: A counter below this may come from a tracker that began anew.
LOW = 8
#: Seconds within which the same bytes are an echo, where no interval is known. Common practice, no source.
_ECHO = 2.0
#: Packets to learn the interval from, and how many are enough.
_SAMPLES, _TRUSTED = 12, 4
#: Spacings that a packet of a tracker in step may be under way, before the time counts more than the counter.
_PAUSE = 4
#: Intervals by which a moment may be wrong on a link that delays, while the interval is not given but learned.
_UNSURE = 2
#: Part by which a quotient of interval and spacing may miss a whole number.
_WHOLE = 0.001


@dataclass(frozen=True, slots=True)
class Arrival:
    """What counts of a packet here.

    Attributes:
        data: its bytes.
        layout: what tells layouts (and versions) apart.
        counter, circle: its counter and the numbers in a circle of it, or None and 0.
        moment: its time field, else the time of reception.
        timed: whether `moment` is a time field.
        now: time of reception.
        placed: whether its layout has a position at all.
        spacing: seconds from point to point of its trail, if all are the same, else 0.
        usual: the interval to assume until one is learned, or 0.
    """

    data: bytes
    layout: str
    counter: int | None
    circle: int
    moment: float
    timed: bool
    now: float
    placed: bool
    spacing: float
    usual: float


@dataclass(frozen=True, slots=True)
class _Heard:
    arrival: Arrival
    number: int
    line: float
    in_order: bool


class Memory:
    """Packets and places of one tracker.

    Attributes:
        window: packets remembered.
        quiet: whether the tracker sends packets without a position too, so that a missing number need not be a place.
        overtaken: whether a packet came late, so that the link is known to delay.
        newest: the packet heard with the highest number, or None.
        slot: the newest packet of a layout with a position, or None.
        horizon: moment before which places are forgotten, and so count as known.
    """

    def __init__(self, *, window: int, interval: float | None = None) -> None:
        self.window = window
        self.quiet = False
        self.overtaken = False
        self.newest: _Heard | None = None
        self.slot: _Heard | None = None
        self.horizon = float("-inf")
        self._given = interval
        self._heard: deque[_Heard] = deque(maxlen=window)
        self._learned = 0.0
        self._others = 0
        self._samples: deque[tuple[int, float]] = deque(maxlen=_SAMPLES)
        self.places = Places()

    @property
    def given(self) -> bool:
        """Whether the caller said the interval."""
        return self._given is not None

    @property
    def learned(self) -> bool:
        """Whether the interval is known, not assumed."""
        return self._given is not None or self._learned > 0

    def pace(self, usual: float, spacing: float = 0.0) -> float:
        """Seconds from packet to packet, or 0 where nothing is known of them."""
        pace = usual
        if self._given is not None:
            pace = self._given
        elif self._learned:
            pace = self._learned
        return _snapped(pace, spacing, given=self._given is not None)

    # Order

    def order(self, arrival: Arrival) -> tuple[str, int]:
        """One of "next", "late", "duplicate" or "restart"; and the packet's number, counted on past the circle's end."""
        newest = self.newest
        if newest is None:
            return "next", arrival.counter or 0
        if arrival.counter is None:
            return self._by_time(arrival, newest)
        elapsed = _elapsed(newest.arrival, arrival)
        ahead = (arrival.counter - newest.number) % arrival.circle
        back = (newest.number - arrival.counter) % arrival.circle
        if back <= min(self.window, (arrival.circle - 1) // 2):
            return self._behind(arrival, newest.number - back, elapsed)
        pace = self.pace(arrival.usual)
        if not pace:
            restarted = ahead > arrival.circle // 2
        elif arrival.counter < LOW < ahead and elapsed < ahead * pace / 2:
            restarted = True
        else:
            restarted = ahead > max(self.window, LOW + 4 * elapsed / pace)
        if restarted:
            return "restart", arrival.counter
        if self.learned and elapsed > arrival.circle * pace:
            ahead += max(0, round((elapsed / pace - ahead) / arrival.circle)) * arrival.circle
        return "next", newest.number + ahead

    def _behind(self, arrival: Arrival, number: int, elapsed: float) -> tuple[str, int]:
        """A number at or before the newest."""
        same = [heard for heard in self._heard if heard.number == number]
        if any(heard.arrival.data == arrival.data for heard in same):
            return "duplicate", number
        back = self.newest.number - number if self.newest else 0
        if any(heard.arrival.layout == arrival.layout for heard in same):
            pace = self.pace(arrival.usual)
            if pace and elapsed > (arrival.circle - back) * pace / 2:
                return "next", number + arrival.circle
            return "restart", arrival.counter or 0
        went_on = arrival.timed and self.newest is not None and self.newest.arrival.timed and elapsed > 0
        low = (arrival.counter or 0) < LOW < back
        return ("restart", arrival.counter or 0) if back and (went_on or low) else ("late" if back else "next", number)

    def _by_time(self, arrival: Arrival, newest: _Heard) -> tuple[str, int]:
        """The order of packets without a counter; their numbers are made up here."""
        pace = self.pace(arrival.usual)
        echo = pace / 2 if pace else _ECHO
        for heard in self._heard:
            if heard.arrival.data == arrival.data and (arrival.timed or arrival.now - heard.arrival.now < echo):
                return "duplicate", heard.number
        if arrival.timed and newest.arrival.timed and arrival.moment < newest.arrival.moment:
            return "late", newest.number
        return "next", newest.number + 1

    def heard_between(self, low: int, high: int) -> list[_Heard]:
        """Packets heard with a number above `low` and below `high`."""
        return [heard for heard in self._heard if low < heard.number < high]

    def take(self, arrival: Arrival, verdict: str, number: int) -> float:
        """Remember a packet that is no duplicate; its moment on the tracker's line."""
        line = self.line(arrival, verdict, number)
        if verdict == "restart":
            self._heard.clear()
        elif len(self._heard) == self.window:
            self._forget(self._heard[0].line)
        heard = _Heard(arrival, number, line, verdict != "late")
        self._heard.append(heard)
        self.overtaken = self.overtaken or verdict == "late"
        if verdict != "late":
            self._learn_pace(arrival, verdict, number)
            self.newest = heard
            if arrival.placed:
                self.slot = heard
        return line

    def _learn_pace(self, arrival: Arrival, verdict: str, number: int) -> None:
        """The interval is the median of those between any two of the last packets: a delay or a pause does not move it."""
        if not arrival.placed:
            self._others += 1
            return
        sample = (number - self._others, arrival.moment)
        if verdict == "restart" or (self._samples and sample[0] <= self._samples[-1][0]):
            self._samples.clear()
        elif self._samples and (pace := self.pace(arrival.usual)):
            # What comes at once comes out of a buffer, and says nothing of the interval.
            count, moment = self._samples[-1]
            if sample[1] - moment < (sample[0] - count) * pace / 8:
                self._samples.clear()
        self._samples.append(sample)
        if len(self._samples) >= _TRUSTED:
            pairs = combinations(self._samples, 2)
            self._learned = median((late[1] - soon[1]) / (late[0] - soon[0]) for soon, late in pairs)

    # The tracker's line

    def line(self, arrival: Arrival, verdict: str, number: int) -> float:
        """The moment of a packet on the tracker's line."""
        last = self.slot
        if not arrival.placed:
            self.quiet = True
            return last.line if last else arrival.now
        if arrival.timed or last is None:
            return arrival.moment
        if verdict == "late":
            return self._between(arrival, number)
        elapsed = arrival.now - last.arrival.now
        pace = self.pace(arrival.usual, arrival.spacing)
        if verdict == "restart" or arrival.counter is None:
            return last.line + (pace if elapsed < pace / 8 else elapsed)
        most = number - last.number
        others = sum(not heard.arrival.placed for heard in self.heard_between(last.number, number))
        # How long the last packet was under way shows in those before it: the quickest of them sets the clock.
        quickest = min(heard.arrival.now - heard.line for heard in self._recent())
        return last.line + self._step(arrival.now - quickest - last.line, most, others, pace, arrival.spacing)

    def _recent(self) -> list[_Heard]:
        placed = [heard for heard in self._heard if heard.arrival.placed and heard.in_order]
        return placed[-_SAMPLES:]

    def _step(self, elapsed: float, most: int, others: int, pace: float, spacing: float) -> float:
        """Seconds from one packet to a later one, `most` numbers on, of which `others` had no position."""
        if not pace or most < 1:
            return elapsed
        if elapsed < (most - others) * pace / 8:
            return max(1, most - others) * pace
        if pace != spacing and not self.learned:
            return elapsed
        least = 1 if self.quiet else most
        slots = min(max(round(elapsed / pace), least), most)
        if abs(elapsed - slots * pace) <= pace * (_PAUSE if self.learned else 0.5):
            return slots * pace
        return elapsed

    def _between(self, arrival: Arrival, number: int) -> float:
        """The moment of a late packet, from its number."""
        around = sorted((heard.number, heard.line) for heard in self._heard if heard.arrival.placed)
        if arrival.counter is None or not around:
            return arrival.moment
        place = bisect_left(around, (number, float("-inf")))
        if place < len(around) and around[place][0] == number:
            return around[place][1]
        if place == 0:
            return around[0][1] - (around[0][0] - number) * self.pace(arrival.usual, arrival.spacing)
        low = around[place - 1]
        if place == len(around):
            return low[1] + (number - low[0]) * self.pace(arrival.usual, arrival.spacing)
        high = around[place]
        return low[1] + (high[1] - low[1]) * (number - low[0]) / (high[0] - low[0])

    # Places

    def stretch(self, arrival: Arrival, line: float, verdict: str) -> tuple[float, float]:
        """From when to when a packet's position may have been taken: between its line and its clock, an interval at most."""
        pace = self.pace(arrival.usual, arrival.spacing)
        if arrival.timed or not pace:
            return line, line
        if self.overtaken and not self.given:
            return line - _UNSURE * pace, line + _UNSURE * pace
        if verdict == "late":
            return line, line + pace
        clock = arrival.now - min((heard.arrival.now - heard.line for heard in self._recent()), default=0.0)
        return max(line - pace, min(line, clock)), min(line + pace, max(line, clock))

    def _forget(self, horizon: float) -> None:
        self.horizon = max(self.horizon, horizon)
        self.places.forget(self.horizon)


def _snapped(pace: float, spacing: float, *, given: bool) -> float:
    """The interval, made the spacing if within an eighth of it; one that is learned also a whole multiple or part."""
    if not spacing or not 0 < pace < float("inf"):
        return pace
    near = spacing
    if not given:
        near = spacing / round(spacing / pace) if pace < spacing else spacing * round(pace / spacing)
    return near if abs(pace - near) <= near / 8 else pace


def apart(pace: float, spacing: float) -> float:
    """Seconds between moments of different points: the largest of spacing / 1, 2, 3, 4 that divides the interval too.

    The smaller of both where none does: points nearer than half of it then count as one.
    """
    if not 0 < pace < float("inf") or not spacing:
        return spacing or pace
    if abs(spacing / pace - round(spacing / pace)) < _WHOLE:
        return pace
    parts = (spacing / part for part in range(1, 5))
    return next((part for part in parts if abs(pace / part - round(pace / part)) < _WHOLE), min(pace, spacing))


def _elapsed(earlier: Arrival, later: Arrival) -> float:
    """Seconds from one packet to another: by their time fields if both have one, else by reception."""
    if earlier.timed and later.timed:
        return later.moment - earlier.moment
    return max(0.0, later.now - earlier.now)
