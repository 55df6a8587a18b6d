"""Questions by the thousand: every kind of input, from one seed, with the right answers beside them.

Owns one rule: which kinds of input are tried, and how many of each in a round. The same seed gives the same questions in
the same order, however fast the target is. It needs nothing but the standard library's generator of random numbers.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> from packetcodec.fuzz.oracle import Oracle
>>> batch = next(Inputs(Oracle(plan), seed=1).rounds())
>>> batch.kind, len(batch.questions) == len(batch.answers)
('worked cases', True)
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING

from packetcodec.fuzz.invariants import guaranteed_flips
from packetcodec.fuzz.packets import Maker, askable
from packetcodec.fuzz.protocol import HELD, decode_question, encode_question
from packetcodec.vectors.malformed import malformed
from packetcodec.vectors.valid import decodings, encodings
from packetcodec.wire import Plan, pack

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
    "encoding trails": 30,
}
#: Kinds in which, with a check, no packet is good: fewer wrong bits than its guarantee, bursts no longer than it.
NOTICED = ("few wrong bits", "short bursts")
#: Kinds that the check lets through by chance alone, 1 in 2^width; of bursts one bit longer than it 1 in 2^(width - 1).
CHANCE = ("noise", "long bursts")
_WORKED = 200
#: Kinds that only a program which encodes can answer, and the verb of their questions.
ENCODING = {"encoding codes": "encode", "encoding base units": "encode_base", "encoding trails": "encode_base"}


@dataclass(frozen=True, slots=True)
class Batch:
    """Questions of one kind and their right answers, one text each (`held after a fault` has several lines)."""

    kind: str
    questions: list[str]
    answers: list[str]


class Inputs:
    """The questions of one run.

    Args:
        oracle: knows the plan and the right answers.
        seed: any whole number.
        verbs: what else can be asked for: encode (codes), encode_base (base units), or both.
        held: whether to ask what is held.
        scale: how many rounds' worth of a kind stand in a batch.
    """

    def __init__(
        self,
        oracle: Oracle,
        *,
        seed: int,
        verbs: Collection[str] = ("encode", "encode_base"),
        held: bool = True,
        scale: int = 1,
    ) -> None:
        self.oracle = oracle
        self.plan: Plan = oracle.plan
        self.random = Random(seed)  # noqa: S311  # inputs for tests, no secret
        self.makers = [Maker(self.plan, layout, self.random) for layout in self.plan.layouts]
        self.trailed = [maker for maker in self.makers if maker.layout.trail]
        self.verbs = verbs
        self.held = held
        self.scale = scale
        self._pool: list[bytes] = []
        self._trails: list[tuple[Maker, bytes]] = []
        self._guaranteed: dict[int, int] = {}
        #: The start of another schema's check.
        self._stranger = self.random.getrandbits(self.plan.crc.width) if self.plan.crc else 0

    def rounds(self) -> Iterator[Batch]:
        """Batches without end: first the worked cases of the specification, then rounds of all kinds."""
        yield from self._worked()
        ways: dict[str, Callable[[], bytes]] = {
            "trails": self._trail,
            "repaired check over broken content": self._repaired,
            "broken trails": self._broken_trail,
            "few wrong bits": self._few,
            "more wrong bits": self._more,
            "short bursts": self._short_burst,
            "long bursts": self._long_burst,
            "cut off": self._cut,
            "extended": self._extended,
            "swapped bytes": self._swapped,
            "other version or layout": self._header,
            "stale schema": self._stale,
            "noise": self._noise,
            "any length": self._any_length,
        }
        while True:
            self._pool = [self._good() for _ in range(150 * self.scale)]
            self._trails = [self._with_trail() for _ in range(40 * self.scale if self.trailed else 0)]
            for kind, count in ROUND.items():
                wanted = count * self.scale
                if kind in {"trails", "broken trails", "encoding trails"} and not self.trailed:
                    continue
                if kind in ENCODING:
                    if ENCODING[kind] in self.verbs:
                        yield self._encoding(kind, wanted)
                elif kind == "held after a fault":
                    if self.held:
                        yield self._held(wanted)
                elif kind == "good packets":
                    yield self._decoding(kind, [self._fresh() for _ in range(wanted)])
                else:
                    yield self._decoding(kind, [ways[kind]() for _ in range(wanted)])

    def _decoding(self, kind: str, packets: list[bytes]) -> Batch:
        decode = self.oracle.decode
        return Batch(kind, [f"decode {data.hex() or '-'}" for data in packets], [decode(data) for data in packets])

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

    # --- packets -----------------------------------------------------------------------------------------------------

    def _good(self) -> bytes:
        """A packet that an encoder makes; with a trail where the layout has one."""
        maker = self.makers[int(self.random.random() * len(self.makers))]
        raws = maker.raws()
        return pack(self.plan, maker.layout, raws, maker.trail(raws) if maker.layout.trail else ())

    def _fresh(self) -> bytes:
        """A good packet of any layout, trails only now and then: they have a kind of their own."""
        maker = self.makers[int(self.random.random() * len(self.makers))]
        raws = maker.raws()
        trail = maker.trail(raws) if maker.layout.trail and self.random.random() < 0.1 else ()
        return pack(self.plan, maker.layout, raws, trail)

    def _with_trail(self) -> tuple[Maker, bytes]:
        maker = self.random.choice(self.trailed)
        raws = maker.located()
        return maker, pack(self.plan, maker.layout, raws, maker.trail(raws))

    def _trail(self) -> bytes:
        return self._with_trail()[1]

    def _pick(self) -> bytes:
        return self._pool[int(self.random.random() * len(self._pool))]

    def _body(self, data: bytes) -> bytes:
        return data[: len(data) - self.plan.crc.size] if self.plan.crc else data

    def _flipped(self, data: bytes, count: int) -> bytes:
        number = int.from_bytes(data, "big")
        for bit in self.random.sample(range(8 * len(data)), count):
            number ^= 1 << bit
        return number.to_bytes(len(data), "big")

    def _few(self) -> bytes:
        """Wrong bits, fewer than the Hamming distance at this length: the check notices them all."""
        data = self._pick()
        most = self._guaranteed.get(len(data))
        if most is None:
            most = self._guaranteed[len(data)] = guaranteed_flips(self.plan, len(data)) or 3
        return self._flipped(data, 1 + int(self.random.random() * most))

    def _more(self) -> bytes:
        data = self._pick()
        return self._flipped(data, min(8 * len(data), 1 + int(self.random.random() * 16)))

    def _burst(self, least: int, most: int) -> bytes:
        """A run of wrong bits: its first and its last are wrong, those between anything."""
        data = self._pick()
        length = min(8 * len(data), least + int(self.random.random() * (most - least + 1)))
        burst = self.random.getrandbits(length) | 1 | 1 << length - 1
        place = int(self.random.random() * (8 * len(data) - length + 1))
        return (int.from_bytes(data, "big") ^ burst << place).to_bytes(len(data), "big")

    def _short_burst(self) -> bytes:
        return self._burst(1, self.plan.crc.width if self.plan.crc else 8)

    def _long_burst(self) -> bytes:
        width = self.plan.crc.width if self.plan.crc else 8
        return self._burst(width + 1, 3 * width)

    def _cut(self) -> bytes:
        data = self._pick()
        data = data[: int(self.random.random() * len(data))]
        return self.plan.seal(data) if self.random.random() < 0.3 else data

    def _extended(self) -> bytes:
        data = self._pick()
        count = 1 + int(self.random.random() ** 3 * 60)
        more = bytes(count) if self.random.random() < 0.5 else self.random.randbytes(count)
        return self.plan.seal(self._body(data) + more) if self.random.random() < 0.6 else data + more

    def _swapped(self) -> bytes:
        data = bytearray(self._pick())
        one, other = (int(self.random.random() * len(data)) for _ in range(2))
        data[one], data[other] = data[other], data[one]
        return self.plan.seal(self._body(bytes(data))) if self.random.random() < 0.5 else bytes(data)

    def _header(self) -> bytes:
        """Another version, another layout, or both; the check repaired most times, the length kept or not."""
        data, plan = self._pick(), self.plan
        below = 8 * len(data) - plan.header_bits
        number = int.from_bytes(data, "big")
        way = self.random.randrange(3)
        version = self.random.getrandbits(plan.version_bits) if way != 1 else plan.version
        layout = self.random.getrandbits(plan.layout_bits) if way != 0 and plan.layout_bits else None
        if layout is None:
            layout = number >> below & (1 << plan.layout_bits) - 1
        head = version << plan.layout_bits | layout
        made = ((head << below) | number & (1 << below) - 1).to_bytes(len(data), "big")
        if self.random.random() < 0.1:
            made = made[:-1]
        return self.plan.seal(self._body(made)) if self.random.random() < 0.8 else made

    def _stale(self) -> bytes:
        """The check of another schema, of another start, with another final XOR, or with its bytes turned round."""
        data, crc = self._pick(), self.plan.crc
        if crc is None:
            return data
        body, mask = self._body(data), (1 << crc.width) - 1
        way = self.random.randrange(6)
        if way == 5:
            return body + data[len(body) :][::-1]
        start = (crc.initial, 0, mask, self._stranger, self.plan.seed)[way]
        check = crc.of(body, start) ^ (crc.xor_out or mask if way == 4 else 0)
        return body + check.to_bytes(crc.size, crc.append_order)

    def _repaired(self) -> bytes:
        """Fields out of range, padding set, anything: under a good check."""
        body, plan, random = self._body(self._pick()), self.plan, self.random
        number, total = int.from_bytes(body, "big"), 8 * len(body)
        way = random.random()
        if way < 0.5:  # one or two bits of it
            for _ in range(1 + (random.random() < 0.3)):
                number ^= 1 << int(random.random() * total)
        elif way < 0.8 and total > plan.header_bits:  # one field: anything, all ones, or just past its last code
            maker = random.choice(self.makers)
            raws = list(maker.raws())
            place = random.randrange(len(raws))
            field = maker.layout.fields[place]
            past = (random.getrandbits(field.bits), (1 << field.bits) - 1, field.max_code + 1, (1 << field.bits) - 2)
            raws[place] = random.choice(past) & (1 << field.bits) - 1
            return pack(plan, maker.layout, raws)
        else:  # all behind the header
            below = total - plan.header_bits
            number = number >> below << below | random.getrandbits(below)
        return self.plan.seal(number.to_bytes(len(body), "big"))

    def _broken_trail(self) -> bytes:
        """Bits behind the fields that no encoder writes, or that one might, under a good check."""
        random = self.random
        maker, whole = random.choice(self._trails)
        layout, body = maker.layout, self._body(whole)
        number, total = int.from_bytes(body, "big"), 8 * len(body)
        most = 8 * (layout.longest - layout.check_bytes)
        way = random.randrange(8)
        if way < 2 and total > layout.bits:  # a few bits of the trail
            for _ in range(1 + way):
                number ^= 1 << random.randrange(total - layout.bits)
        elif way == 2:  # nothing but noise
            total = min(most, (layout.bits + random.randrange(1, 60) + 7) // 8 * 8)
            below = total - layout.bits
            number = (int.from_bytes(body, "big") >> 8 * len(body) - layout.bits) << below | random.getrandbits(below)
        elif way == 3:  # bytes behind it
            more = random.randrange(1, 4)
            total = min(most + 8, total + 8 * more)
            number <<= total - 8 * len(body)
            if random.randrange(2):
                number |= random.getrandbits(total - 8 * len(body) or 1)
        elif way == 4:  # its end cut off
            gone = min(8 * random.randrange(1, 5), total - layout.bits // 8 * 8)
            number, total = number >> gone, total - gone
        elif way == 5:  # a bit of the padding
            number |= 1 << random.randrange(8)
        elif way == 6 and layout.trail:  # a count that there is not, and enough behind it
            count = random.randrange(layout.trail.points, 1 + max(layout.trail.points, (1 << layout.trail.count_bits) - 1))
            total = min(most, (layout.bits + random.randrange(8, 80) + 7) // 8 * 8)
            below = max(0, total - layout.bits - layout.trail.count_bits - 1)
            rest = random.getrandbits(below) if below and random.random() < 0.2 else 0
            number = number >> 8 * len(body) - layout.bits << layout.trail.count_bits + 1 | count
            number, total = number << below | rest, layout.bits + layout.trail.count_bits + 1 + below
            number, total = number << -total % 8, total + -total % 8
        else:  # a number without end
            below = max(0, min(most, total + 8 * random.randrange(8)) - layout.bits)
            total = layout.bits + below
            front = random.randrange(3)
            ones = max(0, below - layout.trail.count_bits - 1 if layout.trail else 0) if front else below
            number = number >> 8 * len(body) - layout.bits << below | (1 << ones) - 1
            number, total = number << -total % 8, total + -total % 8
        return self.plan.seal(number.to_bytes(total // 8, "big"))

    def _noise(self) -> bytes:
        """Random bytes: of any length, or behind a good header and of a good length."""
        random = self.random
        if random.random() < 0.3:
            return random.randbytes(random.randrange(40))
        layout = random.choice(self.makers).layout
        size = random.randint(layout.size, layout.longest)
        head = self.plan.version << self.plan.layout_bits | layout.id
        below = 8 * size - self.plan.header_bits
        return (head << below | random.getrandbits(below)).to_bytes(size, "big")

    def _any_length(self) -> bytes:
        """Every length from 0 to 255, a good packet cut or filled up."""
        size = self.random.randrange(256)
        data = self._pick()
        data = data[:size] if len(data) >= size else data + self.random.randbytes(size - len(data))
        return self.plan.seal(self._body(data)) if self.plan.crc and len(data) > self.plan.crc.size else data

    # --- other questions ---------------------------------------------------------------------------------------------

    def _held(self, count: int) -> Batch:
        """A good packet, a bad one, and what is still held: a fault leaves the caller's packet as it was."""
        questions = []
        for _ in range(count):
            bad = self.random.choice((self._repaired, self._more, self._broken_trail if self.trailed else self._repaired))
            questions.append(f"{decode_question(self._pick())}\n{decode_question(bad())}\n{HELD}")
        return Batch("held after a fault", questions, list(map(self.oracle.answer, questions)))

    def _encoding(self, kind: str, count: int) -> Batch:
        questions, answers = [], []
        for _ in range(count):
            maker = self.random.choice(self.trailed if kind == "encoding trails" else self.makers)
            if kind == "encoding codes":
                raws = maker.raws()
                both = zip(maker.layout.fields, raws, strict=True)
                numbers = [None if raw == field.absent_code else raw for field, raw in both]
                points = maker.trail(raws) if maker.layout.trail and self.random.random() < 0.3 else ()
                questions.append(encode_question("encode", maker.layout, numbers, points))
                answers.append(self.oracle.encode(maker.layout, raws, points))
                continue
            bases = maker.bases()
            points = maker.coded(bases) if kind == "encoding trails" else ()
            questions.append(encode_question("encode_base", maker.layout, bases, points))
            answers.append(self.oracle.encode_base(maker.layout, bases, points))
        return Batch(kind, questions, answers)
