"""The kernel that groups packets by their header, so that each layout is decoded on its own.

Owns one rule: the groups. Rows without a packet, then the faults of a header, then layouts.
"""

from __future__ import annotations

import numpy as np

from packetcodec.arrays.kernels.numbers import NO_HEADER, NO_PACKET


def group_rows(data, offsets, nulls, groups, bits, ends, counts, found, rows):
    """Rows by group, ascending in each: `ends` gets where each group begins, and ends. `bits` holds those of the header."""
    total, down = offsets.size - 1, -bits[0] % 8
    counts[:] = 0
    for row in range(total):
        start, length = np.int64(offsets[row]), np.int64(offsets[row + 1]) - np.int64(offsets[row])
        group = np.int32(NO_HEADER)
        if 8 * length >= bits[0]:
            head = np.int64(data[start])
            if bits[0] > 8:
                head = head << 8 | np.int64(data[start + 1])
            group = groups[head >> down]
        if nulls.size and nulls[row]:
            group = np.int32(NO_PACKET)
        found[row] = group
        counts[group] += 1
    at = 0
    for group in range(ends.size):
        ends[group] = at
        at += counts[group]
        counts[group] = ends[group]
    for row in range(total):
        rows[counts[found[row]]] = row
        counts[found[row]] += 1
    return total
