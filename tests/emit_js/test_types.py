"""The types beside the module, under TypeScript's strict checker; several versions in one module."""

from __future__ import annotations

import subprocess

import pytest

from packetcodec import Codec, PacketcodecError, PacketFault, Schema, compile_plan
from packetcodec.cli.app import run
from packetcodec.emit.js.writer import write_javascript
from packetcodec.starter import schema_text
from tests.support.conformance import TWO_TRAILS
from tests.support.js_material import seeded, to_decode
from tests.support.needs import tool

STARTER = Schema.parse(schema_text())
#: The next version of the starter schema: wider batteries, another check, another layout.
LATER = Schema.parse(
    schema_text()
    .replace("version = 1 ", "version = 2 ", 1)
    .replace('crc = "CRC-16/M17"', 'crc = "CRC-24/BLE"')
    .replace('name = "status"', 'name = "health"')
    .replace("resolution = 0.02", "resolution = 0.01")
    .replace("version = 1\nnote", "version = 2\nnote")
)

USE = """
import { decode, encode, FINGERPRINT, LAYOUTS, type Packet, type TrailPoint } from "./pasture.mjs";
const usual = { collar: 1, counter: 2, battery: 3.7, gate_open: true, time: 1782893560 };
const bytes: Uint8Array = encode("status", { ...usual, activity: "grazing" });
const packet = decode(Array.from(bytes));
if (packet.status === "ok" && packet.layout === "status") {
  const open: boolean = packet.values.gate_open;
  const code: number = packet.raw.activity;
  console.log(open, code, FINGERPRINT, LAYOUTS[0].fields[0].name);
  // @ts-expect-error: may be absent
  packet.values.activity.length;
  // @ts-expect-error: of another layout
  packet.values.fix_quality;
} else if (packet.status === "bad_check") console.log(packet.field, packet.offset);
// @ts-expect-error: no such fault
else if (packet.status === "bad_luck") console.log(packet);
export function every(given: Packet): number {
  switch (given.layout) {
    case "position": return given.values.fix_quality;
    case "track": return given.trail.length;
    case "status": return given.values.time;
    default: { const none: never = given; return none; }
  }
}
const point: TrailPoint = { latitude: 1, longitude: 2 };
encode("track", { collar: 1, counter: 2, battery: 3.7, fix_quality: 1 }, [point]);
// @ts-expect-error: no such choice
encode("status", { ...usual, activity: "flying" });
// @ts-expect-error: battery is missing
encode("position", { collar: 1, counter: 2, fix_quality: 0 });
"""

USE_BOTH = """
import { decode, encode } from "./pasture.mjs";
const usual = { collar: 1, counter: 2, battery: 3.7, gate_open: true, time: 1782893560 };
const packet = decode(encode("health", usual));
if (packet.status === "ok") {
  if (packet.version === 2 && packet.layout === "health") console.log(packet.values.gate_open);
  if (packet.version === 1 && packet.layout === "status") console.log(packet.values.gate_open);
  // @ts-expect-error: version 1 has no such layout
  if (packet.version === 1 && packet.layout === "health") console.log(packet);
}
encode("status", usual, [], 1);
// @ts-expect-error: not a layout of version 2
encode("status", usual);
"""


def check(folder, *files):
    options = ["--strict", "--noEmit", "--target", "es2022", "--module", "nodenext", "--allowJs", "--checkJs"]
    done = subprocess.run([tool("tsc"), *options, *files], cwd=folder, capture_output=True, text=True, check=False)
    assert (done.stdout, done.returncode) == ("", 0)


def write(folder, *plans):
    for name, text in write_javascript(*plans).items():
        (folder / name).write_text(text, encoding="utf-8")


@pytest.mark.slow
def test_types_and_module_hold_under_the_strict_checker(tmp_path):
    write(tmp_path, compile_plan(STARTER))
    write(tmp_path, compile_plan(TWO_TRAILS))
    (tmp_path / "use.mts").write_text(USE, encoding="utf-8")
    check(tmp_path, "use.mts", "pasture.mjs", "hut.mjs", "hut.d.mts")


@pytest.mark.slow
def test_two_versions_are_told_apart_by_their_types(tmp_path):
    write(tmp_path, compile_plan(LATER), compile_plan(STARTER))
    (tmp_path / "use.mts").write_text(USE_BOTH, encoding="utf-8")
    check(tmp_path, "use.mts", "pasture.mjs")


def test_a_module_of_two_versions_reads_both_and_writes_either(tmp_path):
    write(tmp_path, compile_plan(LATER), compile_plan(STARTER))
    rng, both = seeded(5), Codec([LATER, STARTER])
    packets = [data for schema in (LATER, STARTER) for data in to_decode(rng, Codec(schema), 60, whole=False)]
    packets.append(bytes([0x31, 1, 2, 3]))
    script = """
    import { decode, encode, toHex, SCHEMAS, VERSION } from "./pasture.mjs";
    for (const hex of process.argv[2].split(",")) {
      const packet = decode(Buffer.from(hex, "hex"));
      const again = packet.status === "ok" && packet.layout !== "track"
        ? toHex(encode(packet.layout, packet.values, [], packet.version)) : hex;
      console.log(packet.status, packet.version, packet.layout, again === hex);
    }
    console.log(VERSION, SCHEMAS.map((schema) => schema.version).join());
    try { encode("status", {}, [], 7); } catch (error) { console.log(error.message); }
    """
    (tmp_path / "use.mjs").write_text(script, encoding="utf-8")
    command = [tool("node"), "use.mjs", ",".join(data.hex() for data in packets)]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    *said, versions, refused = done.stdout.splitlines()
    assert (versions, refused) == ("2 2,1", "7 is not a version: one of 2, 1")
    seen = set()
    for data, line in zip(packets, said, strict=True):
        try:
            packet = both.decode(data)
            wanted = f"ok {packet.version} {packet.layout} true"
        except PacketFault as fault:
            wanted = f"{fault.status} undefined undefined true"
        assert line == wanted, data.hex()
        seen.add(wanted.split()[1])
    assert seen == {"1", "2", "undefined"}


def test_versions_that_cannot_be_told_apart_are_refused(tmp_path, monkeypatch, capfd):
    with pytest.raises(PacketcodecError, match="version 1 is given twice"):
        write_javascript(compile_plan(STARTER), compile_plan(STARTER))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "one.toml").write_text(schema_text(), encoding="utf-8")
    assert run(["emit", "js", "one.toml", "one.toml", "-o", "out"]) == 1
    assert "version 1 is given twice" in capfd.readouterr().err
    assert run(["emit", "js", "one.toml", "-o", "out", "--formatter"]) == 0
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["pasture.formatter.js"]


def test_bytes_come_as_an_array_a_buffer_or_a_typed_array_and_as_nothing_else(tmp_path):
    write(tmp_path, compile_plan(STARTER))
    script = """
    import { decode, encode, fromHex } from "./pasture.mjs";
    const bytes = fromHex("11072abad13d02afae8bcf480f2c");
    const given = [bytes, Array.from(bytes), Buffer.from(bytes),
      new Uint8ClampedArray(bytes), new Uint8Array([0, ...bytes]).subarray(1)];
    for (const item of given) console.log(decode(item).status);
    const wrong = ["11072a", null, undefined, 17, {}, { length: 2, 0: 17, 1: 7 }, [17, 256], [17, -1], [1.5], ["17"], [, 1],
      new Uint16Array(bytes), new Int8Array([-1]), bytes.buffer];
    for (const item of wrong) {
      try { console.log(decode(item).status); } catch (error) { if (!(error instanceof TypeError)) console.log(error); }
    }
    """
    (tmp_path / "use.mjs").write_text(script, encoding="utf-8")
    done = subprocess.run([tool("node"), "use.mjs"], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["ok"] * 5
