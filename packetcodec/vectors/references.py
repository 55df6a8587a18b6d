"""What a receiver knows before it reads a packet: references for fields that are sent by their low bits.

Owns one rule: which references are worth trying. They follow from a packet's codes and the plan: as far off as they may
be, on each side, at both ends of the range and across a seam; one code farther; a modulus off; and none.

>>> from packetcodec.schema import Schema
>>> from packetcodec.wire import compile_plan
>>> layout = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "counter", maximum = 999, low_bits = 4 }]
... ''')).layouts[0]
>>> usual(layout, (42,)), usual(layout, (999,))
({'counter': 44}, {'counter': 1})
>>> [known for note, codes, known in borders(layout, (42,))][:2]
[{'counter': 35}, {'counter': 49}]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault
from packetcodec.wire import from_raw, unpack
from packetcodec.wire.low_bits import known

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from packetcodec.schema import LowBits
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

#: Name of a field to about what its value must be, in base units.
Known = dict[str, int]
Codes = tuple[int, ...]


def usual(layout: LayoutPlan, codes: Sequence[int]) -> Known:
    """References for a packet of these codes, each off by a third of what it may be."""
    return {
        field.name: _shifted(field, codes[place], low.reach // 3)
        for place, field, low in layout.low_fields
        if codes[place] != field.absent_code
    }


def borders(layout: LayoutPlan, everyday: Codes) -> Iterator[tuple[str, Codes, Known]]:
    """Codes of a packet and references for it, as far off as they may be, and beyond the range of a field."""
    for place, field, low in layout.low_fields:
        for note, code, base in _borders_of(field, low, everyday[place]):
            yield _case(layout, everyday, place, note, code, base)


def _borders_of(field: FieldPlan, low: LowBits, everyday: int) -> Iterator[tuple[str, int, int]]:
    """What is tried of a field: words behind its name, its code, its reference."""
    for what, code in _codes(field, low, everyday):
        for shift, side in ((-low.reach, "below"), (low.reach, "above")):
            note = f", {what}: the reference {low.reach} codes {side}, as far as it may be"
            yield note, code, _shifted(field, code, shift)
        yield f", {what}: the reference is right", code, from_raw(field, code)
    if field.modulus:
        if field.high + 2 * field.step < (2**32 if field.low >= 0 else 2**31):
            yield ": the reference beyond the end of the circle", low.reach + 2, field.high + 2 * field.step
        if field.scale > 1:
            yield ": the reference at the end of the circle", field.max_code, field.high
        return
    for code, base in ((low.modulus - 1, field.low), (field.max_code - low.modulus + 1, field.high)):
        yield ": beyond reach of the reference at the end of the range, but no other code is in it", code, base
    yield ": the reference below the range", 0, max(field.low - low.modulus * field.step, -(2**31))
    above = field.high + low.modulus * field.step
    if above < 2**31 or field.high >= 2**31:
        yield ": the reference above the range", field.max_code, above


def _case(layout: LayoutPlan, everyday: Codes, place: int, note: str, code: int, base: int) -> tuple[str, Codes, Known]:
    """A packet with this code at a place, and usual references but for that field."""
    codes, name = (*everyday[:place], code, *everyday[place + 1 :]), layout.fields[place].name
    return f"{name}{note}", codes, usual(layout, codes) | {name: base}


def wrong(layout: LayoutPlan, everyday: Codes) -> Iterator[tuple[str, Codes, Known]]:
    """Codes of a packet and references that are missing or too far off; some are good after all."""
    there = usual(layout, everyday)
    if there:
        yield "no reference at all", everyday, {}
    for place, field, low in layout.low_fields:
        if field.name not in there:
            continue
        if rest := {name: base for name, base in there.items() if name != field.name}:
            yield f"no reference for {field.name}", everyday, rest
        for what, code in _codes(field, low, everyday[place]):
            for shift in (-low.reach - 1, low.reach + 1, -low.modulus, low.modulus, low.modulus * 5 // 2):
                note = f", {what}: the reference {abs(shift)} codes {'below' if shift < 0 else 'above'}"
                yield _case(layout, everyday, place, note, code, _shifted(field, code, shift))


def resolves(plan: Plan, data: bytes, references: Known) -> Codes | None:
    """The codes that these references lead to in a good packet without a trail; None where its check is wrong."""
    try:
        return unpack({plan.version: plan}, data, known(references))[2]
    except PacketFault:
        return None


def _codes(field: FieldPlan, low: LowBits, everyday: int) -> Iterator[tuple[str, int]]:
    """Codes of a field that are worth trying: an everyday one, those at its ends, and those next to a seam."""
    yield "everyday value", field.max_code // 3 if everyday == field.absent_code else everyday
    yield "first code", 0
    yield "last code", field.max_code
    if low.two_ways:
        doubled = (field.max_code + 1) % low.modulus
        yield "last code behind the seam that has a double before it", doubled - 1
        yield "first code before the seam that has a double behind it", field.max_code + 1 - doubled


def _shifted(field: FieldPlan, code: int, shift: int) -> int:
    """The base units of the code so many codes farther: round a circle, or up to the end of a line."""
    moved = code + shift
    moved = moved % (field.max_code + 1) if field.modulus else min(max(moved, 0), field.max_code)
    return from_raw(field, moved)
