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
import itertools
from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING, Any

from packetcodec.fuzz.aimed import aimed_degrees, aimed_encoding
from packetcodec.fuzz.oracle import degrees
from packetcodec.fuzz.packets import askable
from packetcodec.fuzz.protocol import DEGREES, FIELD, HELD, decode_question, encode_question, references_of
from packetcodec.fuzz.spoil import WAYS, Spoiler
from packetcodec.vectors.malformed import malformed
from packetcodec.vectors.valid import decodings, encodings

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Sequence

    from packetcodec.fuzz.oracle import Oracle
    from packetcodec.fuzz.packets import Made, Maker
    from packetcodec.vectors.examples import Example
    from packetcodec.vectors.references import Known
    from packetcodec.wire import LayoutPlan, Point

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
#: The first round is so many times as short: what stands last in it is asked soon on a busy machine too.
_FIRST = 8
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
        self._shorter: tuple[str, str] | None = None
        self._ways: dict[str, Callable[[], tuple[str, str]]] = {
            "good packets": lambda: self._good(self.spoiler.another()),
            "trails": self._trails,
            **{way: functools.partial(self._spoiled, way) for way in WAYS},
            "held after a fault": self._held,
            "encoding codes": self._codes,
            "encoding base units": self._bases,
            "encoding trails": self._trail,
            "encoding aimed": self._aimed,
            "field at fault": self._at_fault,
            "degrees": self._degrees,
        }

    def kinds(self) -> list[str]:
        """The kinds that this schema has and this target answers."""
        needs = {kind: _NEEDS.get(kind, ("decode", WAYS.get(kind, ""))) for kind in ROUND}
        return [kind for kind, (verb, needed) in needs.items() if verb in self.verbs and self.spoiler.has(needed)]

    def rounds(self) -> Iterator[Batch]:
        """Batches without end: first the worked cases of the specification, then rounds of all kinds, a short one first."""
        yield from self._worked()
        self.spoiler.refill(150 * self.scale)  # each round's good packets take the places of the last round's
        for share in itertools.chain([_FIRST], itertools.repeat(1)):
            for kind in self.kinds():
                yield self._batch(kind, ROUND[kind] * self.scale // share)

    def questions(self, count: int) -> list[str]:
        """At least so many questions of all kinds, without expected answers, where these come from elsewhere."""
        found: list[str] = []
        self.spoiler.refill(150)
        while len(found) < count:
            for kind in self.kinds():
                found += "\n".join(self._ways[kind]()[0] for _ in range(ROUND[kind])).split("\n")
        return found

    def _batch(self, kind: str, count: int) -> Batch:
        way = self._ways[kind]
        asked = [way() for _ in range(count)]
        return Batch(kind, [text for text, _ in asked], [answer for _, answer in asked])

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

    # --- a question and its expected answer --------------------------------------------------------------------------

    def _known(self, bases: Known) -> tuple[int | None, ...]:
        """References as a question has them; none where no field needs one."""
        return references_of(self.plan, bases) if self.plan.has_low_bits else ()

    def _decoding(self, data: bytes) -> tuple[str, str]:
        """What the packet made last says, or what was made of it."""
        known = self._known(self.spoiler.references)
        return decode_question(data, known), self.oracle.decode(data, known)

    def _good(self, made: Made) -> tuple[str, str]:
        if made.points or self.plan.has_low_bits:
            return self._decoding(made.data)
        return decode_question(made.data), self.oracle.told(made.layout, made.codes)

    def _trails(self) -> tuple[str, str]:
        """A packet with a trail; every second one says the newest of the points that the one before it said."""
        if asked := self._shorter:
            self._shorter = None
            return asked
        made, shorter = self.spoiler.another_trail()
        if shorter is None:
            return self._decoding(made.data)
        asked, self._shorter = map(self._written, (made, shorter))
        return asked

    def _written(self, made: Made) -> tuple[str, str]:
        """What a packet says as it was written; with low bits it is read, since its references may be too far off."""
        known = self._known(made.references)
        read = self.oracle.decode(made.data, known) if known else self.oracle.told(made.layout, made.codes, made.received)
        return decode_question(made.data, known), read

    def _spoiled(self, way: str) -> tuple[str, str]:
        return self._decoding(self.spoiler.spoil(way))

    def _bad(self) -> tuple[str, str]:
        trails = ("broken trails",) if self.spoiler.trailed else ()
        return self._spoiled(self.random.choice(("repaired check over broken content", "more wrong bits", *trails)))

    def _held(self) -> tuple[str, str]:
        """A good packet, a bad one, and what is still held: a fault leaves the caller's packet as it was."""
        (one, first), (two, second) = self._good(self.spoiler.pick()), self._bad()
        held = second if second.startswith(self.oracle.unit) else first
        return f"{one}\n{two}\n{HELD}", f"{first}\n{second}\n{held}"

    def _at_fault(self) -> tuple[str, str]:
        """A bad packet, or values that may not be sent, and the place of the field at fault."""
        self.oracle.fault_at = None
        encodes = "encode_base" in self.verbs and self.random.random() < 0.5
        text, answer = self._aimed() if encodes else self._bad()
        place = self.oracle.fault_at
        return f"{text}\n{FIELD}", f"{answer}\n{'-' if place is None else place}"

    def _degrees(self) -> tuple[str, str]:
        words = aimed_degrees(self.random)
        return f"{DEGREES} {words}", degrees(*words.split(" "))

    def _maker(self) -> Maker:
        return self.spoiler.makers[int(self.random.random() * len(self.spoiler.makers))]

    def _codes(self) -> tuple[str, str]:
        maker = self._maker()
        layout, codes = maker.layout, maker.codes()
        points = maker.trail(codes) if layout.trail and self.random.random() < 0.3 else ()
        numbers = (None if code == field.absent_code else code for field, code in zip(layout.fields, codes, strict=True))
        return encode_question("encode", layout, numbers, points), self.oracle.encode(layout, codes, points)

    def _bases(self) -> tuple[str, str]:
        maker = self._maker()
        return self._encoding(maker.layout, maker.bases(), ())

    def _aimed(self) -> tuple[str, str]:
        maker = self._maker()
        return self._encoding(maker.layout, *aimed_encoding(self.random, maker))

    def _encoding(self, layout: LayoutPlan, bases: Sequence[int | None], points: Sequence[Point]) -> tuple[str, str]:
        text = encode_question("encode_base", layout, bases, points)
        return text, self.oracle.encode_base(layout, bases, points)

    def _trail(self) -> tuple[str, str]:
        """The values and points of a packet with a trail, asked for as base units next to its codes."""
        made = self.spoiler.a_trail()
        bases = made.maker.near(made.codes)
        if self.oracle.codes_of(made.layout, bases) != made.codes:
            return self._encoding(made.layout, bases, made.points)
        return encode_question("encode_base", made.layout, bases, made.points), made.data.hex()
