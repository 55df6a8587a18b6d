"""The vectors: both codecs and a reader of the text alone agree with every one of them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings

from packetcodec import Codec, PacketFault, Schema, TrailPoint, ValueFault
from packetcodec.reference.codec import ReferenceCodec
from tests.support.reader import Reader, tables
from tests.support.schemas import SCHEMAS, schema_texts, written


def same(found: object, wanted: object) -> bool:
    """Equal, and of the same type: 1, 1.0 and True are three different values here."""
    return found == wanted and repr(found) == repr(wanted)


@pytest.fixture(params=SCHEMAS.values(), ids=SCHEMAS.keys())
def schema(request: pytest.FixtureRequest) -> str:
    return request.param


@pytest.mark.slow
@pytest.mark.parametrize("make", [Codec, ReferenceCodec])
def test_both_codecs_agree_with_every_vector(schema: str, make: type[Codec | ReferenceCodec]) -> None:
    _, vectors = written(schema)
    codec = make(Schema.parse(schema))
    for case in vectors["good"]:
        packet = codec.decode(bytes.fromhex(case["hex"]))
        assert (packet.layout, packet.raw) == (case["layout"], case["raw"])
        assert same(packet.values, case["values"]), case["note"]
        points = case.get("trail", [])
        assert same([by_name(point, points) for point in packet.trail], points), case["note"]
        again = codec.encode(case["layout"], case["values"], packet.trail)
        assert (again.hex() == case["hex"]) == ("decode_only" not in case), case["note"]
    for case in vectors["encode"]:
        data = codec.encode(case["layout"], case["input"], case.get("input_trail", ()))
        assert data.hex() == case["hex"], case["note"]
        assert len(codec.decode(data).trail) == case.get("points_sent", 0), case["note"]
        assert codec.quantize(case["layout"], case["input"]) == tuple(case["raw"].values()), case["note"]
    for case in vectors["refused"]:
        with pytest.raises(ValueFault) as refusal:
            codec.encode(case["layout"], case["input"], case.get("input_trail", ()))
        assert (refusal.value.layout, refusal.value.field) == (case["layout"], case["field"]), case["note"]
    for case in vectors["bad"]:
        with pytest.raises(PacketFault) as fault:
            codec.decode(bytes.fromhex(case["hex"]))
        found = (fault.value.status, fault.value.field, fault.value.offset)
        assert found == (case["status"], case["field"], case["offset"]), case["note"]


def by_name(point: TrailPoint, points: list[dict]) -> dict:
    """A point by the names that the vectors use for its layout."""
    return {name: value for name, value in point._asdict().items() if name in points[0]}


def in_base_units(points: list[dict]) -> list[dict]:
    """Section 7.1, the way of a point's physical values to base units, with exact fractions."""
    scales = {"latitude": 10**7, "longitude": 10**7, "altitude": 100, "age": 1}
    return [
        {name: None if value is None else round(value * scales[name]) for name, value in point.items()} for point in points
    ]


def agree(text: str, vectors: dict, make: type[Reader] = Reader) -> None:
    """A reader of the text alone passes every vector."""
    reader = make(text)
    for case in vectors["good"]:
        status, packet = reader.decode(bytes.fromhex(case["hex"]), case.get("reference_base"))
        assert status == ("ok", None, None), case["note"]
        assert same(packet, (case["layout"], case["raw"], case["values"], case.get("trail_base"))), case["note"]
        assert in_base_units(case.get("trail", [])) == case.get("trail_base", []), case["note"]
        again = reader.encode(case["layout"], case["values"], case.get("trail", []))[3].hex()
        assert (again == case["hex"]) == ("decode_only" not in case), case["note"]
    for case in vectors["encode"]:
        assert in_base_units(case.get("input_trail", [])) == case.get("base_trail", [])
        bases, codes, points, data, sent = reader.encode(case["layout"], case["input"], case.get("input_trail", []))
        assert (bases, codes, data.hex()) == (case["base"], case["raw"], case["hex"]), case["note"]
        assert points == case.get("base_trail", []), case["note"]
        assert sent == case.get("points_sent", 0), case["note"]
    for case in vectors["refused"]:
        assert reader.encode(case["layout"], case["input"], case.get("input_trail", ())) == case["field"], case["note"]
    for case in vectors["bad"]:
        found = reader.decode(bytes.fromhex(case["hex"]), case.get("reference_base"))
        assert found == ((case["status"], case["field"], case["offset"]), None), case["note"]


@pytest.mark.slow
def test_a_reader_of_the_text_alone_passes_every_vector(schema: str) -> None:
    agree(*written(schema))


def test_a_reader_of_the_text_alone_agrees_with_the_examples_and_bad_packets_in_it(schema: str) -> None:
    text, _ = written(schema)
    reader = Reader(text)
    examples = re.split(r"^\*\*", text.split("\n## 8 ")[1].split("\n## 9 ")[0], flags=re.MULTILINE)[1:]
    assert len(examples) >= len(reader.layouts)
    for example in examples:
        packet = bytes.fromhex(re.search(r"^packet +([0-9a-f]+)$", example, re.MULTILINE)[1])
        status, (name, codes, values, _) = reader.decode(packet)
        assert status[0] == "ok"
        rows = [row for table in tables(example) for row in table]
        assert {
            row["field"]: int(row["raw"]) for row in rows if row["key"].isupper() and row["raw"]
        }.items() <= codes.items()
        if len(rows) > len(codes):
            digits = "".join(row["binary"] for row in rows)
            assert packet.hex().startswith(int(digits, 2).to_bytes(len(digits) // 8, "big").hex())
        if "\npoint  axis" in example:
            agree_on_trail(reader, example, name, values, packet)
    for row in (row for rows in tables(text.split("\n## 9 ")[1])[:2] for row in rows):
        field = None if row["field"] == "none" else row["field"]
        assert reader.decode(bytes.fromhex(row["packet"]))[0] == (row["status"], field, int(row["offset"]))


def agree_on_trail(reader: Reader, example: str, name: str, values: dict, packet: bytes) -> None:
    """The bits of a trail taken apart are those of the packet, and its points lead to them and come out of them."""
    members = list(reader.trails[name].members)
    points = []
    for line in re.findall(r"^\d+ +(-?\d+, .*)$", example, re.MULTILINE):
        given, arrives = (
            [None if one == "none" else int(one) for one in side.split(", ")] for side in line.split("  ") if side
        )
        points.append(dict(zip(members, given, strict=True)))
        decoded = reader.decode(packet)[1][3][len(points) - 1]
        assert [decoded[member] for member in members] == arrives
    table = re.search(r"^(point  axis .*?)^```", example, re.MULTILINE | re.DOTALL)[1].splitlines()
    bits = "".join(line[table[0].index("bits") :] for line in table[1:]).replace(" ", "")
    start = sum(field["width"] for field in reader.layouts[name][1]) + reader.version_bits + reader.layout_bits
    assert f"{int.from_bytes(packet, 'big'):0{8 * len(packet)}b}"[start:].startswith(bits)
    if "\n..." not in example:
        scales = {member: scale for member, (scale, *_) in reader.trails[name].members.items()}
        degrees = [{key: None if one is None else one / scales[key] for key, one in point.items()} for point in points]
        assert reader.encode(name, values, degrees)[3] == packet


def test_a_good_packet_encodes_to_other_bytes_only_where_section_6_9_says_so() -> None:
    # On a coarser grid, or with a point half way round the globe from the anchor, to within half a cell.
    text, vectors = written(SCHEMAS["trails of every sort"])
    reader = Reader(text)
    found = [case for case in vectors["good"] if "decode_only" in case]
    assert found
    for case in found:
        trail, (_, fields) = reader.trails[case["layout"]], reader.layouts[case["layout"]]
        packet = bytes.fromhex(case["hex"])
        front = sum(field["width"] for field in fields) + reader.version_bits + reader.layout_bits
        bits = f"{int.from_bytes(packet, 'big'):0{8 * len(packet)}b}"[front:]
        coarsened = (
            "COARSENINGS" in trail.constant and bits[1 if bits[0] == "1" else 1 + trail.constant["COUNT_BITS"]] == "1"
        )
        anchor = reader.anchor(fields, case["raw"])
        wide = trail.groups(anchor, 0)[1]
        ways = [abs(point["longitude"] - anchor["longitude"]) for point in case["trail_base"]]
        assert coarsened or any(abs(way - 1_800_000_000) <= wide / 2 for way in ways), case["note"]


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(schema_texts())
def test_a_reader_of_the_text_alone_passes_every_vector_of_any_schema(text: str) -> None:
    agree(*written(text))


def test_a_position_of_one_bit_has_vectors_too() -> None:
    _, vectors = written("""
        name = "hut"
        version = 0
        [[layouts]]
        name = "half"
        id = 0
        fields = [{ kind = "latitude", bits = 1 }]
        """)
    assert {row["input"]["latitude"] for row in vectors["encode"]} >= {-90.0, 90.0}
