"""How good is the harness: mistakes planted one at a time, and whether they are found, how fast, with how small a packet.

Owns one rule: a mistake counts as found when the harness reports a wrong answer of the decoder, or of the encoder, that it
was planted in. Without a mistake the plain decoder and encoder are clean, or the self-test says so and ends.

>>> trials = self_test(names=["version ignored"])
>>> [(trial.place, trial.found) for trial in trials]
[('decoder', True)]
"""

from __future__ import annotations

import itertools
import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.generate import Batch, Inputs
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.run import run
from packetcodec.fuzz.targets import FunctionTarget
from tests.fuzz.planted.decoder import Plain
from tests.fuzz.planted.mistakes import MISTAKES_OF
from tests.support.proving_ground import ground

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator

    from packetcodec.wire import Plan

#: Inputs after which a mistake counts as missed.
MAX_INPUTS = 40_000


@dataclass(frozen=True, slots=True)
class Trial:
    """One mistake.

    Attributes:
        name: of the mistake.
        place: decoder or encoder.
        found: whether the harness found it.
        seconds, inputs: until it did.
        size: bytes of the smallest packet that shows it.
        smallest: the question.
        mark: what the harness said.
    """

    name: str
    place: str
    found: bool
    seconds: float
    inputs: int
    size: int = 0
    smallest: str = ""
    mark: str = ""

    def row(self) -> dict[str, Any]:
        """The trial for JSON."""
        return asdict(self)


def self_test(*, seed: int = 0, names: Collection[str]) -> list[Trial]:
    """Plant each mistake of these names and look for it.

    Raises:
        PacketcodecError: the plain decoder or encoder is wrong without a mistake.
    """
    plan = ground()
    prepared = Prepared(plan, seed)
    clean = run(FunctionTarget("plain", Plain(plan)), plan, seconds=60, most_inputs=3000, most_findings=1, rounds=prepared)
    if not clean.clean:
        finding = clean.findings[0]
        raise PacketcodecError(
            f"self-test: the plain decoder is wrong without a mistake: {finding.mark}: {finding.question} gives "
            f"{finding.got}, not {finding.expected}"
        )
    todo = [(place, name) for place, all_of in MISTAKES_OF.items() for name in all_of if name in names]
    return [plant(plan, place, name, prepared) for place, name in todo]


class Prepared:
    """The questions of a seed with their answers, worked out once for all mistakes."""

    def __init__(self, plan: Plan, seed: int) -> None:
        self._rounds = Inputs(Oracle(plan, "base"), seed=seed).rounds()
        self._known: list[Batch] = []

    def __iter__(self) -> Iterator[Batch]:
        for number in itertools.count():
            if number == len(self._known):
                self._known.append(next(self._rounds))
            yield self._known[number]


def plant(plan: Plan, place: str, name: str, prepared: Iterable[Batch]) -> Trial:
    """Plant one mistake and look for it with at most so many inputs, however long they take."""
    wrong, right = Plain(plan, name), Plain(plan)

    def answer(line: str) -> str:
        one = wrong if line.startswith("encode") == (place == "encoder") else right
        return one(line)

    report = run(
        FunctionTarget(name, answer), plan, seconds=math.inf, most_inputs=MAX_INPUTS, most_findings=1, rounds=prepared
    )
    if report.clean:
        return Trial(name, place, found=False, seconds=report.seconds, inputs=report.inputs)
    finding = report.findings[0]
    return Trial(
        name, place, found=True, seconds=finding.seconds, inputs=finding.inputs, size=finding.size,
        smallest=finding.question, mark=finding.mark,
    )  # fmt: skip
