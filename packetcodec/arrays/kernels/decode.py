"""The kernel of decoding: packets to columns, field by field over blocks of packets, without branches.

Owns one rule: the order of faults as bits of a number, whose lowest one is the first fault (`STATUS_OF`). Each step sets its
bit and goes on; what was found faulty is written as zero at the end.

Numbers of a layout come as tables (`packetcodec.arrays.tables`); columns go into one array of bytes, each at its place.
"""

from __future__ import annotations

import numpy as np
from numba import njit, types

from packetcodec.arrays.kernels.machine import (
    READ_I32,
    READ_I64,
    READ_U8,
    READ_U32,
    TABLE_F64,
    TABLE_I64,
    TABLE_U32,
    WRITE_U8,
    Kernel,
    load,
    load_eight,
)

#: Packets that are taken together: what is kept of them fits the second cache.
BLOCK = 4096

#: Faults in decoding order, a bit each. The first four are told apart by the header.
NO_ROW, NO_HEADER, NO_VERSION, NO_LAYOUT = 1, 2, 4, 8
SHORT, LONG, CHECK, PADDING, RANGE, TRAIL = 16, 32, 64, 128, 256, 512

#: The forms of a column: what stands in it for a code.
F64, I32, I64, I8, I16, BOOL = range(6)

#: Columns of the table of fields.
OFFSET, BITS, UNUSED, SPAN, ABSENT, LOW, STEP, HIGH, FORM, OPTIONAL, VALUES, VALID = range(12)
#: Columns of its real numbers.
R_LOW, R_STEP, R_HIGH, R_SCALE = range(4)
#: Numbers of a layout.
(
    SIZE, LONGEST, WORDS, HEADER_BITS, PAD_OFFSET, PAD_BITS, CHECK_BITS, STATUS_AT, OK_AT, ROW_AT, ROWS, DATA_BITS,
    NORTH, EAST, HEIGHT, CHECK_BYTES,
) = range(16)  # fmt: skip

_U64 = np.uint64
_SPREAD = np.uint64(0x0102040810204080)
_PAIRS = np.uint64(56)


@njit(cache=True)
def gather(data, offsets, rows, nulls, classes, head, lo, count, words, flags, lengths):
    """Words, lengths and the faults of the header of `count` packets from row `lo` on."""
    width, bits, limit = head[WORDS], head[HEADER_BITS], data.size
    safe = count
    picked = rows.size > 0
    while safe > 0:
        row = rows[lo + safe - 1] if picked else lo + safe - 1
        if offsets[row] + 8 * width <= limit:
            break
        safe -= 1
    for i in range(safe):
        row = np.int64(rows[lo + i]) if picked else np.int64(lo + i)
        start = np.int64(offsets[row])
        lengths[i] = offsets[row + 1] - start
        for word in range(width):
            words[word, i] = load(data, start + 8 * word)
    for i in range(safe, count):
        row = rows[lo + i] if picked else lo + i
        lengths[i] = offsets[row + 1] - offsets[row]
        for word in range(width):
            number = _U64(0)
            for byte in range(8):
                at = offsets[row] + 8 * word + byte
                number = number << _U64(8) | _U64(data[at] if at < limit else 0)
            words[word, i] = number
    shift = _U64(64 - bits)
    for i in range(count):
        flags[i] = classes[words[0, i] >> shift] if lengths[i] * 8 >= bits else np.uint32(NO_HEADER)
    if nulls.size:
        for i in range(count):
            flags[i] |= np.uint32(NO_ROW) * np.uint32(nulls[rows[lo + i] if picked else lo + i])


@njit(cache=True)
def mark_lengths(head, count, flags, lengths):
    """Mark packets of another length than their layout has."""
    size, longest = np.int32(head[SIZE]), np.int32(head[LONGEST])
    for i in range(count):
        flags[i] |= np.uint32(lengths[i] < size) * np.uint32(SHORT) | np.uint32(lengths[i] > longest) * np.uint32(LONG)


@njit(cache=True)
def mark_checks(head, tables, wanted, count, words, flags, registers):
    """Mark packets with a wrong check: the XOR of one number for each byte at its place, by the word."""
    registers[:count] = 0
    mask, eight = _U64(255), _U64(8)
    for word in range(head[WORDS]):
        column = words[word]
        for i in range(count):
            left = column[i]
            found = np.uint32(0)
            for byte in range(7, -1, -1):
                found ^= tables[8 * word + byte, left & mask]
                left >>= eight
            registers[i] ^= found
    for i in range(count):
        flags[i] |= np.uint32(registers[i] != wanted) * np.uint32(CHECK)


@njit(cache=True)
def extract(words, offset, bits, count, codes):
    """The codes of a field of at most 32 bits."""
    word, shift, down = offset >> 6, _U64(offset & 63), _U64(64 - bits)
    first = words[word]
    if (offset & 63) + bits <= 64:
        for i in range(count):
            codes[i] = np.uint32((first[i] << shift) >> down)
    else:
        second, up = words[word + 1], _U64(64 - (offset & 63))
        for i in range(count):
            codes[i] = np.uint32((first[i] << shift | second[i] >> up) >> down)


@njit(cache=True)
def mark_fields(head, fields, count, words, flags, codes):
    """Mark packets with padding that is not zero, or with a code that a field never sends."""
    if head[PAD_BITS]:
        extract(words, head[PAD_OFFSET], head[PAD_BITS], count, codes)
        for i in range(count):
            flags[i] |= np.uint32(codes[i] != 0) * np.uint32(PADDING)
    for number in range(fields.shape[0]):
        span, unused = np.uint32(fields[number, SPAN]), np.uint32(fields[number, UNUSED])
        if span:
            extract(words, fields[number, OFFSET], fields[number, BITS], count, codes)
            for i in range(count):
                flags[i] |= np.uint32(np.uint32(codes[i] - unused) < span) * np.uint32(RANGE)


@njit(cache=True)
def pack_bits(some, count, out):
    """Bytes that are 0 or 1 as bits, the first one lowest. Behind the last of `some` stand zeros up to eight of them."""
    for at in range((count + 7) >> 3):
        out[at] = np.uint8(load_eight(some, at << 3) * _SPREAD >> _PAIRS)


@njit(cache=True)
def validity(codes, absent, live, count, valid):
    """Which values of a block are there."""
    for i in range(count):
        valid[i] = np.uint8(codes[i] != absent) & np.uint8(live[i])


@njit(cache=True)
def reals(codes, valid, count, row, out):
    """Floats: base units divided by the scale."""
    low, step, high, scale = row[R_LOW], row[R_STEP], row[R_HIGH], row[R_SCALE]
    for i in range(count):
        value = min(low + np.float64(codes[i]) * step, high) / scale
        out[i] = value if valid[i] else 0.0


@njit(cache=True)
def integers(codes, valid, count, row, out):
    """Whole numbers in base units; the type is that of `out`."""
    low, step, high = row[LOW], row[STEP], row[HIGH]
    for i in range(count):
        value = min(low + np.int64(codes[i]) * step, high)
        out[i] = value if valid[i] else 0


@njit(cache=True)
def names(codes, valid, count, out):
    """Codes themselves, as places in a dictionary or as 0 and 1."""
    for i in range(count):
        out[i] = codes[i] if valid[i] else 0


@njit(cache=True)
def write_column(row, row_reals, codes, valid, lo, count, out, spare):
    """One field of a block into its column."""
    form, at = row[FORM], row[VALUES]
    if form == F64:
        reals(codes, valid, count, row_reals, out[at + 8 * lo : at + 8 * (lo + count)].view(np.float64))
    elif form == I32:
        integers(codes, valid, count, row, out[at + 4 * lo : at + 4 * (lo + count)].view(np.int32))
    elif form == I64:
        integers(codes, valid, count, row, out[at + 8 * lo : at + 8 * (lo + count)].view(np.int64))
    elif form == I8:
        names(codes, valid, count, out[at + lo : at + lo + count].view(np.int8))
    elif form == I16:
        names(codes, valid, count, out[at + 2 * lo : at + 2 * (lo + count)].view(np.int16))
    else:
        names(codes, valid, count, spare)
        pack_bits(spare, count, out[at + (lo >> 3) :])


@njit(cache=True)
def write_fields(fields, real, words, live, lo, count, codes, valid, spare, out):
    """All fields of a block into their columns, and which values are there."""
    for number in range(fields.shape[0]):
        row = fields[number]
        extract(words, row[OFFSET], row[BITS], count, codes)
        if row[VALID] < 0:
            write_column(row, real[number], codes, live, lo, count, out, spare)
        else:
            validity(codes, np.uint32(row[ABSENT]), live, count, valid)
            pack_bits(valid, count, out[row[VALID] + (lo >> 3) :])
            write_column(row, real[number], codes, valid, lo, count, out, spare)


@njit(cache=True)
def write_status(head, status_of, flags, live, spare, lo, count, out):
    """The status of each packet of a block, which ones are good, and which have a row; the number of good ones."""
    status = out[head[STATUS_AT] + lo : head[STATUS_AT] + lo + count]
    good = 0
    for i in range(count):
        status[i] = status_of[flags[i]]
        live[i] = flags[i] == 0
        spare[i] = (flags[i] & np.uint32(NO_ROW)) == 0
        good += flags[i] == 0
    pack_bits(live, count, out[head[OK_AT] + (lo >> 3) :])
    pack_bits(spare, count, out[head[ROW_AT] + (lo >> 3) :])
    return good


def decode_rows(data, offsets, rows, nulls, classes, head, wanted, status_of, tables, fields, real, out):
    """Decode packets of one layout without a trail into its columns; the number of good ones."""
    total, good = head[ROWS], 0
    words = np.empty((head[WORDS], BLOCK), np.uint64)
    flags, codes, registers = np.empty(BLOCK, np.uint32), np.empty(BLOCK, np.uint32), np.empty(BLOCK, np.uint32)
    lengths = np.empty(BLOCK, np.int32)
    live, valid, spare = np.zeros(BLOCK, np.uint8), np.zeros(BLOCK, np.uint8), np.zeros(BLOCK, np.uint8)
    for lo in range(0, total, BLOCK):
        count = min(BLOCK, total - lo)
        if count < BLOCK:
            live[:], valid[:], spare[:] = 0, 0, 0
        gather(data, offsets, rows, nulls, classes, head, lo, count, words, flags, lengths)
        mark_lengths(head, count, flags, lengths)
        if head[CHECK_BITS]:
            mark_checks(head, tables, np.uint32(wanted), count, words, flags, registers)
        mark_fields(head, fields, count, words, flags, codes)
        good += write_status(head, status_of, flags, live, spare, lo, count, out)
        write_fields(fields, real, words, live, lo, count, codes, valid, spare, out)
    return good


#: Types of packets and tables, which the kernel of tracks takes too.
PACKETS = (READ_U8, READ_I32, READ_I32, READ_U8, READ_U32, READ_I64)
DECODE_ROWS = Kernel(decode_rows, *PACKETS, types.uint32, READ_U8, TABLE_U32, TABLE_I64, TABLE_F64, WRITE_U8)
