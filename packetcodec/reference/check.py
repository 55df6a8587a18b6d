"""The reference's CRC: a register, shifted one bit at a time.

>>> shifted(0, b"123456789", width=16, polynomial=0x1021, reflected=False) == 0x31C3  # CRC-16/XMODEM, public catalogue
True
"""

from __future__ import annotations


def shifted(register: int, data: bytes, *, width: int, polynomial: int, reflected: bool) -> int:
    """The CRC register after `data`, one bit at a time, high powers first."""
    for byte in data:
        for place in range(8) if reflected else range(7, -1, -1):
            falls_out = register >> width - 1 ^ byte >> place & 1
            register = register << 1 & (1 << width) - 1
            if falls_out & 1:
                register ^= polynomial
    return register


def mirrored(number: int, width: int) -> int:
    """The lowest bits of a number in the other order."""
    return sum((number >> place & 1) << width - 1 - place for place in range(width))
