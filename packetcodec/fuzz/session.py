"""What is known of a target while it is asked, and what is done with each group of answers.

Owns one rule: a target that falls is a finding, and the run goes on behind the question that it fell at.

>>> from packetcodec.fuzz.targets import FunctionTarget
>>> from packetcodec.starter import example_plan
>>> session = Session(FunctionTarget("deaf", lambda line: "?"), example_plan(), seed=0, until=float("inf"))
>>> session.report.skipped
['encode', 'encode_base', 'held', 'field', 'degrees']
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from packetcodec.errors import FAULTS
from packetcodec.fuzz.finding import Findings
from packetcodec.fuzz.generate import Batch, Inputs, asked_of
from packetcodec.fuzz.investigate import Investigator, at_the_end
from packetcodec.fuzz.judge import Verdict, judge, late_by_one, trouble
from packetcodec.fuzz.leaks import SLOPE, MemoryWatch, alarm
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.promises import Promises
from packetcodec.fuzz.protocol import DEGREES, FIELD, HELD, SYNC, UNKNOWN, Unit, encode_question, lines_of
from packetcodec.fuzz.report import Report
from packetcodec.fuzz.shrink import shrink
from packetcodec.fuzz.spec_sections import RULES
from packetcodec.fuzz.targets import TIME_UP
from packetcodec.vectors.valid import worked_examples

if TYPE_CHECKING:
    from collections.abc import Callable

    from packetcodec.fuzz.targets import Replies, Target
    from packetcodec.wire import Plan

#: Different findings after which a run stops: the target has more to say than anyone reads.
MAX_FINDINGS = 25
#: Falls (deaths, hangs) after which a run stops: each costs a start or a wait.
MAX_FALLS = 25
#: The mark of all that is wrong only after other questions: one state that is spoiled has many wrong answers.
AFTER_OTHERS = "wrong after other questions"
LEAKS = "memory that grows without end"
LATE_BY_ONE = "each answer is that of the question before"
#: Of the time, this part is for questions before memory and the end of the program are looked at.
_CHECK_UP = 0.8
#: Questions that are kept to find out which of them led to a wrong answer.
_HISTORY = 200_000
#: Slow answers of a batch that are asked again.
_SECOND_LOOKS = 3
_WORDS = {*FAULTS, "ok", "base", "refused", UNKNOWN}


class Session:
    """What is known of a target while it is asked."""

    def __init__(self, target: Target, plan: Plan, *, seed: int, until: float, max_findings: int = MAX_FINDINGS) -> None:
        self.start = time.monotonic()
        self.target = target
        self.plan = plan
        self.until = until
        self.report = Report(target.name, plan.name, plan.version, plan.fingerprint, seed)
        self.max_findings = max_findings
        self.falls = 0
        self.history: list[str] = []
        self.latest: dict[str, Batch] = {}
        self.memory = MemoryWatch()
        self.checked_up = False
        self.oracle = Oracle(plan, self._unit())
        self.found = Findings(self.report, self.oracle.answer)
        self.look = Investigator(target, self.oracle, self._known(), until)
        self.promises = Promises(plan, self.oracle.unit, self.found.own)

    # --- before ------------------------------------------------------------------------------------------------------

    def _unit(self) -> Unit:
        """How the target tells a good packet, seen from the everyday ones."""
        for layout in self.plan.layouts:
            # Twice: of a program whose answers are late by one, the second tells.
            replies = self.target.ask([asked_of(worked_examples(self.plan, layout)[0])] * 2, self.until)
            for unit in ("ok", "base"):
                if any(line.startswith(unit) for line in replies.lines):
                    self.report.unit = unit
                    return "base" if unit == "base" else "ok"
        return "ok"

    def _known(self) -> tuple[str, ...]:
        """The verbs that the target answers: those to which it does not say `?` for every layout."""
        verbs = ["decode"]
        for verb in ("encode", "encode_base"):
            for layout in self.plan.layouts:
                example = worked_examples(self.plan, layout)[0]
                numbers = example.codes if verb == "encode" else example.bases
                if self.target.ask([encode_question(verb, layout, numbers)], self.until).lines != (UNKNOWN,):
                    verbs.append(verb)
                    break
        good = [asked_of(worked_examples(self.plan, layout)[0]) for layout in self.plan.layouts]
        if any(self.target.ask([question, HELD], self.until).lines[1:] != (UNKNOWN,) for question in good):
            verbs.append(HELD)
        verbs += [verb for verb in (FIELD, f"{DEGREES} 4630.5 N") if self.target.ask([verb], self.until).lines != (UNKNOWN,)]
        verbs = [verb.partition(" ")[0] for verb in verbs]
        self.report.skipped = [verb for verb in ("encode", "encode_base", HELD, FIELD, DEGREES) if verb not in verbs]
        return tuple(verbs)

    def inputs(self, scale: int) -> Inputs:
        """The questions that suit the target."""
        return Inputs(self.oracle, seed=self.report.seed, verbs=self.look.known, scale=scale)

    # --- a batch -----------------------------------------------------------------------------------------------------

    def batch(self, batch: Batch, also: Callable[[str], str] | None = None) -> None:
        """Ask the questions of a batch and compare."""
        self.found.inputs = self.report.inputs
        self.report.counts[batch.kind] += len(batch.questions)
        self.report.statuses.update([_word(answer) for answer in batch.answers])
        self.promises.hold(batch, also)
        self.latest[batch.kind] = batch
        replies = self.target.ask(lines_of(batch.questions), self.until)
        if replies.trouble or replies.remarks or replies.slow or list(replies.lines) != lines_of(batch.answers):
            self._compare(batch, replies)
        self.history.extend(batch.questions)
        del self.history[:-_HISTORY]
        self.memory.look(self.report.inputs, self.target.memory())

    def ends(self, max_inputs: int | None) -> bool:
        """Whether the run is over; before it is, memory and the end of the program are looked at."""
        now, asked = time.monotonic(), self.report.inputs
        part = max((now - self.start) / max(1e-9, self.until - self.start), asked / (max_inputs or 1e18))
        if len(self.found.marks) >= self.max_findings:
            self.report.stopped = f"{len(self.found.marks)} different findings"
        elif self.falls >= MAX_FALLS:
            self.report.stopped = f"the target fell {self.falls} times"
        elif LATE_BY_ONE in self.found.marks:
            self.report.stopped = LATE_BY_ONE
        elif part >= _CHECK_UP and not self.checked_up:
            self._check_up()
        return bool(self.report.stopped) or part >= 1

    def end(self) -> Report:
        """End the target, and say what was found."""
        if not self.report.stopped and (mark := at_the_end(self.target.finish())) and mark not in self.found.marks:
            self.found.own(mark, "whole", "all", SYNC, "after all questions of the run")
            self.found.marks[mark].alone = False
        self.promises.count_up(self.report)
        self.report.seconds = time.monotonic() - self.start
        self.report.falls = self.falls
        return self.report

    # --- what is wrong -----------------------------------------------------------------------------------------------

    def _compare(self, batch: Batch, replies: Replies) -> None:
        """Find out which of the answers are wrong; where the target fell, ask on behind that place."""
        wanted = lines_of(batch.answers)
        if late_by_one(replies.lines, wanted):
            self.found.own(LATE_BY_ONE, "whole", batch.kind, "\n".join(batch.questions[:2]), "\n".join(replies.lines[:2]))
            return
        place = 0
        while True:
            place, spoiled = self._matching(batch, place, replies)
            self._second_looks(batch, replies)
            if not replies.trouble or spoiled or replies.trouble == TIME_UP:
                return
            self.falls += 1
            place = self._fell(batch, place, replies)
            if place >= len(batch.questions) or self.falls >= MAX_FALLS or time.monotonic() > self.until:
                return
            self.history = batch.questions[:place]
            replies = self.target.ask(lines_of(batch.questions[place:]), self.until)

    def _matching(self, batch: Batch, place: int, replies: Replies) -> tuple[int, bool]:
        """Compare the answers that came, from the question at `place` on: where they end, and whether a state is spoiled."""
        start = 0
        for question, answer in zip(batch.questions[place:], batch.answers[place:], strict=True):
            count = question.count("\n") + 1
            got = "\n".join(replies.lines[start : start + count])
            start += count
            if start > len(replies.lines) or not replies.aligned:
                return place, False
            place += 1
            if got != answer and (verdict := judge(self.oracle, question, answer, got, self.look.known)):
                if self._wrong(verdict, batch, place - 1, got, replies.remarks):
                    return place, True
                if len(self.found.marks) >= self.max_findings:
                    return len(batch.questions), True
        return place, False

    def _wrong(self, verdict: Verdict, batch: Batch, place: int, got: str, remarks: str = "") -> bool:
        """Make a finding of a wrong answer; whether the target's state is spoiled, so that what follows says nothing."""
        if self.found.seen(verdict.mark):
            return False
        question = batch.questions[place]
        finding = self.found.make(verdict, batch.kind, question, batch.answers[place], place)
        finding.got, finding.remarks = got, remarks
        try:
            finding.alone = alone = self.look.mark_of(question, fresh=True) == verdict.mark
        except KeyboardInterrupt:  # it was heard: it is told as it stands
            finding.alone = False
            self.found.keep(finding)
            raise
        if not alone and ": it " not in verdict.mark:
            finding.mark = AFTER_OTHERS
            if self.found.seen(AFTER_OTHERS):
                return True
        self.found.keep(finding)
        self.look.explain(finding, verdict.mark, [*self.history, *batch.questions[:place]], alone=alone)
        if not alone:
            self.target.restart()
            self.history.clear()
        return not alone

    def _fell(self, batch: Batch, place: int, replies: Replies) -> int:
        """The target fell at the question at `place`, or behind it if it keeps answers back: the place behind that."""
        question = batch.questions[min(place, len(batch.questions) - 1)]
        verdict = trouble(replies.trouble, question)
        if replies.aligned and self.found.seen(verdict.mark):
            return place + 1
        found = self.look.culprit(batch.questions[place:], lambda again: again.trouble not in {"", TIME_UP})
        if found:
            place, replies = place + found[0], found[1]
        number = min(place, len(batch.questions) - 1)
        verdict = trouble(replies.trouble, batch.questions[number])
        self._wrong(verdict, batch, number, replies.trouble, replies.remarks)
        return number + 1 if found or replies.aligned else len(batch.questions)

    # --- second looks ------------------------------------------------------------------------------------------------

    def _second_looks(self, batch: Batch, replies: Replies) -> None:
        """What is wrong though the answers are not: words on stderr that mean trouble, and slow answers."""
        said = alarm(replies.remarks)
        if said and not replies.trouble and not self.found.seen(mark := f"stderr: {said}"):
            found = self.look.culprit(batch.questions, lambda again: alarm(again.remarks) == said)
            number = found[0] if found else 0
            finding = self.found.own(mark, "whole", batch.kind, batch.questions[number], "words on stderr")
            finding.remarks = replies.remarks
            self.look.explain(finding, mark, [*self.history, *batch.questions[:number]])
        lines = lines_of(batch.questions)
        for line, _ in replies.slow[:_SECOND_LOOKS]:
            question = lines[min(line, len(lines) - 1)]
            if question in {HELD, FIELD}:
                continue
            verdict = slow_verdict(question)
            if time.monotonic() > self.until or self.found.seen(verdict.mark):
                continue
            if not any(pair := self.look.slowness(question)):
                continue
            finding = self.found.own(verdict.mark, "whole", batch.kind, question, describe_slowness(*pair))
            until = min(self.until, time.monotonic() + 1)
            smallest = shrink(self.oracle, question, lambda other: any(self.look.slowness(other)), until=until)
            finding.question, finding.expected = smallest, self.oracle.answer(smallest)

    def _check_up(self) -> None:
        """Before the end: does memory grow, and does the target end well?"""
        self.checked_up = True
        groups = [batch.questions for batch in self.latest.values()]
        if self.memory.slope() >= SLOPE and (found := self.look.leak(groups)):
            text, grown, times = found
            finding = self.found.own(LEAKS, "whole", "all", text, f"{grown:.0f} bytes more each time, asked {times:,} times")
            finding.times = times
        if not (mark := at_the_end(self.target.finish())) or self.found.seen(mark):
            return
        finding = self.found.own(mark, "whole", "all", SYNC, "said at the end of the run")
        finding.alone = False
        for group in groups:
            if self.look.end_mark("\n".join(group)) == mark:
                until = min(self.until, time.monotonic() + 3)
                text = shrink(self.oracle, "\n".join(group), lambda other: self.look.end_mark(other) == mark, until=until)
                finding.question, finding.expected, finding.alone = text, self.oracle.answer(text), True
                return


def slow_verdict(question: str) -> Verdict:
    """The verdict on a slow answer."""
    verb = question.rpartition("\n")[2].partition(" ")[0]
    return Verdict(f"{verb}: slow", RULES["encode" if verb.startswith("encode") else "whole"])


def describe_slowness(taken: float, usual: float) -> str:
    """What came of a slow answer."""
    return f"an answer after {taken * 1e3:,.0f} ms; {usual * 1e3:,.2f} ms is usual for this target"


def _word(answer: str) -> str:
    """A status, or "packet" for one in hex."""
    word = answer.partition("\n")[0].partition(" ")[0]
    return word if word in _WORDS else "packet"
