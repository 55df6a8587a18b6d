"""One tracker: what its packets tell, given all that was heard of it before.

Owns two rules. Each place is told once; where that cannot be known, since the link reorders and the interval is not known,
places that are known for about that time are told with a time that is not. Once the interval is known and points fall on
few moments of it, all that was heard is put where the counter says. And no place is told for a moment at which the
tracker itself said that it had none: a trail of fixed spacing is believed up to there. The parts have their own: `order`
which packet is the next one, `interval` and `timeline` when it was sent, `dedup` which places are the same, `gaps` what is
missing.

The memory of a tracker is bounded: `window` packets, 16 places for each, and as many gaps.
"""

from __future__ import annotations

from collections import deque
from math import inf
from typing import TYPE_CHECKING

from packetcodec.receive.dedup import KnownPlaces, differ, outside
from packetcodec.receive.events import Contradiction, Duplicate, Event, Late, Position, Report, Restarted
from packetcodec.receive.gaps import Gaps
from packetcodec.receive.interval import Interval, in_step, min_separation
from packetcodec.receive.order import LOW, Arrival, Heard, Order
from packetcodec.receive.roles import Point, Taken, where
from packetcodec.receive.timeline import Timeline

if TYPE_CHECKING:
    from packetcodec.codec import Packet
    from packetcodec.receive.dedup import Place
    from packetcodec.receive.order import Verdict
    from packetcodec.receive.roles import Roles

#: Part by which a quotient of age and interval may miss a whole number.
_SLACK = 0.001
#: Of an interval: two moments closer than this part are one, and a sum of floats may miss it.
_HALF = 0.499
#: Of an interval: moments by the counter that are closer are the same one.
_EXACT = 0.01
#: Places remembered for each packet remembered.
_PLACES = 16


class TrackerState:
    """One tracker.

    Attributes:
        heard_at: when its last packet was received, in Unix seconds.
    """

    def __init__(self, tracker: int | None, *, window: int, interval: float | None) -> None:
        self.heard_at = 0.0
        self._tracker = tracker
        self._interval = Interval(interval)
        self._order = Order(window, self._interval)
        self._timeline = Timeline(self._order, self._interval)
        self._places = KnownPlaces(_PLACES * window)
        self._gaps = Gaps(tracker, window)
        self._moment = 0.0
        self._serial = 0  # of the packet being taken in
        self._doubtful = -inf, 0.0  # until when moments were in doubt, and by how much
        self._nowhere: deque[float] = deque(maxlen=window)  # moments at which it said that it had no position
        self._reported: deque[float] = deque(maxlen=window)  # those of them that a trail contradicted

    def feed(self, data: bytes, packet: Packet, roles: Roles, now: float, steady: float, *, dated: bool) -> list[Event]:
        """What a packet of this tracker tells, received at `now` Unix seconds and `steady` seconds of a steady clock.

        `dated` says whether `now` is known.
        """
        self.heard_at = now
        spacing = roles.spacing(packet)
        moment = roles.moment(packet, now if dated else self._moment, spacing)
        self._moment = now if moment is None else moment
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
        if self._doubtful[1] and verdict != "restart":
            self._settle(arrival)
        before = self._timeline.slot
        taken = self._take(packet, roles, arrival, verdict, number, now - steady if dated else None)
        events: list[Event] = []
        if verdict == "restart":
            self._gaps.clear()
            events.append(Restarted(self._tracker, counter))
        new, contradiction = self._trail(taken)
        events += [*contradiction, *(self._position(taken, point) for point in new), *self._own(taken)]
        if verdict == "next" and before is not None and arrival.placed and counter is not None:
            lost = number - before.number - 1 - len(self._order.between(before.number, number))
            self._gaps.open(before.line, taken.line, lost)
        return events + self._gaps.repair([point.place.line for point in new], self._places.horizon)

    def _take(
        self, packet: Packet, roles: Roles, arrival: Arrival, verdict: Verdict, number: int, offset: float | None
    ) -> Taken:
        """Remember a packet that is no duplicate; `offset` leads from the steady clock to Unix seconds, if known."""
        self._serial += 1
        late = verdict == "late"
        newest = self._order.newest
        line = self._timeline.moment(arrival, verdict, number)
        doubt = reach = self._doubt(packet, arrival, line)
        if doubt:
            own, points = where(packet, roles, line, (line, line), self._serial)
            places = [point.place for point in points]
            shift = self._places.shift([own, *places] if own else places, doubt, self._tolerance(arrival))
            line, doubt = (line, doubt) if shift is None else (line + shift, 0.0)
        heard = Heard(arrival, number, line, not late, self._serial)
        gone = self._order.remember(heard, restarted=verdict == "restart")
        if gone is not None:
            self._places.forget(gone)
        self._timeline.take(heard, verdict)
        time = arrival.moment
        if not arrival.timed:
            if late and newest:
                time = newest.arrival.moment - (newest.line - line)
            time = line if offset is None else time + offset
        known = offset is not None or bool(arrival.timed and roles.time and not roles.time.modulus)
        stretch = (line - doubt, line + doubt) if doubt else self._timeline.stretch(arrival, line, late=late)
        own, points = where(packet, roles, line, stretch, self._serial)
        return Taken(packet, roles, arrival, line, time, known, own, points, doubt, reach, late)

    def _settle(self, arrival: Arrival) -> None:
        """Put places where they are by the counter, once the interval is sure: no moment is in doubt any more."""
        if not (heard := self._timeline.settle(arrival)):
            return
        self._doubtful = -inf, 0.0
        self._places.move({one.serial: one.line - line for one, line in heard})
        moments = {line: one.line for one, line in heard}
        self._gaps.move(moments)
        for kept in (self._nowhere, self._reported):
            moved = [moments.get(moment, moment) for moment in kept]
            kept.clear()
            kept.extend(moved)

    def _doubt(self, packet: Packet, arrival: Arrival, line: float) -> float:
        """Seconds by which the moments of a packet and of what its trail reaches back to may be wrong to each other.

        Those of the whole trail while the interval is only assumed.
        """
        reach = max([0.0, *(point.age or 0.0 for point in packet.trail)])
        if doubt := self._timeline.doubt(arrival):
            doubt = max(doubt, 0.0 if self._interval.known else reach)
            if line - reach < self._doubtful[0]:
                doubt = max(doubt, self._doubtful[1])  # that of what it is compared with
            self._doubtful = line + doubt, doubt
        elif line - reach < self._doubtful[0]:
            return self._doubtful[1]
        return doubt

    def _tolerance(self, arrival: Arrival) -> float:
        """Seconds by which the moments of one place may differ."""
        interval = self._interval.seconds(arrival.usual, arrival.spacing)
        return min_separation(interval, arrival.spacing) * _HALF or 1.0

    def _elsewhere(self, packet: Packet, roles: Roles, arrival: Arrival, number: int) -> bool:
        """Whether a late packet is away from all that was told around it: then it is none of those numbers."""
        interval = self._interval.seconds(arrival.usual, arrival.spacing)
        line = self._timeline.moment(arrival, "late", number)
        place = roles.own_place(packet, line, (line, line))
        paced = self._interval.known or self._timeline.keeps(interval)
        if place is None or not paced or not self._places.near(line, interval / 2, by_trail=True):
            return False
        # A position off its tick lies up to an interval from where the trail has it.
        return outside(place, self._places.between(line - 1.5 * interval, line + 1.5 * interval))

    def _trail(self, taken: Taken) -> tuple[list[Point], list[Event]]:
        """The points of a packet's trail that were not known, oldest first, known from now on; and what contradicts them."""
        points, events = taken.points, list[Event]()
        wrong = next(
            ((n, at) for n, point in enumerate(points) for at in [self._without(taken, point)] if at is not None), None
        )
        places = [taken.place, *(point.place for point in points)] if taken.place else []
        new = self._not_known(places, taken) if places else []
        if wrong is not None:
            number, moment = wrong
            left = [point for point in new if point.age >= points[number].age]
            new = [point for point in new if point.age < points[number].age]
            if moment not in self._reported:  # later packets repeat it
                time = taken.time - (taken.line - moment)
                events = [Contradiction(self._tracker, time, taken.arrival.counter, len(left), 0)]
                self._reported.append(moment)
        for point in new:
            self._places.learn(point.place)
        return new[::-1], events

    def _exact(self, taken: Taken, age: float) -> float:
        """Seconds within which a moment, some age before a packet, is surely that of another packet; 0 where none is."""
        if taken.arrival.timed and taken.roles.time:
            return taken.roles.time.step * (1 + _SLACK)
        interval = self._interval.seconds(taken.arrival.usual, taken.arrival.spacing)
        if taken.reach or taken.arrival.counter is None or not self._interval.known or not interval:
            return 0.0
        return interval * _EXACT if abs(age / interval - round(age / interval)) < _SLACK else 0.0

    def _without(self, taken: Taken, point: Point) -> float | None:
        """The moment of a packet that said that it had no position, where a trail of fixed spacing has a point of it."""
        reach = self._exact(taken, point.age) if self._nowhere and taken.arrival.spacing else 0.0
        return next((moment for moment in self._nowhere if abs(moment - point.place.line) < reach), None)

    def _not_known(self, places: list[Place], taken: Taken) -> list[Point]:
        """The points of a trail, behind a packet's own place, that are not known by their time nor their place."""
        if taken.reach:
            return self._told_apart(taken)
        points, spacing = taken.points, taken.arrival.spacing
        ages = [0.0, *(point.age for point in points)]
        interval = self._interval.seconds(inf, spacing)
        grid = min_separation(interval, spacing)
        left, same = [], set()
        for number, place in enumerate(places[1:], 1):
            around = [near for near in (number - 1, number + 1) if near < len(ages)]
            tolerance = max(1.0, min(grid, *(abs(ages[near] - ages[number]) for near in around))) * _HALF
            if known := self._places.near(place.line, tolerance):
                same.add(known)
            elif place.line >= self._places.horizon:
                # A place says something only where the tracker went on, and where no packet of that tick was counted.
                asks = not self._exact(taken, ages[number]) and all(differ(place, places[near]) for near in around)
                left.append((number, tolerance, asks))
        new = []
        for number, tolerance, asks in left:
            if alike := self._places.like(places[number], tolerance, same) if asks else []:
                same.add(alike[0])
            else:
                new.append(points[number - 1])
        return new

    def _told_apart(self, taken: Taken) -> list[Point]:
        """As `_not_known`, where the clock says little: by time only what lies on the same place too.

        A point on a place that is known for about that time may be that one, or the tracker stood still: it is told with a
        time that is not known. Where a firm interval is out of step with the points, time alone counts: they lie too close.
        """
        tolerance, spacing = self._tolerance(taken.arrival), taken.arrival.spacing
        even = not self._interval.firm or in_step(self._interval.seconds(taken.arrival.usual, spacing), spacing)
        new = []
        for point in taken.points:
            place = point.place
            known = self._places.near(place.line, tolerance)
            if place.line >= self._places.horizon and (known is None or (even and differ(known, place))):
                doubtful = place._replace(low=place.line - taken.reach, high=place.line + taken.reach)
                new.append(point._replace(known=not self._places.like(doubtful, tolerance)))
        return new

    def _own(self, taken: Taken) -> list[Event]:
        """What a packet's own fields tell."""
        packet, place, counter = taken.packet, taken.place, taken.arrival.counter
        if place is None:
            report = Report(self._tracker, taken.time, counter, packet.values, packet.layout, taken.time_known)
            events: list[Event] = [Late(self._tracker, counter, known=False)] if taken.late else []
            return [*events, report] + (self._nowhere_at(taken) if taken.arrival.placed else [])
        told, known = self._told(taken, place) if taken.late else (False, True)
        self._places.learn(place)
        position = self._position(taken, Point(place, taken.roles.height(packet), 0.0, known))
        if not taken.late:
            return [position]
        if not told:
            self._gaps.late(place.line)
        late = Late(self._tracker, counter, told)
        return [late] if told else [late, position]

    def _nowhere_at(self, taken: Taken) -> list[Event]:
        """Remember that a tracker said that it had no position; what a trail told for that moment contradicts it."""
        if not (reach := self._exact(taken, 0.0)):
            return []
        self._nowhere.append(taken.line)
        told = [place for place in self._places.between(taken.line - reach, taken.line + reach) if not place.direct]
        if not told:
            return []
        self._reported.append(taken.line)
        return [Contradiction(self._tracker, taken.time, taken.arrival.counter, 0, len(told))]

    def _told(self, taken: Taken, place: Place) -> tuple[bool, bool]:
        """Whether a trail has told the place of a late packet, and whether that is known."""
        if place.line < self._places.horizon:
            return True, True
        arrival = taken.arrival
        tolerance = self._tolerance(arrival)
        near = self._places.near(place.line, tolerance, by_trail=True)
        if doubt := taken.reach:
            around = place._replace(low=place.line - doubt, high=place.line + doubt)
            told = near is not None and not differ(near, place)
            return told, told or all(known.direct for known in self._places.like(around, tolerance))
        # A place says something only if it stands alone.
        alike = [] if self._interval.given else self._places.like(place, tolerance)
        return near is not None or (len(alike) == 1 and not alike[0].direct), True

    def _position(self, taken: Taken, point: Point) -> Position:
        packet, place, direct = taken.packet, point.place, point.place.direct
        return Position(
            tracker=self._tracker, time=taken.time - point.age, latitude=place.north, longitude=place.east,
            altitude=point.altitude, direct=direct, packet_counter=taken.arrival.counter,
            values=packet.values if direct else {}, layout=packet.layout, age=point.age,
            time_known=taken.time_known and point.known,
        )  # fmt: skip
