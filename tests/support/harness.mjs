// Runs emitted modules, named as arguments: a JSON line [module, bytes as hex] or [module, layout, values, trail] in, a JSON line
// out. Numbers that JSON does not know come as {"$number": "NaN"}.
import { createInterface } from "node:readline";
import { pathToFileURL } from "node:url";

const modules = await Promise.all(process.argv.slice(2).map((path) => import(pathToFileURL(path).href)));
const revive = (_, value) => (value !== null && typeof value === "object" && "$number" in value ? Number(value.$number) : value);
const replace = (_, value) => (Object.is(value, -0) || (typeof value === "number" && !Number.isFinite(value)) ? `number ${value}` : value);

function answer([number, what, values, trail]) {
  const { decode, encode, fromHex, toHex } = modules[number];
  if (values === undefined) {
    const bytes = fromHex(what);
    const before = toHex(bytes);
    const packet = decode(bytes);
    if (toHex(bytes) !== before) return ["changed its argument"];
    if (packet.status !== "ok") return [packet.status, packet.field, packet.offset];
    const points = packet.trail.map(({ latitude, longitude, altitude, age }) => [latitude, longitude, altitude, age]);
    return ["ok", packet.layout, packet.version, Object.entries(packet.values), Object.values(packet.raw), points];
  }
  try {
    return [toHex(encode(what, values, trail))];
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    return ["refused", error.message];
  }
}

const said = [];
for await (const line of createInterface({ input: process.stdin })) {
  let words;
  try {
    words = answer(JSON.parse(line, revive));
  } catch (error) {
    words = ["threw", `${error.stack}`];
  }
  said.push(JSON.stringify(words, replace));
}
process.stdout.write(`${said.join("\n")}\n`);
