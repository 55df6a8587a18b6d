"""Is it whole? The CRC, the public catalogue of them by name, and the Hamming distance each guarantees.

`packetcodec.crc.distance` stands beside these names and is imported on its own: it needs numpy.
"""

from __future__ import annotations

from packetcodec.crc.catalogue import ENTRIES, Entry, default_crc, find_crc, names
from packetcodec.crc.crc import (
    CHECK_INPUT,
    MODEM_NOTE,
    MODEM_POLYNOMIAL,
    WIDTHS,
    Crc,
    mirrored,
)

__all__ = [
    "CHECK_INPUT",
    "ENTRIES",
    "MODEM_NOTE",
    "MODEM_POLYNOMIAL",
    "WIDTHS",
    "Crc",
    "Entry",
    "default_crc",
    "find_crc",
    "mirrored",
    "names",
]
