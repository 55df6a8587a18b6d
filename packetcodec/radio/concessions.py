"""Which field to shrink: what one bit less costs in each field's unit, what is free, and a set that pays.

Owns one rule: how a set of concessions is chosen. Bits that cost next to nothing are taken first (a step at most a tenth
coarser, a range at most a tenth shorter). Then each measured field gives one bit, which doubles its error, before any gives
a second one, those with most codes first; fields that count give theirs a round later, since half of a range is gone for
good. Nothing here knows which field matters to you: read it as a list to bargain with.

>>> from packetcodec.starter import example_plan
>>> layout = example_plan().layouts[0]
>>> [(item.name, item.bits) for item in field_costs(layout)][:3]
[('collar', 8), ('counter', 8), ('latitude', 23)]
>>> [taken.description for taken in cheapest(layout, 2)]
['longitude: worst error 2.4 m instead of 1.3 m', 'latitude: worst error 2.5 m instead of 1.3 m']
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING

from packetcodec.schema import derive
from packetcodec.schema.kinds import Form
from packetcodec.wire import decimal
from packetcodec.wire.low_bits import reach_of

if TYPE_CHECKING:
    from packetcodec.schema import Grid
    from packetcodec.wire import FieldPlan, LayoutPlan

#: A coarser step or a shorter range by at most this factor counts as nearly free.
_NEARLY = Fraction(11, 10)
_MEASURED = frozenset({Form.MEASURE, Form.TIME})


@dataclass(frozen=True, slots=True)
class Concession:
    """Bits taken from one field.

    Attributes:
        name: of the field.
        bits: how many bits less.
        description: what that costs, in the field's unit.
        nearly_free: whether it costs at most a tenth of step or range.
    """

    name: str
    bits: int
    description: str
    nearly_free: bool


@dataclass(frozen=True, slots=True)
class FieldCost:
    """What a field takes and could give.

    Attributes:
        name: of the field.
        bits: its width.
        unused: codes of that width that are never sent.
        finer: a finer step that costs no bit, in words; "" where there is none.
        one_less: the concession of one bit, or None where the field cannot give one.
    """

    name: str
    bits: int
    unused: int
    finer: str
    one_less: Concession | None


def field_costs(layout: LayoutPlan) -> tuple[FieldCost, ...]:
    """What each field of a layout takes and could give, in wire order."""
    return tuple(
        FieldCost(
            name=field.name,
            bits=field.bits,
            unused=0 if field.low_bits else (1 << field.bits) - field.max_code - 1 - (field.absent_code is not None),
            finer=_finer(field),
            one_less=_less(field, 1),
        )
        for field in layout.fields
    )


def bits_to_drop(layout: LayoutPlan, drop_bytes: int) -> int:
    """Bits that the fields must lose for a packet that is so many bytes shorter, whatever trail follows them."""
    if layout.trail is not None:
        return 8 * drop_bytes
    return layout.bits - 8 * (layout.data_bytes - drop_bytes)


def cheapest(layout: LayoutPlan, bits: int) -> tuple[Concession, ...] | None:
    """Concessions that take so many bits, and not one more, from a layout's fields; None where they do not have them."""
    taken = dict.fromkeys((field.name for field in layout.fields), 0)
    fields = {field.name: field for field in layout.fields}

    def next_of(field: FieldPlan) -> Concession | None:
        return _less(field, taken[field.name] + 1)

    def turn(field: FieldPlan) -> int:
        return taken[field.name] + (field.kind.form not in _MEASURED)

    for _ in range(bits):
        offers = [(offer, field) for field in fields.values() if (offer := next_of(field)) is not None]
        if not offers:
            return None
        _, field = max(offers, key=lambda pair: (pair[0].nearly_free, -turn(pair[1]), pair[1].bits - taken[pair[1].name]))
        taken[field.name] += 1
    found = [_less(fields[name], count) for name, count in taken.items() if count]
    return tuple(
        sorted((item for item in found if item is not None), key=lambda item: (-item.bits, -fields[item.name].bits))
    )


def _finer(field: FieldPlan) -> str:
    if field.kind.form not in _MEASURED or field.step == 1 or field.low_bits:
        return ""
    grid = _grid(field, field.bits)
    return "" if grid is None or grid.step >= field.step else f"step {_shown(field, grid.step)}"


def _grid(field: FieldPlan, bits: int) -> Grid | None:
    """The finest grid of the field's range in so many bits, or None where there is none."""
    try:
        return derive(
            low=field.low,
            high=field.high,
            bits=bits,
            cyclic=field.modulus is not None,
            optional=field.absent_code is not None,
        )
    except ValueError:
        return None


def _less(field: FieldPlan, bits: int) -> Concession | None:
    """The concession of so many bits, or None where the field cannot give them."""
    left = field.bits - bits
    if left < 1:
        return None
    if field.low_bits:
        return _nearer(field, bits)
    optional = field.absent_code is not None
    codes = field.max_code + 1
    if optional and codes <= 1 << left:
        return Concession(field.name, bits, f"{field.name}: always known, never absent", nearly_free=False)
    if field.kind.form in _MEASURED:
        grid = _grid(field, left)
        if grid is None or grid.step <= field.step:
            return None
        words = f"{field.name}: worst error {_error(field, grid.step)} instead of {_error(field, field.step)}"
        return Concession(field.name, bits, words, nearly_free=Fraction(grid.step, field.step) <= _NEARLY)
    room = (1 << left) - optional
    nearly = Fraction(codes, room) <= _NEARLY
    if field.kind.form is Form.COUNT:
        if field.modulus is not None:
            words = f"{field.name}: starts again after {room:,} instead of {codes:,}"
        else:
            words = f"{field.name}: 0..{room - 1:,} instead of 0..{codes - 1:,}"
        return Concession(field.name, bits, words, nearly_free=nearly)
    if field.kind.form is Form.CHOICE and room > 1:
        return Concession(field.name, bits, f"{field.name}: {room} names instead of {codes}", nearly_free=nearly)
    return None


def _nearer(field: FieldPlan, bits: int) -> Concession | None:
    """The concession of so many low bits: the receiver must know the value better."""
    now, then = reach_of(field), reach_of(field, bits)
    if then <= 0:
        return None
    words = f"{field.name}: for receivers that know it within {decimal(field, then)} instead of {decimal(field, now)}"
    words = f"{words} {field.unit.symbol}".rstrip()
    return Concession(field.name, bits, words, nearly_free=False)


def _shown(field: FieldPlan, step: int) -> str:
    return f"{float(Fraction(step, field.scale)):g} {field.unit.symbol}".rstrip()


def _error(field: FieldPlan, step: int) -> str:
    """Half a step and the half base unit of rounding, in metres on the ground where the field is a place, rounded up."""
    error = (Fraction(step // 2) + Fraction(1, 2)) / field.scale
    unit = field.unit.symbol
    if field.unit.metres is not None and field.kind.role is not None and field.unit.symbol == "°":
        error, unit = error * Fraction(str(field.unit.metres)), "m"
    digits = 0
    while error < 10**-digits * 10 and digits < 6 and error * 10**digits != int(error * 10**digits):
        digits += 1
    return f"{ceil(error * 10**digits) / 10**digits:.{digits}f} {unit}".rstrip()
