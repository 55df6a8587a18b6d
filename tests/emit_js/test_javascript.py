"""The emitted module against the codec and the reference: the same fault and bit, or the same codes, values and bytes."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from packetcodec import FAULTS, Codec, Schema, TrailPoint, compile_plan
from packetcodec.cli.app import run
from packetcodec.crc import names
from packetcodec.emit.js.writer import write_javascript
from packetcodec.frozen import replace
from packetcodec.reference.codec import ReferenceCodec
from packetcodec.starter import schema_text
from packetcodec.vectors import write_vectors
from packetcodec.wire import anchor_of, write_trail
from packetcodec.wire.packing import assemble
from packetcodec.wire.trail.numbers import Bits
from tests.support.js_material import seeded, to_decode, to_encode, trail_schema
from tests.support.needs import tool
from tests.support.node import Node, outcome, plain, typed
from tests.support.random_schemas import any_packets, any_values, schemas

STARTER = Schema.parse(schema_text())
GOLDEN = Path(__file__).parents[2] / "spec" / "pasture.mjs"

WITHOUT_CHECK = Schema.parse("""
name = "hut"
version = 5
check = { crc = "none" }
[header]
version_bits = 3
layout_bits = 0
[[layouts]]
name = "class"
fields = [
  { kind = "flag", name = "constructor" },
  { kind = "identifier", name = "new", bits = 32, optional = true },
  { kind = "longitude", bits = 32, policy = "wrap" },
  { kind = "course", resolution = 0.01 },
  { kind = "time", period = 4294967295 },
  { kind = "counter", bits = 5, policy = "refuse" },
  { kind = "choice", name = "default", choices = ["function", "null", "to_string"], optional = true },
]
""")


def compare(schemas: list[Schema], jobs: list[tuple[int, Any]]) -> set[str]:
    """Run jobs by all ways and compare; the statuses that were met."""
    codecs = [Codec(schema) for schema in schemas]
    references = [None if any(x.trail for x in schema.layouts) else ReferenceCodec(schema) for schema in schemas]
    met = set()
    for (number, job), said in zip(jobs, Node(*schemas).run(jobs), strict=True):
        if isinstance(job, bytes):
            wanted = outcome(codecs[number].decode, job)
            again = references[number] and outcome(references[number].decode, job)
        else:
            wanted = outcome(codecs[number].encode, *job)
            again = references[number] and not job[2] and outcome(references[number].encode, *job[:2])
        assert said == wanted, (number, job)
        assert not again or again == wanted, (number, job)
        met.add(wanted[0])
    return met


# --- golden ---------------------------------------------------------------------------------------------------------


def test_the_module_of_the_starter_schema_is_the_one_in_the_repository():
    # To renew it: packetcodec emit js packetcodec/starter/pasture.toml -o spec
    written = write_javascript(compile_plan(STARTER))
    assert written == {name: (GOLDEN.parent / name).read_text(encoding="utf-8") for name in written}


def test_the_command_writes_it(tmp_path):
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    assert run(["emit", "js", str(tmp_path / "pasture.toml"), "-o", str(tmp_path / "out")]) == 0
    assert (tmp_path / "out" / "pasture.mjs").read_text(encoding="utf-8") == GOLDEN.read_text(encoding="utf-8")


def test_a_remark_cannot_end_the_comment_that_it_stands_in():
    wild = "*/ throw 1; /* @returns {@link x}\n * @typedef {never} Values"
    text = schema_text().replace("Sent now and then: how the collar and its wearer are doing.", "REMARK")
    layouts = tuple(replace(layout, doc=wild) for layout in Schema.parse(text).layouts)
    fields = tuple(replace(field, doc=wild) for field in layouts[0].fields)
    schema = replace(STARTER, doc=wild, layouts=(replace(layouts[0], fields=fields), *layouts[1:]))
    data = Codec(STARTER).encode("position", {"collar": 1, "counter": 2, "battery": 3, "fix_quality": 0})
    (said,) = Node(schema).run([(0, data)])
    assert said == outcome(Codec(STARTER).decode, data)


def test_a_module_says_whose_it_is_and_carries_the_fingerprint_and_no_date():
    files = {**write_javascript(compile_plan(STARTER)), **write_javascript(compile_plan(STARTER), formatter=True)}
    for text in files.values():
        assert "This file is yours, free of any condition." in text
        assert max(map(len, text.splitlines())) <= 120
    for text in [text for name, text in files.items() if "receiver" not in name]:
        assert compile_plan(STARTER).fingerprint in text
        assert all(f'"{fault}"' in text for fault in FAULTS)
        assert max(map(len, text.splitlines())) <= 120
    assert "nothing here is secret" in files["pasture.mjs"]


def test_the_example_at_its_head_runs_and_gives_the_packet_that_it_says():
    lines = GOLDEN.read_text(encoding="utf-8").split(" */")[0].splitlines()
    code = "\n".join(line.removeprefix(" *     ") for line in lines if line.startswith(" *     "))
    code = code.replace("./pasture.mjs", GOLDEN.as_uri())
    said = code.split('// "')[1].split('"')[0]
    code = code.replace("toHex(bytes);", "console.log(toHex(bytes));").replace("fromHex, ", "")
    done = subprocess.run([tool("node"), "--input-type=module", "-e", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == [said, "7"]


# --- vectors --------------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("schema", [STARTER, WITHOUT_CHECK, trail_schema(seeded(4))], ids=["starter", "bare", "trail"])
def test_the_vectors_come_out_as_they_say(schema):
    (text,) = write_vectors(compile_plan(schema)).values()
    vectors = json.loads(text)
    jobs = [(0, bytes.fromhex(vector["hex"])) for vector in (*vectors["good"], *vectors["bad"])]
    jobs += [
        (0, (vector["layout"], vector["input"], vector.get("input_trail", [])))
        for vector in (*vectors["encode"], *vectors["refused"])
    ]
    said = Node(schema).run(jobs)
    for vector in vectors["good"]:
        status, layout, version, values, codes, points = said.pop(0)
        assert (status, layout, version) == ("ok", vector["layout"], vectors["version"]), vector
        assert codes == tuple(vector["raw"].values()), vector
        assert values == tuple((name, typed(value)) for name, value in vector["values"].items()), vector
        wanted = [[point.get(name) for name in TrailPoint._fields] for point in vector.get("trail", [])]
        assert points == tuple(tuple(map(typed, point)) for point in wanted), vector
    for vector in vectors["bad"]:
        assert said.pop(0) == (vector["status"], vector["field"], vector["offset"]), vector
    for vector in vectors["encode"]:
        assert said.pop(0) == ("packet", vector["hex"]), vector
    for vector in vectors["refused"]:
        assert said.pop(0) == ("refused", vector["field"]), vector
    assert not said


# --- packets and values ---------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_packets_whole_and_broken_decode_alike():
    rng = seeded(1)
    jobs = [(number, data) for number, s in enumerate((STARTER, WITHOUT_CHECK)) for data in to_decode(rng, Codec(s), 400)]
    assert compare([STARTER, WITHOUT_CHECK], jobs) == {"ok", *FAULTS}


@pytest.mark.slow
def test_values_encode_alike():
    rng = seeded(2)
    jobs = [(number, job) for number, s in enumerate((STARTER, WITHOUT_CHECK)) for job in to_encode(rng, Codec(s), 1500)]
    assert compare([STARTER, WITHOUT_CHECK], jobs) == {"packet", "refused"}


@pytest.mark.slow
def test_trails_of_every_sort_and_motion_are_written_and_read_alike():
    rng = seeded(3)
    given = [trail_schema(rng) for _ in range(25)]
    jobs: list[tuple[int, Any]] = []
    for number, schema in enumerate(given):
        codec = Codec(schema)
        jobs += [(number, job) for job in to_encode(rng, codec, 40)]
        jobs += [(number, data) for data in to_decode(rng, codec, 40)]
    assert compare(given, jobs) >= {"packet", "ok", "bad_trail", "out_of_range", "too_short", "too_long"}


def test_a_full_trail_that_counts_its_points_the_long_way_is_refused():
    codec = Codec(STARTER)
    layout = codec.plan.layout("track")
    values = {"collar": 1, "counter": 2, "latitude": 46.5, "longitude": 9.9, "battery": 3, "fix_quality": 1}
    codes = codec.quantize("track", values)
    anchor = anchor_of(layout, codes)
    bits, kept = write_trail(layout.trail, anchor, [anchor] * 10, room=100)
    assert kept == layout.trail.points == 10
    assert bits.number >> bits.length - 1 == 1
    long = Bits()
    long.put(10, 1 + layout.trail.count_bits)
    long.put(bits.number & (1 << bits.length - 1) - 1, bits.length - 1)
    packets = [assemble(codec.plan, layout, codes, written) for written in (bits, long)]
    assert compare([STARTER], [(0, packet) for packet in packets]) == {"ok", "bad_trail"}


@pytest.mark.slow
def test_all_checks_of_the_catalogue_are_computed_alike():
    given, jobs = [], []
    for number, name in enumerate(name for width in (8, 16, 24, 32) for name in names(width)):
        bound = "true" if number % 2 else "false"
        given.append(
            Schema.parse(f"""
            name = "pasture"
            version = 1
            check = {{ crc = "{name}", bind_schema = {bound} }}
            [[layouts]]
            name = "gate"
            id = 2
            fields = [{{ kind = "identifier", bits = 32 }}]
            """)
        )
        data = Codec(given[-1]).encode("gate", {"identifier": 0xDEADBEEF})
        jobs += [(number, data), (number, data[:-1] + bytes([data[-1] ^ 1])), (number, ("gate", {"identifier": number}, []))]
    assert compare(given, jobs) == {"ok", "bad_check", "packet"}


# Not shrunk: every try is a run of Node.js, and what fails is printed with its number and job already.
@pytest.mark.slow
@settings(deadline=None, max_examples=10, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
@given(st.data())
def test_random_schemas_decode_and_encode_alike(data):
    tool("node")
    given = [data.draw(schemas()) for _ in range(4)]
    jobs: list[tuple[int, Any]] = []
    for number, schema in enumerate(given):
        codec = Codec(schema)
        for _ in range(8):
            jobs.append((number, data.draw(any_packets(codec, schema))))
            layout = data.draw(st.sampled_from(schema.layouts))
            values = {name: plain(value) for name, value in data.draw(any_values(layout)).items()}
            jobs.append((number, (layout.name, values, [])))
        rng = seeded(data.draw(st.integers(0, 2**32)))
        jobs += [(number, packet) for packet in to_decode(rng, codec, 15, whole=False)]
        jobs += [(number, job) for job in to_encode(rng, codec, 20)]
    compare(given, jobs)


# --- the edge -------------------------------------------------------------------------------------------------------

#: A value of the longitude or the course of the bare schema, beyond what 32 or 53 bits hold.
EDGES = [
    0.5e-7, 1.5e-7, 2.5e-7, -0.5e-7, -1.5e-7, 4.9999999e-8, -4.9999999e-8, 180.0, -180.0, 179.99999995, 359.999, 360,
    -360.01, 540.0, 1e9, -1e9, 900719925.4740993, 1e15 + 0.3, -1e16, 1e22, 1e300, -1e300, 1e302, 5e-324, -0.0, 0, 123456789,
]  # fmt: skip


def test_numbers_beyond_53_bits_wrap_and_halves_go_to_the_even_one_as_in_python():
    usual = {"constructor": True, "new": 1, "longitude": 9.9, "course": 1.5, "time": 7, "counter": 31, "default": "null"}
    jobs = [(0, ("class", {**usual, name: value}, [])) for value in EDGES for name in ("longitude", "course", "time")]
    jobs += [(0, ("class", {**usual, "new": value}, [])) for value in (2**32 - 2, 2**32 - 1, 2**32, 2**53, -1, 0.5, 4e9)]
    assert compare([WITHOUT_CHECK], jobs) == {"packet", "refused"}


NO_NUMBERS = [float("nan"), float("inf"), -float("inf"), "3.7", "", True, [], {}, [3.7]]


def test_what_is_no_number_is_refused_everywhere():
    codec = Codec(STARTER)
    everyday = codec.decode(codec.encode("position", {"collar": 1, "counter": 2, "battery": 3, "fix_quality": 0})).values
    jobs = [(0, ("position", {**everyday, name: value}, [])) for name in everyday for value in NO_NUMBERS]
    assert compare([STARTER], jobs) == {"refused"}


NO_POSITIONS = [
    {"latitude": 46.5}, {"latitude": 46.5, "longitude": 181}, {"latitude": 90.00000001, "longitude": 0},
    {"latitude": 46.5, "longitude": 9.9, "constructor": 1},
    {"latitude": 46.5, "longitude": "9"}, {"latitude": 46.5, "longitude": 9.9, "age": -1},
    {"lat": 46.5, "longitude": 9.9},
    {"latitude": 46.5, "longitude": 9.9, "altitude": float("nan")}, {"latitude": 46.5, "longitude": 9.9, "age": 2.0**31},
]  # fmt: skip


def test_points_that_are_no_position_are_refused():
    values = {"collar": 1, "counter": 2, "latitude": 46.5, "longitude": 9.9, "battery": 3, "fix_quality": 0}
    good = TrailPoint(46.5, 9.9, None, None)
    jobs = [(0, ("position", values, [good])), *((0, ("track", values, [good, point])) for point in NO_POSITIONS)]
    assert compare([STARTER], jobs) == {"refused"}


def test_a_refusal_names_layout_field_bound_and_value():
    script = f"""
    import {{ encode, decode, fromHex }} from "{GOLDEN.as_uri()}";
    const say = (way) => {{ try {{ way(); }} catch (error) {{ console.log(error.name + " " + error.message); }} }};
    const usual = {{ collar: 1, counter: 2, battery: 3, fix_quality: 0 }};
    say(() => encode("position", {{ ...usual, latitude: 91.5 }}));
    say(() => encode("position", {{ ...usual, collar: 1.5 }}));
    say(() => encode("position", {{ ...usual, cow: 1 }}));
    say(() => encode("position", {{ collar: 1, counter: 2, fix_quality: 0 }}));
    say(() => encode("gate", usual));
    say(() => encode("position", usual, [{{ latitude: 1, longitude: 1 }}]));
    say(() => fromHex("11 0g"));
    say(() => fromHex("110"));
    say(() => decode("11"));
    """
    done = subprocess.run([tool("node"), "--input-type=module", "-e", script], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == [
        'RangeError latitude: 91.5 is outside -90..90 degrees (layout "position")',
        'RangeError collar: 1.5 is not a whole number (layout "position")',
        'RangeError cow: no such field (layout "position")',
        'RangeError battery: missing (layout "position")',
        'RangeError "gate" is not a layout: one of position, track, status',
        'RangeError trail: this layout carries none (layout "position")',
        'RangeError not hex: "g" at digit 4',
        "RangeError not whole bytes: 3 hex digits",
        "TypeError decode: a packet is a Uint8Array or an array of bytes 0..255",
    ]
