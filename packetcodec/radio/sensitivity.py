"""What another spreading factor or bandwidth gains in link margin. Decibels only: no kilometres follow from them.

Owns one rule: the weakest signal that LoRa can demodulate lies so many decibels below the noise in its bandwidth, and
that noise grows by 10 log10 of the bandwidth. The limits below are those of the SX1276/77/78/79 datasheet, table 13
(from memory); 2.5 dB for each spreading factor.

>>> from packetcodec.radio import LoRa
>>> round(gain_db(LoRa(spreading_factor=9), LoRa(spreading_factor=10)), 2)
2.5
"""

from __future__ import annotations

from math import log10
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from packetcodec.radio.lora import LoRa

SNR_LIMIT_DB = {5: -2.5, 6: -5.0, 7: -7.5, 8: -10.0, 9: -12.5, 10: -15.0, 11: -17.5, 12: -20.0}
"""Spreading factor to the lowest signal-to-noise ratio, in decibels, at which packets are still demodulated."""

SOURCE = "signal-to-noise limits of the SX1276/77/78/79 datasheet, table 13 (from memory: check before you rely on it)"

NOISE_FIGURE_DB = 6.0
"""Of the receiver (common practice, no source)."""


def sensitivity_dbm(modem: LoRa) -> float:
    """The weakest signal in dBm: -174 dBm/Hz of thermal noise, bandwidth, noise figure and the limit."""
    return -174 + 10 * log10(float(modem.occupied_hz)) + NOISE_FIGURE_DB + SNR_LIMIT_DB[modem.spreading_factor]


def gain_db(present: LoRa, other: LoRa) -> float:
    """Link margin that `other` has over `present`, in decibels."""
    return sensitivity_dbm(present) - sensitivity_dbm(other)
