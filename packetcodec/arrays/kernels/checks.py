"""What parts of packets add to their checks: by products without carries where the processor has them, else by tables.

Owns one rule: how the remainder of a sum of products is found, which `packetcodec.arrays.checks` has the numbers for.
"""

from __future__ import annotations

import numpy as np

from packetcodec.arrays.kernels.machine import LANES, inner, multiply_lanes, swapped
from packetcodec.arrays.kernels.numbers import SPARE

_U32, _U64, _BYTE = np.uint32, np.uint64, np.uint64(255)
#: Numbers of a part of a packet: its first byte, its bits, their mask, how far they are shifted down, its factor.
AT, BITS, KEEP, DOWN, FACTOR = range(5)
#: Numbers of the polynomial: what the quotient is found by, its own bits, and whether they are mirrored.
INVERSE, POLYNOMIAL, MIRRORED = 0, 3, 4
#: Packets whose products are taken together, in the last rows of `words`: they stay in the first cache.
SOME = 256


@inner
def kept_bytes(size):
    """A mask of the first `size` bytes of a word."""
    return ~_U64(0) if size >= 8 else ~(~_U64(0) >> _U64(8 * size))


@inner
def add_bytes(column, tables, row, size, count, registers):
    """What the first `size` bytes of a word of each packet add to its register: one number for each byte at its place."""
    a, b, c, d = tables[row], tables[row + 1], tables[row + 2], tables[row + 3]
    keep = kept_bytes(size)
    if size <= 4:
        for i in range(count):
            word = column[i] & keep
            registers[i] ^= (
                a[word >> _U64(56)] ^ b[word >> _U64(48) & _BYTE] ^ c[word >> _U64(40) & _BYTE] ^ d[word >> _U64(32) & _BYTE]
            )
        return
    e, f, g, h = tables[row + 4], tables[row + 5], tables[row + 6], tables[row + 7]
    for i in range(count):
        word = column[i] & keep
        registers[i] ^= (
            a[word >> _U64(56)] ^ b[word >> _U64(48) & _BYTE] ^ c[word >> _U64(40) & _BYTE] ^ d[word >> _U64(32) & _BYTE]
            ^ e[word >> _U64(24) & _BYTE] ^ f[word >> _U64(16) & _BYTE] ^ g[word >> _U64(8) & _BYTE] ^ h[word & _BYTE]
        )  # fmt: skip


@inner
def added_by(word, tables, row):
    """What the eight bytes of one word add to a register."""
    return (
        tables[row, word >> _U64(56)] ^ tables[row + 1, word >> _U64(48) & _BYTE]
        ^ tables[row + 2, word >> _U64(40) & _BYTE] ^ tables[row + 3, word >> _U64(32) & _BYTE]
        ^ tables[row + 4, word >> _U64(24) & _BYTE] ^ tables[row + 5, word >> _U64(16) & _BYTE]
        ^ tables[row + 6, word >> _U64(8) & _BYTE] ^ tables[row + 7, word & _BYTE]
    )  # fmt: skip


@inner
def add_by_tables(words, tables, factors, size, count, registers):  # noqa: ARG001  # the arguments of `add_products`
    """What the first `size` bytes of each packet add to its register."""
    for word in range((size + 7) >> 3):
        add_bytes(words[word], tables, 8 * word, size - 8 * word, count, registers)


@inner
def add_products(words, tables, factors, size, count, registers):  # noqa: ARG001  # the arguments of `add_by_tables`
    """The same by products."""
    for lo in range(0, count, SOME):
        add_some(words, factors, lo, registers[lo : min(lo + SOME, count)])


add_words = add_products if LANES else add_by_tables


@inner
def add_some(words, factors, lo, registers):
    """The same for a few packets from one on."""
    first, last, count = words.shape[0] - SPARE, factors.shape[0] - 1, registers.size
    part, sums = words[first, :SOME], words[first + 1, :SOME]
    low, high = words[first + 2, :SOME], words[first + 3, :SOME]
    mirrored, down, mask = factors[0, MIRRORED], factors[0, BITS], factors[0, KEEP]
    take(words, lo, factors[last], mirrored, count, sums)
    for number in range(1, last):
        take(words, lo, factors[number], mirrored, count, part)
        multiply(part, factors[number, FACTOR], count, low, high)
        for i in range(count):
            sums[i] ^= low[i]
    multiply(sums, factors[0, INVERSE], count, low, high)
    if mirrored:
        multiply(low, factors[0, POLYNOMIAL], count, part, high)
        for i in range(count):
            registers[i] ^= _U32(swapped(high[i]) >> down)
    else:
        for i in range(count):
            high[i] ^= sums[i]
        multiply(high, factors[0, POLYNOMIAL], count, low, part)
        for i in range(count):
            registers[i] ^= _U32(low[i] & mask)


@inner
def take(words, lo, row, mirrored, count, out):
    """A part of each packet as a number."""
    word, shift, keep, down = row[AT] >> _U64(3), (row[AT] & _U64(7)) << _U64(3), row[KEEP], row[DOWN]
    first = words[word, lo : lo + count]
    if shift + row[BITS] > 64:
        second, up = words[word + _U64(1), lo : lo + count], _U64(64) - shift
        for i in range(count):
            out[i] = ((first[i] << shift | second[i] >> up) & keep) >> down
    else:
        for i in range(count):
            out[i] = (first[i] << shift & keep) >> down
    if mirrored:
        for i in range(count):
            out[i] = swapped(out[i])


@inner
def multiply(source, factor, count, low, high):
    """Products without carries of numbers with one factor: their low and their high 64 bits."""
    for at in range(0, count, LANES):
        multiply_lanes(source, at, factor, low, high)
