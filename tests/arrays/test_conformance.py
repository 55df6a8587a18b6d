"""Columns give the answers of the conformance suite, and are a target of the harness."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packetcodec import Codec, Schema
from packetcodec.cli.app import run
from packetcodec.fuzz.columns_target import ColumnsTarget
from packetcodec.starter import schema_text
from tests.support.columns import LOW_BITS
from tests.support.conformance import TWO_TRAILS, Subject, differences, encodings, packets
from tests.support.js_material import seeded
from tests.support.low_bits import SCHEMA, SEAM, asked
from tests.support.random_schemas import schemas

STARTER = Schema.parse(schema_text())
ARRAYS = Subject("arrays", "base", ColumnsTarget)


def differing(schema, seed, count):
    """Questions with references near, far, wrong and missing that columns answer otherwise than the codec."""
    questions, answers = asked(Codec(schema).plan, seeded(seed), count)
    replies = ColumnsTarget(schema).ask(questions)
    return set(answers), [row for row in zip(questions, answers, replies.lines, strict=True) if row[1] != row[2]]


@pytest.mark.slow
@pytest.mark.parametrize("schema", [SCHEMA, SEAM, LOW_BITS], ids=["pasture", "seam", "hut"])
def test_low_bits_are_found_by_every_reference_as_by_the_codec(schema):
    answers, wrong = differing(schema, seed=5, count=100)
    assert not wrong
    assert "bad_check" in answers
    assert not differences(schema, ARRAYS, packets(schema, seed=5, count=20), ())


@pytest.mark.slow
@given(schemas(low_bits=True), st.integers(0, 99))
@settings(max_examples=15)
def test_low_bits_of_random_schemas_are_found_too(schema, seed):
    assert not differing(schema, seed, count=6)[1]


@pytest.mark.slow
@pytest.mark.parametrize("schema", [STARTER, TWO_TRAILS], ids=["starter", "two trails"])
def test_columns_answer_as_all_back_ends_do(schema):
    assert not differences(schema, ARRAYS, packets(schema, seed=5, count=60), list(encodings(schema, seed=5, count=300)))


def test_the_harness_finds_nothing(capfd):
    assert run(["fuzz", "--target", "arrays", "--no-folder", "--seconds", "20", "--inputs", "1500"]) == 0
    assert "Nothing found." in capfd.readouterr().out
