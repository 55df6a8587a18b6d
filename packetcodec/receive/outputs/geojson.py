"""GeoJSON (RFC 7946): a point for each position; in order also a line of each tracker, cut at outages and 180 degrees."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from packetcodec.receive.events import Position
from packetcodec.receive.outputs.track_format import Entry, TrackFormat, name_of, seconds_of, source_of, stretches, told_time

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from packetcodec.receive.events import Report
    from packetcodec.receive.outputs.track_format import Ordered

HEAD, _BETWEEN, TAIL = '{"type": "FeatureCollection", "features": [\n', ",\n", "\n]}\n"


def feature(kind: str, coordinates: Any, properties: dict[str, Any]) -> str:
    """A feature in a line."""
    made = {"type": "Feature", "geometry": {"type": kind, "coordinates": coordinates}, "properties": properties}
    return json.dumps(made, ensure_ascii=False)


def _line(event: Position | Report, _: Sequence[str]) -> str:
    if not isinstance(event, Position):
        return ""
    properties = {
        **event.values, "tracker": event.tracker, "time": told_time(event) or None, "source": source_of(event),
        "packet_counter": event.packet_counter, "layout": event.layout, "rssi": event.reception.rssi,
        "snr": event.reception.snr,
    }  # fmt: skip
    place = [event.longitude, event.latitude] + ([] if event.altitude is None else [event.altitude])
    return feature("Point", place, properties)


def _parse(lines: Iterable[str]) -> Iterator[Entry]:
    for line in lines:
        if line.startswith('{"type": "Feature",'):
            text = line.rstrip().removesuffix(",")
            read: Any = json.loads(text)
            if read["geometry"]["type"] == "Point":
                said = read["properties"]
                yield Entry(name_of(said["tracker"]), seconds_of(said["time"]), text)


def _compose(head: str, entries: Ordered) -> Iterator[str]:
    between = head
    for name, parts in stretches(entries):
        lines: list[list[list[float]]] = []
        for part in parts:
            lines += cut([json.loads(entry.text)["geometry"]["coordinates"] for entry in part])
        if lines:
            tracker = json.loads(parts[0][0].text)["properties"]["tracker"]
            yield between + feature("MultiLineString", lines, {"tracker": tracker, "name": name})
            between = _BETWEEN
        for entry in (entry for part in parts for entry in part):
            yield between + entry.text
            between = _BETWEEN
    yield (head if between is head else "") + TAIL


def cut(places: Sequence[list[float]]) -> Iterator[list[list[float]]]:
    """The lines through some places: RFC 7946, section 3.1.9, wants one that crosses 180 degrees cut there."""
    line: list[list[float]] = []
    for number, here in enumerate(places):
        if number and abs(here[0] - places[number - 1][0]) > 180:
            longitude, latitude = places[number - 1][:2]
            side = 180.0 if longitude > 0 else -180.0
            span = here[0] + 2 * side - longitude
            share = (side - longitude) / span if span else 0.0
            crossing = round(latitude + (here[1] - latitude) * share, 7)
            yield [*line, [side, crossing]]
            line = [[-side, crossing]]
        line.append(here)
    if len(line) > 1:
        yield line


FORMAT = TrackFormat(
    suffix=".geojson", description="a GeoJSON document", head=lambda _: HEAD, line=_line, parse=_parse, compose=_compose,
    tracks=True, between=lambda before, _: "" if before is None else _BETWEEN, tails=(TAIL, TAIL),
)  # fmt: skip
