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

import functools
from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING, Any

from packetcodec.fuzz.aimed import aimed_degrees, aimed_encoding
from packetcodec.fuzz.packets import askable
from packetcodec.fuzz.protocol import DEGREES, FIELD, HELD, Question, decode_question, encode_question, references_of
from packetcodec.fuzz.spoil import WAYS, Spoiler
from packetcodec.vectors.malformed import malformed
from packetcodec.vectors.valid import decodings, encodings

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator

    from packetcodec.fuzz.oracle import Oracle
    from packetcodec.vectors.examples import Example

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
    "wrong references": 60,
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
    "degrees": (DEGREES, "position"),
    "trails": ("decode", "trail"),
}


@dataclass(frozen=True, slots=True)
class Batch:
    """Questions of one kind and their expected answers, one text each (`held after a fault` has several lines)."""

    kind: str
    questions: list[str]
    answers: list[str]


def asked_of(example: Example) -> str:
    """The question what the packet of an example says."""
    return decode_question(example.data, references_of(example.plan, example.references))


class Draws(Random):
    """Random numbers that cost half the time: one of n is as likely as another but for n parts in 2^53.

    >>> draws = Draws(1)
    >>> all(draws.randrange(3) in (0, 1, 2) and 4 <= draws.randint(4, 5) <= 5 for _ in range(100))
    True
    """

    def randrange(self, start: int, stop: int | None = None, step: int = 1) -> int:
        """A whole number below `start`, or from `start` to before `stop`."""
        if stop is None:
            return int(self.random() * start)
        return start + step * int(self.random() * (-(start - stop) // step))

    def randint(self, a: int, b: int) -> int:
        """A whole number from a to b."""
        return a + int(self.random() * (b - a + 1))

    def choice(self, seq: Any) -> Any:
        """One of a sequence."""
        return seq[int(self.random() * len(seq))]


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
        self.random = Draws(seed)
        self.spoiler = Spoiler(self.plan, self.random)
        self.verbs = {"decode", *verbs}
        self.scale = scale
        self._packets: dict[str, Callable[[], bytes]] = {
            "good packets": self.spoiler.another,
            "trails": self.spoiler.another_trail,
            **{way: functools.partial(self.spoiler.spoil, way) for way in WAYS},
        }
        self._texts: dict[str, Callable[[], str]] = {
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
        self.spoiler.refill(150 * self.scale)  # each round's good packets take the places of the last round's
        while True:
            for kind in self.kinds():
                yield self._batch(kind, ROUND[kind] * self.scale)

    def questions(self, count: int) -> list[str]:
        """At least so many questions of all kinds, without expected answers, where these come from elsewhere."""
        found: list[str] = []
        self.spoiler.refill(150)
        while len(found) < count:
            for kind in self.kinds():
                found += "\n".join(self._ask(kind)[0] for _ in range(ROUND[kind])).split("\n")
        return found

    def _batch(self, kind: str, count: int) -> Batch:
        asked = [self._ask(kind) for _ in range(count)]
        answers = [self.oracle.answer_to(text, meant) for text, meant in asked]
        return Batch(kind, [text for text, _ in asked], answers)

    def _ask(self, kind: str) -> tuple[str, bytes | Question | None]:
        """A question, and what it was written from where the oracle can take that: the packet, or the question's parts."""
        if kind in self._packets:
            data = self._packets[kind]()
            if not self.plan.has_low_bits:
                return decode_question(data), data
            asked = Question("decode", data, references=references_of(self.plan, self.spoiler.references))
            return asked.line, asked
        return (self._texts[kind](), None) if kind in self._texts else self._encoding(kind)

    def _worked(self) -> Iterator[Batch]:
        """What the specification shows and its vectors hold."""
        cases = [(case.data, case.references) for case in malformed(self.plan)]
        cases += [(case.data, case.references) for case in decodings(self.plan)]
        cases += [(case.data, case.references) for case in encodings(self.plan)]
        asked = [decode_question(data, references_of(self.plan, known)) for data, known in cases]
        questions = list(dict.fromkeys([*asked, *(decode_question(bytes(count)) for count in range(4))]))
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
        return f"{self._asked(self.spoiler.pick())}\n{self._asked(self._bad())}\n{HELD}"

    def _asked(self, data: bytes) -> str:
        """The question about the packet made last."""
        return decode_question(data, references_of(self.plan, self.spoiler.references))

    def _at_fault(self) -> str:
        """A bad packet, or values that may not be sent, and the place of the field at fault."""
        encodes = "encode_base" in self.verbs and self.random.randrange(2)
        return f"{self._encoding('encoding aimed')[0] if encodes else self._asked(self._bad())}\n{FIELD}"

    def _degrees(self) -> str:
        return f"{DEGREES} {aimed_degrees(self.random)}"

    def _encoding(self, kind: str) -> tuple[str, Question]:
        maker = self.random.choice(self.spoiler.trailed if kind == "encoding trails" else self.spoiler.makers)
        layout, verb = maker.layout, "encode" if kind == "encoding codes" else "encode_base"
        numbers: tuple[int | None, ...]
        if verb == "encode":
            codes = maker.codes()
            both = zip(layout.fields, codes, strict=True)
            numbers = tuple(None if code == field.absent_code else code for field, code in both)
            points = maker.trail(codes) if layout.trail and self.random.random() < 0.3 else ()
            return encode_question(verb, layout, numbers, points), Question(verb, b"", layout, codes, points)
        if kind == "encoding aimed":
            numbers, points = aimed_encoding(self.random, maker)
        else:
            numbers = maker.bases()
            points = maker.coded(numbers) if kind == "encoding trails" else ()
        return encode_question(verb, layout, numbers, points), Question(verb, b"", layout, numbers, points)
