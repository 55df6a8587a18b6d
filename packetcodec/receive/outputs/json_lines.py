"""JSON lines: an object a line, positions and reports of packets without one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from packetcodec.receive.events import Position
from packetcodec.receive.outputs.track_format import Entry, TrackFormat, seconds_of, told_time

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from packetcodec.receive.events import Report


def _line(event: Position | Report, _: Sequence[str]) -> str:
    row: dict[str, Any] = {
        "event": type(event).__name__.lower(), "tracker": event.tracker, "time": told_time(event) or None
    }  # fmt: skip
    if isinstance(event, Position):
        row |= {"latitude": event.latitude, "longitude": event.longitude, "altitude": event.altitude}
        row["direct"] = event.direct
    row |= {"packet_counter": event.packet_counter, "layout": event.layout}
    row |= {"rssi": event.reception.rssi, "snr": event.reception.snr, "values": dict(event.values)}
    return json.dumps(row, ensure_ascii=False) + "\n"


def _parse(lines: Iterable[str]) -> Iterator[Entry]:
    for line in lines:
        row: Any = json.loads(line)
        yield Entry(str(row.get("tracker")), seconds_of(row.get("time")), line)


FORMAT = TrackFormat(
    suffix=".jsonl", description="a JSON object a line", head=lambda _: "", begins="{", line=_line, parse=_parse
)  # fmt: skip
