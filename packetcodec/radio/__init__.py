"""What a packet costs on air: LoRa and (G)FSK time on air, regional limits as data, budgets under them.

Airtime and limits are exact (`int` and `Fraction`); a float appears only where a name says so. Every row of
the limits has its source, the document's date and a mark that says how far it was verified. `CAUTION` belongs
beside every table made from them: arithmetic, not permission.

>>> LoRa(spreading_factor=10, bandwidth_hz=125_000).airtime_ms(20)
370.688
"""

from __future__ import annotations

from packetcodec.radio.budget import CAUTION, LORAWAN_OVERHEAD, Budget, Verdict, packet_budget
from packetcodec.radio.fsk import Fsk
from packetcodec.radio.lora import BANDWIDTHS, CHIPS, LOW_DATA_RATE_REMARK, LoRa
from packetcodec.radio.lora_2g4 import BANDWIDTHS_2G4, LoRa2G4
from packetcodec.radio.lr_fhss import CODING_RATES, LrFhss
from packetcodec.radio.modem import Headroom, Modem
from packetcodec.radio.regions import MAX_HZ, VERIFIED, DataRate, Gap, Region, SubBand, load_regions, region
from packetcodec.radio.routes import HOUR, Allowance, Route, choose

__all__ = [
    "BANDWIDTHS",
    "BANDWIDTHS_2G4",
    "CAUTION",
    "CHIPS",
    "CODING_RATES",
    "HOUR",
    "LORAWAN_OVERHEAD",
    "LOW_DATA_RATE_REMARK",
    "MAX_HZ",
    "VERIFIED",
    "Allowance",
    "Budget",
    "DataRate",
    "Fsk",
    "Gap",
    "Headroom",
    "LoRa",
    "LoRa2G4",
    "LrFhss",
    "Modem",
    "Region",
    "Route",
    "SubBand",
    "Verdict",
    "choose",
    "load_regions",
    "packet_budget",
    "region",
]
