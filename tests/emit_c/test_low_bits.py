"""Values of which only the low bits are sent: emitted C beside the codec, with references near, far, wrong and missing."""

from __future__ import annotations

import os
import subprocess

import pytest

from packetcodec import Schema, compile_plan
from packetcodec.emit import HARNESSES
from packetcodec.emit.c.writer import write_c
from packetcodec.fuzz.compiled import build
from tests.support.conformance import WARNINGS
from tests.support.js_material import seeded
from tests.support.low_bits import SCHEMA, SEAM, asked
from tests.support.needs import tool

CI = bool(os.environ.get("CI"))
#: One name in two layouts, with another range in each, and circles of whole numbers that do not wrap.
TWO_RANGES = Schema.parse("""
name = "two"
version = 1

[[layouts]]
name = "south"
id = 0
fields = [
  { kind = "latitude", minimum = -2.3, maximum = -0.02, low_bits = 4 }, { kind = "flag", name = "open" },
  { kind = "counter", name = "turn", maximum = 46, low_bits = 3, optional = true },
]

[[layouts]]
name = "anywhere"
id = 1
fields = [
  { kind = "latitude", bits = 18, low_bits = 4 }, { kind = "counter", maximum = 45, low_bits = 3, policy = "refuse" },
]
""")


def differing(schema, rng, count):
    plan, harness = compile_plan(schema), HARNESSES["c-sanitized"]
    questions, answers = asked(plan, rng, count)
    target = build(harness, harness.write(plan), tool=tool("gcc"), timeout=60)
    try:
        replies = target.ask(questions)
    finally:
        target.close()
    assert (replies.trouble, len(replies.lines)) == ("", len(questions)), replies.remarks
    return set(answers), [row for row in zip(questions, answers, replies.lines, strict=True) if row[1] != row[2]]


@pytest.mark.slow
@pytest.mark.parametrize("schema", [SCHEMA, SEAM, TWO_RANGES], ids=["pasture", "seam", "two ranges"])
def test_packets_and_references_of_every_sort_are_read_as_by_the_codec(schema):
    answers, wrong = differing(schema, seeded(5), 100)
    assert wrong == []
    assert "bad_check" in answers
    assert len(answers) > 100


def drawn(rng):
    """A schema of fields that are sent by few and by many of their bits."""
    optional = rng.choice(["true", "false"])
    last, step = rng.choice([7, 127, 1023, 65_535, 2**31 - 1]), rng.randint(1, 9)
    fields = [
        f'{{ kind = "counter", maximum = {last}, low_bits = {rng.randint(2, last.bit_length() - 1)} }}',
        (f'{{ kind = "number", name = "a", minimum = {rng.randint(-99, 9)}, maximum = {min(step * last // 9 + 100, 2**30)},'
        f" resolution = {step}, low_bits = {rng.randint(2, 3)}, optional = {optional} }}"),
        f'{{ kind = "longitude", bits = {rng.randint(14, 31)}, low_bits = {rng.randint(3, 13)}, optional = {optional} }}',
        f'{{ kind = "latitude", bits = {rng.randint(14, 31)}, low_bits = {rng.randint(3, 13)} }}',
        '{ kind = "flag", name = "open" }', '{ kind = "time", epoch = 2026-01-01T00:00:00Z, bits = 31, low_bits = 12 }',
    ]  # fmt: skip
    rng.shuffle(fields)
    trail = "trail = { points = 3, resolution_m = 5, spacing = 30 }" if rng.random() < 0.5 else ""
    check = rng.choice(["CRC-16/M17", "CRC-24/BLE", "CRC-32/ISO-HDLC", "CRC-16/KERMIT"])
    return Schema.parse(f"""
        name = "pasture"
        version = 1
        check = {{ crc = "{check}", bind_schema = true }}
        [[layouts]]
        name = "beacon"
        id = 1
        fields = [{", ".join(fields)}]
        {trail}
        """)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12 if CI else 3))
def test_random_schemas_are_read_alike(seed):
    rng = seeded(seed)
    assert differing(drawn(rng), rng, 40)[1] == []


@pytest.mark.slow
@pytest.mark.parametrize("schema", [SCHEMA, SEAM], ids=["pasture", "seam"])
@pytest.mark.parametrize("compiler", ["gcc", "clang", "avr-gcc"])
def test_compilers_have_nothing_to_say(schema, compiler, tmp_path):
    plan = compile_plan(schema)
    for only in ("", "encode", "decode"):
        for name, text in write_c(plan, only=only).items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        flags = ["-mmcu=atmega328p"] if compiler == "avr-gcc" else []
        command = [
            tool(compiler, compiler),
            "-std=c99",
            *flags,
            *WARNINGS,
            "-Os",
            "-c",
            f"{plan.name}_packets.c",
            "-o",
            "x.o",
        ]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert (done.stderr, done.returncode) == ("", 0)
