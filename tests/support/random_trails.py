"""The strategies that the tests draw trails from: those of `packetcodec.fuzz`."""

from __future__ import annotations

from packetcodec.fuzz.strategies.trails import INTERVAL, points, trail_tables, with_trail

__all__ = ["INTERVAL", "points", "trail_tables", "with_trail"]
