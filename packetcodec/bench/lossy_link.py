"""A lossy radio link for the bench: packets go in, what a receiver hears comes out. The same seed, the same losses.

Owns one rule: what the link does to a packet depends on the packet's number alone, never on its content or length. Each
kind of damage draws from a stream of random numbers of its own, so that two formats are compared on the very same losses.

Losses come in runs: a chain of two states (Gilbert 1960, Elliott 1963), in which every packet of the bad state is lost and
none of the good one. Mean rate and mean length of a run fix both its probabilities.

>>> link = Link(LinkConditions(loss=0.4, burst=3, seed=1))
>>> "".join("." if link.send(bytes(1)) else "x" for _ in range(50))
'x....xxxx....x..x..x...........x..xxx...x.....xx..'
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from random import Random
from typing import NamedTuple

from packetcodec.errors import PacketcodecError

#: Most packets by which one can be late: beyond it a bench test says nothing about a radio.
MAX_LATE = 1000
#: By which the least burst, a quotient of two floats, may miss a number that a user writes.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkConditions:
    """What a link does to packets.

    Attributes:
        loss: mean share of packets lost, 0 up to (not including) 1.
        burst: mean number of packets lost in a row, or None for losses that know nothing of each other. Those have runs
            of 1 / (1 - loss) packets in the mean; at least 1, and at least loss / (1 - loss), is possible.
        bit_errors: probability of each bit of a packet that arrives to be flipped, 0..1.
        duplicates: probability that a packet that arrives does so twice, 0..1; each copy has bit errors of its own.
        reorder: a packet is late by 0 up to this many packets, each as likely.
        seed: of the random numbers.
    """

    loss: float = 0.0
    burst: float | None = None
    bit_errors: float = 0.0
    duplicates: float = 0.0
    reorder: int = 0
    seed: int = 1

    def __post_init__(self) -> None:
        """Demand that the numbers are possible.

        Raises:
            PacketcodecError: one is not; the message names it, its bounds and its value.
        """
        if not 0 <= self.loss < 1:
            raise PacketcodecError(f"loss: {self.loss:g} is outside 0 up to (not including) 1")
        for name, value in (("bit errors", self.bit_errors), ("duplicates", self.duplicates)):
            if not 0 <= value <= 1:
                raise PacketcodecError(f"{name}: {value:g} is outside 0..1")
        if not 0 <= self.reorder <= MAX_LATE:
            raise PacketcodecError(f"reorder: {self.reorder} is outside 0..{MAX_LATE} packets")
        if self.burst is not None:
            least = max(1.0, self.loss / (1 - self.loss))
            if not isfinite(self.burst):
                raise PacketcodecError(f"burst: {self.burst:g} is not a finite number")
            if self.burst < least - _ROUNDING:
                raise PacketcodecError(f"burst: {self.burst:g} is below {least:.4g} packets, the least at this loss")

    def chances(self) -> tuple[float, float]:
        """Probability that the packet after one that arrived is lost, and that the one after a lost one arrives."""
        if self.burst is None:
            return self.loss, 1 - self.loss
        return min(1.0, self.loss / (1 - self.loss) / self.burst), 1 / self.burst


class Arrival(NamedTuple):
    """What a receiver hears.

    Attributes:
        number: which packet of the link this was, from 0.
        data: its bytes.
        flipped: how many of their bits are wrong.
    """

    number: int
    data: bytes
    flipped: int


class Link:
    """A link under way. Only `random.Random` decides, so every machine gives the same bytes."""

    def __init__(self, conditions: LinkConditions) -> None:
        self.conditions = conditions
        seeds = Random(conditions.seed)  # noqa: S311  # no secret: a repeatable test
        self._losses, self._copies, self._delays, self._bits = (Random(seeds.getrandbits(64)) for _ in range(4))  # noqa: S311
        self._start, self._end = conditions.chances()
        self._bad = self._losses.random() < conditions.loss
        self._sent = 0
        # Due at, number, copy, packet: what comes first in order of sending comes first out of those due at once.
        self._under_way: list[tuple[int, int, int, Arrival]] = []

    def send(self, data: bytes) -> list[Arrival]:
        """Send a packet; what arrives then, before the next one is sent."""
        number = self._sent
        self._sent += 1
        # One number per packet and stream, used or not: later packets meet the same fate whatever the conditions are.
        chance = self._losses.random()
        twice = self._copies.random() < self.conditions.duplicates
        delays = [int(self._delays.random() * (self.conditions.reorder + 1)) for _ in range(2)]
        seeds = [self._bits.getrandbits(64) for _ in range(2)]
        lost, self._bad = self._bad, chance >= self._end if self._bad else chance < self._start
        if not lost:
            for copy in range(1 + twice):
                arrival = Arrival(number, *self._flip(data, seeds[copy]))
                self._under_way.append((number + delays[copy], number, copy, arrival))
        return self._due(number)

    def end(self) -> list[Arrival]:
        """What still arrives after the last packet."""
        return self._due(self._sent + self.conditions.reorder)

    def _due(self, now: int) -> list[Arrival]:
        due = sorted(item for item in self._under_way if item[0] <= now)
        self._under_way = [item for item in self._under_way if item[0] > now]
        return [arrival for _, _, _, arrival in due]

    def _flip(self, data: bytes, seed: int) -> tuple[bytes, int]:
        if not self.conditions.bit_errors:
            return data, 0
        # A number per bit, first bit first: a longer packet has the same errors where both have bits.
        errors = Random(seed)  # noqa: S311
        mask = 0
        for _ in range(len(data) * 8):
            mask = mask << 1 | (errors.random() < self.conditions.bit_errors)
        return (int.from_bytes(data, "big") ^ mask).to_bytes(len(data), "big"), mask.bit_count()
