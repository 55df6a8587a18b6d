"""What sending only the low bits of a position gains, how far off a receiver may be, and what is not noticed.

    python benchmarks/low_bits.py [--packets N] [--windows N]

The starter schema as it is, beside the same with latitude and longitude by their low bits: right for receivers within
20 km, up to 70 degrees of latitude. Positions and tracks of ten points are those of recordings, as `benchmarks/trails.py`
has them, one every 30 s; each recording counts once. The interval that `check` promises is tried at its borders, from
places all over the Earth up to 70 degrees of latitude, two of three at the antimeridian, where a receiver a little beyond
may be right too. Then packets that were damaged, or were read with a reference too far off, `--packets` of each sort.
Needs the extras `test` and `bench`.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from low_bits_schema import shortened
from trails import tracks
from yardstick import windows

from packetcodec import Codec, PacketFault, Schema
from packetcodec.radio import LoRa
from packetcodec.starter import schema_text
from packetcodec.wire import from_raw, pack, unpack
from packetcodec.wire.low_bits import known, reach_metres

if TYPE_CHECKING:
    from collections.abc import Iterator

    Place = tuple[float, float]

FACTORS = range(7, 13)
SPACING, POINTS, MAX_LATITUDE = 30, 10, 70.0
#: Bearings of the borders.
SIDES = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}


def recorded(most: int) -> Iterator[list[list[Place]]]:
    """For each recording, windows of a position and the ten before it, in degrees."""
    for _, _, track in tracks():
        found = windows(track, interval=SPACING, points=POINTS, most=most)
        if len(found):
            yield [[(int(north) / 1e7, int(east) / 1e7) for north, east in window] for window in found]


def sent(codec: Codec, layout: str, window: list[Place], number: int) -> tuple[int, int]:
    """Bytes of a packet, and the points in it."""
    place = dict(zip(("latitude", "longitude"), window[0], strict=True))
    values = {"collar": 7, "counter": number % 256, "altitude": 2104.0, "battery": 3.71, "fix_quality": 1, **place}
    data = codec.encode(layout, values, window[1:] if layout == "track" else [])
    return len(data), len(codec.decode(data, reference=place).trail)


def sizes(codecs: tuple[Codec, Codec], most: int) -> None:
    """Bytes and airtime of recorded positions and tracks, with and without."""
    airtimes = {factor: [LoRa(spreading_factor=factor).airtime_ms(size) for size in range(256)] for factor in FACTORS}
    recordings = list(recorded(most))
    print(f"{len(recordings)} recordings, {sum(map(len, recordings)):,} positions: bytes, points, ms at 125 kHz, 4/5")
    print(f"{'layout':10}{'bytes':>16}{'points':>14}" + "".join(f"{f'SF{factor}':>20}" for factor in FACTORS))
    for layout in ("position", "track"):
        means = []
        for codec in codecs:
            found = []
            for some in recordings:
                packets = [sent(codec, layout, window, number) for number, window in enumerate(some)]
                rows = [(size, points, *(airtimes[factor][size] for factor in FACTORS)) for size, points in packets]
                found.append(np.mean(rows, axis=0))
            means.append(np.mean(found, axis=0))
        cells = [f"{whole:,.1f} -> {low:,.1f}" for whole, low in zip(*means, strict=True)]
        print(f"{layout:10}{cells[0]:>16}{cells[1]:>14}" + "".join(f"{cell:>20}" for cell in cells[2:]))


def borders(low: Codec, count: int) -> None:
    """How often a receiver as far off as promised finds the place, and one that is farther off, by direction."""
    random = Random("borders")  # noqa: S311  # the same on every run
    fields = {field.name: field for _, field, _ in low.plan.layout("position").low_fields}
    metres = min(reach_metres(field) or 0 for field in fields.values())
    print(f"\nreceivers {metres:,} m away, as far as promised, and two codes beyond the reach of a field")
    print(f"{'':20}{'tried':>10}{'right':>10}{'beyond, tried':>16}{'right':>8}{'bad_check':>12}")
    for side, bearing in {**SIDES, "any direction": None}.items():
        tried = right = wrong = refused = 0
        for number in range(count):
            place = random.uniform(-MAX_LATITUDE, MAX_LATITUDE), random.choice((180.0, -179.9999, random.uniform(-180, 180)))
            toward = random.uniform(0, 360) if bearing is None else bearing
            there = Geodesic.WGS84.Direct(*place, toward, metres)
            if abs(there["lat2"]) > MAX_LATITUDE:
                continue
            tried += 1
            right += resolves(low, place, (there["lat2"], there["lon2"]), number) == "right"
            name = "latitude" if side in ("north", "south") else "longitude"
            field = fields[name]
            assert field.low_bits is not None  # noqa: S101  # it is one of low_fields
            off = (field.low_bits.reach + 2) * field.step / field.scale * (1 if side in ("north", "east") else -1)
            beyond = (place[0] + off, place[1]) if name == "latitude" else (place[0], (place[1] + off + 180) % 360 - 180)
            said = resolves(low, place, beyond, number)
            wrong, refused = wrong + (said == "right"), refused + (said == "bad_check")
        print(f"{side:20}{tried:>10,}{right:>10,}{tried:>16,}{wrong:>8,}{refused:>12,}")


def resolves(low: Codec, place: Place, reference: Place, number: int) -> str:
    """What a receiver at a reference makes of a packet from a place: "right", "wrong" or its fault."""
    values = {"collar": 7, "counter": number % 256, "battery": 3.71, "fix_quality": 1}
    values |= dict(zip(("latitude", "longitude"), place, strict=True))
    status, packet = low.try_decode(
        low.encode("position", values), reference=dict(zip(("latitude", "longitude"), reference, strict=True))
    )
    if packet is None:
        return status
    return "right" if packet.codes == low.quantize("position", values) else "wrong"


def damaged(random: Random, data: bytes) -> bytes:
    """A packet with a few wrong bits, a burst of them, or noise behind the header."""
    number, bits = int.from_bytes(data, "big"), 8 * len(data)
    way = random.randrange(3)
    if way == 0:
        for place in random.sample(range(bits - 8), random.randint(1, 12)):
            number ^= 1 << place
    elif way == 1:
        number ^= (random.getrandbits(30) | 1 << 29 | 1) << random.randrange(bits - 38)
    else:
        number = number >> bits - 8 << bits - 8 | random.getrandbits(bits - 8)
    return number.to_bytes(len(data), "big")


def missed(low: Codec, sort: str, count: int) -> tuple[int, int]:
    """Of so many packets: how many are read as something that was not sent, and how many are read rightly."""
    random = Random(sort)  # noqa: S311  # the same on every run
    plan = low.plan
    layout = plan.layout("position")
    places = [(place, field, bits) for place, field, bits in layout.low_fields]
    wrong = right = 0
    for _ in range(count):
        codes = tuple(random.randrange(field.max_code + 1) for field in layout.fields)
        data, bases = pack(plan, layout, codes), {}
        far = random.randrange(1, 4)
        for number, (place, field, bits) in enumerate(places):
            shift = random.randint(-bits.reach, bits.reach)
            if "a modulus off" in sort and far >> number & 1:
                shift += random.choice((-1, 1)) * bits.modulus
            code = codes[place] + shift
            if "anywhere" in sort:
                code = random.randrange(field.max_code + 1)
            code = code % (field.max_code + 1) if field.modulus else min(max(code, 0), field.max_code)
            bases[field.name] = from_raw(field, code)
        if "damaged" in sort:
            data = damaged(random, data)
        try:
            found = unpack({plan.version: plan}, data, known(bases))[2]
        except PacketFault:
            continue
        if found == codes:
            right += 1
        else:
            wrong += 1
    return wrong, right


def unnoticed(low: Codec, count: int) -> None:
    """Packets that are read as something that was not sent."""
    print(f"\n{'layout position, 12 bytes':60}{'tried':>10}{'read wrongly':>14}{'expected':>10}{'read rightly':>14}")
    for sort, expected in (
        ("reference within reach", 0.0),
        ("reference a modulus off, north, east or both", 0.0),
        ("reference anywhere on Earth", count / 2**16),
        ("damaged, reference within reach", count / 2**16),
        ("damaged, reference a modulus off", count / 2**16),
    ):
        wrong, right = missed(low, sort, count)
        print(f"{sort:60}{count:>10,}{wrong:>14,}{expected:>10.1f}{right:>14,}")


def main() -> int:
    """Print all tables."""
    parser = argparse.ArgumentParser(description="Measures positions that are sent by their low bits.")
    parser.add_argument("--packets", type=int, default=250_000, help="of each sort of damage and reference (250000)")
    parser.add_argument("--windows", type=int, default=300, help="most positions of a recording (300)")
    options = parser.parse_args()
    whole, low = Codec(Schema.parse(schema_text())), Codec(Schema.parse(shortened(schema_text())))
    try:
        sizes((whole, low), options.windows)
    except pytest.skip.Exception as missing:
        print(f"{Path(__file__).name}: {missing}", file=sys.stderr)
        return 1
    borders(low, 2_000)
    unnoticed(low, options.packets)
    return 0


if __name__ == "__main__":
    sys.exit(main())
