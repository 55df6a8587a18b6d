r"""Tracks as text: JSON lines, CSV, GPX 1.1 and GeoJSON (RFC 7946). No file is touched here.

Owns one rule: what a position looks like in each format. JSON lines and CSV grow by a line for each position, so that a file
is whole after each of them. GPX and GeoJSON are one document: it is made anew, and whoever writes it swaps it in. In these
the points of a tracker stand in the order of time, those that came late too, each with its source, "direct" or "trail".

>>> from packetcodec.receive.events import Position
>>> here = Position(7, 1_782_907_200.0, 46.5, 9.9, None, True, 5, {"battery": 3.7}, "position")
>>> csv = CsvLines(["battery"])
>>> csv.head(), csv.line(here)
('time,tracker,latitude,longitude,altitude,direct,packet_counter,layout,battery\n',
 '2026-07-01T12:00:00.000Z,7,46.5,9.9,,true,5,position,3.7\n')
"""

from __future__ import annotations

import csv
import io
import json
from bisect import insort
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from packetcodec.receive.events import Position, Report

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_COLUMNS = ("time", "tracker", "latitude", "longitude", "altitude", "direct", "packet_counter", "layout")
_START = datetime(1970, 1, 1, tzinfo=UTC)


def utc(time: float) -> str:
    """Unix seconds as ISO 8601 in UTC, to the millisecond; "" beyond the year 9999."""
    try:
        moment = _START + timedelta(milliseconds=round(time * 1000))
    except OverflowError:
        return ""
    return moment.replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


class JsonLines:
    """A JSON object a line: positions, and reports of packets without one."""

    def head(self) -> str:
        """What stands before the first line: nothing."""
        return ""

    def line(self, event: Position | Report) -> str:
        """The line of an event, with its end."""
        row: dict[str, Any] = {"event": type(event).__name__.lower(), "tracker": event.tracker, "time": utc(event.time)}
        if isinstance(event, Position):
            row |= {"latitude": event.latitude, "longitude": event.longitude, "altitude": event.altitude}
            row["direct"] = event.direct
        row |= {"packet_counter": event.packet_counter, "layout": event.layout, "values": dict(event.values)}
        return json.dumps(row, ensure_ascii=False) + "\n"


class CsvLines:
    """A row a position, with a column for each of the fields named."""

    def __init__(self, fields: Iterable[str] = ()) -> None:
        """Take the fields; one of the same name as a column that is always there gets no second one."""
        self.fields = tuple(name for name in dict.fromkeys(fields) if name not in _COLUMNS)

    def head(self) -> str:
        """The line that names the columns."""
        return _row((*_COLUMNS, *self.fields))

    def line(self, event: Position | Report) -> str:
        """The row of a position; nothing for a report."""
        if isinstance(event, Report):
            return ""
        place = (event.latitude, event.longitude, event.altitude, event.direct, event.packet_counter, event.layout)
        return _row((utc(event.time), event.tracker, *place, *map(event.values.get, self.fields)))


def _row(cells: Iterable[object]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(str(cell).lower() if isinstance(cell, bool) else cell for cell in cells)
    return out.getvalue()


class _Tracks:
    """The points of each tracker in the order of time, each as text made once."""

    def __init__(self) -> None:
        self._points: dict[int | None, list[tuple[float, int, Position, str]]] = {}
        self._count = 0

    def put(self, position: Position, text: str) -> None:
        self._count += 1
        insort(self._points.setdefault(position.tracker, []), (position.time, self._count, position, text))

    def __iter__(self) -> Iterator[tuple[int | None, list[tuple[Position, str]]]]:
        for tracker, points in self._points.items():
            yield tracker, [(position, text) for _, _, position, text in points]


class Gpx:
    """A GPX 1.1 document: a track for each tracker."""

    def __init__(self) -> None:
        self._tracks = _Tracks()

    def add(self, position: Position) -> None:
        """Take a position in."""
        altitude = "" if position.altitude is None else f"<ele>{position.altitude!r}</ele>"
        time = f"<time>{moment}</time>" if (moment := utc(position.time)) else ""
        # An attribute of GPX is an xsd:decimal, which knows no exponent.
        self._tracks.put(
            position,
            f'<trkpt lat="{position.latitude:.7f}" lon="{position.longitude:.7f}">{altitude}{time}'
            f"<src>{_source(position)}</src></trkpt>\n",
        )

    def text(self) -> str:
        """The whole document."""
        parts = [
            '<?xml version="1.0" encoding="UTF-8"?>\n',
            '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="packetcodec">\n',
        ]
        for tracker, points in self._tracks:
            parts += [f"<trk><name>{_name(tracker)}</name><trkseg>\n", *(text for _, text in points), "</trkseg></trk>\n"]
        return "".join([*parts, "</gpx>\n"])


class GeoJson:
    """A GeoJSON document: a point for each position, and a line for each tracker, cut where it crosses 180 degrees."""

    def __init__(self) -> None:
        self._tracks = _Tracks()

    def add(self, position: Position) -> None:
        """Take a position in."""
        properties = {
            **position.values, "tracker": position.tracker, "time": utc(position.time) or None, "source": _source(position),
            "packet_counter": position.packet_counter, "layout": position.layout,
        }  # fmt: skip
        geometry = {"type": "Point", "coordinates": _coordinates(position)}
        feature = {"type": "Feature", "geometry": geometry, "properties": properties}
        self._tracks.put(position, json.dumps(feature, ensure_ascii=False))

    def text(self) -> str:
        """The whole document."""
        features = []
        for tracker, points in self._tracks:
            lines = list(_cut([position for position, _ in points]))
            if lines:
                geometry = {"type": "MultiLineString", "coordinates": lines}
                properties = {"tracker": tracker, "name": _name(tracker)}
                features.append(json.dumps({"type": "Feature", "geometry": geometry, "properties": properties}))
            features += [text for _, text in points]
        return '{"type": "FeatureCollection", "features": [\n' + ",\n".join(features) + "\n]}\n"


def _name(tracker: int | None) -> str:
    return "tracker" if tracker is None else f"tracker {tracker}"


def _source(position: Position) -> str:
    return "direct" if position.direct else "trail"


def _coordinates(position: Position) -> list[float]:
    place = [position.longitude, position.latitude]
    return place if position.altitude is None else [*place, position.altitude]


def _cut(positions: list[Position]) -> Iterator[list[list[float]]]:
    """The lines through some positions: RFC 7946, section 3.1.9, wants one that crosses 180 degrees cut there."""
    line: list[list[float]] = []
    for number, position in enumerate(positions):
        here = _coordinates(position)
        if number and abs(position.longitude - positions[number - 1].longitude) > 180:
            before = positions[number - 1]
            side = 180.0 if before.longitude > 0 else -180.0
            beyond = position.longitude + 2 * side
            span = beyond - before.longitude
            share = (side - before.longitude) / span if span else 0.0
            latitude = round(before.latitude + (position.latitude - before.latitude) * share, 7)
            yield [*line, [side, latitude]]
            line = [[-side, latitude]]
        line.append(here)
    if len(line) > 1:
        yield line


#: Ending of a file's name to what grows line by line, and to what is one document.
DOCUMENTS: dict[str, type[Gpx | GeoJson]] = {".gpx": Gpx, ".geojson": GeoJson}
LINES = (".jsonl", ".csv")
