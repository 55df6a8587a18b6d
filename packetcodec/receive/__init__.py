"""Put together again: packets found in a stream, the receiver that tells what they say as events, and what keeps it."""

from __future__ import annotations

from packetcodec.logs.heard import Reception
from packetcodec.receive.events import (
    Contradiction,
    Duplicate,
    Event,
    Failure,
    Fault,
    Forgotten,
    Late,
    Lost,
    Position,
    Repaired,
    Report,
    Restarted,
    Silent,
    Unexplained,
    Unknown,
)
from packetcodec.receive.framing import CobsFrames, HexLines
from packetcodec.receive.receiver import Receiver

__all__ = [
    "CobsFrames",
    "Contradiction",
    "Duplicate",
    "Event",
    "Failure",
    "Fault",
    "Forgotten",
    "HexLines",
    "Late",
    "Lost",
    "Position",
    "Receiver",
    "Reception",
    "Repaired",
    "Report",
    "Restarted",
    "Silent",
    "Unexplained",
    "Unknown",
]
