"""The kernel of trails: the points of packets, one packet after the other, from a window of 64 bits.

Owns no rule of the wire: it says `packetcodec.wire.trail` again, for packets whose fields are good. A number is read at
once: its ones are counted as the leading ones of the window, which is as long as the longest number that may be sent.
"""

from __future__ import annotations

import numpy as np

from packetcodec.arrays.kernels.machine import inner, leading_zeros, load
from packetcodec.arrays.kernels.numbers import (
    BEND, CELL, CLIMB, CLIMB_INITIAL, CLIMB_RATE, COARSENINGS, COUNT_BITS, EASTMOST, INITIAL, NORTHMOST, POINTS, RATE, SEED,
    WIDE,
)  # fmt: skip
from packetcodec.wire.trail.cells import CIRCLE, HALF_CIRCLE, MAX_CELLS, POLE
from packetcodec.wire.trail.coding import MAX_CLIMB
from packetcodec.wire.trail.guess import HANDICAP
from packetcodec.wire.trail.numbers import MAX_ORDER, STEADY, WINDOW

#: The state of an axis of its own: altitude, or the time between points.
_NOW, _LAST, _BEFORE, _STAYS, _GOES_ON, _TURNS, _SUM, _COUNT, _FRESH, _RATE, _LIMIT, _RISING, _BEND, _STEP = range(14)
#: A place behind the end of every packet.
BAD = 1 << 40

_U64 = np.uint64
_EIGHT = np.uint64(8)
_ONE = np.uint64(1)


@inner
def window_at(data, at):
    """64 bits from a byte on; zeros behind the end of the data."""
    if at + 8 <= data.size:
        return load(data, at)
    word = _U64(0)
    for place in range(at, at + 8):
        word = word << _EIGHT | _U64(data[place] if place < data.size else 0)
    return word


@inner
def read_bits(data, at, width):
    """A number of at most 32 bits from a bit on."""
    if width == 0:
        return 0
    return np.int64((window_at(data, at >> 3) << _U64(at & 7)) >> _U64(64 - width))


@inner
def read_number(data, at, order, steady):
    """A residual from a bit on, and the bit behind it."""
    window = window_at(data, at >> 3) << _U64(at & 7)
    ones = leading_zeros(~window)
    rest = ones << order
    grown = ones - steady + 1
    if grown > 0:
        rest = (steady - 2 + (1 << grown)) << order if grown < 32 else 0
        order += grown
        if order > MAX_ORDER:
            return 0, BAD
    behind = (window << _U64(ones)) << _ONE
    rest += np.int64((behind >> _ONE) >> _U64(63 - order))
    return (rest >> 1) ^ -(rest & 1), at + ones + 1 + order


@inner
def order_of(total, count):
    """The smallest order whose power of two, times the count, reaches the sum."""
    order = max(0, leading_zeros(_U64(count)) - leading_zeros(_U64(total)))
    return order + ((count << order) < total)


@inner
def choice_of(stays, goes_on, turns):
    """The guess that was wrong by least (of equal ones the last): 1 where it moves, and 1 where it turns."""
    return np.int64(stays >= min(turns, goes_on)), np.int64(turns <= goes_on)


@inner
def guess_of(choice, last, ahead):
    """What is guessed of a displacement: by products, since no processor predicts which guess is chosen."""
    moves, turns = choice
    return moves * (last + turns * (ahead - last))


@inner
def start_axis(axis, initial, rate, limit, rising, bend, step):
    """An axis before its first point."""
    axis[_LIMIT] = limit
    if limit == 0:
        return
    axis[:] = 0
    axis[_SUM], axis[_COUNT], axis[_FRESH] = initial, 1, 1
    axis[_RATE], axis[_LIMIT], axis[_RISING], axis[_BEND], axis[_STEP] = rate, limit, rising, bend, step


@inner
def read_axis(data, at, axis):
    """The next point on an axis of its own; the bit behind it."""
    last = axis[_LAST]
    ahead = last + ((axis[_BEND] * (last - axis[_BEFORE]) + 1) >> 1)
    guess = guess_of(choice_of(axis[_STAYS], axis[_GOES_ON], axis[_TURNS]), last, ahead)
    rest, at = read_number(data, at, order_of(axis[_SUM], axis[_COUNT]), 1 if axis[_FRESH] else STEADY)
    moved = guess + rest
    axis[_NOW] += moved
    if (axis[_RISING] and moved < 0) or abs(axis[_NOW]) > axis[_LIMIT]:
        return BAD
    if axis[_FRESH]:
        axis[_FRESH], axis[_SUM], axis[_COUNT], axis[_BEFORE] = 0, axis[_RATE], 1, moved
        axis[_STAYS], axis[_GOES_ON], axis[_TURNS] = 0, 0, HANDICAP
    else:
        axis[_BEFORE] = last
        axis[_SUM], axis[_COUNT] = added(axis[_SUM], axis[_COUNT], rest)
        axis[_STAYS] += abs(moved) - (axis[_STAYS] >> 3)
        axis[_GOES_ON] += abs(moved - last) - (axis[_GOES_ON] >> 3)
        axis[_TURNS] += abs(moved - ahead) - (axis[_TURNS] >> 3)
    axis[_LAST] = moved
    return at


@inner
def added(total, count, rest):
    """A scale that takes a residual into account."""
    total, count = total + abs(rest), count + 1
    return (total >> 1, count >> 1) if count == WINDOW else (total, count)


@inner
def faded(error, off):
    """How wrong a guess has been, older errors counting less."""
    return error - (error >> 3) + off


@inner
def turned(east):
    """A longitude in its circle again."""
    return east - CIRCLE if east >= HALF_CIRCLE else east + CIRCLE if east < -HALF_CIRCLE else east


@inner
def read_points(data, at, end, count, plane, anchor, cell, height, time, some, first):
    """The points of a trail in base units into rows of `some`; the bit behind them."""
    north = east = north_last = east_last = north_before = east_before = stays = goes_on = turns = most = 0
    total, rate, bend = plane
    size, steady = 1, 1
    for number in range(first, first + count):
        choice = choice_of(stays, goes_on, turns)
        north_ahead = north_last + ((bend * (north_last - north_before) + 1) >> 1)
        east_ahead = east_last + ((bend * (east_last - east_before) + 1) >> 1)
        rest, at = read_number(data, at, order_of(total, size), steady)
        moved_north = guess_of(choice, north_last, north_ahead) + rest
        total, size = added(total, size, rest)
        if at <= end:
            rest, at = read_number(data, at, order_of(total, size), steady)
        moved_east = guess_of(choice, east_last, east_ahead) + rest
        total, size = added(total, size, rest)
        north, east = north + moved_north, east + moved_east
        latitude = anchor[0] + north * cell[CELL]
        some[0, number], some[1, number] = max(-POLE, min(POLE, latitude)), turned(anchor[1] + east * cell[WIDE])
        most = max(most, abs(latitude))
        if height[_LIMIT] and at <= end:
            at = read_axis(data, at, height)
            some[2, number] = anchor[2] + height[_NOW] * height[_STEP]
        if time[_LIMIT] and at <= end:
            at = read_axis(data, at, time)
            some[3, number] = time[_NOW]
        if at > end or abs(north) > cell[NORTHMOST] or abs(east) > cell[EASTMOST]:
            return BAD
        stays = faded(stays, abs(moved_north) + abs(moved_east))
        goes_on = faded(goes_on, abs(moved_north - north_last) + abs(moved_east - east_last))
        turns = faded(turns, abs(moved_north - north_ahead) + abs(moved_east - east_ahead))
        north_before, east_before = north_last, east_last
        if number == first:
            total, size, steady, stays, goes_on, turns = rate, 1, STEADY, 0, 0, HANDICAP
            north_before, east_before = moved_north, moved_east
        north_last, east_last = moved_north, moved_east
    return at if 2 * (most - POLE) <= cell[CELL] else BAD


@inner
def read_front(data, at, trail):
    """The count of points (more than there may be for a bad one), the coarsenings, and the bit behind them."""
    count, bits = trail[POINTS], trail[COUNT_BITS]
    if read_bits(data, at, 1):
        at += 1
    else:
        count = read_bits(data, at + 1, bits)
        if count >= trail[POINTS]:
            return count, 0, BAD
        at += 1 + bits
    coarsened = 0
    while coarsened < trail[COARSENINGS] and read_bits(data, at, 1):
        coarsened, at = coarsened + 1, at + 1
    return count, coarsened, at + (coarsened < trail[COARSENINGS])


@inner
def is_padding(data, at, end):
    """Whether what is left of a packet is fewer than eight bits, all zero."""
    return at <= end <= at + 7 and read_bits(data, at, end - at) == 0


@inner
def read_trail(data, at, end, trail, cells, anchor, climbs, axes, some, first):
    """The points of one packet in base units into `some` from `first` on; their number, or -1 for a bad trail."""
    count, coarsened, at = read_front(data, at, trail)
    if at > end:
        return -1
    cell = cells[90 * coarsened + min(abs(anchor[0]) // 10_000_000, 89)]
    plane = max(1, trail[INITIAL] >> coarsened), max(1, trail[RATE] >> coarsened), trail[BEND]
    climb = trail[CLIMB] << coarsened if climbs else 0
    limit = min(MAX_CELLS, MAX_CLIMB // climb) if climb else 0
    initial, rate = max(1, trail[CLIMB_INITIAL] >> coarsened), max(1, trail[CLIMB_RATE] >> coarsened)
    start_axis(axes[0], initial, rate, limit, 0, trail[BEND], climb)
    start_axis(axes[1], trail[SEED], 1, MAX_CELLS if trail[SEED] else 0, 1, trail[BEND], 1)
    at = read_points(data, at, end, count, plane, anchor, cell, axes[0], axes[1], some, first)
    return count if is_padding(data, at, end) else -1
