"""The reference's low bits: by definition, from all codes that a remainder can stand for.

Owns no rule: it states that of `packetcodec.wire.low_bits` a second time and imports none of it. Codes on a circle stand
on it like hours on a clock; whatever is nearest to the reference, the short way round, is tried first.

>>> Remainders(10, 3, circle=True, optional=False).meant(1, 9)       # 7 is two steps off, 1 too, but across the seam
[7]
>>> Remainders(11, 5, circle=True, optional=False).meant(0, 0)       # of 0, 5 and 10 the last is one step off
[0, 10]
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Remainders:
    """How one field is sent by the low bits of its codes.

    Attributes:
        count: codes of the field, absent not counted.
        modulus: of what is sent.
        circle: whether its last code lies next to its first.
        optional: whether a remainder is kept for absent.
    """

    count: int
    modulus: int
    circle: bool
    optional: bool

    @property
    def high_width(self) -> int:
        """Bits that number all multiples of the modulus among the codes."""
        return len(f"{(self.count - 1) // self.modulus:b}")

    def meant(self, remainder: int, reference: int) -> list[int]:
        """The codes that a remainder may stand for, in the order in which they are tried."""
        last = (self.count - 1 - remainder) // self.modulus
        around = reference // self.modulus
        turns = {0, last, *(turn for turn in range(around - 2, around + 3) if 0 <= turn <= last)}
        tried = sorted((*self._way(code, reference), code) for code in (turn * self.modulus + remainder for turn in turns))
        within = [code for way, _, code in tried[1:] if self.circle and 2 * way < self.modulus]
        return [tried[0][2], *within]

    def _way(self, code: int, reference: int) -> tuple[int, bool]:
        """Steps from one to the other, and whether the short way leads across the seam."""
        straight = abs(code - reference)
        if self.circle and self.count - straight < straight:
            return self.count - straight, True
        return straight, False
