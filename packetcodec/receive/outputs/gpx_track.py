"""GPX 1.1: while it grows, a track for each stretch of positions of one tracker; in order, a track for each tracker.

In order a track has a segment for each stretch between outages. Each point has its source, "direct" or "trail", and how its
packet was heard as a comment. An attribute of GPX is an xsd:decimal, which knows no exponent.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from packetcodec.receive.events import Position
from packetcodec.receive.outputs.track_format import Entry, TrackFormat, seconds_of, source_of, stretches, told_time

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


def _between(before: str | None, name: str) -> str:
    """What ends the track before, and begins one, where one begins."""
    return "" if before == name else _OPEN.format(name) if before is None else _CLOSE + _OPEN.format(name)


def _line(event: Position | Report, _: Sequence[str]) -> str:
    if not isinstance(event, Position):
        return ""
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


FORMAT = TrackFormat(
    suffix=".gpx", description="a GPX 1.1 document", head=lambda _: _HEAD, line=_line, parse=_parse, compose=_compose,
    tracks=True, between=_between, tails=(_CLOSE + _END, _END),
)  # fmt: skip
