"""The guaranteed Hamming distance of a CRC at a packet length, computed, not looked up.

Owns one rule: how many wrong bits a check is sure to notice. At Hamming distance d every packet with up to
d - 1 wrong bits, wherever they are, is refused. Only the polynomial and the length matter: start, reflection
and final XOR change nothing.

An error escapes when its polynomial is a multiple of the generator G, so the distance is the least weight of
a multiple of G that fits the packet. A multiple may be shifted until it has a term 1; hence for each weight
the shortest one is searched for, 1 + x^m and a few terms between, split into two halves that must have the
same remainder modulo G. The short packets, where distances are large, are simply enumerated.

>>> from packetcodec.crc import find_crc
>>> crc = find_crc("CRC-16/EN-13757")
>>> [str(packet_distance(crc, packet_bytes)) for packet_bytes in (14, 18, 21)]
['6', '6', '2']
>>> is_weak(crc, 21)
True
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import comb
from typing import TYPE_CHECKING, Final

import numpy as np

from packetcodec.crc.crc import MODEM_POLYNOMIAL, demand_generator
from packetcodec.errors import PacketcodecError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from packetcodec.crc.crc import Crc

__all__ = [
    "EXACT_BITS", "LONGEST_BITS", "Distance", "breakpoints", "distance_at", "double_error_limit", "is_weak",
    "joint_check_bits", "packet_distance",
]  # fmt: skip

EXACT_BITS: Final = 512
"""Packets up to this long get the exact distance, whatever the polynomial."""

LONGEST_BITS: Final = 255 * 8
"""The longest packet a LoRa modem sends."""

_ENUMERATED = 20  # packets of up to this many data bits are enumerated (2**19 multiples of G)
_PATIENCE = 80_000_000  # combinations per weight in packets beyond EXACT_BITS, then the answer is "at least"


@dataclass(frozen=True, slots=True)
class Distance:
    """A Hamming distance, and whether it is exact or only a lower bound.

    Attributes:
        value: every packet with fewer than `value` wrong bits is refused.
        exact: some packet with `value` wrong bits is accepted; otherwise the distance may be larger.

    >>> str(Distance(6, exact=False))
    'at least 6'
    """

    value: int
    exact: bool

    def __str__(self) -> str:
        return f"{self.value}" if self.exact else f"at least {self.value}"


def distance_at(polynomial: int, width: int, packet_bits: int) -> Distance:
    """Guaranteed Hamming distance of a whole packet of up to 255 bytes.

    Exact up to 512 bits. Beyond, distances up to 5 always are, and those of every catalogue CRC; where the
    search would take too long the result is a lower bound and says so.

    Args:
        polynomial: normal form without the top bit, odd.
        width: bits of the check: 8, 16, 24 or 32.
        packet_bits: data and check together, width + 1 .. 2040.

    Raises:
        PacketcodecError: an argument outside its range.

    >>> distance_at(0x3D65, 16, packet_bits=17 * 8).value
    6
    """
    demand_generator(polynomial, width)
    if not width < packet_bits <= LONGEST_BITS:
        raise PacketcodecError(
            f"packet of {packet_bits} bits is outside {width + 1}..{LONGEST_BITS} (check of {width} bits)"
        )
    window = EXACT_BITS if packet_bits <= EXACT_BITS else LONGEST_BITS
    return next(distance for from_bits, distance in _staircase(polynomial, width, window) if from_bits <= packet_bits)


def packet_distance(crc: Crc, packet_bytes: int) -> Distance:
    """Guaranteed Hamming distance of a packet of so many bytes, the check included; see `distance_at`."""
    return distance_at(crc.polynomial, crc.width, packet_bytes * 8)


def is_weak(crc: Crc, packet_bytes: int) -> bool:
    """Whether the check is too weak for a packet of so many bytes: two wrong bits can escape it."""
    return packet_distance(crc, packet_bytes).value <= 2


def breakpoints(polynomial: int, width: int, up_to_bits: int = EXACT_BITS) -> tuple[tuple[int, int], ...]:
    """The distances that occur in packets of up to `up_to_bits` bits, each with the longest data that has it.

    Returns:
        ``(distance, data bits)``, falling in distance and rising in bits. The last one ends at
        ``up_to_bits - width`` because nothing longer was looked at.

    Raises:
        PacketcodecError: an argument outside its range; `up_to_bits` may be width + 1 .. 512.

    >>> breakpoints(0x3D65, 16, up_to_bits=64)
    ((10, 4), (8, 6), (6, 48))
    """
    demand_generator(polynomial, width)
    if not width < up_to_bits <= EXACT_BITS:
        raise PacketcodecError(f"breakpoints up to {up_to_bits} bits: outside {width + 1}..{EXACT_BITS} bits")
    found: list[tuple[int, int]] = []
    longest = up_to_bits
    for from_bits, distance in _staircase(polynomial, width, EXACT_BITS):
        if from_bits <= longest:
            found.append((distance.value, longest - width))
            longest = from_bits - 1
    return tuple(reversed(found))


def double_error_limit(polynomial: int, width: int) -> int | None:
    """Longest packet, data and check together in bits, in which any two wrong bits are noticed.

    It is the order of x modulo the generator: one bit more, and the distance is 2. Exact; None if it is not
    exceeded by any packet of up to 255 bytes.

    >>> double_error_limit(0x3D65, 16)
    151
    """
    demand_generator(polynomial, width)
    remainders = _remainders(1 << width | polynomial, LONGEST_BITS)
    periods = np.flatnonzero(remainders[1:] == 1)
    return int(periods[0]) + 1 if len(periods) else None


def joint_check_bits(polynomial: int, width: int) -> int:
    """Independent check bits of this CRC and the LoRa modem's payload CRC together, against payload errors.

    It is the degree of the least common multiple of the two generators: errors confined to the payload (data
    and application CRC) escape both checks exactly when their polynomial is a multiple of it. With the
    modem's own polynomial it is 16, as without any application CRC. The distance of the two together is not
    computed: errors may fall on the modem's CRC as well, and the whole is then no cyclic code.

    >>> joint_check_bits(0x3D65, 16), joint_check_bits(0x1021, 16)
    (31, 16)
    """
    demand_generator(polynomial, width)
    first, second = 1 << width | polynomial, 1 << 16 | MODEM_POLYNOMIAL
    degrees = width + 16
    while second:
        first, second = second, _modulo(first, second)
    return degrees - (first.bit_length() - 1)


#: From so many bits on, packets have this distance, until a step with a smaller one starts.
_Step = tuple[int, Distance]


@lru_cache(maxsize=256)
def _staircase(polynomial: int, width: int, window: int) -> tuple[_Step, ...]:
    """The steps up to packets of `window` bits, in rising distance and falling length."""
    generator = 1 << width | polynomial
    short = _short_steps(generator)
    remainders = _remainders(generator, window)
    # With a factor x + 1 every multiple of the generator has an even number of terms.
    stride = 2 if generator.bit_count() % 2 == 0 else 1
    patience = _PATIENCE if window > EXACT_BITS else None
    limit = window  # longest packet whose distance is still open
    steps: list[_Step] = []
    for weight in range(2, short[0][1].value, stride):
        bits, found = _shortest(weight, remainders, width + _ENUMERATED, limit, patience)
        if bits <= limit:
            steps.append((bits, Distance(weight, exact=found)))
            limit = bits - 1
    return (*steps, *short)


def _short_steps(generator: int) -> tuple[_Step, ...]:
    """The steps of packets with up to `_ENUMERATED` data bits: every multiple of the generator is weighed."""
    width = generator.bit_length() - 1
    multiples = np.array([generator], dtype=np.uint64)  # those with a term 1; all degrees so far
    steps = [(width + 1, Distance(generator.bit_count(), exact=True))]
    for shift in range(1, _ENUMERATED):
        longer = multiples ^ np.uint64(generator << shift)
        lightest = int(_weights(longer).min())
        if lightest < steps[0][1].value:
            steps.insert(0, (width + 1 + shift, Distance(lightest, exact=True)))
        multiples = np.concatenate((multiples, longer))
    return tuple(steps)


def _shortest(
    weight: int, remainders: NDArray[np.int64], enumerated: int, limit: int, patience: int | None
) -> tuple[int, bool]:
    """Bits of the shortest multiple with `weight` terms that is longer than `enumerated`; limit + 1 if none.

    There must be none with fewer terms up to `limit`. Then no two different choices of terms on one side have
    the same remainder, and no term can stand on both sides: each match is one multiple, and it is genuine.

    Returns:
        The length and True; or, `patience` combinations tried, the first length not searched and False.
    """
    near = (weight - 1) // 2  # terms on the side that is tabulated, beside the term 1
    far = weight - 2 - near  # terms on the side that is looked up, beside x^m
    tried = 0
    start = enumerated
    while start < limit:
        stop = min(limit, start + max(16, start // 4))
        tried += comb(stop - 1, near) + comb(stop - 1, far + 1)
        if patience is not None and tried > patience:
            return start + 1, False
        table = _Table(1 ^ _sums(remainders[1:stop], near), near)
        others = _sums(remainders[1:stop], far)
        for top in range(start, stop):
            candidates = others[: comb(top - 1, far)] ^ remainders[top]
            if table.has(candidates, below=top):
                return top + 1, True
        start = stop
    return limit + 1, False


class _Table:
    """Remainders of all choices of `terms` positions; tells whether one of given remainders is among them."""

    def __init__(self, sums: NDArray[np.int64], terms: int) -> None:
        self.order = np.argsort(sums, kind="stable")
        self.sorted = sums[self.order]
        self.terms = terms
        # A coarse table of low bits turns away nearly every candidate before the search proper.
        self.mask = (1 << min(24, max(12, len(sums).bit_length() + 7))) - 1
        self.marks = np.zeros(self.mask + 1, dtype=np.bool_)
        self.marks[sums & self.mask] = True

    def has(self, candidates: NDArray[np.int64], *, below: int) -> bool:
        """Whether a candidate equals the remainder of a choice among the positions 1 .. below - 1."""
        candidates = candidates[self.marks[candidates & self.mask]]
        if not len(candidates):
            return False
        places = np.searchsorted(self.sorted, candidates)
        places[places == len(self.sorted)] = 0
        hits = self.order[places[self.sorted[places] == candidates]]
        # Choices are listed in the order of their highest position.
        return bool(np.any(hits < comb(below - 1, self.terms)))


def _sums(remainders: NDArray[np.int64], terms: int) -> NDArray[np.int64]:
    """XOR of every choice of `terms` remainders, in the order of the last one chosen.

    The choices among the first n are thus the first comb(n, terms) entries.
    """
    if terms == 0:
        return np.zeros(1, dtype=np.int64)
    fewer = _sums(remainders[:-1], terms - 1)
    out = np.empty(comb(len(remainders), terms), dtype=np.int64)
    for last in range(terms - 1, len(remainders)):
        out[comb(last, terms) : comb(last + 1, terms)] = fewer[: comb(last, terms - 1)] ^ remainders[last]
    return out


def _remainders(generator: int, count: int) -> NDArray[np.int64]:
    """x^0 .. x^(count - 1) modulo the generator; shape (count,)."""
    top = 1 << generator.bit_length() - 1
    out = np.empty(count, dtype=np.int64)
    register = 1
    for i in range(count):
        out[i] = register
        register <<= 1
        if register & top:
            register ^= generator
    return out


def _weights(words: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Number of one bits in each word (numpy counts them itself only since 2.0)."""
    ones = [np.uint64(byte * 0x0101010101010101) for byte in (0x55, 0x33, 0x0F, 0x01)]
    words = words - (words >> np.uint64(1) & ones[0])
    words = (words & ones[1]) + (words >> np.uint64(2) & ones[1])
    words = words + (words >> np.uint64(4)) & ones[2]
    return words * ones[3] >> np.uint64(56)


def _modulo(dividend: int, divisor: int) -> int:
    """Remainder of polynomials over GF(2)."""
    while dividend.bit_length() >= divisor.bit_length():
        dividend ^= divisor << dividend.bit_length() - divisor.bit_length()
    return dividend
