"""The formatter for a LoRaWAN network server: ECMAScript 5, run in an engine that holds nothing else.

Input and output are those of the payload codec API (LoRa Alliance TS013, read as network servers document it).
"""

from __future__ import annotations

import json
import subprocess

import pytest

from packetcodec import Codec, PacketFault, Schema, compile_plan
from packetcodec.emit.js.writer import write_javascript
from packetcodec.starter import schema_text
from packetcodec.vectors import write_vectors
from tests.emit_js.test_types import LATER
from tests.support.conformance import TWO_TRAILS
from tests.support.needs import tool

STARTER = Schema.parse(schema_text())

#: Runs a script in a context without the globals of Node.js or of ECMAScript 6, and asks its functions.
BARE = """
import { readFileSync } from "node:fs";
import vm from "node:vm";
const context = vm.createContext(Object.create(null));
vm.runInContext(`
  ["Uint8Array", "ArrayBuffer", "DataView", "Map", "Set", "WeakMap", "WeakSet", "Symbol", "Promise", "Proxy", "Reflect",
   "BigInt", "console", "WebAssembly", "Atomics", "SharedArrayBuffer", "Intl", "globalThis",
  ].forEach(function (name) { delete this[name]; }, this);
  [[Array.prototype, ["find", "findIndex", "includes", "fill", "flat", "flatMap", "entries", "keys", "values", "at"]],
   [Array, ["from", "of"]], [Object, ["assign", "entries", "values", "fromEntries", "is"]],
   [String.prototype, ["padStart", "padEnd", "repeat", "startsWith", "endsWith", "includes"]],
   [Number, ["isFinite", "isInteger", "isNaN", "isSafeInteger"]], [Math, ["trunc", "sign", "clz32", "fround", "log2"]],
  ].forEach(function (row) { row[1].forEach(function (name) { delete row[0][name]; }); });
`, context);
vm.runInContext(readFileSync(process.argv[2], "utf8"), context);
for (const line of readFileSync(0, "utf8").trim().split("\\n")) {
  console.log(vm.runInContext(`JSON.stringify(${line})`, context));
}
"""


def asked(tmp_path, questions, *schemas):
    """What the functions of the script give: questions are pairs of a function and its input."""
    (text,) = write_javascript(*map(compile_plan, schemas), formatter=True).values()
    (tmp_path / "formatter.js").write_text(text, encoding="utf-8")
    (tmp_path / "bare.mjs").write_text(BARE, encoding="utf-8")
    lines = "".join(f"{name}({json.dumps(given)})\n" for name, given in questions)
    command = [tool("node"), "bare.mjs", "formatter.js"]
    done = subprocess.run(command, cwd=tmp_path, input=lines, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.mark.slow
@pytest.mark.parametrize("schemas", [[STARTER], [TWO_TRAILS], [LATER, STARTER]], ids=["starter", "trails", "two versions"])
def test_it_is_ecmascript_5(tmp_path, schemas):
    (text,) = write_javascript(*map(compile_plan, schemas), formatter=True).values()
    (tmp_path / "formatter.js").write_text(text, encoding="utf-8")
    for more, good in (("", True), ("const x = 1;", False)):  # that the parser would notice
        (tmp_path / "formatter.js").write_text(text + more, encoding="utf-8")
        done = subprocess.run([tool("acorn"), "--ecma5", "--silent", "formatter.js"], cwd=tmp_path, check=False,
                              capture_output=True)  # fmt: skip
        assert (done.returncode == 0) is good


@pytest.mark.slow
@pytest.mark.parametrize("schema", [STARTER, TWO_TRAILS], ids=["starter", "trails"])
def test_the_vectors_come_out_of_it(tmp_path, schema):
    (text,) = write_vectors(compile_plan(schema)).values()
    vectors = json.loads(text)
    packets = [*vectors["good"], *vectors["bad"]]
    questions = [(name, {"bytes": list(bytes.fromhex(row["hex"])), "fPort": 1}) for row in packets
                 for name in ("decodeUplink", "decodeDownlink")]  # fmt: skip
    for row in (*vectors["encode"], *vectors["refused"]):
        data = {"layout": row["layout"], "values": row["input"], "trail": row.get("input_trail", [])}
        questions.append(("encodeDownlink", {"data": data}))
    answers = asked(tmp_path, questions, schema)
    for row in packets:
        up, down = answers.pop(0), answers.pop(0)
        assert up == down
        if "status" in row:
            assert (up["errors"][0].split(":")[0].split()[0], "data" in up) == (row["status"], False)
        else:
            assert (up["errors"], up["warnings"]) == ([], [])
            assert (up["data"]["layout"], up["data"]["version"]) == (row["layout"], vectors["version"])
            assert up["data"]["values"] == row["values"]
            wanted = [{axis: point.get(axis) for axis in ("latitude", "longitude", "altitude", "age")}
                      for point in row.get("trail", [])]  # fmt: skip
            assert up["data"]["trail"] == wanted
    for row in vectors["encode"]:
        assert answers.pop(0) == {"bytes": list(bytes.fromhex(row["hex"])), "fPort": 1, "errors": [], "warnings": []}
    for row in vectors["refused"]:
        (error,) = answers.pop(0)["errors"]
        assert error.startswith(row["field"] or "")
    assert not answers


def test_what_came_up_goes_down_as_the_same_bytes(tmp_path):
    codec = Codec([LATER, STARTER])
    values = {"collar": 7, "counter": 42, "battery": 3.71, "fix_quality": 1, "latitude": 46.5, "longitude": 9.8}
    sent = [Codec(schema).encode("track", values, [(46.5, 9.81 + n / 1e4, None, None) for n in range(4)])
            for schema in (LATER, STARTER)]  # fmt: skip
    up = asked(tmp_path, [("decodeUplink", {"bytes": list(data)}) for data in sent], LATER, STARTER)
    assert [answer["data"]["version"] for answer in up] == [2, 1]
    for answer in up:
        for point in answer["data"]["trail"]:
            point["altitude"] = None
    down = asked(tmp_path, [("encodeDownlink", {"data": {**answer["data"], "fPort": 9}}) for answer in up], LATER, STARTER)
    for data, answer in zip(sent, down, strict=True):
        assert answer["fPort"] == 9
        again = codec.decode(bytes(answer["bytes"]))
        assert (again.values, again.trail) == (codec.decode(data).values, codec.decode(data).trail)


@pytest.mark.slow
@pytest.mark.parametrize("given", [{}, {"bytes": "11"}, {"bytes": [1.5]}, {"bytes": None}, None])
def test_what_is_no_packet_is_an_error_and_no_exception(tmp_path, given):
    (answer,) = asked(tmp_path, [("decodeUplink", given)], STARTER)
    assert answer["errors"]
    assert "data" not in answer
    (answer,) = asked(tmp_path, [("encodeDownlink", given)], STARTER)
    assert answer["errors"]
    assert "bytes" not in answer


def test_a_field_out_of_range_is_named(tmp_path):
    schema = Schema.parse(schema_text().replace('crc = "CRC-16/M17"', 'crc = "none"').replace("bind_schema = true", ""))
    codec = Codec(schema)
    values = {"collar": 7, "counter": 42, "battery": 3.71, "fix_quality": 1, "latitude": 46.5, "longitude": 9.8}
    data = bytearray(codec.encode("position", values))
    data[3:6] = b"\xff\xff\xfc"
    with pytest.raises(PacketFault) as fault:
        codec.decode(bytes(data))
    (answer,) = asked(tmp_path, [("decodeUplink", {"bytes": list(data)})], schema)
    assert answer["errors"] == [f"out_of_range: {fault.value.field} (bit {fault.value.offset})"]
