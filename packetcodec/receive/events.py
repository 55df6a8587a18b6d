"""What a receiver tells: one frozen record for each thing that happened.

Owns one rule: the words. `tracker` is the number of the field of kind identifier, or None where packets carry none;
every `time` is in Unix seconds; what is not known is None. Each event of a packet has its `reception`, which does not count
where events are compared.

>>> Contradiction(tracker=7, time=1_783_000_000.0, packet_counter=6, points=3, told=0, reception=Reception(rssi=-101))
Contradiction(tracker=7, time=1783000000.0, packet_counter=6, points=3, told=0)
>>> Unexplained(tracker=7, message="no reference is known", data=b"")
Unexplained(tracker=7, message='no reference is known', data=b'')
>>> Silent(tracker=7, since=1_783_000_000.0)
Silent(tracker=7, since=1783000000.0)
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from packetcodec.logs.heard import Reception

if TYPE_CHECKING:
    from collections.abc import Mapping

    from packetcodec.codec import Packet
    from packetcodec.wire import Value


#: What an event has where nothing is known of the reception.
NOT_KNOWN = Reception()


@dataclass(frozen=True, slots=True)
class Position:
    """A place that was not known before. Each place is told once, by the first packet that brings it.

    Attributes:
        tracker: who was there.
        time: when. Of a packet: its time field, else the time of reception (of a late packet: what its neighbours make of
            it). Of a trail point: that, less its age.
        latitude, longitude: degrees north and east.
        altitude: metres, or None.
        direct: True from the packet's own fields, False from a trail, which is as coarse as the trail's cells.
        packet_counter: counter of the packet that brought it, or None where packets carry none.
        values: all fields of the packet in their units; empty for a trail point.
        layout: name of the packet's layout.
        age: seconds by which it is older than the packet's own position; 0 for that itself.
        time_known: False where the time only puts positions in order: packets without any time; or a trail point of which it
            cannot be known when it was passed, nor so whether it was told before (a tracker that stands still, an interval
            that is not known, and a link that reorders).
        reception: of the packet that brought it.
    """

    tracker: int | None
    time: float
    latitude: float
    longitude: float
    altitude: float | None
    direct: bool
    packet_counter: int | None
    values: Mapping[str, Value]
    layout: str
    age: float = 0.0
    time_known: bool = True
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Report:
    """A good packet without a position: of a layout that has none, or sent without a fix. Attributes as of `Position`."""

    tracker: int | None
    time: float
    packet_counter: int | None
    values: Mapping[str, Value]
    layout: str
    time_known: bool = True
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A trail has a point where the tracker's own packet said that it had no position: the points are not told.

    A point's place in a trail of fixed spacing is its age. A sender that leaves out a slot without a position, rather than
    ending its list there, gives that point and all older ones a wrong time.

    Attributes:
        time: of the packet without a position.
        points: of the trail that are left out: that one and the older ones, as far as they were not known.
        told: points of an earlier packet that were told before the packet without a position was heard.
    """

    tracker: int | None
    time: float
    packet_counter: int | None
    points: int
    told: int
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Repaired:
    """A trail brought points from a gap, told as positions just before.

    Attributes:
        points: how many.
        lost_packets: packets of the gap whose place is known by this.
    """

    tracker: int | None
    points: int
    lost_packets: int
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Lost:
    """Packets were missed, and nothing has brought their places so far. A later trail or a late packet still may.

    Attributes:
        packets: how many, by the counter.
        seconds: from the last known place before the hole to the first one after it.
    """

    tracker: int | None
    packets: int
    seconds: float
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Late:
    """A packet that newer ones overtook. `known` says that a trail had told its place: it is not told again."""

    tracker: int | None
    packet_counter: int | None
    known: bool
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Duplicate:
    """A packet that was heard before, as by an echo or a second relay. It tells nothing new."""

    tracker: int | None
    packet_counter: int | None
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Restarted:
    """The tracker counts anew. How many packets were missed is not known."""

    tracker: int | None
    packet_counter: int | None
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Unknown:
    """A good packet of a tracker that is not among the known ones. Nothing else is made of it."""

    tracker: int | None
    packet: Packet
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Silent:
    """Nothing was heard of a tracker since then; of any, where `tracker` is None and none was ever heard. Told once."""

    tracker: int | None
    since: float


@dataclass(frozen=True, slots=True)
class Fault:
    """Bytes that are no packet of these schemas: the fault's name, what is wrong, and the bytes."""

    status: str
    message: str
    data: bytes
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Unexplained:
    """A packet of fields that are sent by their low bits, which no reference explains; or a damaged one.

    It is kept, and tried again when its tracker's references become known: `data` is what to keep to decode it later.
    `tracker` is who it says that sent it.
    """

    tracker: int | None
    message: str
    data: bytes
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Forgotten:
    """More trackers than are remembered: the one least recently heard, at `since`, had to go. It may come again as new."""

    tracker: int | None
    since: float


@dataclass(frozen=True, slots=True)
class Failure:
    """An error of this program in handling a packet, which is left out; its tracker starts anew, the others go on."""

    tracker: int | None
    message: str
    data: bytes
    reception: Reception = field(default=NOT_KNOWN, compare=False, repr=False)


Event = (
    Position | Report | Contradiction | Repaired | Lost | Late | Duplicate | Restarted | Unknown | Silent | Fault
    | Unexplained | Forgotten | Failure
)  # fmt: skip
