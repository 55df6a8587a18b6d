"""Python: one plain module with its types, and how it is asked: by CPython, and by MicroPython under Node.js."""

from __future__ import annotations

from packetcodec.emit.back_end import BackEnd, Harness
from packetcodec.emit.python.writer import MICROPYTHON, write_harness, write_python

BACK_END = BackEnd(
    name="python",
    language="Python",
    purpose="for CPython 3.8 or later and MicroPython: one module without dependency, and its types",
    write=write_python,
    harnesses=(
        Harness("python-module", "base", write_harness, ("python3", "python"), ("{tool}", "{home}/harness.py")),
        Harness("micropython", "base", write_harness, ("node",), ("{tool}", "{home}/harness.mjs")),
    ),
)

__all__ = ["BACK_END", "MICROPYTHON", "write_python"]
