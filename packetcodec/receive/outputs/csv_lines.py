r"""CSV: a row a position, with a column for each field of the layouts.

>>> from packetcodec.receive.events import Position
>>> here = Position(7, 1_782_907_200.0, 46.5, 9.9, None, True, 5, {"battery": 3.7}, "position")
>>> csv = FORMAT.writer(["battery"])
>>> csv.head, csv.entry(here)
('time,tracker,latitude,longitude,altitude,direct,packet_counter,layout,rssi,snr,battery\n',
 '2026-07-01T12:00:00.000Z,7,46.5,9.9,,true,5,position,,,3.7\n')
"""

from __future__ import annotations

import csv
import io
from functools import lru_cache
from typing import TYPE_CHECKING

from packetcodec.receive.events import Position
from packetcodec.receive.outputs.track_format import Entry, TrackFormat, seconds_of, told_time

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from packetcodec.receive.events import Report

_COLUMNS = (
    "time", "tracker", "latitude", "longitude", "altitude", "direct", "packet_counter", "layout", "rssi", "snr"
)  # fmt: skip


@lru_cache
def _columns(fields: tuple[str, ...]) -> tuple[str, ...]:
    """Those of fields; one of the same name as a column that is always there gets no second one."""
    return tuple(name for name in dict.fromkeys(fields) if name not in _COLUMNS)


def _line(event: Position | Report, fields: Sequence[str]) -> str:
    if not isinstance(event, Position):
        return ""
    place = (event.latitude, event.longitude, event.altitude, event.direct, event.packet_counter, event.layout)
    heard = (event.reception.rssi, event.reception.snr)
    return _row((told_time(event), event.tracker, *place, *heard, *map(event.values.get, _columns(tuple(fields)))))


def _row(cells: Iterable[object]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(str(cell).lower() if isinstance(cell, bool) else cell for cell in cells)
    return out.getvalue()


def _parse(lines: Iterable[str]) -> Iterator[Entry]:
    kept = ""
    for number, line in enumerate(lines):
        kept += line
        if number and not kept.count('"') % 2:  # a quoted cell may hold the end of a line
            time, tracker, *_ = next(csv.reader([kept]))
            yield Entry(tracker, seconds_of(time), kept)
            kept = ""
        kept = kept if number else ""


FORMAT = TrackFormat(
    suffix=".csv", description="a row a position", head=lambda fields: _row((*_COLUMNS, *_columns(tuple(fields)))),
    line=_line, parse=_parse,
)  # fmt: skip
