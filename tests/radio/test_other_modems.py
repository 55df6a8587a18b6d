"""LoRa at 2.4 GHz and LR-FHSS: time on air as the maker's drivers compute it."""

from __future__ import annotations

from fractions import Fraction

import pytest

from packetcodec.errors import RadioFault
from packetcodec.radio import LoRa2G4, LrFhss

# Spreading factor, bandwidth, coding rate, long interleaving, explicit header, CRC, bytes; numerator: airtime is numerator /
# bandwidth. Preamble 12. Computed with the C source of the maker's sx128x_driver (as part of SWL2001), compiled and run.
LORA_2G4 = (
    (12, 812500, 7, False, True, False, 14, 185344),
    (8, 203125, 8, False, False, False, 64, 38976),
    (9, 406250, 8, False, False, True, 20, 32896),
    (12, 1625000, 6, True, True, False, 3, 107520),
    (11, 406250, 6, True, True, True, 64, 225792),
    (5, 406250, 7, False, True, True, 20, 2856),
    (10, 812500, 5, True, True, True, 64, 91392),
    (8, 203125, 6, False, False, False, 0, 6208),
    (12, 1625000, 5, True, True, False, 0, 99328),
    (5, 812500, 8, False, True, False, 64, 7496),
    (6, 1625000, 5, True, True, False, 0, 1680),
    (6, 406250, 8, False, True, False, 20, 5264),
    (9, 812500, 5, False, True, True, 20, 25216),
    (10, 812500, 8, True, False, False, 14, 41216),
    (8, 203125, 5, False, False, False, 20, 12608),
    (9, 812500, 8, False, True, True, 255, 245888),
    (11, 812500, 8, False, True, False, 14, 98816),
    (6, 203125, 8, True, True, True, 3, 2576),
    (11, 1625000, 8, True, True, True, 20, 123392),
    (8, 203125, 6, False, False, False, 14, 10816),
    (5, 203125, 5, True, False, True, 255, 17032),
    (7, 812500, 8, False, True, True, 255, 78880),
    (9, 1625000, 8, True, False, True, 3, 13952),
    (8, 406250, 5, True, False, True, 20, 11840),
    (7, 203125, 8, True, False, False, 20, 8224),
    (9, 812500, 8, True, True, True, 64, 71808),
    (6, 1625000, 6, True, False, True, 255, 34064),
    (5, 1625000, 8, False, True, False, 3, 1352),
    (6, 812500, 6, True, False, True, 14, 3216),
    (12, 812500, 5, False, True, True, 64, 365568),
    (12, 812500, 5, False, True, True, 0, 99328),
    (10, 406250, 5, True, True, True, 14, 40192),
    (6, 812500, 6, False, False, False, 255, 33936),
    (6, 812500, 8, False, False, False, 20, 4752),
    (5, 203125, 5, False, True, False, 14, 1800),
    (5, 203125, 6, False, True, True, 3, 1224),
)


@pytest.mark.parametrize("row", LORA_2G4)
def test_airtime_at_2_4_ghz_is_that_of_the_makers_driver(row: tuple[int, ...]) -> None:
    sf, bandwidth, rate, long, explicit, crc, size, numerator = row
    modem = LoRa2G4(
        spreading_factor=sf, bandwidth_hz=bandwidth, coding_rate=rate, long_interleaving=long, explicit_header=explicit,
        payload_crc=crc,
    )  # fmt: skip
    assert modem.airtime(size) == Fraction(numerator, bandwidth)


# Coding rate (5/6, 2/3, 1/2, 1/3), headers, bytes; bits. Computed with the C source of the maker's sx126x_driver v2.3.2,
# lr_fhss_mac.c, compiled and run.
LR_FHSS = (
    ("5/6", 1, 14, 283),
    ("5/6", 4, 20, 685),
    ("5/6", 4, 50, 985),
    ("2/3", 1, 1, 161),
    ("2/3", 1, 14, 325),
    ("2/3", 1, 20, 399),
    ("2/3", 3, 1, 389),
    ("2/3", 3, 14, 553),
    ("2/3", 3, 33, 789),
    ("1/2", 1, 1, 178),
    ("1/2", 4, 20, 836),
    ("1/3", 2, 14, 648),
    ("1/3", 3, 14, 762),
    ("1/3", 3, 33, 1236),
)


@pytest.mark.parametrize(("rate", "headers", "size", "bits"), LR_FHSS)
def test_airtime_of_lr_fhss_is_that_of_the_makers_driver(rate: str, headers: int, size: int, bits: int) -> None:
    # 488.28125 bits a second: the same header file.
    assert LrFhss(coding_rate=rate, headers=headers).airtime(size) == bits / Fraction("488.28125")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: LoRa2G4(spreading_factor=4), "spreading_factor: 4 is outside 5..12"),
        (lambda: LoRa2G4(spreading_factor=7, bandwidth_hz=125_000), "bandwidth_hz: 125000 is none of 203125, 406250"),
        (lambda: LoRa2G4(spreading_factor=7, coding_rate=7, long_interleaving=True), "coding_rate: 7 is none of 5, 6, 8"),
        (lambda: LrFhss(coding_rate="4/5"), "coding_rate: '4/5' is none of 5/6, 2/3, 1/2, 1/3"),
        (lambda: LrFhss(headers=5), "headers: 5 is outside 1..4"),
        (lambda: LrFhss(bandwidth_hz=125_000), "bandwidth_hz: 125000 is none of 39063"),
        (lambda: LrFhss().airtime(66), "payload_bytes: 66 is outside 0..65"),
    ],
)
def test_a_setting_that_does_not_exist_is_refused(make: object, message: str) -> None:
    with pytest.raises(RadioFault) as fault:
        make()
    assert str(fault.value).startswith(message)
