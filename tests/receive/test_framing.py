"""Packets out of noise. COBS is checked against the cases of its description and the `cobs` package's encoder."""

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from packetcodec import PacketcodecError
from packetcodec.receive.framing import CobsFrames, HexLines

PACKET = bytes.fromhex("1107002affc3")


@pytest.mark.parametrize(
    "line",
    [
        "1107002affc3",
        "1107002AFFC3",
        "0x1107002affc3",
        "11 07 00 2a ff c3",
        "11:07:00:2a:ff:c3",
        "11-07-00-2A-FF-C3",
        "[12:30:01] rx 1107002affc3 rssi -104 snr 10",
        'received 6 bytes "1107002affc3", freq 869.525',
        "len=06 data=11 07 00 2A FF C3; rssi=-97",
        "42 1107002affc3 0815",
        "1107002affc3,7,-97",
        "\x00\xff noise \x1b[32m1107002affc3\x1b[0m",
    ],
)
def test_the_hex_of_a_line_is_found_inside_whatever_stands_around_it(line):
    assert HexLines().feed(line.encode("latin-1") + b"\r\n") == [PACKET]


@pytest.mark.parametrize("line", ["radio ready", "OK 10", "rssi -97", "1107002affc", "error 0x", "decoder", "46.51234"])
def test_a_line_without_hex_is_noise(line):
    lines = HexLines()
    assert lines.feed(line.encode() + b"\n") == []
    assert (lines.noise, lines.dropped) == (1, 0)


def test_blank_lines_are_nothing_at_all():
    lines = HexLines()
    assert lines.feed(b"\r\n\r\n  \n") == []
    assert lines.noise == 0


def test_a_pattern_says_where_the_hex_is():
    lines = HexLines(r"payload<([^>]*)>")
    assert lines.feed(b"id<0102030405060708> payload<11 07 00 2a ff c3>\npayload<xy>\npayload<>\n00112233\n") == [PACKET]
    assert lines.noise == 3


@pytest.mark.parametrize(
    ("pattern", "message"), [("(", "pattern '\\(': "), ("x", "0 groups"), ("(a)(b)", "2 groups"), ("(a)|(b)", "2 groups")]
)
def test_a_pattern_that_cannot_be_is_one_line(pattern, message):
    with pytest.raises(PacketcodecError, match=message) as caught:
        HexLines(pattern)
    assert "\n" not in str(caught.value)


def test_a_group_that_takes_no_part_is_noise():
    lines = HexLines(r"at(?: (\w+))?")
    assert (lines.feed(b"at\nat 1107002affc3\n"), lines.noise) == ([PACKET], 1)


def test_the_last_line_needs_no_end():
    lines = HexLines()
    assert lines.feed(b"1107002affc3") == []
    assert lines.close() == [PACKET]
    assert lines.close() == []


@pytest.mark.parametrize("make", [HexLines, CobsFrames])
def test_what_never_ends_is_dropped_and_counted_and_the_next_packet_is_found(make):
    frames = make()
    end = b"\n" if make is HexLines else b"\0"
    good = PACKET.hex().encode() if make is HexLines else cobs.encode(PACKET)
    for _ in range(100):
        assert frames.feed(b"~" * 99) == []
    assert frames.feed(b"~" * 100 + end + good + end) == [PACKET]
    assert frames.dropped == 10_000
    assert frames.feed(b"~" * 9000 + end + good + end) == [PACKET]
    assert frames.dropped == 19_000


@pytest.mark.parametrize("make", [HexLines, CobsFrames])
def test_an_interrupted_packet_is_not_joined_to_the_next(make):
    frames = make()
    end = b"\n" if make is HexLines else b"\0"
    good = PACKET.hex().encode() if make is HexLines else cobs.encode(PACKET)
    frames.feed(good[:4])
    frames.reset()
    assert frames.feed(good + end) == [PACKET]
    assert frames.dropped == 4


# Read in S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing" (1999), and quoted so in many places: from memory.
@pytest.mark.parametrize(
    ("stuffed", "packet"),
    [
        ("0101", "00"),
        ("010101", "0000"),
        ("03112202 33", "11220033"),
        ("0511223344", "11223344"),
        ("0211010101", "11000000"),
    ],
)
def test_cobs_frames_are_as_described(stuffed, packet):
    assert CobsFrames().feed(bytes.fromhex(stuffed) + b"\0") == [bytes.fromhex(packet)]


def test_a_broken_frame_is_noise():
    frames = CobsFrames()
    assert frames.feed(b"\x09\x11\0\0\0") == []
    assert frames.noise == 1


@given(
    packets=st.lists(st.tuples(st.binary(max_size=40), st.binary(min_size=1, max_size=255)), max_size=8),
    cuts=st.lists(st.integers(1, 30), min_size=1, max_size=8),
)
def test_noise_between_frames_costs_no_good_frame_however_the_bytes_are_cut(packets, cuts):
    stream = b"".join(noise + b"\0" + cobs.encode(packet) + b"\0" for noise, packet in packets)
    frames, found, place, turn = CobsFrames(), [], 0, 0
    while place < len(stream):
        step = cuts[turn % len(cuts)]
        found += frames.feed(stream[place : place + step])
        place, turn = place + step, turn + 1
    remaining = iter(found)
    assert all(packet in remaining for _, packet in packets)  # in their order, noise that happens to be a frame between


@given(
    packets=st.lists(st.binary(min_size=2, max_size=60), max_size=8),
    cuts=st.lists(st.integers(1, 50), min_size=1, max_size=8),
    spaced=st.booleans(),
)
def test_hex_lines_are_found_however_the_bytes_are_cut(packets, cuts, spaced):
    stream = b"".join(b"* " + packet.hex(" " if spaced else "") .encode() + b" *\r\n" if spaced else
                      b"rx " + packet.hex().encode() + b" ok\r\n" for packet in packets)  # fmt: skip
    lines, found, place, turn = HexLines(), [], 0, 0
    while place < len(stream):
        step = cuts[turn % len(cuts)]
        found += lines.feed(stream[place : place + step])
        place, turn = place + step, turn + 1
    assert (found, lines.noise) == (packets, 0)
