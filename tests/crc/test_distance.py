"""Hamming distances against published tables, classic codes and plain enumeration."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packetcodec.crc.catalogue import ENTRIES, Entry, default_crc, find_crc
from packetcodec.crc.crc import MODEM_POLYNOMIAL
from packetcodec.crc.distance import (
    EXACT_BITS,
    LONGEST_BITS,
    Distance,
    breakpoints,
    distance_at,
    double_error_limit,
    is_weak,
    joint_check_bits,
    packet_distance,
)
from packetcodec.errors import PacketcodecError
from tests.support.effort import examples, few

if TYPE_CHECKING:
    from collections.abc import Callable


def hamming_distance(polynomial: int, width: int, packet_bits: int) -> int:
    distance = distance_at(polynomial, width, packet_bits)
    assert distance.exact
    return distance.value


# Longest data in bits at Hamming distance 3, 4, 5, 6, 7 or more. Source: P. Koopman's published tables
# (users.ece.cmu.edu/~koopman/crc) where they could be read, all others computed with another program.
# 0 means that no length has it. BEYOND stands where a length is only known to exceed every packet here.
BEYOND = 10_000
PUBLISHED = [
    (8, 0x07, (119, 119, 0, 0, 0)),
    (8, 0x2F, (119, 119, 3, 3, 0)),
    (8, 0xA7, (119, 119, 3, 3, 0)),
    (8, 0x9B, (119, 119, 2, 2, 0)),
    (8, 0x31, (119, 119, 0, 0, 0)),
    (8, 0x37, (118, 118, 4, 4, 0)),
    (8, 0xD5, (85, 85, 2, 2, 0)),
    (8, 0x49, (97, 97, 0, 0, 0)),
    (8, 0x4D, (247, 15, 6, 0, 0)),
    (8, 0xCF, (247, 19, 1, 1, 1)),
    (8, 0x1D, (247, 13, 6, 0, 0)),
    (8, 0x39, (9, 9, 9, 0, 0)),
    (16, 0x1021, (32751, 32751, 0, 0, 0)),
    (16, 0x8005, (32751, 32751, 0, 0, 0)),
    (16, 0x3D65, (135, 135, 135, 135, 6)),
    (16, 0x90D9, (135, 135, 135, 135, 5)),
    (16, 0x5935, (241, 241, 241, 35, 10)),
    (16, 0x6F63, (239, 239, 239, 14, 13)),
    (16, 0x755B, (7985, 7985, 108, 20, 11)),
    (16, 0xA2EB, (32751, 32751, 93, 93, 11)),
    (16, 0xA097, (32750, 32750, 67, 67, 8)),
    (16, 0x1DCF, (2743, 2743, 104, 11, 10)),
    (16, 0x0589, (238, 238, 112, 112, 0)),
    (16, 0x1B2B, (65519, 1149, 62, 19, 9)),
    (16, 0x8BB7, (65519, 353, 47, 23, 8)),
    (16, 0xC867, (65519, 361, 44, 11, 11)),
    (16, 0x080B, (3839, 1012, 55, 0, 0)),
    (24, 0x864CFB, (BEYOND, BEYOND, 517, 517, 30)),
    (24, 0x5D6DCB, (4070, 4070, 2024, 2024, 71)),
    (24, 0x7B01BD, (4074, 4074, 2026, 2026, 59)),
    (24, 0x328B63, (BEYOND, BEYOND, 822, 822, 37)),
    (24, 0x00065B, (BEYOND, BEYOND, 476, 476, 74)),
    (24, 0x800063, (BEYOND, BEYOND, 4, 4, 0)),
    (24, 0x00001B, (BEYOND, 5815, 509, 0, 0)),
    (32, 0x04C11DB7, (4294967263, 91607, 2974, 268, 171)),
    (32, 0x1EDC6F41, (BEYOND, BEYOND, BEYOND, 5243, 177)),
    (32, 0x741B8CD7, (BEYOND, BEYOND, BEYOND, 16360, 152)),
    (32, 0xF4ACFB13, (BEYOND, BEYOND, BEYOND, 32736, 274)),
]
PUBLISHED_IDS = [f"{width}-{polynomial:#x}" for width, polynomial, _ in PUBLISHED]


def longest_data(steps: tuple[tuple[int, int], ...], distance: int) -> int:
    return max((bits for value, bits in steps if value >= distance), default=0)


@pytest.mark.slow
@pytest.mark.parametrize(("width", "polynomial", "lengths"), PUBLISHED, ids=PUBLISHED_IDS)
def test_every_breakpoint_up_to_64_bytes_is_the_published_one(width: int, polynomial: int, lengths: tuple[int, ...]) -> None:
    steps = breakpoints(polynomial, width)
    seen = tuple(longest_data(steps, distance) for distance in (3, 4, 5, 6, 7))
    assert seen == tuple(min(bits, EXACT_BITS - width) for bits in lengths)


@pytest.mark.slow
@pytest.mark.parametrize(("width", "polynomial", "lengths"), PUBLISHED, ids=PUBLISHED_IDS)
def test_every_published_length_up_to_255_bytes_is_met_to_the_bit(
    width: int, polynomial: int, lengths: tuple[int, ...]
) -> None:
    for bits in {min(bits, LONGEST_BITS - width) for bits in lengths if bits}:
        for data_bits in (bits, bits + 1):
            if data_bits + width > LONGEST_BITS:
                continue
            here = distance_at(polynomial, width, data_bits + width)
            published = 2 + sum(data_bits <= longest for longest in lengths)
            assert here.exact
            assert min(here.value, 7) == published


# Source: P. Koopman's published table for this polynomial, from memory: data bits at distance 15 .. 8.
def test_the_short_lengths_of_crc_32_have_the_published_large_distances() -> None:
    steps = dict(breakpoints(0x04C11DB7, 32))
    assert {distance: steps[distance] for distance in (15, 12, 11, 10, 9, 8)} == {
        15: 10,
        12: 12,
        11: 21,
        10: 34,
        9: 57,
        8: 91,
    }


def remainder(word: int, generator: int) -> int:
    while word.bit_length() >= generator.bit_length():
        word ^= generator << word.bit_length() - generator.bit_length()
    return word


def times(first: int, second: int) -> int:
    product = 0
    for shift in range(second.bit_length()):
        if second >> shift & 1:
            product ^= first << shift
    return product


def lightest_code_word(generator: int, data_bits: int) -> int:
    width = generator.bit_length() - 1
    return min(((data << width) ^ remainder(data << width, generator)).bit_count() for data in range(1, 1 << data_bits))


polynomials = st.sampled_from([8, 16, 24, 32]).flatmap(
    lambda width: st.tuples(st.just(width), st.integers(0, (1 << width - 1) - 1).map(lambda half: 2 * half + 1))
)


@examples(25)
@given(polynomials, st.integers(1, 9))
def test_a_short_packet_has_the_weight_of_its_lightest_code_word(generator: tuple[int, int], data_bits: int) -> None:
    width, polynomial = generator
    expected = lightest_code_word(1 << width | polynomial, data_bits)
    assert hamming_distance(polynomial, width, width + data_bits) == expected


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(st.sampled_from([8, 16]), st.integers(0, (1 << 15) - 1), st.integers(21, 90))
def test_a_longer_packet_misses_errors_of_its_distance_and_none_of_fewer_bits(width: int, half: int, data_bits: int) -> None:
    polynomial = (2 * half + 1) % (1 << width)
    generator = 1 << width | polynomial
    bits = width + data_bits
    distance = hamming_distance(polynomial, width, bits)
    syndromes = [remainder(1 << place, generator) for place in range(bits)]
    lightest = next(weight for weight in range(1, distance + 1) if reachable(syndromes, weight))
    assert distance == lightest


def reachable(syndromes: list[int], weight: int) -> bool:
    """Whether `weight` different places have syndromes that cancel, by trying all halves."""
    first = weight // 2
    halves: dict[int, list[frozenset[int]]] = {}
    for places in combinations(range(len(syndromes)), first):
        halves.setdefault(xor(syndromes, places), []).append(frozenset(places))
    return any(
        half.isdisjoint(places)
        for places in combinations(range(len(syndromes)), weight - first)
        for half in halves.get(xor(syndromes, places), ())
    )


def xor(syndromes: list[int], places: tuple[int, ...]) -> int:
    total = 0
    for place in places:
        total ^= syndromes[place]
    return total


@pytest.mark.slow
def test_a_triple_error_correcting_bch_code_has_its_designed_distance() -> None:
    # BCH(511, t = 3): the minimal polynomials of a, a^3, a^5 in the field of 512 elements by x^9 + x^4 + 1,
    # octal 1021, 1131, 1461 (from memory, as code tables list them; computed). One factor more makes 32 bits
    # and cannot lessen the distance.
    bch = times(times(0o1021, 0o1131), 0o1461)
    generator = times(bch, 0b101111)
    assert generator.bit_length() == 33
    assert hamming_distance(generator & 0xFFFFFFFF, 32, 511) >= 7


@pytest.mark.slow
def test_where_the_search_takes_too_long_the_distance_is_a_lower_bound_and_says_so() -> None:
    # BCH(1023, t = 3), likewise (octal 2011, 2017, 2415), with a factor that makes 32 bits. Its
    # designed distance is 7.
    generator = times(times(times(0o2011, 0o2017), 0o2415), 0b111)
    assert generator.bit_length() == 33
    assert distance_at(generator & 0xFFFFFFFF, 32, 512) == Distance(7, exact=True)
    assert distance_at(generator & 0xFFFFFFFF, 32, 1000) == Distance(6, exact=False)


@pytest.mark.slow
@pytest.mark.parametrize("entry", ENTRIES, ids=[entry.crc.name for entry in ENTRIES])
def test_a_catalogue_distance_is_exact_at_any_length_and_never_grows_with_it(entry: Entry) -> None:
    crc = entry.crc
    lengths = [*range(crc.width + 1, crc.width + 40), 256, 400, 512, 513, 700, 1000, 1500, 2040]
    distances = [distance_at(crc.polynomial, crc.width, bits) for bits in lengths]
    assert all(distance.exact for distance in distances)
    values = [distance.value for distance in distances]
    assert values == sorted(values, reverse=True)
    assert values[0] == crc.polynomial.bit_count() + 1


@pytest.mark.parametrize(
    ("width", "polynomial", "limit"),
    [
        (8, 0x2F, 127),  # all from the published table: longest data at distance 3, and the check
        (8, 0x1D, 255),
        (8, 0x39, 17),
        (16, 0x3D65, 151),
        (16, 0x5935, 257),
        (16, 0x755B, None),  # 7985 + 16
        (16, 0x0001, 16),  # x^16 + 1 divides itself
        (32, 0x04C11DB7, None),
    ],
)
def test_two_wrong_bits_are_noticed_up_to_the_period(width: int, polynomial: int, limit: int | None) -> None:
    assert double_error_limit(polynomial, width) == limit
    if limit is not None:
        assert distance_at(polynomial, width, limit + 1) == Distance(2, exact=True)
        assert limit == width or distance_at(polynomial, width, limit).value > 2


@pytest.mark.parametrize("width", few([16, 8, 24, 32], 4))
def test_no_crc_of_the_catalogue_promises_more_than_the_default(width: int) -> None:
    rivals = {
        entry.crc.polynomial for entry in ENTRIES if entry.crc.width == width and entry.crc.polynomial != MODEM_POLYNOMIAL
    }
    for data_bits in range(80, EXACT_BITS - width + 1, 8):
        best = max(hamming_distance(rival, width, data_bits + width) for rival in rivals)
        chosen = default_crc(width, data_bits).polynomial
        assert hamming_distance(chosen, width, data_bits + width) == best


@pytest.mark.parametrize(("width", "distance"), [(8, 2), (16, 4), (24, 6), (32, 6)])
def test_the_default_keeps_its_distance_in_the_longest_packet(width: int, distance: int) -> None:
    crc = default_crc(width, LONGEST_BITS - width)
    assert distance_at(crc.polynomial, width, LONGEST_BITS) == Distance(distance, exact=True)


@pytest.mark.parametrize(
    ("name", "bits", "common"),
    [
        ("CRC-16/XMODEM", 16, 0x11021),  # nothing added
        ("CRC-16/M17", 32, 1),
        ("CRC-16/EN-13757", 31, 0b11),  # both have the factor x + 1
        ("CRC-24/FLEXRAY-A", 39, 0b11),
        ("CRC-8/SAE-J1850", 24, 1),
    ],
)
def test_the_modems_crc_adds_as_many_check_bits_as_the_two_do_not_share(name: str, bits: int, common: int) -> None:
    crc = find_crc(name)
    assert joint_check_bits(crc.polynomial, crc.width) == bits == crc.width + 16 - (common.bit_length() - 1)
    assert remainder(1 << crc.width | crc.polynomial, common) == 0
    assert remainder(1 << 16 | MODEM_POLYNOMIAL, common) == 0


def test_a_shorter_window_shows_the_same_breakpoints_cut_off() -> None:
    assert breakpoints(0x3D65, 16) == ((10, 4), (8, 6), (6, 135), (2, EXACT_BITS - 16))
    assert breakpoints(0x3D65, 16, up_to_bits=64) == ((10, 4), (8, 6), (6, 48))
    assert breakpoints(0x3D65, 16, up_to_bits=18) == ((10, 2),)


def test_a_check_is_too_weak_for_packets_in_which_two_wrong_bits_can_escape() -> None:
    crc = find_crc("CRC-16/EN-13757")
    limit = double_error_limit(crc.polynomial, crc.width)
    assert limit == 151
    assert [is_weak(crc, size) for size in (18, 19)] == [False, True]
    assert [packet_distance(crc, size).value for size in (18, 19)] == [6, 2]


def test_a_bound_says_that_it_is_one() -> None:
    assert str(Distance(6, exact=True)) == "6"
    assert str(Distance(6, exact=False)) == "at least 6"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: hamming_distance(0x1021, 16, 16), r"16 bits is outside 17\.\.2040 .*check of 16 bits"),
        (lambda: distance_at(0x1021, 16, 2041), r"2041 bits is outside 17\.\.2040"),
        (lambda: breakpoints(0x1021, 16, 513), r"outside 17\.\.512"),
        (lambda: hamming_distance(0x8810, 16, 64), "0x8810 is even"),
        (lambda: double_error_limit(0x1021, 12), "width 12"),
        (lambda: joint_check_bits(0x11021, 16), "0x11021 is outside"),
    ],
)
def test_arguments_outside_their_range_are_refused(call: Callable[[], object], message: str) -> None:
    with pytest.raises(PacketcodecError, match=message):
        call()
