"""The receiver: what arrived, put together into tracks. No input or output of its own: bytes in, events out.

Owns one rule: what is told, and in which order. A packet first gives what is wrong with it (a fault, an unknown tracker, a
duplicate, a restart), then the points of its trail that were not known, oldest first, then its own position, then what
became of the gap before it. Nothing is told twice. What a packet tells stands in `packetcodec.receive.tracker_state`.

Nothing that a packet holds stops it: an error in handling one becomes an event, its tracker starts anew, the others go on.
Its memory is bounded: where there are more trackers than a limit, the least recently heard are forgotten, with an event.

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
from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING

from packetcodec.errors import PacketcodecError, PacketFault
from packetcodec.logs.heard import Reception
from packetcodec.receive.events import Duplicate, Event, Failure, Fault, Forgotten, Late, Silent, Unexplained, Unknown
from packetcodec.receive.interval import MIN_INTERVAL
from packetcodec.receive.references import References
from packetcodec.receive.roles import roles_of
from packetcodec.receive.tracker_state import TrackerState

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from typing import Final

    from packetcodec.codec import Codec
    from packetcodec.wire import Value

#: Most trackers remembered, unless the caller says otherwise: more than a radio channel carries. Common practice, no source.
MAX_TRACKERS = 1024
#: Packets that no reference explained, kept to be tried again.
_KEPT = 64
NOBODY: Final = object()


class Receiver:
    """Puts together the tracks of several trackers, of every schema version that the codec knows.

    One call of `feed` for each packet, one of `tick` now and then. Neither raises on what a packet holds.

    >>> from packetcodec import Codec, Schema
    >>> from packetcodec.receive import Duplicate, Event, Failure
    >>> from packetcodec.starter import schema_text
    >>> codec = Codec(Schema.parse(schema_text()))
    >>> values = {"battery": 3.7, "fix_quality": 1, "latitude": 46.5, "longitude": 9.8}
    >>> def packet(collar, counter):
    ...     return codec.encode("position", {**values, "collar": collar, "counter": counter})
    >>> receiver = Receiver(codec, known=[7, 8], max_trackers=1)
    >>> heard = [packet(7, 1), packet(7, 1), packet(7, 5), packet(7, 160), packet(9, 1), packet(8, 1), b"noise"]
    >>> for now, data in enumerate(heard, 1000):
    ...     print(*[type(event).__name__ for event in receiver.feed(data, now) if isinstance(event, Event)])
    Position
    Duplicate
    Position Lost
    Restarted Position
    Unknown
    Forgotten Position
    Fault
    >>> receiver.feed(packet(8, 1), now=1010) == [Duplicate(tracker=8, packet_counter=1)]
    True
    >>> any(isinstance(event, Failure) for event in receiver.feed(packet(7, 1), now=1011))
    False
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
        max_trackers: int = MAX_TRACKERS,
        places: Iterable[Sequence[float]] = (),
        clock: float | None = None,
    ) -> None:
        """Begin with nothing heard.

        Args:
            codec: decodes.
            known: the trackers to listen to; None for all.
            silent_after: seconds without a packet after which a tracker is told silent; None for never.
            tracker: name of the field that tells trackers apart; None for the one of kind identifier, if there is one.
            interval: seconds from packet to packet, at least 0.001; None to learn it. Give it where packets come much
                faster than the points of their trail and carry no time.
            window: packets remembered of each tracker, 4..1024. A packet overtaken by more is taken for a restart.
            places: the receiver's own places, for fields that are sent by their low bits: latitude and longitude in degrees,
                and the altitude in metres (else 0). They are tried in their order behind what the tracker said last.
            clock: a time near the packets', in Unix seconds, for times sent by their low bits whose reception is not dated.
            max_trackers: trackers remembered, 1..1,000,000; about 20 KB each, 400 KB at the most with the usual window.

        Raises:
            PacketcodecError: an option out of its range, or no layout has the field.
        """
        _demand(silent_after, interval, window, max_trackers)
        self._references = References(codec, tracker=tracker, places=places, max_trackers=max_trackers)
        self._clock = clock
        #: Packets that no reference explained, and the tracker whose references have become known since, or nobody.
        self._kept: deque[tuple[int | None, bytes, Reception]] = deque(maxlen=_KEPT)
        self._anew: int | object | None = NOBODY
        self._roles = {
            (plan.version, layout.name): roles_of(layout, tracker)
            for plan in codec.plans.values()
            for layout in plan.layouts
        }
        if tracker is not None and not any(roles.tracker for roles in self._roles.values()):
            raise PacketcodecError(f"tracker: no layout has a field {tracker!r}")
        self._known = None if known is None else frozenset(known)
        self._interval, self._window, self._silent_after = interval, window, silent_after
        self._max_trackers = max_trackers
        #: Those heard, the one least recently heard first.
        self._trackers: dict[int | None, TrackerState] = {}
        #: Those not told silent, the one least recently heard first: when by the steady clock, and in Unix seconds.
        self._awake: dict[int | None, tuple[float, float]] | None = None
        self._now = 0.0
        self._steady = -math.inf
        self._drift = 0.0

    def feed(
        self,
        data: bytes,
        now: float | None,
        *,
        steady: float | None = None,
        rssi: float | None = None,
        snr: float | None = None,
    ) -> list[Event]:
        """What one packet tells.

        Args:
            data: its bytes, header to check.
            now: when it was received, in Unix seconds; None where that is not known. Then times that no field tells only put
                positions in order, by their counters and trails.
            steady: the same by a clock that nobody sets, in seconds since any moment; None to make do with `now`. Where
                the clock of `now` is set while packets come, places are told apart by this one.
            rssi: received signal strength in dBm, where it is known.
            snr: signal-to-noise ratio in dB, where it is known.
        """
        reception = Reception(now, rssi, snr)
        events = self._heard(bytes(data), now, steady, reception)
        for _, kept, heard in self._take_again():
            found = self._heard(kept, now, self._steady, heard)
            events += [event for event in found if not isinstance(event, Unexplained)]
        return events

    def references(self, tracker: int | None) -> dict[str, Value]:
        """What is known of a tracker's fields that are sent by their low bits: to be kept with its packets, see `learn`."""
        return self._references.of(tracker)

    def learn(self, tracker: int | None, values: Mapping[str, Value]) -> None:
        """Say what is known of a tracker's fields that are sent by their low bits, by their names and in their units."""
        self._references.learn(tracker, values)
        self._anew = tracker

    def _take_again(self) -> list[tuple[int | None, bytes, Reception]]:
        """The packets that no reference explained, of a tracker whose references have just become known."""
        if self._anew is NOBODY:
            return []
        again = [item for item in self._kept if item[0] == self._anew]
        for item in again:
            self._kept.remove(item)
        self._anew = NOBODY
        return again

    def _heard(self, data: bytes, now: float | None, steady: float | None, reception: Reception) -> list[Event]:
        events = self._feed(data, now, steady)
        if events and isinstance(events[0], Unexplained):
            self._kept.append((events[0].tracker, data, reception))
        return [event if isinstance(event, Forgotten | Silent) else replace(event, reception=reception) for event in events]

    def _feed(self, data: bytes, now: float | None, steady: float | None) -> list[Event]:
        known = now is not None
        now = self._now if now is None else now
        self._now = now
        steady = self._advance(now, steady)
        tracker = None
        try:
            packet, anew = self._references.decode(data, now if known else self._clock)
            roles = self._roles[packet.version, packet.layout]
            tracker = roles.who(packet)
            if self._known is not None and tracker not in self._known:
                return [Unknown(tracker, packet)]
            events = self._hear(tracker, now, steady)
            events += self._trackers[tracker].feed(data, packet, roles, now, steady, dated=known)
            if not any(isinstance(event, Duplicate | Late) for event in events):
                self._references.learn(tracker, packet.values)
                self._anew = tracker if anew else self._anew
            return events  # noqa: TRY300  # what is raised above is caught here
        except PacketFault as fault:
            lacks, who = self._references.explains(data, fault)
            if lacks:
                return [Unexplained(who, str(fault), data)]
            return [Fault(fault.status, str(fault), data)]
        except Exception as error:  # noqa: BLE001 - one packet must never stop the others, whatever is wrong here
            self._trackers.pop(tracker, None)
            return [Failure(tracker, f"{type(error).__name__}: {error}", data)]

    def tick(self, now: float, *, steady: float | None = None) -> list[Event]:
        """Who has fallen silent by now. Told once, until heard again; takes the same clocks as `feed`."""
        steady = self._advance(now, steady)
        if self._silent_after is None or self._awake is None:
            return []
        found: list[Event] = []
        while self._awake:
            tracker, (heard, since) = next(iter(self._awake.items()))
            if steady - heard < self._silent_after:
                break
            del self._awake[tracker]
            found.append(Silent(tracker, since))
        return found

    def _advance(self, now: float, steady: float | None) -> float:
        """Seconds of a clock that never goes back."""
        if steady is None:
            if now + self._drift < self._steady:
                self._drift = self._steady - now
            steady = now + self._drift
        self._steady = max(self._steady, steady)
        if self._awake is None:
            waited_for: Iterable[int | None] = self._known or (None,)
            self._awake = dict.fromkeys(waited_for, (self._steady, now))
        return self._steady

    def _hear(self, tracker: int | None, now: float, steady: float) -> list[Event]:
        """Put a tracker behind all others; who had to go for it."""
        if self._awake is not None:
            if None in self._awake:
                del self._awake[None]
            self._awake.pop(tracker, None)
            if self._silent_after is not None:
                self._awake[tracker] = steady, now
        state = self._trackers.pop(tracker, None)
        gone: list[Event] = []
        if state is None:
            state = TrackerState(tracker, window=self._window, interval=self._interval)
            if len(self._trackers) == self._max_trackers:
                oldest = next(iter(self._trackers))
                gone.append(Forgotten(oldest, self._trackers.pop(oldest).heard_at))
                if self._awake is not None and self._known is None:
                    self._awake.pop(oldest, None)
        self._trackers[tracker] = state
        return gone


def _demand(silent_after: float | None, interval: float | None, window: int, max_trackers: int) -> None:
    """Refuse an option out of its range."""
    for name, value in (("silent_after", silent_after), ("interval", interval)):
        least = MIN_INTERVAL if name == "interval" else 0
        if value is not None and not (math.isfinite(value) and value > 0 and value >= least):
            bound = f"of at least {least}" if least and value > 0 and math.isfinite(value) else "above 0"
            raise PacketcodecError(f"{name}: {value} is not a finite number of seconds {bound}")
    for name, count, low, high, what in (
        ("window", window, 4, 1024, "packets"),
        ("max_trackers", max_trackers, 1, 1_000_000, "trackers"),
    ):
        if not low <= count <= high:
            raise PacketcodecError(f"{name}: {count} is outside {low}..{high} {what}")
