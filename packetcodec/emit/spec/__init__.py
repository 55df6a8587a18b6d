"""The written specification."""

from __future__ import annotations

from packetcodec.emit.spec.writer import write_spec

__all__ = [
    "write_spec",
]
