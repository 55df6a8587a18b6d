"""The check of a plan in the words and tables of its specification.

Owns no rule: constants come from `packetcodec.crc`, what they detect from `packetcodec.crc.distance`.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... check = { crc = "CRC-8/AUTOSAR" }
... [[layouts]]
... name = "gate"
... id = 2
... fields = [{ kind = "flag", name = "open" }]
... '''))
>>> parts = check_parts(plan, plan.crc)
>>> parts["polynomial"], parts["check_value"]
('0x2f', '0xdf')
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from packetcodec.crc import CHECK_INPUT, MODEM_NOTE, Crc, mirrored
from packetcodec.crc.distance import is_weak, joint_check_bits, packet_distance
from packetcodec.emit.text import table
from packetcodec.vectors.valid import worked_examples

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.wire import Plan


def check_parts(plan: Plan, crc: Crc) -> dict[str, Any]:
    """What the template says about a check: constants as words of C, tables, one check worked out."""
    digits = crc.width // 4 + 2
    mask = (1 << crc.width) - 1

    def word(number: int) -> str:
        return f"{number:#0{digits}x}"

    trails = any(layout.trail for layout in plan.layouts)
    first = worked_examples(plan, plan.layouts[0])[0]
    body = first.data[: len(first.data) - crc.size]
    function = crc.function(plan.seed)
    states = [word(function(body[:count]) ^ crc.xor_out) for count in range(1, len(body) + 1)]
    running = zip((f"{byte:02x}" for byte in body), states, strict=True)
    direction = "lowest" if crc.reflected else "highest"
    parameters: list[tuple[object, ...]] = [
        ("parameter", "value", "remark"),
        ("name", crc.name or "none", "of the public catalogue" if crc.name else "given by its parameters"),
        ("width", crc.width, f"bits; {crc.size} byte{'s' * (crc.size > 1)}"),
        ("polynomial", word(crc.polynomial), "normal form: highest power first, its top bit not written"),
        ("reflected", "yes" if crc.reflected else "no", f"bytes enter {direction} bit first"),
        ("initial register", word(crc.initial), "of the CRC as named; for the check value"),
        ("start register", word(plan.seed), "of a packet's check (section 5.2)"),
        ("final XOR", word(crc.xor_out), ""),
        ("check value", word(crc.check_value()), 'ASCII "123456789" from the initial register'),
        ("the same from start", word(crc.of(CHECK_INPUT, plan.seed)), 'ASCII "123456789" from the start register'),
        ("covers", "all before it", f"header, fields, {'trail, ' if trails else ''}padding"),
        ("sent", f"{direction} byte first", "so that the whole packet is a code word"),
    ]
    return {
        "crc": crc,
        "parameters": table(parameters),
        "bytes": crc.size,
        "type": {8: "uint8_t", 16: "uint16_t"}.get(crc.width, "uint32_t"),
        "polynomial": word(crc.polynomial),
        "initial": word(crc.initial),
        "start": word(plan.seed),
        "xor_out": word(crc.xor_out),
        "weak": any(is_weak(crc, item.longest) for item in plan.layouts),
        "top": word(1 << crc.width - 1),
        "mask": word(mask),
        "polynomial_mirrored": word(mirrored(crc.polynomial, crc.width)),
        "initial_mirrored": word(mirrored(crc.initial, crc.width)),
        "start_mirrored": word(mirrored(plan.seed, crc.width)),
        "residue": word(crc.residue(plan.seed)),
        "residue_state": word(crc.residue(plan.seed) ^ crc.xor_out),
        "check_value": word(crc.check_value()),
        "bound_value": word(crc.of(CHECK_INPUT, plan.seed)),
        "fingerprint_bytes": bytes.fromhex(plan.fingerprint).hex(" "),
        "example_layout": first.layout.name,
        "running": table([("byte", "state after it"), *running]),
        "value": word(crc.of(body, plan.seed)),
        "appended": first.data[len(body) :].hex(" "),
        "distances": table(
            [
                ("layout", "packet bytes", "packet bits", "Hamming distance", "any so many wrong bits are noticed"),
                *_distances(plan, crc),
            ]
        ),
        "one_in": 1 << crc.width,
        "joint": joint_check_bits(crc.polynomial, crc.width),
        "modem_note": MODEM_NOTE,
    }


def _distances(plan: Plan, crc: Crc) -> Iterator[tuple[object, ...]]:
    for layout in plan.layouts:
        for size in dict.fromkeys(layout.sizes()):
            distance = packet_distance(crc, size)
            yield layout.name, size, size * 8, distance, f"up to {distance.value - 1}"
