"""Fields that are sent by their low bits: whole codes from references, and what the bits that are not sent add to a check.

Owns no rule of the wire: it says `packetcodec.wire.low_bits` again. The register that the high parts leave before a packet
is the same as other first bytes of the packet: so they are added to its first word, and the check runs as for any packet.
"""

from __future__ import annotations

import numpy as np

from packetcodec.arrays.kernels.machine import inner
from packetcodec.arrays.kernels.numbers import (
    ABSENT_CODE, ABSENT_LOW, CHECK, CIRCLE, LAST_CODE, LOW_MODULUS, PLACE, REACH, TWO_WAYS,
)  # fmt: skip

_U32, _U64, _BYTE = np.uint32, np.uint64, np.uint32(255)


@inner
def codes_near(sent, reference, row):
    """The likelier code, and the other one (the same again where there is none)."""
    modulus, top = row[LOW_MODULUS], row[LAST_CODE]
    up = (sent + modulus - reference % modulus) % modulus
    down = modulus - up
    below = up > top - reference or down <= min(reference, up)
    near, distance = (reference - down, down) if below else (reference + up, up)
    if not row[CIRCLE]:
        return near, near
    if reference <= top // 2:
        far = sent + (top - sent) // modulus * modulus
        across = reference + (top + 1 - far)
    else:
        far, across = sent, (top + 1 - reference) + sent
    if distance <= across:
        return near, far if across <= row[REACH] else near
    return far, near if distance <= row[REACH] else far


@inner
def first_bytes(parts, number, high):
    """What a high part changes of the first four bytes of its packet."""
    at = 4 * number
    return (
        parts[at, high & _BYTE] ^ parts[at + 1, high >> _U32(8) & _BYTE]
        ^ parts[at + 2, high >> _U32(16) & _BYTE] ^ parts[at + 3, high >> _U32(24)]
    )  # fmt: skip


@inner
def resolve(low, parts, known, rows, lo, count, first, status, codes, others, turns):
    """Make codes whole, add their high parts to the first word, and note the other code where two are possible."""
    wide = known.shape[1] > 1
    turns[:count] = 0
    for number in range(low.shape[0]):
        row, mine = low[number], codes[low[number, PLACE]]
        for i in range(count):
            sent = np.int64(mine[i])
            if sent == row[ABSENT_LOW]:
                mine[i] = row[ABSENT_CODE]
                continue
            reference = known[number, (rows[lo + i] if rows.size else lo + i) if wide else 0]
            if reference < 0:
                status[i] = status[i] or np.uint8(CHECK)
                continue
            near, other = codes_near(sent, reference, row)
            mine[i] = near
            high = first_bytes(parts, number, _U32(near // row[LOW_MODULUS]))
            first[i] ^= _U64(high) << _U64(32)
            if row[TWO_WAYS]:
                others[i] = other
                turns[i] = high ^ first_bytes(parts, number, _U32(other // row[LOW_MODULUS]))


@inner
def settle(low, tables, count, status, lengths, registers, codes, others, turns):
    """Take the other code where the check is right for that one alone."""
    longest = tables.shape[0] - 8
    for number in range(low.shape[0]):
        if low[number, TWO_WAYS]:
            for i in range(count):
                if status[i] or not turns[i]:
                    continue
                turn, row = turns[i], longest - lengths[i]
                added = (
                    tables[row, turn >> _U32(24)] ^ tables[row + 1, turn >> _U32(16) & _BYTE]
                    ^ tables[row + 2, turn >> _U32(8) & _BYTE] ^ tables[row + 3, turn & _BYTE]
                )  # fmt: skip
                if registers[i] == added:
                    codes[low[number, PLACE], i], registers[i] = others[i], 0
