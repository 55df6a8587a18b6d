"""Columns give the answers of the conformance suite, and are a target of the harness."""

import pytest

from packetcodec import Schema
from packetcodec.cli.app import run
from packetcodec.fuzz.columns_target import ColumnsTarget
from packetcodec.starter import schema_text
from tests.support.conformance import TWO_TRAILS, Subject, differences, encodings, packets

STARTER = Schema.parse(schema_text())
ARRAYS = Subject("arrays", "base", ColumnsTarget)


@pytest.mark.parametrize("schema", [STARTER, TWO_TRAILS], ids=["starter", "two trails"])
def test_columns_answer_as_all_back_ends_do(schema):
    assert not differences(schema, ARRAYS, packets(schema, seed=5, count=60), list(encodings(schema, seed=5, count=300)))


def test_the_harness_finds_nothing(capfd):
    assert run(["fuzz", "--target", "arrays", "--no-folder", "--seconds", "20", "--inputs", "1500"]) == 0
    assert "Nothing found." in capfd.readouterr().out
