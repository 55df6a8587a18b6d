"""Positions as open standards scale them, where a kind can express them to the bit.

What no kind expresses, and is not tested here: the sign-and-magnitude latitude and the 2**24/360 scaling of
3GPP TS 23.032, and two's complement (NMEA 2000, AIS): a code here counts from the range's minimum.
"""

from __future__ import annotations

from typing import Any

import asn1tools
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packetcodec import Codec, Schema


def codec_of(*fields: str, version: int = 1, version_bits: int = 4, layout_bits: int = 4, ident: int = 0) -> Codec:
    return Codec(
        Schema.parse(
            f'name = "pasture"\nversion = {version}\ncheck = {{ crc = "none" }}\n'
            f"header = {{ version_bits = {version_bits}, layout_bits = {layout_bits} }}\n"
            f'[[layouts]]\nname = "beacon"\nid = {ident}\nfields = [{", ".join(fields)}]\n'
        )
    )


# --- ETSI TS 102 894-2 ----------------------------------------------------------------------------------------------

# Ranges and units: read in the ASN.1 of TS 102 894-2 (V1.3.1 and V2.4.1) as an open C++ implementation carries it.
ETSI = asn1tools.compile_string(
    """
    Etsi DEFINITIONS AUTOMATIC TAGS ::= BEGIN
    Latitude ::= INTEGER (-900000000..900000001)
    Longitude ::= INTEGER (-1800000000..1800000001)
    AltitudeValue ::= INTEGER (-100000..800001)
    HeadingValue ::= INTEGER (0..3601)
    SpeedValue ::= INTEGER (0..16383)
    SemiAxisLength ::= INTEGER (0..4095)
    DeltaLatitude ::= INTEGER (-131071..131072)
    Header ::= INTEGER (0..255)
    Place ::= SEQUENCE { header Header, latitude Latitude, longitude Longitude, altitude AltitudeValue }
    Motion ::= SEQUENCE { header Header, heading HeadingValue, speed SpeedValue, axis SemiAxisLength, delta DeltaLatitude }
    END
    """,
    "uper",
)
PLACE = codec_of(
    '{ kind = "latitude", resolution = 1e-7 }',
    '{ kind = "longitude", resolution = 1e-7 }',
    '{ kind = "altitude", minimum = -1000, maximum = 8000.01, resolution = 0.01 }',
)
# The same with numbers, whose ranges can also hold the standard's codes for "unavailable" and its +180 degrees.
NUMBERS = codec_of(
    '{ kind = "number", name = "latitude", minimum = -90, maximum = 90.0000001, resolution = 1e-7 }',
    '{ kind = "number", name = "longitude", minimum = -180, maximum = 180.0000001, resolution = 1e-7 }',
    '{ kind = "number", name = "altitude", minimum = -1000, maximum = 8000.01, resolution = 0.01 }',
)
MOTION = codec_of(
    '{ kind = "number", name = "heading", minimum = 0, maximum = 360.1, resolution = 0.1 }',
    '{ kind = "speed", maximum = 163.83, resolution = 0.01 }',
    '{ kind = "number", name = "axis", minimum = 0, maximum = 40.95, resolution = 0.01 }',
    '{ kind = "number", name = "delta", minimum = -0.0131071, maximum = 0.0131072, resolution = 1e-7 }',
)


def codes(least: int, most: int) -> st.SearchStrategy[int]:
    return st.integers(least, most) | st.sampled_from([least, most])


def etsi_place(latitude: int, longitude: int, altitude: int) -> bytes:
    place = {"header": 0x10, "latitude": latitude, "longitude": longitude, "altitude": altitude}
    encoded: bytes = ETSI.encode("Place", place)
    return encoded


@settings(deadline=None)
@given(codes(-900000000, 900000000), codes(-1800000000, 1799999999), codes(-100000, 800001))
def test_latitude_longitude_and_altitude_are_those_of_etsi_its(latitude: int, longitude: int, altitude: int) -> None:
    values = {"latitude": latitude / 1e7, "longitude": longitude / 1e7, "altitude": altitude / 100}
    expected = etsi_place(latitude, longitude, altitude)
    assert PLACE.encode("beacon", values) == NUMBERS.encode("beacon", values) == expected
    assert PLACE.decode(expected).values == values


def test_a_number_also_holds_the_codes_that_etsi_its_keeps_for_unavailable() -> None:
    values = {"latitude": 90.0000001, "longitude": 180.0000001, "altitude": 8000.01}
    assert NUMBERS.encode("beacon", values) == etsi_place(900000001, 1800000001, 800001)


@settings(deadline=None)
@given(codes(0, 3601), codes(0, 16383), codes(0, 4095), codes(-131071, 131072))
def test_heading_speed_axis_and_offset_are_those_of_etsi_its(heading: int, speed: int, axis: int, delta: int) -> None:
    expected = ETSI.encode("Motion", {"header": 0x10, "heading": heading, "speed": speed, "axis": axis, "delta": delta})
    values = {"heading": heading / 10, "speed": speed / 100, "axis": axis / 100, "delta": delta / 1e7}
    assert MOTION.encode("beacon", values) == expected
    assert MOTION.decode(expected).values == values


# --- SAE J1939 PGN 65267, SPN 584 and 585 ---------------------------------------------------------------------------

J1939 = codec_of(
    *(
        f'{{ kind = "number", name = "{name}", minimum = -210, maximum = 211.1081215, resolution = 1e-7 }}'
        for name in ("latitude", "longitude")
    )
)


# Scaling (1e-7 degree a bit from -210, little-endian): read in a header of can-utils that cites J1939-71:2002, 5.3.
# Values: computed by hand from that scaling; 0xFAFFFFFF as the last valid code is computed to be the stated maximum.
@pytest.mark.parametrize(
    ("latitude", "longitude", "frame"),
    [
        (47.582833, -122.345833, "6A058899 E6F63E34"),
        (-33.8568, 151.2153, "C051FD68 A8144DD7"),
        (0, 0, "00752B7D 00752B7D"),
        (-210, 211.1081215, "00000000 FFFFFFFA"),
    ],
)
def test_a_number_scales_as_sae_j1939_does_but_for_the_byte_order(latitude: float, longitude: float, frame: str) -> None:
    packet = J1939.encode("beacon", {"latitude": latitude, "longitude": longitude})
    swapped = packet[4:0:-1] + packet[8:4:-1]
    assert swapped == bytes.fromhex(frame)
    assert J1939.decode(packet).values == {"latitude": latitude, "longitude": longitude}


def test_what_sae_j1939_keeps_for_error_and_not_available_is_out_of_range() -> None:
    for word in ("FB000000", "FE000000", "FFFFFFFF"):
        assert J1939.try_decode(bytes.fromhex("10" + word + "00000000")) == ("out_of_range", None)


# --- ITU-R M.1371 (AIS) ---------------------------------------------------------------------------------------------


def armoured(payload: str) -> bytes:
    """The bits of an AIVDM payload: six a character, filled up with zeros to a byte."""
    numbers = [ord(char) - 48 - 8 * (ord(char) > 95) for char in payload]
    bits = "".join(f"{number:06b}" for number in numbers)
    bits += "0" * (-len(bits) % 8)
    return int(bits, 2).to_bytes(len(bits) // 8, "big")


# Bit layout: read in gpsd's AIVDM document. Message type and repeat indicator stand where version and layout id do.
POSITION_REPORT = codec_of(
    '{ kind = "identifier", name = "mmsi", bits = 30 }',
    '{ kind = "identifier", name = "status", bits = 4 }',
    '{ kind = "identifier", name = "turn", bits = 8 }',
    '{ kind = "speed", unit = "knot", maximum = 102.3, resolution = 0.1 }',
    '{ kind = "flag", name = "accurate" }',
    '{ kind = "identifier", name = "longitude", bits = 28 }',
    '{ kind = "identifier", name = "latitude", bits = 27 }',
    '{ kind = "number", name = "course", minimum = 0, maximum = 409.5, resolution = 0.1 }',
    '{ kind = "identifier", name = "heading", bits = 9 }',
    '{ kind = "identifier", name = "second", bits = 6 }',
    '{ kind = "identifier", name = "rest", bits = 25 }',
    version=1, version_bits=6, layout_bits=2,
)  # fmt: skip
LONG_RANGE = codec_of(
    '{ kind = "identifier", name = "mmsi", bits = 30 }',
    '{ kind = "identifier", name = "state", bits = 6 }',
    '{ kind = "identifier", name = "longitude", bits = 18 }',
    '{ kind = "identifier", name = "latitude", bits = 17 }',
    '{ kind = "identifier", name = "rest", bits = 17 }',
    version=27, version_bits=6, layout_bits=2, ident=1,
)  # fmt: skip


# Sentences and their contents: read in gpsd's test file sample.aivdm and its .chk file.
def test_a_published_position_report_of_ais_decodes_to_its_published_contents() -> None:
    packet = armoured("15RTgt0PAso;90TKcjM8h6g208CQ")
    values: dict[str, Any] = POSITION_REPORT.decode(packet).values
    assert {key: values[key] for key in ("mmsi", "speed", "course", "heading", "second")} == {
        "mmsi": 371798000, "speed": 12.3, "course": 224.0, "heading": 215, "second": 33,
    }  # fmt: skip
    assert values["longitude"] - 2**28 == -74037230  # two's complement, 1/10000 minute
    assert values["latitude"] == 29028980
    assert POSITION_REPORT.encode("beacon", values) == packet


def test_a_published_long_range_report_of_ais_decodes_to_its_published_contents() -> None:
    packet = armoured("KCQ9r=hrFUnH7P00")
    assert packet[0] & 3 == LONG_RANGE.plan.layouts[0].id
    values: dict[str, Any] = LONG_RANGE.decode(packet).values
    assert (values["mmsi"], values["longitude"] - 2**18, values["latitude"]) == (236091959, -92521, 52239)
    assert LONG_RANGE.encode("beacon", values) == packet
