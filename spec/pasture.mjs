/**
 * pasture, version 1: an encoder and a decoder of its packets. Fingerprint 7985ffc5412132c8.
 *
 * Collars on a summer pasture report where they are to a receiver in the hut.
 *
 * Written by packetcodec from the schema alone. This file is yours, free of any condition.
 * One ES module without dependency: browsers, Node.js, embedded engines. Its types stand in pasture.d.mts.
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

/** @typedef {import("./pasture.mjs").Check} Check */
/** @typedef {import("./pasture.mjs").Fault} Fault */
/** @typedef {import("./pasture.mjs").Field} Field */
/** @typedef {import("./pasture.mjs").Layout} Layout */
/** @typedef {import("./pasture.mjs").Packet} Packet */
/** @typedef {import("./pasture.mjs").Schema} Schema */
/** @typedef {import("./pasture.mjs").Trail} Trail */
/** @typedef {import("./pasture.mjs").TrailPoint} TrailPoint */

export const NAME = "pasture";
export const VERSION = 1;
export const FINGERPRINT = "7985ffc5412132c8";

/**
 * What a packet says. Never throws on the content of a packet.
 *
 * @param {ArrayLike<number>} bytes the whole packet: a Uint8Array, a Buffer, or an array of bytes
 * @returns {Packet | Fault}
 */
export function decode(bytes) {
  return decodePacket(bytes);
}

/**
 * The packet of a layout's values.
 *
 * @param {string} layout name of the layout
 * @param {any} values field name to value
 * @param {readonly TrailPoint[]} [trail] earlier positions, newest first; as many are sent as the packet holds
 * @param {number} [version] of the schema; 1 unless it is given
 * @returns {Uint8Array}
 * @throws {RangeError} a value is missing, no number, or beyond a range that is not clipped: field, value, bound
 */
export function encode(layout, values, trail, version) {
  return Uint8Array.from(encodePacket(layout, values, trail, version));
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
 * @param {ArrayLike<number>} bytes
 * @returns {string}
 */
export function toHex(bytes) {
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// Codes of up to 32 bits and bases beyond them are plain numbers, exact to 2 ** 53; bit operators, which work on 32
// bits with a sign, are kept to what fits them. Everything from here on is ECMAScript 5.

var VERSION_BITS = 4;
var LAYOUT_BITS = 4;

/** @type {(given: object, name: string) => boolean} */
function hasOwn(given, name) {
  return Object.prototype.hasOwnProperty.call(given, name);
}

/** What a field has where nothing else is said of it.  @type {Field} */
var FIELD = {
  name: "", type: "number", policy: "clip", scale: 1, origin: 0, unit: "", role: null,
  bits: 0, low: 0, high: 0, step: 1, maxCode: 0, absentCode: null, modulus: null, choices: [],
};

/** @type {(given: Partial<Field>) => Field} */
function field(given) {
  /** @type {any} */
  var whole = {};
  Object.keys(FIELD).forEach(function (name) {
    whole[name] = /** @type {any} */ (hasOwn(given, name) ? given : FIELD)[name];
  });
  return whole;
}

/** A table that nobody can change.  @type {(table: any) => any} */
function frozen(table) {
  if (typeof table === "object" && table !== null) {
    Object.freeze(table);
    Object.keys(table).forEach(function (key) { frozen(table[key]); });
  }
  return table;
}

/** Each schema version; all that follows works from it.  @type {readonly Schema[]} */
var SCHEMAS = frozen([
  {
    name: "pasture", version: 1, fingerprint: "7985ffc5412132c8",
    check: {
      bytes: 2, reflected: false, polynomial: 0x5935, seed: 0xf3e1, xorOut: 0x0,
    },
    layouts: [
      {
        name: "position", id: 1, bits: 93, least: 14, most: 14,
        fields: [
          field({
            name: "collar", type: "whole", policy: "refuse", role: "identifier",
            bits: 8, high: 255,
            maxCode: 255,
          }),
          field({
            name: "counter", type: "whole", policy: "wrap", role: "counter",
            bits: 8, high: 256, modulus: 256,
            maxCode: 255,
          }),
          field({
            name: "latitude", type: "number", policy: "refuse", scale: 10000000, unit: "°", role: "latitude",
            bits: 23, low: -900000000, high: 900000000, step: 223,
            maxCode: 8071749, absentCode: 8388607,
          }),
          field({
            name: "longitude", type: "number", policy: "refuse", scale: 10000000, unit: "°", role: "longitude",
            bits: 24, low: -1800000000, high: 1800000000, step: 224, modulus: 3600000000,
            maxCode: 16071428, absentCode: 16777215,
          }),
          field({
            name: "altitude", type: "number", policy: "clip", scale: 100, unit: "m", role: "altitude",
            bits: 12, low: -50000, high: 900000, step: 233,
            maxCode: 4077, absentCode: 4095,
          }),
          field({
            name: "battery", type: "number", policy: "clip", scale: 1000, unit: "V",
            bits: 7, low: 2500, high: 4500, step: 20,
            maxCode: 100,
          }),
          field({
            name: "fix_quality", type: "whole", policy: "refuse",
            bits: 3, high: 7,
            maxCode: 7,
          }),
        ],
        trail: null,
      },
      {
        name: "track", id: 2, bits: 93, least: 14, most: 32,
        fields: [
          field({
            name: "collar", type: "whole", policy: "refuse", role: "identifier",
            bits: 8, high: 255,
            maxCode: 255,
          }),
          field({
            name: "counter", type: "whole", policy: "wrap", role: "counter",
            bits: 8, high: 256, modulus: 256,
            maxCode: 255,
          }),
          field({
            name: "latitude", type: "number", policy: "refuse", scale: 10000000, unit: "°", role: "latitude",
            bits: 23, low: -900000000, high: 900000000, step: 223,
            maxCode: 8071749, absentCode: 8388607,
          }),
          field({
            name: "longitude", type: "number", policy: "refuse", scale: 10000000, unit: "°", role: "longitude",
            bits: 24, low: -1800000000, high: 1800000000, step: 224, modulus: 3600000000,
            maxCode: 16071428, absentCode: 16777215,
          }),
          field({
            name: "altitude", type: "number", policy: "clip", scale: 100, unit: "m", role: "altitude",
            bits: 12, low: -50000, high: 900000, step: 233,
            maxCode: 4077, absentCode: 4095,
          }),
          field({
            name: "battery", type: "number", policy: "clip", scale: 1000, unit: "V",
            bits: 7, low: 2500, high: 4500, step: 20,
            maxCode: 100,
          }),
          field({
            name: "fix_quality", type: "whole", policy: "refuse",
            bits: 3, high: 7,
            maxCode: 7,
          }),
        ],
        trail: {
          anchor: ["latitude", "longitude", null],
          points: 10, countBits: 4, step: 223, initialScale: 6, scaleRate: 1,
          altitudeStep: 0, altitudeInitialScale: 1, altitudeScaleRate: 1,
          spacing: 30, spacingField: null, intervalSeed: 0, coarsenings: 0,
          wandering: false,
        },
      },
      {
        name: "status", id: 3, bits: 74, least: 12, most: 12,
        fields: [
          field({
            name: "collar", type: "whole", policy: "refuse", role: "identifier",
            bits: 8, high: 255,
            maxCode: 255,
          }),
          field({
            name: "counter", type: "whole", policy: "wrap", role: "counter",
            bits: 8, high: 256, modulus: 256,
            maxCode: 255,
          }),
          field({
            name: "activity", type: "choice", policy: "refuse",
            bits: 3, high: 3,
            maxCode: 3, absentCode: 7,
            choices: [
              "resting",
              "grazing",
              "walking",
              "alarm",
            ],
          }),
          field({
            name: "temperature", type: "number", policy: "clip", scale: 10, unit: "°C",
            bits: 8, low: -400, high: 600, step: 5,
            maxCode: 200, absentCode: 255,
          }),
          field({
            name: "satellites", type: "whole", policy: "clip",
            bits: 5, high: 30,
            maxCode: 30, absentCode: 31,
          }),
          field({
            name: "hdop", type: "number", policy: "clip", scale: 100,
            bits: 6, high: 1240, step: 20,
            maxCode: 62, absentCode: 63,
          }),
          field({
            name: "battery", type: "number", policy: "clip", scale: 1000, unit: "V",
            bits: 7, low: 2500, high: 4500, step: 20,
            maxCode: 100,
          }),
          field({
            name: "gate_open", type: "flag", policy: "refuse",
            bits: 1, high: 1,
            maxCode: 1,
          }),
          field({
            name: "time", type: "number", policy: "refuse", origin: 1767225600, unit: "s", role: "time",
            bits: 20, high: 62914500, step: 60,
            maxCode: 1048575,
          }),
        ],
        trail: null,
      },
    ],
  },
]);

/**
 * What a packet says.
 *
 * @param {unknown} given the whole packet
 * @returns {any}
 */
function decodePacket(given) {
  var bytes = bytesOf(given);
  var length = bytes.length;
  if (length * 8 < VERSION_BITS + LAYOUT_BITS) return fault("too_short", 0);
  var schema = first(SCHEMAS, "version", bitsAt(bytes, 0, VERSION_BITS));
  if (!schema) return fault("unknown_version", 0);
  var layout = first(schema.layouts, "id", bitsAt(bytes, VERSION_BITS, LAYOUT_BITS));
  if (!layout) return fault("unknown_layout", VERSION_BITS);
  if (length < layout.least) return fault("too_short", length * 8);
  if (length > layout.most) return fault("too_long", layout.most * 8);
  var end = length - checkBytes(schema);
  var at = VERSION_BITS + LAYOUT_BITS;
  var codes = layout.fields.map(function (item) {
    at += item.bits;
    return bitsAt(bytes, at - item.bits, item.bits);
  });
  if (!isChecked(schema, [], bytes, end)) return fault("bad_check", end * 8);
  if (!layout.trail && bitsAt(bytes, layout.bits, end * 8 - layout.bits)) return fault("bad_padding", layout.bits);
  /** @type {Record<string, number>} */
  var raw = {};
  /** @type {Record<string, number | string | boolean | null>} */
  var values = {};
  at = VERSION_BITS + LAYOUT_BITS;
  for (var index = 0; index < layout.fields.length; index += 1) {
    var item = layout.fields[index];
    var code = codes[index];
    if (code > item.maxCode && code !== item.absentCode) return fault("out_of_range", at, item.name);
    raw[item.name] = code;
    values[item.name] = toValue(item, code);
    at += item.bits;
  }
  var trail = layout.trail ? readTrail(layout, layout.trail, raw, bytes, end * 8) : [];
  if (!trail) return fault("bad_trail", layout.bits);
  return { status: "ok", layout: layout.name, version: schema.version, values: values, raw: raw, trail: trail };
}

/**
 * The bytes of the packet of a layout's values.
 *
 * @param {string} name of the layout
 * @param {Record<string, unknown>} values field name to value
 * @param {readonly TrailPoint[] | undefined} points
 * @param {number | undefined} version of the schema
 * @returns {number[]}
 */
function encodePacket(name, values, points, version) {
  var schema = version === undefined ? SCHEMAS[0] : first(SCHEMAS, "version", version);
  if (!schema) throw new RangeError(shown(version) + " is not a version: one of " + namesOf(SCHEMAS, "version"));
  var layout = first(schema.layouts, "name", name);
  if (!layout) throw new RangeError(shown(name) + " is not a layout: one of " + namesOf(schema.layouts, "name"));
  var found = layout;
  Object.keys(values).forEach(function (key) {
    if (!first(found.fields, "name", key)) throw refusal(found, key, "no such field");
  });
  /** @type {number[]} */
  var bits = [];
  put(bits, schema.version, VERSION_BITS);
  put(bits, layout.id, LAYOUT_BITS);
  /** @type {Record<string, number>} */
  var raw = {};
  var codes = layout.fields.map(function (item) { return toCode(found, item, values); });
  layout.fields.forEach(function (item, place) {
    raw[item.name] = codes[place];
    put(bits, codes[place], item.bits);
  });
  var given = points || [];
  if (layout.trail) writeTrail(layout, layout.trail, raw, given, bits, layout.most - checkBytes(schema));
  else if (given.length) throw refusal(layout, "trail", "this layout carries none");
  var bytes = packed(bits);
  return bytes.concat(checkOf(schema, bytes));
}

/** Bits as bytes; zero bits fill the last one.  @type {(bits: number[]) => number[]} */
function packed(bits) {
  /** @type {number[]} */
  var bytes = [];
  while (bits.length % 8) bits.push(0);
  for (var at = 0; at < bits.length; at += 8) bytes.push(bitsAt(bits, at, 8, 1));
  return bytes;
}

/** The bytes of an array, a Uint8Array or the like as an array.  @type {(given: any) => number[]} */
function bytesOf(given) {
  if (Array.isArray(given) || (given && given.BYTES_PER_ELEMENT === 1)) {
    /** @type {number[]} */
    var bytes = Array.prototype.slice.call(given);
    var good = true;
    for (var index = 0; index < bytes.length; index += 1) good = good && isByte(bytes[index]); // a hole is no byte
    if (good) return bytes;
  }
  throw new TypeError("decode: a packet is a Uint8Array or an array of bytes 0..255");
}

/** @type {(byte: unknown) => boolean} */
function isByte(byte) {
  return typeof byte === "number" && byte >= 0 && byte <= 255 && Math.floor(byte) === byte;
}

/**
 * The first of a list that has this, or undefined.
 *
 * @type {<T>(list: readonly T[], key: keyof T, wanted: unknown) => T | undefined}
 */
function first(list, key, wanted) {
  return list.filter(function (item) { return item[key] === wanted; })[0];
}

/** @type {<T>(list: readonly T[], key: keyof T) => string} */
function namesOf(list, key) {
  return list.map(function (item) { return item[key]; }).join(", ");
}

/** @type {(status: Fault["status"], offset: number, field?: string | null) => Fault} */
function fault(status, offset, field) {
  return { status: status, field: field || null, offset: offset };
}

/** @type {(layout: Layout, field: string, words: string) => RangeError} */
function refusal(layout, field, words) {
  return new RangeError(field + ": " + words + ' (layout "' + layout.name + '")');
}

/** @type {(value: unknown) => string} */
function shown(value) {
  if (typeof value === "string") return JSON.stringify(value.length > 60 ? value.slice(0, 57) + "..." : value);
  return value !== null && /^(object|function)$/.test(typeof value) ? typeof value : String(value);
}

/**
 * The number of some bits; in a list of bits, `size` is 1.
 *
 * @type {(bytes: readonly number[], from: number, width: number, size?: number) => number}
 */
function bitsAt(bytes, from, width, size) {
  var code = 0;
  for (var bit = from; bit < from + width; bit += 1) {
    code = code * 2 + (size ? bytes[bit] : (bytes[bit >> 3] >> (7 - (bit & 7))) & 1);
  }
  return code;
}

/** @type {(bits: number[], code: number, width: number) => void} */
function put(bits, code, width) {
  for (var place = width - 1; place >= 0; place -= 1) bits.push(Math.floor(code / Math.pow(2, place)) % 2);
}

/** The remainder of floor division, 0 .. b - 1.  @type {(a: number, b: number) => number} */
function mod(a, b) {
  return ((a % b) + b) % b;
}

/** The nearest whole number, the even one of two equally near.  @type {(x: number) => number} */
function round(x) {
  var below = Math.floor(x);
  var rest = x - below;
  return rest > 0.5 || (rest === 0.5 && below % 2 !== 0) ? below + 1 : below;
}

/** The base of a raw code in use.  @type {(field: Field, code: number) => number} */
function toBase(field, code) {
  return Math.min(field.low + code * field.step, field.high);
}

/** @type {(field: Field, code: number) => number | string | boolean | null} */
function toValue(field, code) {
  if (code === field.absentCode) return null;
  if (field.type === "choice") return field.choices[code];
  if (field.type === "flag") return code === 1;
  return (toBase(field, code) + field.origin) / field.scale;
}

/** @type {(layout: Layout, field: Field, values: Record<string, unknown>) => number} */
function toCode(layout, field, values) {
  var name = field.name;
  var value = hasOwn(values, name) ? values[name] : undefined;
  if (value === undefined || value === null) {
    if (field.absentCode !== null) return field.absentCode;
    throw refusal(layout, name, value === null ? "null, but the field is not optional" : "missing");
  }
  if (field.type === "choice") {
    var choice = field.choices.indexOf(/** @type {string} */ (value));
    if (choice < 0) throw refusal(layout, name, shown(value) + " is not one of " + field.choices.join(", "));
    return choice;
  }
  if (field.type === "flag" && typeof value === "boolean") return value ? 1 : 0;
  if (typeof value !== "number") throw refusal(layout, name, shown(value) + " is not a number");
  if (!isFinite(value)) throw refusal(layout, name, value + " is not a finite number");
  var whole = field.type === "number" || Math.floor(value) === value;
  if (!whole) throw refusal(layout, name, value + " is not a whole number");
  var base = withinRange(layout, field, value);
  var code = Math.floor((base - field.low + Math.floor(field.step / 2)) / field.step);
  return field.modulus && code > field.maxCode ? 0 : code;
}

/**
 * The base of a value, clipped or wrapped as the field says.
 *
 * @type {(layout: Layout, field: Field, value: number) => number}
 */
function withinRange(layout, field, value) {
  var low = field.low;
  // On a circle of whole numbers the end of the range is its beginning again, and no value.
  var end = field.modulus && field.scale === 1 ? field.high - 1 : field.high;
  var base = round(value * field.scale) - field.origin;
  if (field.policy === "wrap" && field.modulus && isFinite(base)) {
    return low + mod((base % field.modulus) - low, field.modulus);
  }
  if (base < low || base > end) {
    if (field.policy === "clip" && isFinite(base)) return base < low ? low : field.high;
    var bounds = (low + field.origin) / field.scale + ".." + (end + field.origin) / field.scale;
    var words = value + " is outside " + bounds + " " + field.unit.replace("°", "degrees");
    throw refusal(layout, field.name, words.trim());
  }
  return field.modulus && base === field.high ? low : base;
}

/** @type {(schema: Schema) => number} */
function checkBytes(schema) {
  return schema.check ? schema.check.bytes : 0;
}

/** @type {(schema: Schema, before: number[], bytes: number[], end: number) => boolean} */
function isChecked(schema, before, bytes, end) {
  var check = checkOf(schema, before.concat(bytes.slice(0, end)));
  return check.every(function (byte, index) { return byte === bytes[end + index]; });
}

/**
 * The check of some bytes, as it stands in the packet.
 *
 * @type {(schema: Schema, bytes: readonly number[]) => number[]}
 */
function checkOf(schema, bytes) {
  if (!schema.check) return [];
  var check = schema.check;
  var top = check.bytes * 8 - 1;
  var state = check.seed;
  bytes.forEach(function (byte) {
    state ^= check.reflected ? byte : byte << (top - 7);
    for (var bit = 0; bit < 8; bit += 1) {
      if (check.reflected) state = (state >>> 1) ^ (state & 1 ? check.polynomial : 0);
      else state = (state << 1) ^ ((state >>> top) & 1 ? check.polynomial : 0);
    }
  });
  state ^= check.xorOut;
  /** @type {number[]} */
  var found = [];
  for (var at = 0; at < top; at += 8) found.push((state >>> (check.reflected ? at : top - 7 - at)) & 255);
  return found;
}

// The trail: points in square cells around the packet's own position, each coded by what a guess leaves of it.

var POLE = 900000000;
var HALF_CIRCLE = 1800000000;
var CIRCLE = 3600000000;
var MAX_CELLS = 1048575;
var MAX_CLIMB = 1000000000;

/** What is thrown, and caught again, for bits that no encoder writes. */
var BAD_TRAIL = new RangeError("bad_trail");

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

/**
 * Axes that share one scale and one choice of guess; `rising` ones never go back: seconds between points.
 *
 * @typedef {{ limits: number[], change: number, wandering: boolean, rising: boolean, fresh: boolean, sum: number,
 *   count: number, errors: number[], now: number[], last: number[], before: number[] }} Group
 */

/**
 * The cells of one packet: its own place, the size of a cell on each axis, 0 for no altitude.
 *
 * @typedef {{ anchor: Place, step: number, east: number, climb: number, timed: boolean, groups: Group[] }} Grid
 */

/** The nearest whole number to a quotient, halves away from zero.  @type {(a: number, b: number) => number} */
function nearest(a, b) {
  var whole = Math.floor((Math.abs(a) + Math.floor(b / 2)) / b);
  return a < 0 ? -whole : whole;
}

/** The east-west cell: square at the latitude's whole degree.  @type {(step: number, latitude: number) => number} */
function eastStep(step, latitude) {
  var whole = Math.min(Math.floor(Math.abs(latitude) / 10000000), 89);
  return Math.floor((step * (32400 + whole * whole)) / (32400 - 4 * whole * whole));
}

/** Farthest cell of an axis.  @type {(step: number) => number} */
function reach(step) {
  return Math.min(MAX_CELLS, Math.floor((HALF_CIRCLE + Math.floor(step / 2)) / step));
}

/** @type {(limits: number[], sum: number, change: number, wandering: boolean, rising?: boolean) => Group} */
function newGroup(limits, sum, change, wandering, rising) {
  var zeros = limits.map(function () { return 0; });
  return {
    limits: limits, change: change, wandering: wandering, rising: rising === true, fresh: true, sum: sum, count: 1,
    errors: [0, 0, 0], now: zeros.slice(), last: zeros, before: zeros,
  };
}

/** The order of the next residual.  @type {(group: Group) => number} */
function orderOf(group) {
  var order = 0;
  while (group.count << order < group.sum) order += 1;
  return order;
}

/** The guess that has been wrong by least, old errors fading.  @type {(group: Group) => number} */
function pick(group) {
  var errors = group.errors;
  var least = 0;
  for (var other = 1; other < 3; other += 1) if (errors[other] <= errors[least]) least = other;
  group.errors = errors.map(function (error) { return error - (error >> 3); });
  return least;
}

/**
 * Code one point of a group: its cells to write, or null to read them.
 *
 * @type {(group: Group, cells: number[] | null, coder: Coder) => void}
 */
function codePoint(group, cells, coder) {
  var picked = pick(group);
  var moves = group.limits.map(function (limit, axis) {
    var last = group.last[axis];
    var turn = last - group.before[axis];
    var guesses = [0, last, last + (((group.wandering ? -turn : turn) + 1) >> 1)];
    var wanted = cells && cells[axis] - group.now[axis] - guesses[picked];
    var rest = coder(wanted, orderOf(group), group.fresh ? 1 : 5);
    var moved = guesses[picked] + rest;
    group.now[axis] += moved;
    if ((group.rising && moved < 0) || Math.abs(group.now[axis]) > limit) throw BAD_TRAIL;
    group.sum += Math.abs(rest);
    group.count += 1;
    if (group.count === 8) {
      group.sum >>= 1;
      group.count >>= 1;
    }
    guesses.forEach(function (guess, number) { group.errors[number] += Math.abs(moved - guess); });
    return moved;
  });
  group.before = group.fresh ? moves : group.last;
  group.last = moves;
  if (group.fresh) {
    group.fresh = false;
    group.sum = group.change;
    group.count = 1;
    group.errors = [0, 0, 2];
  }
}

/** @type {(trail: Trail, anchor: Place, shift: number) => Grid} */
function newGrid(trail, anchor, shift) {
  /** @type {(start: number) => number} */
  function shifted(start) {
    return Math.max(1, start >> shift);
  }
  var step = trail.step << shift;
  var east = eastStep(step, anchor.latitude);
  var climb = anchor.altitude === null ? 0 : trail.altitudeStep << shift;
  var wandering = trail.wandering;
  var scales = [shifted(trail.initialScale), shifted(trail.scaleRate)];
  var groups = [newGroup([reach(step), reach(east)], scales[0], scales[1], wandering)];
  if (climb) {
    var limit = Math.min(MAX_CELLS, Math.floor(MAX_CLIMB / climb));
    scales = [shifted(trail.altitudeInitialScale), shifted(trail.altitudeScaleRate)];
    groups.push(newGroup([limit], scales[0], scales[1], wandering));
  }
  if (trail.intervalSeed) groups.push(newGroup([MAX_CELLS], trail.intervalSeed, 1, wandering, true));
  return { anchor: anchor, step: step, east: east, climb: climb, timed: trail.intervalSeed > 0, groups: groups };
}

/** Seconds from the point that the groups stand at to the anchor.  @type {(grid: Grid) => number} */
function ageOf(grid) {
  return grid.groups[grid.groups.length - 1].now[0];
}

/**
 * The cells of a point, one list per group, or null for a point that the trail cannot carry.
 *
 * @type {(grid: Grid, point: Place) => number[][] | null}
 */
function cellsOf(grid, point) {
  var east = point.longitude - grid.anchor.longitude;
  if (east > HALF_CIRCLE) east -= CIRCLE;
  else if (east < -HALF_CIRCLE) east += CIRCLE;
  var cells = [[nearest(point.latitude - grid.anchor.latitude, grid.step), nearest(east, grid.east)]];
  if (grid.climb) {
    if (point.altitude === null) return null;
    cells.push([nearest(point.altitude - (grid.anchor.altitude || 0), grid.climb)]);
  }
  if (grid.timed) {
    if (point.age === null || point.age < ageOf(grid)) return null;
    cells.push([point.age]);
  }
  var within = grid.groups.every(function (group, number) {
    return group.limits.every(function (limit, axis) { return Math.abs(cells[number][axis]) <= limit; });
  });
  return within ? cells : null;
}

/** The point that the groups stand at.  @type {(grid: Grid) => Place} */
function pointOf(grid) {
  var cell = grid.groups[0].now;
  var latitude = grid.anchor.latitude + cell[0] * grid.step;
  if (2 * (Math.abs(latitude) - POLE) > grid.step) throw BAD_TRAIL;
  return {
    latitude: Math.max(-POLE, Math.min(POLE, latitude)),
    longitude: mod(grid.anchor.longitude + HALF_CIRCLE + cell[1] * grid.east, CIRCLE) - HALF_CIRCLE,
    altitude: grid.climb ? (grid.anchor.altitude || 0) + grid.groups[1].now[0] * grid.climb : null,
    age: grid.timed ? ageOf(grid) : null,
  };
}

/**
 * The base of a field of the packet, or null.
 *
 * @type {(layout: Layout, raw: Record<string, number>, name: string | null) => number | null}
 */
function baseOf(layout, raw, name) {
  var item = first(layout.fields, "name", name);
  return item && raw[item.name] !== item.absentCode ? toBase(item, raw[item.name]) : null;
}

/**
 * The whole seconds that a field of the packet says, or null.
 *
 * @type {(layout: Layout, raw: Record<string, number>, name: string | null) => number | null}
 */
function intervalOf(layout, raw, name) {
  var item = first(layout.fields, "name", name);
  var base = baseOf(layout, raw, name);
  return item && base !== null ? base / item.scale : null;
}

/**
 * The packet's own position, or null.
 *
 * @type {(layout: Layout, trail: Trail, raw: Record<string, number>) => Place | null}
 */
function anchorOf(layout, trail, raw) {
  var bases = trail.anchor.map(function (name) { return baseOf(layout, raw, name); });
  var latitude = bases[0];
  var longitude = bases[1];
  if (latitude === null || longitude === null) return null;
  return { latitude: latitude, longitude: longitude, altitude: bases[2], age: null };
}

/**
 * The points of a packet's trail, or null for bits that no encoder writes.
 *
 * @param {Layout} layout
 * @param {Trail} trail
 * @param {Record<string, number>} raw
 * @param {readonly number[]} bytes
 * @param {number} end bits before the check
 * @returns {TrailPoint[] | null}
 */
function readTrail(layout, trail, raw, bytes, end) {
  var at = layout.bits;
  /** @type {(width: number) => number} */
  function take(width) {
    if (at + width > end) throw BAD_TRAIL;
    at += width;
    return bitsAt(bytes, at - width, width);
  }
  /** @type {Coder} */
  function coder(_, order, steady) {
    var rest = 0;
    while (take(1)) {
      rest += Math.pow(2, order);
      steady -= 1;
      if (steady <= 0) order += 1;
      if (order > 24) throw BAD_TRAIL;
    }
    rest += take(order);
    return rest & 1 ? -(rest >> 1) - 1 : rest >> 1;
  }
  try {
    var anchor = anchorOf(layout, trail, raw);
    var points = anchor ? pointsOf(trail, anchor, take, coder) : [];
    if (end - at > 7 || take(end - at)) throw BAD_TRAIL;
    var spacing = trail.spacing || intervalOf(layout, raw, trail.spacingField);
    return points.map(function (point, index) {
      return {
        latitude: point.latitude / 10000000,
        longitude: point.longitude / 10000000,
        altitude: point.altitude === null ? null : point.altitude / 100,
        age: spacing === null ? point.age : (index + 1) * spacing,
      };
    });
  } catch (error) {
    if (error === BAD_TRAIL) return null;
    throw error;
  }
}

/** @type {(trail: Trail, anchor: Place, take: (width: number) => number, coder: Coder) => Place[]} */
function pointsOf(trail, anchor, take, coder) {
  var full = take(1);
  var count = full ? trail.points : take(trail.countBits);
  if (!full && count >= trail.points) throw BAD_TRAIL;
  var shift = 0;
  while (shift < trail.coarsenings && take(1)) shift += 1;
  var grid = newGrid(trail, anchor, shift);
  /** @type {Place[]} */
  var points = [];
  for (var number = 0; number < count; number += 1) {
    grid.groups.forEach(function (group) { codePoint(group, null, coder); });
    points.push(pointOf(grid));
  }
  return points;
}

/**
 * Append the trail's bits: as many points as fit `most` bytes, on a coarser grid if the schema says so.
 *
 * @param {Layout} layout
 * @param {Trail} trail
 * @param {Record<string, number>} raw
 * @param {readonly TrailPoint[]} given
 * @param {number[]} bits
 * @param {number} most
 */
function writeTrail(layout, trail, raw, given, bits, most) {
  var points = given.map(function (point, index) { return toPlace(layout, trail, point, index + 1); });
  var anchor = anchorOf(layout, trail, raw);
  if (!anchor) return;
  var room = most * 8 - bits.length;
  for (var shift = 0; shift <= trail.coarsenings; shift += 1) {
    var coded = written(trail, anchor, points.slice(0, trail.points), shift);
    var kept = coded.ends.length - 1;
    while (kept > 0 && front(trail, kept, shift).length + coded.ends[kept] > room) kept -= 1;
    if (kept === coded.ends.length - 1 || shift === trail.coarsenings) {
      bits.push.apply(bits, front(trail, kept, shift).concat(coded.body.slice(0, coded.ends[kept])));
      return;
    }
  }
}

/** Count and shift.  @type {(trail: Trail, count: number, shift: number) => number[]} */
function front(trail, count, shift) {
  /** @type {number[]} */
  var bits = [];
  if (count === trail.points) bits.push(1);
  else put(bits, count, 1 + trail.countBits);
  for (var ones = 0; ones < shift; ones += 1) bits.push(1);
  if (shift < trail.coarsenings) bits.push(0);
  return bits;
}

/**
 * The bits of the points that the grid can carry, and where those of the first 0, 1, 2 ... points end.
 *
 * @type {(trail: Trail, anchor: Place, points: Place[], shift: number) => { body: number[], ends: number[] }}
 */
function written(trail, anchor, points, shift) {
  var grid = newGrid(trail, anchor, shift);
  /** @type {number[]} */
  var body = [];
  var ends = [0];
  /** @type {Coder} */
  function coder(wanted, order, steady) {
    var residual = wanted || 0;
    var rest = residual >= 0 ? 2 * residual : -2 * residual - 1;
    while (rest >= Math.pow(2, order)) {
      body.push(1);
      rest -= Math.pow(2, order);
      steady -= 1;
      if (steady <= 0) order += 1;
    }
    body.push(0);
    put(body, rest, order);
    return residual;
  }
  points.every(function (point) {
    var cells = cellsOf(grid, point);
    if (cells) {
      var coded = cells;
      grid.groups.forEach(function (group, index) { codePoint(group, coded[index], coder); });
      ends.push(body.length);
    }
    return cells !== null;
  });
  return { body: body, ends: ends };
}

/** Base units in one unit, bounds in base units, unit.  @type {Record<string, [number, number, number, string]>} */
var AXES = {
  latitude: [10000000, -POLE, POLE, "degrees"],
  longitude: [10000000, -HALF_CIRCLE, HALF_CIRCLE, "degrees"],
  altitude: [100, -MAX_CLIMB - 10000000, MAX_CLIMB + 10000000, "m"],
  age: [1, 0, 2147483647, "s"],
};

/**
 * A point as it is given, in base units.
 *
 * @type {(layout: Layout, trail: Trail, point: any, number: number) => Place}
 */
function toPlace(layout, trail, point, number) {
  /** @type {(words: string) => RangeError} */
  function wrong(words) {
    return refusal(layout, "trail", "point " + number + ": " + words);
  }
  Object.keys(point).forEach(function (name) {
    if (!hasOwn(AXES, name)) throw wrong(name + " is none of " + Object.keys(AXES).join(", "));
  });
  var bases = Object.keys(AXES).map(function (name) {
    var value = hasOwn(point, name) ? point[name] : null;
    if (value === undefined || value === null) return null;
    var finite = typeof value === "number" && isFinite(value);
    if (!finite) throw wrong(name + " " + shown(value) + " is not a finite number");
    var axis = AXES[name];
    var base = value * axis[0];
    if (base < axis[1] || base > axis[2]) {
      throw wrong(name + " " + value + " is outside " + axis[1] / axis[0] + ".." + axis[2] / axis[0] + " " + axis[3]);
    }
    return round(base);
  });
  var latitude = bases[0];
  var longitude = bases[1];
  if (latitude === null || longitude === null) throw wrong("latitude and longitude are needed");
  return {
    latitude: latitude, longitude: longitude,
    altitude: trail.altitudeStep ? bases[2] : null, age: trail.intervalSeed ? bases[3] : null,
  };
}

export { SCHEMAS };
/** The layouts of version 1. */
export const LAYOUTS = SCHEMAS[0].layouts;
