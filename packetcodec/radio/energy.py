"""How long a battery lasts: charge per packet and per day from given currents.

Owns one rule: charge is current times time. Sleep current flows all day; receiving a position, sending and listening
add to it. Currents that are not given are typical datasheet values, each with its source and mark.

>>> from packetcodec.radio import LoRa
>>> from packetcodec.radio.schedule import Sending
>>> from fractions import Fraction
>>> draw = Draw(sleep_ua=20, gnss_ma=25, gnss_seconds=2, transmit_ma=45)
>>> use = energy(draw, LoRa(spreading_factor=9), (Sending("position", 14, every=Fraction(600)),))
>>> round(use.mas_per_packet[0], 3), round(use.mah_per_day, 3), round(use.days(2600, derating=0.8), 1)
(57.419, 2.777, 749.1)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.errors import RadioFault

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.radio.modem import Modem
    from packetcodec.radio.schedule import Sending

DEFAULTS = {
    "sleep_ua": (20.0, "whole tracker asleep with the receiver's backup supply: common practice, no source"),
    "gnss_ma": (25.0, "GNSS receiver in use, hot start: typical of current receivers, from memory"),
    "gnss_seconds": (2.0, "hot start each time: common practice, no source"),
    "transmit_ma": (45.0, "SX1262 at +14 dBm with its +22 dBm amplifier (SX1261/2 datasheet, from memory)"),
    "receive_ma": (5.3, "SX1261/2 boosted receive gain, DC-DC (SX1261/2 datasheet, from memory)"),
    "receive_seconds": (0.0, "a tracker that only sends"),
}
"""Each current in its unit or time in seconds, and where the value comes from."""

DEFAULT_DERATING = 0.7
"""Share of the printed capacity that can be used: cold, age, cut-off voltage (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draw:
    """Currents of a tracker: microamperes asleep, milliamperes otherwise; seconds for each packet.

    Raises:
        RadioFault: a value that is negative or no finite number.
    """

    sleep_ua: float = DEFAULTS["sleep_ua"][0]
    gnss_ma: float = DEFAULTS["gnss_ma"][0]
    gnss_seconds: float = DEFAULTS["gnss_seconds"][0]
    transmit_ma: float = DEFAULTS["transmit_ma"][0]
    receive_ma: float = DEFAULTS["receive_ma"][0]
    receive_seconds: float = DEFAULTS["receive_seconds"][0]

    def __post_init__(self) -> None:
        for name in DEFAULTS:
            value = getattr(self, name)
            if not math.isfinite(value) or value < 0:
                raise RadioFault(f"{name}: {value:g} is not a number of 0 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class Energy:
    """Charge that a schedule takes.

    Attributes:
        mas_per_packet: milliampere-seconds of one packet of each sending, receiving its position included.
        mah_per_day: milliampere-hours of a day, sleep included.
        sleep_share: share of the day's charge that sleep takes.
    """

    mas_per_packet: tuple[float, ...]
    mah_per_day: float
    sleep_share: float

    def days(self, capacity_mah: float, *, derating: float = DEFAULT_DERATING) -> float:
        """Days that a battery lasts, of whose printed capacity the share `derating` can be used.

        Raises:
            RadioFault: a capacity that is not above 0, a share outside 0..1.
        """
        if not math.isfinite(capacity_mah) or capacity_mah <= 0:
            raise RadioFault(f"battery: {capacity_mah:g} mAh is not above 0")
        if not 0 < derating <= 1:
            raise RadioFault(f"derating: {derating:g} is outside 0..1 (0 excluded)")
        return math.inf if self.mah_per_day == 0 else capacity_mah * derating / self.mah_per_day


def energy(draw: Draw, modem: Modem, sendings: Sequence[Sending], *, overhead: int = 0) -> Energy:
    """What a schedule takes of the battery, `overhead` bytes on top of each payload."""
    around = draw.gnss_ma * draw.gnss_seconds + draw.receive_ma * draw.receive_seconds
    each = [around + draw.transmit_ma * float(modem.airtime(item.payload_bytes + overhead)) for item in sendings]
    sleep = draw.sleep_ua / 1000 * 86_400
    sent = sum(charge * float(item.rate) * 86_400 for charge, item in zip(each, sendings, strict=True))
    day = sleep + sent
    return Energy(mas_per_packet=tuple(each), mah_per_day=day / 3600, sleep_share=sleep / day if day else 0.0)
