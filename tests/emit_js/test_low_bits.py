"""Values of which only the low bits are sent: the module beside the codec, with references near, far, wrong and missing."""

from __future__ import annotations

import json
import subprocess
from math import inf

import pytest

from packetcodec import Codec, PacketFault, Schema, ValueFault, compile_plan
from packetcodec.emit.js.writer import write_javascript
from packetcodec.fuzz import python_target
from packetcodec.fuzz.compiled import compiled_target
from packetcodec.fuzz.protocol import decode_question, references_of
from tests.emit_js.test_formatter import asked
from tests.emit_js.test_types import check, write
from tests.support.js_material import seeded, values_of
from tests.support.low_bits import CODEC, SCHEMA, SEAM, VALUES
from tests.support.needs import tool

ASK = """
import { readFileSync } from "node:fs";
import { decode, encode, fromHex, toHex } from "./NAME.mjs";
for (const [layout, values, hex, reference] of JSON.parse(readFileSync(0, "utf8"))) {
  const made = layout ? toHex(encode(layout, values)) : "";
  let said;
  try {
    const packet = decode(fromHex(hex), reference);
    said = packet.status === "ok" ? { values: packet.values, raw: packet.raw } : packet;
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    said = "refused";
  }
  console.log(JSON.stringify([made, said]));
}
"""


def wanted(codec, data, reference):
    try:
        packet = codec.decode(data, reference=reference)
    except PacketFault as fault:
        return {"status": fault.status, "field": fault.field, "offset": fault.offset}
    except ValueFault:
        return "refused"
    return {"values": dict(packet.values), "raw": dict(packet.raw)}


def ask(folder, name, questions):
    (folder / "ask.mjs").write_text(ASK.replace("NAME", name), encoding="utf-8")
    done = subprocess.run(
        [tool("node"), "ask.mjs"], cwd=folder, input=json.dumps(questions), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def compare(folder, schema, rng, count):
    """Ask about packets with references of every sort; the answers that were met."""
    codec = Codec(schema)
    write(folder, compile_plan(schema))
    questions, answers, met = [], [], set()
    for _ in range(count):
        layout = rng.choice(codec.plan.layouts)
        values = values_of(rng, layout)
        try:
            data = codec.encode(layout.name, values)
        except ValueFault:
            continue
        reference = {
            field.name: _near(rng, field, values[field.name]) for _, field, _ in layout.low_fields if rng.random() < 0.98
        }
        if rng.random() < 0.1:
            data = bytes([*data[:-1], data[-1] ^ 1])
        questions.append([layout.name, values, data.hex(), reference])
        answers.append([codec.encode(layout.name, values).hex(), wanted(codec, data, reference)])
        said = answers[-1][1]
        met.add(said if isinstance(said, str) else said.get("status", "ok"))
    assert ask(folder, schema.name, questions) == answers
    return met


@pytest.mark.parametrize("schema", [SCHEMA, SEAM], ids=["pasture", "seam"])
def test_packets_and_references_of_every_sort_are_read_as_by_the_codec(tmp_path, schema):
    assert compare(tmp_path, schema, seeded(7), 600) >= {"ok", "bad_check"}


def any_schema(rng):
    """A schema of fields of every kind that can be sent by its low bits, of any width."""
    fields = []
    kinds = ["latitude", "longitude", "altitude", "time", "number", "number", "latitude"]
    if rng.random() < 0.5:
        kinds[1] = "counter"  # one circle to a layout
    for number, kind in enumerate(rng.sample(kinds, rng.randint(1, 5))):
        bits, more = rng.randint(12, 31), ""
        if kind == "time":
            more = ", epoch = 2026-01-01T00:00:00Z"
        elif kind == "number":
            more = f", minimum = {rng.randint(-900, 0)}, maximum = {rng.randint(1, 9000)}"
        optional = rng.choice(["true", "false"]) if kind != "counter" else "false"
        width = min(bits, 17) if kind == "altitude" else bits
        size = "resolution = 0.01" if kind == "number" else f"bits = {width}"
        low = rng.randint(2, 8)
        fields.append(f'{{ kind = "{kind}", name = "f{number}", {size}, low_bits = {low}, optional = {optional}{more} }}')
    crc = rng.choice(["CRC-16/M17", "CRC-24/BLE", "CRC-32/ISO-HDLC", "CRC-16/KERMIT"])
    return Schema.parse(f"""
        name = "any"
        version = 3
        check = {{ crc = "{crc}", bind_schema = {rng.choice(["true", "false"])} }}
        [[layouts]]
        name = "one"
        id = 1
        fields = [{", ".join(fields)}]
        """)


@pytest.mark.slow
def test_random_schemas_are_read_and_written_as_by_the_codec(tmp_path):
    rng, met = seeded(9), set()
    for _ in range(30):
        met |= compare(tmp_path, any_schema(rng), rng, 60)
    assert met >= {"ok", "bad_check", "refused"}


@pytest.mark.slow
def test_the_harness_answers_questions_with_references_as_the_codec():
    rng = seeded(13)
    for schema in (SCHEMA, SEAM, *(any_schema(rng) for _ in range(4))):
        codec, questions = Codec(schema), []
        for _ in range(150):
            layout = rng.choice(codec.plan.layouts)
            values = values_of(rng, layout)
            try:
                data = codec.encode(layout.name, values)
            except ValueFault:
                continue
            bases: dict[str, int] = {}
            for _, field, _ in layout.low_fields:
                near = _near(rng, field, values[field.name])
                if abs(near) < 1e9:
                    bases[field.name] = min(max(round(near * field.scale) - field.origin, -(2**31)), 2**31 - 1)
            questions.append(decode_question(data, references_of(codec.plan, rng.choice([bases, bases, None]))))
        target = compiled_target("js", schema, timeout=30)
        said = target.ask(questions).lines
        target.close()
        assert said == python_target(schema).ask(questions).lines


def _near(rng, field, value):
    """A value near another, at the borders of the reach, or anywhere, beyond the range too."""
    low = field.low_bits
    step = field.step / field.scale
    if value is None or rng.random() < 0.1:
        return rng.uniform(2 * field.low, 2 * field.high) / field.scale
    off = rng.choice([0, 1, low.reach, low.reach + 1, low.modulus, rng.randint(0, low.reach)])
    near = value + rng.choice([-1, 1]) * off * step
    return round(near) if field.kind.counting and rng.random() < 0.95 else near


def test_a_reference_that_is_none_is_refused_or_left_out(tmp_path):
    write(tmp_path, compile_plan(SCHEMA))
    data = CODEC.encode("position", VALUES["position"])
    given = [None, {}, VALUES["position"], {**VALUES["position"], "latitude": None}, {"cow": 1}, {"counter": "7"},
             {**VALUES["position"], "collar": "none"}]  # fmt: skip
    said = [answer for _, answer in ask(tmp_path, "pasture", [["", {}, data.hex(), reference] for reference in given])]
    assert said == [wanted(CODEC, data, reference) for reference in given]
    assert [answer if isinstance(answer, str) else answer.get("status", "ok") for answer in said] == [
        "bad_check", "bad_check", "ok", "bad_check", "refused", "refused", "ok",
    ]  # fmt: skip
    with pytest.raises(ValueFault):
        CODEC.decode(data, reference={**VALUES["position"], "counter": inf})


USE = """
import { decode, encode } from "./pasture.mjs";
const bytes = encode("position", { collar: 7, counter: 70042, battery: 3.7, latitude: 46.5, longitude: 9.8 });
let last = decode(bytes, { counter: 70000, latitude: 46.4, longitude: 9.9, altitude: null });
if (last.status === "ok" && last.layout === "position") last = decode(bytes, last.values);
// @ts-expect-error: not sent by its low bits
decode(bytes, { battery: 3.7 });
"""


@pytest.mark.slow
def test_its_types_name_what_a_reference_holds(tmp_path):
    write(tmp_path, compile_plan(SCHEMA))
    (tmp_path / "use.mts").write_text(USE, encoding="utf-8")
    check(tmp_path, "use.mts", "pasture.mjs")


def test_a_formatter_is_told_where_the_trackers_are(tmp_path):
    (text,) = write_javascript(compile_plan(SCHEMA), formatter=True).values()
    assert "  latitude: null,\n" in text
    data = CODEC.encode("position", VALUES["position"])
    question = ("decodeUplink", {"bytes": list(data)})
    (answer,) = asked(tmp_path, [question], SCHEMA)
    assert answer["errors"] == [f"bad_check (bit {8 * len(data) - 16})"]
    lines = [f'(REFERENCE["{name}"] = {value}, 0)' for name, value in VALUES["position"].items()]
    told = asked(tmp_path, [*[(line + " || Object", {}) for line in lines], question], SCHEMA)
    assert told[-1]["data"]["values"] == wanted(CODEC, data, VALUES["position"])["values"]
