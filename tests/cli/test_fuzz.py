"""The command `fuzz`: exit status, report, playing again, the folder, the self-test."""

import functools
import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from packetcodec.cli import fuzz_self_test as measured
from packetcodec.cli.app import run
from packetcodec.fuzz import trials as room
from tests.support.needs import tool

EXAMPLES = Path(__file__).parent.parent / "fuzz" / "examples"
GATE = str(EXAMPLES / "gate.toml")
RUBBISH = f"{shlex.quote(sys.executable)} {shlex.quote(str(EXAMPLES / 'misbehaving.py'))} 'prints rubbish'"


@pytest.fixture
def fuzz(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        status = run(["fuzz", *arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    return call


def test_our_own_decoder_is_clean_and_the_exit_status_0(fuzz):
    status, out, err = fuzz("--seconds", "600", "--inputs", "2500")
    assert (status, err) == (0, "packetcodec: findings and the corpus are in packetcodec-fuzz/pasture-v1\n")
    assert "Nothing found." in out
    for kind in ("good packets", "trails", "stale schema", "encoding base units"):
        assert kind in out


def test_a_finding_is_told_kept_replayed_first_and_played_again(fuzz):
    status, out, _ = fuzz(GATE, "--target", RUBBISH, "--seconds", "600", "--inputs", "1500")
    assert status == 1
    assert "Finding 1: decode: no answer of the protocol" in out
    assert "rule      section 6, Decoding" in out
    again = next(line for line in out.splitlines() if line.strip().startswith("again"))
    words = shlex.split(again)[2:]  # "again packetcodec" before them
    assert words[:2] == ["fuzz", GATE]
    status, out, _ = fuzz(*words[1:])
    assert status == 1
    assert "expected  bad_padding" in out
    kept = Path("packetcodec-fuzz/gate-v1")
    assert len((kept / "findings.jsonl").read_text(encoding="utf-8").splitlines()) == 1
    assert len(list((kept / "corpus").iterdir())) > 20
    status, out, _ = fuzz(GATE, "--target", RUBBISH, "--seconds", "600", "--inputs", "1")
    assert status == 1
    assert "(replayed)" in out
    status, out, _ = fuzz(GATE, "--seconds", "600", "--inputs", "1", "--json")
    assert (status, json.loads(out)["counts"]["replayed"] > 20) == (0, True)


def test_the_report_for_programs_has_all_of_it(fuzz):
    status, out, err = fuzz(
        GATE, "--target", RUBBISH, "--seconds", "600", "--inputs", "1500", "--json", "--no-folder", "--seed", "5"
    )
    report = json.loads(out)
    assert (status, err, report["seed"], report["schema"]) == (1, "", 5, "gate")
    assert report["inputs"] == sum(report["counts"].values())
    finding = report["findings"][0]
    assert {"section", "rule", "question", "expected", "got", "size", "seconds", "inputs", "count"} <= set(finding)
    assert report["play"][0].startswith("packetcodec fuzz ")
    assert not Path("packetcodec-fuzz").exists()


def test_a_question_of_an_encoder_can_be_played(fuzz):
    status, out, _ = fuzz(GATE, "--play", "encode_base 2 7 - 1 1")
    assert (status, "as it should be" in out) == (0, True)
    status, out, _ = fuzz(GATE, "--play", "")
    assert (status, "expected  too_short" in out) == (0, True)


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        ((GATE, "--target", "./no/such/decoder"), 2, "cannot be started"),
        (("no-such.toml",), 2, "no-such.toml"),
        ((GATE, "--seconds", "0"), 2, "--seconds"),
        ((GATE, "--seconds", "nan"), 2, "--seconds: nan is no number"),
        ((GATE, "--play", "xy"), 2, "xy"),
        ((GATE, "--play", "speak 1"), 2, "speak"),
        ((GATE, "--target", ""), 2, "--target"),
    ],
)
def test_bad_input_is_one_clear_line(fuzz, arguments, status, words):
    found, _, err = fuzz(*arguments)
    assert found == status
    assert words in err
    assert len(err.strip().splitlines()) == 1


def was_started_in(folder, process):
    try:
        return f"STARTED_IN={folder}".encode() in (process / "environ").read_bytes()
    except OSError:  # it ended meanwhile, or is none of ours
        return False


@pytest.mark.slow
@pytest.mark.parametrize(
    ("does", "status"),
    [
        ("prints rubbish until Ctrl-C", 1),
        ("is asked again about its rubbish until Ctrl-C", 1),
        ("is right until Ctrl-C", 130),
    ],
)
def test_what_was_found_before_an_interrupt_is_told_and_kept(tmp_path, does, status):
    code = "from packetcodec.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code, "fuzz", GATE, "--target", RUBBISH.replace("prints rubbish", does), "--seconds", "600"],
        cwd=tmp_path, capture_output=True, text=True, check=False, env={**os.environ, "STARTED_IN": str(tmp_path)},
    )  # fmt: skip
    assert (done.returncode, "Traceback" in done.stderr) == (status, False)
    assert "Stopped before the time was up: interrupted" in done.stdout
    assert ("Finding 1: decode: no answer of the protocol" in done.stdout) == (status == 1)
    kept = tmp_path / "packetcodec-fuzz" / "gate-v1"
    assert str(kept.relative_to(tmp_path)) in done.stderr
    assert (kept / "findings.jsonl").is_file() == (status == 1)
    assert not any(map(functools.partial(was_started_in, tmp_path), Path("/proc").glob("[0-9]*")))


@pytest.mark.slow
def test_the_self_test_counts_what_is_found_and_names_the_lines_of_the_rest(fuzz, monkeypatch):
    shrunk = functools.partial(measured.self_test, seconds=600, differential=1000)
    monkeypatch.setattr(measured, "self_test", shrunk)
    monkeypatch.setattr(room, "_PREPARED", 12)
    tool("gcc")
    status, out, _ = fuzz(GATE, "--self-test", "--sample", "8", "--seed", "2", "--json")
    module, c = json.loads(out)["targets"]
    assert (module["target"], c["target"]) == ("python-module", "c")
    for report in (module, c):
        assert sum(report[key] for key in ("killed", "survived", "equivalent", "invalid", "unreached")) == 8
        assert report["killed"] >= 2
        assert all(mutant["line"] > 1 and mutant["was"] != mutant["now"] for mutant in report["mutants"])
    assert status == (1 if module["survived"] or c["survived"] else 0)
    status, out, _ = fuzz(GATE, "--self-test", "--sample", "2", "--target", "c")
    assert "c, seed 0: 2 changes, one at a time" in out
    assert "make a difference were found" in out
    status, _, err = fuzz(GATE, "--self-test", "--target", "./mine")
    assert (status, "--target c or" in err) == (2, True)
