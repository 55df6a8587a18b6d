"""The numbers of a trail as bits: adaptive Golomb-Rice codes with a soft escape.

Owns two rules. A residual r is coded with order k as u = 2r (r >= 0) or -2r - 1: while u >= 2^k a one is written and 2^k
taken off u, and from the STEADY-th one on (for the first point of a trail from the first) k grows by one; then a zero, and
u in k bits. The order is the smallest k with count * 2^k >= sum, where sum and count are those of the magnitudes already
coded, halved whenever the count reaches WINDOW, and start from numbers of the schema. No side information is sent.

(The order rule is the one of lossless image coding by ITU-T T.87, from memory.)

>>> bits = Bits()
>>> bits.code(-3, 1, STEADY), bits.number, bits.length    # u = 5 = 2 + 2 + 1: 1 1 0 and one bit 1
(-3, 13, 4)
>>> Reader(13, 4).code(None, 1, STEADY)
-3
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    #: Writes the residual it is given, or reads one for None, with an order and a steadiness; and returns it.
    Coder = Callable[[int | None, int, int], int]

STEADY = 5
WINDOW = 8
#: No legal value needs a higher order: every residual is below 2^23 in magnitude.
MAX_ORDER = 24


class BadTrailFault(Exception):
    """The bits of a trail that no encoder writes. The message says why; the caller names the packet's fault."""


class Bits:
    """Bits being written, most significant first."""

    __slots__ = ("length", "number")

    def __init__(self) -> None:
        self.number = 0
        self.length = 0

    def put(self, value: int, width: int) -> None:
        """Append `value` in `width` bits."""
        self.number = self.number << width | value
        self.length += width

    def code(self, residual: int | None, order: int, steady: int) -> int:
        """Write a residual, and return it."""
        assert residual is not None  # noqa: S101  # only a reader is asked for one
        rest = 2 * residual if residual >= 0 else -2 * residual - 1
        ones = rest >> order
        if ones < steady:  # the order stays: all bits at once
            self.number = self.number << ones + 1 + order | (1 << ones) - 1 << 1 + order | rest & (1 << order) - 1
            self.length += ones + 1 + order
            return residual
        while rest >= 1 << order:
            self.put(1, 1)
            rest -= 1 << order
            steady -= 1
            order += steady <= 0
        self.put(rest, 1 + order)
        return residual

    def copy(self) -> Bits:
        """The same bits, to be continued on their own."""
        other = Bits()
        other.number, other.length = self.number, self.length
        return other


class Reader:
    """Bits being read: the lowest `length` bits of a number, most significant first."""

    __slots__ = ("left", "number")

    def __init__(self, number: int, length: int) -> None:
        self.number = number
        self.left = length

    def get(self, width: int) -> int:
        """The next `width` bits.

        Raises:
            BadTrailFault: there are fewer left.
        """
        self.left -= width
        if self.left < 0:
            raise BadTrailFault("its bits end early")
        return self.number >> self.left & (1 << width) - 1

    def code(self, _residual: int | None, order: int, steady: int) -> int:
        """Read a residual.

        Raises:
            BadTrailFault: the bits end early, or the code is longer than any value needs.
        """
        left = self.left
        ones = left - (~self.number & (1 << left) - 1).bit_length()
        behind = left - ones - 1 - order
        if ones < steady and behind >= 0 and order <= MAX_ORDER:  # the order stays: all bits at once
            self.left = behind
            rest = ones << order | self.number >> behind & (1 << order) - 1
            return -(rest >> 1) - 1 if rest & 1 else rest >> 1
        rest = 0
        while self.get(1):
            rest += 1 << order
            steady -= 1
            order += steady <= 0
            if order > MAX_ORDER:
                raise BadTrailFault("a number in it is longer than any that is sent")
        rest += self.get(order)
        return -(rest >> 1) - 1 if rest & 1 else rest >> 1


class Scale:
    """How large residuals have been so far: a sum of magnitudes and their count."""

    __slots__ = ("count", "sum")

    def __init__(self, start: int) -> None:
        self.sum = start
        self.count = 1

    def code(self, residual: int | None, coder: Coder, steady: int) -> int:
        """Write a residual, or read one for None, with the order that follows from those before it; and return it."""
        total = self.sum
        order = ((total - 1) // self.count).bit_length() if total else 0  # 2^order reaches sum / count, rounded up
        residual = coder(residual, order, steady)
        self.sum = total + abs(residual)
        self.count += 1
        if self.count == WINDOW:
            self.sum >>= 1
            self.count >>= 1
        return residual
