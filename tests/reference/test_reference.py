"""The compiled codec against the reference: two ways that share no arithmetic must agree on every input."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import construct
import crccheck.crc
import pytest
from hypothesis import given
from hypothesis import strategies as st

import packetcodec.starter
from packetcodec import Codec, Packet, PacketcodecError, PacketFault, Schema, ValueFault
from packetcodec.crc import names
from packetcodec.reference.codec import ReferenceCodec, layout_construct, raw_construct
from packetcodec.schema import KINDS, Form
from packetcodec.wire import max_error, to_raw, to_value
from tests.support.effort import examples
from tests.support.random_schemas import (
    any_packets,
    any_value,
    any_values,
    bases,
    fields,
    good_packets,
    good_value,
    good_values,
    schemas,
    toml,
    versions,
)
from tests.support.random_trails import points

STARTER = Schema.load(Path(packetcodec.starter.__file__).with_name("pasture.toml"))
STARTER_CODECS = Codec(STARTER), ReferenceCodec(STARTER)
quickly = examples(40)
thoroughly = examples(120)
MEASURES = [kind.name for kind in KINDS.values() if not kind.counting]


def one_field(table: dict[str, Any]) -> Schema:
    head = 'name = "pasture"\nversion = 1\ncheck = { crc = "none" }\n[[layouts]]\nname = "beacon"\nid = 1\n'
    return Schema.parse(f"{head}fields = [{toml({**table, 'name': 'x'})}]")


def outcome(way: Any, *arguments: Any) -> Any:
    """What a call gives, with the types of the values, or which fault it raises and where."""
    try:
        result = way(*arguments)
    except ValueFault as fault:
        return "value fault", fault.layout, fault.field
    except PacketFault as fault:
        return fault.status, fault.field, fault.offset
    if isinstance(result, Packet):
        types = [type(value) for value in result.values.values()]
        return "ok", result.layout, result.version, list(result.values.items()), types, result.codes, result.trail
    return result


# --- every input, good or bad ---------------------------------------------------------------------------------------


@pytest.mark.slow
@thoroughly
@given(st.data(), schemas())
def test_both_encode_any_values_to_the_same_bytes_or_refuse_the_same_field(data: st.DataObject, schema: Schema) -> None:
    codec, reference = Codec(schema), ReferenceCodec(schema)
    for layout in schema.layouts:
        values = data.draw(any_values(layout))
        assert outcome(codec.encode, layout.name, values) == outcome(reference.encode, layout.name, values)
        assert outcome(codec.quantize, layout.name, values) == outcome(reference.quantize, layout.name, values)
        given_points = data.draw(points(codec, layout, data.draw(good_values(layout)), odd=True))
        for way in (values, data.draw(good_values(layout))):
            packet = outcome(codec.encode, layout.name, way, given_points)
            assert packet == outcome(reference.encode, layout.name, way, given_points)
            if isinstance(packet, bytes):
                assert outcome(codec.decode, packet) == outcome(reference.decode, packet)
                assert outcome(codec.decode, packet)[0] == "ok"


@pytest.mark.slow
@thoroughly
@given(st.data())
def test_both_agree_on_every_motion_behind_a_starter_packet(data: st.DataObject) -> None:
    codec, reference = Codec(STARTER), ReferenceCodec(STARTER)
    latitude = data.draw(st.floats(-90, 90) | st.sampled_from([90.0, -90.0, 89.9999, -89.9999, 0.0]))
    longitude = data.draw(st.floats(-180, 180) | st.sampled_from([180.0, -180.0, 179.9999, -179.9999, 0.0]))
    values = {**POSITION, "latitude": latitude, "longitude": longitude}
    trail = data.draw(points(codec, STARTER.layouts[1], values, odd=True))
    packet = outcome(codec.encode, "track", values, trail)
    assert packet == outcome(reference.encode, "track", values, trail)
    if isinstance(packet, bytes):
        assert outcome(codec.decode, packet) == outcome(reference.decode, packet)
        flips = data.draw(st.lists(st.integers(93, 8 * len(packet) - 17), max_size=3))
        number = int.from_bytes(packet, "big") ^ sum(1 << 8 * len(packet) - 1 - bit for bit in set(flips))
        resealed = codec.plan.seal(number.to_bytes(len(packet), "big")[:-2])
        assert outcome(codec.decode, resealed) == outcome(reference.decode, resealed)


@pytest.mark.parametrize("codec", [Codec(STARTER), ReferenceCodec(STARTER)], ids=["codec", "reference"])
def test_both_refuse_points_for_a_layout_without_a_trail(codec: Any) -> None:
    assert outcome(codec.encode, "position", POSITION, [(46.5, 9.8)]) == ("value fault", "position", "trail")
    assert outcome(codec.encode, "track", POSITION, [(46.5, 99.8, 1, 2, 3)]) == ("value fault", "track", "trail")


@pytest.mark.parametrize("codec", [Codec(STARTER), ReferenceCodec(STARTER)], ids=["codec", "reference"])
def test_both_take_the_altitude_of_a_point_as_far_as_a_trail_reaches(codec: Any) -> None:
    for altitude in (10_100_000, -10_100_000):
        assert isinstance(outcome(codec.encode, "track", POSITION, [(46.5, 9.8, altitude)]), bytes)
        beyond = [(46.5, 9.8, altitude * 1.001)]
        assert outcome(codec.encode, "track", POSITION, beyond) == ("value fault", "track", "trail")


@pytest.mark.slow
@thoroughly
@given(st.data(), schemas())
def test_both_decode_any_bytes_to_the_same_packet_or_the_same_fault(data: st.DataObject, schema: Schema) -> None:
    codec, reference = Codec(schema), ReferenceCodec(schema)
    for _ in range(3):
        packet = data.draw(any_packets(codec, schema))
        assert outcome(codec.decode, packet) == outcome(reference.decode, packet)
        assert codec.try_decode(packet)[0] == reference.try_decode(packet)[0] == outcome(codec.decode, packet)[0]


@quickly
@given(st.data())
def test_both_agree_on_the_starter_schema(data: st.DataObject) -> None:
    codec, reference = STARTER_CODECS
    values = data.draw(any_values(data.draw(st.sampled_from(STARTER.layouts))))
    for layout in STARTER.layouts:
        assert outcome(codec.encode, layout.name, values) == outcome(reference.encode, layout.name, values)
    packet = data.draw(any_packets(codec, STARTER))
    assert outcome(codec.decode, packet) == outcome(reference.decode, packet)


@thoroughly
@given(st.data(), fields())
def test_both_quantize_any_value_of_any_field_alike(data: st.DataObject, table: dict[str, Any]) -> None:
    schema = one_field(table)
    codec, reference = Codec(schema), ReferenceCodec(schema)
    field = schema.layouts[0].fields[0]
    for _ in range(5):
        values = {"x": data.draw(any_value(field))}
        assert outcome(codec.encode, "beacon", values) == outcome(reference.encode, "beacon", values)


@thoroughly
@given(fields())
def test_both_derive_the_same_grid_from_what_was_asked_for(table: dict[str, Any]) -> None:
    schema = one_field(table)
    grid = schema.layouts[0].fields[0].grid
    coding = ReferenceCodec(schema)._wire("beacon").codings["x"]
    assert (coding.bits, coding.step, coding.max_code, coding.absent_code) == (
        grid.bits,
        grid.step,
        grid.max_code,
        grid.absent_code,
    )


@pytest.mark.slow
@quickly
@given(st.data(), versions())
def test_both_tell_several_versions_apart(data: st.DataObject, given_versions: list[Schema]) -> None:
    receiver, reference = Codec(given_versions), ReferenceCodec(given_versions)
    for schema in given_versions:
        sender = Codec(schema)
        packet = data.draw(any_packets(sender, schema))
        assert outcome(receiver.decode, packet) == outcome(reference.decode, packet)
        layout = schema.layouts[0]
        good = sender.encode(layout.name, data.draw(good_values(layout)))
        assert receiver.decode(good).version == schema.version
        assert outcome(receiver.decode, good) == outcome(sender.decode, good)


@pytest.mark.parametrize("codec", [Codec, ReferenceCodec])
def test_both_refuse_versions_that_cannot_be_told_apart(codec: Any) -> None:
    other = Schema.parse(
        'name = "pasture"\nversion = 2\nheader = { version_bits = 5 }\n[[layouts]]\nname = "gate"\nid = 1\n'
        'fields = [{ kind = "flag" }]'
    )
    for schemas_given in ([], [STARTER, STARTER], [STARTER, other]):
        with pytest.raises(PacketcodecError):
            codec(schemas_given)


@pytest.mark.parametrize("codec", [Codec(STARTER), ReferenceCodec(STARTER)], ids=["codec", "reference"])
def test_both_refuse_an_unknown_layout(codec: Any) -> None:
    with pytest.raises(ValueFault) as caught:
        codec.encode("fence", {})
    assert (caught.value.layout, caught.value.field) == ("fence", None)


# --- every fault of one packet --------------------------------------------------------------------------------------

POSITION = {"collar": 12, "counter": 250, "latitude": 46.51234, "longitude": 9.87654, "altitude": 2104.0, "battery": 3.71}
POSITION["fix_quality"] = 1


@pytest.mark.slow
@quickly
@given(st.data(), schemas(max_fields=4))
def test_every_single_flipped_bit_is_seen_alike_and_by_the_check(data: st.DataObject, schema: Schema) -> None:
    codec, reference = Codec(schema), ReferenceCodec(schema)
    packet = data.draw(good_packets(codec, schema))
    for place in range(8 * len(packet)):
        flipped = bytearray(packet)
        flipped[place // 8] ^= 0x80 >> place % 8
        got = outcome(codec.decode, bytes(flipped))
        assert got == outcome(reference.decode, bytes(flipped))
        if schema.check.crc and place >= schema.header.bits:
            assert got[0] == "bad_check"


def test_every_flipped_bit_of_a_starter_packet_is_refused() -> None:
    codec, reference = Codec(STARTER), ReferenceCodec(STARTER)
    packet = codec.encode("position", POSITION)
    for place in range(8 * len(packet)):
        flipped = bytearray(packet)
        flipped[place // 8] ^= 0x80 >> place % 8
        got = codec.try_decode(bytes(flipped))
        assert got == reference.try_decode(bytes(flipped))
        assert got[1] is None


def test_every_length_from_0_to_255_but_the_right_one_is_refused() -> None:
    codec, reference = Codec(STARTER), ReferenceCodec(STARTER)
    packet = codec.encode("position", POSITION)
    for length in range(256):
        data = (packet + bytes(255))[:length]
        got = outcome(codec.decode, data)
        assert got == outcome(reference.decode, data)
        if length < len(packet):
            assert got == ("too_short", None, 8 * length)
        elif length > len(packet):
            assert got == ("too_long", None, 8 * len(packet))
        else:
            assert got[:3] == ("ok", "position", 1)


@quickly
@given(st.data(), schemas(max_fields=4))
def test_what_is_decoded_encodes_to_the_very_same_bytes(data: st.DataObject, schema: Schema) -> None:
    codec = Codec(schema)
    packet = data.draw(any_packets(codec, schema))
    status, said = codec.try_decode(packet)
    if said is not None:
        assert status == "ok"
        again = outcome(codec.encode, said.layout, said.values, said.trail)
        assert again == outcome(ReferenceCodec(schema).encode, said.layout, said.values, said.trail)
        if not said.trail and not any(layout.trail and layout.trail.coarsenings for layout in schema.layouts):
            assert again == packet
        if isinstance(again, bytes) and packet == again:
            assert outcome(codec.decode, again) == outcome(codec.decode, packet)


# --- promises about values ------------------------------------------------------------------------------------------


@thoroughly
@given(st.data(), fields(kinds=MEASURES))
def test_the_error_is_never_above_the_promised_bound(data: st.DataObject, table: dict[str, Any]) -> None:
    codec = Codec(schema := one_field(table))
    plan = codec.plan.layouts[0].fields[0]
    value = data.draw(good_value(schema.layouts[0].fields[0]))
    if value is None:
        return
    arrived = codec.decode(codec.encode("beacon", {"x": value})).values["x"]
    assert arrived is not None
    error = abs(Fraction(value) - Fraction(arrived))
    if plan.modulus:
        error = min(error, abs(Fraction(plan.modulus, plan.scale) - error))
    # A float holds neither the value nor what arrives to better than its own last place.
    last_place = Fraction(2**-52) * (abs(Fraction(value)) + abs(Fraction(arrived)))
    assert error <= max_error(plan) + last_place


@thoroughly
@given(st.data(), fields())
def test_quantizing_keeps_the_order_of_values_on_a_line(data: st.DataObject, table: dict[str, Any]) -> None:
    schema = one_field(table)
    field = schema.layouts[0].fields[0]
    if field.modulus or field.kind.form is Form.CHOICE:
        return
    plan = Codec(schema).plan.layouts[0].fields[0]
    some = sorted(data.draw(st.lists(bases(field), min_size=2, max_size=8)))
    codes = [to_raw(plan, base) for base in some]
    assert codes == sorted(codes)


@thoroughly
@given(st.data(), fields())
def test_quantizing_a_decoded_value_changes_nothing(data: st.DataObject, table: dict[str, Any]) -> None:
    codec = Codec(one_field(table))
    plan = codec.plan.layouts[0].fields[0]
    code = data.draw(st.integers(0, plan.max_code) | st.sampled_from([0, plan.max_code]))
    assert codec.quantize("beacon", {"x": to_value(plan, code)}) == (code,)


# --- the bit loop against a library -----------------------------------------------------------------------------------

LIBRARY = {kind._names[0]: kind for kind in crccheck.crc.ALLCRCCLASSES}


@pytest.mark.parametrize("name", [name for name in names() if name in LIBRARY])
def test_the_check_of_the_reference_is_the_library_s(name: str) -> None:
    # Source: crccheck 1.3.1, computed.
    schema = Schema.parse(
        f'name = "pasture"\nversion = 1\ncheck = {{ crc = "{name}" }}\n[[layouts]]\nname = "gate"\nid = 1\n'
        'fields = [{ kind = "identifier", bits = 32 }]'
    )
    packet = ReferenceCodec(schema).encode("gate", {"identifier": 0x313233F7})
    body, tail = packet[:5], packet[5:]
    assert int.from_bytes(tail, "little" if LIBRARY[name]._reflect_output else "big") == LIBRARY[name].calc(body)
    assert Codec(schema).encode("gate", {"identifier": 0x313233F7}) == packet


# --- the construct objects ------------------------------------------------------------------------------------------


@quickly
@given(st.data(), schemas(max_fields=5))
def test_a_layout_embeds_in_a_larger_construct(data: st.DataObject, schema: Schema) -> None:
    codec = Codec(schema)
    layout = data.draw(st.sampled_from(schema.layouts))
    values = data.draw(good_values(layout))
    inner = layout_construct(schema, layout.name)
    if layout.trail:  # its length varies: the frame must say it
        inner = construct.FixedSized(construct.this.length, inner)
    frame = construct.Struct("length" / construct.Int8ub, "packet" / inner, "rssi" / construct.Int8sb)
    trail = data.draw(points(codec, layout, values))
    packet = codec.encode(layout.name, values, trail)
    built = frame.build({"length": len(packet), "packet": values | ({"trail": trail} if trail else {}), "rssi": -97})
    assert built == bytes([len(packet)]) + packet + b"\x9f"
    parsed = frame.parse(built)
    said = codec.decode(packet)
    assert dict(parsed.packet) == said.values | ({"trail": said.trail} if layout.trail else {})
    assert (parsed.length, parsed.rssi) == (len(packet), -97)


@quickly
@given(st.data(), schemas(max_fields=5))
def test_a_layout_of_plain_numbers_parses_to_the_raw_codes(data: st.DataObject, schema: Schema) -> None:
    codec = Codec(schema)
    packet = data.draw(good_packets(codec, schema))
    said = codec.decode(packet)
    raw = raw_construct(schema, said.layout)
    parsed = raw.parse(packet)
    assert {name: parsed.codes[name] for name in said.raw} == said.raw
    assert parsed.version == schema.version
    if "trail" in parsed:
        assert raw.build({"codes": said.raw, "trail": parsed.trail}) == packet
        with pytest.raises(construct.SizeofError):
            raw.sizeof()
    else:
        assert raw.sizeof() == len(packet)
        assert parsed.padding == 0
        assert raw.build({"codes": said.raw}) == packet


def test_the_construct_names_the_field_and_the_kind_of_each_fault() -> None:
    frame = construct.Struct("packet" / layout_construct(STARTER, "position"))
    codec = Codec(STARTER)
    good = codec.encode("position", POSITION)
    raw = raw_construct(STARTER, "position")
    codes = codec.decode(good).raw
    cases = [
        (good[:-1] + bytes([good[-1] ^ 1]), construct.ChecksumError, "bad_check"),
        (raw.build({"codes": {**codes, "latitude": 2**23 - 2}}), construct.ValidationError, "latitude"),
        (raw.build({"codes": codes, "version": 2}), construct.ConstError, "version is 2, not 1"),
        (raw.build({"codes": codes, "layout": 2}), construct.ConstError, "layout is 2, not 1"),
        (raw.build({"codes": codes, "padding": 1}), construct.ConstError, "bad_padding"),
        (good[:-1], construct.StreamError, "packet"),
    ]
    for data, error, words in cases:
        with pytest.raises(error, match=words):
            frame.parse(data)
    for values, words in [
        ({**POSITION, "latitude": 90.1}, "latitude"),
        ({**POSITION, "latitud": 1}, "latitud"),
        ({"collar": 1}, "counter"),
    ]:
        with pytest.raises(construct.ValidationError, match=words):
            frame.build({"packet": values})


def test_a_layout_that_the_schema_lacks_has_no_construct() -> None:
    for make in (layout_construct, raw_construct):
        with pytest.raises(KeyError, match="fence"):
            make(STARTER, "fence")


def test_a_broken_content_under_a_good_check_is_told_by_its_first_fault() -> None:
    codec, reference = Codec(STARTER), ReferenceCodec(STARTER)
    raw = raw_construct(STARTER, "position")
    codes = codec.decode(codec.encode("position", POSITION)).raw
    latitude = codec.plan.layout("position").fields[2]
    wrong = {**codes, "latitude": latitude.max_code + 1, "battery": 127}
    for data, expected in [
        (raw.build({"codes": wrong, "padding": 1}), ("bad_padding", None, codec.plan.layout("position").bits)),
        (raw.build({"codes": wrong}), ("out_of_range", "latitude", latitude.offset)),
        (raw.build({"codes": wrong, "check": 0}), ("bad_check", None, 8 * codec.plan.layout("position").data_bytes)),
    ]:
        assert outcome(codec.decode, data) == outcome(reference.decode, data) == expected
        if expected[0] != "bad_check":
            assert codec.plan.seal(data[:-2]) == data


def test_decimals_and_fractions_are_numbers_like_any_other() -> None:
    codec, reference = Codec(STARTER), ReferenceCodec(STARTER)
    values = {**POSITION, "latitude": Decimal("46.51234"), "battery": Fraction(371, 100)}
    assert codec.encode("position", values) == reference.encode("position", values) == codec.encode("position", POSITION)
