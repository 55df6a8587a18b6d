"""One run: questions asked of a target until the time is up, answers compared, what is wrong made small and told.

Owns two rules. A target that falls is a finding, and the run goes on. And the guarantee of the check is held against the
right answers themselves: a packet with fewer wrong bits than the Hamming distance is never good.

>>> from packetcodec.schema import Schema
>>> from packetcodec.starter import schema_text
>>> from packetcodec.fuzz.targets import python_target
>>> schema = Schema.parse(schema_text())
>>> report = run(python_target(schema), compile_plan(schema), seconds=60, most_inputs=300)
>>> report.clean, report.inputs >= 300
(True, True)
"""

from __future__ import annotations

import itertools
import math
import time
from dataclasses import replace
from typing import TYPE_CHECKING

from packetcodec.errors import FAULTS, PacketcodecError
from packetcodec.fuzz.generate import CHANCE, NOTICED, Batch, Inputs
from packetcodec.fuzz.invariants import BrokenInvariantError, noise_is_missed_no_more_often_than_promised
from packetcodec.fuzz.judge import Finding, Verdict, judge, trouble
from packetcodec.fuzz.leaks import LEAK, MemoryWatch, alarm
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.protocol import HELD, SYNC, UNKNOWN, Unit, decode_question, encode_question
from packetcodec.fuzz.report import Report
from packetcodec.fuzz.shrink import shrink
from packetcodec.fuzz.spec_sections import RULES
from packetcodec.vectors.valid import worked_examples
from packetcodec.wire import Plan, compile_plan

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from packetcodec.fuzz.targets import Replies, Target

#: Different findings after which a run stops: the target has more to say than anyone reads.
MAX_FINDINGS = 25
#: Falls (deaths, hangs) after which a run stops: each costs a start or a wait.
MAX_FALLS = 25
#: Statuses that are given before the check is looked at.
_BEFORE_CHECK = frozenset(FAULTS[: FAULTS.index("bad_check")])
#: Packets of a batch that the invariants are tried on.
_SAMPLES = 10
#: Kinds of which all are tried: what no encoder writes, and a decoder may accept.
_BROKEN = ("broken trails",)
_WORDS = {*FAULTS, "ok", "base", "refused", UNKNOWN}


def run(
    target: Target,
    plan: Plan,
    *,
    seconds: float = 5.0,
    seed: int = 0,
    first: Iterable[str] = (),
    most_inputs: int | None = None,
    most_findings: int = MAX_FINDINGS,
    scale: int = 1,
    rounds: Iterable[Batch] | None = None,
    also: Callable[[str], str] | None = None,
    progress: Callable[[Report], None] | None = None,
) -> Report:
    """Ask a target for so many seconds and report.

    Args:
        target: what is asked.
        plan: what it is asked about.
        seconds: how long new questions are asked; the search for smaller packets comes on top.
        seed: the same seed asks the same questions in the same order.
        first: questions asked before all others: those of earlier findings, and a corpus.
        most_inputs: questions after which the run ends though there is time left.
        most_findings: different findings after which it ends.
        scale: how large the groups of questions are; larger ones suit faster targets.
        rounds: the questions, where they are prepared already; default: those of the seed.
        also: what else must hold of some packets: question to what it breaks, or "".
        progress: called now and then with the report so far.

    Raises:
        PacketcodecError: the target answers nothing at all.
    """
    return Session(target, plan, seed, most_findings, progress, also).go(seconds, first, most_inputs, scale, rounds)


class Session:
    """One run, or one question played again."""

    def __init__(
        self,
        target: Target,
        plan: Plan,
        seed: int,
        most_findings: int,
        progress: Callable[[Report], None] | None = None,
        also: Callable[[str], str] | None = None,
    ) -> None:
        self.target = target
        self.plan = plan
        self.report = Report(target.name, plan.name, plan.version, plan.fingerprint, seed)
        self.most_findings = most_findings
        self.progress = progress
        self.also = also
        self.falls = 0
        self.inputs = 0
        self.deadline = math.inf
        self.marks: dict[str, Finding] = {}
        self.memory = MemoryWatch()
        self.start = time.monotonic()

    def go(
        self,
        seconds: float,
        first: Iterable[str],
        most_inputs: int | None,
        scale: int,
        prepared: Iterable[Batch] | None,
    ) -> Report:
        self.oracle = Oracle(self.plan, self.unit())
        verbs, holds = self._abilities()
        inputs = Inputs(self.oracle, seed=self.report.seed, verbs=verbs, held=holds, scale=scale)
        rounds: Iterator[Batch] = inputs.rounds() if prepared is None else iter(prepared)
        asked = list(first)
        if asked:
            earlier = Batch("replayed", asked, list(map(self.oracle.answer, asked)))
            rounds = itertools.chain((earlier,), rounds)
        self.start = time.monotonic()
        self.deadline = self.start + seconds
        for batch in rounds:
            self._batch(batch)
            self.memory.look(self.target.memory())
            if self.progress:
                self.progress(self.report)
            if time.monotonic() > self.deadline or (most_inputs and self.report.inputs >= most_inputs):
                break
            if len(self.marks) >= self.most_findings:
                self.report.stopped = f"{len(self.marks)} different findings"
                break
            if self.falls >= MAX_FALLS:
                self.report.stopped = f"the target fell {self.falls} times"
                break
        self._leak()
        self._chance()
        self.report.seconds = time.monotonic() - self.start
        self.report.starts = getattr(self.target, "starts", 0)
        return self.report

    # --- before ------------------------------------------------------------------------------------------------------

    def unit(self) -> Unit:
        """How the target tells a good packet, seen from the everyday ones."""
        said = ""
        for layout in self.plan.layouts:
            replies = self.target.ask([decode_question(worked_examples(self.plan, layout)[0].data)])
            said = said or replies.trouble or (replies.lines or ("",))[0]
            if replies.lines and replies.lines[0].startswith("base"):
                self.report.unit = "base"
                return "base"
            if replies.lines and replies.lines[0].startswith("ok"):
                return "ok"
            if replies.trouble and not replies.lines and "no answer" in replies.trouble:
                raise PacketcodecError(
                    f"{self.target.name}: {replies.trouble} to its first question: it must read lines from stdin, answer "
                    "each with a line on stdout, flush, and answer ? to what it does not know"
                )
        return "ok"

    def _abilities(self) -> tuple[tuple[str, ...], bool]:
        """Which questions of an encoder the target answers, and whether it tells what it holds."""
        verbs = []
        for verb in ("encode", "encode_base"):
            for layout in self.plan.layouts:
                example = worked_examples(self.plan, layout)[0]
                numbers = example.codes if verb == "encode" else example.bases
                replies = self.target.ask([encode_question(verb, layout, numbers)])
                if replies.lines[:1] not in {(), (UNKNOWN,)}:
                    verbs.append(verb)
                    break
        good = decode_question(worked_examples(self.plan, self.plan.layouts[0])[0].data)
        replies = self.target.ask([good, HELD])
        holds = len(replies.lines) == 2 and replies.lines[1] != UNKNOWN
        known = (*verbs, *((HELD,) if holds else ()))
        self.report.skipped = [verb for verb in ("encode", "encode_base", HELD) if verb not in known]
        return tuple(verbs), holds

    # --- a batch -----------------------------------------------------------------------------------------------------

    def _batch(self, batch: Batch) -> None:
        self.report.counts[batch.kind] += len(batch.questions)
        encoding = batch.kind.startswith("encoding")
        if encoding:
            refused = batch.answers.count("refused")
            self.report.statuses["refused"] += refused
            self.report.statuses["packet"] += len(batch.answers) - refused
        else:
            self.report.statuses.update([_word(answer) for answer in batch.answers])
        if self.plan.crc:
            self._guarantee(batch)
        if self.also:
            self._invariants(batch, self.also)
        lines, wanted = _flat(batch.questions), _flat(batch.answers)
        replies = self.target.ask(lines)
        if not replies.trouble and list(replies.lines) == wanted:
            if replies.remarks:
                self._alarm(batch, replies)
            return
        self._compare(batch, replies)

    def _guarantee(self, batch: Batch) -> None:
        """Hold the check to its promise: on the right answers, which are the same for every target."""
        if batch.kind in NOTICED:
            for question, answer in zip(batch.questions, batch.answers, strict=True):
                if answer.startswith(self.oracle.unit):
                    self._own("the check missed what it always notices", "detects", batch.kind, question, answer)
        elif batch.kind in CHANCE:
            reached, passed = self.report.chance.get(batch.kind, (0, 0))
            words = [answer.partition(" ")[0] for answer in batch.answers]
            reached += sum(word not in _BEFORE_CHECK for word in words)
            passed += sum(word not in _BEFORE_CHECK and word != "bad_check" for word in words)
            self.report.chance[batch.kind] = reached, passed

    def _chance(self) -> None:
        for kind, (reached, passed) in self.report.chance.items():
            try:
                noise_is_missed_no_more_often_than_promised(self.plan, passed, reached, doubled=kind == "long bursts")
            except BrokenInvariantError as broken:
                self._own("the check misses more than it promises", "undetected", kind, SYNC, str(broken))

    def _invariants(self, batch: Batch, also: Callable[[str], str]) -> None:
        """What is always true, on every so many packets of a batch."""
        samples = len(batch.questions) if batch.kind in _BROKEN else _SAMPLES
        for question in batch.questions[:: max(1, len(batch.questions) // samples)]:
            if question.startswith("decode ") and (broken := also(question)):
                self._own(f"not true: {broken.partition(':')[0]}", "whole", batch.kind, question, broken)

    def _own(self, mark: str, rule: str, kind: str, question: str, got: str) -> None:
        """A finding that is not about one answer of the target."""
        verdict = Verdict(mark, RULES[rule])
        if not self._known(verdict):
            finding = self.finding(verdict, kind, question, self.oracle.answer(question))
            finding.got = got
            self._keep(finding)

    def _compare(self, batch: Batch, replies: Replies) -> None:
        """Find out which of the answers are wrong; where the target fell, ask on behind that place."""
        place = 0
        while True:
            place = self._matching(batch, place, replies)
            if not replies.trouble:
                return
            self.falls += 1
            place = self._fell(batch, place, replies)
            if place >= len(batch.questions) or self.falls >= MAX_FALLS or time.monotonic() > self.deadline:
                return
            replies = self.target.ask(_flat(batch.questions[place:]))

    def _matching(self, batch: Batch, place: int, replies: Replies) -> int:
        """Compare the answers that came, from the question at `place` on; where they end."""
        if not replies.aligned:
            return place
        start = 0
        for question, answer in zip(batch.questions[place:], batch.answers[place:], strict=True):
            count = question.count("\n") + 1
            got = "\n".join(replies.lines[start : start + count])
            start += count
            if start > len(replies.lines):
                return place
            place += 1
            self.inputs = self.report.inputs - len(batch.questions) + place
            if got != answer:
                self._wrong(batch.kind, question, answer, got, replies.remarks)
                if len(self.marks) >= self.most_findings:
                    return len(batch.questions)
        return place

    def _fell(self, batch: Batch, place: int, replies: Replies) -> int:
        """The target fell: where its answers could be told apart at the question at `place`, else somewhere behind it.

        Asks one by one until the place is found, and returns the place behind it.
        """
        last = min(place + 1, len(batch.questions)) if replies.aligned else len(batch.questions)
        for number in range(place, last):
            self.inputs = self.report.inputs - len(batch.questions) + number + 1
            question, answer = batch.questions[number], batch.answers[number]
            again = self.target.ask(question.split("\n"))
            got = again.trouble or "\n".join(again.lines)
            if got != answer:
                self.falls += bool(again.trouble)
                self._wrong(batch.kind, question, answer, got, again.remarks or replies.remarks, fell=again.trouble)
            if again.trouble:
                return number + 1
        self._only_in_company(batch, place, replies)
        return last

    def _only_in_company(self, batch: Batch, place: int, replies: Replies) -> None:
        """A fall that the question alone does not cause: told with the questions before it."""
        question = batch.questions[min(place, len(batch.questions) - 1)]
        verdict = trouble(replies.trouble, question)
        if self._known(verdict):
            return
        finding = self.finding(verdict, batch.kind, question, batch.answers[min(place, len(batch.answers) - 1)])
        finding.got, finding.remarks, finding.alone = replies.trouble, replies.remarks, False
        finding.before = _flat(batch.questions[max(0, place - 50) : place])
        self._keep(finding)

    def _alarm(self, batch: Batch, replies: Replies) -> None:
        """The target answered well and wrote to stderr: a sanitizer's words are a finding."""
        said = alarm(replies.remarks)
        verdict = Verdict(f"sanitizer: {said}", RULES["whole"])
        if not said or self._known(verdict):
            return
        finding = self.finding(verdict, batch.kind, batch.questions[0], batch.answers[0])
        finding.got, finding.remarks, finding.alone = "words of a sanitizer on stderr", replies.remarks, False
        for question, answer in zip(batch.questions, batch.answers, strict=True):
            if alarm(self.target.ask(question.split("\n")).remarks):
                finding.question, finding.first, finding.expected, finding.alone = question, question, answer, True
                break
        self._keep(finding)

    def _leak(self) -> None:
        grown = self.memory.grown()
        if grown > LEAK and getattr(self.target, "starts", 1) == 1:
            finding = self.finding(Verdict("memory that grows without end", RULES["whole"]), "all", SYNC, UNKNOWN)
            finding.got = f"{grown / 2**20:.0f} MiB more at the end than after a quarter of the run"
            finding.alone = False
            self._keep(finding)

    # --- findings ----------------------------------------------------------------------------------------------------

    def _wrong(self, kind: str, question: str, answer: str, got: str, remarks: str, *, fell: str = "") -> None:
        verdict = trouble(fell, question) if fell else judge(self.oracle, question, answer, got)
        if verdict is None or self._known(verdict):
            return
        finding = self.finding(verdict, kind, question, answer)
        finding.got, finding.remarks = got, remarks
        self._keep(finding)
        if self._mark_of(question) != verdict.mark:
            finding.alone = False
            return
        smallest = shrink(self.oracle, question, lambda other: self._mark_of(other) == verdict.mark)
        finding.question, finding.expected = smallest, self.oracle.answer(smallest)
        replies = self.target.ask(smallest.split("\n"))
        finding.got = replies.trouble or "\n".join(replies.lines)
        finding.remarks = replies.remarks or finding.remarks

    def _mark_of(self, question: str) -> str:
        """What is wrong with the target's answer to a question asked alone, or ""."""
        replies = self.target.ask(question.split("\n"))
        if replies.trouble:
            return trouble(replies.trouble, question).mark
        verdict = judge(self.oracle, question, self.oracle.answer(question), "\n".join(replies.lines))
        return verdict.mark if verdict else ""

    def _known(self, verdict: Verdict) -> bool:
        known = self.marks.get(verdict.mark)
        if known:
            known.count += 1
        return known is not None

    def finding(self, verdict: Verdict, kind: str, question: str, answer: str) -> Finding:
        return Finding(
            mark=verdict.mark, section=verdict.rule.section, rule=str(verdict.rule), kind=kind, question=question,
            expected=answer, got="", first=question, target=self.target.name, seconds=time.monotonic() - self.start,
            inputs=self.inputs,
        )  # fmt: skip

    def _keep(self, finding: Finding) -> None:
        self.marks[finding.mark] = finding
        self.report.findings.append(finding)


def _word(answer: str) -> str:
    """A status, or "packet" for one in hex."""
    word = answer.partition("\n")[0].partition(" ")[0]
    return word if word in _WORDS else "packet"


def _flat(texts: Iterable[str]) -> list[str]:
    return "\n".join(texts).split("\n")


def play(target: Target, plan: Plan, question: str) -> Finding:
    """Ask one question again: the finding that it still is; with a count of 0, the answer is right."""
    again = Session(target, plan, 0, 1)
    again.oracle = Oracle(plan, again.unit())
    answer = again.oracle.answer(question)
    replies = target.ask(question.split("\n"))
    got = replies.trouble or "\n".join(replies.lines)
    verdict = trouble(replies.trouble, question) if replies.trouble else judge(again.oracle, question, answer, got)
    finding = again.finding(verdict or Verdict("as it should be", RULES["accepted"]), "played", question, answer)
    finding.got, finding.remarks = got, replies.remarks
    return finding if verdict else replace(finding, count=0)


__all__ = ["MAX_FINDINGS", "Report", "compile_plan", "play", "run"]
