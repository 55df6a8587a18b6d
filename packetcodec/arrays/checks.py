"""The numbers of a check as the kernels read them: what each part of a packet adds to it.

Owns one rule. A CRC is linear: the register after a packet is the XOR of what each part of it leaves at its place, and of
what the seed leaves. What a byte leaves stands in a table; what a longer part leaves is the remainder of a product: that of
the part, a polynomial, and of the power of x for its place. The bytes of a reflected CRC are taken as one number whose
lowest byte is the first, so that the same holds for the mirrored polynomial, and powers are those of 1/x.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from packetcodec.wire import LayoutPlan, Plan

_ALL = (1 << 64) - 1


def check_tables(plan: Plan, layout: LayoutPlan) -> tuple[NDArray[np.uint32], NDArray[np.uint32]]:
    """What each byte at each place of the longest packet adds to its check, and the check of zeros for each length.

    Checks are numbers of the bytes in the order in which they are appended. Rows stand for places before the end of a
    packet, those of the check itself included; eight rows of zero are behind them.
    """
    table, zeros = np.zeros((layout.longest + 8, 256), np.uint32), np.zeros(layout.longest + 1, np.uint32)
    size = layout.check_bytes
    if plan.crc is None:
        return table, zeros
    table[: layout.longest - size] = byte_tables(plan, layout.longest - size)
    for place in range(size):
        table[layout.longest - size + place] = np.arange(256, dtype=np.uint32) << np.uint32(8 * (size - place - 1))
    high = bytes(-(-sum(low.high_bits for _, _, low in layout.low_fields) // 8))
    zeros[size:] = [int.from_bytes(plan.check(bytes(length), high), "big") for length in range(layout.longest - size + 1)]
    return table, zeros


def byte_tables(plan: Plan, length: int) -> NDArray[np.uint32]:
    """What each byte at each place of `length` bytes adds to the check behind them, as it is appended."""
    table = np.zeros((length, 256), np.uint32)
    for place, row in enumerate(table):
        zeros = bytes(length - place - 1)
        nothing = int.from_bytes(plan.check(b"\0" + zeros), "big")
        for bit in range(8):
            added = int.from_bytes(plan.check(bytes([1 << bit]) + zeros), "big") ^ nothing
            row[1 << bit : 2 << bit] = row[: 1 << bit] ^ np.uint32(added)
    return table


def check_factors(plan: Plan, length: int) -> NDArray[np.uint64]:
    """The factors of the parts of `length` bytes, as `packetcodec.arrays.kernels.checks` names their numbers.

    A row for the polynomial; one for each part before the last eight bytes, short enough that its product has 64 bits; and
    one for those eight, which need no factor.
    """
    if plan.crc is None:
        return np.zeros((2, 5), np.uint64)
    width, reflected = plan.crc.width, plan.crc.reflected
    if reflected:  # Montgomery's reduction, from the first byte on
        whole = plan.crc.as_run(plan.crc.polynomial) << 1 | 1
        rows = [(_inverse(whole), 64 - width, 0, whole, 1)]
    else:  # Barrett's, from the last one on
        whole = 1 << width | plan.crc.polynomial
        rows = [(_quotient(1 << 64 + width, whole) & _ALL, 0, (1 << width) - 1, whole & (1 << width) - 1, 0)]
    behind, longest = max(0, length - 8), 8 - width // 8
    for at in range(0, behind, longest):
        size = min(longest, behind - at)
        power = 64 - 8 * (length - at) if reflected else 8 * (length - at - size)
        rows.append((at, 8 * size, _top(8 * size), 0 if reflected else 64 - 8 * size, _power(power, whole)))
    bits = 8 * min(8, length)
    rows.append((behind, bits, _top(bits), 64 - bits, 1))
    return np.array(rows, np.uint64)


def _top(bits: int) -> int:
    """A mask of so many bits at the top of a word."""
    return _ALL << 64 - bits & _ALL


def _quotient(number: int, divisor: int) -> int:
    """The quotient of two polynomials."""
    found = 0
    while (behind := number.bit_length() - divisor.bit_length()) >= 0:
        found |= 1 << behind
        number ^= divisor << behind
    return found


def _inverse(divisor: int) -> int:
    """The polynomial whose product with one that ends in 1 is 1 modulo x to the 64."""
    found, rest = 0, 1
    for place in range(64):
        if rest >> place & 1:
            found, rest = found | 1 << place, rest ^ divisor << place
    return found


def _power(power: int, divisor: int) -> int:
    """A power of x, or of 1/x where it is negative, modulo a polynomial that ends in 1."""
    found, top = 1, divisor.bit_length() - 1
    for _ in range(abs(power)):
        if power > 0:
            found = found << 1 ^ (divisor if found >> top - 1 & 1 else 0)
        else:
            found = (found ^ divisor if found & 1 else found) >> 1
    return found
