"""The strategies that the tests draw trails from: those of `packetcodec.fuzz`."""

from __future__ import annotations

from packetcodec.fuzz.strategies.trails import PACE, points, trail_tables, with_trail

__all__ = ["PACE", "points", "trail_tables", "with_trail"]
