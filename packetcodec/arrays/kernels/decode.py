"""The kernel of decoding: packets to columns, field by field over blocks of packets, without branches.

Owns one rule: the first fault wins. A packet keeps its status once it is faulty; steps run in decoding order and mark only
what is good so far. What was found faulty is written as zero at the end.

Numbers of a layout come as tables (`packetcodec.arrays.tables`); columns go into one array of bytes, each at its place.
"""

from __future__ import annotations

import numpy as np

from packetcodec.arrays.kernels.checks import add_words, added_by, kept_bytes
from packetcodec.arrays.kernels.low_bits import resolve, settle
from packetcodec.arrays.kernels.machine import fma, inner, load, pack_bits
from packetcodec.arrays.kernels.numbers import (
    ABSENT, BITS, BLOCK, CHECK, CHECK_BITS, CHECK_BYTES, F64, FORM, HEADER_BITS, HIGH, I8, I16, I32, I64, LONG, LONGEST, LOW,
    MAX_CODE, NO_ROW, OFFSET, OK, OK_AT, PAD_BITS, PAD_OFFSET, PADDING, R_HIGH, R_LOW, R_SCALE, R_STEP, RANGE, ROW_AT, ROWS,
    SHORT, SIZE, SPAN, STATUS_AT, STEP, TOP, UNUSED, VALID, VALUES, WORDS,
)  # fmt: skip
from packetcodec.arrays.kernels.trail import window_at

_U8, _U32, _U64 = np.uint8, np.uint32, np.uint64


@inner
def gather(data, offsets, rows, nulls, classes, head, lo, count, words, status, lengths):
    """Words, lengths and the faults of the header of `count` packets from row `lo` on."""
    width, limit, picked, size = head[WORDS], data.size, rows.size > 0, np.int32(head[SIZE])
    safe, odd = count, 0
    while safe > 0 and offsets[rows[lo + safe - 1] if picked else lo + safe - 1] + 8 * width > limit:
        safe -= 1
    for i in range(count):
        row = rows[lo + i] if picked else lo + i
        lengths[i] = offsets[row + 1] - offsets[row]
        odd |= lengths[i] ^ size
    for word in range(width):
        column = words[word]
        if picked:
            for i in range(safe):
                column[i] = load(data, np.int64(offsets[rows[lo + i]]) + 8 * word)
        elif odd:
            for i in range(safe):
                column[i] = load(data, np.int64(offsets[lo + i]) + 8 * word)
        else:  # one size, back to back
            first = np.int64(offsets[lo]) + 8 * word
            for i in range(safe):
                column[i] = load(data, first + i * size)
        for i in range(safe, count):  # there are no eight bytes any more behind the last packets
            column[i] = window_at(data, np.int64(offsets[rows[lo + i] if picked else lo + i]) + 8 * word)
    return mark_headers(words[0], rows, nulls, classes, head, lo, count, status, lengths, odd)


@inner
def mark_headers(first, rows, nulls, classes, head, lo, count, status, lengths, odd):
    """The status of packets by their header and their length; how many are good so far."""
    size, longest, least = np.int32(head[SIZE]), np.int32(head[LONGEST]), np.int32((head[HEADER_BITS] + 7) >> 3)
    shift, good, unlike = _U64(64 - head[HEADER_BITS]), 0, _U64(0)
    for i in range(count):
        unlike |= first[i] ^ first[0]
    if unlike >> shift:
        for i in range(count):
            status[i] = classes[first[i] >> shift]
    else:  # one header, as mostly
        status[:count] = classes[first[0] >> shift]
    if odd:
        for i in range(count):
            off = _U8(SHORT) if lengths[i] < size else _U8(LONG) if lengths[i] > longest else _U8(OK)
            known = status[i] or off
            status[i] = known if lengths[i] >= least else _U8(SHORT)
    if nulls.size:
        for i in range(count):
            status[i] = _U8(NO_ROW) if nulls[rows[lo + i] if rows.size else lo + i] else status[i]
    for i in range(count):
        good += status[i] == 0
    return good


@inner
def mark_checks(head, tables, factors, zeros, count, words, status, lengths, registers, low, codes, others, turns):
    """Mark packets whose check is not that of their bytes."""
    size = head[SIZE] - head[CHECK_BYTES]
    extract(words, 8 * size, head[CHECK_BITS], count, registers)
    for i in range(count):
        registers[i] ^= zeros
    add_words(words, tables, factors, size, count, registers)
    if low.shape[0]:
        settle(low, tables, count, status, lengths, registers, codes, others, turns)
    mark(registers, CHECK, count, status)


@inner
def mark_few(head, tables, zeros, count, words, status):
    """The same where few packets are good so far: one by one; how many still are."""
    good = 0
    for i in range(count):
        if status[i] == 0:
            found = zeros
            for word in range((head[SIZE] + 7) >> 3):
                found ^= added_by(words[word, i] & kept_bytes(head[SIZE] - 8 * word), tables, 8 * word)
            status[i] = _U8(CHECK) if found else _U8(OK)
            good += found == 0
    return good


@inner
def mark(wrong, fault, count, status):
    """Mark packets for which a number is not zero."""
    for i in range(count):
        status[i] = _U8(fault) if (wrong[i] != 0) & (status[i] == 0) else status[i]


@inner
def extract(words, offset, bits, count, codes):
    """The codes of a field of at most 32 bits."""
    word, shift, down = offset >> 6, _U64(offset & 63), _U64(64 - bits)
    first = words[word]
    if (offset & 63) + bits <= 64:
        for i in range(count):
            codes[i] = _U32((first[i] << shift) >> down)
    else:
        second, up = words[word + 1], _U64(64 - (offset & 63))
        for i in range(count):
            codes[i] = _U32((first[i] << shift | second[i] >> up) >> down)


@inner
def mark_fields(head, fields, count, status, codes, pads):
    """Mark packets with padding that is not zero, or with a code that a field never sends."""
    if head[PAD_BITS]:
        mark(pads, PADDING, count, status)
    for number in range(fields.shape[0]):
        span, unused, code = _U32(fields[number, SPAN]), _U32(fields[number, UNUSED]), codes[number]
        if span:
            for i in range(count):
                status[i] = _U8(RANGE) if (_U32(code[i] - unused) < span) & (status[i] == 0) else status[i]


@inner
def reals(codes, valid, count, row, out):
    """Floats: base units divided by the scale. The quotient is rounded once: product with the inverse, and what it lacks.

    Faster than to divide (P. W. Markstein, IBM Journal of Research and Development 34, 1990; from memory).
    """
    low, step, high, scale = row[R_LOW], row[R_STEP], row[R_HIGH], row[R_SCALE]
    half, inverse = _U32(1) << _U32(31), 1.0 / scale
    for i in range(count):
        signed = np.int32(_U32(codes[i]) ^ half)  # machines convert numbers with a sign
        base = min(low + (np.float64(signed) + 2147483648.0) * step, high)
        about = base * inverse
        out[i] = fma(fma(-about, scale, base), inverse, about) if valid[i] else 0.0


@inner
def integers(codes, valid, count, row, out):
    """Whole numbers in base units of 32 bits: counted without sign from the lowest one."""
    low, step, top, most = _U32(row[LOW]), _U32(row[STEP]), _U32(row[TOP]), _U32(row[MAX_CODE])
    for i in range(count):
        value = _U32(low + (top if codes[i] >= most else _U32(codes[i] * step)))  # 64 bits would not be vectors
        out[i] = np.int32(value if valid[i] else _U32(0))


@inner
def long_integers(codes, valid, count, row, out):
    """Whole numbers in base units of 64 bits."""
    low, step, high = row[LOW], row[STEP], row[HIGH]
    for i in range(count):
        value = min(low + np.int64(codes[i]) * step, high)
        out[i] = value if valid[i] else 0


@inner
def names(codes, valid, count, out):
    """Codes themselves, as places in a dictionary or as 0 and 1."""
    for i in range(count):
        out[i] = codes[i] if valid[i] else 0


@inner
def write_column(row, row_reals, codes, valid, lo, count, out, spare):
    """One field of a block into its column."""
    form, at = row[FORM], row[VALUES]
    if form == F64:
        reals(codes, valid, count, row_reals, out[at + 8 * lo : at + 8 * (lo + count)].view(np.float64))
    elif form == I32:
        integers(codes, valid, count, row, out[at + 4 * lo : at + 4 * (lo + count)].view(np.int32))
    elif form == I64:
        long_integers(codes, valid, count, row, out[at + 8 * lo : at + 8 * (lo + count)].view(np.int64))
    elif form == I8:
        names(codes, valid, count, out[at + lo : at + lo + count].view(np.int8))
    elif form == I16:
        names(codes, valid, count, out[at + 2 * lo : at + 2 * (lo + count)].view(np.int16))
    else:
        names(codes, valid, count, spare)
        pack_bits(spare, count, out[at + (lo >> 3) :])


@inner
def write_fields(fields, real, codes, live, lo, count, valid, spare, out):
    """All fields of a block into their columns, and which values are there."""
    for number in range(fields.shape[0]):
        row, code = fields[number], codes[number]
        if row[VALID] < 0:
            write_column(row, real[number], code, live, lo, count, out, spare)
            continue
        absent = _U32(row[ABSENT])
        for i in range(count):
            valid[i] = live[i] & _U8(code[i] != absent)
        pack_bits(valid, count, out[row[VALID] + (lo >> 3) :])
        write_column(row, real[number], code, valid, lo, count, out, spare)


@inner
def write_status(head, status, live, spare, lo, count, out):
    """The status of each packet of a block, which ones are good, and which have a row; the number of good ones."""
    good, said = 0, out[head[STATUS_AT] + lo : head[STATUS_AT] + lo + count]
    for i in range(count):
        said[i] = status[i]
        live[i] = status[i] == 0
        spare[i] = status[i] != NO_ROW
        good += status[i] == 0
    pack_bits(live, count, out[head[OK_AT] + (lo >> 3) :])
    pack_bits(spare, count, out[head[ROW_AT] + (lo >> 3) :])
    return good


@inner
def take_apart(rows, head, fields, low, parts, known, lo, count, words, status, codes, pads, others, turns):
    """The codes of all fields of a block, and its padding; those that are sent by their low bits are made whole."""
    if head[PAD_BITS]:
        extract(words, head[PAD_OFFSET], head[PAD_BITS], count, pads)
    for number in range(fields.shape[0]):
        extract(words, fields[number, OFFSET], fields[number, BITS], count, codes[number])
    if low.shape[0]:
        resolve(low, parts, known, rows, lo, count, words[0], status, codes, others, turns)


def decode_rows(
    data, offsets, rows, nulls, classes, head, zeros, tables, fields, real, low, parts, known, factors, words, codes,
    numbers, lengths, marks, out,
):  # fmt: skip
    """Decode packets of one layout without a trail into its columns; the number of good ones."""
    total, good, none = head[ROWS], 0, zeros[zeros.size - 1]
    registers, others, turns, pads = numbers[0], numbers[1], numbers[2], numbers[3]
    status, live, valid, spare = marks[0], marks[1], marks[2], marks[3]
    for lo in range(0, total, BLOCK):
        count = min(BLOCK, total - lo)
        if count < BLOCK:
            live[:], valid[:], spare[:] = 0, 0, 0
        alive = gather(data, offsets, rows, nulls, classes, head, lo, count, words, status, lengths)
        if head[CHECK_BITS] and low.shape[0] == 0 and 8 * alive < count:
            alive = mark_few(head, tables, none, count, words, status)
        if alive:
            take_apart(rows, head, fields, low, parts, known, lo, count, words, status, codes, pads, others, turns)
            if head[CHECK_BITS]:
                mark_checks(head, tables, factors, none, count, words, status, lengths, registers, low, codes, others, turns)
            mark_fields(head, fields, count, status, codes, pads)
        good += write_status(head, status, live, spare, lo, count, out)
        write_fields(fields, real, codes, live, lo, count, valid, spare, out)
    return good
