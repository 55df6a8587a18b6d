"""One conformance suite for every back end: the same questions, and the answers that all must give.

The subjects are the codec, the reference, and every back end of the registry by the last of its harnesses, the strictest,
with each of its tools: compilers of C, Node.js, CPython, MicroPython under Node.js.
Questions and answers are those of the line protocol (`packetcodec.fuzz.protocol`). The answers that are wanted
come from the plan in plain words (`packetcodec.wire.unpack`) for packets, from the codec for values; the codec
itself and the construct reference stand among the back ends.
"""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from packetcodec import Codec, PacketFault, Plan, Schema, compile_plan
from packetcodec.codec.points import to_point
from packetcodec.emit import BACK_ENDS, Harness
from packetcodec.emit.python import MICROPYTHON
from packetcodec.fuzz.codec_target import python_target, reference_target
from packetcodec.fuzz.compiled import build
from packetcodec.fuzz.packets import askable
from packetcodec.fuzz.protocol import Unit, decode_answer, decode_question, encode_question
from packetcodec.vectors import write_vectors
from packetcodec.wire import OutOfRangeFault, to_base, unpack
from tests.support.js_material import seeded, to_decode, to_encode
from tests.support.needs import demand, tool

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from packetcodec.fuzz.targets import Target

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
trail = { points = 5, resolution_m = 0.02, spacing = "coded", altitude_resolution = 1, wandering = true }
[[layouts]]
name = "plain"
id = 1
fields = [{ kind = "identifier", bits = 32, policy = "clip" }, { kind = "time", period = 86401, resolution = 7 }]
""")

REPOSITORY = Path(__file__).parents[2]
PACKAGE = "@micropython/micropython-webassembly-pyscript"
WARNINGS = (
    "-Wall -Wextra -Wpedantic -Wconversion -Wsign-conversion -Wshadow -Wdouble-promotion -Werror".split()
)  # fmt: skip
SANITIZERS = ("-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")


def micropython() -> str:
    """The path of MicroPython for WebAssembly. Without it a test is skipped on a user's machine, and fails in CI."""
    path = os.environ.setdefault(MICROPYTHON, str(REPOSITORY / ".cache" / "node_modules" / PACKAGE / "micropython.mjs"))
    where = f"{MICROPYTHON} names none, and npm install --prefix .cache {PACKAGE} was not run"
    demand(Path(path).is_file(), f"no MicroPython ({where})")
    return path


@dataclass(frozen=True)
class Subject:
    """Something that decodes and encodes.

    Attributes:
        name: for the test's name.
        unit: whether it tells raw codes ("ok") or base units ("base").
        make: schema to a target.
    """

    name: str
    unit: Unit
    make: Callable[[Schema], Target]


def _emitted() -> Iterator[Subject]:
    strictest = {(back_end.name, item.tools): item for back_end in BACK_ENDS.values() for item in back_end.harnesses}
    for harness in strictest.values():
        seen = set()
        for name in harness.tools:
            path = os.path.realpath(shutil.which(name) or name)
            if path not in seen:
                seen.add(path)
                yield Subject(f"{harness.name} {name}", harness.unit, partial(_built, harness, name))


def _built(harness: Harness, name: str, schema: Schema) -> Target:
    if harness.name == "micropython":
        micropython()
    return build(harness, harness.write(compile_plan(schema)), tool=tool(name, name), timeout=60)


def with_flags(harness: Harness, compiler: str, *flags: str) -> Subject:
    """A harness built by another compiler with more flags."""
    built = replace(harness, build=(*harness.build, *flags))
    return Subject(f"{compiler} {' '.join(flags)}", harness.unit, partial(_built, built, compiler))


SUBJECTS = (Subject("codec", "ok", python_target), Subject("reference", "ok", reference_target), *_emitted())


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
        both = list(zip(layout.fields, bases, strict=True))
        missing = any(base is None and field.absent_code is None for field, base in both)
        if not missing and all(base is None or askable(field, base) for field, base in both):
            yield encode_question("encode_base", layout, bases, points)


def wanted(plan: Plan, data: bytes, unit: Unit) -> str:
    """What every back end must say of a packet."""
    try:
        _, layout, codes, points = unpack({plan.version: plan}, data)
    except PacketFault as fault:
        return fault.status
    return decode_answer(unit, layout, codes, points)


def differences(schema: Schema, subject: Subject, data: Sequence[bytes], lines: Sequence[str]) -> list[tuple[str, str, str]]:
    """What a back end answers otherwise: question, answer wanted, answer given."""
    target = subject.make(schema)
    try:
        questions = [*map(decode_question, data), *lines]
        replies = target.ask(questions)
    finally:
        target.close()
    assert (replies.trouble, len(replies.lines)) == ("", len(questions)), replies.remarks
    plan = Codec(schema).plan
    answers = [wanted(plan, item, subject.unit) for item in data]
    answers += python_target(schema).ask(lines).lines
    return [
        (question, answer, said)
        for question, answer, said in zip(questions, answers, replies.lines, strict=True)
        if answer != said
    ]
