"""Runs: what a target does wrong is found, made small, told with its rule; the harness goes on."""

import runpy
import sys
from pathlib import Path

import pytest

from packetcodec.codec import Codec
from packetcodec.errors import PacketcodecError
from packetcodec.fuzz import (
    Corpus,
    FunctionTarget,
    Program,
    compile_plan,
    play,
    program,
    python_target,
    reference_target,
    run,
)
from packetcodec.fuzz.corpus import corpus_of
from packetcodec.fuzz.describe import describe_report
from packetcodec.fuzz.invariants import broken_by
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.targets import decoder_target
from packetcodec.schema import Schema
from tests.support import low_bits
from tests.support.effort import few
from tests.support.proving_ground import GROUND, ground

EXAMPLES = Path(__file__).parent / "examples"
GATE = Schema.load(EXAMPLES / "gate.toml")
PLAN = compile_plan(GATE)
GROUND_SCHEMA = Schema.parse(GROUND)


def misbehaving(what, seconds=60, max_inputs=4000, **options):
    target = Program([sys.executable, str(EXAMPLES / "misbehaving.py"), what], **options)
    try:
        return run(target, PLAN, seconds=seconds, max_inputs=max_inputs)
    finally:
        target.close()


# --- our own codecs -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("schema", few([GROUND_SCHEMA, GATE], 2), ids=lambda schema: schema.name)
def test_our_codec_is_clean(schema):
    report = run(python_target(schema), compile_plan(schema), seconds=60, max_inputs=8000)
    assert report.clean, describe_report(report)
    assert report.skipped == ["field", "degrees"]


@pytest.mark.slow
@pytest.mark.parametrize("schema", [GATE, GROUND_SCHEMA], ids=lambda schema: schema.name)
def test_the_construct_reference_is_clean(schema):
    report = run(reference_target(schema), compile_plan(schema), seconds=60, max_inputs=1500)
    assert report.clean, describe_report(report)


def test_a_point_far_above_the_head_that_is_accepted_can_be_encoded_again():
    """Found by the libFuzzer target in emitted C, and then in Python and JavaScript alike."""
    data = bytes.fromhex("2cbe6904011a0831ff91ff9958450100000000005887")
    assert not broken_by(Codec(GROUND_SCHEMA), data)


# --- programs -------------------------------------------------------------------------------------------------------


def test_a_decoder_wired_up_in_ten_lines_of_python_is_clean():
    target = Program([sys.executable, str(EXAMPLES / "wire.py")])
    report = run(target, PLAN, seconds=20, max_inputs=4000)
    target.close()
    assert report.clean, describe_report(report)
    assert report.skipped == ["encode", "encode_base", "held", "field", "degrees"]
    assert report.falls == 0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("what", "mark"),
    [
        ("dies", "decode: it died with exit status 3"),
        ("aborts", "decode: it died of SIGABRT"),
        ("hangs", "decode: it gave no answer in 0.3 s"),
        ("talks", "decode: it wrote more lines than it was asked for"),
        ("loses step", "decode: it wrote more lines than it was asked for"),
        ("is silent", "decode: it wrote fewer lines than it was asked for"),
        ("prints rubbish", "decode: no answer of the protocol"),
    ],
)
def test_what_a_program_does_to_a_packet_is_found_with_a_small_packet_and_the_run_goes_on(what, mark):
    report = misbehaving(what, seconds=60, max_inputs=1500, timeout=0.3 if what in {"hangs", "is silent"} else 2.0)
    assert [finding.mark for finding in report.findings] == [mark]
    finding = report.findings[0]
    assert finding.expected == "bad_padding"
    assert finding.question.startswith("decode 1200")
    assert bytes.fromhex(finding.question.removeprefix("decode "))[3].bit_count() == 1
    assert finding.section == "6"
    assert finding.count > 1 or report.falls > 1


@pytest.mark.slow
def test_a_program_that_stops_early_is_found_with_the_questions_that_lead_there_and_started_again():
    report = misbehaving("stops early")
    assert [finding.mark for finding in report.findings] == ["decode: it died with exit status 0"]
    finding = report.findings[0]
    assert finding.alone
    assert 100 < finding.question.count("\n") <= 120
    assert report.falls > 2
    assert report.inputs >= 2000


@pytest.mark.slow
def test_a_program_that_leaks_is_found():
    assert [finding.mark for finding in misbehaving("leaks").findings] == ["memory that grows without end"]


def test_a_program_that_cannot_be_started_or_answers_nothing_is_one_clear_line(monkeypatch):
    monkeypatch.setattr(program, "_START", 0.1)
    with pytest.raises(PacketcodecError, match="cannot be started: No such file"):
        Program(["./no/such/decoder"])
    with pytest.raises(PacketcodecError, match="answer each with a line"):
        Program([sys.executable, "-c", "import sys\nfor line in sys.stdin: pass"], timeout=0.1)


# --- findings -------------------------------------------------------------------------------------------------------


OURS = python_target(GATE)


def shifted(line):
    answer = OURS.ask([line]).lines[0]
    words = answer.split()
    if words[0] == "ok" and words[3] not in {"-", "0"}:
        words[3] = str(int(words[3]) & 0x7F)
    return " ".join(words)


def test_a_wrong_value_is_told_with_the_smallest_packet_and_its_rule():
    report = run(FunctionTarget("shifted", shifted), PLAN, seconds=20, max_inputs=2000)
    assert [finding.mark for finding in report.findings] == ["decode: temperature wrong"]
    finding = report.findings[0]
    assert finding.expected == "ok 2 0 128 0 0"
    assert finding.got == "ok 2 0 0 0 0"
    assert finding.section == "2.1"
    assert finding.size == 5
    assert "asked     decode 1200800054" in describe_report(report) or finding.question.startswith("decode 12008000")


def test_a_finding_can_be_played_again_and_is_gone_when_it_is_mended():
    question = run(FunctionTarget("shifted", shifted), PLAN, seconds=20, max_inputs=2000).findings[0].question
    assert play(FunctionTarget("shifted", shifted), PLAN, question).mark == "decode: temperature wrong"
    assert play(python_target(GATE), PLAN, question).count == 0


def test_findings_and_corpus_are_kept_and_asked_first(tmp_path):
    report = run(FunctionTarget("shifted", shifted), PLAN, seconds=20, max_inputs=2000)
    folder = Corpus(tmp_path / "kept")
    folder.add_findings(report.findings)
    folder.add_findings(report.findings)
    folder.add_corpus([b"\x12"])
    assert len(folder.findings.read_text(encoding="utf-8").splitlines()) == 1
    first = folder.questions(PLAN)
    assert first[0] == report.findings[0].question
    assert "decode 12" in first
    again = run(FunctionTarget("shifted", shifted), PLAN, seconds=20, first=first, max_inputs=1)
    assert [finding.kind for finding in again.findings] == ["replayed"]


def test_packets_of_low_bits_are_kept_with_what_they_are_read_with(tmp_path):
    plan, oracle = compile_plan(low_bits.SCHEMA), Oracle(compile_plan(low_bits.SCHEMA))
    folder = Corpus(tmp_path)
    folder.add_corpus(corpus_of(plan))
    questions = folder.questions(plan)
    assert len(questions) == len(list(folder.corpus.iterdir())) > 20
    assert {oracle.answer(question).split()[0] for question in questions} >= {"ok", "bad_check"}
    assert all(len(question.split()) == 2 + len(plan.references) for question in questions)


def test_what_cannot_be_read_in_the_folder_is_passed_over(tmp_path):
    (tmp_path / "findings.jsonl").write_text('not json\n{"question": "decode xy"}\n[1]\n{"question": 7}\n', encoding="utf-8")
    assert Corpus(tmp_path).questions(PLAN) == []


def test_the_same_seed_finds_the_same():
    one, two = (run(FunctionTarget("shifted", shifted), PLAN, seconds=60, seed=9, max_inputs=3000) for _ in range(2))
    keys = [[(item.mark, item.question, item.inputs) for item in report.findings] for report in (one, two)]
    assert keys[0] == keys[1]
    assert one.counts == two.counts


def test_a_run_stops_after_so_many_different_findings():
    oracle = python_target(GROUND_SCHEMA)
    wrong = FunctionTarget("numbers", lambda line: oracle.ask([line]).lines[0].replace("1", "2") if line != "sync" else "?")
    report = run(wrong, ground(), seconds=30, max_findings=4)
    assert len(report.findings) >= 4
    assert "different findings" in report.stopped


def test_a_decoder_given_as_a_function_may_name_its_fields_or_list_its_codes():
    decode = runpy.run_path(str(EXAMPLES / "gate_decoder.py"))["decode"]
    names = [field.name for field in PLAN.layouts[0].fields]

    def named(data):
        status, raw = decode(data)
        return status, dict(zip(names, raw, strict=False))

    for way in (decode, named):
        assert run(decoder_target(PLAN, way), PLAN, seconds=20, max_inputs=1500).clean
    report = run(decoder_target(PLAN, lambda data: decode(data) if data else ("ok", [])), PLAN, seconds=5, max_inputs=1500)
    assert [finding.question for finding in report.findings] == ["decode -"]


@pytest.mark.parametrize(
    ("wrong", "section"),
    [
        (lambda line: " | 900000000 " in line, "7.1"),
        (lambda line: line.partition(" |")[0].endswith(" -"), "2.4"),  # without an altitude, with points or not
    ],
    ids=["a point", "a value"],
)
def test_a_refusal_names_the_rule_of_the_smallest_question(wrong, section):
    target = python_target(GROUND_SCHEMA)

    def answer(line):
        return "refused" if line.startswith("encode_base 2 ") and wrong(line) else target.ask([line]).lines[0]

    finding = run(FunctionTarget("mine", answer), GROUND_SCHEMA, seconds=60, max_inputs=4000, max_findings=1).findings[0]
    assert (finding.section, finding.question.count("\n")) == (section, 0), finding
