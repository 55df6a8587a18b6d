"""The numbers of the reference's trails: lists of bits, first bit first.

>>> residual_bits(3, 1, bent=False)
[1, 1, 1, 0, 0]
>>> residual(iter([1, 1, 1, 0, 0]), 1, bent=False)
3
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


class Unreadable(Exception):
    """Bits that no encoder writes. It never leaves the reference, which names the packet's fault."""


def digits(number: int, width: int) -> list[int]:
    """The bits of a number, the highest first."""
    return [number >> place & 1 for place in reversed(range(width))]


def number(stream: Iterator[int], width: int) -> int:
    """The number in the next bits.

    Raises:
        Unreadable: they end early.
    """
    found = 0
    for _ in range(width):
        bit = next(stream, None)
        if bit is None:
            raise Unreadable("its bits end early")
        found = 2 * found + bit
    return found


def _buckets(order: int, *, bent: bool) -> Iterator[int]:
    """The orders of the buckets that the ones of a code count off: doubling at once, or after the first five."""
    if not bent:
        yield from [order] * 5
        order += 1
    while True:
        yield order
        order += 1


def residual(stream: Iterator[int], order: int, *, bent: bool) -> int:
    """The next residual: ones count buckets off, a zero ends them, then the place within the bucket."""
    skipped = 0
    for bucket in _buckets(order, bent=bent):
        if bucket > 24:
            raise Unreadable("a number is too long")
        if not number(stream, 1):
            mapped = skipped + number(stream, bucket)
            return mapped // 2 if mapped % 2 == 0 else -(mapped + 1) // 2
        skipped += 2**bucket
    raise AssertionError("the buckets have no end")


def residual_bits(residual: int, order: int, *, bent: bool) -> list[int]:
    """The bits of a residual."""
    mapped = 2 * residual if residual >= 0 else 2 * -residual - 1
    bits: list[int] = []
    for bucket in _buckets(order, bent=bent):
        if mapped < 2**bucket:
            return [*bits, 0, *digits(mapped, bucket)]
        mapped -= 2**bucket
        bits.append(1)
    raise AssertionError("the buckets have no end")
