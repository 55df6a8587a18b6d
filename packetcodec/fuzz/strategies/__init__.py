"""Hypothesis strategies of schemas, values, packets and trails."""

from __future__ import annotations

try:
    from hypothesis import strategies as st
except ImportError:
    raise ImportError("the strategies of packetcodec.fuzz need hypothesis: pip install 'packetcodec[fuzz]'") from None

__all__ = ["st"]
