"""Emitted code and hand-written C as targets. They need gcc or clang, and Node.js: skipped without, but failed in CI."""

import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from packetcodec.emit import HARNESSES
from packetcodec.errors import PacketcodecError
from packetcodec.fuzz import Program, compile_plan, compiled_target, run
from packetcodec.fuzz.describe import describe_report
from packetcodec.schema import Schema
from packetcodec.starter import schema_text
from tests.support.conformance import micropython
from tests.support.needs import one_of
from tests.support.proving_ground import GROUND

EXAMPLES = Path(__file__).parent / "examples"
GATE = compile_plan(Schema.load(EXAMPLES / "gate.toml"))


@pytest.mark.slow
@pytest.mark.parametrize("text", [schema_text(), GROUND], ids=["starter", "proving_ground"])
@pytest.mark.parametrize("name", HARNESSES)
def test_emitted_code_is_clean(name, text):
    one_of(*HARNESSES[name].tools)
    if name == "micropython":
        micropython()
    plan = compile_plan(Schema.parse(text))
    target = compiled_target(name, plan)
    report = run(target, plan, seconds=600, max_inputs=2000, scale=2)
    target.close()
    assert report.clean, describe_report(report)
    assert report.inputs > 1000
    assert report.falls == 0
    assert report.skipped == (["encode", "field", "degrees"] if name == "js" else ["encode"])
    assert report.unit == HARNESSES[name].unit


def gate_program(tmp_path, change=lambda text: text):
    one_of("gcc", "clang", "cc")
    for name in ("gate_decoder.h", "wire.c"):
        (tmp_path / name).write_text(change((EXAMPLES / name).read_text(encoding="utf-8")), encoding="utf-8")
    build = [HARNESSES["c"].tool(), "-std=c99", "-Wall", "-Wextra", "-Werror", "-O1", "wire.c", "-o", "wire"]
    made = subprocess.run(build, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stderr
    return Program([str(tmp_path / "wire")])


def test_a_decoder_wired_up_in_ten_lines_of_c_is_clean(tmp_path):
    target = gate_program(tmp_path)
    report = run(target, GATE, seconds=600, max_inputs=6000)
    target.close()
    assert report.clean, describe_report(report)
    assert report.inputs > 5000


@pytest.mark.slow
@pytest.mark.parametrize(
    ("right", "wrong", "mark", "section"),
    [
        ("data[3] & 31", "data[3] & 15", "decode: a good packet instead of bad_padding", "6.6"),
        ("data[2] > 200", "data[2] > 201", "decode: a good packet instead of out_of_range", "6.7"),
        ("data[2] != 255", "data[2] != 254", "decode: a good packet instead of out_of_range", "6.7"),
        ("length > 5", "length > 6", "decode: a good packet instead of too_long", "6.4"),
        ("state = 0xff", "state = 0", "decode: bad_check instead of a good packet", "6.9"),
        ("data[3] >> 6;", "data[3] >> 7;", "decode: activity wrong", "2.1"),
    ],
)
def test_a_mistake_in_handwritten_c_is_found_and_told_with_its_rule(tmp_path, right, wrong, mark, section):
    target = gate_program(tmp_path, lambda text: text.replace(right, wrong))
    report = run(target, GATE, seconds=600, max_inputs=3000)
    target.close()
    assert mark in [finding.mark for finding in report.findings]
    assert next(finding for finding in report.findings if finding.mark == mark).section == section


def test_a_tool_that_is_missing_is_named_in_one_line(monkeypatch):
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("CC", raising=False)
    with pytest.raises(PacketcodecError, match="js: needs node, which is not installed"):
        compiled_target("js", GATE)
    with pytest.raises(PacketcodecError, match="c: needs gcc or clang or cc, which is not installed"):
        compiled_target("c", GATE)


def test_emitted_code_that_does_not_compile_is_one_line(monkeypatch):
    one_of("gcc", "clang", "cc")
    broken = replace(HARNESSES["c"], write=lambda _: {"harness.c": "int main(void) { return nothing; }"})
    monkeypatch.setitem(HARNESSES, "c", broken)
    with pytest.raises(PacketcodecError, match=r"does not compile: .*error"):
        compiled_target("c", GATE)
