"""A packet being taken in: when it was sent, as far as that is known, and the places that it holds.

>>> from packetcodec.receive.dedup import Place
>>> Point(Place(60.0, 60.0, 60.0, 46.5, 9.8, 225, direct=False), altitude=None, age=30.0).known
True
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.receive.dedup import Place

if TYPE_CHECKING:
    from packetcodec.codec import Packet
    from packetcodec.receive.order import Arrival
    from packetcodec.receive.roles import Roles


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
