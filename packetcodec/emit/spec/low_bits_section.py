"""Low bits as a specification tells them: one reference and one remainder worked out, next to a seam if there is one.

Owns no rule: it is that of `packetcodec.wire.low_bits`.

>>> from packetcodec.schema import Schema
>>> from packetcodec.wire import compile_plan
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "longitude", resolution_m = 2.5, low_bits = 16 }]
... '''))
>>> print(low_bits_example(plan).lines[-1])
reach = (65536 - 1) / 2 = 32767; in this order, code 3 (high part 0), 16056323 (high part 245)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.wire import decimal, from_raw
from packetcodec.wire.low_bits import near_codes, reference_code

if TYPE_CHECKING:
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

#: Codes from the reference of the example, before the seam, to the code behind it; fewer where the reach is shorter.
_APART = 14


@dataclass(frozen=True)
class LowBitsExample:
    """A remainder and a reference worked out.

    Attributes:
        layout, field: whose.
        lines: the numbers, one a line.
    """

    layout: LayoutPlan
    field: FieldPlan
    lines: tuple[str, ...]


def low_bits_example(plan: Plan) -> LowBitsExample:
    """The example of a plan with low bits: next to the seam of a circle where two codes can be near, if there is one."""
    fields = [(layout, field) for layout in plan.layouts for _, field, _ in layout.low_fields]
    layout, field = next(((layout, item) for layout, item in fields if item.low_bits and item.low_bits.two_ways), fields[0])
    return LowBitsExample(layout, field, tuple(_worked(field)))


def _worked(field: FieldPlan) -> list[str]:
    low, most = field.low_bits, field.max_code
    assert low is not None  # noqa: S101  # one of those with low bits
    modulus, circle = low.modulus, field.modulus is not None
    apart = min(_APART, low.reach)
    behind = (apart - 1) // 4
    code, r = (behind, most + 1 + behind - apart) if circle else (most // 2, most // 2 - low.reach // 2)
    base, s = from_raw(field, r), code % modulus
    assert reference_code(field, base) == r  # noqa: S101  # a base of a code has that code
    up = (s + modulus - r % modulus) % modulus
    down = modulus - up
    below = up > most - r or (down <= r and down <= up)
    lines = [
        f"code {code} is sent: remainder s = {code} % {modulus} = {s}, high part {code} / {modulus} = {code // modulus}",
        f"reference {decimal(field, base)} {field.unit.symbol}".rstrip() + f": base {base}, code r = {r}",
        f"up   = ({s} + {modulus} - {r} % {modulus}) % {modulus} = {up}",
        f"down = {modulus} - {up} = {down}",
        f"near = {r} - {down} = {r - down}, distance {down}" if below else f"near = {r} + {up} = {r + up}, distance {up}",
    ]
    if circle and r <= most // 2:
        far = s + (most - s) // modulus * modulus
        lines.append(f"far  = {s} + ({most} - {s}) / {modulus} * {modulus} = {far}, distance {r} + ({most} + 1 - {far})")
    elif circle:
        lines.append(f"far  = {s}, distance ({most} + 1 - {r}) + {s} = {most + 1 - r + s}")
    found = near_codes(field, s, r)
    highs = ", ".join(f"{item} (high part {item // modulus})" for item in found)
    lines.append(f"reach = ({modulus} - 1) / 2 = {low.reach}; in this order, code {highs}")
    return lines
