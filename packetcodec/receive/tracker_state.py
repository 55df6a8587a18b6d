"""One tracker: what its packets tell, given all that was heard of it before.

Owns one rule: each place is told once. The parts have their own: `order` which packet is the next one, `interval` and
`timeline` when it was sent, `dedup` which places are the same.

The memory of a tracker is bounded: `window` packets, 16 places for each, and as many gaps.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

from packetcodec.receive.dedup import KnownPlaces, Place, differ, outside
from packetcodec.receive.events import Duplicate, Event, Late, Lost, Position, Repaired, Report, Restarted
from packetcodec.receive.interval import Interval, min_separation
from packetcodec.receive.order import LOW, Arrival, Heard, Order
from packetcodec.receive.timeline import Timeline

if TYPE_CHECKING:
    from packetcodec.codec import Packet, TrailPoint
    from packetcodec.receive.order import Verdict
    from packetcodec.receive.roles import Roles

#: Part by which a quotient of age and interval may miss a whole number.
_SLACK = 0.001
#: Of an interval: two moments closer than this part are one, and a sum of floats may miss it.
_HALF = 0.499
#: Places remembered for each packet remembered.
_PLACES = 16


@dataclass(slots=True)
class _Gap:
    """A hole on the tracker's line: its ends, and the packets in it whose place is not known."""

    low: float
    high: float
    packets: int


@dataclass(frozen=True, slots=True)
class _Taken:
    """A packet being taken in.

    Attributes:
        packet, roles, arrival: what it is.
        line: its moment on the tracker's line.
        time: its Unix time.
        place: its own position, or None.
        stretch: from when to when that may have been taken, on the line.
        late: whether newer packets overtook it.
    """

    packet: Packet
    roles: Roles
    arrival: Arrival
    line: float
    time: float
    place: Place | None
    stretch: tuple[float, float]
    late: bool


class TrackerState:
    """One tracker.

    Attributes:
        heard_at: when its last packet was received, in Unix seconds.
    """

    def __init__(self, tracker: int | None, *, window: int, interval: float | None) -> None:
        self.heard_at = 0.0
        self._tracker = tracker
        self._window = window
        self._interval = Interval(interval)
        self._order = Order(window, self._interval)
        self._timeline = Timeline(self._order, self._interval)
        self._places = KnownPlaces(_PLACES * window)
        self._gaps: list[_Gap] = []

    def feed(self, data: bytes, packet: Packet, roles: Roles, now: float, steady: float) -> list[Event]:
        """What a packet of this tracker tells, received at `now` Unix seconds and `steady` seconds of a steady clock."""
        self.heard_at = now
        spacing = roles.spacing(packet)
        moment = roles.moment(packet, now, spacing)
        counter = roles.count(packet)
        arrival = Arrival(
            data=data, layout=f"{packet.version} {packet.layout}", counter=counter,
            modulus=(roles.counter.modulus or 0) if roles.counter else 0, moment=steady if moment is None else moment,
            timed=moment is not None, now=steady, placed=roles.place is not None, spacing=spacing,
            usual=spacing or (roles.trail.interval_seed or 0.0 if roles.trail else 0.0),
        )  # fmt: skip
        verdict, number = self._order.verdict(arrival)
        if verdict == "late" and counter is not None and counter < LOW and self._elsewhere(packet, roles, arrival, number):
            verdict, number = "restart", counter
        if verdict == "duplicate":
            return [Duplicate(self._tracker, counter)]
        before = self._timeline.slot
        taken = self._take(packet, roles, arrival, verdict, number, now - steady)
        events: list[Event] = []
        if verdict == "restart":
            self._gaps.clear()
            events.append(Restarted(self._tracker, counter))
        new = self._trail(taken)
        for point, age in new:
            place = (point.latitude, point.longitude, point.altitude)
            events.append(self._position(taken, place, age, direct=False))
        events += self._own(taken)
        fresh = self._gap(taken, before, number) if verdict == "next" else None
        return events + self._repair([taken.line - age for _, age in new], fresh)

    def _take(self, packet: Packet, roles: Roles, arrival: Arrival, verdict: Verdict, number: int, offset: float) -> _Taken:
        """Remember a packet that is no duplicate; `offset` leads from the steady clock to Unix seconds."""
        late = verdict == "late"
        newest = self._order.newest
        line = self._timeline.moment(arrival, verdict, number)
        heard = Heard(arrival, number, line, not late)
        gone = self._order.remember(heard, restarted=verdict == "restart")
        if gone is not None:
            self._places.forget(gone)
        self._timeline.take(heard, verdict)
        time = arrival.moment
        if not arrival.timed:
            if late and newest:
                time = newest.arrival.moment - (newest.line - line)
            time += offset
        stretch = self._timeline.stretch(arrival, line, late=late)
        place = roles.own_place(packet, line, stretch)
        return _Taken(packet, roles, arrival, line, time, place, stretch, late)

    def _elsewhere(self, packet: Packet, roles: Roles, arrival: Arrival, number: int) -> bool:
        """Whether a late packet is away from all that was told around it: then it is none of those numbers."""
        interval = self._interval.seconds(arrival.usual, arrival.spacing)
        line = self._timeline.moment(arrival, "late", number)
        place = roles.own_place(packet, line, (line, line))
        if place is None or not self._places.near(line, interval / 2, by_trail=True):
            return False
        # A position off its tick lies up to an interval from where the trail has it.
        return outside(place, self._places.between(line - 1.5 * interval, line + 1.5 * interval))

    def _trail(self, taken: _Taken) -> list[tuple[TrailPoint, float]]:
        """The points of a packet's trail that were not known, with their ages, oldest first. They are known from now on."""
        trail, own = taken.roles.trail, taken.place
        if trail is None or own is None:
            return []
        places, ages = [own], [0.0]
        for point in taken.packet.trail:
            if point.age is None:
                break
            low, high = (moment - point.age for moment in taken.stretch)
            step = trail.step << trail.coarsenings
            places.append(Place(own.line - point.age, low, high, point.latitude, point.longitude, step, direct=False))
            ages.append(point.age)
        new = self._not_known(places, ages, taken.arrival.spacing)
        for number in new:
            self._places.learn(places[number])
        return [(taken.packet.trail[number - 1], ages[number]) for number in reversed(new)]

    def _not_known(self, places: list[Place], ages: list[float], spacing: float) -> list[int]:
        """The numbers of the trail points, behind a packet's own place, that are not known by their time nor their place."""
        interval = self._interval.seconds(inf, spacing)
        grid = min_separation(interval, spacing)
        left, taken = [], set()
        for number, place in enumerate(places[1:], 1):
            around = [near for near in (number - 1, number + 1) if near < len(ages)]
            tolerance = max(1.0, min(grid, *(abs(ages[near] - ages[number]) for near in around))) * _HALF
            if same := self._places.near(place.line, tolerance):
                taken.add(same)
            elif place.line >= self._places.horizon:
                # A place says something only where the tracker went on, and where no packet of that tick was counted.
                tick = self._interval.given and abs(ages[number] / interval - round(ages[number] / interval)) < _SLACK
                asks = not tick and all(differ(place, places[near]) for near in around)
                left.append((number, tolerance, asks))
        new = []
        for number, tolerance, asks in left:
            if alike := self._places.like(places[number], tolerance, taken) if asks else []:
                taken.add(alike[0])
            else:
                new.append(number)
        return new

    def _own(self, taken: _Taken) -> list[Event]:
        """What a packet's own fields tell."""
        packet, place, counter = taken.packet, taken.place, taken.arrival.counter
        if place is None:
            report = Report(self._tracker, taken.time, counter, packet.values, packet.layout)
            return [Late(self._tracker, counter, known=False), report] if taken.late else [report]
        told = taken.late and self._told(place, taken.arrival)
        self._places.learn(place)
        height = taken.roles.height(packet)
        position = self._position(taken, (place.north, place.east, height), 0.0, direct=True)
        if not taken.late:
            return [position]
        for gap in self._gaps:
            if gap.low < place.line < gap.high and not told:
                gap.packets -= 1
        late = Late(self._tracker, counter, told)
        return [late] if told else [late, position]

    def _told(self, place: Place, arrival: Arrival) -> bool:
        """Whether a trail has told the place of a late packet."""
        if place.line < self._places.horizon:
            return True
        interval = self._interval.seconds(arrival.usual, arrival.spacing)
        tolerance = min_separation(interval, arrival.spacing) * _HALF or 1.0
        # A place says something only if it stands alone.
        alike = [] if self._interval.given else self._places.like(place, tolerance)
        by_place = len(alike) == 1 and not alike[0].direct
        return by_place or self._places.near(place.line, tolerance, by_trail=True) is not None

    def _position(self, taken: _Taken, place: tuple[float, float, float | None], age: float, *, direct: bool) -> Position:
        packet = taken.packet
        return Position(
            tracker=self._tracker, time=taken.time - age, latitude=place[0], longitude=place[1], altitude=place[2],
            direct=direct, packet_counter=taken.arrival.counter, values=packet.values if direct else {},
            layout=packet.layout, age=age,
        )  # fmt: skip

    def _gap(self, taken: _Taken, before: Heard | None, number: int) -> _Gap | None:
        """The hole that a packet in order shows between the last position and its own."""
        if before is None or not taken.arrival.placed or taken.arrival.counter is None:
            return None
        lost = number - before.number - 1 - len(self._order.between(before.number, number))
        if lost <= 0:
            return None
        self._gaps = [*self._gaps[-self._window :], gap := _Gap(before.line, taken.line, lost)]
        return gap

    def _repair(self, points: list[float], fresh: _Gap | None) -> list[Event]:
        """What trail points, by their moments, make good; a fresh gap that they leave open is told."""
        events: list[Event] = []
        for gap in self._gaps:
            inside = [point for point in points if gap.low < point < gap.high]
            hole = (min(inside) if inside else gap.high) - gap.low
            if inside:
                interval = (gap.high - gap.low) / (gap.packets + 1)
                left = min(gap.packets, max(0, round(hole / interval) - 1))
                events.append(Repaired(self._tracker, len(inside), gap.packets - left))
                gap.packets, gap.high = left, min(inside)
            if gap is fresh and gap.packets:
                events.append(Lost(self._tracker, gap.packets, hole))
        self._gaps = [gap for gap in self._gaps if gap.packets > 0 and gap.high > self._places.horizon]
        return events
