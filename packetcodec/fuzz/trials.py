"""What comes of a mutant: it is asked as a run of the harness asks, and where nothing is found, a differential run decides.

Owns one rule: how it is asked. The batches of a run are prepared once, with the answers that are expected. A differential
run asks other questions, and wilder ones: any number of a question may be another, as no run of the harness makes them.

>>> from random import Random
>>> wild(Random(7), "encode_base 1 7 42 | 465000000 98000000 - -")
'encode_base 1 7 8 | 465000001 196000000 - -'
"""

from __future__ import annotations

import itertools
import math
import subprocess
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.compiled import build
from packetcodec.fuzz.generate import Inputs
from packetcodec.fuzz.judge import judge
from packetcodec.fuzz.mutants import Mutant, mutants
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.protocol import lines_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from packetcodec.emit import Harness
    from packetcodec.fuzz.targets import Target
    from packetcodec.wire import Plan

#: Batches that are prepared, more than are asked in the seconds of one mutant.
_PREPARED = 500
_VERBS = {"base": ("encode_base", "held", "field", "degrees"), "ok": ("encode_base", "held")}
#: Lines of a differential run that are asked at a time.
_CHUNK = 2_000
#: After this part of its seconds a mutant that was not found gets its differential run: many never differ.
_SOON = 4
#: Seconds after which an answer of a mutant is too late.
_LATE = 1.0


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of a mutant.

    Attributes:
        mutant: the change.
        outcome: killed, survived, equivalent, invalid for one that does not compile, unreached where no question comes.
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


class Trials:
    """The code as it was, the questions, and what is expected.

    Args:
        harness: how the code is built and asked.
        plan: whose.
        seed: of the questions.
        seconds: how long a mutant is looked for.
        differential: questions of a differential run.

    Raises:
        PacketcodecError: the tools are missing, or the code is wrong as it is.
    """

    #: How the file ends of which mutants are made.
    endings: tuple[str, ...] = (".c", ".mjs")
    #: What the seconds of a mutant are counted by.
    clock = staticmethod(time.monotonic)

    def __init__(self, harness: Harness, plan: Plan, *, seed: int, seconds: float, differential: int) -> None:
        self.harness = harness
        self.files = harness.write(plan)
        sources = [name for name in self.files if name.endswith(self.endings) and not name.startswith("harness")]
        if not sources:
            raise PacketcodecError(
                f"self-test: no changes are made of code that ends otherwise than {', '.join(self.endings)}"
            )
        self.name = sources[0]
        self.source = self.files[self.name]
        self.seconds = seconds
        self.verbs = _VERBS[harness.unit]
        self.oracle = Oracle(plan, harness.unit)
        self.tool = harness.tool()
        self._code = self.machine_code(self.source)
        rounds = itertools.islice(Inputs(self.oracle, seed=seed, verbs=self.verbs).rounds(), _PREPARED)
        self.batches = [(batch, lines_of(batch.questions), lines_of(batch.answers)) for batch in rounds]
        target = self.target(self.source)
        if found := self.look(target):
            raise PacketcodecError(f"self-test: the code is wrong as it is: {found[2]}")
        random = Random(seed + 1)  # noqa: S311  # no secret
        others = Inputs(self.oracle, seed=seed + 1, verbs=self.verbs).questions(differential // 2)
        others += [wild(random, line) for line in others]
        self.chunks = [others[place : place + _CHUNK] for place in range(0, len(others), _CHUNK)]
        self.expected = [target.ask(chunk).lines for chunk in self.chunks]
        target.close()

    def mutants(self) -> Iterator[Mutant]:
        """All mutants of the code."""
        return mutants(self.source)

    def reached(self, mutant: Mutant) -> bool:
        """Whether a question comes to the place of a mutant, as far as that is known."""
        del mutant
        return True

    def target(self, source: str) -> Target:
        """The code with another source, to be asked.

        Raises:
            SyntaxError: it does not compile.
            PacketcodecError: it cannot be started.
        """
        try:
            return build(self.harness, {**self.files, self.name: source}, tool=self.tool, timeout=_LATE)
        except PacketcodecError as fault:
            if "does not compile" in str(fault):
                raise SyntaxError(str(fault)) from None
            raise

    def trial(self, mutant: Mutant) -> Trial:
        """What comes of a mutant."""
        if not self.reached(mutant):
            return Trial(mutant, "unreached")
        source = mutant.of(self.source)
        try:
            target = self.target(source)
        except SyntaxError:
            return Trial(mutant, "invalid")
        except PacketcodecError as fault:
            return Trial(mutant, "killed", why=str(fault).splitlines()[0])
        try:
            if found := self.look(target, self.seconds / _SOON):
                return Trial(mutant, "killed", *found)
            if self._code and self.machine_code(source) == self._code:
                return Trial(mutant, "equivalent", why="the same machine code")
            if question := self.difference(target):
                found = self.look(target)
                return Trial(mutant, "killed", *found) if found else Trial(mutant, "survived", why=question)
            count = sum(map(len, self.chunks))
            return Trial(mutant, "equivalent", why=f"the same answers to {count:,} other questions")
        finally:
            target.close()

    def look(self, target: Target, seconds: float | None = None) -> tuple[float, int, str] | None:
        """Ask until an answer is wrong: seconds, inputs and the question; None where the time (`seconds`) is up before."""
        start, asked = self.clock(), 0
        end = start + (self.seconds if seconds is None else seconds)
        for batch, lines, wanted in self.batches:
            replies = target.ask(lines)
            now = self.clock()
            asked += len(batch.questions)
            if now >= end:
                return None
            if replies.trouble or list(replies.lines) != wanted:
                question = self._wrong(batch, replies.lines) if not replies.trouble else replies.trouble
                if question:
                    return now - start, asked, question
        return None

    def _wrong(self, batch: Any, lines: Sequence[str]) -> str:
        """The first question that was answered wrongly, or ""."""
        place = 0
        for question, answer in zip(batch.questions, batch.answers, strict=True):
            count = question.count("\n") + 1
            got = "\n".join(lines[place : place + count])
            place += count
            if got != answer and judge(self.oracle, question, answer, got, ("decode", *self.verbs)):
                return str(question)
        return ""

    def difference(self, target: Target) -> str:
        """A question of the differential run that a mutant answers otherwise, or ""."""
        target.restart()
        for chunk, wanted in zip(self.chunks, self.expected, strict=True):
            replies = target.ask(chunk, math.inf)
            if replies.lines != wanted:
                pairs = itertools.zip_longest(chunk, replies.lines, wanted)
                return next(str(question) for question, got, answer in pairs if got != answer)
        return ""

    def machine_code(self, source: str) -> bytes:
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


def wild(random: Random, line: str) -> str:
    """A question to encode with other numbers here and there; any other question as it is."""
    verb, *words = line.split(" ")
    if verb != "encode_base":
        return line
    for place in range(1, len(words)):
        if words[place] not in {"-", "|"} and random.random() < 0.2:
            number = int(words[place])
            near = (number + 1, number - 1, -number, number * 2, number // 2)
            far = (-1, 0, 1, 1 << random.randrange(32), (1 << 31) - 1, -(1 << 31), random.randrange(1 << 31))
            words[place] = str(random.choice((*near, *far)))
    return " ".join([verb, *words])
