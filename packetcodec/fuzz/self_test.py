"""How good is the harness on this schema? Generated code is made wrong in one place after the other, and the harness asked.

Owns one rule: what counts. A mutant that does not compile is not counted. One that the harness finds is killed. Of one that
it does not find, a differential run decides: the mutant and the code as it was answer the same questions, of other seeds and
far more of them than a run asks. If they never differ, or a compiler makes the same machine code of both, the mutant is
equivalent; else it survived.

>>> Tally(killed=199, survived=1, equivalent=20).reach
0.995
"""

from __future__ import annotations

import subprocess
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any, Self

from packetcodec.emit import HARNESSES
from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.compiled import build
from packetcodec.fuzz.generate import Inputs
from packetcodec.fuzz.judge import judge
from packetcodec.fuzz.mutants import Mutant, mutants
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.targets import plan_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from packetcodec.emit import Harness
    from packetcodec.fuzz.program import Program
    from packetcodec.fuzz.targets import Source

#: Batches that are prepared, more than are asked in the seconds of one mutant.
_PREPARED = 500
_VERBS = {"base": ("encode_base", "held", "field", "degrees"), "ok": ("encode_base", "held")}
#: Seconds after which a differential run is ended: a mutant that goes round for ever.
_LONG = 600


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of a mutant.

    Attributes:
        mutant: the change.
        outcome: killed, survived, equivalent, or invalid for one that does not compile.
        seconds, inputs: until it was killed.
        why: the question that showed it, or how it is known to be equivalent.
    """

    mutant: Mutant
    outcome: str
    seconds: float = 0.0
    inputs: int = 0
    why: str = ""

    def row(self) -> dict[str, Any]:
        """The trial for JSON."""
        change = {"line": self.mutant.line, "was": self.mutant.was, "now": self.mutant.now}
        return {**change, "outcome": self.outcome, "seconds": round(self.seconds, 3), "inputs": self.inputs, "why": self.why}


@dataclass(slots=True)
class Tally:
    """How many mutants came to what; `trials` holds them all."""

    killed: int = 0
    survived: int = 0
    equivalent: int = 0
    invalid: int = 0
    trials: list[Trial] = field(default_factory=list)

    @property
    def reach(self) -> float:
        """The part of the mutants that are not equivalent which was found."""
        return self.killed / max(1, self.killed + self.survived)

    def add(self, trial: Trial) -> None:
        """Count a trial."""
        setattr(self, trial.outcome, getattr(self, trial.outcome) + 1)
        self.trials.append(trial)


def self_test(
    source: Source,
    target: str = "js",
    *,
    sample: int | None = None,
    seed: int = 0,
    seconds: float = 5.0,
    differential: int = 200_000,
    jobs: int = 2,
    progress: Callable[[Tally, int], None] | None = None,
) -> Tally:
    """Make the generated code wrong, one place at a time, and look for it.

    Args:
        source: a Schema, a Codec or a Plan: whose code.
        target: of `packetcodec.emit.HARNESSES`.
        sample: so many mutants, drawn by the seed; default: all.
        seed: of the questions and of the sample.
        seconds: how long each is looked for.
        differential: questions of a differential run.
        jobs: mutants that are looked at side by side.
        progress: called with the tally so far and the number of all.

    Raises:
        PacketcodecError: the tools are missing, or the code is wrong as it is.
    """
    plan = plan_of(source)
    harness = HARNESSES[target]
    with _Bench(harness, harness.write(plan), seconds) as bench:
        oracle = Oracle(plan, harness.unit)
        inputs = Inputs(oracle, seed=seed, verbs=_VERBS[harness.unit])
        bench.prepare(oracle, islice(inputs.rounds(), _PREPARED))
        others = Inputs(oracle, seed=seed + 1, verbs=_VERBS[harness.unit])
        bench.prepare_differential(others.questions(differential))
        todo = list(mutants(bench.source))
        if sample is not None and sample < len(todo):
            todo = sorted(Random(seed).sample(todo, sample), key=lambda mutant: mutant.start)  # noqa: S311  # no secret
        tally = Tally()
        with ThreadPoolExecutor(jobs) as pool:
            for trial in pool.map(bench.trial, todo):
                tally.add(trial)
                if progress:
                    progress(tally, len(todo))
        return tally


class _Bench:
    """The code as it was, the questions, and what is expected."""

    def __init__(self, harness: Harness, files: dict[str, str], seconds: float) -> None:
        self.harness = harness
        self.files = files
        self.seconds = seconds
        self.tool = harness.tool()
        self.name = next(name for name in files if name.endswith((".c", ".mjs")) and not name.startswith("harness"))
        self.source = files[self.name]
        self._home = tempfile.TemporaryDirectory(prefix="packetcodec-")
        self._lines = Path(self._home.name) / "questions"
        self._expected = b""
        self._code = self._object(self.source)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._home.cleanup()

    def prepare(self, oracle: Oracle, batches: Iterable[Any]) -> None:
        """The questions of a run, answered once for all mutants."""
        self.oracle = oracle
        self.batches = [
            (batch, "\n".join(batch.questions).split("\n"), "\n".join(batch.answers).split("\n")) for batch in batches
        ]
        trial = self.look(build(self.harness, self.files, tool=self.tool))
        if trial is not None:
            raise PacketcodecError(f"self-test: the code is wrong as it is: {trial[2]}")

    def prepare_differential(self, questions: Sequence[str]) -> None:
        """The questions of a differential run, and what the code as it was says to them."""
        self._lines.write_text("\n".join(questions) + "\n", encoding="utf-8")
        self._expected = self._answers(build(self.harness, self.files, tool=self.tool))

    def trial(self, mutant: Mutant) -> Trial:
        """What comes of a mutant."""
        files = {**self.files, self.name: mutant.of(self.source)}
        try:
            target = build(self.harness, files, tool=self.tool, timeout=1.0)
        except PacketcodecError as fault:
            if "does not compile" in str(fault):
                return Trial(mutant, "invalid")
            return Trial(mutant, "killed", why=str(fault).splitlines()[0])
        found = self.look(target, close=False)
        if found:
            target.close()
            return Trial(mutant, "killed", *found)
        if self._code and self._object(files[self.name]) == self._code:
            target.close()
            return Trial(mutant, "equivalent", why="the same machine code")
        if self._answers(target) == self._expected:
            count = self._expected.count(b"\n")
            return Trial(mutant, "equivalent", why=f"the same answers to {count:,} other questions")
        return Trial(mutant, "survived", why="other answers in a differential run")

    def look(self, target: Program, *, close: bool = True) -> tuple[float, int, str] | None:
        """Ask until an answer is wrong: seconds, inputs and the question; None where the time is up before."""
        start, asked = time.monotonic(), 0
        until = start + self.seconds
        try:
            for batch, lines, wanted in self.batches:
                replies = target.ask(lines, until)
                now = time.monotonic()
                asked += len(batch.questions)
                if now >= until:
                    return None
                if replies.trouble or list(replies.lines) != wanted:
                    question = self._wrong(batch, replies.lines) if not replies.trouble else replies.trouble
                    if question:
                        return now - start, asked, question
            return None
        finally:
            if close:
                target.close()

    def _wrong(self, batch: Any, lines: Sequence[str]) -> str:
        """The first question that was answered wrongly, or ""."""
        place = 0
        for question, answer in zip(batch.questions, batch.answers, strict=True):
            count = question.count("\n") + 1
            got = "\n".join(lines[place : place + count])
            place += count
            if got != answer and judge(self.oracle, question, answer, got, ("decode", *_VERBS[self.harness.unit])):
                return str(question)
        return ""

    def _answers(self, target: Program) -> bytes:
        """What a program says to the questions of the differential run."""
        try:
            with self._lines.open("rb") as questions:
                done = subprocess.run(  # noqa: S603  # the program that we built
                    target.command, stdin=questions, capture_output=True, check=False, timeout=_LONG
                )
        except subprocess.TimeoutExpired:
            return b""
        else:
            return done.stdout
        finally:
            target.close()

    def _object(self, source: str) -> bytes:
        """The machine code that the compiler makes of a source; nothing where nothing is compiled."""
        if not self.harness.build:
            return b""
        with tempfile.TemporaryDirectory(prefix="packetcodec-") as name:
            home = Path(name)
            for file, text in {**self.files, self.name: source}.items():
                (home / file).write_text(text, encoding="utf-8")
            command = [self.tool, "-std=c99", "-O2", "-c", self.name, "-o", "code"]
            subprocess.run(command, cwd=home, capture_output=True, check=False)  # noqa: S603  # files that we wrote
            return (home / "code").read_bytes() if (home / "code").is_file() else b""
