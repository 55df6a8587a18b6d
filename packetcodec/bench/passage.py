"""What a tracker sent and what a receiver made of what arrived: packets and events, for tests of firmware and app.

Owns one rule: what the receiver of a bench test knows beforehand. That is the interval, and the first place of the log as
its own place, for fields that are sent by their low bits.

>>> from packetcodec.bench.sender import Sender
>>> from packetcodec.codec import Codec
>>> from packetcodec.schema import Schema
>>> from packetcodec.logs.fix import Fix
>>> codec = Codec(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "counter" }, { kind = "latitude" }, { kind = "longitude" }]
... '''))
>>> walk = tuple(Fix(30.0 * number, 46.5, 9.9 + number / 2000) for number in range(10))
>>> sent = send(Sender(codec, "beacon", walk), walk, interval=30.0, conditions=LinkConditions(loss=0.5))
>>> len(sent.packets), sent.received, len(sent.events), sent.events[-1].time
(10, 6, 6, 240.0)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.bench.lossy_link import Arrival, Link, LinkConditions
from packetcodec.errors import ValueFault
from packetcodec.receive.events import Position, Report
from packetcodec.receive.receiver import Receiver

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from packetcodec.bench.sender import Sender
    from packetcodec.logs.fix import Fix


@dataclass(frozen=True, slots=True)
class Passage:
    """What went over a link.

    Attributes:
        packets: each packet sent, in order, lost ones too.
        received: packets that arrived, copies and damaged ones too.
        events: the positions that the receiver told, and reports of packets without one, in the order in which it did.
    """

    packets: tuple[bytes, ...]
    received: int
    events: tuple[Position | Report, ...]


def receiver_for(sender: Sender, fixes: Sequence[Fix], interval: float) -> Receiver:
    """The receiver of a bench test, which stands where the first of the fixes is."""
    start = [fix for fix in fixes if fix.has_position][:1]
    places = [(fix.latitude or 0.0, fix.longitude or 0.0, fix.altitude or 0.0) for fix in start]
    return Receiver(sender.codec, interval=interval, places=places)


def send(sender: Sender, fixes: Sequence[Fix], *, interval: float, conditions: LinkConditions) -> Passage:
    """Send each fix as a packet over the link, with the losses of `link_test`; one that cannot be made is left out.

    Args:
        sender: makes the packets.
        fixes: a packet each, as `every` picks them.
        interval: seconds from packet to packet, as `every` was given.
        conditions: what the link does; with `LinkConditions()` everything arrives.
    """
    packets: list[bytes] = []
    receiver = receiver_for(sender, fixes, interval)
    received, events = 0, list[Position | Report]()
    for arrival, now in _arrivals(sender, fixes, Link(conditions), packets):
        received += 1
        events += (event for event in receiver.feed(arrival.data, now) if isinstance(event, Position | Report))
    return Passage(tuple(packets), received, tuple(events))


def _arrivals(sender: Sender, fixes: Sequence[Fix], link: Link, packets: list[bytes]) -> Iterator[tuple[Arrival, float]]:
    """What arrives, and when; the packets sent are added to a list."""
    for number, fix in enumerate(fixes):
        try:
            packets.append(sender.packet(number, fix))
        except ValueFault:
            continue  # a replay reports what cannot be sent
        yield from ((arrival, fix.time) for arrival in link.send(packets[-1]))
    yield from ((arrival, fixes[-1].time) for arrival in (link.end() if fixes else ()))
