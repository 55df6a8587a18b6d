"""The check of a plan as its specification tells it: constants, one check worked out, what it detects.

Owns no rule: constants come from `packetcodec.crc`, what they detect from `packetcodec.crc.distance`.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> parts = check_parts(plan, plan.crc)
>>> parts["hex"](plan.crc.polynomial), parts["states"][:2]
('0x5935', [('11', '0xba86'), ('07', '0xb231')])
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from packetcodec.crc import CHECK_INPUT, Crc, mirrored
from packetcodec.crc.distance import is_weak, joint_check_bits, packet_distance
from packetcodec.vectors.examples import Example
from packetcodec.wire.low_bits import high_bytes

if TYPE_CHECKING:
    from packetcodec.wire import Plan


def check_parts(plan: Plan, crc: Crc) -> dict[str, Any]:
    """What the template says about a check; `hex` and `mirrored` make words of C of its constants."""

    def word(number: int) -> str:
        return f"{number:#0{crc.width // 4 + 2}x}"

    example = Example.everyday(plan, plan.layouts[0])
    function = crc.function(plan.seed)
    high = high_bytes(example.layout, example.codes)
    covered = high + example.body
    states = [word(function(covered[:count]) ^ crc.xor_out) for count in range(1, len(covered) + 1)]
    distances = []
    for layout in plan.layouts:
        for size in dict.fromkeys(layout.sizes()):
            distance = packet_distance(crc, size)
            distances.append((layout.name, size, str(distance), distance.value - 1))
    return {
        "crc": crc,
        "hex": word,
        "mirrored": lambda number: word(mirrored(number, crc.width)),
        "type": {8: "uint8_t", 16: "uint16_t"}.get(crc.width, "uint32_t"),
        "bound_value": crc.of(CHECK_INPUT, plan.seed),
        "residue": crc.residue(plan.seed),
        "layout": example.layout,
        "high_bytes": len(high),
        "states": list(zip((f"{byte:02x}" for byte in covered), states, strict=True)),
        "value": word(crc.of(covered, plan.seed)),
        "appended": example.data[len(example.body) :].hex(" "),
        "distances": distances,
        "weak": any(is_weak(crc, layout.longest) for layout in plan.layouts),
        "joint": joint_check_bits(crc.polynomial, crc.width),
    }
