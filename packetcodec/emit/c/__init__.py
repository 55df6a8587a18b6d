"""C99: one header and one source."""

from __future__ import annotations

from packetcodec.emit.c.writer import write_c

__all__ = [
    "write_c",
]
