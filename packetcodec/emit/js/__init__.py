"""JavaScript: an ES module with a receiver, and how it is asked: by a program for Node.js."""

from __future__ import annotations

from packetcodec.emit.back_end import BackEnd, Harness
from packetcodec.emit.js.writer import write_harness, write_javascript

BACK_END = BackEnd(
    name="js",
    language="JavaScript",
    purpose="for apps: an ES module and a receiver, with types for TypeScript, for browsers and Node.js",
    write=write_javascript,
    flags={"formatter": "a script for a LoRaWAN network server (payload codec API, TS013)"},
    many=True,
    harnesses=(Harness("js", "ok", write_harness, ("node",), ("{tool}", "{home}/harness.mjs")),),
)

__all__ = ["BACK_END", "write_javascript"]
