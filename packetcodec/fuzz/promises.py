"""What the schema itself promises, held against what is expected of every target: the check, and what is always true.

Owns one rule: the guarantee of the check is held against the expected answers themselves. A packet with fewer wrong bits
than the Hamming distance is never good.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from packetcodec.errors import FAULTS
from packetcodec.fuzz.generate import CHANCE, NOTICED, Batch
from packetcodec.fuzz.invariants import BrokenInvariantError, noise_is_missed_no_more_often_than_promised
from packetcodec.fuzz.protocol import SYNC

if TYPE_CHECKING:
    from collections.abc import Callable

    from packetcodec.fuzz.report import Report
    from packetcodec.wire import Plan

#: Statuses that are given before the check is looked at.
_BEFORE_CHECK = frozenset(FAULTS[: FAULTS.index("bad_check")])
#: Packets of a batch that the invariants are tried on.
_SAMPLES = 10
#: Kinds of which all are tried: what no encoder writes, and a decoder may accept.
_BROKEN = ("broken trails",)


class Promises:
    """Counts what the check lets through, and tries the invariants.

    Args:
        plan: whose check.
        unit: how a good packet is told.
        found: called with a mark, the name of a rule, a kind of input, a question and what came.
    """

    def __init__(self, plan: Plan, unit: str, found: Callable[[str, str, str, str, str], Any]) -> None:
        self.plan = plan
        self.unit = unit
        self.found = found
        self.chance: dict[str, tuple[int, int]] = {}
        self._twice = any(low.two_ways for layout in plan.layouts for _, _, low in layout.low_fields)

    def hold(self, batch: Batch, also: Callable[[str], str] | None = None) -> None:
        """Hold a batch of expected answers to the promises; `also` says what else a question breaks."""
        # With low bits, an error that moves a code over a multiple of its modulus changes the high part too: chance decides.
        if self.plan.crc and batch.kind in NOTICED and not self.plan.has_low_bits:
            for question, answer in zip(batch.questions, batch.answers, strict=True):
                if answer.startswith(self.unit):
                    self.found("the check missed what it always notices", "detects", batch.kind, question, answer)
        elif self.plan.crc and batch.kind in CHANCE:
            reached, passed = self.chance.get(batch.kind, (0, 0))
            words = [answer.partition(" ")[0] for answer in batch.answers]
            reached += sum(word not in _BEFORE_CHECK for word in words)
            passed += sum(word not in _BEFORE_CHECK and word != "bad_check" for word in words)
            self.chance[batch.kind] = reached, passed
        samples = len(batch.questions) if batch.kind in _BROKEN else _SAMPLES
        for question in batch.questions[:: max(1, len(batch.questions) // samples)] if also else ():
            if also and question.startswith("decode ") and (broken := also(question)):
                self.found(f"not true: {broken.partition(':')[0]}", "whole", batch.kind, question, broken)

    def count_up(self, report: Report) -> None:
        """What the check let through by chance, and whether that is more than it promises."""
        report.chance = self.chance
        for kind, (reached, passed) in self.chance.items():
            try:
                noise_is_missed_no_more_often_than_promised(
                    self.plan, passed, reached, doubled=kind == "long bursts" or self._twice
                )
            except BrokenInvariantError as broken:
                self.found("the check misses more than it promises", "undetected", kind, SYNC, str(broken))
