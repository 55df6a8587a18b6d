"""LR-FHSS time on air, exact.

Owns one rule: the number of bits of an LR-FHSS frame (read in the maker's driver sx126x_driver v2.3.2,
lr_fhss_mac.c; no receiver or air was measured):

    coded = ceil((8 * (bytes + 2) + 6) / rate)            payload, its CRC and six tail bits, convolutionally coded
    bits  = 114 * headers + 50 * (coded // 48) + (coded % 48 + 2 if coded % 48 else 0)
    ToA   = bits / 488.28125 bit/s

>>> LrFhss(coding_rate="1/3", headers=3).airtime_ms(14)
1560.576
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from packetcodec.errors import RadioFault
from packetcodec.radio import modem
from packetcodec.radio.modem import Modem

CODING_RATES = {"5/6": Fraction(6, 5), "2/3": Fraction(3, 2), "1/2": Fraction(2), "1/3": Fraction(3)}
"""Coding rate to coded bits per bit."""

OCCUPIED_HZ = (39_063, 85_938, 136_719, 183_594, 335_938, 386_719, 722_656, 773_438, 1_523_438, 1_574_219)
"""Bandwidths over which a frame hops, in hertz, as the driver names them."""

_BIT_RATE = Fraction(62_500, 128)
_HEADER, _BLOCK, _GUARD = 114, 48, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class LrFhss(Modem):
    """An LR-FHSS transmitter with its settings.

    Attributes:
        coding_rate: one of `CODING_RATES`.
        headers: header blocks that are sent, 1..4. The LoRaWAN data rates send 3 at 1/3 and 2 at 2/3.
        bandwidth_hz: one of `OCCUPIED_HZ`; it widens the channel, not the airtime.

    Raises:
        RadioFault: for a setting that does not exist, naming setting, value and bound.
    """

    coding_rate: str = "1/3"
    headers: int = 3
    bandwidth_hz: int = 136_719

    def __post_init__(self) -> None:
        if self.coding_rate not in CODING_RATES:
            raise RadioFault(f"coding_rate: {self.coding_rate!r} is none of {', '.join(CODING_RATES)}")
        modem.integer("headers", self.headers, 1, 4, "header blocks")
        if self.bandwidth_hz not in OCCUPIED_HZ:
            raise RadioFault(f"bandwidth_hz: {self.bandwidth_hz!r} is none of {', '.join(map(str, OCCUPIED_HZ))}")

    @property
    def name(self) -> str:
        """For reports: "LR-FHSS 1/3 3 headers"."""
        return f"LR-FHSS {self.coding_rate} {self.headers} header{'s' * (self.headers > 1)}"

    @property
    def occupied_hz(self) -> Fraction:
        """The bandwidth that a frame hops over, in hertz."""
        return Fraction(self.bandwidth_hz)

    @property
    def max_payload(self) -> int:
        """The largest payload whose frame is at most 255 bytes (the driver's buffer), or 255."""
        return max(size for size in range(256) if self._bits(size) <= 255 * 8)

    def airtime(self, payload_bytes: int) -> Fraction:
        """Time on air in seconds, exact; `payload_bytes` is 0..`max_payload`."""
        self.demand(payload_bytes, "an LR-FHSS frame")
        return self._bits(payload_bytes) / _BIT_RATE

    def _bits(self, payload_bytes: int) -> int:
        coded = -(-(8 * (payload_bytes + 2) + 6) * CODING_RATES[self.coding_rate] // 1)
        blocks, rest = divmod(int(coded), _BLOCK)
        return _HEADER * self.headers + blocks * (_BLOCK + _GUARD) + (rest + _GUARD if rest else 0)
