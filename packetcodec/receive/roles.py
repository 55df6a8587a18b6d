"""Where a layout holds what a receiver looks for: which tracker, which number, when, where; and a packet being taken in.

Owns one rule: the first field of a kind has the role. A field of kind identifier tells trackers apart, unless the caller
names another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.receive.dedup import Place
from packetcodec.schema import Form, Role

if TYPE_CHECKING:
    from packetcodec.codec import Packet
    from packetcodec.receive.order import Arrival
    from packetcodec.schema import Trail
    from packetcodec.wire import FieldPlan, LayoutPlan


@dataclass(frozen=True, slots=True)
class Roles:
    """The fields of a layout or their names, or None; and the coarser step of a position."""

    tracker: str | None
    counter: FieldPlan | None
    time: FieldPlan | None
    place: tuple[str, str] | None
    step: int
    altitude: str | None
    trail: Trail | None

    def who(self, packet: Packet) -> int | None:
        """The number of its tracker."""
        said = packet.values[self.tracker] if self.tracker else None
        return said if isinstance(said, int) else None

    def count(self, packet: Packet) -> int | None:
        """Its counter."""
        count = packet.values[self.counter.name] if self.counter and self.counter.modulus else None
        return count if isinstance(count, int) else None

    def spacing(self, packet: Packet) -> float:
        """Seconds from point to point of its trail, or 0 where the trail codes them or there is none."""
        if self.trail is None:
            return 0.0
        value = packet.values[self.trail.spacing_field] if self.trail.spacing_field else self.trail.spacing_seconds
        return max(0.0, float(value)) if isinstance(value, int | float) else 0.0

    def moment(self, packet: Packet, now: float, spacing: float) -> float | None:
        """The time field in Unix seconds, one of a period nearest to now; None where there is none fine enough."""
        field = self.time
        value = packet.values[field.name] if field else None
        if field is None or not isinstance(value, int) or (spacing and field.step * 2 > spacing):
            return None
        if not field.modulus:
            return float(value)
        return now + (value - now + field.modulus / 2) % field.modulus - field.modulus / 2

    def height(self, packet: Packet) -> float | None:
        """Its altitude in metres."""
        altitude = packet.values[self.altitude] if self.altitude else None
        return float(altitude) if isinstance(altitude, float | int) else None

    def own_place(self, packet: Packet, line: float, stretch: tuple[float, float], serial: int = 0) -> Place | None:
        """Its own position at a moment on the tracker's line, or None."""
        north, east = (packet.values[name] for name in self.place) if self.place else (None, None)
        if not isinstance(north, float | int) or not isinstance(east, float | int):
            return None
        return Place(line, *stretch, float(north), float(east), self.step, direct=True, serial=serial)


def roles_of(layout: LayoutPlan, tracker: str | None) -> Roles:
    """The roles of a layout's fields; `tracker` names the field that tells trackers apart, None for the identifier."""
    identifier = layout.role(Role.SENDER)
    who = identifier.name if identifier else None
    if tracker is not None:
        who = tracker if tracker in {field.name for field in layout.fields} else None
    north, east, climb = (layout.role(role) for role in (Role.NORTH, Role.EAST, Role.HEIGHT))
    return Roles(
        tracker=who,
        counter=layout.role(Role.SEQUENCE),
        time=next((field for field in layout.fields if field.kind.form is Form.TIME), None),
        place=(north.name, east.name) if north and east else None,
        step=max(north.step, east.step) if north and east else 0,
        altitude=climb.name if climb else None,
        trail=layout.trail,
    )


class Point(NamedTuple):
    """A point of a packet's trail: its place, altitude and age, and whether its moment is known."""

    place: Place
    altitude: float | None
    age: float
    known: bool = True


@dataclass(frozen=True, slots=True)
class Taken:
    """A packet being taken in.

    Attributes:
        packet, roles, arrival: what it is.
        line: its moment on the tracker's line.
        time: its Unix time, and whether that is known.
        place: its own position, or None.
        points: its trail.
        doubt: seconds by which the moment may be wrong: the link delays, the interval is not known, the place says nothing.
        reach: the same, whatever the place says.
        late: whether newer packets overtook it.
    """

    packet: Packet
    roles: Roles
    arrival: Arrival
    line: float
    time: float
    time_known: bool
    place: Place | None
    points: list[Point]
    doubt: float
    reach: float
    late: bool


def where(
    packet: Packet, roles: Roles, line: float, stretch: tuple[float, float], serial: int
) -> tuple[Place | None, list[Point]]:
    """A packet's own position and the points of its trail, for a moment of it on the line."""
    own = roles.own_place(packet, line, stretch, serial)
    points: list[Point] = []
    if own is not None and roles.trail is not None:
        step = roles.trail.step << roles.trail.coarsenings
        for point in packet.trail:
            if point.age is None:
                break
            low, high = (moment - point.age for moment in stretch)
            place = Place(line - point.age, low, high, point.latitude, point.longitude, step, direct=False, serial=serial)
            points.append(Point(place, point.altitude, point.age))
    return own, points
