/**
 * pasture, version 1: an encoder and a decoder of its packets. Fingerprint 7985ffc5412132c8.
 *
 * Collars on a summer pasture report where they are to a receiver in the hut.
 *
 * Written by packetcodec from the schema alone. This file is yours, free of any condition.
 * One ES module without dependency: browsers, Node.js, embedded engines.
 *
 *     import { decode, encode, fromHex, toHex } from "./pasture.mjs";
 *
 *     const bytes = encode("position", {
 *       collar: 7,
 *       counter: 42,
 *       latitude: 46.51234,
 *       longitude: 9.87654,
 *       altitude: 2104.0,
 *       battery: 3.71,
 *       fix_quality: 1,
 *     });
 *     toHex(bytes); // "11072abad13d02afae8bcf480f2c"
 *
 *     const packet = decode(bytes);
 *     if (packet.status === "ok" && packet.layout === "position") console.log(packet.values.collar);
 *
 * Whoever receives a packet can read it: nothing here is secret. No life-saving device may depend on it.
 */

export const NAME = "pasture";
export const VERSION = 1;
export const FINGERPRINT = "7985ffc5412132c8";

/**
 * What layout "position" carries: Sent at every interval. Without a fix, the position is absent and fix_quality is 0.
 *
 * @typedef {object} position_values
 * @property {number} collar 0..255; bits 8..15
 * @property {number} counter 0..255; beyond: wrapped; bits 16..23
 * @property {number | null} latitude -90..90 degrees in steps of 0.0000223; bits 24..46
 * @property {number | null} longitude -180..180 degrees in steps of 0.0000224; bits 47..70
 * @property {number | null} altitude -500..9000 m in steps of 2.33; beyond: clipped; bits 71..82
 * @property {number} battery 2.5..4.5 V in steps of 0.02; beyond: clipped; bits 83..89
 * @property {number} fix_quality 0..7; bits 90..92
 */

/**
 * What layout "track" carries: The position and the last ten points before it: a packet that is lost leaves no hole.
 *
 * @typedef {object} track_values
 * @property {number} collar 0..255; bits 8..15
 * @property {number} counter 0..255; beyond: wrapped; bits 16..23
 * @property {number | null} latitude -90..90 degrees in steps of 0.0000223; bits 24..46
 * @property {number | null} longitude -180..180 degrees in steps of 0.0000224; bits 47..70
 * @property {number | null} altitude -500..9000 m in steps of 2.33; beyond: clipped; bits 71..82
 * @property {number} battery 2.5..4.5 V in steps of 0.02; beyond: clipped; bits 83..89
 * @property {number} fix_quality 0..7; bits 90..92
 */

/**
 * What layout "status" carries: Sent now and then: how the collar and its wearer are doing.
 *
 * @typedef {object} status_values
 * @property {number} collar 0..255; bits 8..15
 * @property {number} counter 0..255; beyond: wrapped; bits 16..23
 * @property {"resting" | "grazing" | "walking" | "alarm" | null} activity one of these names; bits 24..26
 * @property {number | null} temperature -40..60 °C in steps of 0.5; beyond: clipped; bits 27..34
 * @property {number | null} satellites 0..30; beyond: clipped; bits 35..39
 * @property {number | null} hdop 0..12.4 in steps of 0.2; beyond: clipped; bits 40..45
 * @property {number} battery 2.5..4.5 V in steps of 0.02; beyond: clipped; bits 46..52
 * @property {boolean} gate_open yes or no; bit 53; the collar saw the gate's beacon open
 * @property {number} time 1767225600..1830140100 s in steps of 60, Unix time; bits 54..73
 */

/**
 * Layout name to the values that it carries.
 *
 * @typedef {object} Values
 * @property {position_values} position
 * @property {track_values} track
 * @property {status_values} status
 */

/**
 * What `encode` takes: a value that may be absent may also be left out.
 *
 * @template T
 * @typedef {{ [K in keyof T as null extends T[K] ? never : K]: T[K] } &
 *   { [K in keyof T as null extends T[K] ? K : never]?: T[K] }} Input
 */

/**
 * An earlier position.
 *
 * @typedef {object} TrailPoint
 * @property {number} latitude degrees
 * @property {number} longitude degrees
 * @property {number | null} [altitude] metres; null where it is not known or not carried
 * @property {number | null} [age] seconds before the packet's own position; null where it is not known
 */

/**
 * A good packet: its values, its raw codes, the points of its trail (newest first; none where the layout has no trail).
 *
 * @template {keyof Values} L
 * @typedef {{ status: "ok", layout: L, version: number, values: Values[L], raw: Record<keyof Values[L], number>,
 *   trail: TrailPoint[] }} PacketOf
 */

/** @typedef {{ [L in keyof Values]: PacketOf<L> }[keyof Values]} Packet */

/**
 * A packet that is refused: the first fault in the order of this list, the field that is out of range or null, and the
 * first bit that the fault is about, counted from the packet's first bit.
 *
 * @typedef {object} Fault
 * @property {"too_short" | "too_long" | "unknown_version" | "unknown_layout" |
 *   "bad_check" | "bad_padding" | "out_of_range" | "bad_trail"} status
 * @property {string | null} field
 * @property {number} offset
 */

/**
 * One field on the wire. Range and step are in base units, of which `scale` make one unit of the value.
 *
 * @typedef {object} Field
 * @property {string} name
 * @property {"number" | "whole" | "flag" | "choice"} type "whole" takes no fractions
 * @property {number} bits width
 * @property {number} low lower end of the range
 * @property {number} high upper end of the range
 * @property {number} step base units per raw code
 * @property {number} maxCode last raw code that stands for a value
 * @property {number | null} absentCode raw code of a value that is not known
 * @property {number | null} modulus circumference, where the end of the range is its beginning
 * @property {number} scale
 * @property {number} origin base 0 as a Unix time, where the field is a time
 * @property {"clip" | "refuse" | "wrap"} policy what becomes of a value beyond the range
 * @property {string} unit
 * @property {readonly string[]} choices
 */

/**
 * The trail of a layout: most points, cells (1e-7 degree, centimetres), starts of the coding, seconds between points.
 *
 * @typedef {object} Trail
 * @property {readonly [string, string, string | null]} anchor fields of latitude, longitude and altitude it counts from
 * @property {number} points
 * @property {number} countBits
 * @property {number} step
 * @property {number} initialScale
 * @property {number} scaleRate
 * @property {number} altitudeStep 0 for a trail without altitude
 * @property {number} altitudeInitialScale
 * @property {number} altitudeScaleRate
 * @property {number} spacing 0 where it is no constant
 * @property {string | null} spacingField
 * @property {number} intervalSeed above 0 where the trail codes the seconds itself
 * @property {number} coarsenings most doublings of the cells in a packet that would get too long
 */

/**
 * One kind of packet: its bits before padding or trail, its least and most bytes.
 *
 * @typedef {object} Layout
 * @property {keyof Values} name
 * @property {number} id
 * @property {number} bits
 * @property {number} least
 * @property {number} most
 * @property {readonly Field[]} fields
 * @property {Trail | null} trail
 */

/** @type {Field} */
const FIELD = {
  name: "", type: "number", policy: "clip", scale: 1, origin: 0, unit: "",
  bits: 0, low: 0, high: 0, step: 1, maxCode: 0, absentCode: null, modulus: null, choices: [],
};

/**
 * A table that nobody can change: all of the module works from it.
 *
 * @template T
 * @param {T} table
 * @returns {T}
 */
function frozen(table) {
  if (typeof table === "object" && table !== null) Object.values(Object.freeze(table)).forEach(frozen);
  return table;
}

/** @type {readonly Layout[]} */
export const LAYOUTS = frozen([
  {
    name: "position", id: 1, bits: 93, least: 14, most: 14,
    fields: [
      {
        ...FIELD, name: "collar", type: "whole", policy: "refuse",
        bits: 8, high: 255,
        maxCode: 255,
      },
      {
        ...FIELD, name: "counter", type: "whole", policy: "wrap",
        bits: 8, high: 256, modulus: 256,
        maxCode: 255,
      },
      {
        ...FIELD, name: "latitude", type: "number", policy: "refuse", scale: 10000000, unit: "°",
        bits: 23, low: -900000000, high: 900000000, step: 223,
        maxCode: 8071749, absentCode: 8388607,
      },
      {
        ...FIELD, name: "longitude", type: "number", policy: "refuse", scale: 10000000, unit: "°",
        bits: 24, low: -1800000000, high: 1800000000, step: 224, modulus: 3600000000,
        maxCode: 16071428, absentCode: 16777215,
      },
      {
        ...FIELD, name: "altitude", type: "number", policy: "clip", scale: 100, unit: "m",
        bits: 12, low: -50000, high: 900000, step: 233,
        maxCode: 4077, absentCode: 4095,
      },
      {
        ...FIELD, name: "battery", type: "number", policy: "clip", scale: 1000, unit: "V",
        bits: 7, low: 2500, high: 4500, step: 20,
        maxCode: 100,
      },
      {
        ...FIELD, name: "fix_quality", type: "whole", policy: "refuse",
        bits: 3, high: 7,
        maxCode: 7,
      },
    ],
    trail: null,
  },
  {
    name: "track", id: 2, bits: 93, least: 14, most: 32,
    fields: [
      {
        ...FIELD, name: "collar", type: "whole", policy: "refuse",
        bits: 8, high: 255,
        maxCode: 255,
      },
      {
        ...FIELD, name: "counter", type: "whole", policy: "wrap",
        bits: 8, high: 256, modulus: 256,
        maxCode: 255,
      },
      {
        ...FIELD, name: "latitude", type: "number", policy: "refuse", scale: 10000000, unit: "°",
        bits: 23, low: -900000000, high: 900000000, step: 223,
        maxCode: 8071749, absentCode: 8388607,
      },
      {
        ...FIELD, name: "longitude", type: "number", policy: "refuse", scale: 10000000, unit: "°",
        bits: 24, low: -1800000000, high: 1800000000, step: 224, modulus: 3600000000,
        maxCode: 16071428, absentCode: 16777215,
      },
      {
        ...FIELD, name: "altitude", type: "number", policy: "clip", scale: 100, unit: "m",
        bits: 12, low: -50000, high: 900000, step: 233,
        maxCode: 4077, absentCode: 4095,
      },
      {
        ...FIELD, name: "battery", type: "number", policy: "clip", scale: 1000, unit: "V",
        bits: 7, low: 2500, high: 4500, step: 20,
        maxCode: 100,
      },
      {
        ...FIELD, name: "fix_quality", type: "whole", policy: "refuse",
        bits: 3, high: 7,
        maxCode: 7,
      },
    ],
    trail: {
      anchor: ["latitude", "longitude", null],
      points: 10, countBits: 4, step: 223, initialScale: 6, scaleRate: 1,
      altitudeStep: 0, altitudeInitialScale: 1, altitudeScaleRate: 1,
      spacing: 30, spacingField: null, intervalSeed: 0, coarsenings: 0,
    },
  },
  {
    name: "status", id: 3, bits: 74, least: 12, most: 12,
    fields: [
      {
        ...FIELD, name: "collar", type: "whole", policy: "refuse",
        bits: 8, high: 255,
        maxCode: 255,
      },
      {
        ...FIELD, name: "counter", type: "whole", policy: "wrap",
        bits: 8, high: 256, modulus: 256,
        maxCode: 255,
      },
      {
        ...FIELD, name: "activity", type: "choice", policy: "refuse",
        bits: 3, high: 3,
        maxCode: 3, absentCode: 7,
        choices: [
          "resting",
          "grazing",
          "walking",
          "alarm",
        ],
      },
      {
        ...FIELD, name: "temperature", type: "number", policy: "clip", scale: 10, unit: "°C",
        bits: 8, low: -400, high: 600, step: 5,
        maxCode: 200, absentCode: 255,
      },
      {
        ...FIELD, name: "satellites", type: "whole", policy: "clip",
        bits: 5, high: 30,
        maxCode: 30, absentCode: 31,
      },
      {
        ...FIELD, name: "hdop", type: "number", policy: "clip", scale: 100,
        bits: 6, high: 1240, step: 20,
        maxCode: 62, absentCode: 63,
      },
      {
        ...FIELD, name: "battery", type: "number", policy: "clip", scale: 1000, unit: "V",
        bits: 7, low: 2500, high: 4500, step: 20,
        maxCode: 100,
      },
      {
        ...FIELD, name: "gate_open", type: "flag", policy: "refuse",
        bits: 1, high: 1,
        maxCode: 1,
      },
      {
        ...FIELD, name: "time", type: "number", policy: "refuse", origin: 1767225600, unit: "s",
        bits: 20, high: 62914500, step: 60,
        maxCode: 1048575,
      },
    ],
    trail: null,
  },
]);

const VERSION_BITS = 4;
const LAYOUT_BITS = 4;
const CHECK_BYTES = 2;

/**
 * What a packet says. Never throws on the content of a packet.
 *
 * @param {Uint8Array} bytes the whole packet
 * @returns {Packet | Fault}
 */
export function decode(bytes) {
  if (bytes.BYTES_PER_ELEMENT !== 1) throw new TypeError("decode: a packet is a Uint8Array");
  const { length } = bytes;
  if (length * 8 < VERSION_BITS + LAYOUT_BITS) return fault("too_short", 0);
  if (bitsAt(bytes, 0, VERSION_BITS) !== VERSION) return fault("unknown_version", 0);
  const id = bitsAt(bytes, VERSION_BITS, LAYOUT_BITS);
  const layout = LAYOUTS.find((item) => item.id === id);
  if (!layout) return fault("unknown_layout", VERSION_BITS);
  if (length < layout.least) return fault("too_short", length * 8);
  if (length > layout.most) return fault("too_long", layout.most * 8);
  const end = (length - CHECK_BYTES) * 8;
  const check = checkOf(bytes.subarray(0, end / 8));
  if (check.some((byte, index) => byte !== bytes[end / 8 + index])) return fault("bad_check", end);
  if (!layout.trail && bitsAt(bytes, layout.bits, end - layout.bits)) return fault("bad_padding", layout.bits);
  /** @type {Record<string, number>} */
  const raw = {};
  /** @type {Record<string, number | string | boolean | null>} */
  const values = {};
  let at = VERSION_BITS + LAYOUT_BITS;
  for (const field of layout.fields) {
    const code = bitsAt(bytes, at, field.bits);
    if (code > field.maxCode && code !== field.absentCode) return fault("out_of_range", at, field.name);
    raw[field.name] = code;
    values[field.name] = toValue(field, code);
    at += field.bits;
  }
  const trail = layout.trail ? readTrail(layout, layout.trail, raw, bytes, end) : [];
  if (!trail) return fault("bad_trail", layout.bits);
  return /** @type {any} */ ({ status: "ok", layout: layout.name, version: VERSION, values, raw, trail });
}

/**
 * The packet of a layout's values.
 *
 * @template {keyof Values} L
 * @param {L} layout name of the layout
 * @param {Input<Values[L]>} values field name to value
 * @param {readonly TrailPoint[]} [trail] earlier positions, newest first; as many are sent as the packet holds
 * @returns {Uint8Array}
 * @throws {RangeError} a value is missing, no number, or beyond a range that is not clipped: field, value, bound
 */
export function encode(layout, values, trail = []) {
  const plan = LAYOUTS.find((item) => item.name === layout);
  if (!plan) {
    const names = LAYOUTS.map((item) => item.name).join(", ");
    throw new RangeError(`${shown(layout)} is not a layout: one of ${names}`);
  }
  /** @type {Record<string, unknown>} */
  const given = values;
  for (const name of Object.keys(given)) {
    if (!plan.fields.some((field) => field.name === name)) throw refusal(plan, name, "no such field");
  }
  /** @type {number[]} */
  const bits = [];
  put(bits, VERSION, VERSION_BITS);
  put(bits, plan.id, LAYOUT_BITS);
  /** @type {Record<string, number>} */
  const raw = {};
  for (const field of plan.fields) {
    raw[field.name] = toCode(plan, field, given);
    put(bits, raw[field.name], field.bits);
  }
  if (plan.trail) writeTrail(plan, plan.trail, raw, trail, bits);
  else if (trail.length) throw refusal(plan, "trail", "this layout carries none");
  const end = Math.ceil(bits.length / 8);
  const bytes = new Uint8Array(end + CHECK_BYTES);
  bits.forEach((bit, index) => (bytes[index >> 3] |= bit << (7 - (index & 7))));
  bytes.set(checkOf(bytes.subarray(0, end)), end);
  return bytes;
}

/**
 * Bytes from hex digits, upper or lower case; white space is left out.
 *
 * @param {string} text
 * @returns {Uint8Array}
 * @throws {RangeError} something else than a hex digit, or half a byte
 */
export function fromHex(text) {
  const digits = text.replace(/\s+/g, "");
  const wrong = digits.search(/[^0-9A-Fa-f]/);
  if (wrong >= 0) throw new RangeError(`not hex: ${shown(digits[wrong])} at digit ${wrong + 1}`);
  if (digits.length % 2) throw new RangeError(`not whole bytes: ${digits.length} hex digits`);
  return Uint8Array.from(digits.match(/../g) || [], (pair) => parseInt(pair, 16));
}

/**
 * Bytes as lower-case hex digits.
 *
 * @param {Uint8Array} bytes
 * @returns {string}
 */
export function toHex(bytes) {
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// From here on, nothing is exported. Codes of up to 32 bits and bases beyond them are plain numbers, exact to 2 ** 53;
// bit operators, which work on 32 bits with a sign, are kept to what fits them.

/** @type {(status: Fault["status"], offset: number, field?: string | null) => Fault} */
const fault = (status, offset, field = null) => ({ status, field, offset });

/** @type {(layout: Layout, field: string, words: string) => RangeError} */
const refusal = (layout, field, words) => new RangeError(`${field}: ${words} (layout "${layout.name}")`);

/** @type {(given: object, name: string) => boolean} */
const hasOwn = (given, name) => Object.prototype.hasOwnProperty.call(given, name);

/** @type {(value: unknown) => string} */
function shown(value) {
  if (typeof value === "string") return JSON.stringify(value.length > 60 ? `${value.slice(0, 57)}...` : value);
  return value !== null && /^(object|function)$/.test(typeof value) ? `${typeof value}` : String(value);
}

/** @type {(bytes: Uint8Array, first: number, width: number) => number} */
function bitsAt(bytes, first, width) {
  let code = 0;
  for (let bit = first; bit < first + width; bit += 1) code = code * 2 + ((bytes[bit >> 3] >> (7 - (bit & 7))) & 1);
  return code;
}

/** @type {(bits: number[], code: number, width: number) => void} */
function put(bits, code, width) {
  for (let place = width - 1; place >= 0; place -= 1) bits.push(Math.floor(code / 2 ** place) % 2);
}

/** The remainder of floor division, 0 .. b - 1.  @type {(a: number, b: number) => number} */
const mod = (a, b) => ((a % b) + b) % b;

/** The nearest whole number, the even one of two equally near.  @type {(x: number) => number} */
function round(x) {
  const below = Math.floor(x);
  const rest = x - below;
  return rest > 0.5 || (rest === 0.5 && below % 2 !== 0) ? below + 1 : below;
}

/** The base of a raw code in use.  @type {(field: Field, code: number) => number} */
const toBase = (field, code) => Math.min(field.low + code * field.step, field.high);

/** @type {(field: Field, code: number) => number | string | boolean | null} */
function toValue(field, code) {
  if (code === field.absentCode) return null;
  if (field.type === "choice") return field.choices[code];
  if (field.type === "flag") return code === 1;
  return (toBase(field, code) + field.origin) / field.scale;
}

/** @type {(layout: Layout, field: Field, values: Record<string, unknown>) => number} */
function toCode(layout, field, values) {
  const { name, low, step, modulus } = field;
  const value = hasOwn(values, name) ? values[name] : undefined;
  if (value === undefined || value === null) {
    if (field.absentCode !== null) return field.absentCode;
    throw refusal(layout, name, value === null ? "null, but the field is not optional" : "missing");
  }
  if (field.type === "choice") {
    const code = field.choices.indexOf(/** @type {string} */ (value));
    if (code < 0) throw refusal(layout, name, `${shown(value)} is not one of ${field.choices.join(", ")}`);
    return code;
  }
  if (field.type === "flag" && typeof value === "boolean") return value ? 1 : 0;
  if (typeof value !== "number") throw refusal(layout, name, `${shown(value)} is not a number`);
  if (!Number.isFinite(value)) throw refusal(layout, name, `${value} is not a finite number`);
  const whole = field.type !== "number";
  if (whole && !Number.isInteger(value)) throw refusal(layout, name, `${value} is not a whole number`);
  // On a circle of whole numbers the end of the range is its beginning again, and no value.
  const end = modulus && field.scale === 1 ? field.high - 1 : field.high;
  let base = round(value * field.scale) - field.origin;
  if (field.policy === "wrap" && modulus && Number.isFinite(base)) {
    base = low + mod((base % modulus) - low, modulus);
  } else if (base < low || base > end) {
    if (field.policy !== "clip" || !Number.isFinite(base)) {
      const bounds = [low, end].map((bound) => (bound + field.origin) / field.scale).join("..");
      throw refusal(layout, name, `${value} is outside ${bounds} ${field.unit.replace("°", "degrees")}`.trim());
    }
    base = base < low ? low : field.high;
  } else if (modulus && base === field.high) {
    base = low;
  }
  const code = Math.floor((base - low + Math.floor(step / 2)) / step);
  return modulus && code > field.maxCode ? 0 : code;
}

/**
 * The check of some bytes: CRC-16/M17, started from the schema's fingerprint; as it stands in the packet.
 *
 * @type {(bytes: Uint8Array) => number[]}
 */
function checkOf(bytes) {
  let state = 0xf3e1;
  for (const byte of bytes) {
    state ^= byte << 8;
    for (let bit = 0; bit < 8; bit += 1) state = (state << 1) ^ ((state >>> 15) & 1 ? 0x5935 : 0);
  }
  return [8, 0].map((place) => (state >>> place) & 255);
}

// The trail: points in square cells around the packet's own position, each coded by what a guess leaves of it.

const POLE = 900000000;
const HALF_CIRCLE = 1800000000;
const CIRCLE = 3600000000;
const MAX_CELLS = 1048575;
const MAX_CLIMB = 1000000000;

/** What is thrown, and caught again, for bits that no encoder writes. */
const BAD_TRAIL = new RangeError("bad_trail");

/**
 * A place in base units: 1e-7 degree, centimetres, seconds before the anchor.
 *
 * @typedef {{ latitude: number, longitude: number, altitude: number | null, age: number | null }} Place
 */

/**
 * Takes a residual to write, or null to read one; gives it back.
 *
 * @typedef {(rest: number | null, order: number, steady: number) => number} Coder
 */

/** The nearest whole number to a quotient, halves away from zero.  @type {(a: number, b: number) => number} */
function nearest(a, b) {
  const cells = Math.floor((Math.abs(a) + Math.floor(b / 2)) / b);
  return a < 0 ? -cells : cells;
}

/** The east-west cell: square at the latitude's whole degree.  @type {(step: number, latitude: number) => number} */
function eastStep(step, latitude) {
  const whole = Math.min(Math.floor(Math.abs(latitude) / 10000000), 89);
  return Math.floor((step * (32400 + whole * whole)) / (32400 - 4 * whole * whole));
}

/** Farthest cell of an axis.  @type {(step: number) => number} */
const reach = (step) => Math.min(MAX_CELLS, Math.floor((HALF_CIRCLE + Math.floor(step / 2)) / step));

/** Axes that share one scale and one choice of guess. */
class Group {
  /**
   * @param {number[]} limits
   * @param {number} first
   * @param {number} change
   * @param {boolean} [rising]
   */
  constructor(limits, first, change, rising = false) {
    this.limits = limits;
    this.change = change;
    this.rising = rising; // the axis never goes back: seconds between points
    this.fresh = true;
    this.sum = first;
    this.count = 1;
    this.errors = [0, 0, 0];
    this.now = limits.map(() => 0);
    this.last = limits.map(() => 0);
    this.before = this.last;
  }

  /** The order of the next residual. */
  order() {
    let order = 0;
    while (this.count << order < this.sum) order += 1;
    return order;
  }

  /** The guess that has been wrong by least, old errors fading. */
  pick() {
    const { errors } = this;
    let pick = 0;
    for (const other of [1, 2]) if (errors[other] <= errors[pick]) pick = other;
    this.errors = errors.map((error) => error - (error >> 3));
    return pick;
  }

  /**
   * Code one point: its cells to write, or null to read them.
   *
   * @param {number[] | null} cells
   * @param {Coder} coder
   */
  code(cells, coder) {
    const pick = this.pick();
    const moves = this.limits.map((limit, axis) => {
      const last = this.last[axis];
      const guesses = [0, last, last + ((last - this.before[axis] + 1) >> 1)];
      const wanted = cells && cells[axis] - this.now[axis] - guesses[pick];
      const rest = coder(wanted, this.order(), this.fresh ? 1 : 5);
      const moved = guesses[pick] + rest;
      this.now[axis] += moved;
      if ((this.rising && moved < 0) || Math.abs(this.now[axis]) > limit) throw BAD_TRAIL;
      this.sum += Math.abs(rest);
      this.count += 1;
      if (this.count === 8) {
        this.sum >>= 1;
        this.count >>= 1;
      }
      guesses.forEach((guess, number) => (this.errors[number] += Math.abs(moved - guess)));
      return moved;
    });
    this.before = this.fresh ? moves : this.last;
    this.last = moves;
    if (this.fresh) {
      this.fresh = false;
      this.sum = this.change;
      this.count = 1;
      this.errors = [0, 0, 2];
    }
  }
}

/** The cells of one packet. */
class Grid {
  /**
   * @param {Trail} trail
   * @param {Place} anchor
   * @param {number} shift
   */
  constructor(trail, anchor, shift) {
    /** @type {(start: number) => number} */
    const shifted = (start) => Math.max(1, start >> shift);
    this.anchor = anchor;
    this.step = trail.step << shift;
    this.east = eastStep(this.step, anchor.latitude);
    this.climb = anchor.altitude === null ? 0 : trail.altitudeStep << shift;
    this.timed = trail.intervalSeed > 0;
    const limits = [reach(this.step), reach(this.east)];
    this.groups = [new Group(limits, shifted(trail.initialScale), shifted(trail.scaleRate))];
    if (this.climb) {
      const limit = Math.min(MAX_CELLS, Math.floor(MAX_CLIMB / this.climb));
      this.groups.push(new Group([limit], shifted(trail.altitudeInitialScale), shifted(trail.altitudeScaleRate)));
    }
    if (this.timed) this.groups.push(new Group([MAX_CELLS], trail.intervalSeed, 1, true));
    this.ages = this.groups[this.groups.length - 1];
  }

  /**
   * The cells of a point, one list per group, or null for a point that the trail cannot carry.
   *
   * @param {Place} point
   * @returns {number[][] | null}
   */
  cells({ latitude, longitude, altitude, age }) {
    let east = longitude - this.anchor.longitude;
    if (east > HALF_CIRCLE) east -= CIRCLE;
    else if (east < -HALF_CIRCLE) east += CIRCLE;
    const cells = [[nearest(latitude - this.anchor.latitude, this.step), nearest(east, this.east)]];
    if (this.climb) {
      if (altitude === null) return null;
      cells.push([nearest(altitude - (this.anchor.altitude || 0), this.climb)]);
    }
    if (this.timed) {
      if (age === null || age < this.ages.now[0]) return null;
      cells.push([age]);
    }
    /** @type {(limits: number[], at: number[]) => boolean} */
    const within = (limits, at) => limits.every((limit, axis) => Math.abs(at[axis]) <= limit);
    return this.groups.every(({ limits }, index) => within(limits, cells[index])) ? cells : null;
  }

  /** The point that the groups stand at.  @returns {Place} */
  point() {
    const [north, east] = this.groups[0].now;
    const latitude = this.anchor.latitude + north * this.step;
    if (2 * (Math.abs(latitude) - POLE) > this.step) throw BAD_TRAIL;
    return {
      latitude: Math.max(-POLE, Math.min(POLE, latitude)),
      longitude: mod(this.anchor.longitude + HALF_CIRCLE + east * this.east, CIRCLE) - HALF_CIRCLE,
      altitude: this.climb ? (this.anchor.altitude || 0) + this.groups[1].now[0] * this.climb : null,
      age: this.timed ? this.ages.now[0] : null,
    };
  }
}

/**
 * The base of a field of the packet, or null.
 *
 * @type {(layout: Layout, raw: Record<string, number>, name: string | null) => number | null}
 */
function baseOf(layout, raw, name) {
  const field = layout.fields.find((item) => item.name === name);
  return field && raw[field.name] !== field.absentCode ? toBase(field, raw[field.name]) : null;
}

/**
 * The whole seconds that a field of the packet says, or null.
 *
 * @type {(layout: Layout, raw: Record<string, number>, name: string | null) => number | null}
 */
function intervalOf(layout, raw, name) {
  const field = layout.fields.find((item) => item.name === name);
  const base = baseOf(layout, raw, name);
  return field && base !== null ? base / field.scale : null;
}

/**
 * The packet's own position, or null.
 *
 * @type {(layout: Layout, trail: Trail, raw: Record<string, number>) => Place | null}
 */
function anchorOf(layout, trail, raw) {
  const [latitude, longitude, altitude] = trail.anchor.map((name) => baseOf(layout, raw, name));
  return latitude === null || longitude === null ? null : { latitude, longitude, altitude, age: null };
}

/**
 * The points of a packet's trail, or null for bits that no encoder writes.
 *
 * @param {Layout} layout
 * @param {Trail} trail
 * @param {Record<string, number>} raw
 * @param {Uint8Array} bytes
 * @param {number} end bits before the check
 * @returns {TrailPoint[] | null}
 */
function readTrail(layout, trail, raw, bytes, end) {
  let at = layout.bits;
  /** @type {(width: number) => number} */
  const take = (width) => {
    if (at + width > end) throw BAD_TRAIL;
    at += width;
    return bitsAt(bytes, at - width, width);
  };
  /** @type {Coder} */
  const coder = (_, order, steady) => {
    let rest = 0;
    while (take(1)) {
      rest += 2 ** order;
      steady -= 1;
      if (steady <= 0) order += 1;
      if (order > 24) throw BAD_TRAIL;
    }
    rest += take(order);
    return rest & 1 ? -(rest >> 1) - 1 : rest >> 1;
  };
  const spacing = trail.spacing || intervalOf(layout, raw, trail.spacingField);
  const anchor = anchorOf(layout, trail, raw);
  /** @type {TrailPoint[]} */
  const points = [];
  try {
    if (anchor) {
      const full = take(1);
      const count = full ? trail.points : take(trail.countBits);
      if (!full && count >= trail.points) throw BAD_TRAIL;
      let shift = 0;
      while (shift < trail.coarsenings && take(1)) shift += 1;
      const grid = new Grid(trail, anchor, shift);
      for (let number = 1; number <= count; number += 1) {
        for (const group of grid.groups) group.code(null, coder);
        const { latitude, longitude, altitude, age } = grid.point();
        points.push({
          latitude: latitude / 10000000,
          longitude: longitude / 10000000,
          altitude: altitude === null ? null : altitude / 100,
          age: spacing === null ? age : number * spacing,
        });
      }
    }
    if (end - at > 7 || take(end - at)) throw BAD_TRAIL;
  } catch (error) {
    if (error === BAD_TRAIL) return null;
    throw error;
  }
  return points;
}

/**
 * Append the trail's bits: as many points as fit, on a coarser grid if the schema says so.
 *
 * @param {Layout} layout
 * @param {Trail} trail
 * @param {Record<string, number>} raw
 * @param {readonly TrailPoint[]} given
 * @param {number[]} bits
 */
function writeTrail(layout, trail, raw, given, bits) {
  const points = given.map((point, index) => toPlace(layout, trail, point, index + 1)).slice(0, trail.points);
  const anchor = anchorOf(layout, trail, raw);
  if (!anchor) return;
  const room = (layout.most - CHECK_BYTES) * 8 - bits.length;
  for (let shift = 0; shift <= trail.coarsenings; shift += 1) {
    const { body, ends } = written(trail, anchor, points, shift);
    let kept = ends.length - 1;
    while (kept > 0 && front(trail, kept, shift).length + ends[kept] > room) kept -= 1;
    if (kept === ends.length - 1 || shift === trail.coarsenings) {
      bits.push(...front(trail, kept, shift), ...body.slice(0, ends[kept]));
      return;
    }
  }
}

/** Count and shift.  @type {(trail: Trail, count: number, shift: number) => number[]} */
function front(trail, count, shift) {
  /** @type {number[]} */
  const bits = [];
  if (count === trail.points) bits.push(1);
  else put(bits, count, 1 + trail.countBits);
  for (let ones = 0; ones < shift; ones += 1) bits.push(1);
  if (shift < trail.coarsenings) bits.push(0);
  return bits;
}

/**
 * The bits of the points that the grid can carry, and where those of the first 0, 1, 2 ... points end.
 *
 * @type {(trail: Trail, anchor: Place, points: Place[], shift: number) => { body: number[], ends: number[] }}
 */
function written(trail, anchor, points, shift) {
  const grid = new Grid(trail, anchor, shift);
  /** @type {number[]} */
  const body = [];
  const ends = [0];
  /** @type {Coder} */
  const coder = (wanted, order, steady) => {
    const residual = wanted || 0;
    let rest = residual >= 0 ? 2 * residual : -2 * residual - 1;
    while (rest >= 2 ** order) {
      body.push(1);
      rest -= 2 ** order;
      steady -= 1;
      if (steady <= 0) order += 1;
    }
    body.push(0);
    put(body, rest, order);
    return residual;
  };
  for (const point of points) {
    const cells = grid.cells(point);
    if (!cells) break;
    grid.groups.forEach((group, index) => group.code(cells[index], coder));
    ends.push(body.length);
  }
  return { body, ends };
}

/** Base units in one unit, bounds in base units, unit.  @type {Record<string, [number, number, number, string]>} */
const AXES = {
  latitude: [10000000, -POLE, POLE, "degrees"],
  longitude: [10000000, -HALF_CIRCLE, HALF_CIRCLE, "degrees"],
  altitude: [100, -MAX_CLIMB - 10000000, MAX_CLIMB + 10000000, "m"],
  age: [1, 0, 2147483647, "s"],
};

/**
 * A point as it is given, in base units.
 *
 * @type {(layout: Layout, trail: Trail, point: TrailPoint, number: number) => Place}
 */
function toPlace(layout, trail, point, number) {
  /** @type {(words: string) => RangeError} */
  const wrong = (words) => refusal(layout, "trail", `point ${number}: ${words}`);
  /** @type {Record<string, unknown>} */
  const given = { ...point };
  for (const name of Object.keys(given)) {
    if (!hasOwn(AXES, name)) throw wrong(`${name} is none of ${Object.keys(AXES).join(", ")}`);
  }
  const [latitude, longitude, altitude, age] = Object.entries(AXES).map(([name, [scale, least, most, unit]]) => {
    const value = given[name];
    if (value === undefined || value === null) return null;
    if (typeof value !== "number" || !Number.isFinite(value)) {
      throw wrong(`${name} ${shown(value)} is not a finite number`);
    }
    const base = value * scale;
    if (base < least || base > most) {
      throw wrong(`${name} ${value} is outside ${least / scale}..${most / scale} ${unit}`);
    }
    return round(base);
  });
  if (latitude === null || longitude === null) throw wrong("latitude and longitude are needed");
  return { latitude, longitude, altitude: trail.altitudeStep ? altitude : null, age: trail.intervalSeed ? age : null };
}
