"""GeoJSON (RFC 7946): a point for each position; in order also a line for each tracker, cut where it crosses 180 degrees."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from packetcodec.receive.events import Position
from packetcodec.receive.outputs.track_format import TrackFormat, name_of, source_of, utc

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.receive.events import Report

_HEAD, _BETWEEN, _TAIL = '{"type": "FeatureCollection", "features": [\n', ",\n", "\n]}\n"


class GeoJsonPoints:
    """The features of a file, one a line."""

    head = _HEAD

    def entry(self, event: Position | Report, *, first: bool = False) -> str:
        """The feature of a position; nothing for a report."""
        if not isinstance(event, Position):
            return ""
        properties = {
            **event.values, "tracker": event.tracker, "time": utc(event.time) or None, "source": source_of(event),
            "packet_counter": event.packet_counter, "layout": event.layout,
        }  # fmt: skip
        place = [event.longitude, event.latitude] + ([] if event.altitude is None else [event.altitude])
        return ("" if first else _BETWEEN) + _feature("Point", place, properties)

    def tail(self, *, empty: bool) -> str:  # noqa: ARG002
        """The end of the list."""
        return _TAIL


def _feature(kind: str, coordinates: Any, properties: dict[str, Any]) -> str:
    feature = {"type": "Feature", "geometry": {"type": kind, "coordinates": coordinates}, "properties": properties}
    return json.dumps(feature, ensure_ascii=False)


def _in_order(text: str) -> str:
    tracks: dict[int | None, list[tuple[str, list[float], str]]] = {}
    for line in text.removeprefix(_HEAD).removesuffix(_TAIL).split(_BETWEEN):
        feature: Any = json.loads(line or "null")
        if feature and feature["geometry"]["type"] == "Point":
            said = feature["properties"]
            tracks.setdefault(said["tracker"], []).append((said["time"] or "~", feature["geometry"]["coordinates"], line))
    features = []
    for tracker, points in tracks.items():
        points.sort(key=lambda point: point[0])
        if lines := list(_cut([place for _, place, _ in points])):
            features.append(_feature("MultiLineString", lines, {"tracker": tracker, "name": name_of(tracker)}))
        features += [line for _, _, line in points]
    return _HEAD + _BETWEEN.join(features) + _TAIL


def _cut(places: list[list[float]]) -> Iterator[list[list[float]]]:
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
    suffix=".geojson", description="a GeoJSON document", writer=lambda _: GeoJsonPoints(), in_order=_in_order
)
