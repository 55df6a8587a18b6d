"""A format that tracks are written in: what a file of this folder defines to become one.

Owns one rule: a file grows. It is a head, entries in the order in which they came, and a tail that closes it; the next
entry is written over the tail, with the tail behind it again. So a file is whole after each entry, and nothing of a long
run is kept in memory or written twice. No file is touched here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from packetcodec.receive.events import Position, Report

_START = datetime(1970, 1, 1, tzinfo=UTC)


class Writer(Protocol):
    """One file's entries.

    Attributes:
        head: what stands at the beginning of the file.
    """

    head: str

    def entry(self, event: Position | Report, *, first: bool) -> str:
        """The text of an event, "" where the format has no place for it; `first` if the file holds no entry yet."""
        ...

    def tail(self, *, empty: bool) -> str:
        """What closes the file; `empty` if it holds no entry."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackFormat:
    """One format.

    Attributes:
        suffix: ending of a file's name.
        description: what it is, for help texts.
        writer: begins a file, or goes on with one, given the names of the fields of all layouts.
        in_order: a whole file's text with the points of each tracker together and in the order of time; None where the
            order of entries is what the format is for.
    """

    suffix: str
    description: str
    writer: Callable[[Sequence[str]], Writer]
    in_order: Callable[[str], str] | None = None


def utc(time: float) -> str:
    """Unix seconds as ISO 8601 in UTC, to the millisecond; "" beyond the years 1 to 9999."""
    try:
        moment = _START + timedelta(milliseconds=round(time * 1000))
    except OverflowError:
        return ""
    return moment.replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def name_of(tracker: int | None) -> str:
    """What a tracker is called."""
    return "tracker" if tracker is None else f"tracker {tracker}"


def source_of(position: Position) -> str:
    """What told a position: its own packet, or a trail."""
    return "direct" if position.direct else "trail"
