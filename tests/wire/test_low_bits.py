"""Fields sent by their low bits: the rule by its definition, the promised interval on all sides, seam and poles, faults."""

import math
from random import Random

import pytest
from geographiclib.geodesic import Geodesic

from packetcodec import Codec, PacketFault, Schema, SchemaFault, ValueFault
from packetcodec.reference import ReferenceCodec
from packetcodec.wire import compile_plan, pack
from packetcodec.wire.compare import compare
from packetcodec.wire.low_bits import high_bytes, near_codes, reach_metres, reference_code, remainders
from tests.support.effort import few
from tests.support.low_bits import CODEC, SCHEMA, TEXT, VALUES

HEAD = 'name = "pasture"\nversion = 1\n{check}\n[[layouts]]\nname = "beacon"\nid = 1\nfields = [{fields}]\n'


def schema(*fields, check=""):
    return Schema.parse(HEAD.format(check=check, fields=", ".join(fields)))


def only_field(text, **kwargs):
    return compile_plan(schema(text, **kwargs)).layouts[0].fields[0]


CIRCLES = [
    f'{{ kind = "counter", maximum = {last}, low_bits = {bits} }}' for bits in (2, 3) for last in range(1 << bits, 40)
]
LINES = [
    f'{{ kind = "number", minimum = 0, maximum = {last}, resolution = 1, low_bits = {bits}, optional = {optional} }}'
    for bits, optional in ((2, "true"), (2, "false"), (3, "true"), (3, "false"))
    for last in range(1 << bits, 30)
]


@pytest.mark.parametrize("text", [*CIRCLES, *LINES])
def test_every_code_within_reach_is_found_and_the_nearest_one_first(text):
    field = only_field(text)
    low, count = field.low_bits, field.max_code + 1

    def way(code, reference):
        straight = abs(code - reference)
        return min(straight, count - straight) if field.modulus else straight

    for reference in range(count):
        for remainder in range(low.modulus):
            codes = [code for code in range(count) if code % low.modulus == remainder]
            found = near_codes(field, remainder, reference)
            assert way(found[0], reference) == min(way(code, reference) for code in codes)
            within = {code for code in codes if way(code, reference) <= low.reach}
            assert within <= set(found) <= set(codes)
            assert len(found) == max(1, len(within)) <= 1 + low.two_ways


def test_of_two_codes_equally_near_on_a_line_the_lower_one_is_taken():
    field = only_field('{ kind = "number", minimum = 0, maximum = 20, resolution = 1, low_bits = 2 }')
    assert near_codes(field, 0, 10) == (8,)
    assert near_codes(field, 0, 2) == (0,)
    assert near_codes(field, 3, 1) == (3,)


def test_what_is_sent_and_what_is_only_checked():
    layout = CODEC.plan.layout("position")
    codes = CODEC.quantize("position", VALUES["position"])
    lost = CODEC.quantize("position", VALUES["position"] | {"latitude": None, "altitude": None})
    assert remainders(layout, codes) == (7, 70_042 % 256, codes[2] % 16_383, codes[3] % 65_535, codes[4] % 511, codes[5])
    assert remainders(layout, lost)[2:5:2] == (16_383, 511)
    widths, highs = (23, 9, 8, 3), (70_042 // 256, codes[2] // 16_383, codes[3] // 65_535, codes[4] // 511)
    written = "".join(f"{high:0{width}b}" for width, high in zip(widths, highs, strict=True))
    assert f"{int.from_bytes(high_bytes(layout, codes), 'big'):048b}" == written.ljust(48, "0")
    assert f"{int.from_bytes(high_bytes(layout, lost), 'big'):048b}"[23:32] == "0" * 9


@pytest.mark.parametrize("name", ["position", "track"])
def test_a_packet_is_read_back_from_a_reference_near_it(name):
    data = CODEC.encode(name, VALUES[name])
    packet = CODEC.decode(data, reference=VALUES[name])
    assert packet.codes == CODEC.quantize(name, VALUES[name])
    assert data == pack(CODEC.plan, CODEC.plan.layout(name), packet.codes)
    assert CODEC.decode(data, reference=packet.values) == packet
    assert ReferenceCodec(SCHEMA).decode(data, reference=VALUES[name]) == packet
    assert CODEC.try_decode(data) == ("bad_check", None)


# --- the promised interval -------------------------------------------------------------------------------------------

PLACE = (
    '{ kind = "latitude", resolution_m = 2.5, within_m = 20000, optional = true }',
    '{ kind = "longitude", resolution_m = 2.5, within_m = 20000, max_latitude = 70, optional = true }',
)
PLACE_CODEC = Codec(schema(*PLACE))


def found_from(codec, place, reference):
    data = codec.encode("beacon", {"latitude": place[0], "longitude": place[1]})
    status, packet = codec.try_decode(data, reference={"latitude": reference[0], "longitude": reference[1]})
    return status == "ok" and packet.codes == codec.quantize("beacon", {"latitude": place[0], "longitude": place[1]})


@pytest.mark.parametrize("latitude", few([0.0, 0.09, -0.09, 70.0, 69.8, 46.5, -70.0, -33.3], 3))
@pytest.mark.parametrize("longitude", [0.0, 9.87654, 179.999, -179.999, 180.0, -179.6561, 179.6561])
def test_a_receiver_may_be_exactly_as_far_away_as_promised(latitude, longitude):
    chance = Random(f"{latitude} {longitude}")  # noqa: S311  # no secret
    tried = 0
    for number in range(120):
        bearing = (0, 90, 180, 270)[number % 4] if number < 8 else chance.uniform(0, 360)
        # What the schema asks for, and what `check` says of the whole bits that this takes.
        metres = 20_000 if number % 8 < 4 else min(map(reach_metres, PLACE_CODEC.plan.layouts[0].fields))
        there = Geodesic.WGS84.Direct(latitude, longitude, bearing, metres)
        place = (latitude, longitude)
        reference = (there["lat2"], (there["lon2"] + 180) % 360 - 180)
        if abs(reference[0]) <= 70:
            tried += 1
            assert found_from(PLACE_CODEC, place, reference), (place, reference)
            assert found_from(PLACE_CODEC, reference, place), (reference, place)
    assert tried > 30


def test_the_promise_holds_along_the_northernmost_parallel_where_it_is_longest():
    step = math.degrees(20_000 / 6_378_137 / math.cos(math.radians(70)))
    for longitude in (0.0, 179.9, -179.9, 100.0):
        there = Geodesic.WGS84.Inverse(70, longitude, 70, longitude + step)["s12"]
        reach = step * 20_000 / there  # 20 km along the shortest way between two places of this latitude
        assert abs(Geodesic.WGS84.Inverse(70, longitude, 70, longitude + reach)["s12"] - 20_000) < 0.01
        for side in (1, -1):
            other = (longitude + side * (reach - 1e-9) + 180) % 360 - 180
            assert found_from(PLACE_CODEC, (70.0, longitude), (70.0, other))


@pytest.mark.parametrize("pole", [90.0, -90.0])
def test_latitudes_up_to_the_poles(pole):
    codec = Codec(schema('{ kind = "latitude", resolution_m = 2.5, within_m = 20000 }'))
    for apart in (0.0, 0.1, 0.1808):
        data = codec.encode("beacon", {"latitude": pole})
        assert codec.decode(data, reference={"latitude": pole - math.copysign(apart, pole)}).values == {"latitude": pole}
        away = codec.encode("beacon", {"latitude": pole - math.copysign(apart, pole)})
        for reference in (pole, pole + math.copysign(3, pole)):  # beyond the range: as good as its end
            found = codec.decode(away, reference={"latitude": reference}).values["latitude"]
            assert abs(found - (pole - math.copysign(apart, pole))) < 0.000012


#: Field, its interval and its base unit in the field's unit, the values to start from.
SPANS = [
    ('{ kind = "altitude", bits = 14, within = 500 }', 500, 0.01, (-500, 2104.37, 9000)),
    ('{ kind = "altitude", resolution = 0.07, within = 12.3, optional = true }', 12.3, 0.01, (-500, 2104.37, 9000)),
    ('{ kind = "counter", bits = 31, within = 100 }', 100, 1, (0, 70_042, 2**31 - 1)),
    ('{ kind = "counter", maximum = 999, within = 100 }', 100, 1, (0, 42, 999)),
    ('{ kind = "counter", maximum = 999, within = 100, optional = true }', 100, 1, (0, 42, 999)),
    (
        '{ kind = "time", epoch = 2026-01-01T00:00:00Z, resolution = 60, bits = 20, within = 86400 }', 86_400, 1,
        (1_767_225_600, 1_790_000_000, 1_767_225_600 + 62_914_500),
    ),
    ('{ kind = "number", minimum = -5, maximum = 5, resolution = 0.003, within = 0.5 }', 0.5, 0.001, (-5, 0.1, 5)),
]  # fmt: skip


@pytest.mark.parametrize(("text", "within", "unit", "starts"), SPANS)
def test_intervals_in_the_units_of_their_fields(text, within, unit, starts):
    codec = Codec(schema(text))
    field = codec.plan.layouts[0].fields[0]
    chance = Random(text)  # noqa: S311  # no secret
    low, high = field.low / field.scale + field.origin, field.max_input / field.scale + field.origin
    whole = field.kind.counting
    for start in (*starts, *(chance.uniform(low, high) for _ in range(200))):
        value = int(start) if whole else start
        for apart in (within, -within, within - unit / 3, unit / 3 - within, chance.uniform(-within, within)):
            reference = value + (int(apart) if whole else apart)
            if field.modulus and not low <= reference <= high:
                reference = (reference - low) % field.modulus + low
            data = codec.encode("beacon", {field.name: value})
            assert codec.decode(data, reference={field.name: reference}).codes == codec.quantize(
                "beacon", {field.name: value}
            )


@pytest.mark.parametrize(("text", "within", "unit", "starts"), SPANS)
def test_no_bit_is_spent_for_nothing(text, within, unit, starts):  # noqa: ARG001  # one table for two tests
    """With one bit less, two values of the interval would have codes too far apart."""
    field = only_field(text)
    low = field.low_bits
    smaller = ((low.modulus + 1 if low.absent else low.modulus) >> 1) - (low.absent is not None)
    most = within * field.scale + (not field.kind.counting)
    assert (smaller - 1) // 2 < math.ceil(most / field.step) + bool(field.modulus and field.modulus % field.step)


@pytest.mark.parametrize("text", [*PLACE, SPANS[0][0], SPANS[2][0], SPANS[6][0]])
def test_one_code_beyond_the_reach_is_too_far_on_one_side_and_a_code_more_on_both(text):
    codec = Codec(schema(text))
    field = codec.plan.layouts[0].fields[0]
    low, code = field.low_bits, field.max_code // 2
    data = pack(codec.plan, codec.plan.layouts[0], (code,))

    def status(shift):
        base = field.low + (code + shift) * field.step
        return codec.try_decode(data, reference={field.name: base / field.scale})[0]

    assert {status(low.reach), status(-low.reach), status(0)} == {"ok"}
    assert "bad_check" in {status(low.reach + 1), status(-low.reach - 1)}
    assert {status(low.reach + 2), status(-low.reach - 2), status(low.modulus), status(-low.modulus)} == {"bad_check"}


def test_next_to_the_seam_both_codes_are_tried_and_the_check_decides():
    field = PLACE_CODEC.plan.layouts[0].fields[1]
    low, count = field.low_bits, field.max_code + 1
    doubled = count % low.modulus
    assert low.two_ways
    assert doubled <= low.reach
    for remainder in (0, 1, doubled - 1):
        behind, before = remainder, remainder + count // low.modulus * low.modulus
        for reference in (0, doubled // 2, count - 1, count - doubled // 2, before, behind):
            found = near_codes(field, remainder, reference)
            assert set(found) == {behind, before}
            for code in found:
                data = pack(PLACE_CODEC.plan, PLACE_CODEC.plan.layouts[0], (6_000_000, code))
                known = {"latitude": 43.8, "longitude": (field.low + reference * field.step) / field.scale}
                assert PLACE_CODEC.decode(data, reference=known).codes == (6_000_000, code)
    assert len(near_codes(field, doubled, 0)) == 1


def test_a_place_a_modulus_away_has_the_same_bits_under_another_check():
    layout = PLACE_CODEC.plan.layouts[0]
    north, east = (field.low_bits.modulus for field in layout.fields)
    data = pack(PLACE_CODEC.plan, layout, (6_000_000, 8_000_000))
    for codes in ((6_000_000 + north, 8_000_000), (6_000_000, 8_000_000 - east), (6_000_000 - north, 8_000_000 + east)):
        other = pack(PLACE_CODEC.plan, layout, codes)
        assert other[:-2] == data[:-2]
        assert other[-2:] != data[-2:]


def test_the_packet_stays_a_code_word():
    plan = CODEC.plan
    layout = plan.layout("position")
    data = CODEC.encode("position", VALUES["position"])
    high = high_bytes(layout, CODEC.quantize("position", VALUES["position"]))
    seed = plan.crc.initial
    seed = plan.crc.register_after(bytes.fromhex(plan.fingerprint))
    assert seed == plan.seed
    assert plan.crc.of(high + data, seed) == plan.crc.residue()


# --- references ------------------------------------------------------------------------------------------------------


def test_a_reference_is_cut_to_a_line_and_wrapped_on_a_circle_whatever_the_policy():
    layout = CODEC.plan.layout("position")
    counter, latitude, longitude, altitude = (field for _, field, _ in layout.low_fields)
    assert reference_code(counter, -1) == 2**31 - 1
    assert reference_code(counter, 2**31) == 0
    assert reference_code(latitude, 10**9) == latitude.max_code
    assert reference_code(latitude, -(10**9)) == 0
    assert reference_code(longitude, 1_800_000_000) == reference_code(longitude, -1_800_000_000) == 0
    assert reference_code(longitude, 1_900_000_000) == reference_code(longitude, -1_700_000_000)
    assert reference_code(altitude, -(10**8)) == 0
    assert reference_code(altitude, 10**8) == altitude.max_code


@pytest.mark.parametrize(
    ("reference", "words"),
    [
        ({"latitud": 46.5}, "reference: 'latitud' is no field; did you mean latitude?"),
        (
            {"counter": 70_000, "altitude": 2100, "longitude": 9.8, "latitude": "46"},
            "reference: latitude: '46' is not a number",
        ),
        ({"counter": 70_000.5}, "reference: counter: 70000.5 is not a whole number"),
        ({"counter": float("nan")}, "reference: counter: nan is not a finite number"),
    ],
)
def test_wrong_references_are_told(reference, words):
    data = CODEC.encode("position", VALUES["position"])
    with pytest.raises(ValueFault) as caught:
        CODEC.decode(data, reference=reference)
    assert str(caught.value) == words


def test_messages_say_that_it_may_be_the_reference():
    data = CODEC.encode("position", VALUES["position"])
    with pytest.raises(
        PacketFault, match="without a reference for counter, latitude, longitude, altitude, sent by low bits"
    ):
        CODEC.decode(data)
    far = VALUES["position"] | {"latitude": 47.0}
    with pytest.raises(
        PacketFault, match=r"is damaged, or the reference for counter, latitude, .* is too far off"
    ) as caught:
        CODEC.decode(data, reference=far)
    assert (caught.value.status, caught.value.offset) == ("bad_check", 8 * (len(data) - 2))


def test_absent_fields_need_no_reference():
    lost = VALUES["position"] | {"latitude": None, "longitude": None, "altitude": None}
    data = CODEC.encode("position", lost)
    assert CODEC.decode(data, reference={"counter": 70_000}).values["latitude"] is None
    assert CODEC.decode(data, reference={"counter": 70_000, "latitude": None}).values["altitude"] is None


def test_faults_before_the_check_come_before_it():
    data = CODEC.encode("position", VALUES["position"])
    assert CODEC.try_decode(data[:-1])[0] == "too_short"
    assert CODEC.try_decode(data + b"\0")[0] == "too_long"
    assert CODEC.try_decode(b"\x21" + data[1:])[0] == "unknown_version"


# --- schemas ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "words"),
    [
        ('{ kind = "latitude", low_bits = 23, resolution_m = 2.5 }', "23 low bits, and all of the field fits 23: leave"),
        ('{ kind = "latitude", low_bits = 1 }', "1 is outside 2..31"),
        ('{ kind = "latitude", low_bits = 14, within_m = 20 }', "low_bits and within_m both given: one follows"),
        ('{ kind = "latitude", within_m = 10000000 }', "low bits, and all of the field fits 25: leave it out"),
        ('{ kind = "longitude", within_m = 20000 }', "needs a max_latitude beside it"),
        ('{ kind = "longitude", low_bits = 14, max_latitude = 60 }', "needs a within_m beside it"),
        ('{ kind = "longitude", within_m = 20000, max_latitude = 90 }', "90 is outside 0..89"),
        ('{ kind = "longitude", minimum = 5, maximum = 12, low_bits = 9 }', "only on the whole circle: leave out minimum"),
        ('{ kind = "time", period = 86400, low_bits = 9 }', "only for a time with an epoch"),
        ('{ kind = "altitude", within = 0 }', "0 is not above 0"),
        ('{ kind = "altitude", within_m = 20 }', "within_m"),
        ('{ kind = "battery", low_bits = 3 }', "low_bits"),
    ],
)  # fmt: skip
def test_schemas_that_are_refused(field, words):
    with pytest.raises(SchemaFault) as caught:
        schema(field)
    assert words in str(caught.value), caught.value
    assert len(caught.value.problems) == 1


def test_a_check_of_16_bits_is_needed():
    field = '{ kind = "counter", bits = 16, low_bits = 8 }'
    for check, bits in (('check = { crc = "none" }', 0), ("check = { width = 8 }", 8)):
        with pytest.raises(SchemaFault, match=f"low bits need a check of 16 bits, .* this one has {bits}"):
            schema(field, check=check)
    assert schema(field, check="check = { width = 16 }").check.bits == 16


def test_one_circle_with_a_seam_in_a_layout():
    east = '{{ kind = "longitude", name = "{}", bits = 24, low_bits = 14, optional = true }}'
    with pytest.raises(SchemaFault, match="the second circle of this layout") as caught:
        schema(east.format("one"), east.format("other"))
    assert "other" in caught.value.problems[0].place
    both = schema(east.format("one"), '{ kind = "counter", bits = 31, low_bits = 8 }')
    assert both.layouts[0].fields[1].low_bits.two_ways is False


def test_fields_of_one_name_have_one_unit():
    layout = (
        '[[layouts]]\nname = "{0}"\nid = {1}\nfields = [{{ kind = "number", name = "depth", minimum = 0, maximum = 100, '
    )
    layout += "resolution = {2}, low_bits = 3 }}]\n"
    head = 'name = "pasture"\nversion = 1\n'
    with pytest.raises(SchemaFault, match='has another kind, unit or epoch in layout "a"'):
        Schema.parse(head + layout.format("a", 1, 0.1) + layout.format("b", 2, 0.001))
    assert compile_plan(Schema.parse(head + layout.format("a", 1, 0.1) + layout.format("b", 2, 0.1))).references == (
        "depth",
    )


def test_low_bits_are_the_wire():
    old, new = compile_plan(SCHEMA), compile_plan(Schema.parse(TEXT.replace("low_bits = 8", "low_bits = 9")))
    assert old.fingerprint != new.fingerprint
    assert ("width 8 -> 9 bits", True) in {(item.what, item.wire) for item in compare(old, new).differences}
    whole = compile_plan(Schema.parse(TEXT.replace(", low_bits = 8", "")))
    assert "the whole code is sent -> its low bits" in {item.what for item in compare(whole, old).differences}
    wider = compile_plan(Schema.parse(TEXT.replace("bits = 31, low", "bits = 30, low")))
    assert "width of the whole code 31 -> 30 bits" in {item.what for item in compare(old, wider).differences}
    assert (
        compile_plan(Schema.parse(TEXT.replace("within_m = 20000, ", "within_m = 20001, "))).fingerprint == old.fingerprint
    )
