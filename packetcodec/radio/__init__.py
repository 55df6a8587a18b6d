"""What a packet costs on air: LoRa and (G)FSK time on air, regional limits as data, budgets under them.

Airtime and limits are exact (`int` and `Fraction`); a float appears only where a name says so. Every row of
the limits has its source, the document's date and a mark that says how far it was verified. `CAUTION` belongs
beside every table made from them: arithmetic, not permission.

>>> LoRa(spreading_factor=10, bandwidth_hz=125_000).airtime_ms(20)
370.688
"""

from __future__ import annotations

from packetcodec.radio.budget import CAUTION, LORAWAN_OVERHEAD, OBSERVATION_SECONDS, Budget, Verdict, packet_budget
from packetcodec.radio.fsk import Fsk
from packetcodec.radio.lora import BANDWIDTHS, CHIPS, LoRa
from packetcodec.radio.modem import Headroom, Modem
from packetcodec.radio.regions import MAX_HZ, VERIFIED, DataRate, Gap, Region, SubBand, load_regions, region

__all__ = [
    "BANDWIDTHS",
    "CAUTION",
    "CHIPS",
    "LORAWAN_OVERHEAD",
    "MAX_HZ",
    "OBSERVATION_SECONDS",
    "VERIFIED",
    "Budget",
    "DataRate",
    "Fsk",
    "Gap",
    "Headroom",
    "LoRa",
    "Modem",
    "Region",
    "SubBand",
    "Verdict",
    "load_regions",
    "packet_budget",
    "region",
]
