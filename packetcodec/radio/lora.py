"""LoRa time on air, exact; and what another spreading factor or bandwidth gains in link margin.

Owns two rules. How weak a signal LoRa can demodulate: so many decibels below the noise in its bandwidth, which grows by
10 log10 of the bandwidth; 2.5 dB for each spreading factor (`SNR_LIMIT_DB`). And the number of symbols of a LoRa packet. For
SF7 and above the Semtech SX1276/77/78/79 datasheet (Rev 4, 2015, section 4.1.1.7, read; the form confirmed by two drivers)
and the SX1261/2 datasheet (section 6.1.4, read in the maker's driver sx126x_driver v2.3.2) say the same:

    Tsym   = 2^SF / BW
    Nsym   = preamble + 4.25 + 8
             + ceil(max(8*bytes - 4*SF + 28 + 16*CRC - 20*implicit, 0) / (4*(SF - 2*DE))) * coding_rate
    ToA    = Nsym * Tsym

For SF5 and SF6 of the newer chips the newer form holds (read in the same driver): 6.25 in place of 4.25, 20 in
place of 28, and 4*SF below. SF6 of the oldest chips is not that SF6: their datasheet's form (4.25, 28) is used for
`chip="sx127x"`. The maker's own driver uses the newer form for them too, which differs by -1.0 or +1.5 ms at 125 kHz;
no measurement on air was found.

The bandwidths below 125 kHz are 500 kHz divided by a whole number; the datasheets print them rounded (7.8 kHz). A setting
names the printed figure of the SX1276 datasheet in hertz, the arithmetic takes the exact quotient (the dividers are from
memory).

>>> LoRa(spreading_factor=12).airtime_ms(12)
1155.072
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import log10

from packetcodec.errors import RadioFault
from packetcodec.radio import modem
from packetcodec.radio.modem import Modem

BANDWIDTHS = {
    7_800: Fraction(500_000, 64), 10_400: Fraction(500_000, 48), 15_600: Fraction(500_000, 32),
    20_800: Fraction(500_000, 24), 31_250: Fraction(500_000, 16), 41_700: Fraction(500_000, 12),
    62_500: Fraction(500_000, 8), 125_000: Fraction(125_000), 250_000: Fraction(250_000), 500_000: Fraction(500_000),
}  # fmt: skip
"""Bandwidth as the datasheet prints it, in hertz, to the exact one: the 32 MHz crystal divided down."""

CHIPS = ("sx126x", "sx127x")
"""Families of LoRa modems below 1 GHz: they differ in the spreading factors that there are."""

LOW_DATA_RATE_REMARK = (
    "Transmitter and receiver must agree on low-data-rate optimization. Automatic is the datasheets' rule: on when a symbol "
    "lasts longer than 16 ms. Some drivers decide by a table instead: on at any spreading factor up to 31.25 kHz and at SF9 "
    "with 41.7 kHz, on at SF11 and SF12 with any bandwidth up to 125 kHz, never above 125 kHz."
)
"""Stands beside the option that sets it."""

# Low-data-rate optimization "is mandated when the symbol duration exceeds 16 ms": SX1276 datasheet 4.1.1.6, read.
_LOW_DATA_RATE_ABOVE = Fraction(16, 1000)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoRa(Modem):
    """A LoRa modem with its settings.

    Attributes:
        spreading_factor: 5..12; 6..12 on the older chips.
        bandwidth_hz: one of `BANDWIDTHS`, in hertz as the datasheet prints it.
        coding_rate: 5..8, meaning 4/5..4/8.
        preamble: programmed preamble symbols, 1..65535; the modem adds 4.25 (SF5 and SF6: 6.25) of its own.
        explicit_header: False for implicit header, the only choice at SF6 on the older chips.
        payload_crc: whether the modem appends its own 16-bit CRC to the payload.
        low_data_rate: low-data-rate optimization; None is automatic, on for symbols above 16 ms.
        chip: "sx126x" for the newer generation (SX1261/2 and later), "sx127x" for the older one (SX1276..79).

    Raises:
        RadioFault: for a setting that the chip does not have, naming setting, value and bound.
    """

    spreading_factor: int
    bandwidth_hz: int = 125_000
    coding_rate: int = 5
    preamble: int = 8
    explicit_header: bool = True
    payload_crc: bool = True
    low_data_rate: bool | None = None
    chip: str = "sx126x"

    def __post_init__(self) -> None:
        if self.chip not in CHIPS:
            raise RadioFault(f"chip: {self.chip!r} is none of {', '.join(CHIPS)}")
        older = self.chip == "sx127x"
        modem.integer("spreading_factor", self.spreading_factor, 6 if older else 5, 12, f"chip {self.chip}")
        if not isinstance(self.bandwidth_hz, int) or self.bandwidth_hz not in BANDWIDTHS:
            raise RadioFault(f"bandwidth_hz: {self.bandwidth_hz!r} is none of {', '.join(map(str, BANDWIDTHS))}")
        modem.integer("coding_rate", self.coding_rate, 5, 8, "the denominator of 4/5..4/8")
        modem.integer("preamble", self.preamble, 1, 65_535, "symbols")
        modem.switch("explicit_header", self.explicit_header)
        modem.switch("payload_crc", self.payload_crc)
        if self.low_data_rate is not None:
            modem.switch("low_data_rate", self.low_data_rate)
        if older and self.spreading_factor == 6 and self.explicit_header:
            raise RadioFault(
                "explicit_header: True is outside what chip sx127x can do at SF6, implicit header only "
                "(SX1276 datasheet 4.1.1.2)"
            )
        if self.low_data_rate and self.spreading_factor < 7:
            raise RadioFault(
                f"low_data_rate: True is outside the published airtime form at SF{self.spreading_factor}, "
                "which has no low-data-rate optimization below SF7"
            )

    @property
    def name(self) -> str:
        """For reports: "SF10 125 kHz 4/5"."""
        return f"SF{self.spreading_factor} {self.bandwidth_hz / 1000:g} kHz 4/{self.coding_rate}"

    @property
    def label(self) -> str:
        """The spreading factor: "SF10"."""
        return f"SF{self.spreading_factor}"

    @property
    def occupied_hz(self) -> Fraction:
        """The exact bandwidth in hertz."""
        return BANDWIDTHS[self.bandwidth_hz]

    @property
    def low_data_rate_on(self) -> bool:
        """Whether low-data-rate optimization is in force, after the automatic choice."""
        return self.symbol_time() > _LOW_DATA_RATE_ABOVE if self.low_data_rate is None else self.low_data_rate

    def symbol_time(self) -> Fraction:
        """Duration of a symbol in seconds."""
        return Fraction(1 << self.spreading_factor) / BANDWIDTHS[self.bandwidth_hz]

    def symbols(self, payload_bytes: int) -> Fraction:
        """Symbols of a packet, preamble and start of frame included: a whole number and a quarter."""
        self.demand(payload_bytes, "a LoRa packet")
        sf = self.spreading_factor
        bits = 8 * payload_bytes - 4 * sf + 16 * self.payload_crc + 20 * self.explicit_header
        if sf < 7 and self.chip != "sx127x":
            start, block = Fraction(25, 4), 4 * sf
        else:
            bits += 8
            start, block = Fraction(17, 4), 4 * (sf - 2 * self.low_data_rate_on)
        return self.preamble + start + 8 + -(-max(bits, 0) // block) * self.coding_rate

    def airtime(self, payload_bytes: int) -> Fraction:
        """Time on air in seconds, exact; `payload_bytes` is 0..255."""
        return self.symbols(payload_bytes) * self.symbol_time()

    def advice(self) -> tuple[str, ...]:
        """Settings that the modem takes but its maker advises against, one sentence each; mostly empty."""
        said = []
        if self.spreading_factor < 7 and self.preamble < 12:
            said.append(
                f"preamble: {self.preamble} is below the 12 symbols that SF{self.spreading_factor} wants "
                "(SX1261/2 datasheet 6.1.1.1, quoted)"
            )
        if self.preamble < 6:
            said.append(f"preamble: {self.preamble} is below 6 symbols, the least of an SX1276 (from memory)")
        if not self.low_data_rate_on and self.symbol_time() > _LOW_DATA_RATE_ABOVE:
            said.append(
                f"low_data_rate: off, though a symbol lasts {float(self.symbol_time() * 1000):g} ms and the "
                "optimization is mandated above 16 ms (SX1276 datasheet 4.1.1.6)"
            )
        if self.chip == "sx127x" and self.spreading_factor == 6:
            said.append(
                "spreading_factor: the airtime of SF6 on this chip is that of its datasheet; the maker's driver has "
                "another form, which differs by -1.0 or +1.5 ms at 125 kHz, and no measurement was found"
            )
        return tuple(said)


SNR_LIMIT_DB = {5: -2.5, 6: -5.0, 7: -7.5, 8: -10.0, 9: -12.5, 10: -15.0, 11: -17.5, 12: -20.0}
"""Spreading factor to the lowest signal-to-noise ratio, in decibels, at which packets are still demodulated."""

SENSITIVITY_SOURCE = (
    "signal-to-noise limits of the SX1276/77/78/79 datasheet, table 13 (from memory: check before you rely on it)"
)

NOISE_FIGURE_DB = 6.0
"""Of the receiver (common practice, no source)."""


def sensitivity_dbm(modem: LoRa) -> float:
    """The weakest signal in dBm: -174 dBm/Hz of thermal noise, bandwidth, noise figure and the limit."""
    return -174 + 10 * log10(float(modem.occupied_hz)) + NOISE_FIGURE_DB + SNR_LIMIT_DB[modem.spreading_factor]


def gain_db(present: LoRa, other: LoRa) -> float:
    """Link margin that `other` has over `present`, in decibels. No kilometres follow from it.

    >>> round(gain_db(LoRa(spreading_factor=9), LoRa(spreading_factor=10)), 2)
    2.5
    """
    return sensitivity_dbm(present) - sensitivity_dbm(other)
