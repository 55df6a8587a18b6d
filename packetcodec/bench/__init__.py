"""Before walking out: a recording sent through a layout and over a lossy link, and what arrived."""

from __future__ import annotations

from packetcodec.bench.geodesic import ErrorSummary, distance, summary
from packetcodec.bench.lossy_link import Link, LinkConditions
from packetcodec.bench.replay import FieldReport, Replay, replay
from packetcodec.bench.sample import Span, every, silences, without_fix

__all__ = [
    "ErrorSummary",
    "FieldReport",
    "Link",
    "LinkConditions",
    "Replay",
    "Span",
    "distance",
    "every",
    "replay",
    "silences",
    "summary",
    "without_fix",
]
