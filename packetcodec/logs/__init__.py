"""What was recorded: fixes out of NMEA 0183, GPX and CSV logs."""

from __future__ import annotations

from packetcodec.logs.columns import COLUMNS
from packetcodec.logs.fix import Fix, Refusal
from packetcodec.logs.log import FORMATS, RecordedLog, read_log, recognise
from packetcodec.logs.nmea import NmeaReader

__all__ = ["COLUMNS", "FORMATS", "Fix", "NmeaReader", "RecordedLog", "Refusal", "read_log", "recognise"]
