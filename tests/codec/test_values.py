"""Whatever somebody gives as a value: a number, a truth value or a documented fault, and the same from the reference."""

import array
import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from packetcodec import Codec, PacketFault, Schema, ValueFault
from packetcodec.reference import ReferenceCodec

FIELDS = """
  { kind = "latitude" }, { kind = "longitude" }, { kind = "altitude", optional = true }, { kind = "identifier" },
  { kind = "counter" }, { kind = "flag", name = "open" },
  { kind = "choice", name = "activity", choices = ["graze", "walk"] },
  { kind = "time", epoch = 2026-01-01T00:00:00Z, bits = 16, resolution = 10 },
  { kind = "number", name = "litres", minimum = 0, maximum = 10, resolution = 0.5 },
"""
SCHEMA = Schema.parse(f"""
name = "pasture"
version = 1
[[layouts]]
name = "beacon"
id = 1
fields = [{FIELDS}]
[[layouts]]
name = "track"
id = 2
fields = [{FIELDS}]
trail = {{ points = 3, resolution_m = 5, spacing = 30 }}
""")
CODEC, REFERENCE = Codec(SCHEMA), ReferenceCodec(SCHEMA)
GOOD = {
    "latitude": 46.5, "longitude": 9.8, "altitude": 2000.0, "identifier": 7, "counter": 3, "open": True, "activity": "walk",
    "time": 1_767_225_700, "litres": 5,
}  # fmt: skip
#: What stands for the number 5 in every field of numbers.
FIVE = [
    5, 5.0, Decimal(5), Fraction(5), np.int8(5), np.uint64(5), np.float16(5), np.float32(5), np.float64(5), np.longdouble(5),
]  # fmt: skip
#: What is no number at all, or none that a field of numbers takes.
NO_NUMBER = [
    math.nan, math.inf, -math.inf, np.float32("nan"), np.longdouble("inf"), Decimal("NaN"), Decimal("sNaN"),
    Decimal("-Infinity"), Fraction(10**400, 3), Decimal("1e999999"), True, False, np.True_, np.False_, "5", b"5",
    bytearray(b"5"), [5], {}, {5}, 5j, np.complex128(5), np.array(5), np.array([5.0]), np.array([1, 2]), object(), float,
    np.datetime64("2026-01-01"), np.timedelta64(5, "s"),
]  # fmt: skip
HUGE = [10**400, -(10**400), 10**5000, 1e308, -1e308, 2**63]
NUMBERS = [name for name in GOOD if name not in {"open", "activity"}]


def shown(value):
    return (
        f"{type(value).__name__} {repr(value)[:20]}" if not isinstance(value, int) else f"int of {value.bit_length()} bits"
    )


def outcome(way, layout, values, points=()):
    """The packet in hex, or the field that a fault names; a fault is one line."""
    try:
        return way.encode(layout, values, points).hex()
    except ValueFault as fault:
        return fault.layout, (fault.field if "\n" not in str(fault) else str(fault))


@pytest.mark.parametrize("way", [CODEC, REFERENCE], ids=["codec", "reference"])
@pytest.mark.parametrize("layout", ["beacon", "track"])
@pytest.mark.parametrize("value", FIVE, ids=shown)
def test_a_number_of_any_type_is_that_number(way, layout, value):
    for name in NUMBERS:
        if name != "time":
            assert outcome(way, layout, {**GOOD, name: value}) == outcome(way, layout, {**GOOD, name: 5})
    for name in ("latitude", "longitude", "altitude"):
        points = [{"latitude": 46.5, "longitude": 9.8, name: number} for number in (5, value)]
        assert outcome(way, "track", GOOD, points[:1]) == outcome(way, "track", GOOD, points[1:])


@pytest.mark.parametrize("way", [CODEC, REFERENCE], ids=["codec", "reference"])
@pytest.mark.parametrize("value", NO_NUMBER, ids=shown)
def test_what_is_no_number_is_a_fault_of_its_field(way, value):
    for name in NUMBERS:
        assert outcome(way, "beacon", {**GOOD, name: value}) == ("beacon", name)
    for name in ("latitude", "longitude", "altitude", "age"):
        point = {"latitude": 46.5, "longitude": 9.8, name: value}
        assert outcome(way, "track", GOOD, [point]) == ("track", "trail")


@pytest.mark.parametrize("value", HUGE, ids=shown)
def test_a_huge_number_is_refused_clipped_or_wrapped_as_the_field_says(value):
    for name in NUMBERS:
        told = outcome(CODEC, "beacon", {**GOOD, name: value})
        assert told == outcome(REFERENCE, "beacon", {**GOOD, name: value})
        policy = next(field.policy for field in SCHEMA.layouts[0].fields if field.name == name)
        # A float that becomes infinite in base units cannot be clipped.
        assert (told == ("beacon", name)) == (
            policy == "refuse" or (isinstance(value, float) and name in {"altitude", "litres"})
        )
    for name in ("latitude", "longitude", "altitude", "age"):
        point = {"latitude": 46.5, "longitude": 9.8, name: value}
        for way in (CODEC, REFERENCE):
            assert outcome(way, "track", GOOD, [point]) == ("track", "trail")


@pytest.mark.parametrize("way", [CODEC, REFERENCE], ids=["codec", "reference"])
def test_numpys_truth_values_are_true_and_false(way):
    for value in (True, False):
        assert outcome(way, "beacon", {**GOOD, "open": np.bool_(value)}) == outcome(way, "beacon", {**GOOD, "open": value})
    for value in ("yes", np.array([True]), [True], 2, None):
        assert outcome(way, "beacon", {**GOOD, "open": value}) == ("beacon", "open")


@pytest.mark.parametrize("way", [CODEC, REFERENCE], ids=["codec", "reference"])
def test_a_choice_is_a_name_and_nothing_else(way):
    assert outcome(way, "beacon", {**GOOD, "activity": np.str_("walk")}) == outcome(way, "beacon", GOOD)
    for value in ("fly", 1, True, b"walk", ["walk"], np.array([1, 2]), np.array(["walk"])):
        assert outcome(way, "beacon", {**GOOD, "activity": value}) == ("beacon", "activity")


def test_what_is_no_sequence_of_points_is_a_type_error():
    for points in (None, 5):
        for layout in ("beacon", "track"):
            with pytest.raises(TypeError):
                CODEC.encode(layout, GOOD, points)
    for points in ("ab", [None], [5], [()], [(46.5,)], np.zeros((1, 5)), [np.array(46.5)]):
        assert outcome(CODEC, "track", GOOD, points) == ("track", "trail")
        assert outcome(CODEC, "beacon", GOOD, points) == ("beacon", "trail")


@pytest.mark.parametrize("way", [CODEC, REFERENCE], ids=["codec", "reference"])
def test_points_may_be_the_rows_of_an_array(way):
    rows = [[46.5124, 9.8764], [46.5125, 9.8763]]
    assert outcome(way, "track", GOOD, np.array(rows)) == outcome(way, "track", GOOD, list(map(tuple, rows)))


PACKET = CODEC.encode("beacon", GOOD)
SPACED = bytes(byte for pair in zip(PACKET, bytes(len(PACKET)), strict=True) for byte in pair)


@pytest.mark.parametrize(
    "data",
    [
        bytearray(PACKET), memoryview(PACKET), memoryview(SPACED)[::2], memoryview(PACKET).cast("B", (4, len(PACKET) // 4)),
        array.array("B", PACKET), array.array("H", PACKET), np.frombuffer(PACKET, np.uint8),
        np.frombuffer(SPACED, np.uint8)[::2],
    ],
    ids=lambda data: type(data).__name__,
)  # fmt: skip
def test_a_packet_may_lie_in_any_buffer(data):
    assert CODEC.decode(data) == CODEC.decode(PACKET)


def test_the_length_of_a_buffer_counts_in_bytes():
    text = 'name = "pasture"\nversion = 1\ncheck = { crc = "none" }\n[[layouts]]\nname = "gate"\nid = 1\n'
    codec = Codec(Schema.parse(text + 'fields = [{ kind = "identifier" }, { kind = "counter" }]\n'))
    packet = codec.encode("gate", {"identifier": 7, "counter": 3})
    assert len(array.array("H", packet + packet)) == len(packet)
    assert codec.try_decode(array.array("H", packet + packet)) == ("too_long", None)
    with pytest.raises(PacketFault, match="6 bytes"):
        codec.decode(memoryview(packet + packet).cast("H"))


@pytest.mark.parametrize("data", ["1107", 5, None, [17, 7], object()], ids=shown)
def test_what_is_no_bytes_is_a_type_error(data):
    with pytest.raises(TypeError):
        CODEC.decode(data)
    with pytest.raises(TypeError):
        CODEC.try_decode(data)
