"""(G)FSK time on air."""

from __future__ import annotations

from fractions import Fraction

import pytest

from packetcodec.errors import RadioFault
from packetcodec.radio import Fsk, Headroom


# Preamble 40 bit, sync 24 bit, variable length, CRC 2 bytes, 50 kbit/s: the form read in the maker's
# sx126x_driver, the figures computed from it.
@pytest.mark.parametrize(("size", "milliseconds"), [(10, 3.36), (20, 4.96)])
def test_airtime_is_that_of_the_makers_driver(size: int, milliseconds: float) -> None:
    assert Fsk().airtime_ms(size) == milliseconds


def test_every_part_of_the_packet_takes_its_bits() -> None:
    bare = Fsk(bit_rate=1000, preamble_bits=0, sync_bits=0, variable_length=False, crc_bytes=0)
    assert bare.airtime(0) == 0
    assert bare.airtime(1) == Fraction(8, 1000)
    full = Fsk(bit_rate=1000, preamble_bits=3, sync_bits=5, variable_length=True, address_bytes=1, crc_bytes=1)
    assert full.airtime(1) == Fraction(3 + 5 + 8 + 8 * 3, 1000)


def test_every_byte_costs() -> None:
    assert Fsk().headroom(10) == Headroom(spare_bytes=0, drop_bytes=1)
    assert Fsk().headroom(0) == Headroom(spare_bytes=0, drop_bytes=None)
    assert Fsk().steps(3) == (0, 1, 2, 3)
    assert Fsk().largest_payload(0.00336) == 10
    assert Fsk().largest_payload(0.001) is None
    assert Fsk(address_bytes=1).steps()[-1] == 254


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"bit_rate": 0}, "bit_rate: 0 is outside 600..300000 (bits per second)"),
        ({"deviation_hz": 1}, "deviation_hz: 1 is outside 600..200000 (hertz)"),
        ({"preamble_bits": -1}, "preamble_bits: -1 is outside 0..65535"),
        ({"sync_bits": 65}, "sync_bits: 65 is outside 0..64"),
        ({"variable_length": 1}, "variable_length: 1 is neither True nor False"),
        ({"address_bytes": 2}, "address_bytes: 2 is outside 0..1"),
        ({"crc_bytes": 3}, "crc_bytes: 3 is outside 0..2"),
    ],
)
def test_a_setting_out_of_range_is_refused_by_name_bound_and_value(settings: dict[str, int], message: str) -> None:
    with pytest.raises(RadioFault) as fault:
        Fsk(**settings)
    assert str(fault.value) == message


def test_a_payload_beyond_the_length_byte_is_refused() -> None:
    with pytest.raises(RadioFault, match=r"payload_bytes: 255 is outside 0\.\.254"):
        Fsk(address_bytes=1).airtime(255)
