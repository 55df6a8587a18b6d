"""What to decode and to encode: packets good and broken, values of every sort, trails of every motion, all by a seed."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Any

from packetcodec import Codec, Schema
from packetcodec.wire import FieldPlan, LayoutPlan, pack, to_value

if TYPE_CHECKING:
    from collections.abc import Iterator

Trail = list[tuple[Any, ...]]


def seeded(seed: int) -> random.Random:
    """The same choices for the same seed."""
    return random.Random(seed)  # noqa: S311  # material of tests, no secret


def raw_codes(rng: random.Random, layout: LayoutPlan) -> tuple[int, ...]:
    """Codes in use, the borders and absent among them more often than not."""

    def code(field: FieldPlan) -> int:
        if field.absent_code is not None and rng.random() < 0.15:
            return field.absent_code
        return rng.choice([0, field.max_code, rng.randint(0, field.max_code), rng.randint(0, field.max_code)])

    return tuple(map(code, layout.fields))


def values_of(rng: random.Random, layout: LayoutPlan) -> dict[str, Any]:
    """Values of a layout, some moved a little off their codes, some far off."""
    found: dict[str, Any] = {}
    for field, raw in zip(layout.fields, raw_codes(rng, layout), strict=True):
        value = to_value(field, raw)
        if isinstance(value, float) or (isinstance(value, int) and not isinstance(value, bool)):
            step = field.step / field.scale
            value += rng.choice([0, 0, rng.uniform(-1, 1) * step, rng.choice([-1, 1]) * (step / 2), 1e7 * rng.random() ** 9])
        found[field.name] = value
    return found


def motion(rng: random.Random, anchor: tuple[float, float]) -> Trail:
    """Earlier points of a tracker that stands, walks, turns, stops and goes, flies, jumps or is noise."""
    count = rng.choice([0, 1, 2, rng.randint(0, 70), 10])
    kind = rng.choice(["stands", "straight", "turns", "walks", "flies", "jumps", "noise", "far"])
    north, east, height, age = *anchor, rng.uniform(-400, 9000), rng.randint(0, 3)
    speed = {"stands": 0.0, "straight": 3e-4, "turns": 2e-4, "walks": 1e-4, "flies": 8e-3}.get(kind, 1e-3)
    heading = (rng.uniform(-1, 1), rng.uniform(-1, 1))
    points: Trail = []
    for _ in range(count):
        if kind == "turns" or rng.random() < 0.1:
            heading = (heading[1], -heading[0] * rng.uniform(0.7, 1.4))
        if kind == "jumps" and rng.random() < 0.2:
            north, east = north + rng.uniform(-2, 2), east + rng.uniform(-20, 20)
        if kind == "far":
            north, east = rng.uniform(-90, 90), rng.uniform(-180, 180)
        wobble = 1e-2 if kind == "noise" else 1e-6
        north = min(90.0, max(-90.0, north + speed * heading[0] + rng.gauss(0, wobble)))
        east = (east + speed * heading[1] + rng.gauss(0, wobble) + 180) % 360 - 180
        height += rng.gauss(0, 5)
        age += rng.choice([10, 30, 30, 30, rng.randint(0, 900)])
        if rng.random() < 0.01:
            age = rng.randint(0, age)  # back in time: no trail carries it
        points.append((north, east, None if rng.random() < 0.01 else height, None if rng.random() < 0.01 else age + 0.25))
    return points


ANCHORS = [(46.5, 9.9), (-33.1, 179.9999), (12.0, -179.9999), (89.9995, 17.0), (-90.0, 0.0), (0.0, 0.0), (60.0, 180.0)]


def to_encode(rng: random.Random, codec: Codec, count: int) -> Iterator[tuple[str, dict[str, Any], Trail]]:
    """Layout, values and trail, `count` times."""
    for _ in range(count):
        layout = rng.choice(codec.plan.layouts)
        values = values_of(rng, layout)
        if not layout.trail:
            yield layout.name, values, []
            continue
        anchor = rng.choice([*ANCHORS, (rng.uniform(-90, 90), rng.uniform(-180, 180))])
        for field in layout.fields:
            if field.kind.name in ("latitude", "longitude") and rng.random() < 0.95:
                value = anchor[field.kind.name == "longitude"]
                values[field.name] = min(max(value, field.low / field.scale), field.high / field.scale)
        yield layout.name, values, motion(rng, anchor)


def to_decode(rng: random.Random, codec: Codec, count: int, *, whole: bool = True) -> Iterator[bytes]:
    """Good packets, broken ones and noise; with `whole`, one of each layout broken in every single way."""
    for layout in codec.plan.layouts if whole else ():
        yield from broken(rng, codec, pack(codec.plan, layout, raw_codes(rng, layout)))
    goods = [given for given in to_encode(rng, codec, 5 * count) if _sent(codec, *given)]
    for layout, values, trail in goods[:count]:
        data = codec.encode(layout, values, trail)
        yield data
        for _ in range(3):
            yield resealed(rng, codec, data)
    yield from (rng.randbytes(rng.randint(0, 40)) for _ in range(count))


def _sent(codec: Codec, layout: str, values: dict[str, Any], trail: Trail) -> bool:
    try:
        codec.encode(layout, values, trail)
    except ValueError:
        return False
    return True


def broken(rng: random.Random, codec: Codec, data: bytes) -> Iterator[bytes]:
    """A packet, with every single bit flipped, the check wrong or repaired, and at every length from 0 to 255."""
    number = int.from_bytes(data, "big")
    body = data[: len(data) - (codec.plan.crc.size if codec.plan.crc else 0)]
    yield data
    for place in range(8 * len(data)):
        yield (number ^ 1 << place).to_bytes(len(data), "big")
    for place in range(8 * len(body)):
        yield codec.plan.seal((int.from_bytes(body, "big") ^ 1 << place).to_bytes(len(body), "big"))
    more = rng.randbytes(255)
    for length in range(256):
        yield (data + more)[:length]
        yield codec.plan.seal((body + more)[: max(0, length - len(data) + len(body))])


def resealed(rng: random.Random, codec: Codec, data: bytes) -> bytes:
    """Noise behind a header and some fields that stay, a byte more or less now and then, under a good check."""
    body = bytearray(data[: len(data) - (codec.plan.crc.size if codec.plan.crc else 0)])
    body = body[: rng.choice([len(body)] * 4 + [max(0, len(body) - 1)])] + rng.randbytes(rng.choice([0, 0, 0, 1, 9]))
    keep = rng.randint(min(2, len(body)), len(body))
    for place in range(keep, len(body)):
        body[place] = rng.choice([body[place], rng.getrandbits(8), 0, 255])
    if body and rng.random() < 0.7:
        body[rng.randrange(len(body))] ^= 1 << rng.randrange(8)
    return codec.plan.seal(bytes(body))


def trail_schema(rng: random.Random) -> Schema:
    """A schema whose one layout carries a trail of any sort."""
    spacing = rng.choice(["30", '"coded"', '"every"', "1"])
    optional, every = rng.choice(["true", "false"]), rng.randint(1, 30)
    trail = [f"points = {rng.choice([1, 2, 10, 63, rng.randint(1, 63)])}", f"spacing = {spacing}"]
    trail.append(f"resolution_m = {rng.choice(['0.02', '2.5', '10', '1000', f'{rng.uniform(0.1, 100):.2f}'])}")
    trail += rng.choice([[], ['too_long = "coarsen"']]) + rng.choice([[], [f"packet_bytes = {rng.randint(40, 120)}"]])
    trail += rng.choice([[], [f"altitude_resolution = {rng.choice(['0.01', '5', '1000'])}", "altitude_initial_scale = 3"]])
    trail += rng.choice([[], ["wandering = true"]])
    trail += rng.choice([[], [f"initial_scale = {rng.randint(1, 4096)}", f"scale_rate = {rng.randint(1, 4096)}"]])
    return Schema.parse(f"""
        name = "pasture"
        version = {rng.randint(0, 15)}
        check = {{ crc = "{rng.choice(["none", "CRC-8/AUTOSAR", "CRC-16/M17", "CRC-24/BLE", "CRC-32/ISO-HDLC"])}" }}
        [[layouts]]
        name = "track"
        id = 3
        fields = [
          {{ kind = "identifier" }},
          {{ kind = "number", name = "every", minimum = 0, maximum = 600, resolution = {every}, optional = true }},
          {{ kind = "latitude", resolution_m = {rng.choice(["0.1", "2.5", "40"])}, optional = {optional} }},
          {{ kind = "altitude", optional = {rng.choice(["true", "false"])} }},
          {{ kind = "longitude", bits = {rng.randint(12, 32)}, optional = {optional} }},
        ]
        trail = {{ {", ".join(trail)} }}
        """)
