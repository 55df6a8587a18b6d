"""What emitted code takes of a processor at most: clock cycles and bytes of stack on AVR, as the header states them.

Owns one rule: a figure is a sum over what the packets of a layout hold (`counts`), each times a coefficient of `TABLES`,
rounded up: cycles to hundreds. `benchmarks/firmware_costs.py` finds the coefficients: it runs worst records of random
schemas in a simulator and takes the least sums that none exceeds, and a quarter more. So they bound what was measured; more
is not proved impossible: a list of points made for it takes up to 2 C + 3 passes with C coarsenings, and C + 3 are
reckoned with.

>>> from packetcodec.emit.c.names import c_plan
>>> from packetcodec.starter import example_plan
>>> plan = c_plan(example_plan())
>>> position, track, _ = (costs(plan, layout) for layout in plan.layouts)
>>> 5_000 < position["encode_cycles"] < track["encode_cycles"], sorted(track)
(True, ['decode_cycles', 'decode_stack', 'encode_cycles', 'encode_stack'])
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
        "bits": 56.965,
        "call": 266.572,
        "check24": 50.568,
        "check32": 29,
        "check_bytes": 64.911,
        "coarsens": 23.271,
        "earlier": 32.215,
        "fields": 253.916,
        "high": 54.205,
        "low_fields": 309.815,
        "pass_numbers": 2341.36,
        "pass_points": 394.408,
        "passes": 4509.54,
        "several": 9.822,
        "sides": 84.443,
        "trail_fields": 10.352,
        "trails": 572.497,
        "words": 4.335,
        "wrapped": 542.047,
    },
    "encode_stack": {
        "call": 44.182,
        "several": 16.796,
        "words": 1.523,
        "trails": 51.523,
        "axes": 20.546,
        "groups": 27.795,
        "coarsens": 7.206,
        "table": 31.114,
        "low_plan": 4.728,
        "high_bytes": 1.251,
        "sided": 13.909,
        "carries": 31.25,
    },
    "decode_cycles": {
        "bits": 13.733,
        "call": 451.602,
        "carries": 4899.76,
        "check16": 93.382,
        "check24": 129.26,
        "check32": 118.27,
        "check8": 91.619,
        "check_bytes": 67.562,
        "coarsens": 169.316,
        "earlier": 108.813,
        "fields": 243.435,
        "high": 167.287,
        "high_bytes": 9.51,
        "known": 111.53,
        "low": 5608.03,
        "low_fields": 1325.37,
        "low_trail": 493.462,
        "numbers": 6307.57,
        "pass_points": 16.658,
        "passes": 219.199,
        "room": 2.132,
        "several": 806.412,
        "table": 29.884,
        "trail_fields": 42.306,
        "wrapped": 157.912,
    },
    "decode_stack": {
        "call": 43.607,
        "several": 12.501,
        "words": 6.394,
        "trails": 30.144,
        "axes": 19.215,
        "groups": 38.929,
        "table": 37.244,
        "low_plan": 95.729,
        "high_bytes": 1.364,
        "optional": 1.107,
        "carries": 110.692,
    },
}
#: Of `counts`, those that stack grows with.
STACK = (
    "call", "several", "words", "trails", "axes", "groups", "coarsens", "table", "low_plan", "high_bytes", "optional",
    "sided", "wider", "check_bytes", "carries",
)  # fmt: skip


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
        "low_fields": c.plan.has_low_bits * len(members), "low_trail": c.plan.has_low_bits * bool(c.trails),
        "axes": c.axes * bool(c.trails),
        "groups": c.groups * bool(c.trails), "coarsens": c.coarsens, "table": len(c.trails) > 1,
        "optional": c.any_member("has"), "sided": c.has_sides != "", "wider": c.any_member("wide"),
        "check_bytes": c.plan.check_bytes, "carries": plan.trail is not None,
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
