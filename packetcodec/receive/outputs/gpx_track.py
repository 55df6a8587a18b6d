"""GPX 1.1: while it grows, a track for each stretch of positions of one tracker; in order, a track for each tracker.

Each point has its source, "direct" or "trail". An attribute of GPX is an xsd:decimal, which knows no exponent.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from packetcodec.receive.events import Position
from packetcodec.receive.outputs.track_format import TrackFormat, name_of, source_of, utc

if TYPE_CHECKING:
    from packetcodec.receive.events import Report

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="packetcodec">\n'
)
_OPEN, _CLOSE, _END = "<trk><name>{}</name><trkseg>\n", "</trkseg></trk>\n", "</gpx>\n"
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
        altitude = "" if event.altitude is None else f"<ele>{event.altitude!r}</ele>"
        time = f"<time>{moment}</time>" if (moment := utc(event.time)) else ""
        place = f'lat="{event.latitude:.7f}" lon="{event.longitude:.7f}"'
        return f"{closing}{opening}<trkpt {place}>{altitude}{time}<src>{source_of(event)}</src></trkpt>\n"

    def tail(self, *, empty: bool) -> str:
        """The end of the track and of the document."""
        return _END if empty else _CLOSE + _END


def _in_order(text: str) -> str:
    tracks: dict[str, list[tuple[str, str]]] = {}
    name = ""
    for line in text.splitlines(keepends=True):
        if found := _NAME.match(line):
            name = found[1]
        elif line.startswith("<trkpt "):
            time = _TIME.search(line)
            tracks.setdefault(name, []).append((time[1] if time else "~", line))  # without a time: at the end
    parts = [_HEAD]
    for name, points in tracks.items():
        points.sort(key=lambda point: point[0])
        parts += [_OPEN.format(name), *(line for _, line in points), _CLOSE]
    return "".join([*parts, _END])


FORMAT = TrackFormat(suffix=".gpx", description="a GPX 1.1 document", writer=lambda _: GpxTracks(), in_order=_in_order)
