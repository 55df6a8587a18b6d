"""The fingerprint of a schema: what a decoder depends on, and nothing else.

Owns one rule: which attributes are the wire. The fingerprint is made of them, and the comparison of two versions calls a
difference in one of them, and in no other, a change of the wire.

>>> from packetcodec.starter import example_plan
>>> altitude = example_plan().layouts[0].fields[4]
>>> wire_of(altitude)["step"], wire_of(altitude)["scale"]
(233, 100)
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from packetcodec.schema import AltitudeSteps

if TYPE_CHECKING:
    from collections.abc import Iterable

    from packetcodec.schema import Schema, Trail
    from packetcodec.wire.field_plan import FieldPlan
    from packetcodec.wire.plan import LayoutPlan


def wire_of(field: FieldPlan) -> dict[str, str | int]:
    """What of a field a decoder reads, its place not counted. The unit counts, except a number's, which is free text."""
    return {
        "kind": field.kind.name, "unit": "" if field.kind.own_unit else field.unit.name, "bits": field.field.grid.bits,
        "low": field.low, "high": field.high, "step": field.step, "max_code": field.max_code,
        "absent_code": -1 if field.absent_code is None else field.absent_code, "modulus": field.modulus or 0,
        "scale": field.scale, "origin": field.origin, **({"low_bits": field.low_bits.bits} if field.low_bits else {}),
    }  # fmt: skip


def wire_of_trail(trail: Trail, layout: LayoutPlan) -> dict[str, int]:
    """What of a trail a decoder reads, by its name for people. The limit counts: a decoder refuses what is longer."""
    names = [field.name for field in layout.fields]
    altitude = trail.altitude or AltitudeSteps(0)
    return {
        "most points": trail.points, "north-south cell": trail.step, "initial_scale": trail.initial_scale,
        "scale_rate": trail.scale_rate, "cell of altitude": altitude.step, "altitude_initial_scale": altitude.initial_scale,
        "altitude_scale_rate": altitude.scale_rate, "spacing": trail.spacing_seconds or 0,
        "place of the field of the spacing": names.index(trail.spacing_field) if trail.spacing_field else -1,
        "expected coded spacing": trail.interval_seed or 0, "most doublings of the grid": trail.coarsenings,
        "most bytes of a packet": trail.packet_bytes, **({"wandering": 1} if trail.wandering else {}),
    }  # fmt: skip


def fingerprint(schema: Schema, layouts: tuple[LayoutPlan, ...]) -> str:
    """First 8 bytes of the SHA-256 of what is the wire, one line per layout and field, as 16 hex digits.

    Names, remarks, policies and what was asked for do not count: none of them changes a bit that a decoder reads.
    """
    crc, header = schema.check.crc, schema.header
    check = (crc.width, crc.polynomial, crc.initial, int(crc.reflected), crc.xor_out) if crc else (0,)
    lines = [_line("packet", (schema.version, header.version_bits, header.layout_bits, *check))]
    for layout in sorted(layouts, key=lambda item: item.id):
        lines.append(_line("layout", (layout.id,)))
        for field in layout.fields:
            kind, *rest = wire_of(field).values()
            lines.append(_line(str(kind), rest))
        if layout.trail:
            lines.append(_line("trail", wire_of_trail(layout.trail, layout).values()))
    return hashlib.sha256("\n".join(lines).encode("ascii")).hexdigest()[:16]


def _line(what: str, numbers: Iterable[object]) -> str:
    return " ".join((what, *map(str, numbers)))
