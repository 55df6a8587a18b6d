"""A format that tracks are written in: what a file of this folder defines to become one.

Owns two rules. A file grows: it is a head, entries in the order in which they came, and a tail that closes it; the next
entry is written over the tail, with the tail behind it again. So a file is whole after each entry, and nothing of a long run
is kept in memory or written twice. And a file is put in order: its entries by the time of their positions, in a document
those of each tracker together, cut at outages. An entry without a time stays behind the one before it. No file is touched
here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import chain, groupby
from math import inf
from typing import TYPE_CHECKING, NamedTuple, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from packetcodec.receive.events import Position, Report

_START = datetime(1970, 1, 1, tzinfo=UTC)


class Entry(NamedTuple):
    """An entry to be put in order: its tracker as a format names it, its time (-inf for the one before) and its text."""

    tracker: str
    time: float
    text: str


class Ordered(Protocol):
    """Entries in order: iterated any number of times, by tracker and time where the format has tracks, else by time.

    Attributes:
        outages: by tracker, the seconds from one position to the next above which there is an outage between them.
    """

    outages: dict[str, float]

    def __iter__(self) -> Iterator[Entry]:
        """Begin anew."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackFormat:
    """One format.

    Attributes:
        suffix: ending of a file's name.
        description: what it is, for help texts.
        head: what stands at the beginning of a file, given the names of the fields of all layouts.
        begins: what a file without a head begins with, so that another kind of file is known.
        line: the text of a position or report as an entry, given the names of the fields; "" for none.
        parse: the entries of a file that has grown, or was put in order before, from its lines.
        compose: a whole file, piece by piece, from a head and entries in order.
        tracks: whether the entries of a tracker stand together in order.
        between: what stands before an entry of a file that grows: of the name of the tracker before ("" where that is not
            known, None before the first entry) and of its own.
        tails: what closes a file with entries, and one without.
    """

    suffix: str
    description: str
    head: Callable[[Sequence[str]], str]
    line: Callable[[Position | Report, Sequence[str]], str]
    parse: Callable[[Iterable[str]], Iterator[Entry]]
    compose: Callable[[str, Ordered], Iterator[str]] = lambda head, entries: chain([head], (entry.text for entry in entries))
    begins: str = ""
    tracks: bool = False
    between: Callable[[str | None, str], str] = lambda _, name: ""  # noqa: ARG005
    tails: tuple[str, str] = ("", "")

    def writer(self, fields: Sequence[str] = ()) -> Writer:
        """Begin a file, or go on with one, given the names of the fields of all layouts."""
        return Writer(self, tuple(fields))


class Writer:
    """One file's entries.

    Attributes:
        head: what stands at the beginning of the file.
    """

    def __init__(self, entry: TrackFormat, fields: tuple[str, ...]) -> None:
        self.head = entry.head(fields)
        self._format, self._fields, self._name = entry, fields, ""

    def entry(self, event: Position | Report, *, first: bool = False) -> str:
        """The text of an event, "" where the format has no place for it; `first` if the file holds no entry yet."""
        text, before, name = self._format.line(event, self._fields), self._name, name_of(event.tracker)
        if text:
            self._name, text = name, self._format.between(None if first else before, name) + text
        return text

    def tail(self, *, empty: bool) -> str:
        """What closes the file; `empty` if it holds no entry."""
        return self._format.tails[empty]


def stretches(entries: Ordered) -> Iterator[tuple[str, list[list[Entry]]]]:
    """The entries of each tracker in order, cut at its outages."""
    for tracker, found in groupby(entries, key=lambda entry: entry.tracker):
        parts: list[list[Entry]] = []
        before = inf
        for entry in found:
            if not parts or -inf < before < entry.time - entries.outages.get(tracker, inf):
                parts.append([])
            parts[-1].append(entry)
            before = entry.time
        yield tracker, parts


def utc(time: float) -> str:
    """Unix seconds as ISO 8601 in UTC, to the millisecond; "" beyond the years 1 to 9999."""
    try:
        moment = _START + timedelta(milliseconds=round(time * 1000))
    except OverflowError:
        return ""
    return moment.replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def told_time(event: Position | Report) -> str:
    """The time of an event, as `utc`; "" where it is not known."""
    return utc(event.time) if event.time_known else ""


def seconds_of(text: str | None) -> float:
    """The Unix seconds of what `utc` wrote; -inf for none."""
    return datetime.fromisoformat(text).timestamp() if text else -inf


def name_of(tracker: int | None) -> str:
    """What a tracker is called."""
    return "tracker" if tracker is None else f"tracker {tracker}"


def source_of(position: Position) -> str:
    """What told a position: its own packet, or a trail."""
    return "direct" if position.direct else "trail"
