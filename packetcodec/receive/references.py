"""What a receiver knows of fields that are sent by their low bits, for each tracker.

Owns one rule: which references are tried for a packet, and what is learned of it. First what its tracker said last, then
each of the receiver's own places. A counter is tried where it was last, up to three times its low bits ahead, and from 0 on,
for a tracker that began anew; where that explains nothing for two packets in a row, up to 64 times ahead and 1,024 times
from 0 on, which must explain both. A time is that of reception. The check decides. Each try that means another packet lets
one more in 65,536 damaged packets through, with 16 bits of check. Late packets and duplicates teach nothing: a counter never
goes back but where the tracker began anew.

>>> from packetcodec.codec import Codec
>>> from packetcodec.schema import Schema
>>> codec = Codec(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [
...   { kind = "identifier", name = "collar" },
...   { kind = "latitude", resolution_m = 2.5, within_m = 20000 },
...   { kind = "longitude", resolution_m = 2.5, within_m = 20000, max_latitude = 70 },
... ]
... '''))
>>> data = codec.encode("beacon", {"collar": 7, "latitude": 46.5, "longitude": 9.8})
>>> known = References(codec, places=[(40.0, 9.0), (46.4, 9.9)])
>>> packet, anew = known.decode(data, None)
>>> round(packet.values["latitude"], 3), anew
(46.5, True)
>>> known.learn(7, packet.values)
>>> known.decode(data, None)[1], known.of(7) == {name: packet.values[name] for name in ("latitude", "longitude")}
(False, True)
"""

from __future__ import annotations

from itertools import product
from math import isfinite
from typing import TYPE_CHECKING

from packetcodec.errors import OK, PacketcodecError, PacketFault
from packetcodec.schema import Form, Role
from packetcodec.wire.low_bits import known as bases_known
from packetcodec.wire.packing import identified, verified
from packetcodec.wire.quantize import to_base, to_value

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from packetcodec.codec import Codec, Packet
    from packetcodec.wire import LayoutPlan, Value

#: How many times its low bits a counter is looked for ahead.
_AHEAD = 3
#: The same where two packets must agree, and from 0 on for a tracker that was not heard yet; and of how many trackers the
#: last packet that nothing explained is kept for that.
_SEARCHED, _FROM_ZERO = 64, 1024
_REFUSED = 64


def checked_places(places: Iterable[Sequence[float]]) -> tuple[tuple[float, float, float], ...]:
    """Places as latitude, longitude and altitude (0 where it is not given).

    Raises:
        PacketcodecError: one is none.
    """
    found = []
    for place in places:
        north, east, height = (*place, 0.0)[:3] if len(place) in (2, 3) else (90.1, 0.0, 0.0)
        if not (-90 <= north <= 90 and -180 <= east <= 180 and isfinite(height)):
            said = ", ".join(f"{part:g}" for part in place)
            hint = ": latitude comes first" if -90 <= east <= 90 < abs(north) <= 180 else ""
            raise PacketcodecError(f"places: {said} is no latitude -90..90 and longitude -180..180 in degrees{hint}")
        found.append((north, east, height))
    return tuple(found)


class References:
    """Those of the trackers heard last."""

    def __init__(
        self, codec: Codec, *, tracker: str | None = None, places: Iterable[Sequence[float]] = (), max_trackers: int = 1024
    ) -> None:
        """Begin with places alone; the arguments are those of `packetcodec.receive.Receiver`."""
        self._codec = codec
        self._tracker = tracker
        self._places = checked_places(places)
        self._limit = max_trackers
        self._names = tuple(dict.fromkeys(name for plan in codec.plans.values() for name in plan.references))
        self._known: dict[int | None, dict[str, Value]] = {}
        self._refused: dict[int | None, bytes] = {}

    @property
    def needed(self) -> bool:
        """Whether any field is sent by its low bits."""
        return bool(self._names)

    def decode(self, data: bytes, now: float | None) -> tuple[Packet, bool]:
        """A packet, and whether something else than what its tracker said last explains it.

        Args:
            data: the packet.
            now: when it was received, in Unix seconds, or None.

        Raises:
            PacketFault: as `Codec.decode`; `bad_check` where no reference explains it.
        """
        if not self.needed:
            return self._codec.decode(data), False
        layout = identified(self._codec.plans, data)[1]
        if not layout.low_fields:
            return self._codec.decode(data), False
        tracker, first = self._said(layout, data), None
        for reference, anew in self._candidates(layout, tracker, now):
            try:
                return self._codec.decode(data, reference=reference), anew
            except PacketFault as fault:
                if fault.status != "bad_check":
                    raise
                first = first or fault
        before = self._refused.pop(tracker, None)
        self._refused[tracker] = data
        if len(self._refused) > _REFUSED:
            del self._refused[next(iter(self._refused))]
        if before is not None and (found := self._searched(layout, tracker, now, before, data)):
            return found, True
        raise first or PacketFault("bad_check", "no reference is known")

    def _searched(
        self, layout: LayoutPlan, tracker: int | None, now: float | None, before: bytes, data: bytes
    ) -> Packet | None:
        """A packet whose counter is far from all that is known, and the one refused before it: both must be explained."""
        counter = next(((field, low) for _, field, low in layout.low_fields if field.kind.role is Role.SEQUENCE), None)
        if counter is None or before == data or identified(self._codec.plans, before)[1] is not layout:
            return None
        field, low = counter
        last = self._known.get(tracker, {}).get(field.name)
        most = min(_FROM_ZERO, field.max_code // low.modulus + 1)
        parts = [part * field.step * low.modulus for part in range(max(most, _SEARCHED))]
        counts = [*parts[:most], *(last + part for part in parts[:_SEARCHED] if isinstance(last, int))]
        rest = [reference for reference, _ in self._candidates(layout, tracker, now)]
        rest = [dict(pairs) for pairs in dict.fromkeys(tuple((reference | {field.name: 0}).items()) for reference in rest)]
        for reference, count in product(rest, counts):
            near = reference | {field.name: count}
            if self._explained(layout, data, near) and self._explained(layout, before, near):
                status, packet = self._codec.try_decode(data, reference=near)
                return packet if status == OK else None
        return None

    def _explained(self, layout: LayoutPlan, data: bytes, reference: Mapping[str, Value]) -> bool:
        """Whether the check of a packet is right by a reference: faster than to decode it."""
        plan = identified(self._codec.plans, data)[0]
        bases = {field.name: to_base(field, reference[field.name]) for _, field, _ in layout.low_fields}
        return verified(plan, layout, data, bases_known(bases)) is not None

    def explains(self, data: bytes, fault: PacketFault) -> tuple[bool, int | None]:
        """Whether a reference may be what a refused packet lacks, and whose packet it is then."""
        if fault.status != "bad_check" or not self.needed:
            return False, None
        layout = identified(self._codec.plans, data)[1]
        return bool(layout.low_fields), self._said(layout, data)

    def said(self, data: bytes) -> int | None:
        """The tracker of a packet that was decoded."""
        return self._said(identified(self._codec.plans, data)[1], data)

    def _said(self, layout: LayoutPlan, data: bytes) -> int | None:
        """The tracker of a packet whose check is not known to be good."""
        for field, code in zip(layout.fields, layout.carried(data), strict=True):
            mine = field.kind.role is Role.SENDER if self._tracker is None else field.name == self._tracker
            if mine:
                value = to_value(field, code) if field.low_bits is None and code <= field.max_code else None
                return value if isinstance(value, int) else None
        return None

    def _candidates(
        self, layout: LayoutPlan, tracker: int | None, now: float | None
    ) -> Iterator[tuple[dict[str, Value], bool]]:
        """The references to try, each with whether it is another one than what the tracker said last."""
        known = self._known.get(tracker, {})
        choices: dict[str, list[Value]] = {}
        for _, field, low in layout.low_fields:
            last = known.get(field.name)
            if field.kind.role is Role.SEQUENCE:
                modulus = field.step * low.modulus
                ahead = [last + part * modulus for part in range(_AHEAD + 1)] if isinstance(last, int) else []
                choices[field.name] = [*ahead, 0]
            elif field.kind.form is Form.TIME:
                choices[field.name] = [round(now)] if now is not None else [last if last is not None else 0]
            elif field.kind.role not in (Role.NORTH, Role.EAST, Role.HEIGHT):
                choices[field.name] = [last if last is not None else 0]
        seen: list[dict[str, Value]] = []
        for number, place in enumerate(self._around(layout, known)):
            for values in product(*choices.values()):
                reference = place | dict(zip(choices, values, strict=True))
                if reference not in seen:
                    seen.append(reference)
                    yield reference, number > 0 or not known

    def of_stranger(self, layout: LayoutPlan, now: float | None) -> dict[str, Value]:
        """What is tried first for a packet of a tracker that was not heard yet; empty where no place is known."""
        return next((reference for reference, _ in self._candidates(layout, None, now)), {})

    def _around(self, layout: LayoutPlan, known: Mapping[str, Value]) -> Iterator[dict[str, Value]]:
        """Where a tracker may be: where it was last, then each of the receiver's own places."""
        roles = {field.kind.role: field for _, field, _ in layout.low_fields}
        axes = [(place, roles[role]) for place, role in enumerate((Role.NORTH, Role.EAST, Role.HEIGHT)) if role in roles]
        if all(known.get(field.name) is not None for _, field in axes):
            yield {field.name: known[field.name] for _, field in axes}
        for own in self._places if axes else ():
            heights = {2: own[2] / roles[Role.HEIGHT].unit.si} if Role.HEIGHT in roles else {}
            yield {field.name: heights.get(axis, own[axis]) for axis, field in axes}

    def learn(self, tracker: int | None, values: Mapping[str, Value]) -> None:
        """Take in what a packet in order says; not those of a late one."""
        if not self.needed:
            return
        known = self._known.pop(tracker, {})
        known |= {name: value for name in self._names if (value := values.get(name)) is not None}
        self._known[tracker] = known
        if len(self._known) > self._limit:
            del self._known[next(iter(self._known))]

    def of(self, tracker: int | None) -> dict[str, Value]:
        """What is known of a tracker, by name of the field, as `Codec.decode` takes it; what `learn` takes in again."""
        return dict(self._known.get(tracker, {}))
