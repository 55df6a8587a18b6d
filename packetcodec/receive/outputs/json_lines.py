"""JSON lines: an object a line, positions and reports of packets without one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from packetcodec.receive.events import Position
from packetcodec.receive.outputs.track_format import TrackFormat, utc

if TYPE_CHECKING:
    from packetcodec.receive.events import Report


class JsonLines:
    """The lines of a file."""

    head = ""

    def entry(self, event: Position | Report, *, first: bool = False) -> str:  # noqa: ARG002
        """The line of an event."""
        row: dict[str, Any] = {"event": type(event).__name__.lower(), "tracker": event.tracker, "time": utc(event.time)}
        if isinstance(event, Position):
            row |= {"latitude": event.latitude, "longitude": event.longitude, "altitude": event.altitude}
            row["direct"] = event.direct
        row |= {"packet_counter": event.packet_counter, "layout": event.layout, "values": dict(event.values)}
        return json.dumps(row, ensure_ascii=False) + "\n"

    def tail(self, *, empty: bool) -> str:  # noqa: ARG002
        """Nothing."""
        return ""


FORMAT = TrackFormat(suffix=".jsonl", description="a JSON object a line", writer=lambda _: JsonLines())
