"""C99: one header and one source, and how they are asked: built by a compiler with a program around them."""

from __future__ import annotations

from dataclasses import replace

from packetcodec.emit.back_end import BackEnd, Harness
from packetcodec.emit.c.writer import write_c, write_harness

_COMPILERS = ("gcc", "clang", "cc")


def _harness(name: str, *flags: str) -> Harness:
    build = ("{tool}", "-std=c99", "-D_POSIX_C_SOURCE=200809L", *flags, "*.c", "-o", "harness")
    return Harness(name, "base", write_harness, _COMPILERS, ("{home}/harness",), build, variable="CC")


BACK_END = BackEnd(
    name="c",
    language="C99",
    purpose="for firmware: a header and a source, without heap, floats or anything but stdint, stddef and string",
    write=write_c,
    parts=("encode", "decode"),
    many=True,
    flags={"self_test": "also a source that tries the test vectors on the device"},
    harnesses=(
        replace(_harness("c", "-O2"), weighed=True),
        _harness("c-sanitized", "-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"),
    ),
)

__all__ = ["BACK_END", "write_c"]
