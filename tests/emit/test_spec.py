"""The written specification and its vectors: complete, deterministic, and enough for a stranger.

The expected figures come from outside the emitter: from the plan, from the codec, and from `reader`, which knows
only the text. What is kept in spec/ is compared byte by byte; write it anew with `packetcodec spec FILE -o spec`.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packetcodec import Codec, PacketFault, Schema, ValueFault, compile_plan
from packetcodec.codec.reference import ReferenceCodec
from packetcodec.emit import write_spec, write_vectors
from packetcodec.starter import schema_text
from tests.emit.reader import Reader, tables

SUM = re.compile(r"- \w+: .* / \d+ = ")  # of a worked example: its numbers are what they are
SPEC = Path(__file__).parents[2] / "spec"

ALL_KINDS = """
name = "herd"
version = 3
[header]
version_bits = 2
layout_bits = 0
[check]
width = 8
[[layouts]]
name = "all"
fields = [
  { kind = "time", period = 86400, resolution = 7 },
  { kind = "time", name = "since", epoch = 2024-02-29T12:00:00+02:00, bits = 30, optional = true },
  { kind = "choice", choices = ["up", "down"], optional = true },
  { kind = "choice", name = "wide", choices = ["a", "b", "c"], bits = 8 },
  { kind = "flag", optional = true },
  { kind = "number", name = "milk", unit = "l", minimum = -1.5, maximum = 40, bits = 9, policy = "refuse" },
  { kind = "number", name = "big", minimum = 0, maximum = 4294967295, resolution = 1 },
  { kind = "number", name = "low", minimum = -2147483648, maximum = 2147483647, resolution = 1 },
  { kind = "course", bits = 7, optional = true },
  { kind = "course", name = "drift", resolution = 7, policy = "refuse" },
  { kind = "counter", bits = 5, policy = "refuse" },
  { kind = "battery", unit = "percent", resolution = 3 },
  { kind = "speed", unit = "knot" },
]
"""
LONGITUDES = """
name = "strip"
version = 0
check = { crc = "none" }
[header]
version_bits = 8
layout_bits = 5
[[layouts]]
name = "narrow"
id = 31
fields = [{ kind = "longitude", minimum = 5.5, maximum = 10.75, bits = 17 }, { kind = "latitude", bits = 20 }]
[[layouts]]
name = "wrapped"
id = 1
fields = [{ kind = "longitude", bits = 23, policy = "wrap", optional = true }]
"""
REMARKS = """
name = "remarks"
version = 1
doc = "| a | b |\\n## 5 Check\\n```\\n{{ plan }}"
[[layouts]]
name = "one"
id = 1
doc = "## 4 Layouts\\n\\n### 4.1 Layout two, id 2\\n"
fields = [{ kind = "number", minimum = 0, maximum = 9, bits = 3, unit = "|\\n| x |", doc = "\\n## 6\\n|x|y|\\n" }]
[[history]]
version = 1
note = "\\n## 7 Encoding"
"""


def gate(check: str) -> str:
    return f"""
name = "gate"
version = 5
check = {{ {check} }}
[[layouts]]
name = "open"
id = 3
fields = [{{ kind = "identifier", bits = 11 }}, {{ kind = "battery", resolution = 0.05 }}]
"""


SCHEMAS = {
    "the starter schema": schema_text(),
    "all kinds, no layout id, a chosen CRC-8": ALL_KINDS,
    "a header of 13 bits, no check, a narrow longitude": LONGITUDES,
    "a reflected CRC, bound": gate('crc = "CRC-16/DNP", bind_schema = true'),
    "a reflected CRC of 32 bits": gate('crc = "CRC-32/ISO-HDLC", bind_schema = true'),
    "a CRC of 24 bits": gate('crc = "CRC-24/OPENPGP"'),
    "a reflected CRC-8": gate('crc = "CRC-8/MAXIM-DOW", bind_schema = true'),
    "parameters without a name": gate("width = 16, polynomial = 0x1021, initial = 7, reflected = true, xor_out = 0x0f0f"),
    "remarks that look like a specification": REMARKS,
    "the modem's own polynomial": gate('crc = "CRC-16/XMODEM"'),
}


def written(text: str) -> tuple[str, dict]:
    plan = compile_plan(Schema.parse(text))
    stem = f"{plan.name}-v{plan.version}"
    return write_spec(plan)[f"{stem}.md"], json.loads(write_vectors(plan)[f"{stem}.vectors.json"])


def same(found: object, wanted: object) -> bool:
    """Equal, and of the same type: 1, 1.0 and True are three different values here."""
    return found == wanted and repr(found) == repr(wanted)


@pytest.fixture(params=SCHEMAS.values(), ids=SCHEMAS.keys())
def schema(request: pytest.FixtureRequest) -> str:
    return request.param


def test_what_is_kept_in_spec_is_what_the_starter_schema_gives() -> None:
    plan = compile_plan(Schema.parse(schema_text()))
    for name, text in {**write_spec(plan), **write_vectors(plan)}.items():
        kept = (SPEC / name).read_bytes()
        assert kept == text.encode(), (
            f"spec/{name} is out of date: packetcodec spec packetcodec/starter/pasture.toml -o spec"
        )


def test_every_run_in_every_place_writes_the_same_bytes(tmp_path: Path) -> None:
    program = (
        "import sys; from packetcodec import Schema, compile_plan; from packetcodec.emit import *\n"
        "plan = compile_plan(Schema.parse(sys.stdin.buffer.read().decode()))\n"
        "text = ''.join({**write_spec(plan), **write_vectors(plan)}.values())\n"
        "sys.stdout.buffer.write(text.encode())"
    )
    root = str(SPEC.parent)
    other = {"PYTHONHASHSEED": "4711", "TZ": "Asia/Kathmandu", "PYTHONPATH": root, "LC_ALL": "C"}
    run = [sys.executable, "-c", program]
    done = subprocess.run(
        run, input=schema_text().encode(), env=os.environ | other, cwd=tmp_path, capture_output=True, check=True
    )
    kept = b"".join((SPEC / name).read_bytes() for name in ("pasture-v1.md", "pasture-v1.vectors.json"))
    assert done.stdout == kept
    assert root.encode() not in kept
    assert str(tmp_path).encode() not in kept


def test_the_text_carries_the_fingerprint_all_sections_layouts_and_fields(schema: str) -> None:
    text, vectors = written(schema)
    plan = compile_plan(Schema.parse(schema))
    assert f"Fingerprint: {plan.fingerprint}\n" in text
    assert (vectors["schema"], vectors["version"], vectors["fingerprint"]) == (
        plan.name,
        plan.version,
        plan.fingerprint,
    )
    assert re.findall(r"^## (\d+) ", text, re.MULTILINE) == [str(number) for number in range(1, 13)]
    for number, layout in enumerate(plan.layouts, 1):
        section = re.search(
            rf"^### 4\.{number} Layout {layout.name}, id {layout.id}$(.*?)^##", text, re.MULTILINE | re.DOTALL
        )
        assert section is not None
        wire = tables(section[1])[0]
        assert [row["field"] for row in wire] == [field.name for field in layout.fields]
        assert [row["beyond"] for row in wire] == [field.policy for field in layout.fields]


def test_lines_of_prose_fit_a_terminal_of_120_columns(schema: str) -> None:
    text, _ = written(schema)
    prose = re.sub(r"```.*?```|^\|.*?$", "", text, flags=re.MULTILINE | re.DOTALL)
    assert [line for line in prose.splitlines() if len(line) > 120 and not SUM.match(line)] == []


def test_the_bit_diagram_draws_every_bit_where_the_table_says(schema: str) -> None:
    text, _ = written(schema)
    plan = compile_plan(Schema.parse(schema))
    diagrams = re.findall(r"^### 4\.\d+ .*?```\n(.*?)```", text, re.MULTILINE | re.DOTALL)
    for layout, drawing in zip(plan.layouts, diagrams, strict=True):
        drawn: list[str] = []
        codes: list[int | None] = []
        for number, line in enumerate(re.findall(r"^ *\d+ +\d+ +\|.*$", drawing, re.MULTILINE)):
            byte, first, row = re.fullmatch(r" *(\d+) +(\d+) +\|(.*)\|", line).groups()
            assert (int(byte), int(first)) == (number, 8 * number)
            for piece in row.split("|"):
                bits = (len(piece) + 1) // 8
                key, *rest = piece.split()
                drawn += [key] * bits
                numbers = re.fullmatch(r"(\d+)(?:\.\.(\d+))?", rest[-1]) if rest else None
                high = int(numbers[1]) if numbers else None
                assert numbers is None or high - int(numbers[2] or high) + 1 == bits
                codes += [None if high is None else high - index for index in range(bits)]
        rows = tables(re.search(rf"^### 4\.\d+ Layout {layout.name},.*?^\|.*?\n\n", text, re.MULTILINE | re.DOTALL)[0])[0]
        wanted = ["v"] * plan.version_bits + ["i"] * plan.layout_bits
        for row, field in zip(rows, layout.fields, strict=True):
            assert len(wanted) == field.offset
            wanted += [row["key"]] * field.bits
            for index in range(field.bits):
                assert codes[field.offset + index] in (None, field.bits - 1 - index)
        wanted += ["0"] * layout.padding + ["x"] * layout.check_bytes * 8
        assert drawn == wanted


def test_every_fault_that_the_plan_can_give_has_a_bad_packet(schema: str) -> None:
    text, vectors = written(schema)
    plan = compile_plan(Schema.parse(schema))
    found = {(bad["status"], bad["field"]) for bad in vectors["bad"]}
    wanted = {("too_short", None), ("too_long", None), ("unknown_version", None)}
    if len(plan.layouts) < 1 << plan.layout_bits:
        wanted.add(("unknown_layout", None))
    if plan.crc:
        wanted.add(("bad_check", None))
    for layout in plan.layouts:
        if layout.padding:
            wanted.add(("bad_padding", None))
        wanted |= {("out_of_range", field.name) for field in layout.fields if not field.full}
    assert found == wanted
    shown = {(row["status"], row["field"].replace("-", "") or None) for row in tables(text.split("\n## 9 ")[1])[0]}
    assert shown == wanted


def test_every_border_of_every_field_is_among_the_vectors(schema: str) -> None:
    _, vectors = written(schema)
    for layout in compile_plan(Schema.parse(schema)).layouts:
        for field in layout.fields:
            good = {case["raw"][field.name] for case in vectors["good"] if case["layout"] == layout.name}
            assert {0, field.last} | ({field.absent} - {None}) <= good
            bases = {case["base"][field.name] for case in vectors["encode"] if case["layout"] == layout.name}
            assert {field.low, field.end if field.policy == "refuse" else field.high} <= bases
            if field.policy != "refuse":
                assert {field.low - 1, field.high + 1} <= bases


@pytest.mark.parametrize("make", [Codec, ReferenceCodec])
def test_both_codecs_agree_with_every_vector(schema: str, make: type[Codec | ReferenceCodec]) -> None:
    _, vectors = written(schema)
    codec = make(Schema.parse(schema))
    for case in vectors["good"]:
        packet = codec.decode(bytes.fromhex(case["hex"]))
        assert (packet.layout, packet.raw) == (case["layout"], case["raw"])
        assert same(packet.values, case["values"]), case["note"]
        assert codec.encode(case["layout"], case["values"]).hex() == case["hex"], case["note"]
    for case in vectors["encode"]:
        assert codec.encode(case["layout"], case["input"]).hex() == case["hex"], case["note"]
        assert codec.quantize(case["layout"], case["input"]) == tuple(case["raw"].values()), case["note"]
    for case in vectors["refused"]:
        with pytest.raises(ValueFault) as refusal:
            codec.encode(case["layout"], case["input"])
        assert (refusal.value.layout, refusal.value.field) == (case["layout"], case["field"]), case["note"]
    for case in vectors["bad"]:
        with pytest.raises(PacketFault) as fault:
            codec.decode(bytes.fromhex(case["hex"]))
        found = (fault.value.status, fault.value.field, fault.value.offset)
        assert found == (case["status"], case["field"], case["offset"]), case["note"]


def agree(text: str, vectors: dict) -> None:
    """A reader of the text alone passes every vector."""
    reader = Reader(text)
    for case in vectors["good"]:
        status, packet = reader.decode(bytes.fromhex(case["hex"]))
        assert status == ("ok", None, None), case["note"]
        assert same(packet, (case["layout"], case["raw"], case["values"])), case["note"]
        assert reader.encode(case["layout"], case["values"])[2].hex() == case["hex"], case["note"]
    for case in vectors["encode"]:
        bases, raws, data = reader.encode(case["layout"], case["input"])
        assert (bases, raws, data.hex()) == (case["base"], case["raw"], case["hex"]), case["note"]
    for case in vectors["refused"]:
        assert reader.encode(case["layout"], case["input"]) == case["field"], case["note"]
    for case in vectors["bad"]:
        found = reader.decode(bytes.fromhex(case["hex"]))
        assert found == ((case["status"], case["field"], case["offset"]), None), case["note"]


def test_a_reader_of_the_text_alone_passes_every_vector(schema: str) -> None:
    agree(*written(schema))


def test_a_reader_of_the_text_alone_agrees_with_the_examples_and_bad_packets_in_it(schema: str) -> None:
    text, _ = written(schema)
    reader = Reader(text)
    examples = text.split("\n## 8 ")[1].split("\n## 9 ")[0]
    packets = re.findall(r"^packet +([0-9a-f]+)$", examples, re.MULTILINE)
    assert len(packets) >= len(reader.layouts)
    shown = zip(packets, tables(examples), strict=True)
    for packet, rows in shown:
        status, (_, raws, _) = reader.decode(bytes.fromhex(packet))
        assert status[0] == "ok"
        assert {row["field"]: int(row["raw"]) for row in rows if row["key"].isupper()} == raws
        digits = "".join(row["binary"] for row in rows)
        assert bytes.fromhex(packet).hex().startswith(int(digits, 2).to_bytes(len(digits) // 8, "big").hex())
    for row in (row for rows in tables(text.split("\n## 9 ")[1])[:2] for row in rows):
        data = bytes.fromhex(row["packet"].replace("(no byte)", ""))
        field = None if row["field"] == "-" else row["field"]
        assert reader.decode(data)[0] == (row["status"], field, int(row["offset"]))


def test_the_published_check_values_stand_in_the_text() -> None:
    # Check values as the public catalogue lists them, read in a copy of it.
    for name, value in (("CRC-16/DNP", "0xea82"), ("CRC-32/ISO-HDLC", "0xcbf43926"), ("CRC-24/OPENPGP", "0x21cf02")):
        text, _ = written(gate(f'crc = "{name}"'))
        parameters = {row["parameter"]: row["value"] for row in tables(text.split("\n## 5 ")[1])[0]}
        assert (parameters["name"], parameters["check value"], parameters["the same from start"]) == (
            name,
            value,
            value,
        )


def test_the_airtime_of_a_known_packet_stands_in_the_text() -> None:
    # 12 bytes at SF7 and SF12, 125 kHz, 4/5, preamble 8: computed from the reference drivers.
    text, _ = written(schema_text())
    rows = {(row["bytes"], row["spreading factor"]): row for row in tables(text.split("\n## 10 ")[1])[0]}
    assert rows["12", "SF7"]["airtime ms"] == "41.216"
    assert rows["12", "SF12"]["airtime ms"] == "1155.072"
    assert rows["12", "SF12"]["shortest average interval s"] == "115.6"


def test_another_channel_changes_the_airtime_and_nothing_else() -> None:
    plan = compile_plan(Schema.parse(schema_text()))
    usual = write_spec(plan)["pasture-v1.md"]
    other = write_spec(plan, region_name="US915", frequency_hz=915_000_000, bandwidth_hz=500_000)["pasture-v1.md"]
    assert usual.split("\n## 10 ")[0] == other.split("\n## 10 ")[0]
    assert usual.split("\n## 11 ")[1] == other.split("\n## 11 ")[1]
    assert "915 MHz" in other


def test_the_text_says_that_limits_are_no_permission_and_positions_are_in_clear(schema: str) -> None:
    text, _ = written(schema)
    cautions = " ".join(text.split("\n## 11 ")[1].split())
    for words in (
        "arithmetic, not permission",
        "not a life-saving device",
        "anyone in range can read the positions",
        "not forgery",
    ):
        assert words in cautions


def test_the_modems_own_polynomial_is_said_to_add_nothing() -> None:
    text, _ = written(gate('crc = "CRC-16/XMODEM"'))
    assert "the two together are worth 16 check bits" in text


FIELDS = (
    '{ kind = "latitude", resolution_m = 11, optional = true }',
    '{ kind = "latitude", minimum = -12.5, maximum = 71.3, bits = 15, policy = "clip" }',
    '{ kind = "longitude", bits = 19 }',
    '{ kind = "longitude", resolution = 0.0000001, policy = "wrap" }',
    '{ kind = "altitude", bits = 9, optional = true }',
    '{ kind = "altitude", minimum = -120, maximum = -3.3, resolution = 0.7, policy = "refuse" }',
    '{ kind = "battery", unit = "percent", bits = 4, optional = true }',
    '{ kind = "fix_quality" }',
    '{ kind = "satellites", bits = 2, policy = "refuse" }',
    '{ kind = "hdop", bits = 5, optional = true }',
    '{ kind = "speed", unit = "km/h", resolution = 0.31 }',
    '{ kind = "course", bits = 3 }',
    '{ kind = "time", epoch = 2020-01-01T00:00:00Z, optional = true }',
    '{ kind = "time", period = 604800, bits = 11, policy = "refuse" }',
    '{ kind = "identifier", bits = 32 }',
    '{ kind = "counter", bits = 1 }',
    '{ kind = "counter", maximum = 99, optional = true }',
    '{ kind = "flag" }',
    '{ kind = "choice", choices = ["sun", "rain", "snow"] }',
    '{ kind = "number", minimum = -1, maximum = 1, bits = 13, unit = "g", optional = true }',
    '{ kind = "number", minimum = 1000, maximum = 1006, resolution = 1.7 }',
)
CHECKS = (
    'crc = "none"',
    "width = 8",
    "width = 24",
    'crc = "CRC-16/MODBUS", bind_schema = true',
    'crc = "CRC-32/ISCSI"',
)


@st.composite
def schemas(draw: st.DrawFn) -> str:
    layout_bits = draw(st.integers(0, 8))
    ids = draw(st.lists(st.integers(0, 2**layout_bits - 1), min_size=1, max_size=3, unique=True))
    version_bits = draw(st.integers(1, 8))
    lines = ['name = "any"', f"version = {draw(st.integers(0, 2**version_bits - 1))}"]
    lines.append(f"header = {{ version_bits = {version_bits}, layout_bits = {layout_bits} }}")
    lines.append(f"check = {{ {draw(st.sampled_from(CHECKS))} }}")
    for ident in ids:
        fields = draw(st.lists(st.sampled_from(FIELDS), min_size=1, max_size=30))
        named = [field.replace("kind", f'name = "f{number}", kind', 1) for number, field in enumerate(fields)]
        lines += [
            "[[layouts]]",
            f'name = "l{ident}"',
            f"id = {ident}",
            "fields = [",
            *(f"  {field}," for field in named),
            "]",
        ]
    return "\n".join(lines)


@settings(max_examples=15, deadline=None)
@given(schemas())
def test_a_reader_of_the_text_alone_passes_every_vector_of_any_schema(text: str) -> None:
    agree(*written(text))
    test_the_bit_diagram_draws_every_bit_where_the_table_says(text)
    test_every_fault_that_the_plan_can_give_has_a_bad_packet(text)
