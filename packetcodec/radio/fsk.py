"""(G)FSK time on air, exact.

Owns one rule: the number of bits of an FSK packet (read in the maker's driver
sx126x_driver v2.3.2):

    bits = preamble + (8 if variable length) + sync + 8 * (bytes + address + CRC)
    ToA  = bits / bit rate

>>> Fsk().airtime_ms(10)
3.36
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from packetcodec.radio import modem
from packetcodec.radio.modem import Modem


@dataclass(frozen=True, slots=True, kw_only=True)
class Fsk(Modem):
    """An FSK or GFSK modem with its settings. The bounds are those of the SX1261/2 (from memory).

    Attributes:
        bit_rate: bits per second, 600..300000.
        deviation_hz: frequency deviation in hertz, 600..200000; it widens the channel, not the airtime.
        preamble_bits: 0..65535.
        sync_bits: length of the sync word, 0..64.
        variable_length: whether a length byte precedes the payload.
        address_bytes: 0 or 1.
        crc_bytes: 0..2.

    Raises:
        RadioFault: for a setting out of range, naming setting, value and bound.
    """

    bit_rate: int = 50_000
    deviation_hz: int = 25_000
    preamble_bits: int = 40
    sync_bits: int = 24
    variable_length: bool = True
    address_bytes: int = 0
    crc_bytes: int = 2

    def __post_init__(self) -> None:
        modem.integer("bit_rate", self.bit_rate, 600, 300_000, "bits per second")
        modem.integer("deviation_hz", self.deviation_hz, 600, 200_000, "hertz")
        modem.integer("preamble_bits", self.preamble_bits, 0, 65_535)
        modem.integer("sync_bits", self.sync_bits, 0, 64)
        modem.switch("variable_length", self.variable_length)
        modem.integer("address_bytes", self.address_bytes, 0, 1)
        modem.integer("crc_bytes", self.crc_bytes, 0, 2)

    @property
    def name(self) -> str:
        """For reports: "FSK 50 kbit/s"."""
        return f"FSK {self.bit_rate / 1000:g} kbit/s"

    @property
    def occupied_hz(self) -> Fraction:
        """Bandwidth by Carson's rule, bit rate plus twice the deviation, in hertz (from memory)."""
        return Fraction(self.bit_rate + 2 * self.deviation_hz)

    @property
    def max_payload(self) -> int:
        """255 bytes less the address: the length byte counts both."""
        return 255 - self.address_bytes

    def airtime(self, payload_bytes: int) -> Fraction:
        """Time on air in seconds, exact; `payload_bytes` is 0..`max_payload`."""
        self.demand(payload_bytes, "an FSK packet")
        overhead = self.preamble_bits + 8 * self.variable_length + self.sync_bits
        return Fraction(overhead + 8 * (payload_bytes + self.address_bytes + self.crc_bytes), self.bit_rate)
