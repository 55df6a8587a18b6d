r"""A finding: the questions that a target answers wrongly, what was expected, and how it was found.

Owns no rule: `packetcodec.fuzz.judge` says when two wrong answers are the same finding.

>>> finding = Finding("decode: it died", "6", "", "noise", "decode 11\ndecode 12", "too_short\ntoo_short", "", "", "mine")
>>> finding.size, finding.last
(1, 'decode 12')
"""

from __future__ import annotations

import time
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from packetcodec.fuzz.judge import Verdict
from packetcodec.fuzz.protocol import FIELD, HELD, REFUSED
from packetcodec.fuzz.spec_sections import RULES

if TYPE_CHECKING:
    from collections.abc import Callable

    from packetcodec.fuzz.report import Report

#: So many questions of a sequence stand in a report for programs; all of them stand in the folder.
_SHOWN = 50


@dataclass(slots=True)
class Finding:
    """Something wrong.

    Attributes:
        mark: what is wrong, in a few words; findings with the same mark are one.
        section, rule: of the specification.
        kind: of the input that showed it first.
        question, expected: the smallest input that shows it, and what was expected. Of several lines, the last one shows it
            and those before it lead there.
        got: what came instead, for the last line of the question (for `held` and the two before it, for all).
        first: the question that showed it first.
        target: name of the target.
        seconds, inputs: how long the run had gone, and how many inputs it had tried.
        count: how often it was seen.
        alone: whether the questions show it when they are asked of a fresh target; else it could not be shown again.
        remarks: what the target wrote to stderr, or the traceback of a function, or "".
        times: how often the question is asked to show it: once, but for a leak.
        file: where the questions stand, one to a line, for those of many.
    """

    mark: str
    section: str
    rule: str
    kind: str
    question: str
    expected: str
    got: str
    first: str
    target: str
    seconds: float = 0.0
    inputs: int = 0
    count: int = 1
    alone: bool = True
    remarks: str = ""
    times: int = 1
    file: str = ""

    @property
    def last(self) -> str:
        """The question that shows it, behind those that lead there."""
        return self.question.rpartition("\n")[2]

    @property
    def size(self) -> int:
        """Bytes of the packet that shows it: the one asked about, or the expected one of an encoder's question."""
        lines = self.question.split("\n")
        text = lines[-2] if lines[-1] in {HELD, FIELD} and len(lines) > 1 else lines[-1]
        if text.startswith("decode "):
            return len(text.split()[1].replace("-", "")) // 2
        expected = self.expected.rpartition("\n")[2]
        return len(expected) // 2 if expected != REFUSED else 0

    def row(self) -> dict[str, Any]:
        """The finding for JSON."""
        lines, expected = self.question.split("\n"), self.expected.split("\n")
        short = {"question": "\n".join(lines[-_SHOWN:]), "expected": "\n".join(expected[-_SHOWN:])}
        return {**asdict(self), **short, "questions": len(lines), "size": self.size}


class Findings:
    """The findings of a run, each once.

    Attributes:
        marks: mark to finding.
        inputs: how many had been tried before the batch at hand.
    """

    def __init__(self, report: Report, answer: Callable[[str], str]) -> None:
        self.report = report
        self.answer = answer
        self.marks: dict[str, Finding] = {}
        self.inputs = 0
        self._start = time.monotonic()

    def seen(self, mark: str) -> bool:
        """Whether there is such a finding: then it is counted once more."""
        known = self.marks.get(mark)
        if known:
            known.count += 1
        return known is not None

    def make(self, verdict: Verdict, kind: str, question: str, answer: str, place: int = 0) -> Finding:
        """A finding as it stands before it is explained; it is not kept yet."""
        return Finding(
            mark=verdict.mark, section=verdict.rule.section, rule=str(verdict.rule), kind=kind, question=question,
            expected=answer, got="", first=question, target=self.report.target, seconds=time.monotonic() - self._start,
            inputs=self.inputs + place + 1,
        )  # fmt: skip

    def keep(self, finding: Finding) -> None:
        """Keep a finding."""
        self.marks[finding.mark] = finding
        self.report.findings.append(finding)

    def own(self, mark: str, rule: str, kind: str, question: str, got: str) -> Finding:
        """A finding that is not about one wrong answer; one that is known already is counted."""
        if not self.seen(mark):
            finding = self.make(Verdict(mark, RULES[rule]), kind, question, self.answer(question))
            finding.got = got
            self.keep(finding)
        return self.marks[mark]
