"""Questions by the thousand: every kind of input, from one seed, with the expected answers beside them.

Owns one rule: which kinds of input are tried, and how many of each in a round. The same seed gives the same questions in
the same order, however fast the target is. It needs nothing but the standard library's generator of random numbers.

>>> from packetcodec.starter import example_plan
>>> from packetcodec.fuzz.oracle import Oracle
>>> batch = next(Inputs(Oracle(example_plan()), seed=1).rounds())
>>> batch.kind, len(batch.questions) == len(batch.answers)
('worked cases', True)
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING

from packetcodec.fuzz.aimed import aimed_degrees, aimed_encoding
from packetcodec.fuzz.packets import askable
from packetcodec.fuzz.protocol import DEGREES, FIELD, HELD, decode_question, encode_question
from packetcodec.fuzz.spoil import WAYS, Spoiler
from packetcodec.vectors.malformed import malformed
from packetcodec.vectors.valid import decodings, encodings

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator

    from packetcodec.fuzz.oracle import Oracle

#: Kind of input to questions of it in a round. What finds faults soonest stands first and is asked most.
ROUND = {
    "good packets": 160,
    "repaired check over broken content": 180,
    "trails": 40,
    "broken trails": 60,
    "few wrong bits": 90,
    "more wrong bits": 50,
    "short bursts": 40,
    "long bursts": 50,
    "cut off": 50,
    "extended": 50,
    "swapped bytes": 50,
    "other version or layout": 60,
    "stale schema": 50,
    "noise": 110,
    "any length": 50,
    "held after a fault": 20,
    "encoding codes": 50,
    "encoding base units": 80,
    "encoding trails": 40,
    "encoding aimed": 60,
    "field at fault": 40,
    "degrees": 30,
}
#: Kinds in which, with a check, no packet is good: fewer wrong bits than its guarantee, bursts no longer than it.
NOTICED = ("few wrong bits", "short bursts")
#: Kinds that the check lets through by chance alone, 1 in 2^width; of bursts one bit longer than it 1 in 2^(width - 1).
CHANCE = ("noise", "long bursts")
_WORKED = 200
#: The verb that a target must answer for a kind of input, and what the schema needs for it.
_NEEDS = {
    "encoding codes": ("encode", ""),
    "encoding base units": ("encode_base", ""),
    "encoding trails": ("encode_base", "trail"),
    "encoding aimed": ("encode_base", ""),
    "held after a fault": (HELD, ""),
    "field at fault": (FIELD, ""),
    "degrees": (DEGREES, ""),
    "trails": ("decode", "trail"),
}


@dataclass(frozen=True, slots=True)
class Batch:
    """Questions of one kind and their expected answers, one text each (`held after a fault` has several lines)."""

    kind: str
    questions: list[str]
    answers: list[str]


class Inputs:
    """The questions of one run.

    Args:
        oracle: knows the plan and the expected answers.
        seed: any whole number.
        verbs: what can be asked for besides decode.
        scale: how many rounds' worth of a kind stand in a batch.
    """

    def __init__(
        self, oracle: Oracle, *, seed: int, verbs: Collection[str] = ("encode", "encode_base", HELD), scale: int = 1
    ) -> None:
        self.oracle = oracle
        self.plan = oracle.plan
        self.random = Random(seed)  # noqa: S311  # inputs for tests, no secret
        self.spoiler = Spoiler(self.plan, self.random)
        self.verbs = {"decode", *verbs}
        self.scale = scale
        self._make: dict[str, Callable[[], str]] = {
            "good packets": lambda: decode_question(self.spoiler.good(0.1)),
            "trails": lambda: decode_question(self.spoiler.with_trail()[1]),
            "held after a fault": self._held,
            "field at fault": self._at_fault,
            "degrees": self._degrees,
        }

    def kinds(self) -> list[str]:
        """The kinds that this schema has and this target answers."""
        needs = {kind: _NEEDS.get(kind, ("decode", WAYS.get(kind, ""))) for kind in ROUND}
        return [kind for kind, (verb, needed) in needs.items() if verb in self.verbs and self.spoiler.has(needed)]

    def rounds(self) -> Iterator[Batch]:
        """Batches without end: first the worked cases of the specification, then rounds of all kinds."""
        yield from self._worked()
        while True:
            self.spoiler.refill(150 * self.scale)
            for kind in self.kinds():
                yield self._batch(kind, ROUND[kind] * self.scale)

    def questions(self, count: int) -> list[str]:
        """At least so many questions of all kinds, without expected answers, where these come from elsewhere."""
        found: list[str] = []
        while len(found) < count:
            self.spoiler.refill(150)
            for kind in self.kinds():
                found += "\n".join(self._ask(kind) for _ in range(ROUND[kind])).split("\n")
        return found

    def _batch(self, kind: str, count: int) -> Batch:
        questions = [self._ask(kind) for _ in range(count)]
        return Batch(kind, questions, list(map(self.oracle.answer, questions)))

    def _ask(self, kind: str) -> str:
        if kind in self._make:
            return self._make[kind]()
        return decode_question(self.spoiler.spoil(kind)) if kind in WAYS else self._encoding(kind)

    def _worked(self) -> Iterator[Batch]:
        """What the specification shows and its vectors hold."""
        packets = [case.data for case in malformed(self.plan)]
        packets += [case.data for case in decodings(self.plan)]
        packets += [case.data for case in encodings(self.plan)]
        packets += [bytes(count) for count in range(4)]
        questions = [decode_question(data) for data in dict.fromkeys(packets)]
        if "encode_base" in self.verbs:
            for case in encodings(self.plan):
                both = zip(case.layout.fields, case.bases, strict=True)
                if all(base is None or askable(field, base) for field, base in both):
                    questions.append(encode_question("encode_base", case.layout, case.bases, case.points))
        for place in range(0, len(questions), _WORKED):
            some = questions[place : place + _WORKED]
            yield Batch("worked cases", some, list(map(self.oracle.answer, some)))

    def _bad(self) -> bytes:
        ways = [
            "repaired check over broken content",
            "more wrong bits",
            *(["broken trails"] if self.spoiler.trailed else []),
        ]
        return self.spoiler.spoil(self.random.choice(ways))

    def _held(self) -> str:
        """A good packet, a bad one, and what is still held: a fault leaves the caller's packet as it was."""
        return f"{decode_question(self.spoiler.pick())}\n{decode_question(self._bad())}\n{HELD}"

    def _at_fault(self) -> str:
        """A bad packet, or values that may not be sent, and the place of the field at fault."""
        encodes = "encode_base" in self.verbs and self.random.randrange(2)
        return f"{self._encoding('encoding aimed') if encodes else decode_question(self._bad())}\n{FIELD}"

    def _degrees(self) -> str:
        return f"{DEGREES} {aimed_degrees(self.random)}"

    def _encoding(self, kind: str) -> str:
        maker = self.random.choice(self.spoiler.trailed if kind == "encoding trails" else self.spoiler.makers)
        if kind == "encoding codes":
            codes = maker.raws()
            both = zip(maker.layout.fields, codes, strict=True)
            numbers = [None if code == field.absent_code else code for field, code in both]
            points = maker.trail(codes) if maker.layout.trail and self.random.random() < 0.3 else ()
            return encode_question("encode", maker.layout, numbers, points)
        if kind == "encoding aimed":
            bases, points = aimed_encoding(self.random, maker)
        else:
            bases = maker.bases()
            points = maker.coded(bases) if kind == "encoding trails" else ()
        return encode_question("encode_base", maker.layout, bases, points)
