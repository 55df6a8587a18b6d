"""Packets with something done to them: every way in which a packet can be broken, from one generator of random numbers.

Owns one rule: how a packet can be spoiled (`WAYS`). The harness and the hypothesis strategies spoil in the same ways.

>>> from random import Random
>>> from packetcodec.starter import example_plan
>>> spoiler = Spoiler(example_plan(), Random(1))
>>> spoiler.refill(10)
>>> len(spoiler.spoil("cut off")) < 32
True
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

from packetcodec.fuzz.aimed import aimed_trail
from packetcodec.fuzz.invariants import guaranteed_flips
from packetcodec.fuzz.packets import Made, Maker, sealed
from packetcodec.fuzz.random_tracks import bad_front

if TYPE_CHECKING:
    from collections.abc import Callable
    from random import Random

    from packetcodec.vectors.references import Known
    from packetcodec.wire import Plan

#: A way to spoil a packet, and what a schema needs for it: "check", "trail", "position", or nothing.
WAYS = {
    "repaired check over broken content": "",
    "broken trails": "trail",
    "few wrong bits": "",
    "more wrong bits": "",
    "short bursts": "check",
    "long bursts": "check",
    "cut off": "",
    "extended": "",
    "swapped bytes": "",
    "other version or layout": "",
    "wrong references": "low bits",
    "stale schema": "check",
    "noise": "",
    "any length": "",
}
#: Packets of any length are so long at most: longer ones than any layout has.
_LONGEST = 600


class Spoiler:
    """Makes packets, and spoils them.

    Args:
        plan: whose packets.
        random: where all choices come from.
        guaranteed: bytes of a packet to wrong bits in "few wrong bits"; default: those that the check always notices.
    """

    def __init__(self, plan: Plan, random: Random, *, guaranteed: Callable[[int], int] | None = None) -> None:
        self.plan = plan
        self.random = random
        self._most = functools.cache(guaranteed or (lambda size: guaranteed_flips(plan, size) or 3))
        self.makers = [Maker(plan, layout, random) for layout in plan.layouts]
        self.trailed = [maker for maker in self.makers if maker.layout.trail]
        #: What the receiver of the packet made last knows, in base units.
        self.references: Known = {}
        self._pool: list[Made] = []
        self._trails: list[Made] = []
        self._made = 0
        #: The start of another schema's check.
        self._stranger = random.getrandbits(plan.crc.width) if plan.crc else 0
        width = plan.crc.width if plan.crc else 8
        self._ways: dict[str, Callable[[], bytes]] = {
            "repaired check over broken content": self._repaired,
            "broken trails": self._broken_trail,
            "few wrong bits": lambda: self._flipped(self._most),
            "more wrong bits": lambda: self._flipped(lambda _: 16),
            "short bursts": lambda: self._burst(1, width),
            "long bursts": lambda: self._burst(width + 1, 3 * width),
            "cut off": self._cut,
            "extended": self._extended,
            "swapped bytes": self._swapped,
            "other version or layout": self._header,
            "wrong references": lambda: self.good(0.3, wild=True).data,
            "stale schema": self._stale,
            "noise": self._noise,
            "any length": self._any_length,
        }

    def has(self, needed: str) -> bool:
        """Whether the schema has what a kind of input needs."""
        found = {"": True, "check": self.plan.crc, "trail": self.trailed, "low bits": self.plan.references}
        return bool(found.get(needed, any(maker.position for maker in self.makers)))

    def refill(self, count: int) -> None:
        """Make packets to spoil."""
        self._pool = [self.good(0.3) for _ in range(count)]
        self._trails = [self._with_trail() for _ in range(count // 4 + 1 if self.trailed else 0)]

    def another(self) -> Made:
        """A good packet, to be spoiled later in the place of an older one."""
        return self._kept(self.good(0))

    def another_trail(self) -> tuple[Made, Made | None]:
        """A good packet with a position and, most times, a trail, in the place of an older one; and a shorter one."""
        maker = self.random.choice(self.trailed)
        codes = maker.located()
        made, shorter = maker.made_twice(codes, maker.trail(codes))
        self._trails[self._made % len(self._trails)] = self._known(made)
        return self._kept(made), shorter

    def a_trail(self) -> Made:
        """One of the packets with a trail."""
        return self._known(self._trails[int(self.random.random() * len(self._trails))])

    def _kept(self, made: Made) -> Made:
        self._pool[self._made % len(self._pool)] = made
        self._made += 1
        return made

    def start(self, random: Random, packets: list[bytes]) -> None:
        """Spoil these packets, by the choices of another generator."""
        self.random = random
        for maker in self.makers:
            maker.random = random
        self._pool = [Made(self.makers[0], data) for data in packets]
        self._trails = [self._with_trail()] if self.trailed else []

    def spoil(self, way: str) -> bytes:
        """One of the packets, spoiled in one of `WAYS`; now and then it is still good."""
        return self._ways[way]()

    def good(self, trails: float, *, wild: bool = False) -> Made:
        """A good packet of any layout; with a trail where the layout has one, with this probability.

        `wild`: its receiver knows less than it should.
        """
        maker = self.makers[int(self.random.random() * len(self.makers))]
        codes = maker.codes()
        if wild and self.random.random() < 0.25:  # 0 is what stands where a receiver has never kept a reference
            codes = tuple(0 if field.low_bits else code for field, code in zip(maker.layout.fields, codes, strict=True))
        trail = maker.trail(codes) if maker.layout.trail and self.random.random() < trails else ()
        return self._known(maker.made(codes, trail, wild=wild))

    def _with_trail(self) -> Made:
        maker = self.random.choice(self.trailed)
        codes = maker.located()
        return self._known(maker.made(codes, maker.trail(codes)))

    def _known(self, made: Made) -> Made:
        self.references = made.references
        return made

    def pick(self) -> Made:
        """One of the good packets."""
        return self._known(self._pool[int(self.random.random() * len(self._pool))])

    def _sealed(self, body: bytes) -> bytes:
        return sealed(self.plan, body, self.references)

    def _body(self, data: bytes) -> bytes:
        return data[: len(data) - self.plan.crc.size] if self.plan.crc else data

    def _flipped(self, most: Callable[[int], int]) -> bytes:
        """Wrong bits, as many as `most` says of this length at most. Fewer than its Hamming distance are always noticed."""
        data = self.pick().data
        random, total, mask = self.random.random, 8 * len(data), 0
        for _ in range(min(total, 1 + int(random() * most(len(data))))):
            bit = int(random() * total)
            while mask >> bit & 1:
                bit = (bit + 1) % total
            mask |= 1 << bit
        return (int.from_bytes(data, "big") ^ mask).to_bytes(len(data), "big")

    def _burst(self, least: int, most: int) -> bytes:
        """A run of wrong bits: its first and its last are wrong, those between anything."""
        data = self.pick().data
        length = min(8 * len(data), least + int(self.random.random() * (most - least + 1)))
        burst = self.random.getrandbits(length) | 1 | 1 << length - 1
        place = int(self.random.random() * (8 * len(data) - length + 1))
        return (int.from_bytes(data, "big") ^ burst << place).to_bytes(len(data), "big")

    def _cut(self) -> bytes:
        data = self.pick().data
        data = data[: int(self.random.random() * len(data))]
        return self._sealed(data) if self.random.random() < 0.3 else data

    def _extended(self) -> bytes:
        data = self.pick().data
        count = 1 + int(self.random.random() ** 3 * 60)
        more = bytes(count) if self.random.random() < 0.5 else self.random.randbytes(count)
        return self._sealed(self._body(data) + more) if self.random.random() < 0.6 else data + more

    def _swapped(self) -> bytes:
        data = bytearray(self.pick().data)
        one, other = (int(self.random.random() * len(data)) for _ in range(2))
        data[one], data[other] = data[other], data[one]
        return self._sealed(self._body(bytes(data))) if self.random.random() < 0.5 else bytes(data)

    def _header(self) -> bytes:
        """Another version, another layout, or both; the check repaired most times, the length kept or not."""
        data, plan = self.pick().data, self.plan
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
        return self._sealed(self._body(made)) if self.random.random() < 0.8 else made

    def _stale(self) -> bytes:
        """The check of another schema, of another start, with another final XOR, or with its bytes turned round."""
        data, crc = self.pick().data, self.plan.crc
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
        body, plan, random = self._body(self.pick().data), self.plan, self.random
        number, total = int.from_bytes(body, "big"), 8 * len(body)
        way = random.random()
        if way < 0.5:  # one or two bits of it
            for _ in range(1 + (random.random() < 0.3)):
                number ^= 1 << int(random.random() * total)
        elif way < 0.8 and total > plan.header_bits:  # one field: anything, all ones, or just past its last code
            maker = random.choice(self.makers)
            codes = list(maker.codes())
            place = random.randrange(len(codes))
            field = maker.layout.fields[place]
            past = (random.getrandbits(field.bits), (1 << field.bits) - 1, field.max_code + 1, (1 << field.bits) - 2)
            codes[place] = random.choice(past) & (1 << field.bits) - 1
            return self._known(maker.made(tuple(codes))).data
        else:  # all behind the header
            below = total - plan.header_bits
            number = number >> below << below | random.getrandbits(below)
        return self._sealed(number.to_bytes(len(body), "big"))

    def _broken_trail(self) -> bytes:
        """Bits behind the fields that no encoder writes, or that one might, under a good check."""
        random, way = self.random, self.random.randrange(12)
        if way >= 8:
            return self._known(aimed_trail(random, random.choice(self.trailed))).data
        made = self.a_trail()
        if way == 3:  # rather one that ends with a byte: behind its last bit, a 1, there is no padding
            some = (self.a_trail() for _ in range(20))
            made = next((one for one in some if self._body(one.data)[-1] & 1), self._known(made))
        layout, body = made.layout, self._body(made.data)
        number, total = int.from_bytes(body, "big"), 8 * len(body)
        most = 8 * (layout.longest - layout.check_bytes)
        if way >= 6 and layout.trail:
            front, below = bad_front(random, layout.trail, most - layout.bits, total - layout.bits, count=way == 6)
            number, total = number >> total - layout.bits << below | front, layout.bits + below
            number, total = number << -total % 8, total + -total % 8
        elif way == 2:  # nothing but noise
            fields = number >> total - layout.bits
            total = min(most, (layout.bits + random.randrange(1, 60) + 7) // 8 * 8)
            number = fields << total - layout.bits | random.getrandbits(total - layout.bits)
        elif way == 3:  # bytes behind it
            more = min(most + 8 - total, 8 * random.choice((1, 1, 2, 3)))
            number, total = number << more | (random.getrandbits(more) if random.randrange(2) else 0), total + more
        elif way == 4:  # its end cut off
            gone = min(8 * random.randrange(1, 5), total - layout.bits // 8 * 8)
            number, total = number >> gone, total - gone
        elif way == 5:  # a bit of the padding
            number |= 1 << random.randrange(8)
        elif total > layout.bits:  # a few bits of the trail
            for _ in range(1 + way):
                number ^= 1 << random.randrange(total - layout.bits)
        return self._sealed(number.to_bytes(total // 8, "big"))

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
        """Every length, a good packet cut or filled up."""
        size = self.random.randrange(_LONGEST if self.random.random() < 0.2 else 256)
        data = self.pick().data
        data = data[:size] if len(data) >= size else data + self.random.randbytes(size - len(data))
        return self._sealed(self._body(data)) if self.plan.crc and len(data) > self.plan.crc.size else data
