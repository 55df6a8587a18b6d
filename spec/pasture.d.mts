/**
 * The types of pasture.mjs: pasture, version 1.
 *
 * Written by packetcodec from the schema alone. This file is yours, free of any condition.
 */

export declare const NAME: "pasture";
export declare const VERSION: 1;
export declare const FINGERPRINT: "7985ffc5412132c8";

/** What layout 'position' carries: Sent at every interval. Without a fix, the position is absent and fix_quality is
 * 0. */
export interface position_values {
  /** 0..255; bits 8..15 */
  collar: number;
  /** 0..255; beyond: wrapped; bits 16..23 */
  counter: number;
  /** -90..90 degrees in steps of 0.0000223; bits 24..46 */
  latitude: number | null;
  /** -180..180 degrees in steps of 0.0000224; bits 47..70 */
  longitude: number | null;
  /** -500..9000 m in steps of 2.33; beyond: clipped; bits 71..82 */
  altitude: number | null;
  /** 2.5..4.5 V in steps of 0.02; beyond: clipped; bits 83..89 */
  battery: number;
  /** 0..7; bits 90..92 */
  fix_quality: number;
}

/** What layout 'track' carries: The position and the last ten points before it: a packet that is lost leaves no
 * hole. */
export interface track_values {
  /** 0..255; bits 8..15 */
  collar: number;
  /** 0..255; beyond: wrapped; bits 16..23 */
  counter: number;
  /** -90..90 degrees in steps of 0.0000223; bits 24..46 */
  latitude: number | null;
  /** -180..180 degrees in steps of 0.0000224; bits 47..70 */
  longitude: number | null;
  /** -500..9000 m in steps of 2.33; beyond: clipped; bits 71..82 */
  altitude: number | null;
  /** 2.5..4.5 V in steps of 0.02; beyond: clipped; bits 83..89 */
  battery: number;
  /** 0..7; bits 90..92 */
  fix_quality: number;
}

/** What layout 'status' carries: Sent now and then: how the collar and its wearer are doing. */
export interface status_values {
  /** 0..255; bits 8..15 */
  collar: number;
  /** 0..255; beyond: wrapped; bits 16..23 */
  counter: number;
  /** one of these names; bits 24..26 */
  activity: "resting" | "grazing" | "walking" | "alarm" | null;
  /** -40..60 °C in steps of 0.5; beyond: clipped; bits 27..34 */
  temperature: number | null;
  /** 0..30; beyond: clipped; bits 35..39 */
  satellites: number | null;
  /** 0..12.4 in steps of 0.2; beyond: clipped; bits 40..45 */
  hdop: number | null;
  /** 2.5..4.5 V in steps of 0.02; beyond: clipped; bits 46..52 */
  battery: number;
  /** yes or no; bit 53; the collar saw the gate's beacon open */
  gate_open: boolean;
  /** 1767225600..1830140100 s in steps of 60, Unix time; bits 54..73 */
  time: number;
}

/** Version to layout name to the values that it carries. */
export interface Values {
  1: {
    position: position_values;
    track: track_values;
    status: status_values;
  };
}

/** What `encode` takes: a value that may be absent may also be left out. */
export type Input<T> = { [K in keyof T as null extends T[K] ? never : K]: T[K] } & {
  [K in keyof T as null extends T[K] ? K : never]?: T[K];
};

/** An earlier position. */
export interface TrailPoint {
  /** degrees */
  latitude: number;
  /** degrees */
  longitude: number;
  /** metres; null where it is not known or not carried */
  altitude?: number | null;
  /** seconds before the packet's own position; null where it is not known */
  age?: number | null;
}

/** A good packet: its values, its raw codes, the points of its trail (newest first; none where the layout has none). */
export interface PacketOf<V extends keyof Values, L extends keyof Values[V]> {
  status: "ok";
  version: V;
  layout: L;
  values: Values[V][L];
  raw: Record<keyof Values[V][L], number>;
  trail: TrailPoint[];
}

export type Packet =
  | PacketOf<1, "position">
  | PacketOf<1, "track">
  | PacketOf<1, "status">;

/** What is wrong with a packet that is refused: the first fault in this order. */
export type FaultName =
  | "too_short"
  | "too_long"
  | "unknown_version"
  | "unknown_layout"
  | "bad_check"
  | "bad_padding"
  | "out_of_range"
  | "bad_trail";

/** A packet that is refused. */
export interface Fault {
  status: FaultName;
  /** the field that is out of range, or null */
  field: string | null;
  /** the first bit that the fault is about, counted from the packet's first bit */
  offset: number;
}

/** One field on the wire. Range and step are in base units, of which `scale` make one unit of the value. */
export interface Field {
  name: string;
  /** "whole" takes no fractions */
  type: "number" | "whole" | "flag" | "choice";
  /** what becomes of a value beyond the range */
  policy: "clip" | "refuse" | "wrap";
  scale: number;
  /** base 0 as a Unix time, where the field is a time */
  origin: number;
  unit: string;
  /** what it does in a packet beside being sent */
  role: "latitude" | "longitude" | "altitude" | "identifier" | "counter" | "time" | null;
  /** width in the packet */
  bits: number;
  /** lower end of the range */
  low: number;
  /** upper end of the range */
  high: number;
  /** base units per raw code */
  step: number;
  /** last raw code that stands for a value */
  maxCode: number;
  /** raw code of a value that is not known */
  absentCode: number | null;
  /** circumference, where the end of the range is its beginning */
  modulus: number | null;
  choices: readonly string[];
}

/** A layout's trail: most points, cells (1e-7 degree, centimetres), start of the coding, seconds between points. */
export interface Trail {
  /** fields of latitude, longitude and altitude that it counts from */
  anchor: readonly [string, string, string | null];
  points: number;
  countBits: number;
  step: number;
  initialScale: number;
  scaleRate: number;
  /** 0 for a trail without altitude */
  altitudeStep: number;
  altitudeInitialScale: number;
  altitudeScaleRate: number;
  /** 0 where it is no constant */
  spacing: number;
  spacingField: string | null;
  /** above 0 where the trail codes the seconds itself */
  intervalSeed: number;
  /** most doublings of the cells in a packet that would get too long */
  coarsenings: number;
  /** whether the last guess at a move is the mean of two, else the last one and half its change */
  wandering: boolean;
}

/** One kind of packet: its bits before padding or trail, its least and most bytes. */
export interface Layout {
  name: string;
  id: number;
  bits: number;
  least: number;
  most: number;
  fields: readonly Field[];
  trail: Trail | null;
}

/** A CRC; mirrored where it is reflected. */
export interface Check {
  bytes: number;
  reflected: boolean;
  polynomial: number;
  seed: number;
  xorOut: number;
}

/** One schema version. */
export interface Schema {
  name: string;
  version: number;
  fingerprint: string;
  check: Check | null;
  layouts: readonly Layout[];
}

/** The versions that `decode` knows; `encode` follows the first one unless it is told another. */
export declare const SCHEMAS: readonly Schema[];
/** The layouts of the first version. */
export declare const LAYOUTS: readonly Layout[];

/**
 * What a packet says. Never throws on the content of a packet.
 *
 * @param bytes the whole packet: a Uint8Array, a Buffer, or an array of bytes
 * @throws {TypeError} something else
 */
export declare function decode(bytes: ArrayLike<number>): Packet | Fault;

/**
 * The packet of a layout's values.
 *
 * @param layout name of the layout
 * @param values field name to value
 * @param trail earlier positions, newest first; as many are sent as the packet holds
 * @throws {RangeError} a value is missing, no number, or beyond a range that is not clipped: field, value, bound
 */
export declare function encode<L extends keyof Values[1]>(
  layout: L,
  values: Input<Values[1][L]>,
  trail?: readonly TrailPoint[],
): Uint8Array;
/** The same, of any version of the schema. */
export declare function encode<V extends keyof Values, L extends keyof Values[V]>(
  layout: L,
  values: Input<Values[V][L]>,
  trail: readonly TrailPoint[] | undefined,
  version: V,
): Uint8Array;

/**
 * Bytes from hex digits, upper or lower case; white space is left out.
 *
 * @throws {RangeError} something else than a hex digit, or half a byte
 */
export declare function fromHex(text: string): Uint8Array;

/** Bytes as lower-case hex digits. */
export declare function toHex(bytes: ArrayLike<number>): string;
