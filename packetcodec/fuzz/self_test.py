"""How good is the harness: mistakes planted one at a time, and whether they are found, how fast, with how small a packet.

Owns one rule: a mistake counts as found when the harness reports a wrong answer of the decoder, or of the encoder, that it
was planted in. Without a mistake the plain decoder and encoder are clean, or the self-test says so and ends.

>>> trials = self_test(names=["version ignored"], seconds=5)
>>> [(trial.place, trial.found) for trial in trials]
[('decoder', True)]
"""

from __future__ import annotations

import itertools
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.faults import FAULTS_OF
from packetcodec.fuzz.generate import Batch, Inputs
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.plain import Plain
from packetcodec.fuzz.run import run
from packetcodec.fuzz.targets import Inside
from packetcodec.schema import Schema
from packetcodec.wire import Plan, compile_plan

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator

#: How long a mistake is looked for at most.
_SECONDS = 10.0
#: Every kind of field and of trail that a mistake can be made in.
GROUND = """
name = "proving_ground"
version = 5
check = { crc = "CRC-16/X-25", bind_schema = true }
header = { version_bits = 5, layout_bits = 3 }

[[layouts]]
name = "beacon"
id = 1
fields = [
  { kind = "identifier", bits = 16 },
  { kind = "counter", bits = 4 },
  { kind = "latitude", resolution_m = 2.5, optional = true },
  { kind = "longitude", bits = 24, optional = true },
  { kind = "altitude", bits = 12, optional = true },
  { kind = "battery", minimum = 2.5, maximum = 4.5, resolution = 0.02 },
  { kind = "satellites", bits = 5, optional = true },
  { kind = "course", bits = 9, policy = "wrap" },
  { kind = "flag", name = "gate_open" },
]

[[layouts]]
name = "track"
id = 2
fields = [
  { kind = "latitude", resolution_m = 2.5, optional = true },
  { kind = "longitude", resolution_m = 2.5, optional = true },
  { kind = "altitude", bits = 16, optional = true },
]
trail = { points = 10, resolution_m = 2.5, spacing = 30, speed = 0.5, packet_bytes = 40 }

[[layouts]]
name = "climb"
id = 4
fields = [
  { kind = "latitude", resolution_m = 2.5 },
  { kind = "longitude", resolution_m = 2.5 },
  { kind = "altitude", bits = 13, optional = true },
]

[layouts.trail]
points = 12
resolution_m = 5
spacing = "coded"
usual_spacing = 60
altitude_resolution = 5
packet_bytes = 32
too_long = "coarsen"
"""


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


def ground() -> Plan:
    """The plan that mistakes are planted in."""
    return compile_plan(Schema.parse(GROUND))


def self_test(
    *,
    seed: int = 0,
    seconds: float | None = None,
    names: Collection[str] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Trial]:
    """Plant each mistake and look for it.

    Args:
        seed: of the inputs.
        seconds: how long each is looked for at most; default: 10.
        names: those to plant; default: all.
        progress: called with how many are done, of how many.

    Raises:
        PacketcodecError: the plain decoder or encoder is wrong without a mistake.
    """
    plan = ground()
    prepared = _Prepared(plan, seed)
    clean = run(Inside("plain", Plain(plan)), plan, seconds=60, most_inputs=3000, most_findings=1, rounds=prepared)
    if not clean.clean:
        finding = clean.findings[0]
        raise PacketcodecError(
            f"self-test: the plain decoder is wrong without a mistake: {finding.mark}: {finding.question} gives "
            f"{finding.got}, not {finding.expected}"
        )
    todo = [(place, name) for place, all_of in FAULTS_OF.items() for name in all_of if names is None or name in names]
    trials = []
    for number, (place, name) in enumerate(todo):
        trials.append(_trial(plan, place, name, seconds or _SECONDS, prepared))
        if progress:
            progress(number + 1, len(todo))
    return trials


class _Prepared:
    """The questions of a seed with their answers, worked out once for all mistakes."""

    def __init__(self, plan: Plan, seed: int) -> None:
        self._rounds = Inputs(Oracle(plan, "base"), seed=seed).rounds()
        self._known: list[Batch] = []

    def __iter__(self) -> Iterator[Batch]:
        for number in itertools.count():
            if number == len(self._known):
                self._known.append(next(self._rounds))
            yield self._known[number]


def _trial(plan: Plan, place: str, name: str, seconds: float, prepared: Iterable[Batch]) -> Trial:
    wrong, right = Plain(plan, name), Plain(plan)

    def answer(line: str) -> str:
        one = wrong if line.startswith("encode") == (place == "encoder") else right
        return one(line)

    report = run(Inside(name, answer), plan, seconds=seconds, most_findings=1, rounds=prepared)
    if report.clean:
        return Trial(name, place, found=False, seconds=report.seconds, inputs=report.inputs)
    finding = report.findings[0]
    return Trial(
        name, place, found=True, seconds=finding.seconds, inputs=finding.inputs, size=finding.size,
        smallest=finding.question, mark=finding.mark,
    )  # fmt: skip
