"""What the header states of cycles and stack on AVR: measured in a simulator on worst records; and where it stands."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from packetcodec import Schema, compile_plan
from packetcodec.emit.c import write_c
from packetcodec.starter import schema_text
from tests.support.conformance import tool

WORST = Path(__file__).parents[2] / "benchmarks" / "firmware_worst.py"


def stated(plan, **options):
    """What the header says of each layout: words and numbers."""
    header = write_c(plan, **options)["pasture_packets.h"]
    return re.findall(r"^ \* (\w+): (to (?:en|de)code \d+ cycles.*)$", header, re.MULTILINE)


def test_the_header_states_what_each_layout_takes():
    plan = compile_plan(Schema.parse(schema_text()))
    assert [name for name, _ in stated(plan)] == ["position", "track", "status"]
    assert all(words.count("cycles") == words.count("bytes of stack") == 2 for _, words in stated(plan))
    assert all("decode" not in words for _, words in stated(plan, only="encode"))
    numbers = {name: list(map(int, re.findall(r"\d+", words))) for name, words in stated(plan)}
    assert all(a < b for a, b in zip(numbers["position"][::2], numbers["track"][::2], strict=True))


@pytest.mark.slow
def test_no_worst_record_takes_more_than_the_header_states():
    for name, package in (("avr-gcc", "gcc-avr avr-libc"), ("simavr", "simavr")):
        tool(name, package)
    command = [sys.executable, WORST, "--schemas", "6", "--seed", "5"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    assert " 0 of " in f" {done.stdout.splitlines()[-1]}"
