"""What a schema could say better: advice on a plan that is valid.

Owns one rule: when a range or a step wastes codes, or when a layout lacks what a receiver needs.

>>> from packetcodec.schema import Schema
>>> from packetcodec.wire.plan import compile_plan
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "satellites", maximum = 16 }]
... '''))
>>> print(*advise(plan))
layout "beacon", satellites: 17 codes take 5 bits; with 1 code fewer, 4 bits would do
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.schema import PLACE, Form, Role, derive
from packetcodec.wire.quantize import bounds, decimal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.wire.field_plan import FieldPlan
    from packetcodec.wire.plan import LayoutPlan, Plan

#: Codes of one bit less from which on one can be spared; the part of them that is few; the part of a step that is much.
_MANY, _FEW, _MUCH = 8, 1 / 50, 1 / 3
#: Metres of a position's step from which on it is most likely given in the wrong unit.
_FAR = 10_000


@dataclass(frozen=True, slots=True)
class Advice:
    """One piece of advice: where, as a fault of a schema names it, and what could be better."""

    place: str
    sentence: str

    def __str__(self) -> str:
        return f"{self.place}: {self.sentence}"


def advise(plan: Plan) -> tuple[Advice, ...]:
    """All advice on a plan, in the order of its layouts and fields."""
    found = []
    for layout in plan.layouts:
        place = f'layout "{layout.name}"'
        found += [Advice(place, words) for words in _of_layout(layout)]
        for field in layout.fields:
            found += [Advice(f"{place}, {field.name}", words) for words in _of_field(field)]
    return tuple(found)


def _of_layout(layout: LayoutPlan) -> Iterator[str]:
    """What a receiver that puts tracks together lacks. Layouts without a position need neither."""
    if layout.role(Role.NORTH) is None or layout.role(Role.EAST) is None:
        return
    if layout.role(Role.SENDER) is None:
        yield "no identifier: a receiver takes the packets of all trackers for those of one"
    if layout.role(Role.SEQUENCE) is None and not any(field.kind.form is Form.TIME for field in layout.fields):
        trail = ", and cannot tell which points of a trail it has already" if layout.trail else ""
        yield f"no counter and no time: a receiver cannot tell a late packet from a new one, nor count lost ones{trail}"


def _of_field(field: FieldPlan) -> Iterator[str]:
    unit = field.unit
    narrowed = field.low > unit.low or field.high < unit.high
    if field.policy == "refuse" and field.kind.form is Form.MEASURE and narrowed and not field.kind.own_unit:
        clip = "" if field.modulus else ', or policy = "clip" to send the end of the range'
        yield f"a value outside {bounds(field)} is refused: a tracker that leaves this range sends nothing. Widen it{clip}"
    if words := _too_coarse(field):
        yield words
    elif field.field.bits is None and not field.low_bits:
        yield from _of_codes(field)


def _too_coarse(field: FieldPlan) -> str | None:
    """What to say of a position whose step was asked for in degrees, and is that of a map of the world."""
    requested = field.field.requested
    key = next((key for key in ("resolution", "max_error") if requested.startswith(key)), None)
    if field.kind.role not in PLACE or key is None or not requested.endswith(field.unit.symbol):
        return None
    metres = field.step / field.scale * (field.unit.metres or 0)
    if metres <= _FAR:
        return None
    return f"a step of {decimal(field, field.step)} degrees is {metres / 1000:,.0f} km on the ground (did you mean {key}_m?)"


def _of_codes(field: FieldPlan) -> Iterator[str]:
    """Codes that cost a bit, or a step that could be finer at no cost, where the schema left the width to us."""
    codes = field.max_code + 1 + (field.absent_code is not None)
    enough = 1 << (field.bits - 1)
    over = codes - enough
    symbol = f" {field.unit.symbol}".rstrip()
    if enough >= _MANY and 0 < over <= max(1, enough * _FEW):
        coarser = _step(field, field.bits - 1)
        better = (
            f"with {over} code{'s' * (over > 1)} fewer"
            if coarser is None
            else f"in steps of {decimal(field, coarser)}{symbol}"
        )
        yield f"{codes} codes take {field.bits} bits; {better}, {field.bits - 1} bits would do"
        return
    finer = None if field.field.requested == "default" else _step(field, field.bits)
    if finer is not None and finer <= field.step * (1 - _MUCH):
        requested, free = (f"{decimal(field, step)}{symbol}" for step in (field.step, finer))
        yield f"a step of {free} instead of {requested} costs no bit"


def _step(field: FieldPlan, bits: int) -> int | None:
    """The finest step of so many bits, or None for a field whose step is given by its kind or gives its range."""
    if field.kind.counting or (field.kind.form is Form.TIME and field.modulus is None):
        return None
    optional = field.absent_code is not None
    return derive(low=field.low, high=field.high, bits=bits, cyclic=field.modulus is not None, optional=optional).step
