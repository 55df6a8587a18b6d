"""The kernels of encoding: columns to codes, a field at a time, and codes to packets.

Owns no rule of the wire: it says `packetcodec.wire.quantize` again. The quotient of two whole numbers below 2^52, rounded
down, is that of two floats: no step of a code needs the division of integers. What cannot be sent is marked and goes on.
"""

from __future__ import annotations

import numpy as np

from packetcodec.arrays.kernels.checks import add_by_tables, add_words
from packetcodec.arrays.kernels.machine import inner, store
from packetcodec.arrays.kernels.numbers import (
    IN_ABSENT, IN_HIGH, IN_LOW, IN_STEP, LAST, MAX_INPUT, MODULUS, ORIGIN, PACK_BLOCK, POLICY, REFUSE, SCALE, WHOLE, WRAP,
)  # fmt: skip

_U64 = np.uint64
#: A float in whose last bits a whole number stands that was added to its bits.
_THREE_HALVES, _BITS_OF_THREE_HALVES = 1.5 * 2.0**52, np.int64(0x4338000000000000)


@inner
def beyond(some, low, behind):
    """Whether a number is not from one on and below another: to turn it into a circle takes longer than all else."""
    inside = 0
    for i in range(some.size):
        inside += (some[i] >= low) & (some[i] < behind)
    return inside < some.size


@inner
def codes_of(base, row, codes, bad):
    """Codes of base units, which are whole and finite floats."""
    low, high, most, step = (
        np.float64(row[IN_LOW]),
        np.float64(row[IN_HIGH]),
        np.float64(row[MAX_INPUT]),
        np.float64(row[IN_STEP]),
    )
    half, policy = np.float64(row[IN_STEP] // 2), row[POLICY]
    if policy == REFUSE:
        for i in range(base.size):
            bad[i] |= np.uint8(base[i] < low) | np.uint8(base[i] > most)
    elif policy == WRAP:
        around, shift = np.float64(row[MODULUS]), np.float64(row[IN_LOW] % row[MODULUS])
        if beyond(base, low, high):
            for i in range(base.size):
                if not low <= base[i] < high:  # a remainder of floats is exact
                    turned = np.fmod(np.fmod(base[i], around) - shift, around)
                    base[i] = low + (turned + around if turned < 0.0 else turned)
    half_way = np.uint32(1) << np.uint32(31)
    for i in range(base.size):  # machines convert to numbers with a sign
        code = np.floor((min(max(base[i], low), high) - low + half) / step)
        codes[i] = np.uint32(np.int32(code - 2147483648.0)) ^ half_way
    if row[MODULUS]:
        last = np.uint32(row[LAST])
        for i in range(base.size):
            codes[i] = np.uint32(0) if codes[i] > last else codes[i]


@inner
def settle(valid, row, codes, bad):
    """Absent values have their code, or are at fault; what is at fault is sent as 0, which nobody gets to see."""
    if valid.size:
        absent, required = np.uint32(max(row[IN_ABSENT], 0)), np.uint8(row[IN_ABSENT] < 0)
        for i in range(codes.size):
            codes[i] = codes[i] if valid[i] else absent
        for i in range(codes.size):
            bad[i] = bad[i] if valid[i] else required


def code_reals(values, valid, row, base, codes, bad):
    """Codes of floats in the field's unit, as many at a time as `base` holds; an empty `valid` says that all are there."""
    for at in range(0, values.size, base.size):
        end = min(at + base.size, values.size)
        some_reals(values[at:end], valid[at:end], row, base[: end - at], codes[at:end], bad[at:end])
    return values.size


@inner
def some_reals(values, valid, row, base, codes, bad):
    """Some of them."""
    scale, origin = np.float64(row[SCALE]), np.float64(row[ORIGIN])
    for i in range(values.size):
        scaled = np.rint(values[i] * scale)
        finite = abs(scaled) < np.inf
        bad[i] = not finite
        base[i] = scaled - origin if finite else 0.0
    if row[WHOLE]:
        for i in range(values.size):
            bad[i] |= np.uint8(np.rint(values[i]) != values[i])
    codes_of(base, row, codes, bad)
    settle(valid, row, codes, bad)


def code_integers(values, valid, row, base, codes, bad):
    """Codes of whole numbers of base units behind the origin, as many at a time as `base` holds."""
    for at in range(0, values.size, base.size):
        end = min(at + base.size, values.size)
        some_integers(values[at:end], valid[at:end], row, base[: end - at], codes[at:end], bad[at:end])
    return values.size


@inner
def some_integers(values, valid, row, base, codes, bad):
    """Some of them."""
    low, origin, around = row[IN_LOW], row[ORIGIN], row[MODULUS]
    least, most, whole = low + origin - 1, row[IN_HIGH] + origin + 1, base.view(np.int64)
    for i in range(values.size):
        bad[i] = 0
    if row[POLICY] != WRAP:
        for i in range(values.size):
            whole[i] = min(max(values[i], least), most) - origin
    elif beyond(values, low, low + around):
        for i in range(values.size):
            whole[i] = low + (values[i] % around - low) % around
    else:
        for i in range(values.size):
            whole[i] = values[i]
    for i in range(values.size):  # vectors convert whole numbers below 2^51 by their bits
        whole[i] += _BITS_OF_THREE_HALVES
    for i in range(values.size):
        base[i] -= _THREE_HALVES
    codes_of(base, row, codes, bad)
    settle(valid, row, codes, bad)


@inner
def put(column, offset, bits, count, words):
    """Numbers of so many bits in their place."""
    word, shift = words[offset >> 6], 64 - (offset & 63) - bits
    if shift >= 0:
        for i in range(count):
            word[i] |= _U64(column[i]) << _U64(shift)
    else:
        behind = words[(offset >> 6) + 1]
        for i in range(count):
            word[i] |= _U64(column[i]) >> _U64(-shift)
            behind[i] |= _U64(column[i]) << _U64(64 + shift)


@inner
def put_fields(codes, fields, first, count, words):
    """Codes in their places."""
    for number in range(fields.shape[0]):
        put(codes[number, first : first + count], fields[number, 0], fields[number, 1], count, words)


def pack_rows(codes, fields, high_codes, high_fields, head, tables, factors, words, high, checks, out):
    """Packets of one size, back to back; eight bytes more may be written behind the last.

    `head` is: bytes before the check, bytes of the check, the header, its bits, the check of zeros, bytes of high parts.
    """
    total, data, check, high_bytes = codes.shape[1], head[0], head[1], head[5]
    size, width = data + check, (data + check + 7) // 8
    for first in range(0, total, PACK_BLOCK):
        count = min(PACK_BLOCK, total - first)
        words[:, :count] = 0
        words[0, :count] = _U64(head[2]) << _U64(64 - head[3])
        put_fields(codes, fields, first, count, words)
        if check:
            checks[:count] = np.uint32(head[4])
            add_words(words, tables[high_bytes:], factors, data, count, checks)
            if high_bytes:
                high[:, :count] = 0
                put_fields(high_codes, high_fields, first, count, high)
                add_by_tables(high, tables, factors, high_bytes, count, checks)
            put(checks, 8 * data, 8 * check, count, words)
        for at in range(width - 1, -1, -1):  # the last word reaches into the next packet, whose first one comes later
            word = words[at]
            for i in range(count):
                store(out, (first + i) * size + 8 * at, word[i])
