"""One conformance suite for every back end: the same questions, and the answers that all must give.

A back end is one line of `BACK_ENDS`: a name, the unit it answers in, and how it is made from a schema.
Questions and answers are those of the line protocol (`packetcodec.fuzz.protocol`). The answers that are wanted
come from the plan in plain words (`packetcodec.wire.unpack`) for packets, from the codec for values; the codec
itself and the construct reference stand among the back ends.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest

from packetcodec import Codec, PacketFault, Plan, Schema
from packetcodec.codec.points import to_point
from packetcodec.emit.c.harness import harness_c
from packetcodec.emit.c.writer import write_c
from packetcodec.fuzz.compiled import compiled_target
from packetcodec.fuzz.program import Program
from packetcodec.fuzz.protocol import Unit, decode_answer, decode_question, encode_question
from packetcodec.fuzz.targets import Target, python_target, reference_target
from packetcodec.vectors import write_vectors
from packetcodec.wire import OutOfRangeFault, to_base, unpack
from tests.support.js_material import seeded, to_decode, to_encode

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

#: Two layouts with trails of different sorts, and one without.
TWO_TRAILS = Schema.parse("""
name = "hut"
version = 3
check = { crc = "CRC-24/BLE", bind_schema = true }
[header]
version_bits = 3
layout_bits = 8
[[layouts]]
name = "near"
id = 200
fields = [{ kind = "longitude", bits = 24, policy = "wrap" }, { kind = "latitude", bits = 20 }, { kind = "course" }]
trail = { points = 63, resolution_m = 5, spacing = 30, too_long = "coarsen", packet_bytes = 60 }
[[layouts]]
name = "class"
id = 0
fields = [
  { kind = "latitude", bits = 31, optional = true }, { kind = "altitude", optional = true },
  { kind = "counter", maximum = 99 }, { kind = "longitude", bits = 31, optional = true },
]
trail = { points = 5, resolution_m = 0.02, spacing = "coded", altitude_resolution = 1 }
[[layouts]]
name = "plain"
id = 1
fields = [{ kind = "identifier", bits = 32, policy = "clip" }, { kind = "time", period = 86401, resolution = 7 }]
""")

WARNINGS = (
    "-Wall -Wextra -Wpedantic -Wconversion -Wsign-conversion -Wshadow -Wdouble-promotion -Werror".split()
)  # fmt: skip
SANITIZERS = ("-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")


def tool(name: str, package: str) -> str:
    """The path of a program. Without it a test is skipped on a user's machine, and fails in CI."""
    found = shutil.which(name)
    if not found:
        why = f"{name} is not installed (Debian's package {package})"
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    return found


def compiled(compiler: str, package: str, *flags: str) -> Callable[[Schema, Path], Target]:
    """Emitted C as a back end: compiled with these flags, answering lines."""

    def make(schema: Schema, folder: Path) -> Target:
        plan = Codec(schema).plan
        files = {**write_c(plan), "speaker_main.c": harness_c(plan)}
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
        sources = [name for name in files if name.endswith(".c")]
        posix = ("-std=c99", "-D_POSIX_C_SOURCE=200809L")
        command = [tool(compiler, package), *posix, *flags, *sources, "-o", "speaker"]
        subprocess.run(command, cwd=folder, check=True)
        return Program([str(folder / "speaker")], name=compiler, timeout=60)

    return make


def javascript(schema: Schema, folder: Path) -> Target:  # noqa: ARG001  # it finds its own folder
    """The emitted module in Node.js."""
    tool("node", "nodejs")
    return compiled_target("js", Codec(schema).plan, timeout=60)


@dataclass(frozen=True)
class BackEnd:
    """Something that decodes and encodes.

    Attributes:
        name: for the test's name.
        unit: whether it tells raw codes ("ok") or base units ("base").
        make: schema and an empty folder to a target.
    """

    name: str
    unit: Unit
    make: Callable[[Schema, Path], Target]


BACK_ENDS = (
    BackEnd("codec", "ok", lambda schema, _: python_target(schema)),
    BackEnd("reference", "ok", lambda schema, _: reference_target(schema)),
    BackEnd("gcc", "base", compiled("gcc", "gcc", *SANITIZERS)),
    BackEnd("clang", "base", compiled("clang", "clang libclang-rt-14-dev", *SANITIZERS)),
    BackEnd("javascript", "ok", javascript),
)


def packets(schema: Schema, *, seed: int, count: int, whole: bool = True) -> list[bytes]:
    """The bad and good packets of the vectors, random ones, each single bit flipped, each length, noise, repaired checks."""
    codec = Codec(schema)
    found = list(to_decode(seeded(seed), codec, count, whole=whole))
    if whole:
        vectors = json.loads(next(iter(write_vectors(codec.plan).values())))
        found += [bytes.fromhex(row["hex"]) for row in (*vectors["good"], *vectors["bad"], *vectors["encode"])]
    return found


def encodings(schema: Schema, *, seed: int, count: int) -> Iterator[str]:
    """Questions to encode: values in base units that 32 bits hold, with trails of every motion."""
    codec = Codec(schema)
    for name, values, trail in to_encode(seeded(seed), codec, count):
        layout = codec.plan.layout(name)
        try:
            bases = [None if values[field.name] is None else to_base(field, values[field.name]) for field in layout.fields]
            points = [to_point(layout.trail, point, 1) for point in trail] if layout.trail else []
        except OutOfRangeFault:
            continue
        missing = any(base is None and field.absent_code is None for field, base in zip(layout.fields, bases, strict=True))
        if not missing and all(base is None or -(2**31) <= base < 2**31 for base in bases):
            yield encode_question("encode_base", layout, bases, points)


def wanted(plan: Plan, data: bytes, unit: Unit) -> str:
    """What every back end must say of a packet."""
    try:
        _, layout, raws, points = unpack({plan.version: plan}, data)
    except PacketFault as fault:
        return fault.status
    return decode_answer(unit, layout, raws, points)


def differences(
    schema: Schema, back_end: BackEnd, folder: Path, data: Sequence[bytes], lines: Sequence[str]
) -> list[tuple[str, str, str]]:
    """What a back end answers otherwise: question, answer wanted, answer given."""
    target = back_end.make(schema, folder)
    try:
        questions = [*map(decode_question, data), *lines]
        replies = target.ask(questions)
    finally:
        target.close()
    assert (replies.trouble, len(replies.lines)) == ("", len(questions)), replies.remarks
    plan = Codec(schema).plan
    answers = [wanted(plan, item, back_end.unit) for item in data]
    answers += python_target(schema).ask(lines).lines
    return [
        (question, answer, said)
        for question, answer, said in zip(questions, answers, replies.lines, strict=True)
        if answer != said
    ]
