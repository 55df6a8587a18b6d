"""The receiver: what arrived, put together into tracks. No input or output of its own: bytes in, events out.

Owns one rule: what is told, and in which order. A packet first gives what is wrong with it (a fault, an unknown tracker, a
duplicate, a restart), then the points of its trail that were not known, oldest first, then its own position, then what
became of the gap before it. Nothing is told twice. What the same place is stands in `packetcodec.receive.tracker_state`.

Positions are only as good as the packets: anyone can read packets sent in clear, and send false ones. Not for the safety
of life.

>>> from packetcodec.codec import Codec
>>> from packetcodec.schema import Schema
>>> codec = Codec(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "track"
... id = 1
... fields = [{ kind = "identifier", name = "collar" }, { kind = "counter" }, { kind = "latitude" }, { kind = "longitude" }]
... trail = { points = 10, resolution_m = 2.5, spacing = 30 }
... '''))
>>> walk = [(46.5, 9.9 + step / 1000) for step in range(4)]
>>> def packet(number):
...     latitude, longitude = walk[number]
...     values = {"collar": 7, "counter": number, "latitude": latitude, "longitude": longitude}
...     return codec.encode("track", values, walk[:number][::-1])
>>> receiver = Receiver(codec)
>>> [event.longitude for event in receiver.feed(packet(0), now=1000.0)]
[9.9]
>>> for event in receiver.feed(packet(3), now=1090.0):          # packets 1 and 2 were lost
...     print(event if not hasattr(event, "direct") else (event.time, round(event.longitude, 3), event.direct))
(1030.0, 9.901, False)
(1060.0, 9.902, False)
(1090.0, 9.903, True)
Repaired(tracker=7, points=2, lost_packets=2)
>>> receiver.feed(packet(2), now=1091.0)
[Late(tracker=7, packet_counter=2, known=True)]
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.errors import PacketcodecError, PacketFault
from packetcodec.receive.dedup import Place, differ, outside
from packetcodec.receive.events import (
    Duplicate,
    Event,
    Fault,
    Late,
    Lost,
    Position,
    Repaired,
    Report,
    Restarted,
    Silent,
    Unknown,
)
from packetcodec.receive.tracker_state import LOW, Arrival, Memory, apart

if TYPE_CHECKING:
    from collections.abc import Iterable

    from packetcodec.codec import Codec, Packet, TrailPoint
    from packetcodec.schema import Trail
    from packetcodec.wire import FieldPlan, LayoutPlan


#: Part by which a quotient of age and interval may miss a whole number.
_SLACK = 0.001
#: Of an interval: two moments closer than this part are one, and a sum of floats may miss it.
_HALF = 0.499


class Receiver:
    """Puts together the tracks of several trackers, of every schema version that the codec knows.

    One call of `feed` for each packet, one of `tick` now and then. Neither raises on what a packet holds.
    """

    def __init__(
        self,
        codec: Codec,
        *,
        known: Iterable[int] | None = None,
        silent_after: float | None = None,
        tracker: str | None = None,
        interval: float | None = None,
        window: int = 64,
    ) -> None:
        """Begin with nothing heard.

        Args:
            codec: decodes.
            known: the trackers to listen to; None for all.
            silent_after: seconds without a packet after which a tracker is told silent; None for never.
            tracker: name of the field that tells trackers apart; None for the one of kind identifier, if there is one.
            interval: seconds from packet to packet; None to learn it. Give it where packets come much faster than the
                points of their trail and carry no time.
            window: packets remembered of each tracker, 4..1024. A packet overtaken by more is taken for a restart.

        Raises:
            PacketcodecError: an option out of its range, or no layout has the field.
        """
        for name, value in (("silent_after", silent_after), ("interval", interval)):
            if value is not None and not (math.isfinite(value) and value > 0):
                raise PacketcodecError(f"{name}: {value} is not a finite number of seconds above 0")
        if not 4 <= window <= 1024:
            raise PacketcodecError(f"window: {window} is outside 4..1024 packets")
        self._decode = codec.decode
        self._forms = {
            (plan.version, layout.name): _form(layout, tracker) for plan in codec.plans.values() for layout in plan.layouts
        }
        if tracker is not None and not any(form.tracker for form in self._forms.values()):
            raise PacketcodecError(f"tracker: no layout has a field {tracker!r}")
        self._known = None if known is None else frozenset(known)
        self._interval, self._window, self._silent_after = interval, window, silent_after
        self._tracks: dict[int | None, _Track] = {}
        self._heard: dict[int | None, float] = {}
        self._silent: set[int | None] = set()
        self._start: float | None = None

    def feed(self, data: bytes, now: float) -> list[Event]:
        """What one packet tells.

        Args:
            data: its bytes, header to check.
            now: when it was received, in Unix seconds.
        """
        self._start = now if self._start is None else self._start
        try:
            packet = self._decode(data)
        except PacketFault as fault:
            return [Fault(fault.status, str(fault), bytes(data))]
        form = self._forms[packet.version, packet.layout]
        said = packet.values[form.tracker] if form.tracker else None
        tracker = said if isinstance(said, int) else None
        if self._known is not None and tracker not in self._known:
            return [Unknown(tracker, packet)]
        self._heard[tracker] = max(now, self._heard.get(tracker, now))
        self._silent -= {tracker, None}
        track = self._tracks.get(tracker)
        if track is None:
            memory = Memory(window=self._window, interval=self._interval)
            track = self._tracks[tracker] = _Track(tracker, memory)
        return track.feed(bytes(data), packet, form, now)

    def tick(self, now: float) -> list[Event]:
        """Who has fallen silent by now. Told once, until heard again."""
        self._start = now if self._start is None else self._start
        if self._silent_after is None:
            return []
        since = dict.fromkeys(self._known or (), self._start) | self._heard or {None: self._start}
        silent = [who for who, last in since.items() if now - last >= self._silent_after and who not in self._silent]
        self._silent.update(silent)
        return [Silent(who, since[who]) for who in silent]


@dataclass(frozen=True, slots=True)
class _Form:
    """Where a layout holds what a receiver looks for: fields or their names, or None; and the coarser step of a place."""

    tracker: str | None
    counter: FieldPlan | None
    time: FieldPlan | None
    place: tuple[str, str] | None
    step: int
    altitude: str | None
    trail: Trail | None

    def spacing(self, packet: Packet) -> float:
        """Seconds from point to point of its trail, or 0 where the trail codes them or there is none."""
        if self.trail is None:
            return 0.0
        value = packet.values[self.trail.spacing_field] if self.trail.spacing_field else self.trail.spacing
        return float(value) if isinstance(value, int | float) else 0.0

    def moment(self, packet: Packet, now: float, spacing: float) -> float | None:
        """The time field in Unix seconds, one of a period nearest to now; None where there is none fine enough."""
        field = self.time
        value = packet.values[field.name] if field else None
        if field is None or not isinstance(value, int) or (spacing and field.step * 2 > spacing):
            return None
        if not field.modulus:
            return float(value)
        return now + (value - now + field.modulus / 2) % field.modulus - field.modulus / 2


def _form(layout: LayoutPlan, tracker: str | None) -> _Form:
    kinds: dict[str, FieldPlan] = {}
    for field in layout.fields:
        kinds.setdefault(field.kind, field)
    names = {field.name for field in layout.fields}
    identifier = kinds.get("identifier")
    who = identifier.name if identifier else None
    if tracker is not None:
        who = tracker if tracker in names else None
    north, east, climb = (kinds.get(kind) for kind in ("latitude", "longitude", "altitude"))
    return _Form(
        tracker=who,
        counter=kinds.get("counter"),
        time=kinds.get("time"),
        place=(north.name, east.name) if north and east else None,
        step=max(north.step, east.step) if north and east else 0,
        altitude=climb.name if climb else None,
        trail=layout.trail,
    )


def _place(packet: Packet, form: _Form, line: float, stretch: tuple[float, float]) -> Place | None:
    """A packet's own place, or None."""
    north, east = (packet.values[name] for name in form.place) if form.place else (None, None)
    if not isinstance(north, float | int) or not isinstance(east, float | int):
        return None
    return Place(line, *stretch, float(north), float(east), form.step, direct=True)


@dataclass(slots=True)
class _Gap:
    """A hole on the tracker's line: its ends, and the packets in it whose place is not known."""

    low: float
    high: float
    packets: int


_Points = list[tuple["TrailPoint", float]]


class _Track:
    """One tracker."""

    def __init__(self, tracker: int | None, memory: Memory) -> None:
        self.tracker = tracker
        self.memory = memory
        self.gaps: list[_Gap] = []

    def feed(self, data: bytes, packet: Packet, form: _Form, now: float) -> list[Event]:
        """What a packet of this tracker tells."""
        memory, tracker = self.memory, self.tracker
        spacing = form.spacing(packet)
        moment = form.moment(packet, now, spacing)
        count = packet.values[form.counter.name] if form.counter else None
        counter = count if isinstance(count, int) else None
        arrival = Arrival(
            data=data, layout=f"{packet.version} {packet.layout}", counter=counter,
            circle=(form.counter.modulus or 0) if form.counter else 0, moment=now if moment is None else moment,
            timed=moment is not None, now=now, placed=form.place is not None, spacing=spacing,
            usual=spacing or (form.trail.interval_seed if form.trail else 0.0),
        )  # fmt: skip
        verdict, number = memory.order(arrival)
        if verdict == "late" and counter is not None and counter < LOW and self._elsewhere(packet, form, arrival, number):
            verdict, number = "restart", counter
        if verdict == "duplicate":
            return [Duplicate(tracker, counter)]
        before, newest = memory.slot, memory.newest
        line = memory.take(arrival, verdict, number)
        time = arrival.moment
        if verdict == "late" and moment is None and newest:
            time = newest.arrival.moment - (newest.line - line)
        if verdict == "restart":
            self.gaps.clear()
        stretch = memory.stretch(arrival, line, verdict)
        new = self._trail(packet, form, arrival, line, stretch)
        events: list[Event] = [Restarted(tracker, counter)] if verdict == "restart" else []
        for point, age in new:
            place = (point.latitude, point.longitude, point.altitude)
            events.append(self._position(time - age, place, counter, packet, direct=False))
        events += self._own(packet, form, arrival, time, _place(packet, form, line, stretch), late=verdict == "late")
        if verdict == "next" and form.place and before and counter is not None:
            lost = number - before.number - 1 - len(memory.heard_between(before.number, number))
            if lost > 0:
                self.gaps.append(_Gap(before.line, line, lost))
                return events + self._repair([line - age for _, age in new], fresh=self.gaps[-1])
        return events + self._repair([line - age for _, age in new])

    def _elsewhere(self, packet: Packet, form: _Form, arrival: Arrival, number: int) -> bool:
        """Whether a late packet is away from all that was told around it: then it is none of those numbers."""
        memory = self.memory
        pace = memory.pace(arrival.usual, arrival.spacing)
        line = memory.line(arrival, "late", number)
        place = _place(packet, form, line, (line, line))
        if place is None or not memory.places.near(line, pace / 2, by_trail=True):
            return False
        # A position off its tick lies up to an interval from where the trail has it.
        return outside(place, memory.places.between(line - 1.5 * pace, line + 1.5 * pace))

    def _trail(self, packet: Packet, form: _Form, arrival: Arrival, line: float, stretch: tuple[float, float]) -> _Points:
        """The points of a packet's trail that were not known, with their ages, oldest first. They are known from now on."""
        memory, trail = self.memory, form.trail
        own = _place(packet, form, line, stretch)
        if trail is None or own is None:
            return []
        pace = memory.pace(math.inf, arrival.spacing)
        grid = apart(pace, arrival.spacing)
        places, ages = [own], [0.0]
        for point in packet.trail:
            if point.age is None:
                break
            low, high = (moment - point.age for moment in stretch)
            step = trail.step << trail.coarsenings
            places.append(Place(line - point.age, low, high, point.latitude, point.longitude, step, direct=False))
            ages.append(point.age)
        left, taken = [], set()
        for number, place in enumerate(places[1:], 1):
            around = [near for near in (number - 1, number + 1) if near < len(ages)]
            tolerance = max(1.0, min(grid, *(abs(ages[near] - ages[number]) for near in around))) * _HALF
            if same := memory.places.near(place.line, tolerance):
                taken.add(same)
            elif place.line >= memory.horizon:
                # A place says something only where the tracker went on, and where no packet of that tick was counted.
                tick = memory.given and abs(ages[number] / pace - round(ages[number] / pace)) < _SLACK
                asks = not tick and all(differ(place, places[near]) for near in around)
                left.append((number, tolerance, asks))
        new = []
        for number, tolerance, asks in left:
            if alike := memory.places.like(places[number], tolerance, taken) if asks else []:
                taken.add(alike[0])
            else:
                new.append(number)
        for number in new:
            memory.places.learn(places[number])
        return [(packet.trail[number - 1], ages[number]) for number in reversed(new)]

    def _own(
        self, packet: Packet, form: _Form, arrival: Arrival, time: float, place: Place | None, *, late: bool
    ) -> list[Event]:
        """What a packet's own fields tell."""
        memory, values, counter = self.memory, packet.values, arrival.counter
        if place is None:
            report = Report(self.tracker, time, counter, values, packet.layout)
            return [Late(self.tracker, counter, known=False), report] if late else [report]
        climb = values[form.altitude] if form.altitude else None
        altitude = float(climb) if isinstance(climb, float | int) else None
        tolerance = apart(memory.pace(arrival.usual, arrival.spacing), arrival.spacing) * _HALF or 1.0
        told = late and place.line < memory.horizon
        if late and not told:
            # A place says something only if it stands alone.
            alike = [] if memory.given else memory.places.like(place, tolerance)
            by_place = len(alike) == 1 and not alike[0].direct
            told = by_place or memory.places.near(place.line, tolerance, by_trail=True) is not None
        memory.places.learn(place)
        position = self._position(time, (place.north, place.east, altitude), counter, packet, direct=True)
        if not late:
            return [position]
        for gap in self.gaps:
            if gap.low < place.line < gap.high and not told:
                gap.packets -= 1
        return [Late(self.tracker, counter, told)] if told else [Late(self.tracker, counter, told), position]

    def _position(
        self, time: float, place: tuple[float, float, float | None], counter: int | None, packet: Packet, *, direct: bool
    ) -> Position:
        return Position(
            tracker=self.tracker, time=time, latitude=place[0], longitude=place[1], altitude=place[2], direct=direct,
            packet_counter=counter, values=packet.values if direct else {}, layout=packet.layout,
        )  # fmt: skip

    def _repair(self, points: list[float], fresh: _Gap | None = None) -> list[Event]:
        """What trail points, by their moments, make good; a fresh gap that they leave open is told."""
        events: list[Event] = []
        for gap in self.gaps:
            inside = [point for point in points if gap.low < point < gap.high]
            hole = (min(inside) if inside else gap.high) - gap.low
            if inside:
                pace = (gap.high - gap.low) / (gap.packets + 1)
                left = min(gap.packets, max(0, round(hole / pace) - 1))
                events.append(Repaired(self.tracker, len(inside), gap.packets - left))
                gap.packets, gap.high = left, min(inside)
            if gap is fresh and gap.packets:
                events.append(Lost(self.tracker, gap.packets, hole))
        self.gaps = [gap for gap in self.gaps if gap.packets > 0 and gap.high > self.memory.horizon]
        return events
