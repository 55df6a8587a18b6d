"""The line protocol around the emitted ES module, for Node.js.

Owns one rule: how values and degrees become codes and base units again, in the terms of the module alone.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "gate"
... id = 2
... fields = [{ kind = "identifier" }, { kind = "flag", name = "open" }]
... '''))
>>> harness_js(plan).splitlines()[1]
'import { decode, encode, fromHex, toHex, LAYOUTS } from "./pasture.mjs";'
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from packetcodec.wire import Plan


def harness_js(plan: Plan) -> str:
    """The line protocol around the emitted module of a plan."""
    return _JS.replace("@NAME@", plan.name)


_JS = """\
import { createInterface } from "node:readline";
import { decode, encode, fromHex, toHex, LAYOUTS } from "./@NAME@.mjs";

let held = "?";
const word = (number) => (number === null || number === undefined ? "-" : String(number));
const place = (value, scale) => (value === null || value === undefined ? null : Math.round(value * scale));

function told(packet) {
  const layout = LAYOUTS.find((item) => item.name === packet.layout);
  const raw = layout.fields.map((field) => (packet.values[field.name] === null ? "-" : packet.raw[field.name]));
  const coded = layout.trail && layout.trail.gapFirst;
  const points = packet.trail.map((point) => {
    const spot = [place(point.latitude, 1e7), place(point.longitude, 1e7), place(point.altitude, 100)];
    return [" |", ...spot.map(word), word(coded ? point.age : null)].join(" ");
  });
  return ["ok", layout.id, ...raw].join(" ") + points.join("");
}

function value(field, text) {
  if (text === "-") return null;
  const base = Number(text);
  if (field.type === "choice") return base in field.choices ? field.choices[base] : text;
  if (field.type === "flag") return base;
  return field.scale === 1 ? base + field.origin : base / field.scale;
}

function made(text) {
  const [head, ...groups] = text.split("|");
  const [id, ...bases] = head.trim().split(" ");
  const layout = LAYOUTS.find((item) => item.id === Number(id));
  const values = Object.fromEntries(layout.fields.map((field, index) => [field.name, value(field, bases[index])]));
  const trail = groups.map((group) => {
    const [latitude, longitude, altitude, age] = group.trim().split(" ").map((item) => (item === "-" ? null : Number(item)));
    const point = { latitude: latitude / 1e7, longitude: longitude / 1e7 };
    return { ...point, altitude: altitude === null ? null : altitude / 100, age };
  });
  return toHex(encode(layout.name, values, trail));
}

function answer(line) {
  const [verb] = line.split(" ", 1);
  const rest = line.slice(verb.length + 1);
  if (verb === "held") return held;
  if (verb === "encode_base") {
    try {
      return made(rest);
    } catch (fault) {
      if (fault instanceof RangeError) return "refused";
      throw fault;
    }
  }
  if (verb !== "decode") return "?";
  const packet = decode(rest === "-" ? new Uint8Array(0) : fromHex(rest));
  if (packet.status !== "ok") return packet.status;
  held = told(packet);
  return held;
}

for await (const line of createInterface({ input: process.stdin })) process.stdout.write(answer(line) + "\\n");
"""
