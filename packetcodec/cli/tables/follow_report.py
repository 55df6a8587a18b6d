"""What `decode --follow` says on stderr: remarks as things happen, and a summary at the end.

Owns one rule: whoever sends rubbish does not flood the screen. Of each kind of remark the first few of a minute are said;
the others are counted, and the count is said when the minute is over.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterable, Sequence

from packetcodec.cli.streams import say
from packetcodec.cli.tables.figures import seconds
from packetcodec.codec import Codec
from packetcodec.receive import events
from packetcodec.receive.outputs.track_format import name_of
from packetcodec.schema import PLACE

#: Remarks of a kind that are said in a stretch of time, and its length in seconds.
_SAID = 5
_STRETCH = 60.0
#: Trackers remembered as said to be unknown, or as heard.
_MAX_TRACKERS = 1024
#: Seconds by which two times of one moment may differ, as floats.
_SAME = 1e-3
_NO_TIME = (
    "the packets of this input carry no time of reception: those read at once get the moment of reading as their time, "
    "and the points of their trails come before all of them; for a stored log leave out --follow"
)
#: What the summary calls the kinds of event, in its order.
_WORDS = {
    "report": "packet without a position",
    "late": "late packet",
    "duplicate": "duplicate",
    "fault": "faulty packet",
    "failure": "packet not handled",
    "unknown": "packet of unknown trackers",
    "restarted": "restart",
    "forgotten": "forgotten tracker",
    "contradiction": "contradiction",
    "unexplained": "packet without a reference",
    "damaged": "packet damaged or too far from what is known",
}
_REMARKS = _WORDS | {"lost": "loss", "repaired": "repaired gap", "silent": "silent tracker"}


def needs_place(codec: Codec) -> bool:
    """Whether a position is sent by its low bits."""
    layouts = [layout for plan in codec.plans.values() for layout in plan.layouts]
    return any(field.kind.role in PLACE for layout in layouts for _, field, _ in layout.low_fields)


def say_misplaced(codec: Codec, places: Sequence[object], *, good: int, unfit: int) -> None:
    """Say so where no packet fits the places that are given."""
    if places and unfit and not good and needs_place(codec):
        say("no packet fits the place that the receiver is said to have: does its latitude come first?")


def place_hint(codec: Codec, places: Sequence[object]) -> str:
    """What helps against a packet that no reference explains, where a place is needed and none is given."""
    return "; --near LAT,LON gives the place of the receiver as one" if needs_place(codec) and not places else ""


class FollowReport:
    """Says what happens, and counts it."""

    def __init__(self, codec: Codec, places: Sequence[object]) -> None:
        """Begin; `places` are those of the receiver, a reference for all trackers whose position is sent by its low bits."""
        self._codec, self._places = codec, places
        self._hint = place_hint(codec, places)
        self._referenced_all = bool(places) and needs_place(codec)
        self._heard: set[int | None] = set()
        self._counts: Counter[str] = Counter()
        self._unknown: set[int | None] = set()
        self._said: Counter[str] = Counter()
        self._until = 0.0
        #: Trackers of which the bytes last read held a position without a time; None once that was said.
        self._undated: set[int | None] | None = set()

    @property
    def good(self) -> int:
        """Packets that could be decoded, duplicates and those of unknown trackers included."""
        return sum(self._counts[what] for what in ("direct", "report", "late", "duplicate", "unknown"))

    @property
    def undated(self) -> int:
        """Positions whose time is not known."""
        return self._counts["undated"]

    def read(self) -> None:
        """Other bytes are read from now on."""
        if self._undated:
            self._undated.clear()

    def date(self, told: Iterable[events.Event], now: float) -> None:
        """Say once where two positions of a tracker are read at once and have no time but that."""
        for event in told:
            direct = isinstance(event, events.Position) and event.direct and abs(event.time - now) <= _SAME
            if self._undated is None or not direct or not isinstance(event, events.Position):
                continue
            if event.tracker in self._undated:
                say(_NO_TIME)
                self._undated = None
            else:
                self._undated.add(event.tracker)

    def take(self, event: events.Event) -> None:
        """Count an event, and say what there is to say."""
        if isinstance(event, events.Position | events.Report) and len(self._heard) < _MAX_TRACKERS:
            self._heard.add(event.tracker)
        match event:
            case events.Position():
                self._counts["direct" if event.direct else "trail"] += 1
                self._counts["undated"] += not event.time_known
            case events.Late():
                # One whose place was not known comes again, as a position or a report.
                self._counts["late"] += event.known
            case _:
                kind = type(event).__name__.lower()
                if isinstance(event, events.Unexplained) and self._referenced(event.tracker):
                    kind = "damaged"
                self._counts[kind] += 1
                if remark := self._remark(event):
                    self._said[kind] += 1
                    if self._said[kind] <= _SAID:
                        say(remark)

    def _referenced(self, tracker: int | None) -> bool:
        """Whether there is a reference for what a tracker sends by its low bits."""
        return self._referenced_all or tracker in self._heard

    def _remark(self, event: events.Event) -> str:  # noqa: PLR0911  # a line each
        match event:
            case events.Fault():
                return f"{event.message} (packet {event.data.hex()[:80]})"
            case events.Unexplained():
                hint = "" if self._referenced(event.tracker) else self._hint
                return f"{name_of(event.tracker)}: {event.message}{hint} (packet {event.data.hex()[:80]})"
            case events.Failure():
                return f"{name_of(event.tracker)}: a packet could not be handled, {event.message} ({event.data.hex()[:80]})"
            case events.Unknown():
                if event.tracker in self._unknown or len(self._unknown) == _MAX_TRACKERS:
                    return ""
                self._unknown.add(event.tracker)
                return f"{name_of(event.tracker)}: not one of the known ones, left out"
            case events.Repaired():
                lost = f", {_count(event.lost_packets, 'lost packet')} made good" if event.lost_packets else ""
                return f"{name_of(event.tracker)}: gap repaired by {_count(event.points, 'trail point')}{lost}"
            case events.Lost():
                return (
                    f"{name_of(event.tracker)}: {_count(event.packets, 'packet')} lost, a hole of {seconds(event.seconds)}"
                )
            case events.Contradiction():
                left = f"{_count(event.points, 'trail point')} left out" if event.points or not event.told else "told before"
                when = f"{_clock(event.time)}, when it sent that it had no position"
                return f"{name_of(event.tracker)}: a trail holds a point of {when}: {left}; the list must end there"
            case events.Restarted():
                return f"{name_of(event.tracker)}: started anew, its counter is at {event.packet_counter}"
            case events.Forgotten():
                return f"{name_of(event.tracker)}: forgotten, more trackers are heard than are remembered"
            case events.Silent():
                who = "nothing heard" if event.tracker is None else f"{name_of(event.tracker)}: silent"
                return f"{who} since {_clock(event.since)}"
        return ""

    def tick(self, steady: float) -> None:
        """Say how many remarks were left out, when the stretch of time is over."""
        if steady >= self._until:
            self._say_rest()
            self._until = steady + _STRETCH

    def _say_rest(self) -> None:
        for kind, count in self._said.items():
            if count > _SAID:
                say(f"{_count(count - _SAID, 'more remark')} of this kind in {seconds(_STRETCH)}: {_REMARKS[kind]}")
        self._said.clear()

    def close(self, what: str, noise: int, dropped: int) -> None:
        """The summary; `noise` lines or frames (`what`) held no packet."""
        self._say_rest()
        counts = self._counts
        parts = [f"{_count(counts['direct'], 'position')} direct, {counts['trail']} by trail"]
        parts += [_count(counts[kind], word) for kind, word in _WORDS.items() if counts[kind]]
        parts += [_count(noise, f"{what} without a packet")] if noise else []
        parts += [f"{_count(dropped, 'byte')} dropped"] if dropped else []
        say(", ".join(parts))
        say_misplaced(self._codec, self._places, good=self.good, unfit=counts["damaged"])


def _count(number: int, what: str) -> str:
    noun, *rest = what.split(" ", 1)
    if rest and not rest[0].startswith(("without", "of", "not", "damaged")):
        noun, rest = what, []
    return " ".join([str(number), noun if number == 1 else f"{noun}s", *rest])


def _clock(moment: float) -> str:
    return time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(moment))
