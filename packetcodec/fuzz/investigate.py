"""From a wrong answer to a finding that can be shown again: which questions does it take, and how few?

Owns one rule: nothing is blamed on a question before a fresh target, asked that question alone, shows it again. What it does
not show alone is looked for among the questions before it; what takes a second look (slow answers, memory, what is said at
the end) gets one here.

>>> from packetcodec.fuzz.oracle import Oracle
>>> from packetcodec.fuzz.targets import FunctionTarget
>>> from packetcodec.starter import example_plan
>>> look = Investigator(FunctionTarget("deaf", lambda line: "too_short"), Oracle(example_plan()))
>>> look.mark_of("decode 21")
'decode: too_short instead of unknown_version'
"""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING

from packetcodec.fuzz.generate import asked_of
from packetcodec.fuzz.judge import Verdict, judge, trouble
from packetcodec.fuzz.leaks import LEAK, alarm
from packetcodec.fuzz.protocol import encode_question
from packetcodec.fuzz.shrink import shrink
from packetcodec.fuzz.spec_sections import RULES
from packetcodec.fuzz.targets import SLOW, TIME_UP, Replies
from packetcodec.vectors.valid import encodings, worked_examples

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Sequence

    from packetcodec.fuzz.finding import Finding
    from packetcodec.fuzz.oracle import Oracle
    from packetcodec.fuzz.targets import Target

#: An answer is slow that takes so many times as long as the slowest usual one of the target (and longer than `SLOW`).
_TIMES_AS_LONG = 10
#: Seconds for one finding: a quarter of the time that is left, but at least and at most so many.
_EACH = 3.0, 30.0
#: What the questions before it do not show when asked once, they may show when asked up to so many times.
_REPEATED = 17
#: Questions with which a leak is measured.
_MANY = 3000


class Investigator:
    """Asks again.

    Attributes:
        known: verbs that the target answers.
        until: when to stop, as a time of `time.monotonic`.
    """

    def __init__(self, target: Target, oracle: Oracle, known: Collection[str] = (), until: float = math.inf) -> None:
        self.target = target
        self.oracle = oracle
        self.known = known
        self.until = until
        self._usual_seconds: dict[str, float] = {}

    # --- what is wrong -----------------------------------------------------------------------------------------------

    def verdict(self, text: str, replies: Replies) -> Verdict | None:
        """What is wrong with the answers to questions that were asked together."""
        lines = text.split("\n")
        if replies.trouble:
            if replies.trouble == TIME_UP:
                return None
            return trouble(replies.trouble, lines[min(len(replies.lines), len(lines) - 1)])
        found = judge(self.oracle, text, self.oracle.answer(text), "\n".join(replies.lines), self.known)
        said = alarm(replies.remarks)
        return found or (Verdict(f"stderr: {said}", RULES["whole"]) if said else None)

    def mark_of(self, text: str, *, fresh: bool = False) -> str:
        """What is wrong with the answers to these questions, or ""."""
        if fresh:
            self.target.restart()
        verdict = self.verdict(text, self.target.ask(text.split("\n"), self.until))
        return verdict.mark if verdict else ""

    # --- which questions it takes ------------------------------------------------------------------------------------

    def _share(self) -> float:
        now = time.monotonic()
        return min(self.until, now + min(_EACH[1], max(_EACH[0], (self.until - now) / 4)))

    def explain(self, finding: Finding, mark: str, history: Sequence[str], *, alone: bool | None = None) -> None:
        """Find the smallest questions that show a finding, and write them into it."""
        until = self._share()
        if alone is None:
            alone = self.mark_of(finding.question, fresh=True) == mark
        text: str | None = finding.question if alone else self._led_there(finding.question, mark, history, until)
        finding.alone = text is not None
        if text is None:
            return
        smallest = text
        if alone:  # one process is quicker than many; what it says is checked with a fresh one
            smallest = shrink(self.oracle, text, lambda other: self.mark_of(other) == mark, until=until)
        if not alone or self.mark_of(smallest, fresh=True) != mark:
            smallest = shrink(self.oracle, text, lambda other: self.mark_of(other, fresh=True) == mark, until=until)
        self.show(finding, smallest)

    def show(self, finding: Finding, text: str) -> None:
        """Ask once more and write down what comes."""
        self.target.restart()
        replies = self.target.ask(text.split("\n"), self.until)
        finding.question, finding.expected = text, self.oracle.answer(text)
        if (verdict := self.verdict(text, replies)) and verdict.mark == finding.mark:
            finding.section, finding.rule = verdict.rule.section, str(verdict.rule)
        if replies.trouble != TIME_UP:
            finding.got = replies.trouble or "\n".join(replies.lines[-3 if text.endswith("held") else -1 :])
        finding.remarks = replies.remarks or finding.remarks

    def _led_there(self, question: str, mark: str, history: Sequence[str], until: float) -> str | None:
        """The questions before it that it takes: so many of the last ones as are needed, or all of them several times."""
        size = 1
        while history and time.monotonic() < until and size < _REPEATED * len(history):
            text = "\n".join([*list(history[-size:]) * max(1, size // len(history)), question])
            if self.mark_of(text, fresh=True) == mark:
                return text
            size *= 4
        return None

    def culprit(self, questions: Sequence[str], shows: Callable[[Replies], bool]) -> tuple[int, Replies] | None:
        """The first of these questions, asked one by one of a fresh target, whose answer shows it, and the answer."""
        self.target.restart()
        for number, text in enumerate(questions):
            replies = self.target.ask(text.split("\n"), self.until)
            if shows(replies):
                return number, replies
            if replies.trouble:
                return None
        return None

    # --- a second look -----------------------------------------------------------------------------------------------

    def slowness(self, text: str) -> tuple[float, float]:
        """Seconds that a question takes at least, and that a usual one takes; 0 and 0 for a question that is not slow."""
        verb = text.rpartition("\n")[2].partition(" ")[0]
        # On a busy machine an answer can take long by chance: the least of several, measured each time anew.
        seconds = max(min(self._seconds(question) for _ in range(5)) for question in self._usual(verb))
        self._usual_seconds[verb] = min(seconds, self._usual_seconds.get(verb, seconds))
        taken, usual = min(self._seconds(text) for _ in range(3)), self._usual_seconds[verb]
        return (taken, usual) if taken > max(SLOW, _TIMES_AS_LONG * usual) else (0.0, 0.0)

    def _usual(self, verb: str) -> list[str]:
        """Everyday questions, with trails and without: the slowest of them is what an answer may well take."""
        found = [example for layout in self.oracle.plan.layouts for example in worked_examples(self.oracle.plan, layout)]
        found += sorted(encodings(self.oracle.plan), key=lambda example: -len(example.points))[:3]
        if verb == "decode":
            return [asked_of(example) for example in found]
        numbers = [(example, example.bases if verb == "encode_base" else example.codes) for example in found]
        return [encode_question(verb, example.layout, some, example.points) for example, some in numbers]

    def _seconds(self, text: str) -> float:
        before = time.perf_counter()
        self.target.ask(text.split("\n"), self.until)
        return time.perf_counter() - before

    def growth(self, questions: Sequence[str], seconds: float) -> tuple[float, int]:
        """Bytes that the memory grows with each of these questions, asked again and again, and how often they were asked."""
        lines = "\n".join(questions).split("\n")
        asked, until = 0, min(self.until, time.monotonic() + seconds)
        self.target.ask(lines, self.until)
        before = self.target.memory()
        while asked < _MANY and time.monotonic() < until:
            if self.target.ask(lines, self.until).trouble:
                return 0.0, asked
            asked += len(questions)
        after = self.target.memory()
        return (max(0, after - before) / asked if asked and before and after else 0.0), asked

    def leak(self, batches: Iterable[Sequence[str]]) -> tuple[str, float, int] | None:
        """The question whose asking makes the memory grow most, by how much each time, and how often it was asked."""
        groups = list(batches)
        each = max(0.05, (self._share() - time.monotonic()) / 2 / max(1, len(groups)))
        found = max((self.growth(group, each)[0], number) for number, group in enumerate(groups))
        if found[0] < LEAK / 4:
            return None
        some = list(dict.fromkeys(groups[found[1]]))
        while len(some) > 1:  # the half that makes it grow more, again and again
            half = len(some) // 2
            some = max(some[:half], some[half:], key=lambda part: self.growth(part * (1 + 50 // len(part)), each)[0])
        grown, times = self.growth(some * 50, each)
        return (some[0], grown, times) if grown >= LEAK else None

    def end_mark(self, text: str) -> str:
        """What a fresh target does wrong when it ends after these questions, or ""."""
        self.target.restart()
        self.target.ask(text.split("\n"), self.until)
        return at_the_end(self.target.finish())


def at_the_end(said: Replies) -> str:
    """The mark of what a target said when it ended, or ""."""
    words = alarm(said.remarks) or said.trouble
    return f"at the end: {words}" if words else ""
