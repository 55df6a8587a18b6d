"""What a run did and found, for people and for programs.

Owns no rule: it counts.

>>> report = Report("python", "pasture", 1, "0123456789abcdef", seed=0)
>>> report.counts["noise"] += 3
>>> report.inputs, report.clean
(3, True)
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from packetcodec.fuzz.finding import Finding


@dataclass(slots=True)
class Report:
    """What a run did.

    Attributes:
        target, schema, version, fingerprint, seed, seconds: of the run.
        unit: how the target tells a good packet; "ok" raw codes, "base" base units.
        counts: kind of input to how many were tried.
        statuses: expected answer (a status, or "packet" and "refused" of an encoder) to how often it was asked for.
        findings: what was wrong, in the order found.
        skipped: kinds that the target does not answer.
        falls: how often the target died, did not answer in time, or lost step.
        stopped: why the run ended before its time, or "".
        chance: kind of input that only chance lets through to (packets that reached the check, those that passed it).
    """

    target: str
    schema: str
    version: int
    fingerprint: str
    seed: int
    seconds: float = 0.0
    unit: str = "ok"
    counts: Counter[str] = field(default_factory=Counter)
    statuses: Counter[str] = field(default_factory=Counter)
    findings: list[Finding] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)
    falls: int = 0
    stopped: str = ""
    chance: dict[str, tuple[int, int]] = field(default_factory=dict)

    @property
    def inputs(self) -> int:
        """Questions asked, those of the search for the smallest packet not counted."""
        return sum(self.counts.values())

    @property
    def clean(self) -> bool:
        """Whether nothing was found."""
        return not self.findings

    def row(self) -> dict[str, Any]:
        """The report for JSON."""
        named = ("target", "schema", "version", "fingerprint", "seed")
        return {
            **{name: getattr(self, name) for name in named},
            "seconds": round(self.seconds, 3),
            "inputs": self.inputs,
            "counts": dict(self.counts),
            "expected_answers": dict(self.statuses),
            "not_answered": self.skipped,
            "falls": self.falls,
            "stopped": self.stopped,
            "reached_and_passed_the_check": {kind: list(pair) for kind, pair in self.chance.items()},
            "findings": [finding.row() for finding in self.findings],
        }
