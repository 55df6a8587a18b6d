"""The bench test of a link: a recording sent over a lossy link with trails of several lengths, and what came out.

Owns one rule: how the result is counted. The points are the positions that were sent as a packet's own. Each counts once, by
what told it first: the packet itself, or a trail. One that nothing told is missing. What a packet with unnoticed bit errors
tells is false, and counts for nothing.

All lengths meet the very same losses (`packetcodec.bench.lossy_link`), so their reports differ by the trail alone.

>>> from packetcodec.schema import Schema
>>> from packetcodec.logs.fix import Fix
>>> schema = Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "track"
... id = 1
... fields = [{ kind = "counter" }, { kind = "latitude" }, { kind = "longitude" }]
... trail = { points = 10, resolution_m = 2.5, spacing = 30 }
... ''')
>>> walk = tuple(Fix(30.0 * number, 46.5, 9.9 + number / 2000) for number in range(200))
>>> lossy = LinkConditions(loss=0.4, burst=3, seed=1)
>>> for report in link_test(schema, "track", walk, interval=30.0, conditions=lossy, lengths=(0, 10)):
...     print(report.trail, report.direct, report.by_trail, report.missing, report.longest_hole)
0 114 0 86 450.0
10 114 79 7 150.0
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.bench.lossy_link import Arrival, Link, LinkConditions
from packetcodec.bench.outcome import Outcome, outcome_of
from packetcodec.bench.passage import receiver_for
from packetcodec.bench.sender import Sender
from packetcodec.codec import Codec
from packetcodec.errors import PacketcodecError, ValueFault
from packetcodec.frozen import replace
from packetcodec.receive.events import Event, Fault, Position, Unexplained
from packetcodec.receive.interval import min_separation
from packetcodec.wire import compile_plan

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from fractions import Fraction

    from packetcodec.logs.fix import Fix
    from packetcodec.schema import Schema
    from packetcodec.wire import Value

#: Most points of a trail, as in a schema.
MAX_POINTS = 63
#: Part of a tick by which an age, a difference of two floats, may miss a whole number of them.
_SLACK = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkReport:
    """What came of one length of trail.

    Attributes:
        trail: most points in it; 0 for the layout without one.
        sent: packets sent.
        lost: packets that never arrived.
        received: arrivals, those that came twice counted twice.
        damaged: arrivals with at least one bit error.
        refused: arrivals that the decoder refused.
        unnoticed: damaged arrivals that it accepted.
        points: positions sent as a packet's own.
        direct: of them, told by their own packet.
        by_trail: of them, told by the trail of another packet first.
        missing: of them, never told.
        pending: of the missing, those behind the last one told: the recording ends before a packet could bring them.
        between: positions told by a trail for moments at which no packet was sent, or one without a position.
        repeated: positions told a second time: 0 where packets come in step with the points of a trail, or carry a time.
        undated: positions told with a time that is not known.
        longest_hole: seconds from the last known position before missing points (or the first one sent) to the first known
            one after them; 0 where none is missing but pending ones.
        sizes: (bytes of a packet, packets sent of that length), shortest first.
        outcomes: what became of each of the points.
    """

    trail: int
    sent: int
    lost: int
    received: int
    damaged: int
    refused: int
    unnoticed: int
    points: int
    direct: int
    by_trail: int
    missing: int
    pending: int
    between: int
    repeated: int
    undated: int
    longest_hole: float
    sizes: tuple[tuple[int, int], ...]
    outcomes: tuple[Outcome, ...] = ()

    @property
    def mean_bytes(self) -> float:
        """Bytes of a mean packet, or 0 where none was sent."""
        return sum(size * count for size, count in self.sizes) / max(1, self.sent)

    def mean_airtime(self, airtime: Callable[[int], Fraction]) -> Fraction:
        """Seconds on air of a mean packet, given those of a payload in bytes (such as `LoRa.airtime`)."""
        total = sum((airtime(size) * count for size, count in self.sizes), start=airtime(0) * 0)
        return total / max(1, self.sent)


def with_trail(schema: Schema, layout: str, points: int) -> Schema:
    """The schema with the trail of one layout made shorter or longer, all else left as it is; 0 for none at all.

    Raises:
        PacketcodecError: the layout has no trail, or the number is out of range or does not fit the packet's limit.
    """
    if not 0 <= points <= MAX_POINTS:
        raise PacketcodecError(f"trail: {points} is outside 0..{MAX_POINTS} points")
    changed = []
    for item in schema.layouts:
        if item.name == layout and (points or item.trail):
            if item.trail is None:
                raise PacketcodecError(f'layout "{layout}" carries no trail')
            item = replace(item, trail=replace(item.trail, points=points) if points else None)  # noqa: PLW2901
        changed.append(item)
    found = replace(schema, layouts=tuple(changed))
    plan = compile_plan(found).layout(layout)
    if plan.trail and (least := -(-(plan.bits + plan.trail.front_bits) // 8) + plan.check_bytes) > plan.longest:
        raise PacketcodecError(
            f'trail: with {points} points an empty one takes {least} bytes, layout "{layout}" allows {plan.longest}'
        )
    return found


def link_test(
    schema: Schema,
    layout: str,
    fixes: Sequence[Fix],
    *,
    interval: float,
    conditions: LinkConditions,
    recording: Sequence[Fix] = (),
    lengths: Sequence[int] = (0, 5, 10),
    constants: Mapping[str, Value] | None = None,
    progress: Callable[[int], None] | None = None,
) -> tuple[LinkReport, ...]:
    """Send the fixes over the link once for each length of trail.

    Args:
        schema: what to send by.
        layout: name of one with a trail.
        fixes: a packet each, as `every` picks them.
        interval: seconds from packet to packet, as `every` was given.
        conditions: what the link does.
        recording: the whole log, which trails look back into; `fixes` if it is not given.
        lengths: most points of a trail, one report each.
        constants: field name to the value to send where the log holds none.
        progress: called with the number of packets so far, all lengths together.

    Raises:
        PacketcodecError: see `with_trail` and `Sender`.
    """
    codecs = [Codec(with_trail(schema, layout, points)) for points in lengths]
    reports = []
    for run, (points, codec) in enumerate(zip(lengths, codecs, strict=True)):
        sender = Sender(codec, layout, recording or fixes, constants)
        test = _Test(sender, fixes, interval, conditions)
        for number in range(len(fixes)):
            test.send(number)
            if progress is not None:
                progress(run * len(fixes) + number + 1)
        reports.append(test.report(points))
    return tuple(reports)


class _Test:
    """One length under way."""

    def __init__(self, sender: Sender, fixes: Sequence[Fix], interval: float, conditions: LinkConditions) -> None:
        self.sender = sender
        self.fixes = fixes
        self.interval = interval
        trail = sender.layout.trail
        # Seconds within which two moments are the same point.
        self.same = min_separation(interval, (trail.spacing_seconds or 0.0) if trail else 0.0) * (0.5 - _SLACK)
        self.link = Link(conditions)
        self.receiver = receiver_for(sender, fixes, interval)
        self.on_air: list[int] = []  # number of the packet on the link -> number of its fix
        self.heard: set[int] = set()
        self.sizes: Counter[int] = Counter()
        self.counts: Counter[str] = Counter()
        self.told: dict[int, Position] = {}  # number of a fix -> what told it
        self.between: set[float] = set()  # moments that no fix stands for

    def send(self, number: int) -> None:
        try:
            data = self.sender.packet(number, self.fixes[number])
        except ValueFault:
            return  # a replay reports what cannot be sent
        self.on_air.append(number)
        self.sizes[len(data)] += 1
        for arrival in self.link.send(data):
            self._feed(arrival, self.fixes[number].time)

    def _feed(self, arrival: Arrival, now: float) -> None:
        events = self.receiver.feed(arrival.data, now)
        refused = any(isinstance(event, Fault | Unexplained) for event in events)
        self.heard.add(arrival.number)
        self.counts["received"] += 1
        self.counts["damaged"] += arrival.flipped > 0
        self.counts["refused"] += refused
        self.counts["unnoticed"] += arrival.flipped > 0 and not refused
        if not arrival.flipped:
            self._judge(arrival, events)

    def _judge(self, arrival: Arrival, events: Sequence[Event]) -> None:
        """Find out which of the positions sent are told."""
        sent = self.on_air[arrival.number]
        for event in events:
            if not isinstance(event, Position):
                continue
            number = sent if event.direct else self._fix(sent, event.age)
            self.counts["undated"] += not event.time_known
            if not event.time_known and (number is None or number in self.told):
                continue  # it says itself that it may have been told
            if number is None:
                moment = round(self.fixes[sent].time - event.age, 3)
                self.counts["repeated"] += moment in self.between
                self.between.add(moment)
            elif number in self.told:
                self.counts["repeated"] += 1
            else:
                self.told[number] = event

    def _fix(self, sent: int, age: float) -> int | None:
        """The fix that stands for the moment `age` seconds before another, or None where none does.

        By ticks where the age is a whole number of them, as receivers count: a fix may come late in its tick. Else the
        nearest in time.
        """
        moment = self.fixes[sent].time - age
        ticks = age / self.interval
        if abs(ticks - round(ticks)) < _SLACK:
            number = sent - round(ticks)
            near = number >= 0 and abs(self.fixes[number].time - moment) < self.interval
            return number if near else None
        best, distance = None, self.same
        for number in range(sent - 1, -1, -1):
            fix = self.fixes[number]
            if fix.time > self.fixes[number + 1].time or fix.time <= moment - distance:
                break
            if fix.has_position and abs(fix.time - moment) < distance:
                best, distance = number, abs(fix.time - moment)
        return best

    def report(self, points: int) -> LinkReport:
        if self.fixes:
            for arrival in self.link.end():
                self._feed(arrival, self.fixes[-1].time)
        sent = [number for number in self.on_air if self.fixes[number].has_position]
        known = [self.told[number].direct for number in sent if number in self.told]
        return LinkReport(
            trail=points,
            sent=len(self.on_air),
            lost=len(self.on_air) - len(self.heard),
            received=self.counts["received"],
            damaged=self.counts["damaged"],
            refused=self.counts["refused"],
            unnoticed=self.counts["unnoticed"],
            points=len(sent),
            direct=sum(known),
            by_trail=len(known) - sum(known),
            missing=len(sent) - len(known),
            pending=next((place for place, number in enumerate(reversed(sent)) if number in self.told), len(sent)),
            between=len(self.between) + len(self.told) - len(known),
            repeated=self.counts["repeated"],
            undated=self.counts["undated"],
            longest_hole=self._longest_hole(sent),
            sizes=tuple(sorted(self.sizes.items())),
            outcomes=tuple(outcome_of(self.fixes[number], self.told.get(number)) for number in sent),
        )

    def _longest_hole(self, sent: Sequence[int]) -> float:
        known = sorted({self.fixes[number].time for number in self.told} | self.between)
        holes = [0.0]
        for number in sent:
            if number not in self.told:
                time = self.fixes[number].time
                place = bisect_right(known, time)
                before = known[place - 1] if place else self.fixes[sent[0]].time
                if place < len(known):
                    holes.append(known[place] - before)
        return max(holes)
