"""Values to raw codes and back.

Owns the step rule. A caller's number becomes base units once, by `round(value * scale)`; from there on all is integer:

* code = (x - low + step // 2) // step, on a circle the code after the last one is code 0 again;
* x = min(low + code * step, high).

>>> from packetcodec.wire.plan import compile_plan
>>> from packetcodec.schema import Schema
>>> field = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 0
... fields = [{ kind = "battery", minimum = 2.5, maximum = 4.5, resolution = 0.02 }]
... ''')).layouts[0].fields[0]
>>> to_raw(field, to_base(field, 3.714))
61
>>> to_value(field, 61)
3.72
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from numbers import Integral, Real
from operator import index
from typing import TYPE_CHECKING, Any

from packetcodec.schema import Form

if TYPE_CHECKING:
    from packetcodec.wire.field_plan import FieldPlan

Value = float | int | bool | str | None
"""What a field of a packet says: a number, yes or no, a name, or None where it is absent."""


class OutOfRangeFault(ValueError):
    """A value that has no code. The message names bound and value; the caller adds the place.

    >>> from packetcodec.starter import example_plan
    >>> latitude = example_plan().layouts[0].fields[2]
    >>> try:
    ...     to_base(latitude, "46.5")
    ... except OutOfRangeFault as fault:
    ...     print(fault)
    '46.5' is not a number
    """


def to_base(field: FieldPlan, value: Any) -> int:
    """A physical value in base units, the one place where a float is rounded.

    Raises:
        OutOfRangeFault: not a number, not finite, not a whole number where the kind wants one, or an unknown name.
    """
    if field.kind.form is Form.CHOICE:
        if not isinstance(value, str) or value not in field.choices:
            raise OutOfRangeFault(f"{quoted(value)} is not one of {', '.join(field.choices)}")
        return field.choices.index(value)
    if field.kind.form is Form.FLAG:
        if is_boolean(value):
            return int(value)
        if isinstance(value, str):
            raise OutOfRangeFault(f"{quoted(value)} is neither true nor false")
    number = to_number(value)
    if isinstance(number, int):
        return number * field.scale - field.origin
    if not field.kind.counting:
        scaled = number * float(field.scale)
        if math.isinf(scaled):
            raise OutOfRangeFault(f"{number} is outside {bounds(field)}")
        return round(scaled) - field.origin
    if number != int(number):
        raise OutOfRangeFault(f"{number} is not a whole number")
    return int(number)


def is_boolean(value: Any) -> bool:
    """Whether a value is True or False, Python's or numpy's."""
    return isinstance(value, bool) or (getattr(value, "dtype", None) == "bool" and not hasattr(value, "__len__"))


def to_number(value: Any) -> int | float:
    """A caller's number: a whole one exactly, any other as a finite float.

    Takes int, float, Decimal, Fraction, the integers and floats of numpy, and any other type that is registered as
    `numbers.Real`; neither truth values, text, arrays nor complex numbers.

    Raises:
        OutOfRangeFault: no such number, not finite, or beyond every float.
    """
    if isinstance(value, bool) or not isinstance(value, Real | Decimal):
        raise OutOfRangeFault(f"{quoted(value)} is not a number")
    try:
        if isinstance(value, Integral):
            return index(value)
        number = float(value)
    except TypeError:  # numpy counts a span of time among its integers
        raise OutOfRangeFault(f"{quoted(value)} is not a number") from None
    except (ValueError, OverflowError):  # a signalling NaN, a fraction beyond every float
        raise OutOfRangeFault(f"a {type(value).__name__} that no float holds") from None
    if not math.isfinite(number):
        raise OutOfRangeFault(f"{number} is not a finite number")
    return number


def quoted(value: Any) -> str:
    """A value as a message shows it, short."""
    try:
        text = repr(value).lower() if isinstance(value, bool) else repr(value)
    except ValueError:  # an integer of more digits than Python writes
        return "a huge number"
    text = " ".join(text.split())
    return text if len(text) <= 60 else f"{text[:57]}..."


def to_raw(field: FieldPlan, base: int) -> int:
    """The raw code of a value in base units.

    Raises:
        OutOfRangeFault: beyond the range of a field that refuses such values.
    """
    if not field.low <= base < field.high:
        if field.policy == "refuse" and not field.low <= base <= field.max_input:
            raise OutOfRangeFault(f"{_shown(field, base)} is outside {bounds(field)}")
        base = in_range(field, base)
    raw = (base - field.low + field.step // 2) // field.step
    return 0 if field.modulus and raw > field.max_code else raw


def in_range(field: FieldPlan, base: int) -> int:
    """The value that is coded for one in base units that is not refused: wrapped, or clipped to the range.

    The end of a circle is its beginning.

    >>> from packetcodec.starter import example_plan
    >>> battery = example_plan().layouts[0].fields[5]
    >>> in_range(battery, 5000), in_range(battery, 3700)          # millivolts
    (4500, 3700)
    """
    if field.policy == "wrap" and field.modulus:
        return field.low + (base - field.low) % field.modulus
    base = min(max(base, field.low), field.high)
    return field.low if field.modulus and base == field.high else base


def clipped(field: FieldPlan, base: int) -> bool:
    """Whether a value in base units is beyond the range and is sent as the end of it.

    >>> from packetcodec.starter import example_plan
    >>> battery = example_plan().layouts[0].fields[5]
    >>> clipped(battery, 5000), clipped(battery, 3700)            # millivolts
    (True, False)
    """
    return field.policy == "clip" and not field.low <= base <= field.high


def clipping(field: FieldPlan, base: int) -> str:
    """What becomes of a value that is `clipped`: the value, the bound, and what is sent.

    >>> from packetcodec.starter import example_plan
    >>> battery = example_plan().layouts[0].fields[5]
    >>> clipping(battery, 3_710_000)
    '3710 V is above 4.5 V, sent as 4.5 V'
    """
    side, bound = ("below", field.low) if base < field.low else ("above", field.high)
    sent = from_raw(field, to_raw(field, base))
    given, bound_text, sent_text = (f"{_shown(field, x)} {_unit(field)}".rstrip() for x in (base, bound, sent))
    return f"{given} is {side} {bound_text}, sent as {sent_text}"


def from_raw(field: FieldPlan, raw: int) -> int:
    """The value of a raw code in use, in base units.

    >>> from packetcodec.starter import example_plan
    >>> battery = example_plan().layouts[0].fields[5]
    >>> from_raw(battery, 61)                                     # millivolts
    3720
    """
    return min(field.low + raw * field.step, field.high)


def to_value(field: FieldPlan, raw: int) -> Value:
    """The physical value of a raw code: None for absent, a name, yes or no, else a number in the field's unit."""
    return None if raw == field.absent_code else from_base(field, from_raw(field, raw))


def from_base(field: FieldPlan, base: int) -> Value:
    """The physical value of a number of base units: a name, yes or no, else a number in the field's unit."""
    if field.kind.form is Form.CHOICE:
        return field.choices[base]
    if field.kind.form is Form.FLAG:
        return bool(base)
    return base + field.origin if field.scale == 1 else base / field.scale


def decimal(field: FieldPlan, base: int) -> Decimal:
    """A number of base units as an exact decimal in the field's unit, with just the digits it needs."""
    value = (Decimal(base) / field.scale).normalize()
    # A number with more digits than the context's keeps its exponent: quantizing would fail.
    whole = value == value.to_integral_value() and value.adjusted() < 20
    return value.quantize(Decimal(1)) if whole else value


def bounds(field: FieldPlan) -> str:
    """The range in words, such as "-90..90 degrees".

    >>> from packetcodec.starter import example_plan
    >>> battery = example_plan().layouts[0].fields[5]
    >>> bounds(battery)
    '2.5..4.5 V'
    """
    return f"{_shown(field, field.low)}..{_shown(field, field.max_input)} {_unit(field)}".rstrip()


def _unit(field: FieldPlan) -> str:
    return {"°": "degrees"}.get(field.unit.symbol, field.unit.symbol)


def _shown(field: FieldPlan, base: int) -> str:
    return str(decimal(field, base + field.origin))


def max_error(field: FieldPlan) -> Fraction:
    """The promised bound in the field's unit: half a step, and the half base unit lost where a float is rounded.

    Whole numbers (kinds that count) lose nothing on the way in.

    >>> from packetcodec.starter import example_plan
    >>> battery = example_plan().layouts[0].fields[5]
    >>> max_error(battery)                                      # volts
    Fraction(21, 2000)
    """
    rounding = Fraction(0) if field.kind.counting else Fraction(1, 2)
    return (field.max_error + rounding) / field.scale
