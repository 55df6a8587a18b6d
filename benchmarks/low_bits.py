"""What sending only the low bits of a position gains, and how often a wrong resolution is not noticed.

The starter schema as it is, beside the same with latitude and longitude by their low bits: right for receivers within
20 km, up to 70 degrees of latitude. Then packets from anywhere on Earth that were damaged, or were read with a reference
too far off.

    python benchmarks/low_bits.py [PACKETS OF EACH SORT]
"""

from __future__ import annotations

import sys
from random import Random

from packetcodec import Codec, PacketFault, Schema
from packetcodec.radio import LoRa
from packetcodec.starter import schema_text
from packetcodec.vectors.examples import Example
from packetcodec.vectors.valid import worked_examples
from packetcodec.wire import from_raw, pack, unpack
from packetcodec.wire.low_bits import known

WHOLE = {"latitude": "resolution_m = 2.5, optional = true }", "longitude": "resolution_m = 2.5, optional = true }"}
KEYS = {"latitude": "within_m = 20000", "longitude": "within_m = 20000, max_latitude = 70"}


def shortened(text: str) -> str:
    """The starter schema with its positions by their low bits."""
    for kind, keys in KEYS.items():
        whole = f'kind = "{kind}", {WHOLE[kind]}'
        if whole not in text:
            raise SystemExit(f"the starter schema has no {whole}")
        text = text.replace(whole, f"{whole[:-2]}, {keys} }}")
    return text


def sizes(whole: Codec, low: Codec) -> None:
    """Bytes and airtime of everyday packets, with and without."""
    print(
        f"{'packet':26}{'bytes':>9}   "
        + "".join(f"{f'SF{factor}':>18}" for factor in range(7, 13))
        + "   ms at 125 kHz, 4/5"
    )
    for name, points in (("position", 0), ("track", 0), ("track", 10)):
        lengths = []
        for codec in (whole, low):
            layout = codec.plan.layout(name)
            example = worked_examples(codec.plan, layout)[0]
            track = example.track([(7, 4), (6, 5)] * 5) if points else ()
            lengths.append(len(example.but("", track).data if layout.trail else Example.everyday(codec.plan, layout).data))
        cells = []
        for factor in range(7, 13):
            times = [LoRa(spreading_factor=factor).airtime_ms(length) for length in lengths]
            cells.append(" -> ".join(f"{time:.1f}" for time in times))
        what = f"{name}, {points} points" if name == "track" else name
        print(f"{what:26}{f'{lengths[0]} -> {lengths[1]}':>9}   " + "".join(f"{cell:>18}" for cell in cells))


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


def main() -> None:
    """Print both tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 250_000
    whole, low = Codec(Schema.parse(schema_text())), Codec(Schema.parse(shortened(schema_text())))
    sizes(whole, low)
    print(
        f"\n{'packets of layout position, 12 bytes':60}{'tried':>10}{'read wrongly':>14}{'expected':>10}{'read rightly':>14}"
    )
    for sort, expected in (
        ("reference within reach", 0.0),
        ("reference a modulus off, north, east or both", 0.0),
        ("reference anywhere on Earth", count / 2**16),
        ("damaged, reference within reach", count / 2**16),
        ("damaged, reference a modulus off", count / 2**16),
    ):
        wrong, right = missed(low, sort, count)
        print(f"{sort:60}{count:>10,}{wrong:>14,}{expected:>10.1f}{right:>14,}")


if __name__ == "__main__":
    main()
