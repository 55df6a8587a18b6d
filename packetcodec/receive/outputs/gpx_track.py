"""GPX 1.1: while it grows, a track for each stretch of positions of one tracker; in order, a track for each tracker.

In order a track has a segment for each stretch between outages. Each point has its source, "direct" or "trail", and how its
packet was heard as a comment. An attribute of GPX is an xsd:decimal, which knows no exponent.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from packetcodec.receive.events import Position
from packetcodec.receive.outputs.track_format import (
    Entry,
    TrackFormat,
    name_of,
    seconds_of,
    source_of,
    stretches,
    told_time,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from packetcodec.receive.events import Report
    from packetcodec.receive.outputs.track_format import Ordered

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="packetcodec">\n'
)
_OPEN, _CLOSE, _END = "<trk><name>{}</name><trkseg>\n", "</trkseg></trk>\n", "</gpx>\n"
_CUT = "</trkseg><trkseg>\n"
_NAME, _TIME = re.compile(r"<trk><name>([^<]*)</name>"), re.compile(r"<time>([^<]*)</time>")


class GpxTracks:
    """The tracks of a file."""

    head = _HEAD

    def __init__(self) -> None:
        self._name = ""

    def entry(self, event: Position | Report, *, first: bool = False) -> str:
        """The point of a position, and what begins a track where one begins; nothing for a report."""
        if not isinstance(event, Position):
            return ""
        name, before = name_of(event.tracker), self._name
        self._name = name
        opening = "" if name == before and not first else _OPEN.format(name)
        closing = _CLOSE if opening and not first else ""
        return f"{closing}{opening}{_point(event)}"

    def tail(self, *, empty: bool) -> str:
        """The end of the track and of the document."""
        return _END if empty else _CLOSE + _END


def _point(event: Position) -> str:
    altitude = "" if event.altitude is None else f"<ele>{event.altitude!r}</ele>"
    time = f"<time>{moment}</time>" if (moment := told_time(event)) else ""
    heard = [f"RSSI {event.reception.rssi:g} dBm"] if event.reception.rssi is not None else []
    heard += [f"SNR {event.reception.snr:g} dB"] if event.reception.snr is not None else []
    comment = f"<cmt>{', '.join(heard)}</cmt>" if heard else ""
    place = f'lat="{event.latitude:.7f}" lon="{event.longitude:.7f}"'
    return f"<trkpt {place}>{altitude}{time}{comment}<src>{source_of(event)}</src></trkpt>\n"


def _parse(lines: Iterable[str]) -> Iterator[Entry]:
    name = ""
    for line in lines:
        if found := _NAME.match(line):
            name = found[1]
        elif line.startswith("<trkpt "):
            time = _TIME.search(line)
            yield Entry(name, seconds_of(time[1] if time else None), line)


def _compose(head: str, entries: Ordered) -> Iterator[str]:
    yield head
    for tracker, parts in stretches(entries):
        yield _OPEN.format(tracker)
        for number, part in enumerate(parts):
            yield _CUT if number else ""
            yield from (entry.text for entry in part)
        yield _CLOSE
    yield _END


def _line(event: Position | Report, _: Sequence[str]) -> str:
    return _point(event) if isinstance(event, Position) else ""


FORMAT = TrackFormat(
    suffix=".gpx", description="a GPX 1.1 document", writer=lambda _: GpxTracks(), tracks=True, line=_line, parse=_parse,
    compose=_compose,
)  # fmt: skip
