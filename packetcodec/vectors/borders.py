"""What to try of one field: codes, base units and values at every border, and values that are refused; each with a note.

Owns one rule: which inputs of a field are worth trying. They follow from its plan alone.

>>> from packetcodec.starter import example_plan
>>> battery = example_plan().layout("position").fields[5]
>>> [code for _, code in field_codes(battery)][:5]
[0, 1, 99, 100, 2]
>>> [base for note, base in field_bases(battery) if "range" in note]
[2500, 4500, 2499, 4501, -997500, 1004500]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.schema import Form
from packetcodec.wire import FieldPlan, OutOfRangeFault, Value, to_base, to_raw
from packetcodec.wire.quantize import from_base

if TYPE_CHECKING:
    from collections.abc import Iterator

_I32 = 1 << 31


def field_codes(field: FieldPlan) -> Iterator[tuple[str, int]]:
    """Raw codes that the field sends: the first and last ones, absent, each single bit. Some may come twice."""
    yield "first code", 0
    yield "second code", 1
    yield "last code but one", field.max_code - 1
    yield "last code", field.max_code
    if field.absent_code is not None:
        yield "absent", field.absent_code
    for bit in range(1, field.field.grid.bits):
        if 1 << bit <= field.max_code:
            yield f"bit {bit} of the code alone", 1 << bit


def unused_codes(field: FieldPlan) -> list[int]:
    """Raw codes that the field never sends: the first one, the last one and the last but one; none where all are in use."""
    codes = dict.fromkeys((field.max_code + 1, (1 << field.bits) - 1, (1 << field.bits) - 2))
    return [code for code in codes if field.max_code < code < 1 << field.bits and code != field.absent_code]


def field_bases(field: FieldPlan) -> Iterator[tuple[str, int]]:
    """Base units that are taken: around codes, at the ends of the range, and beyond it where that is not refused."""
    half, end = field.step // 2, field.low + field.max_code * field.step
    yield "lower end of the range", field.low
    for code in (1, field.max_code // 2 or 1, field.max_code):  # where there are two codes, their only border
        first = field.low + code * field.step - half
        if first < field.low and field.policy == "refuse":
            continue  # half of one bit's last code is code 0
        yield f"the least that rounds up to code {code}", first
        if first > field.low:
            yield f"the most that rounds down to code {code - 1}", first - 1
    if not field.modulus:
        yield "upper end of the range", field.high
    else:
        past = end + field.step - half
        if past < field.high:
            yield "the most that stays at the last code", past - 1
            yield "the least that rounds up past the last code", past
        yield "just below the end of the circle", field.high - 1
        if field.max_input == field.high or field.policy == "wrap":
            yield "end of the circle, the same place as its beginning", field.high
    if field.policy != "refuse":
        word = "clipped" if field.policy == "clip" else "wrapped"
        yield f"just below the range: {word}", field.low - 1
        yield f"just above the range: {word}", field.high + 1
        yield f"far below the range: {word}", max(field.low - 1000 * field.scale - (field.modulus or 0), -_I32)
        far = field.high + 1000 * field.scale + (field.modulus or 0)
        yield f"far above the range: {word}", far if field.high >= _I32 else min(far, _I32 - 1)


def field_values(field: FieldPlan) -> Iterator[tuple[str, Value]]:
    """Values that are taken, as a caller gives them; some come twice."""
    if field.absent_code is not None:
        yield "absent", None
    if field.kind.form is Form.CHOICE:
        yield from (("first name", field.choices[0]), ("last name", field.choices[-1]))
    elif field.kind.form is Form.FLAG:
        yield from (("no", False), ("yes", True), ("no as a number", 0), ("yes as a number", 1))
        yield from (("no as a number with a point", 0.0), ("yes as a number with a point", 1.0))
    else:
        yield from ((note, from_base(field, base)) for note, base in field_bases(field))
        yield from _numbers(field)


def _numbers(field: FieldPlan) -> Iterator[tuple[str, Value]]:
    """Numbers of other types, and those where the rounding to base units shows."""
    if field.kind.counting:
        yield "a whole number written with a point", float(from_base(field, field.low + 1) or 0)
        if field.policy == "wrap":
            yield "beyond 32 bits: wrapped", 2**32 + 5 * (field.modulus or 0) + 1
    if field.kind.form is Form.TIME:
        for part in (0.4, 0.5, 0.6, 1.5):
            yield "a fraction of a second: rounded", field.origin + field.low + 1 + part
    if field.scale > 1:
        whole = field.low // field.scale + 1
        if whole * field.scale <= field.high:
            yield "a whole number of units", whole
        yield from _ties(field)


def _ties(field: FieldPlan) -> Iterator[tuple[str, Value]]:
    """Values half way between two base units, next to a border of codes."""
    wanted = {0, 1}
    for code in range(1, min(field.max_code, 200)):
        first = field.low + code * field.step - field.step // 2
        value = (first - 0.5) / field.scale
        if value * field.scale == first - 0.5 and first % 2 in wanted:
            wanted.discard(first % 2)
            way = "up" if first % 2 == 0 else "down"
            yield f"half way between two base units, {way} to the even one", value


def refused_values(field: FieldPlan) -> Iterator[tuple[str, Value]]:
    """Values that are refused."""
    for note, value in _perhaps_refused(field):
        try:
            to_raw(field, to_base(field, value))
        except OutOfRangeFault:
            yield note, value


def _perhaps_refused(field: FieldPlan) -> Iterator[tuple[str, Value]]:
    if field.kind.form is Form.CHOICE:
        yield "no such name", next(name for name in ("unknown", "no_name", "x") if name not in field.choices)
        yield from (("a number, not a name", 0), ("yes, not a name", True))
        return
    if field.kind.form is Form.FLAG:
        yield from (("neither 0 nor 1", 2), ("below 0", -1))
    else:
        yield "just below the range", from_base(field, field.low - 1)
        yield "just above the range", from_base(field, field.max_input + 1)
        yield "yes or no, not a number", True
    if field.kind.counting:
        yield "not a whole number", 0.5
    elif field.scale > 1:
        yield "so large that the product is infinite", 1e308
        yield "so far below zero that the product is infinite", -1e308
    yield "a text, not a number", "one"
