"""Coverage-guided fuzzers from the saved corpus, for a bounded time: libFuzzer on emitted C, atheris on the Python decoder.

They need clang and atheris: without them the tests are skipped on a user's machine, and fail where CI is set.
"""

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from packetcodec.emit.c.writer import write_c
from packetcodec.fuzz import Corpus, compile_plan, compiled_target, run
from packetcodec.fuzz.corpus import corpus_of
from packetcodec.fuzz.describe import describe_report
from packetcodec.schema import Schema
from packetcodec.starter import schema_text
from tests.fuzz.coverage.libfuzzer import libfuzzer_source
from tests.support.low_bits import TEXT as LOW_BITS
from tests.support.needs import demand, tool
from tests.support.proving_ground import GROUND

#: Inputs of one run; the budget counts inputs, not seconds, so that a busy machine tries no less.
C_RUNS, PYTHON_RUNS = 200_000, 2_000
SANITIZERS = "-fsanitize=fuzzer,address,undefined"
#: Starts the fuzzer as a child of a small shell. Linux counts the peak memory of the process that starts a program to the
#: program's own (getrusage, ru_maxrss), and libFuzzer reads that: from a test runner that grew, it would be out of memory.
SMALL_PARENT = ("sh", "-c", '"$@"; exit $?', "sh")


def runs(text):
    return int(re.search(r"Done (\d+) (?:runs|in)", text).group(1))


@pytest.mark.slow
@pytest.mark.parametrize("text", [schema_text(), GROUND, LOW_BITS], ids=["starter", "proving_ground", "low bits"])
def test_libfuzzer_finds_nothing_in_emitted_c_and_its_corpus_agrees_with_us(text, tmp_path):
    tool("clang")
    plan = compile_plan(Schema.parse(text))
    for name, source in {**write_c(plan), "target.c": libfuzzer_source(plan)}.items():
        (tmp_path / name).write_text(source, encoding="utf-8")
    folder = Corpus(tmp_path / "kept")
    folder.add_corpus(corpus_of(plan))
    before = len(list(folder.corpus.iterdir()))
    sources = sorted(path.name for path in tmp_path.glob("*.c"))
    build = ["clang", "-std=c99", "-g", "-O1", SANITIZERS, "-fno-sanitize-recover=all", *sources, "-o", "target"]
    made = subprocess.run(build, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stderr
    found = subprocess.run(
        [*SMALL_PARENT, "./target", "kept/corpus", f"-runs={C_RUNS}", "-max_len=64", "-seed=1", "-rss_limit_mb=1024"],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert found.returncode == 0, found.stderr[-2000:]
    assert runs(found.stderr) >= C_RUNS
    assert len(list(folder.corpus.iterdir())) > before, "nothing new was reached"
    # What the fuzzer thought worth keeping is asked of the emitted C and compared with our own answers.
    target = compiled_target("c-sanitized", plan)
    report = run(target, plan, seconds=1, first=folder.questions(plan), max_inputs=1)
    target.close()
    assert report.clean, describe_report(report)


@pytest.mark.slow
def test_libfuzzer_finds_what_is_planted(tmp_path):
    tool("clang")
    plan = compile_plan(Schema.parse(schema_text()))
    files = write_c(plan)
    source = next(name for name in files if name.endswith(".c"))
    assert "BAD_PADDING" in files[source]
    files[source] = re.sub(
        r"(return \w+_BAD_PADDING;)", "{ volatile uint8_t x = data[length]; (void)x; \\1 }", files[source]
    )
    for name, text in {**files, "target.c": libfuzzer_source(plan)}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    Corpus(tmp_path / "kept").add_corpus(corpus_of(plan))
    build = ["clang", "-std=c99", "-g", "-O1", SANITIZERS, source, "target.c", "-o", "target"]
    made = subprocess.run(build, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stderr
    found = subprocess.run(
        [*SMALL_PARENT, "./target", "kept/corpus", "-runs=5000000", "-seed=1"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert found.returncode != 0
    assert "heap-buffer-overflow" in found.stderr


@pytest.mark.slow
@pytest.mark.parametrize("text", [GROUND, LOW_BITS], ids=["proving_ground", "low bits"])
def test_atheris_finds_nothing_in_the_python_decoder(text, tmp_path):
    demand(importlib.util.find_spec("atheris"), "atheris is not installed (extra dev)")
    schema = tmp_path / "schema.toml"
    schema.write_text(text, encoding="utf-8")
    folder = Corpus(tmp_path / "kept")
    folder.add_corpus(corpus_of(compile_plan(Schema.parse(text))))
    script = Path(__file__).with_name("decode_with_atheris.py")
    options = [f"-runs={PYTHON_RUNS}", "-max_len=64", "-seed=1"]
    command = [*SMALL_PARENT, sys.executable, str(script), str(schema), str(folder.corpus), *options]
    root = {"PYTHONPATH": str(Path(__file__).parents[3])}
    found = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False, env={**os.environ, **root})
    assert found.returncode == 0, found.stdout + found.stderr[-2000:]
    assert runs(found.stderr) >= PYTHON_RUNS
