"""Time on air of LoRa at 2.4 GHz, exact.

Owns one rule: the number of symbols of the SX1280 and SX1281, read in the maker's driver sx128x_driver
(function sx128x_get_lora_time_on_air_numerator, as part of SWL2001). It is the form of the SX1261/2 with three
differences: other bandwidths, low-data-rate optimization at SF11 and SF12 always and nowhere else, and coding rates
with long interleaving, which spread each code word over more symbols. No air was measured.

>>> LoRa2G4(spreading_factor=10).airtime_ms(14)
49.467076923076924
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from packetcodec.errors import RadioFault
from packetcodec.radio import modem
from packetcodec.radio.modem import Modem

BANDWIDTHS_2G4 = (203_125, 406_250, 812_500, 1_625_000)
"""Bandwidths in hertz."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoRa2G4(Modem):
    """A LoRa modem at 2.4 GHz with its settings.

    Attributes:
        spreading_factor: 5..12.
        bandwidth_hz: one of `BANDWIDTHS_2G4`.
        coding_rate: 5..8, meaning 4/5..4/8; with long interleaving 5, 6 or 8.
        long_interleaving: whether the coding rate is one of those with long interleaving.
        preamble: preamble symbols, 1..491520; the modem adds 4.25 (SF5 and SF6: 6.25) of its own.
        explicit_header: False for implicit header.
        payload_crc: whether the modem appends its own 16-bit CRC to the payload.

    Raises:
        RadioFault: for a setting that the chip does not have, naming setting, value and bound.
    """

    spreading_factor: int
    bandwidth_hz: int = 812_500
    coding_rate: int = 5
    long_interleaving: bool = False
    preamble: int = 12
    explicit_header: bool = True
    payload_crc: bool = True

    def __post_init__(self) -> None:
        modem.integer("spreading_factor", self.spreading_factor, 5, 12, "2.4 GHz")
        if not isinstance(self.bandwidth_hz, int) or self.bandwidth_hz not in BANDWIDTHS_2G4:
            raise RadioFault(f"bandwidth_hz: {self.bandwidth_hz!r} is none of {', '.join(map(str, BANDWIDTHS_2G4))}")
        modem.integer("coding_rate", self.coding_rate, 5, 8, "the denominator of 4/5..4/8")
        for name in ("long_interleaving", "explicit_header", "payload_crc"):
            modem.switch(name, getattr(self, name))
        if self.long_interleaving and self.coding_rate == 7:
            raise RadioFault("coding_rate: 7 is none of 5, 6, 8 (with long interleaving)")
        modem.integer("preamble", self.preamble, 1, 15 << 15, "symbols")

    @property
    def name(self) -> str:
        """For reports: "SF10 812.5 kHz 4/5"."""
        mark = "LI " if self.long_interleaving else ""
        return f"SF{self.spreading_factor} {self.bandwidth_hz / 1000:g} kHz {mark}4/{self.coding_rate}"

    @property
    def label(self) -> str:
        """The spreading factor: "SF10"."""
        return f"SF{self.spreading_factor}"

    @property
    def occupied_hz(self) -> Fraction:
        """The bandwidth in hertz."""
        return Fraction(self.bandwidth_hz)

    def symbols(self, payload_bytes: int) -> Fraction:
        """Symbols of a packet, preamble and start of frame included: a whole number and a quarter."""
        self.demand(payload_bytes, "a LoRa packet")
        start = Fraction(25, 4) if self.spreading_factor < 7 else Fraction(17, 4)
        if not self.long_interleaving:
            body = 8 + self._plain(payload_bytes)
        elif self.explicit_header:
            body = 8 + self._interleaved(payload_bytes)
        else:
            body = self._interleaved_implicit(payload_bytes)
        return self.preamble + start + body

    def airtime(self, payload_bytes: int) -> Fraction:
        """Time on air in seconds, exact; `payload_bytes` is 0..255."""
        return self.symbols(payload_bytes) * Fraction(1 << self.spreading_factor, self.bandwidth_hz)

    @property
    def _block(self) -> int:
        """Bits of a block of symbols: low-data-rate optimization is on at SF11 and SF12."""
        return 4 * (self.spreading_factor - 2 * (self.spreading_factor > 10))

    def _plain(self, payload_bytes: int) -> int:
        sf = self.spreading_factor
        bits = 8 * payload_bytes + 16 * self.payload_crc - 4 * sf + 20 * self.explicit_header + 8 * (sf >= 7)
        return -(-max(bits, 0) // self._block) * self.coding_rate

    def _interleaved(self, payload_bytes: int) -> int:
        """Symbols behind the first eight, which hold the header and, at most, so many bits of the payload."""
        sf = self.spreading_factor
        room = (sf - (5 if sf < 7 else 7) >> 1) * 8
        bits = 8 * payload_bytes + 16 * self.payload_crc
        if bits > room:
            room = min(room, 8 * payload_bytes)
        return -(-max(bits - room, 0) * self.coding_rate // self._block)

    def _interleaved_implicit(self, payload_bytes: int) -> int:
        """All symbols behind the start: the first eight are coded as robustly as a header."""
        sf = self.spreading_factor
        coded = (8 * payload_bytes + 16 * self.payload_crc) * self.coding_rate
        first = -(-coded // (4 * sf if sf < 7 else 4 * (sf - 2)))
        if first <= 8:
            return first
        held = 32 * sf if sf < 7 else 32 * (sf - 2)
        return 8 + -(-(coded - held) // self._block)
