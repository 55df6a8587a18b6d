"""Fuzzing as one call, for a test suite of a user's own: it returns a clean report, or raises with what was found.

>>> from packetcodec.codec import Codec
>>> from packetcodec.starter import example_plan
>>> from packetcodec.fuzz.oracle import Oracle
>>> def ours(data):
...     status, *words = Oracle(example_plan()).decode(data).partition(" | ")[0].split()
...     return status, [None if word == "-" else int(word) for word in words[1:]]
>>> check(example_plan(), ours, max_inputs=20).clean
True
"""

from __future__ import annotations

import os
import shlex
from collections import Counter
from typing import TYPE_CHECKING, Any

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.corpus import Corpus, questions_of
from packetcodec.fuzz.describe import describe_report
from packetcodec.fuzz.program import Program
from packetcodec.fuzz.report import Report
from packetcodec.fuzz.run import play, run
from packetcodec.fuzz.targets import decoder_target, plan_of
from packetcodec.schema import Schema

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from packetcodec.fuzz.targets import Source, Target
    from packetcodec.wire import Plan


class WrongAnswersFault(AssertionError):
    """What was found, in words; `report` holds it."""

    def __init__(self, report: Report, command: str) -> None:
        super().__init__(describe_report(report, command))
        self.report = report


def check(
    schema: Source | str | os.PathLike[str],
    decode: Callable[..., Sequence[Any]] | None = None,
    encode: Callable[..., bytes] | None = None,
    *,
    command: Sequence[str] = (),
    seconds: float = 5.0,
    seed: int = 0,
    max_inputs: int | None = None,
    timeout: float = 2.0,
    played: str | None = None,
    again: str = "",
    folder: Path | None = None,
) -> Report:
    """Fuzz functions, or a program that speaks the line protocol.

    Args:
        schema: a schema file, a Schema, a Codec, or a Plan.
        decode: a function as `packetcodec.fuzz.decoder_target` takes it.
        encode: another one, or None.
        command: the program and its arguments, where no functions are given.
        seconds: how long to ask.
        seed: the same seed asks the same questions.
        max_inputs: questions after which the run ends though there is time left.
        timeout: seconds after which an answer is too late.
        played: ask this again and nothing else: a question of a report, or the file of many.
        again: the command that plays again the question behind it, for reports about functions.
        folder: where the questions of a finding are written that takes many.

    Raises:
        WrongAnswersFault: the report has findings.
        PacketcodecError: neither functions nor a program were given, the program cannot be started, or what is to be played
            is no question.
    """
    path = "SCHEMA"
    if isinstance(schema, str | os.PathLike):
        path = os.fspath(schema)
        schema = Schema.load(path)
    plan = plan_of(schema)
    question = None if played is None else questions_of(plan, played)
    target: Target
    if decode is not None:
        target = decoder_target(plan, decode, encode, timeout=timeout)
    elif command:
        target = Program(command, timeout=timeout)
        again = f"packetcodec fuzz {shlex.quote(path)} --target {shlex.quote(shlex.join(command))} --play"
    else:
        raise PacketcodecError("give decode, or the command of a program")
    try:
        if question is None:
            report = run(target, plan, seconds=seconds, seed=seed, max_inputs=max_inputs)
        else:
            report = _played(target, plan, question)
    finally:
        target.close()
    if not report.clean:
        if folder:
            Corpus(folder).add_findings(report.findings)
        raise WrongAnswersFault(report, again)
    return report


def _played(target: Target, plan: Plan, question: str) -> Report:
    """The report of one question asked again."""
    finding = play(target, plan, question)
    report = Report(target.name, plan.name, plan.version, plan.fingerprint, seed=0, counts=Counter(played=1))
    report.findings += [finding] if finding.count else []
    return report
