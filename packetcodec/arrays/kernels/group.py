"""The kernel that groups packets by their header, so that each layout is decoded on its own.

Owns one rule: the groups. Rows without a packet, then the faults of a header, then layouts.
"""

from __future__ import annotations

import numpy as np
from numba import types

from packetcodec.arrays.kernels.machine import READ_I32, READ_U8, WRITE_I32, WRITE_I64, Kernel

NO_PACKET, NO_HEADER, NO_VERSION, NO_LAYOUT, LAYOUTS = range(5)
#: What a group that is no layout is called.
FAULT_OF = {NO_HEADER: "too_short", NO_VERSION: "unknown_version", NO_LAYOUT: "unknown_layout"}


def group_rows(data, offsets, nulls, groups, bits, ends, rows):
    """Rows by group, ascending in each: `ends` gets where each group begins, and ends."""
    total, size = offsets.size - 1, (bits + 7) // 8
    found = np.empty(total, np.int32)
    counts = np.zeros(ends.size, np.int64)
    for row in range(total):
        start, length = np.int64(offsets[row]), np.int64(offsets[row + 1]) - np.int64(offsets[row])
        group = np.int32(NO_HEADER)
        if length >= size:
            head = np.int64(data[start])
            if size > 1:
                head = head << 8 | np.int64(data[start + 1])
            group = groups[head >> (8 * size - bits)]
        if nulls.size and nulls[row]:
            group = np.int32(NO_PACKET)
        found[row] = group
        counts[group] += 1
    at = 0
    for group in range(ends.size):
        ends[group] = at
        at += counts[group]
    counts[:] = ends
    for row in range(total):
        group = found[row]
        rows[counts[group]] = row
        counts[group] += 1


GROUP_ROWS = Kernel(group_rows, READ_U8, READ_I32, READ_U8, READ_I32, types.int64, WRITE_I64, WRITE_I32)
