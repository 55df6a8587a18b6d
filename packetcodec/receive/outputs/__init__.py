"""The formats that tracks are written in, by the ending of a file's name: a file of this folder each."""

from __future__ import annotations

from typing import Final

from packetcodec.receive.outputs import csv_lines, geojson, gpx_track, json_lines
from packetcodec.receive.outputs.track_format import TrackFormat, Writer

__all__ = ["OUTPUTS", "TrackFormat", "Writer"]

OUTPUTS: Final[dict[str, TrackFormat]] = {
    entry.suffix: entry for entry in (json_lines.FORMAT, csv_lines.FORMAT, gpx_track.FORMAT, geojson.FORMAT)
}
