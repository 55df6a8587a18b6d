"""Every back end against the plan in plain words: the same fault or the same values to the bit, and the same bytes."""

from __future__ import annotations

import os
import subprocess
from itertools import islice

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from packetcodec import Schema, compile_plan
from packetcodec.emit import HARNESSES
from packetcodec.emit.c import write_c
from packetcodec.fuzz.generate import Inputs
from packetcodec.fuzz.oracle import Oracle
from packetcodec.starter import schema_text
from tests.support import low_bits
from tests.support.conformance import (
    SUBJECTS,
    TWO_TRAILS,
    WARNINGS,
    Subject,
    differences,
    encodings,
    packets,
    with_flags,
)
from tests.support.js_material import seeded, trail_schema
from tests.support.needs import tool
from tests.support.random_schemas import schemas

CI = bool(os.environ.get("CI"))
STARTER = Schema.parse(schema_text())
#: The strictest harness of C once more, with the sanitizer that knows what has been written and what has not.
MEMORY = with_flags(HARNESSES["c"], "clang", "-O0", "-g", "-fsanitize=memory", "-fno-sanitize-recover=all")
#: One of each language is enough for a quick look.
QUICK = ("codec", "c-sanitized gcc", "js node", "python-module python")
some = pytest.mark.parametrize(
    "subject",
    [pytest.param(item, id=item.name, marks=[] if item.name in QUICK else pytest.mark.slow) for item in SUBJECTS],
)
every = pytest.mark.parametrize("subject", SUBJECTS, ids=[item.name for item in SUBJECTS])


@some
@pytest.mark.parametrize(
    "schema", [STARTER, pytest.param(TWO_TRAILS, marks=pytest.mark.slow)], ids=["starter", "two trails"]
)
def test_packets_decode_and_values_encode_alike(subject: Subject, schema):
    data = packets(schema, seed=1, count=2000 if CI else 200)
    lines = list(encodings(schema, seed=2, count=8000 if CI else 400))
    assert differences(schema, subject, data, lines) == []


@pytest.mark.slow
@every
@pytest.mark.parametrize("seed", range(12 if CI else 1))
def test_trails_of_every_sort_are_read_and_written_alike(subject: Subject, seed):
    schema = trail_schema(seeded(seed))
    data = packets(schema, seed=seed, count=60, whole=False)
    assert differences(schema, subject, data, list(encodings(schema, seed=seed, count=200))) == []


def wrong_answers(schema: Schema, subject: Subject, groups: int) -> list[tuple[str, str, str]]:
    """Questions of the harness, references included, that are not answered as expected: question, expected, answer."""
    plan, target = compile_plan(schema), subject.make(schema)
    found = []
    try:
        for batch in islice(Inputs(Oracle(plan, subject.unit), seed=5, verbs=("encode_base",)).rounds(), groups):
            wanted = "\n".join(batch.answers).split("\n")
            lines = "\n".join(batch.questions).split("\n")
            replies = target.ask(lines)
            assert not replies.trouble, (replies.trouble, replies.remarks)
            found += [item for item in zip(lines, wanted, replies.lines, strict=True) if item[1] != item[2]]
    finally:
        target.close()
    return found


@pytest.mark.slow
@every
@pytest.mark.parametrize("point", ["450000100 90000000 -2147483648 60", "450000100 90000000 1000 4294967295"])
def test_numbers_that_say_absent_in_a_structure_are_refused_as_numbers(subject: Subject, point):
    fields = "encode_base 0 450000000 50000 5 90000000 |"
    target = subject.make(TWO_TRAILS)
    try:
        whole, wrong = target.ask([f"{fields} 450000100 90000000 1000 60", f"{fields} {point}"]).lines
    finally:
        target.close()
    assert wrong == "refused" != whole


@pytest.mark.slow
@every
def test_low_bits_are_sent_and_found_alike(subject: Subject):
    assert wrong_answers(low_bits.SCHEMA, subject, 60 if CI else 25) == []


@pytest.mark.slow
@every
@settings(deadline=None, max_examples=25 if CI else 2, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_random_schemas_with_low_bits_are_read_and_written_alike(subject: Subject, data):
    assert wrong_answers(data.draw(schemas(low_bits=True)), subject, 25) == []


# Not shrunk: every try compiles a program, and what differs is printed with its question.
@pytest.mark.slow
@every
@settings(deadline=None, max_examples=25 if CI else 2, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_random_schemas_decode_and_encode_alike(subject: Subject, data):
    schema = data.draw(schemas())
    seed = data.draw(st.integers(0, 2**32))
    lines = list(encodings(schema, seed=seed, count=100))
    assert differences(schema, subject, packets(schema, seed=seed, count=60, whole=False), lines) == []


@pytest.mark.slow
@settings(deadline=None, max_examples=40 if CI else 2, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_emitted_c_reads_nothing_that_nobody_wrote(data):
    schema, seed = data.draw(schemas()), data.draw(st.integers(0, 2**32))
    lines = list(encodings(schema, seed=seed, count=100))
    assert differences(schema, MEMORY, packets(schema, seed=seed, count=60, whole=False), lines) == []


@pytest.mark.slow
@settings(deadline=None, max_examples=40 if CI else 2, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_the_analyzer_of_gcc_finds_nothing_in_emitted_c(tmp_path, data):
    files = write_c(compile_plan(data.draw(schemas())))
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    source = next(name for name in files if name.endswith(".c"))
    command = [tool("gcc"), "-std=c99", *WARNINGS, "-fanalyzer", "-O2", "-c", source, "-o", "out.o"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (done.stderr, done.returncode) == ("", 0)
