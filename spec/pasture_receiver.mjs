/**
 * Puts packets of pasture together into tracks: lost packets repaired from later trails, each place told once.
 *
 * Written by packetcodec. This file is yours, free of any condition. Its types stand in pasture_receiver.d.mts.
 * No input or output of its own: bytes in, events out.
 *
 *     import { Receiver } from "./pasture_receiver.mjs";
 *
 *     const receiver = new Receiver({ silentAfter: 600 });
 *     for (const event of receiver.feed(bytes, Date.now() / 1000)) {
 *       if (event.event === "Position") console.log(event.tracker, event.time, event.latitude, event.longitude);
 *     }
 *     receiver.tick(Date.now() / 1000); // now and then: who has fallen silent
 *
 * Positions are only as good as the packets: anyone can send false ones. Not for the safety of life.
 */
import { SCHEMAS, decode } from "./pasture.mjs";

// The same rules and numbers as in the receiver of packetcodec, whose documentation gives the reasons.
const MAX_TRACKERS = 1024;
const MIN_INTERVAL = 0.001; // seconds
const [SAMPLES, TRUSTED, PAIRED, CHANGE, SETTLED] = [64, 4, 12, 6, 16]; // packets to learn an interval from
const [EVEN, SWITCHED_OFF, WHOLE, DRIFT] = [0.25, 16, 0.001, 0.01]; // of an interval; intervals; of a quotient
const [LOW, ECHO] = [8, 2]; // a counter below this may be a restart; seconds
const [RECENT, PAUSE, UNSURE, PACED] = [12, 4, 2, 3]; // packets; intervals
const [SLACK, HALF, EXACT, PLACES] = [0.001, 0.499, 0.01, 16];

/** The remainder of floor division of floats. */
function mod(a, b) {
  const rest = a % b;
  return rest && rest < 0 !== b < 0 ? rest + b : rest;
}

/** The nearest whole number, the even one of two equally near. */
function round(x) {
  const below = Math.floor(x);
  return x - below > 0.5 || (x - below === 0.5 && below % 2 !== 0) ? below + 1 : below;
}

const least = (numbers, fallback) => (numbers.length ? Math.min(...numbers) : fallback);
const isWhole = (quotient, slack) => Math.abs(quotient - round(quotient)) < slack;

/** The place of the first item that is not below a bound. */
function bisect(items, bound, key) {
  const place = items.findIndex((item) => key(item) >= bound);
  return place < 0 ? items.length : place;
}

/** A list that forgets its first items. */
function push(list, item, limit) {
  list.push(item);
  if (list.length > limit) list.shift();
}

// --- places of one tracker, and which of them are the same ----------------------------------------------------------

const keyOf = (place) => JSON.stringify(place);
const lineOf = (place) => place.line;

/** The east-west cell: square at the latitude's whole degree. */
function eastStep(step, north) {
  const whole = Math.min(Math.floor(Math.abs(round(north * 1e7)) / 1e7), 89);
  return Math.floor((step * (32400 + whole * whole)) / (32400 - 4 * whole * whole));
}

/** Whether two places are farther apart than their grids allow on an axis. */
function differ(one, other) {
  const step = Math.floor((one.step + other.step) / 2) + 1;
  const across = Math.abs(mod(one.east - other.east + 180, 360) - 180);
  const north = Math.max(Math.abs(one.north), Math.abs(other.north));
  return Math.abs(one.north - other.north) > 1e-7 * step || across > 1e-7 * (eastStep(step, north) + 1);
}

/** Whether a place is farther from the rectangle around others than that is long. */
function outside(place, others) {
  const step = Math.max(place.step, ...others.map((other) => other.step));
  const square = step / eastStep(step, place.north);
  const norths = others.map((other) => other.north - place.north);
  const easts = others.map((other) => (mod(other.east - place.east + 180, 360) - 180) * square);
  const span = (numbers) => Math.max(...numbers) - Math.min(...numbers);
  const size = Math.max(span(norths), span(easts)) + 1e-7 * step;
  return Math.max(Math.min(...norths), -Math.max(...norths), Math.min(...easts), -Math.max(...easts)) > size;
}

class KnownPlaces {
  constructor(limit) {
    this.horizon = -Infinity;
    this.limit = limit;
    this.known = [];
    this.widest = 0;
  }

  learn(place) {
    let at = this.known.length;
    while (at > 0 && this.known[at - 1].line > place.line) at -= 1;
    this.known.splice(at, 0, place);
    this.widest = Math.max(this.widest, place.high - place.low);
    if (this.known.length > this.limit) {
      this.forget(this.known[this.known.length - this.limit].line);
      this.known = this.known.slice(-this.limit);
    }
  }

  forget(horizon) {
    this.horizon = Math.max(this.horizon, horizon);
    this.known.splice(0, bisect(this.known, this.horizon, lineOf));
  }

  /** Move the places of each packet, by its serial number; what their stretches said is known now. */
  move(seconds) {
    const { known } = this;
    [this.known, this.widest] = [[], 0];
    for (const place of known) {
      const line = place.line + (seconds.get(place.serial) || 0);
      this.learn({ ...place, line, low: line, high: line });
    }
  }

  between(low, high) {
    return this.known.slice(bisect(this.known, low, lineOf), bisect(this.known, high, lineOf));
  }

  near(line, tolerance, byTrail = false) {
    let found;
    for (const place of this.between(line - tolerance, line + tolerance)) {
      const distance = Math.abs(place.line - line);
      if (distance >= tolerance || (byTrail && place.direct)) continue;
      if (!found || distance < Math.abs(found.line - line)) found = place;
    }
    return found;
  }

  like(place, tolerance, taken = new Set()) {
    const reach = tolerance + this.widest;
    return this.between(place.low - reach, place.high + reach).filter(
      (known) =>
        known.low - place.high < tolerance && place.low - known.high < tolerance &&
        !taken.has(keyOf(known)) && !differ(known, place),
    );
  }

  /** By how many seconds, up to `doubt`, a packet's moments are wrong, if its places tell; else null. */
  shift(places, doubt, tolerance) {
    if (!places.length) return null;
    const pairs = places.slice(1).map((place, index) => differ(places[index], place));
    const moving = places.map((_, index) => Boolean((index && pairs[index - 1]) || pairs[index]));
    const shifts = new Set([0]);
    places.forEach((place, index) => {
      if (!moving[index]) return;
      for (const known of this.between(place.line - doubt, place.line + doubt)) {
        if (!differ(known, place)) shifts.add(known.line - place.line);
      }
    });
    const agreement = (shift) => {
      let [score, told] = [0, 0];
      places.forEach((place, index) => {
        const known = this.near(place.line + shift, tolerance);
        if (!known) return;
        const same = !differ(known, place);
        score += same ? 1 : -2;
        told += moving[index] && same;
      });
      return [told ? score : places.length * -3, -Math.abs(shift), shift];
    };
    const ranked = [...shifts].map(agreement).sort((a, b) => b[0] - a[0] || b[1] - a[1] || b[2] - a[2]);
    return ranked[0][0] > 0 ? ranked[0][2] : null;
  }
}

// --- the interval between packets -----------------------------------------------------------------------------------

/** The median of the intervals between samples, and whether the middle half of them agree with it. */
function pace(samples) {
  const half = Math.floor(samples.length / 2);
  const pairs = [];
  if (samples.length <= PAIRED) {
    samples.forEach((soon, index) => samples.slice(index + 1).forEach((late) => pairs.push([soon, late])));
  } else samples.slice(half).forEach((late, index) => pairs.push([samples[index], late]));
  const found = pairs.map(([soon, late]) => (late[1] - soon[1]) / (late[0] - soon[0])).sort((a, b) => a - b);
  const middle = found[Math.floor(found.length / 2)];
  const quarter = Math.floor(found.length / (samples.length < PAIRED ? 8 : 4));
  const worst = Math.max(found[found.length - 1 - quarter] - middle, middle - found[quarter]);
  return [middle, worst <= middle / 8];
}

class Interval {
  constructor(given) {
    this.given = this.known = given !== null;
    this.uneven = 0;
    this.length = given || 0;
    this.samples = [];
  }

  get firm() {
    return this.given || (this.known && this.error() <= 1 / 8);
  }

  error() {
    const { samples } = this;
    const span = samples.length ? (samples[samples.length - 1][0] - samples[0][0]) * this.length : 0;
    return span ? this.uneven / span : 1;
  }

  spread() {
    return this.samples.length ? (3 * this.error()) / Math.sqrt(this.samples.length) : 1;
  }

  /** Whether moments by the counter are right. */
  counts(interval, spacing) {
    return this.firm && (this.spread() <= DRIFT || inStep(interval, spacing));
  }

  get settles() {
    const few = this.samples.length;
    return few < SETTLED && (few < TRUSTED || this.uneven > EVEN * this.length);
  }

  /** The interval, matched to the spacing of the trail, or 0 where nothing is known of it. */
  seconds(usual, spacing = 0) {
    const interval = this.length || usual;
    if (!spacing || !(interval > 0 && interval < Infinity)) return interval;
    let near = spacing;
    if (!this.given) {
      near = interval < spacing ? spacing / round(spacing / interval) : spacing * round(interval / spacing);
    }
    if (Math.abs(interval - near) <= near / 8) return near;
    const [error, likely] = [this.error(), Math.max(this.spread(), DRIFT)];
    for (const part of this.given ? [] : [2, 3, 4]) {
      near = (round((interval * part) / spacing) * spacing) / part;
      const off = near ? Math.abs(interval - near) / near : 1;
      if (Math.max(off, error) <= 1 / 8 / part && off <= likely) return near;
    }
    return interval;
  }

  learn(number, moment, usual, restarted) {
    const before = this.known && this.firm ? this.length : 0;
    const matched = before > 0 && inStep(this.seconds(usual, usual), usual);
    const last = this.samples[this.samples.length - 1];
    const interval = this.seconds(usual);
    if (restarted || (last && number <= last[0])) this.samples = [];
    else if (last && interval) {
      if (moment - last[1] < ((number - last[0]) * interval) / 8) this.samples.pop();
      else if (moment - last[1] > (number - last[0] + SWITCHED_OFF) * interval) this.samples = [];
    }
    push(this.samples, [number, moment], SAMPLES);
    if (this.given || this.samples.length < TRUSTED) return;
    let [found, even] = pace(this.samples);
    const [recent, steady] = pace(this.samples.slice(-CHANGE));
    if (steady && Math.abs(recent - found) > found / 8) {
      this.samples = this.samples.slice(-CHANGE);
      [found, even] = [recent, steady];
    }
    const usable = Number.isFinite(found) && found >= MIN_INTERVAL;
    [this.length, this.known] = usable ? [found, even] : [0, false];
    const late = this.samples.map((sample) => sample[1] - sample[0] * found);
    this.uneven = usable ? Math.max(...late) - Math.min(...late) : 0;
    const likely = matched ? this.error() : this.spread();
    if (before && usable && Math.abs(found - before) <= before * Math.min(1 / 8, likely)) {
      [this.length, this.known] = [before, true];
    }
  }
}

/** Seconds between moments of different points: the largest of spacing / 1, 2, 3, 4 that divides the interval too. */
function minSeparation(interval, spacing) {
  if (!(interval > 0 && interval < Infinity) || !spacing) return spacing || interval;
  if (isWhole(spacing / interval, WHOLE)) return interval;
  for (const part of [1, 2, 3, 4]) if (isWhole(interval / (spacing / part), WHOLE)) return spacing / part;
  return Math.min(interval, spacing);
}

function inStep(interval, spacing) {
  const step = minSeparation(interval, spacing);
  return isWhole(interval / step, WHOLE) && isWhole(spacing / step, WHOLE);
}

// --- which packet is the next one, late, a duplicate or a restart ---------------------------------------------------

function elapsedOf(earlier, later) {
  return earlier.timed && later.timed ? later.moment - earlier.moment : Math.max(0, later.now - earlier.now);
}

class Order {
  constructor(limit, interval) {
    this.newest = null;
    this.limit = limit;
    this.interval = interval;
    this.heard = [];
  }

  /** Remember a packet; the moment of the oldest one, where that had to go for it. */
  remember(heard, restarted) {
    let gone = null;
    if (restarted) this.heard = [];
    else if (this.heard.length === this.limit) gone = this.heard[0].line;
    push(this.heard, heard, this.limit);
    if (heard.inOrder) this.newest = heard;
    return gone;
  }

  between(low, high) {
    return this.heard.filter((heard) => low < heard.number && heard.number < high);
  }

  placed() {
    const found = this.heard.filter((heard) => heard.arrival.placed);
    return found.sort((a, b) => a.number - b.number || a.line - b.line);
  }

  verdict(arrival) {
    const { newest, interval } = this;
    if (newest === null) return ["next", arrival.counter || 0];
    if (arrival.counter === null) return this.byTime(arrival, newest);
    const elapsed = elapsedOf(newest.arrival, arrival);
    let ahead = mod(arrival.counter - newest.number, arrival.modulus);
    const back = mod(newest.number - arrival.counter, arrival.modulus);
    if (back <= Math.min(this.limit, Math.floor((arrival.modulus - 1) / 2))) {
      return this.behind(arrival, newest, back, elapsed);
    }
    const seconds = interval.seconds(arrival.usual);
    let restarted = ahead > Math.max(this.limit, LOW + (4 * elapsed) / seconds);
    if (!seconds) restarted = ahead > Math.floor(arrival.modulus / 2);
    else if (arrival.counter < LOW && LOW < ahead && elapsed < (ahead * seconds) / 2) restarted = true;
    if (restarted) return ["restart", arrival.counter];
    if (interval.known && elapsed > arrival.modulus * seconds) {
      ahead += Math.max(0, round((elapsed / seconds - ahead) / arrival.modulus)) * arrival.modulus;
    }
    return ["next", newest.number + ahead];
  }

  behind(arrival, newest, back, elapsed) {
    const number = newest.number - back;
    const same = this.heard.filter((heard) => heard.number === number).map((heard) => heard.arrival);
    if (same.some((heard) => heard.data === arrival.data)) return ["duplicate", number];
    if (same.some((heard) => heard.layout === arrival.layout)) {
      const interval = this.interval.seconds(arrival.usual);
      if (interval && elapsed > ((arrival.modulus - back) * interval) / 2) return ["next", number + arrival.modulus];
      return ["restart", arrival.counter];
    }
    if (!back) return ["next", number];
    const wentOn = arrival.timed && newest.arrival.timed && elapsed > 0;
    return wentOn || (arrival.counter < LOW && LOW < back) ? ["restart", arrival.counter] : ["late", number];
  }

  byTime(arrival, newest) {
    const interval = this.interval.seconds(arrival.usual);
    const echo = interval ? interval / 2 : ECHO;
    for (const heard of this.heard) {
      const soon = arrival.timed || arrival.now - heard.arrival.now < echo;
      if (heard.arrival.data === arrival.data && soon) return ["duplicate", heard.number];
    }
    const back = arrival.timed && newest.arrival.timed && arrival.moment < newest.arrival.moment;
    return back ? ["late", newest.number] : ["next", newest.number + 1];
  }
}

// --- when each packet was sent --------------------------------------------------------------------------------------

/** The moment of a packet by its number, among the numbers and moments of others. */
function among(around, number, interval) {
  const place = bisect(around, number, (item) => item[0]);
  if (place < around.length && around[place][0] === number) return around[place][1];
  if (place === 0) return around[0][1] - (around[0][0] - number) * interval;
  const low = around[place - 1];
  if (place === around.length) return low[1] + (number - low[0]) * interval;
  const high = around[place];
  return low[1] + ((high[1] - low[1]) * (number - low[0])) / (high[0] - low[0]);
}

class Timeline {
  constructor(order, interval) {
    this.slot = this.last = null;
    this.order = order;
    this.interval = interval;
    this.recent = [];
    this.quiet = this.overtaken = false;
    this.widest = this.others = 0;
  }

  take(heard, verdict) {
    const { arrival } = heard;
    if (verdict === "late") {
      this.overtaken = true;
      this.widest = Math.max(this.widest, arrival.now - heard.line - least(this.recent, 0));
    }
    if (verdict === "restart") {
      this.slot = null;
      this.recent = [];
    }
    if (!arrival.placed) {
      this.quiet = true;
      this.others += verdict !== "late";
    } else if (verdict !== "late") {
      this.interval.learn(heard.number - this.others, arrival.moment, arrival.usual, verdict === "restart");
      this.slot = this.last = heard;
      push(this.recent, arrival.now - heard.line, RECENT);
    }
  }

  moment(arrival, verdict, number) {
    const { last } = this;
    if (!arrival.placed) return last ? last.line : arrival.now;
    if (arrival.timed || last === null) return arrival.moment;
    if (verdict === "late") return this.between(arrival, number);
    let elapsed = arrival.now - last.arrival.now;
    const interval = this.interval.seconds(arrival.usual, arrival.spacing);
    if (this.slot === null || verdict === "restart" || arrival.counter === null) {
      return last.line + (elapsed < interval / 8 ? interval : elapsed);
    }
    const others = this.order.between(last.number, number).filter((heard) => !heard.arrival.placed).length;
    elapsed = arrival.now - Math.min(...this.recent) - last.line;
    return last.line + this.step(elapsed, number - last.number, others, interval, arrival.spacing);
  }

  step(elapsed, ahead, others, interval, spacing) {
    if (!interval || ahead < 1) return elapsed;
    if (elapsed < ((ahead - others) * interval) / 8) return Math.max(1, ahead - others) * interval;
    if (interval !== spacing && !this.interval.known) return elapsed;
    const slots = Math.min(Math.max(round(elapsed / interval), this.quiet ? 1 : ahead), ahead);
    const late = this.interval.known ? Math.max(interval * PAUSE, 2 * this.widest) : interval / 2;
    return Math.abs(elapsed - slots * interval) <= late ? slots * interval : elapsed;
  }

  between(arrival, number) {
    const around = this.order.placed().map((heard) => [heard.number, heard.line]);
    if (arrival.counter === null || !around.length) return arrival.moment;
    return among(around, number, this.interval.seconds(arrival.usual, arrival.spacing));
  }

  /** Put the packets heard where the interval says, once it is sure; each with its moment before that. */
  settle(arrival) {
    const interval = this.interval.seconds(arrival.usual, arrival.spacing);
    const heard = this.order.placed();
    const even = heard.filter((one) => one.inOrder);
    const sure = this.interval.counts(interval, arrival.spacing) && !this.quiet && !this.interval.settles;
    if (!sure || !even.length) return [];
    let { line } = even[0];
    const lines = even.map((other, place) => {
      if (place) {
        const one = even[place - 1];
        const elapsed = other.arrival.now - one.arrival.now;
        line += this.step(elapsed, other.number - one.number, 0, interval, arrival.spacing);
      }
      return [other.number, line];
    });
    const before = heard.map((one) => [one, one.line]);
    for (const one of heard) one.line = among(lines, one.number, interval);
    this.recent = even.slice(-RECENT).map((one) => one.arrival.now - one.line);
    return before;
  }

  /** Whether three packets at least came at about this interval. */
  keeps(interval) {
    const even = this.order.placed().filter((one) => one.inOrder);
    if (even.length < PACED) return false;
    const [first, last] = [even[0], even[even.length - 1]];
    const wanted = (last.number - first.number) * interval;
    return Math.abs(last.arrival.now - first.arrival.now - wanted) <= wanted / 8;
  }

  /** Seconds by which the moment of a packet may be wrong, as far as the link is known to delay. */
  doubt(arrival) {
    const interval = this.interval.seconds(arrival.usual, arrival.spacing);
    if (arrival.timed || this.interval.given || arrival.counter === null || !interval) return 0;
    const sure = this.overtaken ? this.interval.counts(interval, arrival.spacing) : this.interval.known;
    if (sure && !this.quiet && !this.interval.settles) return 0;
    if (!this.overtaken && !this.interval.settles) return 0;
    return Math.max(UNSURE * interval, this.interval.uneven, this.widest);
  }

  /** From when to when a packet's position may have been taken. */
  stretch(arrival, line, late) {
    const interval = this.interval.seconds(arrival.usual, arrival.spacing);
    if (arrival.timed || !interval) return [line, line];
    const doubt = this.doubt(arrival);
    if (doubt) return [line - doubt, line + doubt];
    if (late) return [line, line + interval];
    const clock = arrival.now - least(this.recent, 0);
    return [Math.max(line - interval, Math.min(line, clock)), Math.min(line + interval, Math.max(line, clock))];
  }
}

// --- the holes in a track -------------------------------------------------------------------------------------------

class Gaps {
  constructor(tracker, limit) {
    this.tracker = tracker;
    this.limit = limit;
    this.gaps = [];
  }

  open(low, high, packets) {
    if (packets > 0) this.gaps = [...this.gaps.slice(-this.limit), { low, high, packets, told: false }];
  }

  move(moments) {
    for (const gap of this.gaps) [gap.low, gap.high] = [gap.low, gap.high].map(moments);
  }

  late(line) {
    for (const gap of this.gaps) gap.packets -= gap.low < line && line < gap.high;
  }

  repair(points, horizon) {
    const { tracker } = this;
    const events = [];
    for (const gap of this.gaps) {
      const inside = points.filter((point) => gap.low < point && point < gap.high);
      const hole = least(inside, gap.high) - gap.low;
      if (inside.length) {
        const interval = (gap.high - gap.low) / (gap.packets + 1);
        const left = Math.min(gap.packets, Math.max(0, round(hole / interval) - 1));
        events.push({ event: "Repaired", tracker, points: inside.length, lostPackets: gap.packets - left });
        gap.packets = left;
        gap.high = Math.min(...inside);
      }
      if (!gap.told && gap.packets) events.push({ event: "Lost", tracker, packets: gap.packets, seconds: hole });
      gap.told = true;
    }
    this.gaps = this.gaps.filter((gap) => gap.packets > 0 && gap.high > horizon);
    return events;
  }
}

// --- what a layout holds, and one packet being taken in -------------------------------------------------------------

class Roles {
  constructor(layout, tracker) {
    const role = (name) => layout.fields.find((field) => field.role === name) || null;
    const named = layout.fields.find((field) => field.name === tracker) || null;
    this.tracker = tracker === null ? role("identifier") : named;
    [this.counter, this.time, this.altitude] = ["counter", "time", "altitude"].map(role);
    const [north, east] = [role("latitude"), role("longitude")];
    this.place = north && east ? [north.name, east.name] : null;
    this.step = this.place ? Math.max(north.step, east.step) : 0;
    this.trail = layout.trail;
  }

  who(packet) {
    const said = this.tracker ? packet.values[this.tracker.name] : null;
    return typeof said === "boolean" || (typeof said === "number" && this.tracker.scale === 1) ? said : null;
  }

  count(packet) {
    return this.counter && this.counter.modulus ? packet.values[this.counter.name] : null;
  }

  spacing(packet) {
    if (!this.trail) return 0;
    const { spacing, spacingField } = this.trail;
    return Math.max(0, (spacingField ? packet.values[spacingField] : spacing) || 0);
  }

  /** The time field in Unix seconds; null where there is none fine enough. */
  moment(packet, now, spacing) {
    const { time } = this;
    const value = time ? packet.values[time.name] : null;
    if (value === null || (spacing && time.step * 2 > spacing)) return null;
    return time.modulus ? now + mod(value - now + time.modulus / 2, time.modulus) - time.modulus / 2 : value;
  }

  height(packet) {
    return this.altitude ? packet.values[this.altitude.name] : null;
  }

  ownPlace(packet, line, [low, high], serial = 0) {
    const [north, east] = this.place ? this.place.map((name) => packet.values[name]) : [null, null];
    const { step } = this;
    return north === null || east === null ? null : { line, low, high, north, east, step, direct: true, serial };
  }

  /** A packet's own position and the points of its trail, for a moment of it on the line. */
  where(packet, line, stretch, serial) {
    const own = this.ownPlace(packet, line, stretch, serial);
    const points = [];
    if (own && this.trail) {
      const step = this.trail.step << this.trail.coarsenings;
      for (const { latitude, longitude, altitude, age } of packet.trail) {
        if (age === null) break;
        const [low, high] = stretch.map((moment) => moment - age);
        const place = { line: line - age, low, high, north: latitude, east: longitude, step, direct: false, serial };
        points.push({ place, altitude, age, known: true });
      }
    }
    return [own, points];
  }
}

// --- one tracker ----------------------------------------------------------------------------------------------------

class TrackerState {
  constructor(tracker, limit, interval) {
    this.heardAt = 0;
    this.tracker = tracker;
    this.limit = limit;
    this.interval = new Interval(interval);
    this.order = new Order(limit, this.interval);
    this.timeline = new Timeline(this.order, this.interval);
    this.places = new KnownPlaces(PLACES * limit);
    this.gaps = new Gaps(tracker, limit);
    this.moment = 0;
    this.serial = 0; // of the packet being taken in
    this.doubtful = [-Infinity, 0];
    this.nowhere = []; // moments at which it said that it had no position
    this.reported = []; // those of them that a trail contradicted
  }

  feed(data, packet, roles, now, steady, dated) {
    this.heardAt = now;
    const { tracker } = this;
    const spacing = roles.spacing(packet);
    const moment = roles.moment(packet, dated ? now : this.moment, spacing);
    this.moment = moment === null ? now : moment;
    const counter = roles.count(packet);
    const arrival = {
      data, layout: `${packet.version} ${packet.layout}`,
      counter, modulus: (roles.counter && roles.counter.modulus) || 0,
      moment: moment === null ? steady : moment, timed: moment !== null, now: steady, placed: roles.place !== null,
      spacing, usual: spacing || (roles.trail ? roles.trail.intervalSeed : 0),
    };
    let [verdict, number] = this.order.verdict(arrival);
    if (verdict === "late" && counter !== null && counter < LOW && this.elsewhere(packet, roles, arrival, number)) {
      [verdict, number] = ["restart", counter];
    }
    if (verdict === "duplicate") return [{ event: "Duplicate", tracker, packetCounter: counter }];
    if (this.doubtful[1] && verdict !== "restart") this.settle(arrival);
    const before = this.timeline.slot;
    const taken = this.take(packet, roles, arrival, verdict, number, dated ? now - steady : null);
    const events = [];
    if (verdict === "restart") {
      this.gaps.gaps = [];
      events.push({ event: "Restarted", tracker, packetCounter: counter });
    }
    const [fresh, contradiction] = this.trail(taken);
    events.push(...contradiction, ...fresh.map((point) => this.position(taken, point)), ...this.own(taken));
    if (verdict === "next" && before !== null && arrival.placed && counter !== null) {
      const lost = number - before.number - 1 - this.order.between(before.number, number).length;
      this.gaps.open(before.line, taken.line, lost);
    }
    return [...events, ...this.gaps.repair(fresh.map((point) => point.place.line), this.places.horizon)];
  }

  take(packet, roles, arrival, verdict, number, offset) {
    this.serial += 1;
    const late = verdict === "late";
    const { newest } = this.order;
    let line = this.timeline.moment(arrival, verdict, number);
    const reach = this.doubtOf(packet, arrival, line);
    let doubt = reach;
    if (doubt) {
      const [own, points] = roles.where(packet, line, [line, line], this.serial);
      const places = points.map((point) => point.place);
      const shift = this.places.shift(own ? [own, ...places] : places, doubt, this.tolerance(arrival));
      if (shift !== null) [line, doubt] = [line + shift, 0];
    }
    const heard = { arrival, number, line, inOrder: !late, serial: this.serial };
    const gone = this.order.remember(heard, verdict === "restart");
    if (gone !== null) this.places.forget(gone);
    this.timeline.take(heard, verdict);
    let time = arrival.moment;
    if (!arrival.timed) {
      if (late && newest) time = newest.arrival.moment - (newest.line - line);
      time = offset === null ? line : time + offset;
    }
    const timeKnown = offset !== null || Boolean(arrival.timed && roles.time && !roles.time.modulus);
    const stretch = doubt ? [line - doubt, line + doubt] : this.timeline.stretch(arrival, line, late);
    const [place, points] = roles.where(packet, line, stretch, this.serial);
    return { packet, roles, arrival, line, time, timeKnown, place, points, reach, late };
  }

  /** Put places where they are by the counter, once the interval is sure: no moment is in doubt any more. */
  settle(arrival) {
    const heard = this.timeline.settle(arrival);
    if (!heard.length) return;
    this.doubtful = [-Infinity, 0];
    this.places.move(new Map(heard.map(([one, line]) => [one.serial, one.line - line])));
    const lines = new Map(heard.map(([one, line]) => [line, one.line]));
    const moments = (moment) => (lines.has(moment) ? lines.get(moment) : moment);
    this.gaps.move(moments);
    this.nowhere = this.nowhere.map(moments);
    this.reported = this.reported.map(moments);
  }

  doubtOf(packet, arrival, line) {
    const doubt = this.timeline.doubt(arrival);
    const oldest = Math.max(0, ...packet.trail.map((point) => point.age || 0));
    if (!doubt) return line - oldest < this.doubtful[0] ? this.doubtful[1] : 0;
    let most = this.interval.known ? doubt : Math.max(doubt, oldest);
    if (line - oldest < this.doubtful[0]) most = Math.max(most, this.doubtful[1]);
    this.doubtful = [line + most, most];
    return most;
  }

  tolerance(arrival) {
    const interval = this.interval.seconds(arrival.usual, arrival.spacing);
    return minSeparation(interval, arrival.spacing) * HALF || 1;
  }

  /** Whether a late packet is away from all that was told around it: then it is none of those numbers. */
  elsewhere(packet, roles, arrival, number) {
    const interval = this.interval.seconds(arrival.usual, arrival.spacing);
    const line = this.timeline.moment(arrival, "late", number);
    const place = roles.ownPlace(packet, line, [line, line]);
    const paced = this.interval.known || this.timeline.keeps(interval);
    if (place === null || !paced || !this.places.near(line, interval / 2, true)) return false;
    return outside(place, this.places.between(line - 1.5 * interval, line + 1.5 * interval));
  }

  /** The points of a trail that were not known, oldest first; what contradicts them. */
  trail(taken) {
    const { points } = taken;
    const events = [];
    let fresh = taken.place ? this.notKnown([taken.place, ...points.map((point) => point.place)], taken) : [];
    for (const point of points) {
      const moment = this.without(taken, point);
      if (moment === undefined) continue;
      const left = fresh.filter((item) => item.age >= point.age).length;
      fresh = fresh.filter((item) => item.age < point.age);
      if (!this.reported.includes(moment)) {
        const time = taken.time - (taken.line - moment);
        events.push(this.contradiction(taken, time, left, 0));
        push(this.reported, moment, this.limit);
      }
      break;
    }
    for (const point of fresh) this.places.learn(point.place);
    return [fresh.reverse(), events];
  }

  contradiction(taken, time, points, told) {
    const { tracker } = this;
    return { event: "Contradiction", tracker, time, packetCounter: taken.arrival.counter, points, told };
  }

  /** Seconds within which a moment, some age before a packet, is surely that of another packet; 0 where none is. */
  exact(taken, age) {
    const { arrival, roles, reach } = taken;
    if (arrival.timed && roles.time) return roles.time.step * (1 + SLACK);
    const interval = this.interval.seconds(arrival.usual, arrival.spacing);
    if (reach || arrival.counter === null || !this.interval.known || !interval) return 0;
    return isWhole(age / interval, SLACK) ? interval * EXACT : 0;
  }

  without(taken, point) {
    const reach = this.nowhere.length && taken.arrival.spacing ? this.exact(taken, point.age) : 0;
    return this.nowhere.find((moment) => Math.abs(moment - point.place.line) < reach);
  }

  notKnown(places, taken) {
    if (taken.reach) return this.toldApart(taken);
    const { points } = taken;
    const { spacing } = taken.arrival;
    const ages = [0, ...points.map((point) => point.age)];
    const interval = this.interval.seconds(Infinity, spacing);
    const grid = minSeparation(interval, spacing);
    const left = [];
    const same = new Set();
    for (let number = 1; number < places.length; number += 1) {
      const place = places[number];
      const around = [number - 1, number + 1].filter((near) => near < ages.length);
      const apart = around.map((near) => Math.abs(ages[near] - ages[number]));
      const tolerance = Math.max(1, Math.min(grid, ...apart)) * HALF;
      const known = this.places.near(place.line, tolerance);
      if (known) same.add(keyOf(known));
      else if (place.line >= this.places.horizon) {
        const asks = !this.exact(taken, ages[number]);
        left.push([number, tolerance, asks && around.every((near) => differ(place, places[near]))]);
      }
    }
    const fresh = [];
    for (const [number, tolerance, asks] of left) {
      const alike = asks ? this.places.like(places[number], tolerance, same) : [];
      if (alike.length) same.add(keyOf(alike[0]));
      else fresh.push(points[number - 1]);
    }
    return fresh;
  }

  /** As `notKnown`, where the clock says little: in step, by time only what lies on the same place too. */
  toldApart(taken) {
    const { usual, spacing } = taken.arrival;
    const tolerance = this.tolerance(taken.arrival);
    const even = !this.interval.firm || inStep(this.interval.seconds(usual, spacing), spacing);
    const fresh = [];
    for (const point of taken.points) {
      const { place } = point;
      const known = this.places.near(place.line, tolerance);
      if (place.line >= this.places.horizon && (!known || (even && differ(known, place)))) {
        const doubtful = { ...place, low: place.line - taken.reach, high: place.line + taken.reach };
        fresh.push({ ...point, known: !this.places.like(doubtful, tolerance).length });
      }
    }
    return fresh;
  }

  /** What a packet's own fields tell. */
  own(taken) {
    const { packet, place, late, arrival, roles } = taken;
    const { tracker } = this;
    const packetCounter = arrival.counter;
    if (place === null) {
      const { time, timeKnown } = taken;
      const { values, layout } = packet;
      const report = { event: "Report", tracker, time, packetCounter, values, layout, timeKnown };
      const events = late ? [{ event: "Late", tracker, packetCounter, known: false }] : [];
      return [...events, report, ...(arrival.placed ? this.nowhereAt(taken) : [])];
    }
    const [told, known] = late ? this.told(taken, place) : [false, true];
    this.places.learn(place);
    const position = this.position(taken, { place, altitude: roles.height(packet), age: 0, known });
    if (!late) return [position];
    if (!told) this.gaps.late(place.line);
    const overtaken = { event: "Late", tracker, packetCounter, known: told };
    return told ? [overtaken] : [overtaken, position];
  }

  nowhereAt(taken) {
    const reach = this.exact(taken, 0);
    if (!reach) return [];
    push(this.nowhere, taken.line, this.limit);
    const told = this.places.between(taken.line - reach, taken.line + reach).filter((place) => !place.direct);
    if (!told.length) return [];
    push(this.reported, taken.line, this.limit);
    return [this.contradiction(taken, taken.time, 0, told.length)];
  }

  /** Whether a trail has told the place of a late packet, and whether that is known. */
  told(taken, place) {
    if (place.line < this.places.horizon) return [true, true];
    const tolerance = this.tolerance(taken.arrival);
    const near = this.places.near(place.line, tolerance, true);
    if (taken.reach) {
      const around = { ...place, low: place.line - taken.reach, high: place.line + taken.reach };
      const told = near !== undefined && !differ(near, place);
      return [told, told || this.places.like(around, tolerance).every((known) => known.direct)];
    }
    const alike = this.interval.given ? [] : this.places.like(place, tolerance);
    return [near !== undefined || (alike.length === 1 && !alike[0].direct), true];
  }

  position(taken, { place, altitude, age, known }) {
    const { packet, arrival } = taken;
    return {
      event: "Position", tracker: this.tracker, time: taken.time - age, latitude: place.north, longitude: place.east,
      altitude, direct: place.direct, packetCounter: arrival.counter, values: place.direct ? packet.values : {},
      layout: packet.layout, age, timeKnown: taken.timeKnown && known,
    };
  }
}

// --- the receiver ---------------------------------------------------------------------------------------------------

export class Receiver {
  constructor(options = {}) {
    const { known = null, silentAfter = null, tracker = null, interval = null } = options;
    const { window = 64, maxTrackers = MAX_TRACKERS } = options;
    for (const [name, value, low, high, whole] of [
      ["silentAfter", silentAfter, Number.MIN_VALUE, Number.MAX_VALUE, false],
      ["interval", interval, MIN_INTERVAL, Number.MAX_VALUE, false],
      ["window", window, 4, 1024, true],
      ["maxTrackers", maxTrackers, 1, 1000000, true],
    ]) {
      const good = value >= low && value <= high && (!whole || Number.isInteger(value));
      if (value !== null && !good) throw new RangeError(`${name}: ${value} is outside ${low}..${high}`);
    }
    this.roles = new Map();
    for (const schema of SCHEMAS) {
      for (const layout of schema.layouts) {
        this.roles.set(`${schema.version} ${layout.name}`, new Roles(layout, tracker));
      }
    }
    if (tracker !== null && ![...this.roles.values()].some((roles) => roles.tracker)) {
      throw new RangeError(`tracker: no layout has a field ${tracker}`);
    }
    this.known = known === null ? null : new Set(known);
    [this.interval, this.window, this.silentAfter, this.maxTrackers] = [interval, window, silentAfter, maxTrackers];
    this.trackers = new Map(); // the one least recently heard first
    this.awake = null; // those not told silent
    this.now = this.drift = 0;
    this.steady = -Infinity;
  }

  feed(bytes, now, { steady = null, rssi = null, snr = null } = {}) {
    const reception = { time: now, rssi, snr };
    const events = this.take(Array.from(bytes), now, steady);
    return events.map((event) => (event.event === "Forgotten" ? event : { ...event, reception }));
  }

  take(bytes, now, steady) {
    const dated = now !== null;
    if (dated) this.now = now;
    const clock = this.advance(this.now, steady);
    const data = bytes.map((byte) => byte.toString(16).padStart(2, "0")).join("");
    const packet = decode(bytes);
    if (packet.status !== "ok") return [{ event: "Fault", ...packet, data }];
    const roles = this.roles.get(`${packet.version} ${packet.layout}`);
    const tracker = roles.who(packet);
    if (this.known !== null && !this.known.has(tracker)) return [{ event: "Unknown", tracker, packet }];
    const gone = this.hear(tracker, this.now, clock);
    try {
      const events = this.trackers.get(tracker).feed(data, packet, roles, this.now, clock, dated);
      return [...gone, ...events];
    } catch (error) {
      this.trackers.delete(tracker);
      return [{ event: "Failure", tracker, message: String(error), data }];
    }
  }

  tick(now, { steady = null } = {}) {
    const clock = this.advance(now, steady);
    const found = [];
    if (this.silentAfter === null) return found;
    for (const [tracker, [heard, since]] of [...this.awake]) {
      if (clock - heard < this.silentAfter) break;
      this.awake.delete(tracker);
      found.push({ event: "Silent", tracker, since });
    }
    return found;
  }

  /** Seconds of a clock that never goes back. */
  advance(now, steady) {
    if (steady === null && now + this.drift < this.steady) this.drift = this.steady - now;
    this.steady = Math.max(this.steady, steady === null ? now + this.drift : steady);
    if (this.awake === null) {
      const waitedFor = this.known && this.known.size ? [...this.known] : [null];
      this.awake = new Map(waitedFor.map((tracker) => [tracker, [this.steady, now]]));
    }
    return this.steady;
  }

  /** Put a tracker behind all others; who had to go for it. */
  hear(tracker, now, steady) {
    this.awake.delete(null);
    this.awake.delete(tracker);
    if (this.silentAfter !== null) this.awake.set(tracker, [steady, now]);
    let state = this.trackers.get(tracker);
    this.trackers.delete(tracker);
    const gone = [];
    if (!state) {
      state = new TrackerState(tracker, this.window, this.interval);
      if (this.trackers.size === this.maxTrackers) {
        const [[oldest, { heardAt }]] = this.trackers;
        this.trackers.delete(oldest);
        gone.push({ event: "Forgotten", tracker: oldest, since: heardAt });
        if (this.known === null) this.awake.delete(oldest);
      }
    }
    this.trackers.set(tracker, state);
    return gone;
  }
}
