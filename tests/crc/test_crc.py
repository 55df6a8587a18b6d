"""CRC values, code words and names against the public catalogue."""

from __future__ import annotations

import crccheck.crc
import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.crc.catalogue import ENTRIES, default_crc, find_crc, names
from packetcodec.crc.crc import MODEM_POLYNOMIAL, WIDTHS, Crc, demand_generator, mirrored
from packetcodec.errors import PacketcodecError
from packetcodec.frozen import replace

REFERENCE = {kind._names[0]: kind for kind in crccheck.crc.ALLCRCCLASSES if kind._width in WIDTHS and kind._poly}
CRCS = st.sampled_from([entry.crc for entry in ENTRIES])

# Source: the public RevEng catalogue, read through its copy in the source of crc-catalog (src/algorithm.rs).
# name, polynomial, initial, reflected, xor_out, check, residue
PUBLISHED = [
    ("CRC-8/AUTOSAR", 0x2F, 0xFF, False, 0xFF, 0xDF, 0x42),
    ("CRC-8/BLUETOOTH", 0xA7, 0x0, True, 0x0, 0x26, 0x0),
    ("CRC-8/LTE", 0x9B, 0x0, False, 0x0, 0xEA, 0x0),
    ("CRC-8/MAXIM-DOW", 0x31, 0x0, True, 0x0, 0xA1, 0x0),
    ("CRC-8/OPENSAFETY", 0x2F, 0x0, False, 0x0, 0x3E, 0x0),
    ("CRC-8/SAE-J1850", 0x1D, 0xFF, False, 0xFF, 0x4B, 0xC4),
    ("CRC-8/SMBUS", 0x7, 0x0, False, 0x0, 0xF4, 0x0),
    ("CRC-16/ARC", 0x8005, 0x0, True, 0x0, 0xBB3D, 0x0),
    ("CRC-16/DECT-X", 0x589, 0x0, False, 0x0, 0x7F, 0x0),
    ("CRC-16/DNP", 0x3D65, 0x0, True, 0xFFFF, 0xEA82, 0x66C5),
    ("CRC-16/EN-13757", 0x3D65, 0x0, False, 0xFFFF, 0xC2B7, 0xA366),
    ("CRC-16/IBM-3740", 0x1021, 0xFFFF, False, 0x0, 0x29B1, 0x0),
    ("CRC-16/IBM-SDLC", 0x1021, 0xFFFF, True, 0xFFFF, 0x906E, 0xF0B8),
    ("CRC-16/KERMIT", 0x1021, 0x0, True, 0x0, 0x2189, 0x0),
    ("CRC-16/LJ1200", 0x6F63, 0x0, False, 0x0, 0xBDF4, 0x0),
    ("CRC-16/M17", 0x5935, 0xFFFF, False, 0x0, 0x772B, 0x0),
    ("CRC-16/MODBUS", 0x8005, 0xFFFF, True, 0x0, 0x4B37, 0x0),
    ("CRC-16/OPENSAFETY-A", 0x5935, 0x0, False, 0x0, 0x5D38, 0x0),
    ("CRC-16/OPENSAFETY-B", 0x755B, 0x0, False, 0x0, 0x20FE, 0x0),
    ("CRC-16/PROFIBUS", 0x1DCF, 0xFFFF, False, 0xFFFF, 0xA819, 0xE394),
    ("CRC-16/T10-DIF", 0x8BB7, 0x0, False, 0x0, 0xD0DB, 0x0),
    ("CRC-16/TELEDISK", 0xA097, 0x0, False, 0x0, 0xFB3, 0x0),
    ("CRC-16/XMODEM", 0x1021, 0x0, False, 0x0, 0x31C3, 0x0),
    ("CRC-24/BLE", 0x65B, 0x555555, True, 0x0, 0xC25A56, 0x0),
    ("CRC-24/FLEXRAY-A", 0x5D6DCB, 0xFEDCBA, False, 0x0, 0x7979BD, 0x0),
    ("CRC-24/INTERLAKEN", 0x328B63, 0xFFFFFF, False, 0xFFFFFF, 0xB4F3E6, 0x144E63),
    ("CRC-24/LTE-A", 0x864CFB, 0x0, False, 0x0, 0xCDE703, 0x0),
    ("CRC-24/OPENPGP", 0x864CFB, 0xB704CE, False, 0x0, 0x21CF02, 0x0),
    ("CRC-32/AUTOSAR", 0xF4ACFB13, 0xFFFFFFFF, True, 0xFFFFFFFF, 0x1697D06A, 0x904CDDBF),
    ("CRC-32/ISCSI", 0x1EDC6F41, 0xFFFFFFFF, True, 0xFFFFFFFF, 0xE3069283, 0xB798B438),
    ("CRC-32/ISO-HDLC", 0x4C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF, 0xCBF43926, 0xDEBB20E3),
    ("CRC-32/MEF", 0x741B8CD7, 0xFFFFFFFF, True, 0x0, 0xD2C22F51, 0x0),
]


@pytest.mark.parametrize(("name", "polynomial", "initial", "reflected", "xor_out", "check", "residue"), PUBLISHED)
def test_a_row_of_the_catalogue_is_the_published_one(
    *, name: str, polynomial: int, initial: int, reflected: bool, xor_out: int, check: int, residue: int
) -> None:
    crc = find_crc(name)
    assert crc == Crc(name, int(name[4:].partition("/")[0]), polynomial, initial, reflected, xor_out)
    assert crc.check_value() == check
    assert crc.residue() ^ xor_out == residue


def test_the_catalogue_is_the_one_crccheck_carries() -> None:
    assert set(names()) == set(REFERENCE)
    for entry in ENTRIES:
        kind = REFERENCE[entry.crc.name]
        assert kind._reflect_input == kind._reflect_output
        parameters = (kind._width, kind._poly, kind._initvalue, kind._reflect_input, kind._xor_output)
        assert entry.crc == Crc(entry.crc.name, *parameters)
        assert entry.aliases == tuple(kind._names[1:])
        assert entry.check == kind._check_result == entry.crc.check_value()


@given(CRCS, st.binary(max_size=40))
def test_every_crc_gives_the_value_crccheck_computes(crc: Crc, data: bytes) -> None:
    assert crc.of(data) == REFERENCE[crc.name].calc(data)


def test_every_name_and_alias_names_one_crc_in_any_case() -> None:
    seen = [name for entry in ENTRIES for name in (entry.crc.name, *entry.aliases)]
    assert len({name.upper() for name in seen}) == len(seen)
    for entry in ENTRIES:
        for name in (entry.crc.name, *entry.aliases):
            assert find_crc(name.lower()) is entry.crc
    assert sum(len(names(width)) for width in WIDTHS) == len(names())


@pytest.mark.parametrize(("name", "hint"), [("CRC-16/XMODEN", "CRC-16/XMODEM"), ("crc16/modbus", "CRC-16/MODBUS")])
def test_an_unknown_name_is_refused_with_the_nearest_ones(name: str, hint: str) -> None:
    with pytest.raises(PacketcodecError, match=rf'"{name}" is not in the catalogue.*{hint}'):
        find_crc(name)


def test_a_name_like_no_other_is_refused_without_a_guess() -> None:
    with pytest.raises(PacketcodecError, match=r"24 and 32 bits$"):
        find_crc("\u2603")


@given(CRCS, st.binary(max_size=40), st.integers(min_value=0))
def test_a_packet_with_its_check_is_a_code_word_from_any_start(crc: Crc, data: bytes, number: int) -> None:
    start = number % (1 << crc.width)
    assert crc.function(start)(crc.append(data, start)) == crc.residue() == crc.residue(start)


@given(CRCS, st.binary(min_size=1, max_size=20), st.data())
def test_any_burst_up_to_the_width_is_noticed_even_across_the_seam(crc: Crc, data: bytes, draw: st.DataObject) -> None:
    packet = crc.append(data)
    burst = draw.draw(st.integers(1, (1 << crc.width) - 1))
    shift = draw.draw(st.integers(0, 8 * len(packet) - burst.bit_length()))
    # A reflected CRC counts bits from the lowest of each byte: its polynomial order is little-endian.
    word = int.from_bytes(packet, crc.append_order) ^ burst << shift
    assert crc.function()(word.to_bytes(len(packet), crc.append_order)) != crc.residue()


def test_appended_in_the_other_order_a_short_burst_across_the_seam_would_slip_through() -> None:
    # One wrong bit at the end of the data and the wrong check bits that hide it: 17 bits apart in the right
    # order, 13 in the other, within the 16 that a check of 16 bits is to notice.
    hidden = find_crc("CRC-16/XMODEM").of(b"\x01")
    spans = {}
    for order in ("big", "little"):
        error = int.from_bytes(b"\x01" + hidden.to_bytes(2, order), "big")
        spans[order] = error.bit_length() - ((error & -error).bit_length() - 1)
    assert spans == {"big": 17, "little": 13}


@given(CRCS, st.binary(max_size=20), st.binary(max_size=20))
def test_a_crc_goes_on_from_the_register_after_other_data(crc: Crc, first: bytes, second: bytes) -> None:
    bound = replace(crc, initial=crc.register_after(first))
    assert bound.of(second) == crc.of(second, crc.register_after(first)) == crc.of(first + second)


@given(CRCS, st.binary(max_size=40), st.integers(min_value=0))
def test_the_engine_of_a_compiled_codec_gives_the_same_crc(crc: Crc, data: bytes, number: int) -> None:
    start = number % (1 << crc.width)
    function, table, register = crc.engine(start)
    assert function(data, register, table) ^ crc.xor_out == crc.of(data, start)


def test_the_check_goes_high_byte_first_unless_reflected() -> None:
    # CRC-32 as zlib computes it is reflected; the value is the catalogue's check.
    assert find_crc("CRC-32").append(b"123456789")[-4:] == bytes.fromhex("2639f4cb")
    assert find_crc("CRC-32/BZIP2").append(b"123456789")[-4:] == bytes.fromhex("fc891918")
    assert find_crc("CRC-32").append_order == "little"
    assert find_crc("CRC-32/BZIP2").append_order == "big"


@pytest.mark.parametrize(
    ("width", "polynomial", "initial", "xor_out", "message"),
    [
        (12, 0x80F, 0, 0, "own: width 12 is not one of 8, 16, 24, 32"),
        (16, 0x11021, 0, 0, r"polynomial 0x11021 is outside 0x1\.\.0xffff \(its top bit is not written\)"),
        (16, 0, 0, 0, "polynomial 0x0 is outside"),
        (16, -3, 0, 0, "polynomial -0x3 is outside"),
        (16, 0x8810, 0, 0, "polynomial 0x8810 is even.*not the reversed or Koopman's"),
        (8, 0x2F, 0x100, 0, r"initial 0x100 is outside 0\.\.0xff"),
        (8, 0x2F, 0, -1, r"xor_out -0x1 is outside 0\.\.0xff"),
    ],
)
def test_parameters_that_make_no_check_are_refused(
    width: int, polynomial: int, initial: int, xor_out: int, message: str
) -> None:
    with pytest.raises(PacketcodecError, match=message):
        Crc("own", width, polynomial, initial, reflected=False, xor_out=xor_out)


def test_a_start_outside_the_register_is_refused() -> None:
    with pytest.raises(PacketcodecError, match=r"CRC-8/SMBUS: initial 0x100 is outside 0\.\.0xff"):
        find_crc("CRC-8/SMBUS").function(0x100)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_smallest_generator_of_each_width_is_taken(width: int) -> None:
    demand_generator(1, width)


def test_mirroring_twice_changes_nothing() -> None:
    assert mirrored(0x3D65, 16) == 0xA6BC
    for width in WIDTHS:
        assert mirrored(1, width) == 1 << width - 1
        assert mirrored(mirrored(0x2F, width), width) == 0x2F


def test_a_crc_is_a_value() -> None:
    crc = find_crc("CRC-16/M17")
    assert hash(crc) == hash(replace(crc, initial=0xFFFF))
    assert crc != replace(crc, initial=0)
    assert crc.size == 2


def modem_crc(payload: bytes) -> int:
    # As the source of gr-lora_sdr (lib/add_crc_impl.cc) has it: a CRC over all but the last two bytes, XORed
    # with those. Reverse-engineered, not a maker's document.
    return find_crc("CRC-16/XMODEM").of(payload[:-2]) ^ int.from_bytes(payload[-2:], "big")


@pytest.mark.parametrize("name", ["CRC-16/XMODEM", "CRC-16/IBM-3740", "CRC-16/GSM"])
def test_behind_a_crc_with_its_own_polynomial_the_modem_always_sends_the_same_crc(name: str) -> None:
    herd = [bytes([cow, *b"alp cow", 255 - cow]) for cow in range(256)]
    assert len({modem_crc(find_crc(name).append(data)) for data in herd}) == 1
    assert len({modem_crc(find_crc("CRC-16/M17").append(data)) for data in herd}) > 200


@pytest.mark.parametrize(
    ("width", "data_bits", "name"),
    [
        (8, 119, "CRC-8/AUTOSAR"),
        (8, 120, "CRC-8/SAE-J1850"),
        (16, 135, "CRC-16/EN-13757"),
        (16, 136, "CRC-16/M17"),
        (16, 241, "CRC-16/M17"),
        (16, 242, "CRC-16/OPENSAFETY-B"),
        (24, 2016, "CRC-24/FLEXRAY-A"),
        (32, 47, "CRC-32/ISCSI"),
        (32, 48, "CRC-32/AUTOSAR"),
    ],
)
def test_the_default_depends_on_the_length_and_is_never_the_modems(width: int, data_bits: int, name: str) -> None:
    crc = default_crc(width, data_bits)
    assert crc.name == name
    assert crc.polynomial != MODEM_POLYNOMIAL


def test_a_default_is_only_given_for_a_check_over_something() -> None:
    with pytest.raises(PacketcodecError, match="check of 12 bits"):
        default_crc(12, 80)
    with pytest.raises(PacketcodecError, match="over 0 bits"):
        default_crc(16, 0)
