/**
 * The types of pasture_receiver.mjs.
 *
 * Written by packetcodec. This file is yours, free of any condition.
 */
import type { FaultName, Packet } from "./pasture.mjs";

/** The number of the field of kind identifier; null where packets carry none. */
export type Tracker = number | boolean | null;

/** How a packet was heard: Unix seconds, dBm, dB; null where that is not known. */
export interface Reception {
  time: number | null;
  rssi: number | null;
  snr: number | null;
}

interface OfPacket {
  tracker: Tracker;
  reception: Reception;
}

interface Counted extends OfPacket {
  /** null where packets carry none */
  packetCounter: number | null;
}

/** A place that was not known before. Each place is told once, by the first packet that brings it. */
export interface Position extends Counted {
  event: "Position";
  /** Unix seconds */
  time: number;
  /** false where the time only puts positions in order */
  timeKnown: boolean;
  /** degrees */
  latitude: number;
  /** degrees */
  longitude: number;
  /** metres */
  altitude: number | null;
  /** from the packet's own fields, not from a trail */
  direct: boolean;
  /** all fields of the packet; none for a trail point */
  values: Packet["values"] | Record<string, never>;
  layout: Packet["layout"];
  /** seconds by which it is older than the packet's own position */
  age: number;
}

/** A good packet without a position. */
export interface Report extends Counted {
  event: "Report";
  time: number;
  timeKnown: boolean;
  values: Packet["values"];
  layout: Packet["layout"];
}

/** A trail has points where the tracker said that it had no position: left out now, or told before that was heard. */
export interface Contradiction extends Counted {
  event: "Contradiction";
  time: number;
  points: number;
  told: number;
}

/** A trail brought points from a gap, told as positions just before. */
export interface Repaired extends OfPacket {
  event: "Repaired";
  points: number;
  lostPackets: number;
}

/** Packets were missed, and nothing has brought their places so far. */
export interface Lost extends OfPacket {
  event: "Lost";
  packets: number;
  seconds: number;
}

/** A packet that newer ones overtook; `known`: a trail had told its place. */
export interface Late extends Counted {
  event: "Late";
  known: boolean;
}

/** A packet that was heard before. */
export interface Duplicate extends Counted {
  event: "Duplicate";
}

/** The tracker counts anew. */
export interface Restarted extends Counted {
  event: "Restarted";
}

/** A good packet of a tracker that is not among the known ones. */
export interface Unknown extends OfPacket {
  event: "Unknown";
  packet: Packet;
}

/** Bytes that are no packet, as hex. */
export interface Fault {
  event: "Fault";
  status: FaultName;
  field: string | null;
  offset: number;
  data: string;
  reception: Reception;
}

/** An error of this program in handling a packet, which is left out; its tracker starts anew. */
export interface Failure extends OfPacket {
  event: "Failure";
  message: string;
  data: string;
}

/** Nothing was heard of a tracker since then (Unix seconds); null where none was ever heard. */
export interface Silent {
  event: "Silent";
  tracker: Tracker;
  since: number;
}

/** More trackers than are remembered: this one, heard at `since` last, had to go. */
export interface Forgotten {
  event: "Forgotten";
  tracker: Tracker;
  since: number;
}

export type Event =
  | Position | Report | Contradiction | Repaired | Lost | Late | Duplicate | Restarted | Unknown | Fault | Failure
  | Silent | Forgotten;

export interface Options {
  /** the trackers to listen to; all unless they are given */
  known?: Iterable<Tracker> | null;
  /** seconds without a packet after which a tracker is told silent; never unless it is given */
  silentAfter?: number | null;
  /** the field that tells trackers apart; the one of kind identifier unless it is given */
  tracker?: string | null;
  /** seconds from packet to packet, at least 0.001; learned unless it is given */
  interval?: number | null;
  /** packets remembered of each tracker, 4..1024; 64 unless it is given */
  window?: number;
  /** trackers remembered, 1..1000000; 1024 unless it is given */
  maxTrackers?: number;
}

export declare class Receiver {
  /** @throws {RangeError} an option out of its range */
  constructor(options?: Options);

  /**
   * What one packet tells.
   *
   * @param bytes the whole packet
   * @param now when it was received, in Unix seconds; null where that is not known
   * @param heard steady: the same by a clock that nobody sets; signal strength in dBm; signal-to-noise ratio in dB
   */
  feed(
    bytes: ArrayLike<number>,
    now: number | null,
    heard?: {
      steady?: number | null;
      rssi?: number | null;
      snr?: number | null;
    },
  ): Event[];

  /** Who has fallen silent by now. */
  tick(now: number, heard?: { steady?: number | null }): Event[];
}
