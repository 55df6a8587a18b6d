"""What does emitted C take at worst? Clock cycles and stack on a simulated AVR, beside what its header states.

    python benchmarks/firmware_worst.py [--schemas N] [--seed N]

Prints measured / stated for each layout of the starter schema, of schemas with long trails and of random schemas, and
ends with status 1 where a statement is exceeded. Records: all fields known, at random and at both ends of their ranges;
trails as long as they may be, of points that lie at random in squares of several sizes, jump to and fro, or stand still
before they do. A trail's encoder codes points until the packet is full, once for each size of its cells: so its time
grows with passes and bytes. `benchmarks/firmware_costs.py` finds the coefficients of what is stated.

Needs Debian's gcc-avr avr-libc simavr.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from firmware import COMMON, HERE, run
from hypothesis import HealthCheck, Phase, given, seed, settings

from packetcodec import Schema, compile_plan
from packetcodec.emit.c import write_c
from packetcodec.emit.c.cost import TABLES, costs
from packetcodec.emit.c.names import CLayout, CPlan, c_plan
from packetcodec.fuzz.strategies.schemas import schemas
from packetcodec.starter import schema_text

if TYPE_CHECKING:
    from collections.abc import Iterator

FLAGS = [*COMMON, "-mmcu=atmega1284p"]
#: Half the side of a square of points, in 1e-7 degree.
SPREADS = (0, 200, 2000, 20_000, 60_000, 2_000_000, 20_000_000, 800_000_000)


def long_trail(packet_bytes: int, more: str = "", fields: str = "") -> Schema:
    """A position with 63 points in so many bytes."""
    return Schema.parse(f"""
        name = "pasture"
        version = 1
        [[layouts]]
        name = "track"
        id = 2
        fields = [
          {{ kind = "identifier" }}, {{ kind = "counter" }},
          {{ kind = "latitude", resolution_m = 2.5 }}, {{ kind = "longitude", resolution_m = 2.5 }}, {fields}
        ]
        trail = {{ points = 63, resolution_m = 2.5, spacing = 30, packet_bytes = {packet_bytes}{more} }}
        """)


def _trails(layout: CLayout, anchor: tuple[int, int], rng: random.Random) -> Iterator[list[list[int]]]:
    trail = layout.plan.trail
    if trail is None:
        return
    for spread in SPREADS:
        for way in ("random", "to and fro", "late"):
            age, points = 0, []
            for n in range(trail.points):
                factors = {
                    "random": [rng.uniform(-1, 1) for _ in range(3)], "to and fro": [(-1) ** n] * 3,
                    "late": [(2 * n > trail.points) * (-1) ** n * rng.random()] * 3,
                }[way]  # fmt: skip
                north, east, up = (round(spread * factor) for factor in factors)
                age = min(age + rng.choice((0, 1, 30, 60, 1 + spread // 20)), 2**31 - 1)
                east = (anchor[1] + east + 1_800_000_000) % 3_600_000_000 - 1_800_000_000
                point = [max(-900_000_000, min(900_000_000, anchor[0] + north)), east]
                point += [max(-9_000_000, min(9_000_000, up // 10))] * bool(trail.altitude) + [age] * bool(
                    trail.interval_seed
                )
                points.append(point)
            yield points


def _records(layout: CLayout, rng: random.Random) -> list[tuple[list[int], list[list[int]]]]:
    """Bases of all members, and points."""
    ends = [(member.field.low, member.field.max_input) for member in layout.members]
    if not layout.plan.trail:
        drawn = [[rng.randint(*end) for end in ends] for _ in range(24)]
        return [(bases, []) for bases in (*drawn, [low for low, _ in ends], [high for _, high in ends])]
    found = []
    anchors = [next((place for place, m in enumerate(layout.members) if m.anchor == axis), None) for axis in (1, 2)]
    for turn in range(2):
        bases = [rng.randint(*end) for end in ends]
        for place in (place for place in anchors if place is not None):  # where a code stands: points lie around that
            field = layout.members[place].field
            code = rng.randint(field.max_code * turn // 4, field.max_code - field.max_code * turn // 4)
            bases[place] = min(field.low + code * field.step, field.max_input)
        at = tuple(0 if place is None else bases[place] for place in anchors)
        found += [(bases, points) for points in _trails(layout, (at[0], at[1]), rng)]
    size = 4 * sum(len(point) for point in found[0][1]) + 5 * len(ends)
    return [found[0], *rng.sample(found, max(1, min(len(found), 13, 40_000 // size)))]  # the first stands still: most points


def _plan_h(c: CPlan, layout: CLayout, rng: random.Random) -> str:
    """The records of a layout, and the names that worst.c knows them by."""
    rows, known = [], []
    for bases, points in _records(layout, rng):
        row = [str(base) + "LL" for base in bases] + ["1"] * len(layout.optional)
        if layout.plan.trail:
            inner = ", ".join("{" + ", ".join(f"{number}LL" for number in point) + "}" for point in points)
            row += [str(len(points)), "{" + inner + "}"]
        rows.append("{" + ", ".join(row) + "}")
        values = {member.field.name: base for member, base in zip(layout.members, bases, strict=True)}
        references = [f"{values.get(member.field.name, 0)}LL" for member, _ in c.references]
        known.append("{" + ", ".join([*references, *["1"] * len(references)]) + "}")
    lines = [
        f'#include "{c.file}.h"', "#include <avr/pgmspace.h>", f"#define RECORD {layout.type}",
        f"#define ENCODE {layout.encode}", f"#define PACKET {c.prefix}_packet", f"#define DECODE {c.prefix}_decode",
        f"static const RECORD records[] PROGMEM = {{{','.join(rows)}}};",
    ]  # fmt: skip
    if c.references:
        lines += [f"#define REFERENCE {c.prefix}_reference"]
        lines += [f"static const REFERENCE references[] PROGMEM = {{{','.join(known)}}};"]
    return "\n".join(lines) + "\n"


def measured(plan_schema: Schema, seed_: int = 1) -> list[tuple[CPlan, CLayout, dict[str, int]]]:
    """The worst of each layout of a schema: cycles and stack to encode and to decode."""
    plan = compile_plan(plan_schema)
    c, found = c_plan(plan), []
    for layout in c.layouts:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            for file, text in {**write_c(plan), "plan.h": _plan_h(c, layout, random.Random(seed_))}.items():  # noqa: S311
                (folder / file).write_text(text, encoding="utf-8")
            sources = [str(HERE / "worst.c"), f"{c.file}.c", "-I.", "-w"]
            run(["avr-gcc", *FLAGS, *sources, "-o", "worst.elf"], folder)
            told = run(["simavr", "-m", "atmega1284p", "-f", "16000000", "worst.elf"], folder)
        rows = [list(map(int, row.split())) for row in re.findall(r"^(?:\x1b\[\d+m)*((?:\d+ ){6})", told, re.MULTILINE)]
        good = [row for row in rows if row[5] == 0]
        if not good:
            raise SystemExit(f"firmware_worst.py: the simulator said {told[:2000]!r}")
        encode_stack, encode, _, decode_stack, decode, _ = (max(column) for column in zip(*good, strict=True))
        worst = {
            "encode_cycles": encode,
            "encode_stack": encode_stack,
            "decode_cycles": decode,
            "decode_stack": decode_stack,
        }
        found.append((c, layout, worst))
    return found


def drawn(count: int, start: int) -> list[Schema]:
    """Random schemas, the same ones each time: half of them with low bits."""
    found: list[Schema] = []
    for low_bits in (False, True):

        @seed(start)
        @settings(
            max_examples=count // 2, phases=[Phase.generate], database=None, deadline=None,
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(schema=schemas(max_fields=10, low_bits=low_bits))
        def keep(schema: Schema) -> None:
            found.append(schema)

        keep()
    return found


def fixed() -> list[Schema]:
    """The starter schema, and long trails."""
    long = [
        long_trail(size, more, '{ kind = "altitude" },' * ("alt" in more))
        for size in (32, 120, 255) for more in ("", ", altitude_resolution = 5", ', too_long = "coarsen"')
    ]  # fmt: skip
    return [Schema.parse(schema_text()), *long]


def main() -> int:
    """Print the table; 1 where a statement is exceeded."""
    parser = argparse.ArgumentParser(description="Measures what emitted C takes at worst on an AVR, beside its header.")
    parser.add_argument("--schemas", type=int, default=20, help="random schemas (default %(default)s)")
    parser.add_argument("--seed", type=int, default=11, help="of the random schemas (default %(default)s)")
    options = parser.parse_args()
    ratios: dict[str, list[float]] = {figure: [] for figure in TABLES}
    exceeded = 0
    print("measured/stated: " + ", ".join(TABLES))
    for number, schema in enumerate((*fixed(), *drawn(options.schemas, options.seed))):
        for c, layout, worst in measured(schema, options.seed + number):
            stated = costs(c, layout)
            over = any(worst[figure] > stated[figure] for figure in TABLES)
            exceeded += over
            for figure, found in ratios.items():
                found.append(stated[figure] / worst[figure])
            cells = "".join(f"{f'{worst[figure]}/{stated[figure]}':>18}" for figure in TABLES)
            print(f"{layout.type[:30]:30}{cells}{' exceeded' * over}", flush=True)
    for figure, found in ratios.items():
        found.sort()
        print(f"{figure}: stated / measured {found[0]:.2f}..{found[-1]:.2f}, median {found[len(found) // 2]:.2f}")
    print(f"{exceeded} of {len(found)} layouts take more than stated")
    return int(exceeded > 0)


if __name__ == "__main__":
    sys.exit(main())
