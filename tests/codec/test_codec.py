"""The codec: good packets, every fault, several versions at once."""

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from packetcodec import Codec, PacketcodecError, PacketFault, Schema, ValueFault
from packetcodec.starter import schema_text

TEXT = schema_text()
CODEC = Codec(Schema.parse(TEXT))
GOOD = {
    "collar": 7, "counter": 42, "latitude": 46.51234, "longitude": 9.87654, "altitude": 2104.0, "battery": 3.71,
    "fix_quality": 1,
}  # fmt: skip


def encode(**changes):
    return CODEC.encode("position", {**GOOD, **changes})


def decode(data):
    return CODEC.decode(data).values


def test_a_packet_says_what_was_sent_within_half_a_step():
    packet = CODEC.decode(encode())
    assert (packet.layout, packet.version, packet.trail) == ("position", 1, ())
    assert packet.values["latitude"] == pytest.approx(46.51234, abs=112e-7)
    assert packet.values["altitude"] == pytest.approx(2104, abs=1.17)
    assert packet.raw["collar"] == 7
    assert list(packet.raw) == list(packet.values) == list(GOOD)


def test_an_optional_field_may_be_left_out_or_none():
    rest = {name: value for name, value in GOOD.items() if name not in {"latitude", "longitude"}}
    data = CODEC.encode("position", rest)
    assert data == encode(latitude=None, longitude=None)
    assert decode(data)["latitude"] is None


def test_longitude_is_a_circle():
    assert encode(longitude=180) == encode(longitude=-180)
    assert encode(longitude=179.9999999) == encode(longitude=-180)
    assert decode(encode(longitude=180))["longitude"] == -180


@pytest.mark.parametrize("bits", range(9, 33))
def test_both_ends_of_the_circle_are_one_place_at_every_step(bits):
    text = 'name = "pasture"\nversion = 1\n[[layouts]]\nname = "a"\nid = 1\nfields = [{ kind = "longitude", bits = %d }]\n'
    codec = Codec(Schema.parse(text % bits))
    assert codec.encode("a", {"longitude": 180.0}) == codec.encode("a", {"longitude": -180.0})
    assert codec.quantize("a", {"longitude": 180.0}) == (0,)


def test_a_counter_that_refuses_takes_no_more_than_its_last_number():
    text = 'name = "pasture"\nversion = 1\n[[layouts]]\nname = "a"\nid = 1\n'
    text += 'fields = [{ kind = "counter", bits = 5, policy = "refuse" }]\n'
    codec = Codec(Schema.parse(text))
    assert codec.quantize("a", {"counter": 31}) == (31,)
    with pytest.raises(ValueFault, match=r"counter: 32 is outside 0\.\.31"):
        codec.encode("a", {"counter": 32})


def test_a_counter_wraps_and_a_measurement_is_clipped():
    assert decode(encode(counter=256 + 42))["counter"] == 42
    assert decode(encode(counter=-1))["counter"] == 255
    assert decode(encode(battery=9.0))["battery"] == 4.5
    assert decode(encode(altitude=-9000.0))["altitude"] == -500


@pytest.mark.parametrize(
    "number", [np.float64(46.51234), np.float32(46.51234), Decimal("46.51234"), Fraction(4651234, 100000)]
)
def test_any_real_number_is_a_number(number):
    assert decode(encode(latitude=number))["latitude"] == pytest.approx(46.51234, abs=130e-7)


@pytest.mark.parametrize("number", [7, 7.0, np.int16(7), np.uint8(7), Decimal(7)])
def test_any_whole_number_is_an_identifier(number):
    assert encode(collar=number) == encode()


REFUSED = [
    ("latitude", 91.5, 'latitude: 91.5 is outside -90..90 degrees (layout "position", bits 24..46)'),
    ("latitude", math.nan, "nan is not a finite number"),
    ("latitude", math.inf, "inf is not a finite number"),
    ("altitude", -math.inf, "-inf is not a finite number"),
    ("altitude", 1e308, "1e+308 is outside -500..9000 m"),
    ("latitude", "46.5", "'46.5' is not a number"),
    ("latitude", True, "true is not a number"),
    ("latitude", [46.5], "[46.5] is not a number"),
    ("longitude", 180.00001, "180.00001 is outside -180..180 degrees"),
    ("collar", 256, "collar: 256 is outside 0..255"),
    ("collar", -1, "collar: -1 is outside 0..255"),
    ("collar", 7.5, "7.5 is not a whole number"),
    ("collar", None, "no value, but the field is not optional"),
    ("fix_quality", 8, "8 is outside 0..7"),
    ("colar", 1, 'not a field of layout "position"; did you mean collar?'),
]


@pytest.mark.parametrize(("name", "value", "words"), REFUSED, ids=[f"{row[0]}={row[1]}" for row in REFUSED])
def test_a_value_that_cannot_be_sent_names_field_bound_value_and_place(name, value, words):
    with pytest.raises(ValueFault) as caught:
        encode(**{name: value})
    assert words in str(caught.value)
    assert (caught.value.layout, caught.value.field) == ("position", name)
    assert "\n" not in str(caught.value)


def test_all_faults_are_told_and_the_first_one_gives_the_attributes():
    codec = Codec(Schema.parse(schema_text()))
    with pytest.raises(ValueFault) as caught:
        codec.encode("status", {"collar": 256, "counter": None, "activity": "flying", "gate_open": True, "time": 0})
    assert (caught.value.layout, caught.value.field) == ("status", "collar")
    assert str(caught.value) == (
        "collar: 256 is outside 0..255; counter: no value, but the field is not optional; activity: 'flying' is not one "
        "of resting, grazing, walking, alarm; battery: missing; time: 0 is outside 1767225600..1830140100 s "
        '(layout "status")'
    )
    with pytest.raises(ValueFault, match=r"^sheep0: not a field") as caught:
        codec.encode("status", {f"sheep{number}": 1 for number in range(100_000)})
    assert caught.value.field == "sheep0"
    assert "sheep7: not a field" in str(caught.value)
    assert len(str(caught.value)) < 2_000


def test_a_missing_value_and_an_unknown_layout_are_named():
    with pytest.raises(ValueFault, match="battery: missing"):
        CODEC.encode("position", {name: value for name, value in GOOD.items() if name != "battery"})
    with pytest.raises(ValueFault, match="'positions' is not a layout of version 1: one of position, track, status"):
        CODEC.encode("positions", GOOD)


def repaired(data):
    body = data[:-2]
    return CODEC.plan.seal(body)


def faulty(data):
    with pytest.raises(PacketFault) as caught:
        CODEC.decode(data)
    return caught.value


def test_every_fault_has_its_name_and_the_first_one_wins():
    good = encode()
    padding = repaired(good[:11] + bytes([good[11] | 1]) + good[12:])
    beyond = repaired(good[:10] + bytes([good[10] | 0x1F, good[11] | 0xC0]) + good[12:])  # battery code 127
    cases = {
        "too_short": [b"", good[:1], good[:-1], b"\x11\xff"],
        "too_long": [good + b"\0", good * 2],
        "unknown_version": [b"\x21", bytes([0x21]) + good[1:], b"\xff" * 300],
        "unknown_layout": [b"\x14", bytes([0x14]) + good[1:]],
        "bad_check": [
            good[:-1] + bytes([good[-1] ^ 1]),
            good[:5] + bytes([good[5] ^ 4]) + good[6:],
            bytes([0x11]) + bytes(13),
        ],
        "bad_padding": [padding],
        "out_of_range": [beyond],
    }
    for status, packets in cases.items():
        for data in packets:
            assert faulty(data).status == status
            assert CODEC.try_decode(data) == (status, None)
    assert faulty(beyond).field == "battery"
    assert faulty(beyond).offset == 83
    assert "raw code 127 is outside 0..100" in str(faulty(beyond))


def test_every_single_bit_flip_of_a_packet_is_noticed():
    good = encode()
    for bit in range(len(good) * 8):
        flipped = (int.from_bytes(good, "big") ^ 1 << bit).to_bytes(len(good), "big")
        assert CODEC.try_decode(flipped)[0] in {
            "bad_check",
            "unknown_version",
            "unknown_layout",
            "too_long",
            "too_short",
        }


def test_bytes_in_any_wrapping_are_bytes():
    good = encode()
    assert CODEC.decode(bytearray(good)) == CODEC.decode(memoryview(good)) == CODEC.decode(good)
    with pytest.raises(TypeError):
        CODEC.decode(good.hex())


def test_a_receiver_of_two_versions_decodes_each_by_its_header():
    second = Schema.parse(TEXT.replace("version = 1 ", "version = 2 ").replace("bits = 12, optional", "bits = 16, optional"))
    both = Codec([Schema.parse(TEXT), second])
    old, new = encode(), Codec(second).encode("position", GOOD)
    assert (both.decode(old).version, both.decode(new).version) == (1, 2)
    assert abs(both.decode(new).values["altitude"] - 2104) <= 0.08
    assert both.encode("position", GOOD) == old
    assert CODEC.try_decode(new)[0] == "unknown_version"


def test_versions_that_cannot_be_told_apart_are_refused():
    schema = Schema.parse(TEXT)
    with pytest.raises(PacketcodecError, match="version 1 is given twice"):
        Codec([schema, schema])
    other = Schema.parse(TEXT.replace("version = 1 ", "version = 2 ").replace("layout_bits = 4", "layout_bits = 3"))
    with pytest.raises(PacketcodecError, match="cannot tell them apart"):
        Codec([schema, other])
    with pytest.raises(PacketcodecError, match="at least one schema"):
        Codec([])


def test_a_packet_read_with_another_schema_fails_its_check():
    stale = Codec(
        Schema.parse(TEXT.replace('"counter", bits = 8', '"counter", bits = 7').replace("bits = 12,", "bits = 13,"))
    )
    assert stale.plan.layout("position").size == CODEC.plan.layout("position").size
    assert stale.try_decode(encode())[0] == "bad_check"


@pytest.mark.parametrize(("version_bits", "layout_bits"), [(1, 0), (3, 0), (4, 4), (5, 4), (8, 8), (8, 0), (2, 7)])
def test_headers_of_any_width_find_their_layout(version_bits, layout_bits):
    text = (
        f'name = "pasture"\nversion = 1\ncheck = {{ width = 8 }}\n'
        f"header = {{ version_bits = {version_bits}, layout_bits = {layout_bits} }}\n"
    )
    for ident in range(2 if layout_bits else 1):
        text += f'[[layouts]]\nname = "n{ident}"\nid = {ident}\nfields = [{{ kind = "identifier", bits = 5 }}]\n'
    codec = Codec(Schema.parse(text))
    for layout in codec.plan.layouts:
        data = codec.encode(layout.name, {"identifier": 21})
        assert codec.decode(data).layout == layout.name
        assert codec.try_decode(data[:-1])[0] == "too_short"
        assert codec.try_decode(b"")[0] == "too_short"
        assert codec.try_decode(bytes(len(data)))[0] == "unknown_version"


def test_the_mean_time_of_a_period_and_of_an_epoch():
    text = 'name = "pasture"\nversion = 1\n[[layouts]]\nname = "a"\nid = 1\nfields = [{{ kind = "time", {} }}]\n'
    hour = Codec(Schema.parse(text.format("period = 3600")))
    assert hour.decode(hour.encode("a", {"time": 1_784_000_123.4})).values["time"] == 1_784_000_123 % 3600
    assert hour.decode(hour.encode("a", {"time": 3599.6})).values["time"] == 0
    since = Codec(Schema.parse(text.format("epoch = 2026-01-01T00:00:00Z, bits = 16, resolution = 10")))
    start = 1_767_225_600  # 2026-01-01T00:00:00Z in Unix seconds: 20454 days of 86400 s
    assert since.decode(since.encode("a", {"time": start + 123})).values["time"] == start + 120
    with pytest.raises(ValueFault, match=f"{start - 1} is outside {start}"):
        since.encode("a", {"time": start - 1})


def test_what_is_no_schema_and_no_mapping_is_a_type_error_that_says_what_is_wanted():
    for given in ("pasture.toml", ["pasture.toml"], None, b"", 3):
        with pytest.raises(TypeError, match=r"made from Schema, not from .*Schema\.load\(path\) reads a file"):
            Codec(given)
    for layout in ("position", "track"):
        for values in (None, 3, [1, 2, 3]):
            with pytest.raises(TypeError, match="values: a mapping of field names to values is needed, not "):
                CODEC.encode(layout, values)


def test_a_codec_shows_its_versions_and_layouts():
    later = Schema.parse(TEXT.replace("version = 1 ", "version = 2 ", 1))
    assert repr(Codec([Schema.parse(TEXT), later])) == (
        "<Codec pasture, version 1: position, track, status; version 2: position, track, status>"
    )


TRACK = {**GOOD, "latitude": 46.5, "longitude": 9.9}


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ({"latitude": 91, "longitude": 9}, "point 1: latitude: 91 is outside -90..90 degrees"),
        ({"latitude": 10**400, "longitude": 9}, "0000... is outside -90..90 degrees"),
        ({"latitude": float("nan"), "longitude": 9}, "point 1: latitude: nan is not a finite number"),
        ({"latitude": "46", "longitude": 9}, "point 1: latitude: '46' is not a number"),
        ({"latitude": 46}, "point 1: {'latitude': 46} is no position (latitude, longitude, altitude, age)"),
        ({"latitude": 46, "longitude": None}, "point 1: latitude and longitude are needed"),
        ({"lat": 46, "longitude": 9}, "point 1: {'lat': 46, 'longitude': 9} is no position"),
        (46.5, "point 1: 46.5 is no position"),
    ],
)
def test_a_point_of_a_trail_that_cannot_be_sent_is_named(point, words):
    with pytest.raises(ValueFault, match=r"^trail: ") as caught:
        CODEC.encode("track", TRACK, [point])
    assert words in str(caught.value)
    with pytest.raises(ValueFault, match='layout "position" carries no trail'):
        CODEC.encode("position", GOOD, [(46.5, 9.9)])


def test_a_trail_comes_back_newest_first_with_its_ages():
    walk = [(46.5 + step / 5000, 9.9 - step / 7000) for step in range(1, 13)]
    packet = CODEC.decode(CODEC.encode("track", TRACK, walk))
    assert [point.age for point in packet.trail] == [30 * number for number in range(1, 11)]
    for point, (latitude, longitude) in zip(packet.trail, walk, strict=False):
        assert point.latitude == pytest.approx(latitude, abs=112e-7)
        assert point.longitude == pytest.approx(longitude, abs=163e-7)
    assert CODEC.decode(CODEC.encode("track", {**TRACK, "latitude": None, "longitude": None}, walk)).trail == ()
