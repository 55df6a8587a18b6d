"""What emitted code takes of a processor at most: clock cycles and bytes of stack on AVR, as the header states them.

Owns one rule: a figure is a sum over what the packets of a layout hold (`counts`), each times a coefficient of `TABLES`,
rounded up: cycles to hundreds. `benchmarks/firmware_costs.py` finds the coefficients: it runs worst records of random
schemas in a simulator and takes the least sums that none exceeds, and a quarter more. So they bound what was measured; more
is not proved impossible: a list of points made for it takes up to 2 C + 3 passes with C coarsenings, and C + 3 are
reckoned with.

>>> from packetcodec.emit.c.names import c_plan >>> from packetcodec.starter import example_plan >>> plan =
c_plan(example_plan()) >>> position, track, _ = (costs(plan, layout) for layout in plan.layouts) >>> 5_000 <
position["encode_cycles"] < track["encode_cycles"], sorted(track) (True, ['decode_cycles', 'decode_stack',
'encode_cycles', 'encode_stack'])
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from packetcodec.emit.c.names import CLayout, CPlan
    from packetcodec.schema import Trail

#: What one of each of `counts` takes. For an ATmega328P by avr-gcc 5.4.0 -Os, in a program that encodes and decodes.
TABLES: dict[str, dict[str, float]] = {
    "encode_cycles": {
        "bits": 52.948,
        "call": 336.837,
        "check24": 33.057,
        "check32": 40.456,
        "check8": 16.174,
        "check_bytes": 111.1,
        "earlier": 11.539,
        "fields": 196.018,
        "high": 48.447,
        "high_bytes": 59.717,
        "low": 103.507,
        "low_fields": 26.336,
        "numbers": 2655.34,
        "pass_numbers": 1526.24,
        "pass_points": 370.722,
        "passes": 3422.2,
        "several": 45.97,
        "sides": 91.667,
        "trail_fields": 20.072,
        "trails": 662.789,
        "tried": 13.508,
        "wrapped": 846.329,
    },
    "encode_stack": {
        "call": 44.701,
        "several": 16.277,
        "words": 1.523,
        "trails": 82.8,
        "axes": 18.293,
        "groups": 30.049,
        "coarsens": 9.433,
        "table": 33.86,
        "high_bytes": 2.562,
        "sided": 13.389,
    },
    "decode_cycles": {
        "bits": 13.124,
        "call": 466.856,
        "check16": 103.746,
        "check24": 133.613,
        "check32": 125.116,
        "check8": 97.608,
        "check_bytes": 43.464,
        "coarsens": 185.729,
        "earlier": 130.657,
        "fields": 229.397,
        "high": 167.555,
        "known": 124.352,
        "low": 5601.58,
        "low_fields": 1312.42,
        "low_trail": 534.167,
        "numbers": 6305.48,
        "pass_points": 16.752,
        "passes": 1833.99,
        "room": 2.139,
        "several": 811.886,
        "table": 8.835,
        "trail_fields": 40.921,
        "wrapped": 216.046,
    },
    "decode_stack": {
        "call": 44.688,
        "several": 12.501,
        "words": 5.313,
        "trails": 89.688,
        "axes": 19.411,
        "groups": 63.68,
        "coarsens": 5.001,
        "table": 34.862,
        "low_plan": 105.21,
        "high_bytes": 4.827,
        "optional": 2.188,
    },
}
#: Of `counts`, those that stack grows with.
STACK = tuple(
    "call several words trails axes groups coarsens table low_plan high_bytes optional sided wider check_bytes".split()
)


def counts(c: CPlan, layout: CLayout) -> dict[str, int]:
    """What there is of everything that takes time or stack in a packet of a layout.

    Args:
        c: of which the code is written.
        layout: of it.
    """
    plan, members = layout.plan, layout.members
    low = [field for _, _, field in plan.low_fields]
    bits = c.plan.header_bits + sum(member.field.bits for member in members)
    found = {
        "call": 1, "several": c.only_layout is None, "earlier": layout.number, "fields": len(members), "bits": bits,
        "known": c.any_member("has") * len(members), "sides": (c.has_sides != "") * len(members),
        "wrapped": sum(member.wraps for member in members), "wide": c.any_member("wide") * bits,
        f"check{8 * c.plan.check_bytes}": plan.longest if c.plan.crc else 0,
        "low": len(low), "high": sum(field.high_bits for field in low), "words": c.words,
        "low_plan": c.plan.has_low_bits, "high_bytes": c.high_bytes if c.plan.has_low_bits else 0,
        "tried": plan.longest * (1 + any(field.two_ways for field in low)) if low else 0,
        "trails": bool(c.trails), "trail_bits": bool(c.trails) * bits, "trail_fields": bool(c.trails) * len(members),
        "low_fields": c.plan.has_low_bits * len(members), "low_trail":
         c.plan.has_low_bits * bool(c.trails), "axes": c.axes * bool(c.trails),
        "groups": c.groups * bool(c.trails), "coarsens": c.coarsens, "table": len(c.trails) > 1,
        "optional": c.any_member("has"), "sided": c.has_sides != "", "wider": c.any_member("wide"),
        "check_bytes": c.plan.check_bytes,
    }  # fmt: skip
    trail = plan.trail
    if trail:
        axes = c.axes_of(trail).bit_count()
        room = 8 * (plan.longest - c.plan.check_bytes) - plan.bits
        coded = _coded(trail, room)
        passes = trail.coarsenings + 3
        found |= {
            "passes": passes, "pass_numbers": passes * coded * axes, "pass_bits": passes * room,
            "pass_points": passes * trail.points * axes, "numbers": coded * axes, "room": room,
        }  # fmt: skip
    return {name: int(number) for name, number in found.items()}


def _coded(trail: Trail, room: int) -> int:
    """The most points that so many bits have room for: where none moves, and one more."""
    starts = [(trail.initial_scale, trail.scale_rate, 2)]
    if trail.altitude:
        starts.append((trail.altitude.initial_scale, trail.altitude.scale_rate, 1))
    if trail.interval_seed:
        starts.append((trail.interval_seed, 1, 1))
    states = [[0, 0] for _ in starts]
    for done in range(trail.points):
        for start, state in zip(starts, states, strict=True):
            if done < 2:
                state[:] = [max(start[done] >> trail.coarsenings, 1), 1]
            for _ in range(start[2]):
                room -= 1 + max(0, (-(-state[0] // state[1]) - 1).bit_length())
                state[1] += 1
                if state[1] == 8:
                    state[:] = [state[0] >> 1, 4]
        if room < 0:
            return done + 1
    return trail.points


def costs(c: CPlan, layout: CLayout) -> dict[str, int]:
    """Cycles and bytes of stack, interrupts not counted, that a packet of a layout takes at most to encode and to decode."""
    numbers = counts(c, layout)
    found = {}
    for figure, table in TABLES.items():
        unit = 100 if figure.endswith("cycles") else 1
        found[figure] = unit * math.ceil(sum(table.get(name, 0) * number for name, number in numbers.items()) / unit)
    return found
