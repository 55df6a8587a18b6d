"""Real positions: reading recorded logs, taking a position every so often, and measuring errors in metres.

Imports one way: errors <- fix <- {nmea, gpx, table} <- log; `sample` and `metres` stand beside them, and `replay` sends
what they give through a codec.
"""

from __future__ import annotations

from packetcodec.tracks.fix import Fix, Refusal
from packetcodec.tracks.log import FORMATS, RecordedLog, read_log, recognise
from packetcodec.tracks.metres import ErrorSummary, distance, summary
from packetcodec.tracks.nmea import NmeaReader
from packetcodec.tracks.replay import FieldReport, Replay, replay
from packetcodec.tracks.sample import Span, every, silences, without_fix
from packetcodec.tracks.table import COLUMNS

__all__ = [
    "COLUMNS",
    "FORMATS",
    "ErrorSummary",
    "FieldReport",
    "Fix",
    "NmeaReader",
    "RecordedLog",
    "Refusal",
    "Replay",
    "Span",
    "distance",
    "every",
    "read_log",
    "recognise",
    "replay",
    "silences",
    "summary",
    "without_fix",
]
