"""The kernel of layouts with a trail: the fields as those of other layouts, then the points of each good packet.

Owns one rule: where points stand. The lists of all packets lie back to back; a faulty packet has none.
"""

from __future__ import annotations

import numpy as np

from packetcodec.arrays.kernels.checks import added_by, kept_bytes
from packetcodec.arrays.kernels.decode import gather, mark, mark_fields, take_apart, write_fields, write_status
from packetcodec.arrays.kernels.low_bits import settle
from packetcodec.arrays.kernels.machine import inner, pack_bits
from packetcodec.arrays.kernels.numbers import (
    ABSENT, AGES, ALTITUDES, CHECK, CHECK_BITS, CHECK_BYTES, CLIMB, DATA_BITS, EAST, F64, HAS_AGE, HAS_ALTITUDE, HEIGHT,
    HIGH, I32, INTERVAL, LATITUDES, LISTS, LONGITUDES, LOW, NORTH, OPTIONAL, POINT_FORM, ROWS, SEED, SPACING,
    SPACING_SCALE, STEP, TRACK_BLOCK, TRAIL,
)  # fmt: skip
from packetcodec.arrays.kernels.trail import is_padding, read_trail, window_at


@inner
def mark_checks(data, offsets, rows, tables, zeros, lo, count, first, status, lengths, registers, low, codes, others, turns):
    """Mark packets with a wrong check: by the place of each byte before the end of its packet."""
    longest = tables.shape[0] - 8
    registers[:count] = 0
    for i in range(count):
        if status[i]:
            continue
        start, length = np.int64(offsets[rows[lo + i] if rows.size else lo + i]), np.int64(lengths[i])
        found, row, left = zeros[length], longest - length, first[i]
        for at in range(0, length, 8):
            left = left if at == 0 else window_at(data, start + at)
            left &= kept_bytes(length - at)
            found ^= added_by(left, tables, row + at)
        registers[i] = found
    if low.shape[0]:
        settle(low, tables, count, status, lengths, registers, codes, others, turns)
    mark(registers, CHECK, count, status)


@inner
def read_anchors(head, fields, trail, count, codes, known):
    """What a trail counts from, in base units: a value beside whether it is there, for each packet."""
    which = (head[NORTH], head[EAST], head[HEIGHT], trail[SPACING])
    for place in range(4):
        number = which[place]
        known[2 * place + 1, :count] = 0
        if number >= 0:
            row, code = fields[number], codes[number]
            for i in range(count):
                known[2 * place, i] = min(row[LOW] + np.int64(code[i]) * row[STEP], row[HIGH])
                known[2 * place + 1, i] = code[i] != np.uint32(row[ABSENT]) or not row[OPTIONAL]


@inner
def read_trails(data, offsets, rows, head, trail, cells, known, axes, lo, count, status, lengths, some, counts):
    """The points of each packet of a block without a fault so far; the number of all."""
    first = 0
    for i in range(count):
        counts[i] = 0
        if status[i]:
            continue
        start = 8 * np.int64(offsets[rows[lo + i] if rows.size else lo + i])
        at, end = start + head[DATA_BITS], start + 8 * (lengths[i] - head[CHECK_BYTES])
        if known[1, i] and known[3, i]:
            climbs = trail[CLIMB] != 0 and known[5, i] != 0
            anchor = (known[0, i], known[2, i], known[4, i] if climbs else 0)
            found = read_trail(data, at, end, trail, cells, anchor, climbs, axes, some, first)
            if found < 0:
                status[i] = TRAIL
                continue
            ages(trail, known, i, some, first, found)
            if trail[CLIMB]:
                some[4, first : first + found] = climbs
            counts[i] = found
            first += found
        elif not is_padding(data, at, end):
            status[i] = TRAIL
    return first


@inner
def ages(trail, known, i, some, first, count):
    """The age of each point, and whether it is known: its own, else its number times the spacing."""
    if trail[SEED]:
        some[5, first : first + count] = 1
        return
    interval, is_known = trail[INTERVAL], 1
    if trail[SPACING] >= 0:
        interval, is_known = known[6, i] // trail[SPACING_SCALE], known[7, i]
    for number in range(count):
        some[3, first + number] = (number + 1) * interval * is_known
        some[5, first + number] = is_known


@inner
def write_numbers(some, scale, form, at, first, count, out):
    """Whole base units as they are, or divided by their scale."""
    if form == F64:
        target = out[at + 8 * first : at + 8 * (first + count)].view(np.float64)
        for i in range(count):
            target[i] = some[i] / scale
    else:
        whole = out[at + 4 * first : at + 4 * (first + count)].view(np.int32)
        for i in range(count):
            whole[i] = some[i]


@inner
def write_points(places, some, counts, lo, count, first, total, out):
    """The points of a block into their columns, and where the list of each packet ends."""
    form = places[POINT_FORM]
    ends = out[places[LISTS] + 4 * (lo + 1) : places[LISTS] + 4 * (lo + count + 1)].view(np.int32)
    behind = first
    for i in range(count):
        behind += counts[i]
        ends[i] = behind
    write_numbers(some[0], 1e7, form, places[LATITUDES], first, total, out)
    write_numbers(some[1], 1e7, form, places[LONGITUDES], first, total, out)
    write_numbers(some[3], 1.0, I32, places[AGES], first, total, out)
    has_age, has_altitude = places[HAS_AGE] + first, places[HAS_ALTITUDE] + first
    for i in range(total):
        out[has_age + i] = some[5, i]
    if places[ALTITUDES] >= 0:
        for i in range(total):
            some[2, i] *= some[4, i]
            out[has_altitude + i] = some[4, i]
        write_numbers(some[2], 100.0, form, places[ALTITUDES], first, total, out)


@inner
def pack_points(at, count, out):
    """Bytes that say whether a value is there as bits, in their place."""
    if at >= 0:
        whole = (count + 7) // 8 * 8
        out[at + count : at + whole] = 0
        pack_bits(out[at : at + whole], count, out[at:])


def decode_tracks(
    data, offsets, rows, nulls, classes, head, zeros, tables, fields, real, low, parts, known, words, codes, numbers,
    lengths, marks, trail, cells, places, anchors, axes, some, counts, out,
):  # fmt: skip
    """Decode packets of one layout with a trail into its columns; the number of points."""
    first = 0
    registers, others, turns = numbers[0], numbers[1], numbers[2]
    status, live, valid, spare = marks[0], marks[1], marks[2], marks[3]
    out[places[LISTS] : places[LISTS] + 4] = 0
    for lo in range(0, head[ROWS], TRACK_BLOCK):
        count = min(TRACK_BLOCK, head[ROWS] - lo)
        if count < TRACK_BLOCK:
            live[:], valid[:], spare[:] = 0, 0, 0
        gather(data, offsets, rows, nulls, classes, head, lo, count, words, status, lengths)
        take_apart(rows, head, fields, low, parts, known, lo, count, words, status, codes, registers, others, turns)
        if head[CHECK_BITS]:
            mark_checks(
                data, offsets, rows, tables, zeros, lo, count, words[0], status, lengths, registers, low, codes,
                others, turns,
            )  # fmt: skip
        mark_fields(head, fields, count, status, codes, registers)
        read_anchors(head, fields, trail, count, codes, anchors)
        total = read_trails(data, offsets, rows, head, trail, cells, anchors, axes, lo, count, status, lengths, some, counts)
        write_points(places, some, counts, lo, count, first, total, out)
        write_status(head, status, live, spare, lo, count, out)
        write_fields(fields, real, codes, live, lo, count, valid, spare, out)
        first += total
    pack_points(places[HAS_ALTITUDE], first, out)
    pack_points(places[HAS_AGE], first, out)
    return first
