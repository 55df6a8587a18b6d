"""Never clean what was not heard: every way to be wrong beside a wrong answer is a finding that can be shown again."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz import FunctionTarget, Program, compile_plan, decoder_target, play, program, python_target, run
from packetcodec.fuzz.describe import describe_report
from packetcodec.fuzz.leaks import LEAK
from packetcodec.schema import Schema

EXAMPLES = Path(__file__).parent / "examples"
GATE = Schema.load(EXAMPLES / "gate.toml")
PLAN = compile_plan(GATE)


def odd(what, **options):
    return Program([sys.executable, str(EXAMPLES / "odd.py"), what], **options)


def found(what, max_inputs=1500, **options):
    target = odd(what, **options)
    try:
        return run(target, GATE, seconds=600, max_inputs=max_inputs)
    finally:
        target.close()


def played(what, finding):
    target = odd(what)
    try:
        return play(target, GATE, finding.question, times=finding.times)
    finally:
        target.close()


def test_a_program_without_a_fault_is_clean():
    report = found("nothing")
    assert report.clean, describe_report(report)
    assert report.skipped == ["encode", "field", "degrees"]
    report = found("has other line ends", max_inputs=300)
    assert report.clean, describe_report(report)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("what", "mark", "section"),
    [
        ("encoder dies", "encode_base: it died with exit status 4", "7"),
        ("gives up", "encode_base: ? though it answers encode_base elsewhere", "7"),
        ("forgets", "held: ? though it answers held elsewhere", "6"),
        ("complains", "stderr: shift exponent 32 is too large", "6"),
        ("ends badly", "at the end: it ended with exit status 5", "6"),
        ("spoils its state", "wrong after other questions", "6.9"),
        ("is slow", "decode: slow", "6"),
    ],
)
def test_it_is_found_once_and_can_be_played_again(what, mark, section):
    report = found(what)
    assert [finding.mark for finding in report.findings] == [mark], describe_report(report)
    finding = report.findings[0]
    assert finding.alone
    if mark != "wrong after other questions":
        assert finding.section == section
    again = played(what, finding)
    assert again.count == 1
    assert played("nothing", finding).count == 0


@pytest.mark.slow
def test_a_state_that_is_spoiled_is_shown_with_the_question_that_spoils_it():
    finding = found("spoils its state").findings[0]
    one, other = finding.question.split("\n")
    assert finding.expected.startswith("bad_padding\nok")
    assert one.startswith("decode 12")
    assert other.startswith("decode 12")


def test_answers_that_are_late_by_one_are_one_finding():
    report = found("is late")
    assert [finding.mark for finding in report.findings] == ["each answer is that of the question before"]
    assert (report.stopped, report.inputs <= 200) == ("each answer is that of the question before", True)


@pytest.mark.slow
@pytest.mark.parametrize(("what", "most"), [("leaks", 500), ("leaks of few", 5000)])
def test_a_leak_of_a_hundred_bytes_a_packet_is_found_and_played_again(what, most):
    report = found(what, max_inputs=40_000)
    assert [finding.mark for finding in report.findings] == ["memory that grows without end"]
    finding = report.findings[0]
    assert LEAK < float(finding.got.split()[0]) < most
    assert finding.times > 1


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("dies at the start", "it ended with exit status 7 before its first answer: no such port"),
        ("ignores the verb", "it answered 'too_short' to a question that it cannot know, 'sync'"),
        ("indents", r"its answers have blanks around them: ' \?'"),
        ("keeps back", "its output is kept in a buffer; flush it after each line"),
    ],
)
def test_the_handshake_names_the_cause(what, words, monkeypatch):
    monkeypatch.setattr(program, "_START", 2.0)
    with pytest.raises(PacketcodecError, match=words):
        odd(what)


def test_a_killed_harness_leaves_no_program_running(tmp_path):
    note = tmp_path / "pid"
    hangs = f"import os, sys, time\nopen({str(note)!r}, 'w').write(str(os.getpid()))\ntime.sleep(600)"
    code = f"import sys\nfrom packetcodec.fuzz import Program\nProgram([sys.executable, '-c', {hangs!r}])"
    harness = subprocess.Popen([sys.executable, "-c", code])
    while not (note.exists() and note.read_text(encoding="utf-8")):
        assert harness.poll() is None
        time.sleep(0.05)
    pid = int(note.read_text(encoding="utf-8"))
    harness.send_signal(signal.SIGKILL)
    harness.wait()
    for _ in range(600):
        stat = Path(f"/proc/{pid}/stat")
        if not stat.exists() or stat.read_text(encoding="utf-8").rpartition(")")[2].split()[0] == "Z":
            return  # gone, or about to be: nobody may have asked for its status
        time.sleep(0.1)
    pytest.fail("the program still runs")


def test_the_time_that_is_given_holds_for_a_program_that_always_hangs():
    target = Program([sys.executable, str(EXAMPLES / "misbehaving.py"), "hangs"], timeout=0.5)
    report = run(target, PLAN, seconds=2)
    target.close()
    # Not how fast this machine is, but that the search for smaller packets does not add its own time.
    assert report.seconds < 30
    assert [finding.mark for finding in report.findings] == ["decode: it gave no answer in 0.5 s"]


# --- functions ------------------------------------------------------------------------------------------------------


OURS = python_target(GATE)


@pytest.mark.slow
def test_a_function_that_never_returns_is_stopped_and_one_that_exits_is_reported():
    def hangs(line):
        while line == "decode -":
            pass
        return OURS.ask([line]).lines[0]

    report = run(FunctionTarget("hangs", hangs, timeout=0.2), GATE, seconds=600, max_inputs=400)
    assert [finding.mark for finding in report.findings] == ["decode: it gave no answer in 0.2 s"]

    def exits(data):
        if not data:
            sys.exit("no data")
        return "ok", list(data)

    report = run(decoder_target(GATE, exits), GATE, seconds=600, max_inputs=400)
    finding = next(finding for finding in report.findings if "SystemExit" in finding.mark)
    assert (finding.question, finding.got) == ("decode -", "raised SystemExit: no data")
    assert 'sys.exit("no data")' in finding.remarks


def test_a_function_that_asks_another_one_is_stopped_all_the_same():
    def hangs(line):
        OURS.ask(["decode 12"])  # it sets a clock of its own
        while line == "decode -":
            pass
        return "?"

    replies = FunctionTarget("hangs", hangs, timeout=0.2).ask(["sync", "decode -"])
    assert (replies.lines, replies.trouble) == (("?",), "it gave no answer in 0.2 s")


def test_true_and_1_are_both_right_for_a_flag():
    def decode(data):
        words = OURS.ask([f"decode {data.hex() or '-'}"]).lines[0].split()
        codes = [None if word == "-" else int(word) for word in words[2:]]
        return words[0], [*codes[:3], bool(codes[3])] if codes else []

    report = run(decoder_target(GATE, decode), GATE, seconds=600, max_inputs=400)
    assert report.clean, describe_report(report)
