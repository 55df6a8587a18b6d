"""Real positions: recorded logs read and replayed, a lossy link, and the receiver that puts tracks together again.

Imports one way: errors <- fix <- {nmea, gpx, table} <- log; `sample` and `metres` stand beside them; `sender` makes packets
of what they give, `replay` judges them, `link` loses some, `framing` finds them in a stream, `receiver` tells what they say
as events, `writers` keeps it.
"""

from __future__ import annotations

from packetcodec.tracks.events import (
    Duplicate,
    Event,
    Fault,
    Late,
    Lost,
    Position,
    Repaired,
    Report,
    Restarted,
    Silent,
    Unknown,
)
from packetcodec.tracks.fix import Fix, Refusal
from packetcodec.tracks.framing import CobsFrames, HexLines
from packetcodec.tracks.link import Harm, Link
from packetcodec.tracks.log import FORMATS, RecordedLog, read_log, recognise
from packetcodec.tracks.metres import ErrorSummary, distance, summary
from packetcodec.tracks.nmea import NmeaReader
from packetcodec.tracks.receiver import Receiver
from packetcodec.tracks.replay import FieldReport, Replay, replay
from packetcodec.tracks.sample import Span, every, silences, without_fix
from packetcodec.tracks.table import COLUMNS

__all__ = [
    "COLUMNS",
    "FORMATS",
    "CobsFrames",
    "Duplicate",
    "ErrorSummary",
    "Event",
    "Fault",
    "FieldReport",
    "Fix",
    "Harm",
    "HexLines",
    "Late",
    "Link",
    "Lost",
    "NmeaReader",
    "Position",
    "Receiver",
    "RecordedLog",
    "Refusal",
    "Repaired",
    "Replay",
    "Report",
    "Restarted",
    "Silent",
    "Span",
    "Unknown",
    "distance",
    "every",
    "read_log",
    "recognise",
    "replay",
    "silences",
    "summary",
    "without_fix",
]
