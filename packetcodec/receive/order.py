"""Which packet of a tracker is the next one, and which is late, a duplicate, or the first one after a restart.

Owns one rule. Counters are compared on their circle. Up to `window` packets back (less than half the circle) a packet is
late, or, where that number was heard with the same bytes, a duplicate. Ahead it is the next one, also past the end of the
circle. The tracker has restarted when a number comes again with other bytes, when its time went on and its counter back,
or when the counter jumps farther than packets can have been sent since: past the window and four times what the interval
allows, or to below 8 in less than half the time; or when a number below 8 seems late, and its place is
farther than an interval's way from all that was told around it. The counter counts all packets of a tracker, whatever their
layout. Without a counter a packet is late by its time field, and a duplicate if the same bytes came within half an interval
(at any time, if they hold a time).

>>> from packetcodec.receive.interval import Interval
>>> order = Order(64, Interval(None))
>>> def heard(count, now, data):
...     return Arrival(data, "beacon", count, 256, now, timed=False, now=now, placed=True, spacing=30.0, usual=30.0)
>>> order.verdict(heard(254, 100.0, b"a"))
('next', 254)
>>> order.remember(Heard(heard(254, 100.0, b"a"), 254, 100.0, in_order=True), restarted=False)
>>> order.verdict(heard(1, 193.0, b"b"))                       # past the end of the circle, two lost
('next', 257)
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from packetcodec.receive.interval import Interval

    Verdict = Literal["next", "late", "duplicate", "restart"]

#: A counter below this may come from a tracker that began anew.
LOW = 8
#: Seconds within which the same bytes are an echo, where no interval is known. Common practice, no source.
_ECHO = 2.0


@dataclass(frozen=True, slots=True)
class Arrival:
    """What counts of a packet here.

    Attributes:
        data: its bytes.
        layout: what tells layouts (and versions) apart.
        counter, modulus: its counter and the numbers in a circle of it, or None and 0.
        moment: its time field, else the time of reception.
        timed: whether `moment` is a time field.
        now: time of reception, of a clock that never goes back.
        placed: whether its layout has a position at all.
        spacing: seconds from point to point of its trail, if all are the same, else 0.
        usual: the interval to assume until one is learned, or 0.
    """

    data: bytes
    layout: str
    counter: int | None
    modulus: int
    moment: float
    timed: bool
    now: float
    placed: bool
    spacing: float
    usual: float


@dataclass(slots=True)
class Heard:
    """A packet that was taken in.

    Attributes:
        arrival: what it is.
        number: its counter, counted on past the circle's end.
        line: its moment on the tracker's line, as far as it is known by now.
        in_order: whether no newer packet overtook it.
        serial: how many packets were taken in before it.
    """

    arrival: Arrival
    number: int
    line: float
    in_order: bool
    serial: int = 0


class Order:
    """The last packets heard of one tracker.

    Attributes:
        newest: the packet heard with the highest number, or None.
    """

    def __init__(self, window: int, interval: Interval) -> None:
        self.newest: Heard | None = None
        self._window = window
        self._interval = interval
        self._heard: deque[Heard] = deque(maxlen=window)

    def __len__(self) -> int:
        return len(self._heard)

    def remember(self, heard: Heard, *, restarted: bool) -> float | None:
        """Remember a packet that is no duplicate; the moment of the oldest one, where that had to go for it."""
        gone = None
        if restarted:
            self._heard.clear()
        elif len(self._heard) == self._window:
            gone = self._heard[0].line
        self._heard.append(heard)
        if heard.in_order:
            self.newest = heard
        return gone

    def between(self, low: int, high: int) -> list[Heard]:
        """Packets heard with a number above `low` and below `high`."""
        return [heard for heard in self._heard if low < heard.number < high]

    def placed(self) -> list[Heard]:
        """The packets with a place, by number."""
        return sorted((heard for heard in self._heard if heard.arrival.placed), key=lambda heard: (heard.number, heard.line))

    def verdict(self, arrival: Arrival) -> tuple[Verdict, int]:
        """What a packet is; and its number, counted on past the circle's end."""
        newest = self.newest
        if newest is None:
            return "next", arrival.counter or 0
        if arrival.counter is None:
            return self._by_time(arrival, newest)
        elapsed = _elapsed(newest.arrival, arrival)
        ahead = (arrival.counter - newest.number) % arrival.modulus
        back = (newest.number - arrival.counter) % arrival.modulus
        if back <= min(self._window, (arrival.modulus - 1) // 2):
            return self._behind(arrival, newest, back, elapsed)
        interval = self._interval.seconds(arrival.usual)
        if not interval:
            restarted = ahead > arrival.modulus // 2
        elif arrival.counter < LOW < ahead and elapsed < ahead * interval / 2:
            restarted = True
        else:
            restarted = ahead > max(self._window, LOW + 4 * elapsed / interval)
        if restarted:
            return "restart", arrival.counter
        if self._interval.known and elapsed > arrival.modulus * interval:
            ahead += max(0, round((elapsed / interval - ahead) / arrival.modulus)) * arrival.modulus
        return "next", newest.number + ahead

    def _behind(self, arrival: Arrival, newest: Heard, back: int, elapsed: float) -> tuple[Verdict, int]:
        """A number at the newest, or some numbers back."""
        number, counter = newest.number - back, arrival.counter or 0
        same = [heard.arrival for heard in self._heard if heard.number == number]
        if any(heard.data == arrival.data for heard in same):
            return "duplicate", number
        if any(heard.layout == arrival.layout for heard in same):
            interval = self._interval.seconds(arrival.usual)
            if interval and elapsed > (arrival.modulus - back) * interval / 2:
                return "next", number + arrival.modulus
            return "restart", counter
        if not back:
            return "next", number
        went_on = arrival.timed and newest.arrival.timed and elapsed > 0
        return ("restart", counter) if went_on or counter < LOW < back else ("late", number)

    def _by_time(self, arrival: Arrival, newest: Heard) -> tuple[Verdict, int]:
        """The order of packets without a counter; their numbers are made up here."""
        interval = self._interval.seconds(arrival.usual)
        echo = interval / 2 if interval else _ECHO
        for heard in self._heard:
            if heard.arrival.data == arrival.data and (arrival.timed or arrival.now - heard.arrival.now < echo):
                return "duplicate", heard.number
        if arrival.timed and newest.arrival.timed and arrival.moment < newest.arrival.moment:
            return "late", newest.number
        return "next", newest.number + 1


def _elapsed(earlier: Arrival, later: Arrival) -> float:
    """Seconds from one packet to another: by their time fields if both have one, else by reception."""
    if earlier.timed and later.timed:
        return later.moment - earlier.moment
    return max(0.0, later.now - earlier.now)
