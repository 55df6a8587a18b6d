"""The receiver in JavaScript beside the one in Python: the same events on the same streams, exactly."""

from __future__ import annotations

import json
import re
import subprocess
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import pytest

from packetcodec import Codec, PacketcodecError, Schema, compile_plan
from packetcodec.emit.js.writer import write_javascript
from packetcodec.receive import Fault, Receiver, Unexplained, interval, order, receiver, references, timeline, tracker_state
from packetcodec.starter import schema_text
from tests.emit_js.test_types import LATER, check, write
from tests.support.js_material import seeded
from tests.support.needs import tool

if TYPE_CHECKING:
    import random

    from packetcodec import Packet

STARTER = Schema.parse(schema_text())


PLACE = """{ kind = "latitude", optional = true }, { kind = "longitude", optional = true },
      { kind = "altitude", optional = true }"""


def schema(fields: str, trail: str, place: str = PLACE) -> Schema:
    return Schema.parse(f"""
    name = "pasture"
    version = 1
    [[layouts]]
    name = "track"
    id = 1
    fields = [{fields} {place}]
    trail = {{ points = 8, resolution_m = 2.5, {trail} }}
    [[layouts]]
    name = "status"
    id = 2
    fields = [{fields} {{ kind = "battery" }}]
    """)


WHO, COUNT, TIME = (
    '{ kind = "identifier" },',
    '{ kind = "counter", bits = 6 },',
    '{ kind = "time", epoch = 2026-01-01T00:00:00Z },',
)
EVERY = '{ kind = "number", name = "every", minimum = 0, maximum = 600, resolution = 1 },'
LOW_COUNT, LOW_TIME = (
    '{ kind = "counter", bits = 31, low_bits = 6 },',
    '{ kind = "time", epoch = 2026-01-01T00:00:00Z, bits = 32, within = 600 },',
)
LOW_PLACE = """{ kind = "latitude", resolution_m = 2.5, optional = true, within_m = 20000 },
      { kind = "longitude", resolution_m = 2.5, optional = true, within_m = 20000, max_latitude = 70 },
      { kind = "altitude", optional = true, within = 500 }"""
HOMES = [(46.5, 9.9), (46.5, 9.9), (40.0, -9.0), (-20.0, 179.99)]
LOW = {
    "low": schema(WHO + LOW_COUNT, "spacing = 30", LOW_PLACE),
    "low, timed": schema(WHO + LOW_COUNT + LOW_TIME, "spacing = 30", LOW_PLACE),
    "low, anonymous": schema(COUNT + LOW_TIME, "spacing = 60", LOW_PLACE),
    "low counter": schema(WHO + LOW_COUNT, "spacing = 30"),
}
SCHEMAS = {
    "spaced": schema(WHO + COUNT, "spacing = 30"),
    "timed": schema(WHO + COUNT + TIME, "spacing = 30"),
    "clocked": schema(WHO + COUNT + '{ kind = "time", period = 3600 },', "spacing = 10"),
    "coded": schema(WHO + COUNT, 'spacing = "coded", altitude_resolution = 5'),
    "told": schema(WHO + COUNT + EVERY, 'spacing = "every"'),
    "uncounted": schema(WHO, "spacing = 30"),
    "anonymous": schema(TIME, "spacing = 60"),
}

ASK = """
import { readFileSync } from "node:fs";
import { Receiver } from "./pasture_receiver.mjs";
import { fromHex } from "./pasture.mjs";
for (const { options, calls } of JSON.parse(readFileSync(0, "utf8"))) {
  const receiver = new Receiver(options);
  for (const [hex, now, heard] of calls) {
    if (heard.learn) receiver.learn(now, heard.learn);
    else if (hex === null) console.log(JSON.stringify(receiver.tick(now, heard)));
    else console.log(JSON.stringify(receiver.feed(fromHex(hex), now, heard)));
  }
  const known = receiver.references ? [0, 1, 2, null].map((tracker) => receiver.references(tracker)) : [{}, {}, {}, {}];
  console.log(JSON.stringify(known));
}
"""


def told(event: Any) -> dict[str, Any]:
    """An event of the Python receiver as JavaScript has it."""
    found = {}
    for name, value in [(name, getattr(event, name)) for name in event.__dataclass_fields__]:
        key = re.sub(r"_(\w)", lambda letter: letter[1].upper(), name)
        ways = {"packet": _packet, "data": bytes.hex, "reception": asdict}
        found[key] = ways[name](value) if name in ways else value
    if isinstance(event, Fault | Unexplained):
        del found["message"]
    return json.loads(json.dumps({"event": type(event).__name__, **found}, default=dict))


def _packet(packet: Packet) -> dict[str, Any]:
    points = [dict(zip(("latitude", "longitude", "altitude", "age"), point, strict=True)) for point in packet.trail]
    return {"status": "ok", "layout": packet.layout, "version": packet.version, "values": dict(packet.values),
            "raw": dict(packet.raw), "trail": points}  # fmt: skip


def compare(folder: Any, schemas: list[Schema], streams: list[dict[str, Any]]) -> set[str]:
    """Feed both receivers and compare; the events that were met."""
    write(folder, *map(compile_plan, schemas))
    (folder / "ask.mjs").write_text(ASK, encoding="utf-8")
    wanted, met = [], set()
    for stream in streams:
        options = {re.sub(r"[A-Z]", lambda x: "_" + x[0].lower(), key): value for key, value in stream["options"].items()}
        heard = Receiver(Codec(schemas), **options)
        for data, now, more in stream["calls"]:
            if "learn" in more:
                heard.learn(now, more["learn"])
                continue
            events = heard.tick(now, **more) if data is None else heard.feed(bytes.fromhex(data), now, **more)
            wanted.append([told(event) for event in events])
            met |= {type(event).__name__ for event in events}
        wanted.append([heard.references(tracker) for tracker in (0, 1, 2, None)])
    done = subprocess.run(
        [tool("node"), "ask.mjs"], cwd=folder, input=json.dumps(streams), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    calls = [call for stream in streams for call in (*stream["calls"], "known") if "learn" not in call[-1]]
    for call, line, answer in zip(calls, done.stdout.splitlines(), wanted, strict=True):
        said = [
            {key: value for key, value in event.items() if event.get("event") != "Fault" or key not in {"field", "offset"}}
            for event in json.loads(line)
        ]
        assert said == answer, call
    return met


def sent(rng: random.Random, codec: Codec, collar: int) -> list[tuple[float, str]]:
    """The packets of one tracker with the times when they were sent."""
    layout = codec.plan.layout("track")
    names = {field.name for field in layout.fields}
    trail = layout.trail
    spacing = trail.spacing_seconds or 30
    interval_s = rng.choice([spacing, spacing, 2 * spacing, spacing / 2, spacing * 0.7, 7])
    north, east, time, counter = 46.5, 9.9, 1_783_000_000 + rng.randint(0, 99), rng.randint(0, 63)
    low, size = bool(codec.plan.references), next((x.modulus for x in layout.fields if x.name == "counter"), 64)
    if low:  # at home near a place of the receiver, or not; its counter where it may have got to
        north, east, counter = *rng.choice(HOMES), rng.choice([counter, 500, 9000])
    history: list[tuple[float, float, float]] = []
    speed = rng.choice([0, 1e-4, 5e-4])
    skips = rng.random() < 0.3  # closes its list up over a gap, as it must not
    found = []
    for _ in range(rng.randint(20, 60)):
        if rng.random() < 0.03:
            counter = 0  # switched off and on
            history.clear()
        values: dict[str, Any] = {"identifier": collar, "counter": counter % size, "time": int(time), "every": int(spacing)}
        if "time" in names and (field := next(x for x in layout.fields if x.name == "time")).modulus:
            values["time"] = int(time) % field.modulus
        fixed, status = rng.random() > 0.1, rng.random() < 0.1
        if low and rng.random() < 0.04:
            north, east = rng.choice(HOMES)
            counter += rng.choice([0, 40, 300, 2000])
        north, east = north + speed * rng.uniform(-0.3, 1), east + speed * rng.uniform(-1, 1)
        if status:
            data = codec.encode("status", {name: values[name] for name in values if name in names} | {"battery": 3.7})
        else:
            values |= {"latitude": north, "longitude": east, "altitude": 2000.0} if fixed else {}
            points = []
            for number in range(1, 9):
                near = [past for past in history if abs(time - past[0] - number * spacing) < spacing / 2]
                if near:
                    points.append((near[0][1], near[0][2], 2000.0, None))
                elif not skips:
                    break
            if trail.interval_seed:
                points = [(past[1], past[2], 2000.0, time - past[0]) for past in history[:8]]
            data = codec.encode("track", {name: values[name] for name in values if name in names or name[0] == "l"
                                          or name == "altitude"}, points if fixed else [])  # fmt: skip
            if fixed:
                history.insert(0, (time, north, east))
        found.append((time, data.hex()))
        counter += 1
        time += interval_s if rng.random() > 0.02 else interval_s * rng.randint(5, 30)
    return found


def stream(rng: random.Random, codec: Codec) -> dict[str, Any]:
    """What a receiver hears of a few trackers over a link that loses, delays, reorders, repeats and spoils."""
    loss, delay, echo = rng.choice([0, 0.2, 0.5]), rng.choice([0, 0.5, 20, 100]), rng.choice([0, 0, 0.2])
    arrivals = []
    for collar in range(rng.randint(1, 3)):
        for time, data in sent(rng, codec, collar):
            for _ in range(1 + (rng.random() < echo)):
                arrivals += [(time + rng.random() * delay, data)] * (rng.random() >= loss)
    calls: list[Any] = []
    undated = rng.random() < 0.1
    for now, data in sorted(arrivals):
        heard = {"rssi": -rng.randint(60, 120)} if rng.random() < 0.1 else {}
        spoiled = data[: rng.choice([-2, -4])] + "00"
        calls.append([data if rng.random() > 0.02 else spoiled, None if undated else now, heard])
        if rng.random() < 0.05:
            calls.append([None, now + rng.choice([0, 1, 400]), {}])
        if rng.random() < 0.01:
            calls.append([data, now - 5000, {"steady": now}])  # a clock that was set
        if codec.plan.references and rng.random() < 0.02:
            north, east = rng.choice(HOMES)
            values = {"latitude": north + 0.05, "longitude": east, "altitude": 1900.0, "counter": rng.choice([0, 510, 9020])}
            calls.append([None, rng.choice([0, 1, None]), {"learn": values}])
    options: dict[str, Any] = {}
    for name, choices in {"interval": [30, 15.0, 7], "window": [4, 16], "maxTrackers": [1, 2], "silentAfter": [60, 300.5],
                          "known": [[0, 1], [9]]}.items():  # fmt: skip
        if rng.random() < 0.2:
            options[name] = rng.choice(choices)
    if codec.plan.references:
        options["places"] = rng.choice([[], [(46.4, 9.8)], [(40.1, -9.0, 1800.0), (46.4, 9.8, 2100.0)], [(-20.1, -179.99)]])
        options["clock"] = rng.choice([None, 1_783_000_100.0])
    return {"options": options, "calls": calls}


@pytest.mark.slow
@pytest.mark.parametrize("name", SCHEMAS)
def test_events_are_the_same_whatever_the_link_does(tmp_path, name):
    rng, codec = seeded(11), Codec(SCHEMAS[name])
    met = compare(tmp_path, [SCHEMAS[name]], [stream(rng, codec) for _ in range(25)])
    assert met >= {"Position", "Report", "Fault", "Silent", "Duplicate", "Unknown"}
    assert ("Forgotten" in met) is (name != "anonymous")
    if name in {"spaced", "told", "coded", "clocked", "timed"}:
        assert met >= {"Repaired", "Lost", "Late", "Restarted"}
    if name in {"spaced", "told", "timed"}:
        assert "Contradiction" in met


@pytest.mark.parametrize(
    ("name", "streams"),
    [("low counter", 1), ("low, anonymous", 1), *(pytest.param(name, 12, marks=pytest.mark.slow) for name in LOW)],
)
def test_what_is_known_of_low_bits_is_tried_and_learned_alike(tmp_path, name, streams):
    rng, codec = seeded(12), Codec(LOW[name])
    met = compare(tmp_path, [LOW[name]], [stream(rng, codec) for _ in range(streams)])
    assert "Unexplained" in met
    if streams > 1:
        assert met >= {"Position", "Report", "Fault", "Silent", "Duplicate", "Unknown", "Repaired", "Lost", "Late"}


@pytest.mark.slow
def test_versions_are_heard_at_once_and_any_field_tells_trackers_apart(tmp_path):
    values = {"collar": 7, "battery": 3.7, "fix_quality": 1, "latitude": 46.5, "longitude": 9.8}
    calls = [
        [
            Codec(rng_schema).encode("position", {**values, "counter": number, "fix_quality": number % 3}).hex(),
            1000.0 + number,
            {},
        ]
        for number in range(30)
        for rng_schema in (LATER, STARTER)
    ]
    streams = [{"options": {}, "calls": calls}, {"options": {"tracker": "fix_quality"}, "calls": calls}]
    assert compare(tmp_path, [LATER, STARTER], streams) >= {"Position", "Lost"}


def test_its_numbers_are_those_of_the_rules():
    text = write_javascript(compile_plan(LOW["low"]))["pasture_receiver.mjs"]
    found: dict[str, float] = {}
    for names, values in re.findall(r"^const \[?([A-Z_, ]+)\]? = \[?([\d., ]+)\]?;", text, re.MULTILINE):
        found |= dict(zip(names.split(", "), map(float, values.split(", ")), strict=True))
    assert found == {
        "HEADER": 8, "VERSION_BITS": 4, "AHEAD": references._AHEAD, "SEARCHED": references._SEARCHED,
        "FROM_ZERO": references._FROM_ZERO,
        "KEPT": references._REFUSED,
        "MAX_TRACKERS": receiver.MAX_TRACKERS, "MIN_INTERVAL": interval.MIN_INTERVAL, "SAMPLES": interval._SAMPLES,
        "TRUSTED": interval._TRUSTED, "PAIRED": interval._PAIRED, "CHANGE": interval._CHANGE, "SETTLED": interval._SETTLED,
        "EVEN": interval._EVEN, "SWITCHED_OFF": interval._PAUSE, "WHOLE": interval._WHOLE, "LOW": order.LOW,
        "ECHO": order._ECHO, "RECENT": timeline._RECENT, "PAUSE": timeline._PAUSE, "UNSURE": timeline._UNSURE,
        "PACED": timeline._PACED, "DRIFT": interval._DRIFT,
        "SLACK": tracker_state._SLACK, "HALF": tracker_state._HALF, "EXACT": tracker_state._EXACT,
        "PLACES": tracker_state._PLACES,
    }  # fmt: skip


def test_an_option_that_cannot_be_is_refused(tmp_path):
    wrong = [
        {"interval": 0}, {"interval": float("inf")}, {"silentAfter": -1}, {"window": 3}, {"window": 4.5}, {"maxTrackers": 0},
        {"tracker": "cow"}, {"places": [(91, 9.8)]}, {"places": [(46.5,)]},
    ]  # fmt: skip
    for options in wrong:
        names = {re.sub(r"[A-Z]", lambda x: "_" + x[0].lower(), key): value for key, value in options.items()}
        if options != {"window": 4.5}:
            with pytest.raises(PacketcodecError):
                Receiver(Codec(LOW["low"]), **names)
    write(tmp_path, compile_plan(LOW["low"]))
    given = json.dumps(wrong).replace("Infinity", "1 / 0")
    script = f"""
    import {{ Receiver }} from "./pasture_receiver.mjs";
    for (const options of {given}) {{
        try {{ new Receiver(options); console.log("made"); }} catch (error) {{ console.log(error.name, error.message); }}
    }}
    """
    (tmp_path / "try.mjs").write_text(script, encoding="utf-8")
    done = subprocess.run([tool("node"), "try.mjs"], cwd=tmp_path, capture_output=True, text=True, check=True)
    for options, said in zip(wrong, done.stdout.splitlines(), strict=True):
        assert said.startswith(f"RangeError {next(iter(options))}: ")


USE = """
import { Receiver, type Event, type Position } from "./pasture_receiver.mjs";
const receiver = new Receiver({ silentAfter: 600, known: [7] });
const seen: Position[] = [];
for (const event of receiver.feed([0x11, 7], Date.now() / 1000, { rssi: -97 })) {
  if (event.event === "Position") seen.push(event);
  if (event.event === "Fault") console.log(event.status === "bad_check", event.data);
  // @ts-expect-error: not of every event
  console.log(event.latitude);
}
export const heard = (event: Event) => (event.event === "Silent" ? event.since : null);
// @ts-expect-error: no such option
new Receiver({ silent: 3 });
"""


USE_LOW = """
import { Receiver } from "./pasture_receiver.mjs";
const receiver = new Receiver({ places: [[46.5, 9.8], [40, 9, 1000]], clock: 1783000000 });
receiver.learn(7, { latitude: 46.4, longitude: 9.9 });
for (const event of receiver.feed([0x11, 7], null)) if (event.event === "Unexplained") console.log(event.data);
export const kept = receiver.references(7);
// @ts-expect-error: no place
new Receiver({ places: ["hut"] });
"""


@pytest.mark.slow
@pytest.mark.parametrize(("schema", "use"), [(STARTER, USE), (LOW["low"], USE_LOW)], ids=["starter", "low bits"])
def test_its_types_hold_under_the_strict_checker(tmp_path, schema, use):
    write(tmp_path, compile_plan(schema))
    (tmp_path / "use.mts").write_text(use, encoding="utf-8")
    check(tmp_path, "use.mts")
