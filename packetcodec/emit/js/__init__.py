"""JavaScript: one ES module."""

from __future__ import annotations

from packetcodec.emit.js.writer import write_javascript

__all__ = [
    "write_javascript",
]
